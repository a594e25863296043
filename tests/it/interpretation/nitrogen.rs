//! The nitrogen budget.

use super::{ground, mg_l, nitrate, percent};
use glebe::agronomy::{
    analyte::Analyte,
    crop::Crop,
    ground::Ground,
    guideline,
    method::Method,
    nitrogen::{
        Asked, CoverCrop, Livestock, ManureN, NitrateAdvice, OM_CAP_PERCENT, OrganicN, Range, Term, TermKind,
        TotalMaterial, TotalN, budget, by_nitrate_test, compost, cover_crop, crop_demand, first_year_of_total,
        from_organic_matter, manure, manure_of_parts, manure_of_total, nitrate_in_ground, stated_demand,
    },
    quantity::{Centimetres, GramsPerCm3, KgPerHa},
    rate::RateUnit,
    reading::Reading,
    record::DepthBand,
};
use proptest::prelude::*;

/// What the test of a set says of a level, with a base rate of nitrogen where it wants one.
fn said(set: &str, reading: &Reading, base: Option<KgPerHa>) -> Result<NitrateAdvice, String> {
    let set = guideline::find(set).expect("a set");
    by_nitrate_test(&set.nitrate[0], reading, &Asked { base, corn: None })
}

fn organic_matter(found: f64) -> Term {
    let reading = percent(Analyte::OrganicMatter, Method::LossOnIgnition, found);
    from_organic_matter(&reading, &ground(), OM_CAP_PERCENT).unwrap()
}

#[test]
fn organic_matter_gives_a_range_that_is_capped_and_names_its_method() {
    // 2,000,000 lb of soil: Hartz's 1 to 2 % of 750 to 1,000 lb is 7.5 to 20 lb/acre for 1 %.
    let convention = Ground { bulk_density: Some(GramsPerCm3(2.0e6 * 1.120851 / 1.5e6)), ..ground() };
    let reading = percent(Analyte::OrganicMatter, Method::LossOnIgnition, 1.0);
    let one = from_organic_matter(&reading, &convention, OM_CAP_PERCENT).unwrap();
    assert!((one.range.low.lb_per_acre() - 7.5).abs() < 1e-3 && (one.range.high.lb_per_acre() - 20.0).abs() < 1e-3);
    // The University of Vermont's conservative 10 lb/acre for 1 % lies within.
    assert!(one.range.low.lb_per_acre() < 10.0 && 10.0 < one.range.high.lb_per_acre());
    let (rich, capped) = (organic_matter(12.0), organic_matter(OM_CAP_PERCENT));
    assert_eq!(rich.range, capped.range);
    assert!(rich.notes.iter().any(|n| n.contains("12 % was found")), "{:?}", rich.notes);
    assert!(rich.notes.iter().any(|n| n.contains("loss on ignition")) && rich.working.is_grounded());
    let carbon = percent(Analyte::OrganicCarbon, Method::DryCombustion, 1.0);
    let carbon = from_organic_matter(&carbon, &ground(), OM_CAP_PERCENT).unwrap();
    assert!((carbon.range.high.0 / organic_matter(1.724).range.high.0 - 1.0).abs() < 1e-9);
}

#[test]
fn a_budget_is_as_wide_as_its_parts_and_never_below_zero() {
    let demand = stated_demand(100.0, 120.0, "leeks, my own record");
    let worked = budget(demand.clone(), vec![organic_matter(2.0)], false);
    let from_soil = organic_matter(2.0).range;
    assert!((worked.need.low.0 - (100.0 - from_soil.high.0)).abs() < 1e-9);
    assert!((worked.need.high.0 - (120.0 - from_soil.low.0)).abs() < 1e-9);
    assert!(worked.working.is_grounded());
    let drowned = budget(demand, vec![manure(Livestock::Poultry, 30.0, [OrganicN(900.0); 3])], false);
    assert_eq!(drowned.need, Range::between(0.0, 0.0));
}

#[test]
fn what_is_known_from_memory_is_left_out_unless_switched_on() {
    let demand = stated_demand(100.0, 100.0, "as always");
    let pellets = || vec![first_year_of_total(TotalMaterial::FreshPoultry, TotalN(100.0))];
    let off = budget(demand.clone(), pellets(), false);
    // One figure is told no finer than a fifth to either side.
    assert_eq!((off.need.low.0, off.need.high.0, off.left_out.len()), (80.0, 120.0, 1));
    assert!(off.notes.iter().any(|n| n.contains("only from memory")));
    let on = budget(demand, pellets(), true);
    assert_eq!((on.need.low.0, on.need.high.0), (40.0, 60.0));
    let tomato = Crop::find("tomato").unwrap();
    assert!((crop_demand(&tomato, true).unwrap().range.high.lb_per_acre() - 200.0).abs() < 1e-9);
    // Colorado State 7.247: half a pound of nitrogen on 1,000 ft² where no test was made.
    let general = crop_demand(&tomato, false).unwrap();
    assert!((RateUnit::LbPer1000Ft2.show(general.range.high) - 0.5).abs() < 1e-9 && !general.is_from_memory());
    assert!(crop_demand(&Crop::find("pea").unwrap(), false).unwrap_err().contains("from the air"));
}

#[test]
fn woody_compost_and_a_ripe_cereal_tie_nitrogen_up() {
    assert!(compost(TotalN(200.0), Some(35.0)).notes.iter().any(|n| n.contains("ties nitrogen up")));
    assert_eq!(compost(TotalN(200.0), Some(25.0)).range, Range::between(0.0, 0.0));
    assert_eq!(compost(TotalN(200.0), Some(12.0)).kind, TermKind::Compost);
    let rye = CoverCrop { dry_matter_kg_per_ha: 8000.0, nitrogen_percent: 1.0, cereal: true };
    let rye = cover_crop(&rye).unwrap();
    // PNW 636: no credit, and up to 50 lb/acre tied up.
    assert_eq!(rye.range.high, KgPerHa(0.0));
    assert!((rye.range.low.lb_per_acre() + 50.0).abs() < 1e-9);
    let worked = budget(stated_demand(60.0, 60.0, "lettuce"), vec![rye], false);
    assert!(worked.need.high.0 > 110.0 && worked.need.low.0 == 60.0);
}

#[test]
fn a_test_for_the_top_foot_refuses_another_depth_and_volume() {
    let mut shallow = nitrate(12.0);
    shallow.depth = Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(15.0) });
    assert!(said("rutgers_nitrate", &shallow, None).unwrap_err().contains("top 30 cm"));
    let scooped = mg_l("nitrate_n", Method::PotassiumChloride, 12.0);
    assert!(said("vegetables_nitrate", &scooped, None).unwrap_err().contains("by volume"));
    assert!(said("rutgers_nitrate", &nitrate(12.0), None).unwrap().working.is_grounded());
    // Ohio State and Penn State start from something that was not told.
    assert!(said("ohio_nitrate", &nitrate(12.0), None).unwrap_err().contains("base rate"));
    assert!(said("penn_state_nitrate", &nitrate(12.0), None).unwrap_err().contains("yield of grain"));
}

#[test]
fn every_shipped_nitrate_test_and_rule_for_parts_speaks_and_cites() {
    let tests: Vec<_> = guideline::builtin().iter().flat_map(|set| &set.nitrate).collect();
    assert_eq!(tests.len(), 5);
    for test in tests {
        assert!(test.of.in_force && !test.of.source.title.is_empty() && test.of.changed.is_none(), "{}", test.name);
        // No level lies between two bands, also at a tenth of the printed precision.
        for tenths in 1..600 {
            let at = |tenths: i32| {
                let band = test.band(f64::from(tenths) / 10.0);
                test.bands.iter().position(|other| Some(other) == band).unwrap()
            };
            assert!(at(tenths) == at(tenths - 1) || at(tenths) == at(tenths - 1) + 1, "{}: {tenths}", test.name);
        }
    }
    // University of California: 10, 20 and 30 on both sides of each seam, at the printed tenth.
    let class = |ppm: f64| said("uc_nitrate", &nitrate(ppm), None).unwrap().class;
    let seen = [9.9, 10.0, 19.9, 20.0, 30.0, 30.1].map(class);
    assert_eq!(seen, ["low", "medium", "medium", "high", "high", "excessive"]);
    assert!(guideline::find("uc_nitrate").unwrap().nitrate[0].seams[0].why.contains("20 is printed"));
}

#[test]
fn nitrate_in_the_ground_has_the_error_of_one_test_around_it() {
    // UC: 20 mg/kg in a foot is 72 lb/acre at 3,600,000 lb of soil, 1.324 g/cm³.
    let foot = Ground { bulk_density: Some(GramsPerCm3(1.345)), ..ground() };
    let term = nitrate_in_ground(&nitrate(20.0), &foot).unwrap();
    let (low, high) = (term.range.low.lb_per_acre(), term.range.high.lb_per_acre());
    assert!(low < 72.0 && 72.0 < high && term.working.is_grounded(), "{low} {high}");
    let counted = budget(stated_demand(100.0, 100.0, "kale"), vec![term, organic_matter(2.0)], false);
    assert!(counted.notes.iter().any(|n| n.contains("counted twice")));
}

#[test]
fn organic_nitrogen_is_what_is_left_without_ammonium() {
    assert_eq!(TotalN(120.0).less_ammonium(45.0), Ok(OrganicN(75.0)));
    assert!(TotalN(20.0).less_ammonium(45.0).is_err());
}

#[test]
fn a_manure_whose_ammonium_is_known_decays_by_its_organic_nitrogen_alone() {
    // Cornell CSS 412: 10 tons to the acre with 5 lb of organic nitrogen in a ton, 6 % dry matter, the
    // same each year, give 17.5 + 6.0 + 2.5 lb; its page on ammonium has 4 lb of that in a ton beside it.
    let lb = |lb: f64| RateUnit::LbPerAcre.read(lb).0;
    let each = ManureN { total: TotalN(lb(90.0)), ammonium_kg_per_ha: lb(40.0) };
    let terms = manure_of_parts(Some(Livestock::Cow), Some(6.0), [each; 3]).unwrap();
    let pounds: Vec<_> = terms.iter().map(|t| (t.range.low.lb_per_acre(), t.range.high.lb_per_acre())).collect();
    let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
    assert!(near(pounds[0].0, 26.0) && near(pounds[0].1, 26.0), "{pounds:?}");
    // Of this year's ammonium any share may stay; that of the years before is not counted again.
    assert!(near(pounds[1].0, 0.0) && near(pounds[1].1, 40.0) && pounds.len() == 2, "{pounds:?}");
    assert!(terms.iter().all(|term| term.working.is_grounded() && !term.is_from_memory()));
    assert!(terms[0].notes.iter().any(|note| note.contains("total less ammonium")), "{:?}", terms[0].notes);
    // The whole 90 lb through the decay, as where nobody analysed it, is another figure: 31.5 + 10.8 + 4.5.
    let whole = manure_of_total(Some(Livestock::Cow), Some(6.0), [each.total; 3]);
    assert!(near(whole.range.high.lb_per_acre(), 46.8), "{:?}", whole.range);
    let old = [ManureN::default(), each, each];
    assert_eq!(manure_of_parts(Some(Livestock::Cow), Some(6.0), old).unwrap().len(), 1);
    let odd = ManureN { total: TotalN(10.0), ammonium_kg_per_ha: 12.0 };
    assert!(manure_of_parts(None, None, [odd, each, each]).unwrap_err().contains("more ammonium"));
}

proptest! {
    #[test]
    fn more_nitrate_never_asks_for_more(a in 0.0f64..60.0, more in 0.0f64..30.0, base in 0.0f64..300.0) {
        let rates = |ppm: f64| [
            said("rutgers_nitrate", &nitrate(ppm), None).unwrap().rate.unwrap().0,
            said("ohio_nitrate", &nitrate(ppm), Some(KgPerHa(base))).unwrap().rate.unwrap().0,
        ];
        for (less, more) in rates(a).into_iter().zip(rates(a + more)) {
            prop_assert!(more >= 0.0 && less >= more);
        }
    }

    #[test]
    fn a_richer_cover_crop_never_gives_less(n in 0.0f64..6.0, more in 0.0f64..2.0, dm in 0.0f64..15000.0) {
        let give = |n: f64| {
            cover_crop(&CoverCrop { dry_matter_kg_per_ha: dm, nitrogen_percent: n, cereal: false }).unwrap().range
        };
        prop_assert!(give(n).low.0 >= 0.0 && give(n + more).low.0 >= give(n).low.0 - 1e-9);
        prop_assert!(give(n).high.0 <= 20.0 * dm / 1000.0 + 1e-9);
    }

    #[test]
    fn a_budget_stays_at_or_above_zero(low in -50.0f64..300.0, high in -50.0f64..300.0, om in 0.0f64..20.0, n in 0.0f64..500.0) {
        let supplies = vec![organic_matter(om), manure(Livestock::Cow, 20.0, [OrganicN(n); 3])];
        let worked = budget(stated_demand(low, high, "tried"), supplies, false);
        prop_assert!(worked.need.low.0 >= 0.0 && worked.need.low.0 <= worked.need.high.0);
    }
}
