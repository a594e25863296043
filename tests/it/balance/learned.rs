//! What a kilogram given has done to the tests of a plot.

use super::*;

fn prior(mean: f64, sd: f64) -> Prior {
    let leaf = Working::leaf("As published", Figure::new(mean, "mg/kg per kg/ha", 2), Origin::Entered);
    Prior { mean, sd, working: leaf }
}

fn test_at(net: f64, years: f64, value: f64, cv: f64) -> TestAt {
    TestAt { net_kg_per_ha: net, years, found: Found::Exact(value), sd: cv * value }
}

/// Weighted least squares by numpy: tests 30, 36, 41, 39 (15 %) at nets of 0, 60, 115, 90
/// kg P/ha; held against 0.10 ± 0.04.
#[test]
fn a_response_is_learned_from_levels_and_drawn_to_what_is_published() {
    let (nets, values) = ([0.0, 60.0, 115.0, 90.0], [30.0, 36.0, 41.0, 39.0]);
    let tests: Vec<TestAt> = (0..4).map(|i| test_at(nets[i], 2.0 * i as f64, values[i], 0.15)).collect();
    let prior = prior(0.10, 0.04);
    let fit = response::fit(&tests, Some(&prior)).unwrap();
    close(fit.intercept, 30.06036814090365);
    close(fit.response, 0.09720093669554508);
    close(fit.se, 0.05963517951009299);
    close(fit.chi2, 0.003152566076955814);
    assert_eq!((fit.degrees_of_freedom, fit.birge), (2, 1.0));

    let response = response::respond(P, "mg/kg", Ok(fit), Some(&prior), Some(0.38)).unwrap();
    close(response.own_share, 0.3102967334863355);
    close(response.response, 0.09913145979980617);
    close(response.sd, 0.03321935018060804);
    assert!(response.working.is_grounded());
    let (middle, least, most) = response.to_raise(10.0).unwrap();
    close(middle.0, 100.87614991441448);
    close(least.0, 65.03116392282527);
    close(most.unwrap().0, 224.7671297161162);
}

/// Two tests: 120, then 150 after 200 kg K/ha net, 12 %; held against 0.14 ± 0.05.
#[test]
fn two_tests_give_a_response_with_the_error_of_both() {
    let tests = [test_at(0.0, 0.0, 120.0, 0.12), test_at(200.0, 2.0, 150.0, 0.12)];
    let fit = response::fit(&tests, Some(&prior(0.14, 0.05))).unwrap();
    close(fit.response, 0.15);
    close(fit.se, 0.11525623627379128);
    let (mean, sd, weight) = response::weigh((fit.response, fit.se), (0.14, 0.05));
    close(weight, 0.1583882412569691);
    close(mean, 0.14158388241256972);
    close(sd, 0.04586970020457489);
}

#[test]
fn nothing_is_learned_where_the_tests_cannot_carry_it_and_the_reason_is_said() {
    let held = prior(0.10, 0.04);
    let pair = |net: f64, second: f64, cv: f64| [test_at(0.0, 0.0, 30.0, cv), test_at(net, 2.0, second, cv)];
    assert_eq!(response::fit(&pair(100.0, 40.0, 0.1)[..1], Some(&held)), Err(Skip::TooFewTests(1)));
    assert!(matches!(response::fit(&pair(29.0, 40.0, 0.1), Some(&held)), Err(Skip::TooLittleNet { .. })));
    assert!(response::fit(&pair(-30.0, 27.0, 0.1), Some(&held)).is_ok(), "what was taken teaches as well");
    assert!(matches!(response::fit(&pair(31.0, 33.0, 0.3), Some(&held)), Err(Skip::TooUncertain { .. })));
    let limits = pair(100.0, 40.0, 0.1).map(|t| TestAt { found: Found::Below(t.found.number()), ..t });
    assert_eq!(response::fit(&limits, Some(&held)), Err(Skip::NotBounded));
    let skipped = response::fit(&pair(29.0, 40.0, 0.1), Some(&held));
    let response = response::respond(P, "mg/kg", skipped, Some(&held), None).unwrap();
    assert_eq!((response.response, response.sd, response.own_share), (0.10, 0.04, 0.0));
    assert!(response.working.notes.iter().any(|n| n.contains("29 kg/ha")), "{:?}", response.working.notes);
}

#[test]
fn a_response_stays_between_nothing_and_the_mass_of_the_soil() {
    // 15, 20, 23, 30 cm at 1.3 g/cm³ hold 1.95, 2.6, 2.99, 3.9 million kg: 1e6 ÷ mass.
    for (depth, most) in [(15.0, 0.5128205128205128), (20.0, 0.38461538461538464), (23.0, 0.33444816053511706)] {
        let depth = Centimetres(depth);
        let layer =
            SoilLayer::Measured { depth, bulk_density: glebe::agronomy::quantity::GramsPerCm3(1.3), stones: 0.0 };
        close(response::ceiling("mg/kg", &layer, depth).unwrap(), most);
        close(response::ceiling("mg/L", &layer, depth).unwrap(), 10.0 / depth.0);
        assert_eq!(response::ceiling("%", &layer, depth), None);
    }
    let held = prior(0.10, 0.04);
    let steep = [test_at(0.0, 0.0, 10.0, 0.02), test_at(60.0, 1.0, 60.0, 0.02)];
    let steep = response::respond(P, "mg/kg", response::fit(&steep, Some(&held)), Some(&held), Some(0.2)).unwrap();
    assert_eq!(steep.response, 0.2);
    let falling = [test_at(0.0, 0.0, 60.0, 0.02), test_at(60.0, 1.0, 30.0, 0.02)];
    let falling = response::respond(P, "mg/kg", response::fit(&falling, Some(&held)), Some(&held), Some(0.2)).unwrap();
    assert_eq!((falling.response, falling.to_raise(10.0)), (0.0, None));
}

/// Stated: 20 lb P₂O₅/acre per ppm is 9.783 kg P/ha; 6 to 10 lb K₂O 5.583 to 9.305 kg K/ha;
/// 10 kg K₂O/ha 8.301 kg K/ha; Olsen P 5, 7 and 11 kg P/ha at 0 to 7.5 cm.
#[test]
fn published_responses_are_as_stated_and_follow_the_depth() {
    let stated = |what: &str| response::PUBLISHED.iter().find(|p| p.stated.starts_with(what)).unwrap().response;
    about(stated("20 lb P₂O₅"), 0.10221542061675587, 2e-6);
    about(stated("6 lb K₂O"), 0.17912049450212583, 2e-6);
    about(stated("10 lb K₂O"), 0.10747229670127548, 2e-6);
    about(stated("10 kg K₂O/ha"), 0.12046044801649827, 2e-6);
    let olsen = |depth: f64| response::published_prior(P, &Method::Olsen, "mg/kg", Centimetres(depth)).unwrap();
    // In twice the soil half the response, and twice the spread stays in proportion.
    close(olsen(10.0).mean, 2.0 * olsen(20.0).mean);
    close(olsen(10.0).sd, 2.0 * olsen(20.0).sd);
    assert!(olsen(20.0).working.is_grounded());
    // The American rule for Mehlich-3 is about twice what Olsen shows at 23 cm.
    let mehlich = response::published_prior(P, &Method::Mehlich3Icp, "mg/kg", Centimetres(23.0)).unwrap();
    assert!(mehlich.mean / olsen(23.0).mean > 1.3);
    assert!(response::published_prior(P, &Method::Morgan, "mg/kg", Centimetres(20.0)).is_none());
    assert!(response::published_prior(K, &Method::AmmoniumNitrate, "mg/kg", Centimetres(20.0)).is_none());
}

/// Eight schools (Rubin 1981) as responses in hundredths would have no spread between them;
/// here four plots that agree: the farm's mean is theirs, and a plot without a fit takes it.
#[test]
fn from_four_plots_up_the_farm_takes_the_place_of_the_published_figure() {
    let held = prior(0.10, 0.04);
    let plot = |second: f64| response::fit(&[test_at(0.0, 0.0, 100.0, 0.05), test_at(200.0, 2.0, second, 0.05)], None);
    let three: Vec<_> = [112.0, 113.0, 111.0].map(plot).into();
    let alone = response::respond_farm(K, "mg/kg", three.clone(), Some(&held), None);
    assert_eq!(alone[0], response::respond(K, "mg/kg", three[0].clone(), Some(&held), None));

    let four: Vec<_> = three.into_iter().chain([plot(112.5), Err(Skip::TooFewTests(1))]).collect();
    let farm = response::respond_farm(K, "mg/kg", four, Some(&held), None);
    let mean = farm[4].as_ref().unwrap();
    assert!(mean.response > 0.055 && mean.response < 0.065, "{mean:?}");
    assert_eq!(mean.own_share, 0.0);
    assert!(farm.iter().flatten().all(|r| r.working.is_grounded() && (r.response - 0.06).abs() < 0.01));
}

/// Rothamsted long-term liming experiment (Glendining and others 2023, CC BY 4.0): plots
/// with and without P or K since 1962, over 302.5 and 385 kg P/ha and 1,352 kg K/ha.
#[test]
fn the_response_of_the_liming_experiment() {
    let directory = std::env::var_os("GLEBE_ORACLES")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/oracles")), PathBuf::from);
    let path = directory.join("data/rothamsted_lime_topsoil.csv");
    let Ok(file) = std::fs::read_to_string(&path) else {
        crate::loud::skipped(format_args!("no {}; name its directory in GLEBE_ORACLES", path.display()));
        return;
    };
    let mut reader = csv::Reader::from_reader(file.as_bytes());
    let headers = reader.headers().unwrap().clone();
    let column = |name: &str| headers.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let levels = |year: &str, test: &str, factor: &str, with: &str| {
        let mut plots: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        for row in &rows {
            let wanted = &row[column("site")] == "Rothamsted"
                && &row[column("sample_year")] == year
                && &row[column(factor)] == with
                && !row[column(test)].is_empty();
            if wanted {
                plots.entry(row[column("plot")].to_owned()).or_default().push(row[column(test)].parse().unwrap());
            }
        }
        plots.into_values().map(|v| v.iter().sum::<f64>() / v.len() as f64).collect::<Vec<_>>()
    };
    for (year, test, factor, level, applied, expected, se) in [
        ("1974", "k_nh4oac_mg_kg", "k_1962-80_factor_level", "K", 1352.0, 0.07488905325443787, 0.004977163270614987),
        ("1972", "olsen_p_mg_kg", "p_factor_level", "P", 302.5, 0.0562396694214876, 0.004840358359941992),
        ("1974", "olsen_p_mg_kg", "p_factor_level", "P", 385.0, 0.03806818181818182, 0.003187640996807694),
    ] {
        let (with, without) = (levels(year, test, factor, level), levels(year, test, factor, "0"));
        assert_eq!((with.len(), without.len()), (16, 16));
        let found = response::contrast(&with, &without, KgPerHa(applied)).unwrap();
        close(found.0, expected);
        close(found.1, se);
        // And the published table carries the same figure.
        let stated = response::PUBLISHED.iter().any(|p| (p.response - expected).abs() < 1e-9);
        assert!(stated, "{year} {test}");
    }
}

/// Normal equations solved by numpy 2.4 (`inv(X'WX) X'Wy`), X = 1, net, years.
#[test]
fn beyond_what_was_added_and_removed() {
    let nets = [0.0, 60.0, 115.0, 90.0, 40.0];
    let values = [30.0, 36.0, 41.0, 39.0, 30.0];
    let tests: Vec<TestAt> = (0..5).map(|i| test_at(nets[i], 2.0 * i as f64, values[i], 0.15)).collect();
    let five = response::beyond(&tests, (0.1, 0.03)).unwrap();
    assert!(five.fitted);
    close(five.start, 29.889137790403794);
    close(five.response, 0.12331810797487544);
    close(five.per_year, -0.5587145456473427);
    close(five.se, 0.8116367734971622);
    assert!(five.words(P, "mg/kg").contains("may be none"));

    let three = response::beyond(&tests[..3], (0.1, 0.03)).unwrap();
    assert!(!three.fitted);
    close(three.start, 30.05795235028976);
    close(three.per_year, -0.11242755956213579);
    close(three.se, 2.0662752379808205);

    let together: Vec<TestAt> =
        (0..5).map(|i| test_at(50.0 * i as f64, i as f64, 30.0 + 5.0 * i as f64, 0.1)).collect();
    let together = response::beyond(&together, (0.1, 0.03)).unwrap();
    assert!(!together.fitted && together.notes.len() == 1, "net and time rise together");
    about(together.per_year, 0.0, 1e-9); // 5 a year are 50 kg at 0.1
    assert_eq!(response::beyond(&tests[..1], (0.1, 0.03)), None);
}
