//! Ranks and slopes against printed examples and against counting.

use super::*;

/// Wisconsin Administrative Code, remediation form, table A: 100, 50, 85, 75, 50 has S = -5
/// (as printed on https://lfweb.sjgov.org/EHD/0/doc/562057/Page127.aspx).
/// Its table of critical S at a one-sided 0.2 for n from 4 to 10: -4, -5, -6, -7, -8, -10, -11.
#[test]
fn wisconsin_form_and_its_critical_values() {
    assert_eq!(by_ranks(&[100.0, 50.0, 85.0, 75.0, 50.0]).s, -5);
    for (n, critical) in (4..=10).zip([-4i64, -5, -6, -7, -8, -10, -11]) {
        // Orders of 1..n with S as printed, made by swapping neighbours of the falling order.
        let reach = |s: i64| {
            let mut order: Vec<f64> = (1..=n).rev().map(f64::from).collect();
            while by_ranks(&order).s < s {
                let at = (0..order.len() - 1).find(|&i| order[i] > order[i + 1]).unwrap();
                order.swap(at, at + 1);
            }
            by_ranks(&order)
        };
        let n = i64::from(n);
        let printed = if (critical - n * (n - 1) / 2) % 2 == 0 { critical } else { critical - 1 };
        let test = reach(printed);
        assert_eq!(test.s, printed);
        assert!(test.exact.unwrap().lower.at_most_percent(20), "n = {n}: {:?}", test.exact);
        assert!(!reach(printed + 4).exact.unwrap().lower.at_most_percent(20), "n = {n}");
    }
}

/// US EPA QA/G-9, box for small samples: 5, 6, 11, 8, 10 has S = 6, one-sided 0.117 (recalled).
#[test]
fn epa_small_sample_box() {
    let test = by_ranks(&[5.0, 6.0, 11.0, 8.0, 10.0]);
    assert_eq!((test.s, test.exact.unwrap().upper), (6, Fraction::new(14, 120)));
}

/// US EPA 530/R-09-007, Unified Guidance (2009), example 17-6, sulfate, n = 23, as in the
/// documentation of the R package EnvStats 3.1.0: S 194, tau 0.7667984, z 5.107322,
/// p 3.267574e-07, slope 26.66667, 95 % interval 20.00000 to 35.71182.
#[test]
fn epa_sulfate_beyond_twenty_tests() {
    let years = [
        89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6, 95.1, 95.6,
        95.8, 96.1, 96.3, 96.6, 96.8,
    ];
    let sulfate = [
        480.0, 450.0, 490.0, 520.0, 485.0, 510.0, 510.0, 530.0, 510.0, 560.0, 560.0, 540.0, 590.0, 550.0, 600.0, 700.0,
        570.0, 610.0, 650.0, 620.0, 830.0, 720.0, 590.0,
    ];
    let test = by_ranks(&sulfate);
    assert_eq!((test.s, test.exact), (194, None));
    close(test.tau_a(), 194.0 / 253.0);
    close(test.z.unwrap(), 5.107_321_596_840_89);
    close(test.p().unwrap(), 3.267_573_570_717_96e-7);
    let fit = slopes(&years, &sulfate);
    assert!((fit.slope - 26.666_666_666_666_7).abs() < 1e-9);
    let interval = fit.interval(95).unwrap();
    assert_eq!(interval.coverage, Coverage::Normal { nominal_percent: 95 });
    assert!((interval.low - 20.0).abs() < 1e-4 && (interval.high - 35.711_82).abs() < 1e-4, "{interval:?}");
}

/// Same guidance, example 17-7, sodium: S 25, slope 1.333 ppm a year.
#[test]
fn epa_sodium() {
    let years = [89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3];
    let sodium = [56.0, 53.0, 51.0, 55.0, 52.0, 60.0, 62.0, 59.0, 61.0, 63.0];
    assert_eq!(by_ranks(&sodium).s, 25);
    assert!((slopes(&years, &sodium).slope - 4.0 / 3.0).abs() < 1e-9);
}

/// Helsel & Hirsch, Statistical Methods in Water Resources: ten pairs with S = 21, tau 0.47,
/// p 0.07 (chapter 8); 1, 2, 3, 4, 5, 16, 7 has a median slope of 1 (chapter 10); recalled.
#[test]
fn helsel_and_hirsch() {
    let test = by_ranks(&[1.22, 2.2, 4.8, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96]);
    assert_eq!(test.s, 21);
    close(test.tau_a(), 21.0 / 45.0);
    close(test.p().unwrap(), 0.072_550_154_320_987_7); // R 4.2.2, cor.test(exact = TRUE)
    let years: Vec<f64> = (1..=7).map(f64::from).collect();
    close(slopes(&years, &[1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]).slope, 1.0);
}

/// n! orders, of which two are the most extreme: 1/1, 1/3, 1/12, 1/60, 1/360.
#[test]
fn so_few_tests_can_show_nothing_by_ranks_alone() {
    for (n, orders) in [(2, 1), (3, 3), (4, 12), (5, 60), (6, 360)] {
        let rising: Vec<f64> = (0..n).map(f64::from).collect();
        let exact = by_ranks(&rising).exact.unwrap();
        assert_eq!(exact.smallest_two_sided, Fraction::new(1, orders));
        assert_eq!(exact.two_sided, exact.smallest_two_sided);
    }
    assert_eq!(by_ranks(&[]).exact.unwrap().two_sided, Fraction::new(1, 1));
    assert_eq!(by_ranks(&[7.0; 9]).exact.unwrap().two_sided, Fraction::new(1, 1));
    assert_eq!(by_ranks(&[7.0; 30]).p(), Some(1.0));
}

/// Every order of a small series with limits, counted one by one.
#[test]
fn the_exact_law_is_what_counting_every_order_gives() {
    let mut series = vec![
        Found::Below(5),
        Found::Exact(5),
        Found::Exact(3),
        Found::Exact(5),
        Found::Below(3),
        Found::Exact(8),
        Found::Exact(1),
    ];
    let mut counts = std::collections::BTreeMap::new();
    let n = series.len();
    permute(&mut series, n, &mut |order| *counts.entry(drift::mann_kendall(&[order.to_vec()]).s).or_insert(0u128) += 1);
    let orders = counts.values().sum();
    permute(&mut series, n, &mut |order| {
        let test = drift::mann_kendall(&[order.to_vec()]);
        let count = counts.iter().filter(|(s, _)| s.abs() >= test.s.abs()).map(|(_, count)| count).sum();
        assert_eq!(test.exact.unwrap().two_sided, Fraction::new(count, orders));
    });
    let variance = counts.iter().map(|(s, count)| (s * s) as f64 * *count as f64).sum::<f64>() / orders as f64;
    close(drift::mann_kendall(&[series.clone()]).variance.unwrap().value(), variance);
    // Seen in a mirror, "<" becomes ">".
    let mirrored = series.iter().map(|found| match *found {
        Found::Below(v) => Found::Above(-v),
        other => other.map(|v| -v),
    });
    let mirrored = drift::mann_kendall(&[mirrored.collect()]);
    let plain = drift::mann_kendall(&[series]);
    assert_eq!((mirrored.s, mirrored.exact.unwrap().two_sided), (-plain.s, plain.exact.unwrap().two_sided));
}

/// Heap's algorithm.
fn permute<T: Clone>(items: &mut Vec<T>, k: usize, see: &mut impl FnMut(&[T])) {
    if k <= 1 {
        return see(items);
    }
    for i in 0..k {
        permute(items, k - 1, see);
        items.swap(if k % 2 == 0 { i } else { 0 }, k - 1);
    }
}

#[test]
fn degenerate_series_give_no_slope_and_no_panic() {
    assert!(drift::theil_sen(&[]).is_none());
    assert!(drift::theil_sen(&[vec![(1.0, 2.0)]]).is_none());
    assert!(drift::theil_sen(&[vec![(1.0, 2.0), (1.0, 3.0)]]).is_none());
    assert!(drift::theil_sen(&[vec![(1.0, 2.0), (1.0, 3.0), (2.0, 4.0)]]).unwrap().interval(90).is_none());
    let point = |years, found| Weighed { years, found, sigma: 0.1 };
    let lines: [&[Weighed]; 6] = [
        &[],
        &[point(0.0, Found::Exact(1.0))],
        &[point(1.0, Found::Exact(1.0)), point(1.0, Found::Exact(2.0))],
        &[point(0.0, Found::Below(1.0)), point(1.0, Found::Below(1.0))],
        &[point(0.0, Found::Exact(5.0)), point(1.0, Found::Below(1.0))], // falls, but how fast?
        &[point(0.0, Found::Exact(5.0)), Weighed { sigma: 0.0, ..point(1.0, Found::Exact(1.0)) }],
    ];
    for line in lines {
        assert_eq!(drift::known_error(&[line.to_vec()]), None);
    }
    assert_eq!(drift::slope_with_limits(&[vec![(0.0, Found::Below(1.0)), (1.0, Found::Below(1.0))]]), None);
    assert_eq!(drift::shrink(&[(0.1, 0.1); 3]), None);
}
