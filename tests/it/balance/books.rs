//! What harvests take, and the ledger of what comes and goes.

use super::*;

/// New England Vegetable Management Guide, table 4, lb/acre at short tons an acre: a pound
/// in a short ton is half a kilogram in a tonne. P₂O₅ × 0.43643, K₂O × 0.83015 (IUPAC weights).
#[test]
fn tables_in_pounds_and_oxides_become_kilograms_of_element() {
    let row = |slug: &str, table: &str, part: Part| {
        let crop = crop(slug);
        offtake::rows_for(&crop).into_iter().find(|r| r.table == table && r.part == part).unwrap().clone()
    };
    let carrot = row("carrot", "nev", Part::Carried);
    about(carrot.kg_per_t[&N].mid, 80.0 / 25.0 / 2.0, 1e-12);
    about(carrot.kg_per_t[&P].mid, 20.0 * 0.43643 / 25.0 / 2.0, 1e-4);
    about(carrot.kg_per_t[&K].mid, 200.0 * 0.83015 / 25.0 / 2.0, 1e-4);
    let onion = row("onion", "nev", Part::Carried);
    about(onion.kg_per_t[&N].mid, 2.75, 1e-12);
    let cucumber = row("cucumber", "nev", Part::Whole);
    let nitrogen = cucumber.kg_per_t[&N];
    for (found, lb) in [(nitrogen.low, 100.0), (nitrogen.mid, 150.0), (nitrogen.high, 200.0)] {
        about(found, lb / 24.0 / 2.0, 1e-12);
    }
    // Potash Development Association: potato tubers 1.0 P₂O₅, 5.8 K₂O, 0.3 MgO in a tonne.
    let potato = row("potato", "pda", Part::Carried);
    about(potato.kg_per_t[&K].mid, 5.8 * 0.8301, 1e-3);
    about(potato.kg_per_t[&Mg].mid, 0.3 * 24.305 / 40.304, 1e-4);
    // Indian Food Composition Tables F002: protein 0.95 g, K 0.273 g in 100 g.
    let tabled = row("carrot", "ifct", Part::Carried);
    about(tabled.kg_per_t[&N].mid, 0.95 / 6.25 * 10.0, 1e-12);
    about(tabled.kg_per_t[&K].mid, 2.73, 1e-12);
    about(tabled.kg_per_t[&Zn].mid, 0.0025, 1e-12);
}

#[test]
fn uptake_and_doubted_figures_are_shown_and_never_counted() {
    let broccoli = crop("broccoli");
    assert!(offtake::rows_for(&broccoli).iter().any(|r| r.part == Part::Whole && r.kg_per_t[&N].mid > 16.0));
    let nitrogen = offtake::removal(Some(&broccoli), N, &Figures::Tables).unwrap();
    assert!(nitrogen.kg_per_t.high < 5.0, "heads take 2 to 4.5, the whole crop 16.5: {nitrogen:?}");
    // The heads' phosphorus in table 4 is a seventh of what foods hold, and does not count.
    let phosphorus = offtake::removal(Some(&broccoli), P, &Figures::Tables).unwrap();
    assert!(phosphorus.kg_per_t.low > 0.3);
    // Nobody prints what kale's leaves alone carry of potassium.
    assert_eq!(offtake::removal(Some(&crop("kale")), K, &Figures::Tables), None);
}

#[test]
fn the_best_known_table_gives_the_middle_and_all_tables_the_range() {
    let carrot = offtake::removal(Some(&crop("carrot")), K, &Figures::Tables).unwrap();
    // Read: 3.321 (New England); quoted: 2.73 (India); recalled: 3.20 (USDA).
    about(carrot.kg_per_t.mid, 3.3206, 1e-3);
    about(carrot.kg_per_t.low, 2.73, 1e-9);
    assert_eq!(carrot.kg_per_t.high, carrot.kg_per_t.mid);
    let one = offtake::removal(Some(&crop("carrot")), K, &Figures::Table("usda".into())).unwrap();
    assert_eq!((one.kg_per_t.mid, one.working.inputs[0].source.as_ref().unwrap().evidence), (3.2, Evidence::Memory));
    assert_eq!((one.kg_per_t.low, one.kg_per_t.high), (1.6, 4.800000000000001), "one table alone: ± 50 %");
    let own = Figures::Own { kg_per_t: BTreeMap::from([(K, 2.9)]), words: "our lab, 2024".into() };
    let own = offtake::removal(Some(&crop("carrot")), K, &own).unwrap();
    assert_eq!(own.kg_per_t, Span::exact(2.9));
    assert!(own.working.is_grounded() && carrot.working.is_grounded());
}

#[test]
fn a_harvest_becomes_kilograms_per_hectare_and_what_no_table_gives_stays_unknown() {
    // 50 kg of carrots from 20 m²: 25 t/ha × 3.2 kg/t = 80 kg K/ha by the recalled table.
    let area = SquareMetres(20.0);
    let figures = Figures::Table("usda".into());
    let taken = offtake::offtake(&Harvest { figures, ..harvest(date(2024, 9, 1), "carrot", 50.0) }, area);
    about(taken.known[&K].kg_per_ha.mid, 80.0, 1e-9);
    assert!(taken.known[&K].working.is_grounded());
    assert!(taken.unknown.contains(&B) && !taken.known.contains_key(&B));
    assert_eq!(taken.known.len() + taken.unknown.len(), BALANCED.len());

    let nothing = Harvest { crop: None, ..harvest(date(2024, 9, 1), "", 0.0) };
    let nothing = offtake::offtake(&nothing, area);
    assert!(nothing.unknown.is_empty() && nothing.known.values().all(|c| c.kg_per_ha == Span::exact(0.0)));

    for odd in [harvest(date(2024, 9, 1), "sea kale", 5.0), harvest(date(2024, 9, 1), "carrot", f64::NAN)] {
        let odd = offtake::offtake(&odd, area);
        assert!(odd.known.is_empty() && odd.notes.len() == 1, "{odd:?}");
    }
    let own = Figures::Own { kg_per_t: BTreeMap::from([(N, 2.0)]), words: String::new() };
    let unlisted = offtake::offtake(&Harvest { figures: own, ..harvest(date(2024, 9, 1), "sea kale", 10.0) }, area);
    about(unlisted.known[&N].kg_per_ha.mid, 10.0, 1e-9);
    assert_eq!(unlisted.known.len(), 1);
}

fn input(on: Date, kind: Kind, mass_g: f64, content: &[(Element, f64)]) -> Input {
    let content = content.iter().copied().collect();
    let amendment = kind.label().to_owned();
    Input {
        kind,
        application: Application {
            key: 1,
            applied_on: on,
            amendment,
            mass_g,
            content,
            availability: BTreeMap::new(),
            manure: false,
            organic: false,
        },
    }
}

fn season(year: i16, crops: &[&str]) -> Season {
    Season {
        name: format!("{year}"),
        starts_on: date(year, 3, 1),
        ends_on: date(year, 10, 31),
        crops: crops.iter().map(|c| (*c).to_owned()).collect(),
        running: false,
    }
}

/// 20 m². 2023: 200 g potassium sulfate at 41.5 % K is 41.5 kg K/ha; 50 kg of carrots.
/// 2024: compost whose sulfur nobody analysed; no harvest written down.
fn books() -> Books {
    Books {
        area: SquareMetres(20.0),
        inputs: vec![
            input(date(2023, 4, 1), Kind::Salt, 200.0, &[(K, 0.415), (S, 0.17)]),
            input(date(2024, 4, 1), Kind::Compost, 60_000.0, &[(N, 0.01), (P, 0.002), (K, 0.005)]),
        ],
        harvests: vec![Harvest { figures: Figures::Table("usda".into()), ..harvest(date(2023, 9, 1), "carrot", 50.0) }],
        seasons: vec![season(2023, &["carrot"]), season(2024, &["leek"])],
    }
}

#[test]
fn a_ledger_adds_up_by_season_and_keeps_the_unknown_unknown() {
    let ledger = books().ledger();
    assert_eq!(ledger.seasons.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["2023", "2024"]);
    let line =
        |season: usize, element: Element| ledger.seasons[season].lines.iter().find(|l| l.element == element).unwrap();
    let potassium = line(0, K);
    about(potassium.brought.known.mid, 41.5, 1e-9);
    about(potassium.carried.known.mid, 80.0, 1e-9);
    let net = potassium.net.known().unwrap();
    about(net.mid, -38.5, 1e-9);
    about(net.low, 41.5 - 120.0, 1e-9); // the one table ± 50 %
    about(glebe::agronomy::balance::Line::grams(net, SquareMetres(20.0)).mid, -77.0, 1e-9);
    // A salt brings no phosphorus; boron in carrots is in no table.
    assert_eq!(line(0, P).brought.known, Span::exact(0.0));
    assert!(matches!(line(0, B).net, Net::AtMost(_)));
    assert!(line(0, B).carried.missing.iter().any(|m| m.contains("boron in carrot")));
    // 2024: what came is known for P, what left is not; neither for S in compost.
    assert!(matches!(line(1, P).net, Net::AtMost(span) if (span.mid - 60.0).abs() < 1e-9));
    assert!(matches!(line(1, S).net, Net::Unknown(_)));
    assert!(line(1, S).brought.missing.iter().any(|m| m.contains("never analysed")));
    assert!(ledger.seasons[1].notes.iter().any(|n| n.contains("No harvest is written down for 2024")));
    // The sum is no better known than its worst part.
    let total = ledger.seasons[1].so_far.iter().find(|l| l.element == K).unwrap();
    assert!(matches!(total.net, Net::AtMost(span) if (span.mid - (41.5 - 80.0 + 150.0)).abs() < 1e-9));
    for account in &ledger.seasons {
        assert!(account.lines.iter().chain(&account.so_far).all(|line| line.working.is_grounded()));
    }
}

#[test]
fn nothing_harvested_is_a_statement_and_a_crop_left_out_is_not() {
    let mut books = books();
    books.harvests.push(Harvest { crop: None, ..harvest(date(2024, 10, 1), "", 0.0) });
    let net = books.between(P, date(2024, 1, 1), date(2025, 1, 1)).net;
    about(net.known().unwrap().mid, 60.0, 1e-9);

    books.seasons[0].crops.push("leek".into());
    let line = books.between(P, date(2023, 1, 1), date(2024, 1, 1));
    assert!(line.carried.missing.contains("No harvest of leek is written down for 2023."), "{line:?}");
}

#[test]
fn what_went_on_the_day_of_a_test_counts_after_it_and_unwritten_years_are_unknown() {
    let mut books = books();
    books.seasons.truncate(1);
    let day = date(2023, 4, 1);
    about(books.between(K, day, date(2023, 11, 30)).brought.known.mid, 41.5, 1e-9);
    assert_eq!(books.between(K, date(2022, 12, 1), day).brought.known.mid, 0.0);
    assert!(books.between(K, day, date(2024, 3, 1)).net.known().is_some(), "a winter is no gap");
    let later = books.between(K, day, date(2026, 3, 1));
    assert!(later.carried.missing.iter().any(|m| m.contains("No season is written down from 2023-10-31")));
    assert!(Books { area: SquareMetres(20.0), ..Books::default() }.ledger().seasons.is_empty());
    assert_eq!(Books { seasons: vec![], ..books }.ledger().seasons.len(), 1, "what happened outside seasons is shown");
}

#[test]
fn odd_books_never_fail() {
    for area in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let ledger = Books { area: SquareMetres(area), ..books() }.ledger();
        let known = |line: &glebe::agronomy::balance::Line| line.net.known().is_some();
        assert!(!ledger.seasons[0].lines.iter().any(known), "no area, nothing known");
    }
    let mut books = books();
    books.seasons.push(Season { name: "twisted".into(), ..season(2023, &[]) });
    books.seasons[2].ends_on = date(2020, 1, 1);
    assert_eq!(books.ledger().seasons.len(), 3);
    let twice = Books { seasons: vec![season(2023, &[]), season(2023, &[])], ..books };
    let lines: f64 = twice.ledger().seasons.iter().map(|s| s.lines[2].brought.known.mid).sum();
    about(lines, 41.5 + 150.0, 1e-9); // each application once, whatever the seasons
}

/// Two tests of potassium by ammonium acetate, a year's ledger between them.
#[test]
fn tests_meet_the_ledger() {
    use glebe::agronomy::{
        analyte::Analyte,
        drift::{ErrorSettings, segments},
        quantity::MgPerKg,
        reading::{Level, Reading},
        record::{CellKey, DepthBand, Qualifier},
    };
    let reading = |cell: i64, on: Date, value: f64| Reading {
        analyte: Analyte::Element(K),
        method: Method::AmmoniumAcetate7,
        level: Level::MgPerKg(MgPerKg(value)),
        qualifier: Qualifier::Exact,
        decimals: 0,
        sampled_on: on,
        depth: Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(20.0) }),
        lab: "North".into(),
        sampling: 0,
        cell: CellKey(cell),
        working: Working::leaf("found", Figure::new(value, "mg/kg", 0), Origin::Cell(CellKey(cell))),
    };
    let tests = [reading(1, date(2023, 3, 1), 120.0), reading(2, date(2024, 3, 1), 112.0)];
    let of = |tests: &[Reading]| segments(tests, &Default::default(), &ErrorSettings::default()).remove(0);
    let met = response::tests_at(&of(&tests), &books()).unwrap();
    about(met[1].net_kg_per_ha, 41.5 - 80.0, 1e-9);
    about(met[0].sd, 0.12 * 120.0, 1e-9); // 12 % of the value for potassium
    assert_eq!(met[0].net_kg_per_ha, 0.0);
    let late = [reading(1, date(2023, 3, 1), 120.0), reading(2, date(2025, 3, 1), 112.0)];
    let skip = response::tests_at(&of(&late), &books()).unwrap_err();
    assert!(skip.words().contains("No harvest is written down for 2024"), "{}", skip.words());
}
