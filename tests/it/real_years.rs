//! Real years end to end: two open data sets taken in through the importer and read by the
//! functions behind the pages of drift, balance and response.
//!
//! The Rothamsted long-term liming experiment as in `rothamsted.rs`; and the Broadbalk
//! experiment: Broadbalk changes in Olsen P 1843-2010 (2016), Rothamsted Research,
//! <https://doi.org/10.23637/keyrefoabkolsenp>, CC BY 4.0.

use super::{
    drift::{days, fraction, golden, list, numbers, oracle},
    ground_pages::Garden,
    import::into,
    rothamsted::{imported, source},
    rothamsted_set::BY_ICP,
    store::fresh,
};
use glebe::{
    agronomy::{
        analyte::Analyte,
        balance::Net,
        crop::Crop,
        drift::{self, Fraction, Segment},
        element::Element,
        method::Method,
        offtake::{self, Figures},
        response::Skip,
    },
    app::{Actor, App, trends::PlotTrend},
    ids::PlotId,
};
use jiff::civil::date;
use std::collections::{BTreeMap, BTreeSet};

const PHOSPHORUS: Analyte = Analyte::Element(Element::P);
const POTASSIUM: Analyte = Analyte::Element(Element::K);

async fn plots(app: &App, actor: &Actor) -> BTreeMap<String, PlotId> {
    let site = app.sites(actor).await.unwrap()[0].id;
    let plots = app.plots(actor, site, false).await.unwrap();
    plots.into_iter().map(|plot| (plot.code, plot.id)).collect()
}

/// Two real series, pH of plot 1 and Olsen P of plot 4 by the deeper auger: what a page says of
/// them is what another program found.
#[tokio::test]
async fn the_trend_of_a_plot_is_the_one_that_other_programs_find() {
    let (Some((_folder, app, actor, _)), Some(golden)) = (imported().await, golden()) else { return };
    let plots = plots(&app, &actor).await;
    let case =
        |id: &str| list(&golden["series"]).iter().find(|one| one["id"].as_str().unwrap().starts_with(id)).unwrap();
    // The deeper auger came in 1971; phosphorus of plot 4 was first tested after it in 1972.
    for (code, analyte, case, deeper) in [("1", Analyte::Ph, case("R1"), 1971), ("4", PHOSPHORUS, case("R2"), 1972)] {
        let found = app.plot_trend(&actor, plots[code], analyte).await.unwrap();
        let deep = found.methods.iter().flat_map(|method| &method.segments);
        let deep: Vec<_> = deep.filter(|one| one.depth.is_some_and(|depth| depth.bottom.0 == 23.0)).cloned().collect();
        let [segment] = &deep[..] else { panic!("one segment of the deeper auger: {deep:?}") };
        assert_eq!(segment.points.iter().map(|point| point.sampled_on).collect::<Vec<_>>(), days(&case["dates"]));
        for (point, expected) in segment.points.iter().zip(numbers(&case["y"])) {
            assert!((point.value / expected - 1.0).abs() < 0.005, "{} against {expected}", point.value);
        }
        assert_eq!(drift::verdict(&deep).exact_p, Some(fraction(&case["p_exact_two_sided"])));
        let broken: Vec<&str> = found.breaks.iter().map(|one| one.words.as_str()).collect();
        assert_eq!(broken, [format!("Depth changed from 0–18\u{a0}cm to 0–23\u{a0}cm in {deeper}")]);
        assert!(found.slope.is_none_or(|working| working.is_grounded()));
    }
}

/// The same soil by ammonium nitrate in 2019 stands beside the tests of the time and joins none.
#[tokio::test]
async fn the_second_extractant_never_joins_the_first() {
    let Some((_folder, app, actor, _)) = imported().await else { return };
    for (code, plot) in plots(&app, &actor).await {
        let PlotTrend { methods, verdict, breaks, .. } = app.plot_trend(&actor, plot, POTASSIUM).await.unwrap();
        let by: BTreeSet<String> = methods.iter().map(|method| method.method.slug()).collect();
        assert_eq!(by.len(), 3, "plot {code}: two extractants, one of them read by two instruments");
        for method in &methods {
            assert!(
                method.segments.iter().all(|segment| segment.method == method.method && segment.unit == method.unit)
            );
        }
        // What parts the runs of each is said: the deeper auger, and the plasma in the place of the flame.
        let breaks: Vec<String> = breaks.into_iter().map(|one| one.words.replace('\u{a0}', " ")).collect();
        assert_eq!(
            breaks,
            [
                "Depth changed from 0–18 cm to 0–23 cm in 1971 (Ammonium acetate, pH 7)",
                "Depth changed from 0–18 cm to 0–23 cm in 1974 (Ammonium nitrate)",
                "Method changed from Ammonium acetate, pH 7 to Ammonium acetate, pH 7, by ICP in 1989",
            ],
            "plot {code}"
        );
        let by_icp: Method = BY_ICP.parse().unwrap();
        let all: Vec<_> = methods.iter().flat_map(|method| method.segments.clone()).collect();
        let years = |segment: &Segment| segment.points.iter().map(|p| p.sampled_on.year()).collect::<Vec<_>>();
        let runs = |method: &Method| -> Vec<(f64, Vec<i16>)> {
            let of = all.iter().filter(|segment| segment.method == *method);
            of.map(|segment| (segment.depth.unwrap().bottom.0, years(segment))).collect()
        };
        let flame = vec![(18.0, vec![1964, 1967]), (23.0, vec![1971, 1972, 1973, 1974])];
        assert_eq!(runs(&Method::AmmoniumAcetate7), flame, "plot {code}");
        assert_eq!(runs(&by_icp), [(23.0, vec![1989, 1994])], "plot {code}");
        // The three runs of acetate are read together, each at its own level; nitrate is not counted again.
        assert_eq!((verdict.n, verdict.ranks.pairs), (8, 1 + 6 + 1), "plot {code}");
        assert!(verdict.notes.iter().any(|note| note.starts_with("Not used: Ammonium nitrate")), "plot {code}");
    }
}

/// Plot 28: what the source applied comes back in the ledger, what its potatoes, barley, oats,
/// beans and wheat took is reckoned from the yields, and the crops without figures stay unknown.
#[tokio::test]
async fn applications_and_yields_make_the_ledger() {
    let Some((_folder, app, actor, _)) = imported().await else { return };
    let plots = plots(&app, &actor).await;
    let mut harvests = 0;
    for plot in plots.values() {
        let all = app.harvests_of_plot(&actor, *plot, false).await.unwrap();
        harvests += all.iter().filter(|row| row.harvest.crop.is_some()).count();
    }
    // Counted in the source with another program: yields of the five crops above nothing, two halves as
    // one; of 59 more the source gives none or nought.
    assert_eq!(harvests, 677);
    let plot = plots["28"];
    let rows = app.harvests_of_plot(&actor, plot, false).await.unwrap();
    // Tonnes a hectare over all years, the mean of two halves, summed with another program.
    let yields = [("potato", 118.466), ("barley", 49.416), ("wheat", 17.755), ("field_bean", 12.734), ("oats", 12.015)];
    let mut potassium = 0.0;
    for (crop, t_per_ha) in yields {
        let of_crop = rows.iter().filter(|row| row.harvest.crop.as_deref() == Some(crop));
        let kg: f64 = of_crop.map(|row| row.harvest.mass_kg).sum();
        assert!((kg / (t_per_ha * 100.0) - 1.0).abs() < 1e-4, "{crop}: {kg} kg on 1000 m²");
        let removal = offtake::removal(Crop::find(crop).as_ref(), Element::K, &Figures::Tables);
        potassium += removal.map_or(0.0, |removal| removal.kg_per_t.mid * t_per_ha);
    }
    let ledger = app.plot_ledger(&actor, plot).await.unwrap().ledger;
    let last = ledger.seasons.last().unwrap();
    let so_far = |element: Element| last.so_far.iter().find(|line| line.element == element).unwrap();
    for (element, kg_per_ha) in [(Element::P, 745.0), (Element::K, 2438.0), (Element::Mg, 497.0)] {
        let line = so_far(element);
        assert!((line.brought.known.mid / kg_per_ha - 1.0).abs() < 2e-5, "{element}: {}", line.brought.known.mid);
        assert!(line.brought.is_complete(), "{element}: a salt is what its formula says");
        assert!(
            !line.carried.is_complete() && matches!(line.net, Net::AtMost(_)),
            "{element}: rape has no figures here"
        );
        assert!(line.working.is_grounded());
    }
    let carried = so_far(Element::K).carried.known.mid;
    assert!(potassium > 300.0 && (carried / potassium - 1.0).abs() < 1e-4, "{carried} against {potassium} kg/ha");
}

/// What the plots that got potassium or phosphorus answered: a number with its range, or why none.
#[tokio::test]
async fn the_response_is_learned_or_says_why_not() {
    let (Some((_folder, app, actor, _)), Some(golden)) = (imported().await, golden()) else { return };
    let site = app.sites(&actor).await.unwrap()[0].id;
    // Fertilised against unfertilised plots, all that was applied since 1962, the crops' part
    // not taken off: by another program. What is learned net of offtake is of that size.
    let rows = list(&golden["response"]["real_liming_experiment_contrast"]["rows"]);
    // The harvests of 1991 to 1993 are of rape and lupins, whose removal stands in no table here.
    let of_potassium: &[(&str, usize)] = &[
        ("Ammonium acetate, pH 7, by ICP, mg/kg, 0–23 cm: net not known", 32),
        ("Ammonium acetate, pH 7, mg/kg, 0–18 cm: learned", 30),
        ("Ammonium acetate, pH 7, mg/kg, 0–18 cm: too little net", 2),
        ("Ammonium acetate, pH 7, mg/kg, 0–23 cm: learned", 22),
        ("Ammonium acetate, pH 7, mg/kg, 0–23 cm: too little net", 8),
        ("Ammonium acetate, pH 7, mg/kg, 0–23 cm: too uncertain", 2),
        ("Ammonium nitrate, mg/kg, 0–18 cm: learned", 30),
        ("Ammonium nitrate, mg/kg, 0–18 cm: too little net", 2),
        ("Ammonium nitrate, mg/kg, 0–23 cm: learned", 32),
    ];
    let of_phosphorus: &[(&str, usize)] = &[
        ("Olsen (bicarbonate), mg/kg, 0–18 cm: learned", 16),
        ("Olsen (bicarbonate), mg/kg, 0–18 cm: too few tests", 16),
        ("Olsen (bicarbonate), mg/kg, 0–23 cm: learned", 14),
        ("Olsen (bicarbonate), mg/kg, 0–23 cm: too little net", 17),
        ("Olsen (bicarbonate), mg/kg, 0–23 cm: too uncertain", 1),
    ];
    for (element, test, contrasted, expected) in [
        (Element::K, "k_nh4oac_mg_kg", "Ammonium acetate, pH 7, mg/kg, 0–23 cm", of_potassium),
        (Element::P, "olsen_p_mg_kg", "Olsen (bicarbonate), mg/kg, 0–23 cm", of_phosphorus),
    ] {
        let gross = rows.iter().filter(|row| row["test"] == test);
        let gross: Vec<f64> = gross.map(|row| row["gross_response_per_kg_ha"].as_f64().unwrap()).collect();
        assert!(!gross.is_empty());
        let mut learned: BTreeMap<String, usize> = BTreeMap::new();
        let (mut taught, mut of_its_size) = (0, 0);
        for one in app.site_responses(&actor, site, element).await.unwrap() {
            let label = one.segment.label().replace('\u{a0}', " ");
            let outcome = match one.response.as_ref().map(|response| &response.own) {
                Some(Ok(_)) => "learned".to_owned(),
                Some(Err(skip)) => skipped(skip),
                // Nothing was published for it and too few plots teach: the tests' own reason, where they have one.
                None => one.tests.as_ref().err().map_or_else(|| skipped(&Skip::NothingToHoldAgainst), skipped),
            };
            if let Some(response) = &one.response {
                let (low, high) = response.range_90();
                assert!(response.response.is_finite() && low <= response.response && response.response <= high);
                assert!(response.working.is_grounded());
                // Net of offtake and gross of it are of one size: the contrast lies in the range of every plot.
                if element == Element::P && response.own.is_ok() && label.ends_with("0–23 cm") {
                    assert!(gross.iter().all(|gross| (low..=high).contains(gross)), "{low} to {high}, not {gross:?}");
                }
            } else {
                assert!(one.why_not_beyond().is_some_and(|why| !why.is_empty()), "nothing is said of {label}");
            }
            if let (Some(Ok(fit)), true) = (one.response.as_ref().map(|response| &response.own), label == contrasted) {
                taught += 1;
                let off = gross.iter().map(|gross| (fit.response - gross).abs()).fold(f64::MAX, f64::min);
                of_its_size += usize::from(off <= drift::Z_90 * fit.se);
            }
            *learned.entry(format!("{label}: {outcome}")).or_default() += 1;
        }
        // A few years of one plot, its offtake taken off, are not twelve years of sixteen plots against sixteen,
        // the offtake left in: yet of most plots the 90 % range of their own tests holds that contrast.
        assert!(2 * of_its_size > taught, "{element}: {of_its_size} of {taught}");
        let learned: Vec<(&str, usize)> = learned.iter().map(|(outcome, plots)| (outcome.as_str(), *plots)).collect();
        assert_eq!(learned, expected, "{element}");
    }
}

/// The kind of a reason why nothing was learned.
fn skipped(skip: &Skip) -> String {
    match skip {
        Skip::NetNotKnown(_) => "net not known",
        Skip::TooLittleNet { .. } => "too little net",
        Skip::TooUncertain { .. } => "too uncertain",
        Skip::TooFewTests(_) => "too few tests",
        Skip::NotBounded => "not bounded",
        Skip::NothingToHoldAgainst => "nothing to hold against",
        Skip::NotAnElement => "no element",
    }
    .to_owned()
}

/// pH of plot 28 by the deeper auger against the lime of 1978 to 1986, weighted least squares with Python
/// (numpy 2.4, normal equations) from the source's own rows: lime 4.893e-5 pH per kg/ha of calcium carbonate,
/// −0.0437 a year beyond it (90 %: −0.1049 to 0.0175, widened 2.677 times), +0.0458 a year as tested.
#[tokio::test]
async fn the_second_reading_of_ph_is_what_lime_did() {
    let Some((folder, app, actor, _)) = imported().await else { return };
    let plots = plots(&app, &actor).await;
    let found = app.plot_trend(&actor, plots["28"], Analyte::Ph).await.unwrap();
    assert_eq!(found.limings.len(), 6, "{:?}", found.limings);
    let about = |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 1e-4, "{found}, not {expected}");
    let runs = found.limed();
    let (run, deep) = runs.iter().find(|(run, _)| run.depth.is_some_and(|depth| depth.bottom.0 == 23.0)).unwrap();
    let beyond = deep.beyond.as_ref().unwrap();
    assert!(beyond.fitted && deep.too_soon.is_empty());
    assert_eq!((beyond.tests, run.points.len()), (13, 13));
    about(beyond.start, 6.889757282542022);
    about(beyond.response, 4.8934650272889574e-05);
    about(beyond.per_year, -0.043711717201463066);
    about(beyond.interval_90().0, -0.10487738593009077);
    about(beyond.interval_90().1, 0.017453951527164648);
    about(beyond.as_tested.0, 0.04579895288404371);
    about(beyond.as_tested.1, 0.01806490348275069);
    let left = deep.less_lime(run);
    about(left.last().unwrap().lime.0, 32_500.0);
    about(left.last().unwrap().moved, 32_500.0 * 4.8934650272889574e-05);
    // Plots that got none say so.
    let bare = app.plot_trend(&actor, plots["1"], Analyte::Ph).await.unwrap();
    assert!(bare.limings.is_empty());
    let why = bare.limed().into_iter().map(|(_, limed)| limed.beyond.unwrap_err());
    assert!(why.into_iter().all(|why| why.contains("No lime is on record")));

    let garden = Garden::of(folder, app, actor).await;
    let page = garden.get(&format!("/plots/{}/trend/ph", plots["28"])).await.replace('\u{a0}', " ");
    assert!(page.contains("lime, 15,000 kg/ha CaCO₃-equivalent"), "lime stays on the picture: {page}");
    // Limed on 5 March and 4 December 1962, tested on 9 November 1962 and 30 October 1963: none within six months.
    assert!(!page.contains("may not have reacted"), "{page}");
    let page = garden.get(&format!("/plots/{}/trend/ph?reading=net", plots["28"])).await.replace('\u{a0}', " ");
    assert!(page.contains("The lime put on explains the rise in pH"), "{page}");
    assert!(page.contains("pH, had no lime gone on") && page.contains("32,500"), "{page}");
}

#[tokio::test]
async fn the_pages_of_the_experiment_ask_about_the_doubted_potassium_of_1974() {
    let Some((folder, app, actor, _)) = imported().await else { return };
    let (plot, site) = (plots(&app, &actor).await["28"], app.sites(&actor).await.unwrap()[0].id);
    let samplings = app.samplings(&actor, plot).await.unwrap();
    let doubted = samplings
        .iter()
        .find(|loaded| loaded.row.sampled_on == date(1974, 10, 30) && loaded.row.sub_sample.as_deref() == Some("1"));
    let garden = Garden::of(folder, app, actor).await;
    // Source note 8: K of plot 28, half 1, in 1974 is queried as too high.
    let page = garden.get(&format!("/samplings/{}", doubted.unwrap().row.id)).await;
    let asked = page.split("Worth another look").nth(1).expect("a question").split("</section>").next().unwrap();
    assert!(asked.contains("potassium") || asked.contains("Potassium"), "{asked}");
    let story = garden.get(&format!("/plots/{plot}/story")).await.replace('\u{a0}', " ");
    assert!(story.contains("Season 1974") && story.contains("Harvest: ") && story.contains("(assumed)"), "{story}");
    for path in [
        format!("/plots/{plot}/ledger"),
        format!("/plots/{plot}/response"),
        format!("/plots/{plot}/trend/K?reading=net"),
        format!("/plots/{plot}/summary"),
        format!("/sites/{site}/drift"),
        format!("/sites/{site}/summary"),
    ] {
        garden.get(&path).await;
    }
    assert!(source().is_some());
}

// ---- Broadbalk

/// The day that a stated year or span of years stands for: its middle. All are guesses.
fn middle_of(years: &str) -> String {
    match years.split_once('-') {
        Some((from, to)) => {
            let from: i16 = from.parse().unwrap();
            let to = from / 100 * 100 + to.parse::<i16>().unwrap();
            let whole = from + (to - from + 1) / 2;
            if (to - from + 1) % 2 == 0 { format!("{whole}-01-01") } else { format!("{whole}-07-01") }
        }
        None => format!("{years}-07-01"),
    }
}

#[test]
fn a_span_of_years_stands_for_its_middle() {
    for (years, day) in
        [("1843", "1843-07-01"), ("1987-88", "1988-01-01"), ("1992-96", "1994-07-01"), ("2005-06", "2006-01-01")]
    {
        assert_eq!(middle_of(years), day);
    }
}

fn broadbalk() -> Option<BTreeMap<String, Vec<u8>>> {
    let text = oracle("data/broadbalk_olsen_p_1843_2010.csv")?;
    let mut plots = String::from("plot,name,area_m2,texture,depth_cm,note\n");
    let mut samplings = String::from("sampling,plots,sampled_on,date_assumed,depth_top_cm,depth_bottom_cm,note\n");
    let mut cells = String::from("sampling,lab,report,report_note,analyte,method,printed,unit\n");
    let mut seen = BTreeSet::new();
    for line in csv::Reader::from_reader(text.as_bytes()).deserialize::<BTreeMap<String, String>>() {
        let line = line.unwrap();
        let (plot, years) = (&line["plot"], &line["sample_year"]);
        if seen.insert(plot.clone()) {
            plots += &format!("{plot},\"{}\",1000,silty_clay_loam,23,Area assumed\n", line["treatment"]);
        }
        let key = format!("{plot}/{years}");
        samplings +=
            &format!("{key},{plot},{},1,0,23,\"Stated as {years}; the day is the middle\"\n", middle_of(years));
        let note = if line["flag"] == "estimated" { "Estimated by the publisher, not measured" } else { "" };
        cells += &format!("{key},Rothamsted,{years},\"{note}\",P,olsen,{},mg/kg\n", line["olsen_p_mg_kg"]);
    }
    let files = [("plots.csv", plots), ("samplings.csv", samplings), ("determinations.csv", cells)];
    Some(files.map(|(name, text)| (name.to_owned(), text.into_bytes())).into())
}

/// A century and two thirds of one field: every day a guess, the first value an estimate.
#[tokio::test]
async fn broadbalks_phosphorus_is_one_long_series_with_days_that_are_guesses() {
    let Some(files) = broadbalk() else { return };
    let (folder, app, actor) = fresh().await;
    let told = app.accept_import(Some(&actor), &into("Broadbalk"), files).await.unwrap();
    assert!(told.problems.is_empty() && told.saved, "{:?}", told.problems);
    let plots = plots(&app, &actor).await;
    assert_eq!(plots.len(), 6);
    // S and the exact p of each, made with Python from the same rows: the number of inversions of
    // a multiset in exact fractions (q-multinomial coefficients).
    for (code, tests, p) in [
        ("03", 12, (1_217_569, 1_663_200)),
        ("10", 12, (3_141, 7_700)),
        ("05", 13, (13_354_729, 3_113_510_400)),
        ("08", 11, (2_414_387, 19_958_400)),
        ("18", 11, (4_003, 66_528)),
        ("2.2", 13, (3_611_093, 259_459_200)),
    ] {
        let found = app.plot_trend(&actor, plots[code], PHOSPHORUS).await.unwrap();
        let [method] = &found.methods[..] else { panic!("one method") };
        let [segment] = &method.segments[..] else { panic!("one segment") };
        assert_eq!((segment.points.len(), found.verdict.n), (tests, tests), "plot {code}");
        assert!(segment.points.iter().all(|point| point.date_assumed), "every day is a guess");
        assert_eq!(found.verdict.exact_p, Some(Fraction::new(p.0, p.1)), "plot {code}");
        eprintln!("{code}: {}", found.verdict.words);
    }
    let first = &app.samplings(&actor, plots["05"]).await.unwrap()[0];
    let report = glebe::ids::ReportId(first.sampling.reports[0].key);
    let plot = plots["05"];
    let garden = Garden::of(folder, app, actor).await;
    assert!(garden.get(&format!("/reports/{report}")).await.contains("Estimated by the publisher"));
    let page = garden.get(&format!("/plots/{plot}/trend/P")).await;
    assert!(page.contains("1843") && page.contains("2010"), "{page}");
    // What was said of a sampling and on its report stands with the point, and the estimate is marked.
    let row = |value: &str, note: &str| {
        let rows = page.split("<tr>").map(|row| row.split("</tr>").next().unwrap());
        let rows: Vec<&str> = rows.filter(|row| row.contains(note)).collect();
        assert_eq!(rows.len(), 1, "{note}: {rows:?}");
        assert!(rows[0].contains(&format!(">{value} *<")), "{}", rows[0]);
        rows[0].to_owned()
    };
    let estimated = row("10", "Stated as 1843;");
    assert!(estimated.contains("Estimated by the publisher, not measured"), "{estimated}");
    assert!(estimated.contains("date assumed"), "{estimated}");
    let span = row("89", "Stated as 1992-96; the day is the middle");
    assert!(!span.contains("Estimated"), "{span}");
    assert_eq!(page.matches("class=\"remarked\"").count(), 13, "a star on every point of which something is noted");
    let story = garden.get(&format!("/plots/{plot}/story")).await;
    assert!(story.contains("1843, outside the seasons") && story.contains("(assumed)"), "{story}");
}
