//! The band of the next test, whether it held, and what another test is worth.

use super::*;

fn outlook(found: f64, net: f64, cv: f64, response: (f64, f64)) -> Outlook {
    let sigma = glebe::agronomy::confidence::sigma_ln(cv);
    Outlook {
        found,
        sigma,
        sigma_next: sigma,
        net_kg_per_ha: Span::exact(net),
        response,
        unit: "mg/kg".into(),
        workings: vec![],
    }
}

/// From 40 with 60 kg/ha at 0.10 ± 0.04: 46 expected; 43 lies 0.3103 and 60 lies 1.2227
/// standard deviations off (scipy), so the spread is ln(43/46) ÷ −0.3103 = 0.21731.
#[test]
fn the_band_of_the_next_test_holds_both_errors_and_the_response() {
    let band = forecast::forecast(&outlook(40.0, 60.0, 0.15, (0.1, 0.04))).unwrap();
    close(band.expected, 46.0);
    let spread = (43.0f64 / 46.0).ln() / -0.31034695020713926;
    close(spread, (60.0f64 / 46.0).ln() / 1.2226957461798786);
    close(band.high, 46.0 * (1.6448536269514722 * spread).exp());
    close(band.low, 46.0 * (-1.6448536269514722 * spread).exp());
    assert!(band.working.is_grounded());
    // A wide offtake widens the band.
    let mut wide = outlook(40.0, 60.0, 0.15, (0.1, 0.04));
    wide.net_kg_per_ha = Span { low: 0.0, mid: 60.0, high: 120.0 };
    assert!(forecast::forecast(&wide).unwrap().high > band.high);
    // An offtake larger than the soil holds is said, not forecast.
    assert!(forecast::forecast(&outlook(40.0, -500.0, 0.15, (0.1, 0.04))).unwrap_err().contains("less than nothing"));
    assert!(forecast::forecast(&outlook(f64::NAN, 1.0, 0.15, (0.1, 0.04))).is_err());
}

#[test]
fn where_a_later_test_fell() {
    let band = (32.0, 66.0);
    for (found, expected) in [
        (Found::Exact(43.0), Fell::Inside),
        (Found::Exact(31.9), Fell::Below),
        (Found::Exact(66.1), Fell::Above),
        (Found::Below(10.0), Fell::Below),
        (Found::Below(50.0), Fell::CannotTell),
        (Found::Above(70.0), Fell::Above),
        (Found::Above(50.0), Fell::CannotTell),
        (Found::Exact(f64::NAN), Fell::CannotTell),
    ] {
        assert_eq!(forecast::fell(band, found), expected, "{found:?}");
        assert!(expected.words(band, "mg/kg").contains("32 to 66 mg/kg"));
    }
}

/// Conover (1971), p. 97, in R's documentation of binom.test: 682 of 925, 95 % interval
/// 0.7076683 to 0.7654066. All and none of 10 by hand: 0.025^(1/10) and its complement.
#[test]
fn how_often_the_bands_held_with_an_exact_interval() {
    let (low, high) = forecast::exact_interval(682, 925, 0.95).unwrap();
    about(low, 0.7076683, 5e-8);
    about(high, 0.7654066, 5e-8);
    let edge = 0.025f64.powf(0.1);
    let (low, high) = forecast::exact_interval(10, 10, 0.95).unwrap();
    assert!((low - edge).abs() < 1e-12 && high == 1.0);
    let (low, high) = forecast::exact_interval(0, 10, 0.95).unwrap();
    assert!(low == 0.0 && (high - (1.0 - edge)).abs() < 1e-12);
    assert_eq!(forecast::exact_interval(0, 0, 0.95), None);

    let tests = |held: usize, missed: usize| {
        let fell = std::iter::repeat_n(Fell::Inside, held).chain(std::iter::repeat_n(Fell::Above, missed));
        forecast::calibration(fell.chain([Fell::CannotTell])).unwrap()
    };
    let Calibration { held, tests: all, .. } = tests(8, 2);
    assert_eq!((held, all), (8, 10));
    assert!(tests(8, 2).words().contains("say little yet"));
    assert!(tests(45, 5).words().contains("can be trusted"));
    assert!(tests(20, 20).words().contains("too narrow"));
    assert!(tests(200, 0).words().contains("wider than they need"));
    assert_eq!(forecast::calibration([Fell::CannotTell]), None);
}

/// scipy 1.17 with the closed form by a bivariate normal law: target 50, 20 %, other plots
/// at 45 with a spread of 0.35.
#[test]
fn what_another_test_is_worth() {
    let golden = [
        // found, needless, missed, price → P below, loss now, loss after, value, flips, turning reading, worth it
        (
            40.0,
            30.0,
            80.0,
            25.0,
            0.8705282189130177,
            3.8841534326094695,
            3.8160833723734133,
            0.06807006023605622,
            0.007884917052703182,
            77.5776121990334,
            false,
        ),
        (
            48.0,
            30.0,
            80.0,
            25.0,
            0.6284104451913861,
            11.147686644258417,
            9.787833195446817,
            1.3598534488116005,
            0.11629095349296104,
            64.64801016586115,
            false,
        ),
        (
            55.0,
            30.0,
            80.0,
            25.0,
            0.39334498417411895,
            18.19965047477643,
            12.314587121710668,
            5.885063353065762,
            0.3887945541081097,
            56.42008159929698,
            false,
        ),
        (
            20.0,
            30.0,
            80.0,
            25.0,
            0.9999851041788418,
            0.0004468746347463526,
            0.00044687463126385395,
            3.4824986319161033e-12,
            8.683355660479615e-13,
            155.15522439806682,
            false,
        ),
        (
            52.0,
            120.0,
            300.0,
            10.0,
            0.49038005480683455,
            61.154393423179854,
            46.489012962980766,
            14.665380460199088,
            0.2697617678736803,
            58.98360529432962,
            true,
        ),
    ];
    for (found, needless, missed, price, below, now, after, value, flips, turn, worth_it) in golden {
        let question = Question {
            others: Some((45.0, 0.35)),
            cost_needless: needless,
            cost_missed: missed,
            price,
            ..Question::of_concentration(found, 50.0, 0.2)
        };
        let retest = retest::value(&question).unwrap();
        close(retest.p_below, below);
        close(retest.p_apply, needless / (needless + missed));
        close(retest.loss_now, now);
        close(retest.ceiling, now);
        close(retest.loss_after, after);
        about(retest.value, value, 1e-9 * now); // a small difference of two losses
        close(retest.p_flip, flips);
        close(retest.break_even, turn);
        assert_eq!((retest.apply_now, retest.worth_it), (true, worth_it));
        assert!(retest.words("mg/kg").contains(if worth_it { "is worth its price" } else { "is not worth" }));
    }
}

#[test]
fn a_retest_without_other_plots_and_one_of_ph() {
    let costs = |q: Question| Question { cost_needless: 50.0, cost_missed: 50.0, price: 1.0, ..q };
    let even = retest::value(&costs(Question::of_concentration(50.0, 50.0, 0.2))).unwrap();
    close(even.p_below, 0.5);
    close(even.p_flip, 0.5);
    close(even.break_even, 50.0);
    // pH 6.3 for an aim of 6.5 with an error of 0.15: P = 0.908789 (scipy).
    let ph = Question { scale: Scale::Linear, sigma: 0.15, ..Question::of_concentration(6.3, 6.5, 0.2) };
    let ph = retest::value(&costs(ph)).unwrap();
    about(ph.p_below, 0.908789, 5e-7);
    assert!(ph.break_even > 6.5 && ph.apply_now);
    for odd in [0.0, -1.0, f64::NAN] {
        assert_eq!(retest::value(&costs(Question::of_concentration(odd, 50.0, 0.2))), None);
        assert_eq!(
            retest::value(&Question { cost_needless: odd, ..costs(Question::of_concentration(40.0, 50.0, 0.2)) }),
            None
        );
        assert_eq!(retest::value(&Question { sigma: odd, ..costs(Question::of_concentration(40.0, 50.0, 0.2)) }), None);
    }
}

#[test]
fn a_convention_of_soil_mass_sets_the_ceiling_too() {
    let two_million = SoilLayer::Convention(LAYER_CONVENTIONS[0]);
    // 2,000,000 lb/acre: 1 kg/ha is 1 lb per 1.12085… acres' worth, 0.446 mg/kg.
    about(response::ceiling("mg/kg", &two_million, Centimetres(17.0)).unwrap(), 1.0 / 2.2417023, 1e-6);
}
