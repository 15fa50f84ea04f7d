//! Trend, control charts and Allan deviation against published worked examples, each with its
//! source beside it.

use beadtally::rate::{
    allan_deviation, counts_chart, ewma_chart, hadamard_deviation, individuals_chart,
    modified_allan_deviation, overlapping_allan_deviation, overlapping_hadamard_deviation,
    time_deviation, total_deviation, trend,
};

fn close(got: f64, printed: f64, half_a_digit: f64) {
    assert!(
        (got - printed).abs() <= half_a_digit,
        "got {got}, printed {printed}"
    );
}

/// USEPA Unified Guidance (EPA 530/R-09-007, 2009), example 17-6: sulfate; results as in the
/// `EnvStats` `kendallTrendTest` manual.
#[test]
fn trend_equals_the_sulfate_example() {
    let times = [
        89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1,
        94.6, 95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8,
    ];
    let ppm = [
        480.0, 450.0, 490.0, 520.0, 485.0, 510.0, 510.0, 530.0, 510.0, 560.0, 560.0, 540.0, 590.0,
        550.0, 600.0, 700.0, 570.0, 610.0, 650.0, 620.0, 830.0, 720.0, 590.0,
    ];
    let points: Vec<_> = times.into_iter().zip(ppm).collect();
    let found = trend(&points, 0.95).unwrap();
    assert_eq!((found.s, found.points), (194.0, 23));
    close(found.variance_of_s, 1428.0, 1e-9);
    close(found.tau, 0.766_798_4, 5e-8);
    close(found.slope, 26.666_666_7, 5e-8);
    close(found.intercept, -1_909.333_333_3, 5e-7);
    close(found.z, 5.107_322, 5e-7);
    close(found.p, 3.267_574e-7, 5e-14);
    close(found.slope_limits.low, 20.0, 5e-6);
    close(found.slope_limits.high, 35.711_82, 5e-6);
}

/// The same guidance, example 17-7: sodium; results as in the script of `EnvStats` for it.
#[test]
fn trend_equals_the_sodium_example() {
    let years = [89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3];
    let ppm = [56.0, 53.0, 51.0, 55.0, 52.0, 60.0, 62.0, 59.0, 61.0, 63.0];
    let points: Vec<_> = years.into_iter().zip(ppm).collect();
    let found = trend(&points, 0.95).unwrap();
    assert_eq!(found.s, 25.0);
    close(found.tau, 0.555_555_6, 5e-8);
    close(found.slope, 1.333_333_3, 5e-8);
    close(found.intercept, -65.966_666_7, 5e-8);
    close(found.z, 2.146_625, 5e-7);
    close(found.p, 0.031_823_13, 5e-9);
    close(found.slope_limits.low, 0.399_208_3, 5e-8);
    close(found.slope_limits.high, 2.333_333_3, 5e-8);
}

/// The form of the Wisconsin Administrative Code, table A: row sums −4, +2, −2, −1 and S = −5. The
/// first row's sum is what S loses without the first value, and so on.
#[test]
fn trend_equals_the_wisconsin_form() {
    let points: Vec<_> = (0..5)
        .map(f64::from)
        .zip([100.0, 50.0, 85.0, 75.0, 50.0])
        .collect();
    let from = |first: usize| trend(&points[first..], 0.95).unwrap().s;
    assert_eq!(from(0), -5.0);
    assert_eq!((from(0) - from(1), from(1) - from(2)), (-4.0, 2.0));
    // The last two rows together.
    assert_eq!(from(2), -2.0 - 1.0);
}

/// The same form's critical S at a level of 0.2: so low an S, and none lower only, is seldom
/// enough. Checked with S of every order that values can come in.
#[test]
fn critical_values_equal_the_wisconsin_form() {
    for (count, critical) in [(4, -4.0), (5, -5.0), (6, -6.0), (7, -7.0)] {
        let (mut all, mut beyond, mut near) = (0.0, 0.0, 0.0);
        let mut order: Vec<usize> = (0..count).collect();
        orders(&mut order, 0, &mut |order| {
            let points: Vec<_> = order
                .iter()
                .enumerate()
                .map(|(t, y)| (t as f64, *y as f64))
                .collect();
            let s = trend(&points, 0.95).unwrap().s;
            all += 1.0;
            beyond += f64::from(u8::from(s <= critical));
            near += f64::from(u8::from(s <= critical + 2.0));
        });
        assert!(beyond / all <= 0.2, "{count}: {}", beyond / all);
        assert!(near / all > 0.2, "{count}: {}", near / all);
    }
}

fn orders(values: &mut Vec<usize>, from: usize, take: &mut impl FnMut(&[usize])) {
    if from + 1 >= values.len() {
        take(values);
        return;
    }
    for i in from..values.len() {
        values.swap(from, i);
        orders(values, from + 1, take);
        values.swap(from, i);
    }
}

/// Annual flow of the Nile at Aswan, 1871 to 1970 (R's data set `Nile`): R's `trend::mk.test`
/// prints z < 0 and p < 0.001; S, variance, z, p and slope computed with pymannkendall 1.4.3,
/// intercept with scipy 1.17.1.
#[test]
fn trend_equals_the_nile_series() {
    let flow = [
        1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
        1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
        940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
        821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
        1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050,
        918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
    ];
    let points: Vec<_> = (0..100).map(f64::from).zip(flow.map(f64::from)).collect();
    let found = trend(&points, 0.95).unwrap();
    assert_eq!(found.s, -1387.0);
    close(found.variance_of_s, 112_728.333, 5e-4);
    close(found.z, -4.128_066_5, 5e-8);
    close(found.p, 3.658_26e-5, 5e-11);
    close(found.slope, -2.6, 5e-8);
    close(found.intercept, 1022.2, 5e-8);
    // Hamed and Rao's, computed with pymannkendall 1.4.3.
    close(found.z_correlated, -2.819_979, 5e-7);
    close(found.p_correlated, 0.004_802_7, 5e-8);
}

#[test]
fn trend_takes_any_order_and_leaves_out_what_is_no_number() {
    let sorted = [(0.0, 1.0), (1.0, 3.0), (2.0, 2.0), (3.0, 5.0)];
    let odd = [
        (3.0, 5.0),
        (f64::NAN, 9.0),
        (1.0, 3.0),
        (2.0, f64::INFINITY),
        (0.0, 1.0),
        (2.0, 2.0),
    ];
    assert_eq!(trend(&sorted, 0.95), trend(&odd, 0.95));
    assert_eq!(trend(&sorted[..2], 0.95), None);
    assert_eq!(trend(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)], 0.95), None);
    let level = trend(&[(0.0, 2.0), (1.0, 2.0), (2.0, 2.0)], 0.95).unwrap();
    assert_eq!((level.slope, level.z, level.p), (0.0, 0.0, 1.0));
    assert!(trend(&sorted, f64::NAN).unwrap().slope_limits.low.is_nan());
}

/// NIST/SEMATECH e-Handbook 6.3.2.2: flow rate of ten batches.
#[test]
fn individuals_chart_equals_nist() {
    let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let chart = individuals_chart(&flow).unwrap();
    close(chart.mean, 50.81, 5e-9);
    close(chart.mean_range, 1.8778, 5e-5);
    close(chart.upper, 55.8041, 5e-5);
    close(chart.lower, 45.8159, 5e-5);
    close(chart.upper_range, 6.1347, 5e-5);
    assert!(chart.outside.is_empty() && chart.ranges_outside.is_empty());
    // A batch far off is outside, and so are the ranges to and from it.
    let mut off = vec![50.0, 50.1, 49.9, 50.0, 50.1, 49.9, 50.0, 50.1, 49.9, 50.0];
    off[4] = 55.0;
    let chart = individuals_chart(&off).unwrap();
    assert_eq!((chart.outside, chart.ranges_outside), (vec![4], vec![4, 5]));
    assert_eq!(individuals_chart(&[1.0]), None);
    assert_eq!(individuals_chart(&[1.0, f64::NAN]), None);
}

/// NIST/SEMATECH e-Handbook 6.3.2.4: all twenty printed means, and the limits (the page's lower
/// one, 47.4115, carries a rounded constant).
#[test]
fn ewma_chart_equals_nist() {
    let values = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8,
        51.2, 52.6, 52.4, 53.6, 52.1,
    ];
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52,
        50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let chart = ewma_chart(&values, 50.0, 2.0539, 0.3).unwrap();
    for (got, printed) in chart.means.iter().zip(printed) {
        close(*got, printed, 5.001e-3);
    }
    assert_eq!(chart.means.len(), printed.len());
    close(chart.upper, 52.5884, 5e-5);
    close(chart.lower, 47.4115, 1e-4);
    assert!(chart.outside.is_empty());
    assert_eq!(ewma_chart(&values, 50.0, 2.0, 0.0), None);
    assert_eq!(ewma_chart(&values, f64::NAN, 2.0, 0.3), None);
}

/// NIST/SEMATECH e-Handbook 6.3.3.1 (data: NIST Dataplot, MONITOR-6_3_3_1.DAT): mean 16, limits 28
/// and 4. Wafer 3, with 28, lies *on* the limit and is inside; only wafer 24, with 31, is outside.
#[test]
fn counts_chart_equals_nist() {
    let wafers = [
        16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16,
        31, 13,
    ];
    let chart = counts_chart(&wafers).unwrap();
    assert_eq!(
        (chart.mean, chart.upper, chart.lower),
        (16.0, 28.0, Some(4.0))
    );
    assert_eq!(chart.outside, [23]);
}

/// Note with NIST/SEMATECH e-Handbook 6.3.3.1: below a mean count of about nine there is no lower
/// limit, so a chart of counts a minute at two or three drops cannot warn of a stop.
#[test]
fn counts_chart_of_slow_feeds_has_no_lower_limit() {
    let chart = counts_chart(&[2, 3, 2, 3, 0, 0, 0]).unwrap();
    assert_eq!(chart.lower, None);
    assert!(chart.outside.is_empty());
    assert!(counts_chart(&[10, 10, 10]).unwrap().lower.is_some());
    assert_eq!(counts_chart(&[]), None);
}

const NINE: [f64; 9] = [
    892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0,
];

/// The nine-point set of W. J. Riley, NIST SP 1065 (2008).
#[test]
fn allan_deviations_equal_the_nine_point_set() {
    close(allan_deviation(&NINE, 1).unwrap(), 91.229_45, 5e-6);
    close(allan_deviation(&NINE, 2).unwrap(), 115.8082, 5e-5);
    close(
        overlapping_allan_deviation(&NINE, 1).unwrap(),
        91.229_45,
        5e-6,
    );
    close(
        overlapping_allan_deviation(&NINE, 2).unwrap(),
        85.952_87,
        5e-6,
    );
    close(modified_allan_deviation(&NINE, 1).unwrap(), 91.229_45, 5e-6);
    close(modified_allan_deviation(&NINE, 2).unwrap(), 74.788_49, 5e-6);
    close(total_deviation(&NINE, 1).unwrap(), 91.229_45, 5e-6);
    close(total_deviation(&NINE, 2).unwrap(), 93.903_79, 5e-6);
    // Printed as 70.80608 and 70.80607 for the two kinds at one.
    close(hadamard_deviation(&NINE, 1).unwrap(), 70.806_075, 6e-6);
    close(hadamard_deviation(&NINE, 2).unwrap(), 116.7980, 5e-5);
    close(
        overlapping_hadamard_deviation(&NINE, 1).unwrap(),
        70.806_07,
        6e-6,
    );
    close(
        overlapping_hadamard_deviation(&NINE, 2).unwrap(),
        85.614_87,
        5e-6,
    );
    close(time_deviation(&NINE, 1, 1.0).unwrap(), 52.671_35, 5e-6);
    close(time_deviation(&NINE, 2, 1.0).unwrap(), 86.358_31, 5e-6);
}

/// The thousand-point set of the same publication, with the check values of its generator.
#[test]
fn allan_deviations_equal_the_thousand_point_set() {
    let mut n: u64 = 1_234_567_890;
    let mut numbers = vec![n];
    for _ in 1..1000 {
        n = n * 16_807 % 2_147_483_647;
        numbers.push(n);
    }
    assert_eq!(numbers[1..4], [395_529_916, 1_209_410_747, 633_705_974]);
    let values: Vec<f64> = numbers
        .iter()
        .map(|n| *n as f64 / 2_147_483_647.0)
        .collect();
    for (group, plain, overlapping, modified) in [
        (1, 2.922_319e-1, 2.922_319e-1, 2.922_319e-1),
        (10, 9.965_736e-2, 9.159_953e-2, 6.172_376e-2),
        (100, 3.897_804e-2, 3.241_343e-2, 2.170_921e-2),
    ] {
        let digit = |printed: f64| 0.5 * 10f64.powf(printed.log10().floor() - 6.0) * 1.01;
        close(
            allan_deviation(&values, group).unwrap(),
            plain,
            digit(plain),
        );
        let got = overlapping_allan_deviation(&values, group).unwrap();
        close(got, overlapping, digit(overlapping));
        let got = modified_allan_deviation(&values, group).unwrap();
        close(got, modified, digit(modified));
    }
    for (group, time, hadamard, overlapping, total) in [
        (1, 1.687_202e-1, 2.943_883e-1, 2.943_883e-1, 2.922_319e-1),
        (10, 3.563_623e-1, 1.052_754e-1, 9.581_083e-2, 9.134_743e-2),
        (100, 1.253_382, 3.910_860e-2, 3.237_638e-2, 3.406_530e-2),
    ] {
        let digit = |printed: f64| 0.5 * 10f64.powf(printed.log10().floor() - 6.0) * 1.01;
        let prints = |got: Option<f64>, printed: f64| close(got.unwrap(), printed, digit(printed));
        prints(time_deviation(&values, group, 1.0), time);
        // One of the three is printed cut off: 3.910860e-2 for 3.9108606e-2.
        let got = hadamard_deviation(&values, group).unwrap();
        close(got, hadamard, 1.2 * digit(hadamard));
        prints(overlapping_hadamard_deviation(&values, group), overlapping);
        prints(total_deviation(&values, group), total);
    }
}

#[test]
fn allan_deviations_of_too_little_are_none() {
    let all = [
        allan_deviation as fn(&[f64], usize) -> Option<f64>,
        overlapping_allan_deviation,
        modified_allan_deviation,
        hadamard_deviation,
        overlapping_hadamard_deviation,
    ];
    assert_eq!(total_deviation(&NINE, 0), None);
    assert_eq!(total_deviation(&NINE, 10), None);
    assert_eq!(total_deviation(&[], 1), None);
    assert_eq!(total_deviation(&[1.0, f64::NAN, 2.0], 1), None);
    for of in all {
        assert_eq!(of(&NINE, 0), None);
        assert_eq!(of(&NINE, 5), None);
        assert_eq!(of(&NINE, usize::MAX), None);
        assert_eq!(of(&[], 1), None);
        assert_eq!(of(&[1.0, f64::NAN, 2.0], 1), None);
    }
}
