//! Responses: units, what was published, the ceiling, and what tests teach.

use super::*;
use glebe::agronomy::{
    element::Form,
    quantity::{GramsPerCm3, KG_PER_HA_PER_LB_PER_ACRE, KgPerHa, SoilLayer},
    response::{self, Prior, TestAt},
};

#[test]
fn golden_responses() {
    with_file(responses);
}

#[test]
fn golden_published_responses_and_ceilings() {
    with_file(published);
}

#[test]
fn golden_liming_experiment() {
    with_file(experiment);
}

pub(super) fn all(file: &At) {
    responses(file);
    published(file);
    experiment(file);
}

fn prior_of(shrunk: &At) -> Prior {
    let (mean, sd) = (shrunk.to("prior_mean").number(), shrunk.to("prior_sd").number());
    Prior { mean, sd, working: Working::leaf("Held before", Figure::new(mean, "", 2), Origin::Published) }
}

fn responses(file: &At) {
    let case = file.to("response").to("synthetic_P");
    let mut net = 0.0;
    let flows =
        pairs(case.to("applied_kg_ha_since_previous").numbers(), case.to("removed_kg_ha_since_previous").numbers());
    for ((applied, removed), expected) in pairs(flows.collect(), case.to("cum_net").all()) {
        net += applied - removed;
        expected.holds(net);
    }
    let tests: Vec<TestAt> = pairs(case.to("t_years").numbers(), case.to("cum_net").numbers())
        .zip(pairs(case.to("test").numbers(), case.to("sd").numbers()))
        .map(|((years, net_kg_per_ha), (found, sd))| TestAt { net_kg_per_ha, years, found: Found::Exact(found), sd })
        .collect();
    let prior = prior_of(&case.to("shrunk"));
    let fit = response::fit(&tests, Some(&prior)).unwrap();
    let expected = case.to("fit");
    expected.to("a").holds(fit.intercept);
    expected.to("r").holds(fit.response);
    expected.to("se_r").holds(fit.se);
    expected.to("chi2").holds(fit.chi2);
    assert_eq!(fit.degrees_of_freedom, expected.to("dof").count());
    expected.to("birge").holds(fit.birge);
    let learned = response::respond(Element::P, "mg/kg", Ok(fit), Some(&prior), None).unwrap();
    let expected = case.to("shrunk");
    expected.to("weight_on_plot").holds(learned.own_share);
    expected.to("posterior_mean").holds(learned.response);
    expected.to("posterior_sd").holds(learned.sd);
    let (middle, least, most) = learned.to_raise(10.0).unwrap();
    let expected = case.to("kg_ha_to_raise_10ppm");
    expected.to("point").holds(middle.0);
    expected.to("using_r_low_90").holds(least.0); // named in the file by the end of the range that it starts from
    expected.to("using_r_high_90").holds(most.unwrap().0);

    let case = file.to("response").to("two_tests_only_K");
    let cv = case.to("cv").number();
    let at = |net_kg_per_ha: f64, years: f64, found: f64| TestAt {
        net_kg_per_ha,
        years,
        found: Found::Exact(found),
        sd: cv * found,
    };
    let net = case.to("net_kg_ha").number();
    let tests = [at(0.0, 0.0, case.to("first").number()), at(net, 2.0, case.to("second").number())];
    let expected = case.to("shrunk");
    let prior = prior_of(&expected);
    let fit = response::fit(&tests, Some(&prior)).unwrap();
    case.to("r").holds(fit.response);
    case.to("se_r").holds(fit.se);
    let (mean, sd, weight) = response::weigh((fit.response, fit.se), (prior.mean, prior.sd));
    expected.to("weight_on_plot").holds(weight);
    expected.to("posterior_mean").holds(mean);
    expected.to("posterior_sd").holds(sd);
}

fn published(file: &At) {
    let file = file.to("response");
    let units = file.to("conversions");
    units.to("lb_ac_to_kg_ha").holds(KG_PER_HA_PER_LB_PER_ACRE);
    // The file's factors are of rounded atomic weights: they agree with the newest to 2 in 100,000.
    const WEIGHTS: f64 = 2e-5;
    units.to("P_per_P2O5").about(Form::P2O5.to_element(), WEIGHTS);
    units.to("K_per_K2O").about(Form::K2O.to_element(), WEIGHTS);
    let rows = file.to("literature_prior_table").all();
    // Those of the file first, in its order; the three of the liming experiment after them.
    assert_eq!(response::PUBLISHED.len(), rows.len() + 3);
    for (row, found) in rows.iter().zip(response::PUBLISHED) {
        row.to("ppm_per_kg_ha").about(found.response, WEIGHTS);
        row.to("kg_element_ha_per_ppm").about(1.0 / found.response, WEIGHTS);
    }
    for case in file.to("physical_ceiling").all() {
        let depth = Centimetres(case.to("depth_cm").number());
        let bulk_density = GramsPerCm3(case.to("bulk_density_g_cm3").number());
        let layer = SoilLayer::Measured { depth, bulk_density, stones: 0.0 };
        case.to("soil_mass_kg_ha").holds(layer.soil_kg_per_ha());
        case.to("max_ppm_per_kg_ha").holds(response::ceiling(MgPerKg::UNIT, &layer, depth).unwrap());
    }
}

/// Plots of the Rothamsted liming experiment with and without P or K (Glendining and others 2023, CC BY
/// 4.0): the mean of each plot's halves.
fn experiment(file: &At) {
    let text = oracle("data/rothamsted_lime_topsoil.csv").expect("beside golden_trends.json");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let lines: Vec<BTreeMap<String, String>> = reader.deserialize().map(Result::unwrap).collect();
    for row in file.to("response").to("real_liming_experiment_contrast").to("rows").all() {
        let (year, test) = (row.to("year").count().to_string(), row.to("test").text());
        let (factor, given) =
            if test.starts_with("k_") { ("k_1962-80_factor_level", "K") } else { ("p_factor_level", "P") };
        let levels = |level: &str| -> Vec<f64> {
            let mut plots: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
            for line in &lines {
                let wanted = line["site"] == "Rothamsted" && line["sample_year"] == year && line[factor] == level;
                if let (true, Ok(found)) = (wanted, line[test].parse()) {
                    plots.entry(&line["plot"]).or_default().push(found);
                }
            }
            plots.into_values().map(|halves| halves.iter().sum::<f64>() / halves.len() as f64).collect()
        };
        let (with, without) = (levels(given), levels("0"));
        for (plots, n) in pairs(vec![with.len(), without.len()], row.to("n").all()) {
            assert_eq!(plots, n.count());
        }
        let mean = |levels: &[f64]| levels.iter().sum::<f64>() / levels.len() as f64;
        row.to("mean_fertilised").holds(mean(&with));
        row.to("mean_unfertilised").holds(mean(&without));
        let applied = KgPerHa(row.to("cumulative_kg_ha").number());
        let (response, se) = response::contrast(&with, &without, applied).unwrap();
        row.to("gross_response_per_kg_ha").holds(response);
        row.to("se").holds(se);
        assert!(response::PUBLISHED.iter().any(|published| (published.response - response).abs() < 1e-9));
    }
}
