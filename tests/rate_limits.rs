//! Textbook limits against published tables: counts (Garwood), complete gamma intervals, mean time
//! between failures. Each value stands beside its source.

use beadtally::rate::{
    EndedBy, Limits, gamma_interval_limits, mean_time_limits, no_events_upper, poisson_limits,
};

fn assert_prints(limits: Limits, low: f64, high: f64, half_a_digit: f64, what: &str) {
    let close = |got: f64, printed: f64| (got - printed).abs() <= half_a_digit * 1.001;
    assert!(
        close(limits.low, low) && close(limits.high, high),
        "{what}: got {limits:?}, printed {low} to {high}"
    );
}

// P. Macdonald, McMaster University, "Confidence Intervals for the Mean of a Poisson
// Distribution", 95 %, four decimals.
#[test]
fn poisson_limits_equal_macdonald() {
    for (n, low, high) in [
        (0, 0.0, 3.6889),
        (1, 0.0253, 5.5716),
        (2, 0.2422, 7.2247),
        (3, 0.6187, 8.7673),
        (4, 1.0899, 10.2416),
        (5, 1.6235, 11.6683),
    ] {
        assert_prints(poisson_limits(n, 0.95), low, high, 5e-5, "Macdonald");
    }
}

// J. Hanley, McGill University, "Confidence limits for the expectation of a Poisson random
// variable", two decimals.
#[test]
fn poisson_limits_equal_hanley() {
    for (n, confidence, low, high) in [
        (6, 0.95, 2.20, 13.06),
        (9, 0.95, 4.12, 17.08),
        (10, 0.95, 4.80, 18.39),
        (14, 0.95, 7.65, 23.49),
        (20, 0.95, 12.22, 30.89),
        (30, 0.95, 20.24, 42.83),
        (10, 0.99, 3.72, 21.40),
        (10, 0.98, 4.13, 20.14),
        (10, 0.90, 5.43, 16.96),
        (10, 0.80, 6.22, 15.41),
        (10, 0.998, 2.96, 24.13),
        (30, 0.998, 15.87, 51.08),
    ] {
        assert_prints(poisson_limits(n, confidence), low, high, 5e-3, "Hanley");
    }
}

/// A table computed with scipy 1.17.1 (chi2.ppf), four decimals: 90, 95 and 99 %.
#[test]
fn poisson_limits_equal_a_computed_table() {
    for (n, ninety, ninety_five, ninety_nine) in [
        (0, (0.0, 2.9957), (0.0, 3.6889), (0.0, 5.2983)),
        (1, (0.0513, 4.7439), (0.0253, 5.5716), (0.0050, 7.4301)),
        (2, (0.3554, 6.2958), (0.2422, 7.2247), (0.1035, 9.2738)),
        (3, (0.8177, 7.7537), (0.6187, 8.7673), (0.3379, 10.9775)),
        (4, (1.3663, 9.1535), (1.0899, 10.2416), (0.6722, 12.5941)),
        (5, (1.9701, 10.5130), (1.6235, 11.6683), (1.0779, 14.1498)),
        (6, (2.6130, 11.8424), (2.2019, 13.0595), (1.5369, 15.6597)),
        (7, (3.2853, 13.1481), (2.8144, 14.4227), (2.0373, 17.1336)),
        (8, (3.9808, 14.4346), (3.4538, 15.7632), (2.5711, 18.5782)),
        (9, (4.6952, 15.7052), (4.1154, 17.0848), (3.1324, 19.9984)),
        (10, (5.4254, 16.9622), (4.7954, 18.3904), (3.7169, 21.3978)),
        (15, (9.2463, 23.0971), (8.3954, 24.7402), (6.8934, 28.1641)),
        (
            20,
            (13.2547, 29.0620),
            (12.2165, 30.8884),
            (10.3533, 34.6680),
        ),
        (
            30,
            (21.5940, 40.6905),
            (20.2409, 42.8269),
            (17.7672, 47.2093),
        ),
        (
            50,
            (38.9647, 63.2871),
            (37.1110, 65.9188),
            (33.6638, 71.2661),
        ),
        (
            100,
            (84.1393, 118.0793),
            (81.3640, 121.6268),
            (76.1205, 128.7606),
        ),
        (
            150,
            (130.4391, 171.7646),
            (126.9562, 176.0172),
            (120.3317, 184.5272),
        ),
        (
            200,
            (177.3205, 224.8744),
            (173.2409, 229.7220),
            (165.4514, 239.3942),
        ),
        (
            500,
            (463.7972, 538.3765),
            (457.1286, 545.8093),
            (444.2818, 560.5316),
        ),
        (
            1000,
            (948.5598, 1053.6031),
            (938.9730, 1063.9521),
            (920.4240, 1084.3729),
        ),
    ] {
        let rows = [(0.90, ninety), (0.95, ninety_five), (0.99, ninety_nine)];
        for (confidence, (low, high)) in rows {
            let what = format!("n = {n} at {confidence}");
            assert_prints(poisson_limits(n, confidence), low, high, 5e-5, &what);
        }
    }
}

#[test]
fn poisson_limits_equal_other_published_values() {
    // R, survival::cipoisson manual: four events, lower 1.089865.
    assert!((poisson_limits(4, 0.95).low - 1.089_865).abs() < 5e-7);
    // StatsDirect worked example: 14 events in 400 person-years.
    let rate = poisson_limits(14, 0.95).times(1.0 / 400.0);
    assert_prints(rate, 0.019_135, 0.058_724, 5e-7, "StatsDirect");
    // NIST e-Handbook 1.3.6.7.4: χ²(0.025; 40) = 24.433, χ²(0.975; 42) = 61.777 for 20 events.
    assert_prints(
        poisson_limits(20, 0.95),
        12.2165,
        30.8885,
        5e-4,
        "NIST χ² table",
    );
    // R, epitools::pois.exact manual: no event, upper 3.689 exact.
    assert!((poisson_limits(0, 0.95).high - 3.689).abs() < 5e-4);
    // Closed forms: −ln(α/2), −ln(1 − α/2), −ln α.
    assert!((poisson_limits(0, 0.95).high - 3.688_879).abs() < 5e-7);
    assert!((poisson_limits(1, 0.95).low - 0.025_318).abs() < 5e-7);
    assert!((no_events_upper(0.95) - 2.995_732).abs() < 5e-7);
    // R, epitools::pois.exact manual: the one-sided form, 2.996.
    assert!((no_events_upper(0.95) - 2.996).abs() < 5e-4);
}

/// The tails themselves, from the definition: the chance of n or more at the lower limit, and of n
/// or fewer at the upper one, is 2.5 %. Poisson chances summed here, without χ².
#[test]
fn poisson_limits_leave_the_tails_they_claim() {
    let up_to = |n: i32, mean: f64| -> f64 {
        let mut term = (-mean).exp();
        let mut sum = 0.0;
        for i in 0..=n {
            sum += term;
            term *= mean / f64::from(i + 1);
        }
        sum
    };
    for n in 1..200 {
        let limits = poisson_limits(n as u64, 0.95);
        assert!((up_to(n, limits.high) - 0.025).abs() < 1e-9, "{n}");
        assert!((1.0 - up_to(n - 1, limits.low) - 0.025).abs() < 1e-9, "{n}");
    }
}

/// Counts as the instrument would meet them, computed with scipy 1.17.1: drops, minutes, limits a
/// minute.
#[test]
fn poisson_rates_in_drops_a_minute() {
    for (drops, minutes, low, high) in [
        (3, 1.0, 0.6187, 8.7673),
        (2, 1.0, 0.2422, 7.2247),
        (15, 5.0, 1.6791, 4.9480),
        (30, 10.0, 2.0241, 4.2827),
        (150, 60.0, 2.1159, 2.9336),
        (120, 60.0, 1.6582, 2.3915),
        (180, 60.0, 2.5777, 3.4717),
        (0, 1.0, 0.0, 3.6889),
        (0, 2.0, 0.0, 1.8444),
    ] {
        let limits = poisson_limits(drops, 0.95).times(1.0 / minutes);
        assert_prints(limits, low, high, 5.1e-5, "a minute");
    }
}

/// Intervals of known shape, computed with scipy 1.17.1; 95 %, drops a minute.
#[test]
fn gamma_interval_limits_equal_a_computed_table() {
    let rows = [
        (
            5,
            120.0,
            [
                (0.8117, 5.1208),
                (1.5271, 3.7089),
                (2.0810, 2.9569),
                (2.2856, 2.7238),
            ],
        ),
        (
            10,
            240.0,
            [
                (1.1988, 4.2712),
                (1.7860, 3.3321),
                (2.1997, 2.8193),
                (2.3474, 2.6573),
            ],
        ),
        (
            30,
            720.0,
            [
                (1.6867, 3.4707),
                (2.0727, 2.9667),
                (2.3243, 2.6821),
                (2.4113, 2.5902),
            ],
        ),
        (
            150,
            3600.0,
            [
                (2.1159, 2.9156),
                (2.3039, 2.7040),
                (2.4206, 2.5806),
                (2.4602, 2.5402),
            ],
        ),
    ];
    for (intervals, sum_secs, printed) in rows {
        for (shape, (low, high)) in [1.0, 4.0, 25.0, 100.0].into_iter().zip(printed) {
            let limits = gamma_interval_limits(intervals, sum_secs, shape, 0.95).times(60.0);
            let what = format!("{intervals} intervals of shape {shape}");
            assert_prints(limits, low, high, 5e-5, &what);
        }
    }
}

/// NIST/SEMATECH e-Handbook 8.4.5.1: two failures in 800 hours, 90 % two-sided: (127, 2251).
#[test]
fn mean_time_limits_equal_nist() {
    let limits = mean_time_limits(2, 800.0, EndedBy::Time, 0.90);
    assert_prints(limits, 127.0, 2251.0, 0.5, "NIST 8.4.5.1");
    assert_prints(
        limits,
        127.0690,
        2251.2286,
        5e-5,
        "the same, computed with scipy 1.17.1",
    );
}

/// Factors on the mean time for a watch ended by time, computed with scipy 1.17.1 from the
/// formula of NIST/SEMATECH e-Handbook 8.4.5.1.
#[test]
fn mean_time_factors_equal_a_computed_table() {
    for (events, printed) in [
        (
            1,
            [
                (0.3340, 4.4814),
                (0.2571, 9.4912),
                (0.2108, 19.4957),
                (0.1795, 39.4979),
            ],
        ),
        (
            2,
            [
                (0.4674, 2.4260),
                (0.3758, 3.7607),
                (0.3177, 5.6281),
                (0.2768, 8.2573),
            ],
        ),
        (
            3,
            [
                (0.5440, 1.9543),
                (0.4490, 2.7222),
                (0.3869, 3.6689),
                (0.3422, 4.8491),
            ],
        ),
        (
            5,
            [
                (0.6324, 1.6184),
                (0.5391, 2.0554),
                (0.4756, 2.5379),
                (0.4285, 3.0798),
            ],
        ),
        (
            10,
            [
                (0.7326, 1.3719),
                (0.6491, 1.6074),
                (0.5895, 1.8432),
                (0.5438, 2.0853),
            ],
        ),
        (
            20,
            [
                (0.8088, 1.2367),
                (0.7395, 1.3769),
                (0.6882, 1.5089),
                (0.6475, 1.6371),
            ],
        ),
        (
            30,
            [
                (0.8436, 1.1848),
                (0.7830, 1.2915),
                (0.7373, 1.3893),
                (0.7005, 1.4821),
            ],
        ),
        (
            50,
            [
                (0.8788, 1.1371),
                (0.8286, 1.2142),
                (0.7901, 1.2832),
                (0.7585, 1.3473),
            ],
        ),
        (
            100,
            [
                (0.9145, 1.0929),
                (0.8766, 1.1439),
                (0.8469, 1.1885),
                (0.8222, 1.2290),
            ],
        ),
    ] {
        for (confidence, (low, high)) in [0.60, 0.80, 0.90, 0.95].into_iter().zip(printed) {
            // Total time over events is the mean time itself: the limits are the factors.
            let limits = mean_time_limits(events, events as f64, EndedBy::Time, confidence);
            let what = format!("{events} events at {confidence}");
            assert_prints(limits, low, high, 5e-5, &what);
        }
    }
}

/// Ended by time, the upper rate limit has 2(r + 1) degrees of freedom; ended by an event, 2r.
/// Mixing them up moves it: ten events, 95 %, 18.390 against 17.085 counts (scipy 1.17.1).
#[test]
fn how_a_watch_ended_matters() {
    let by_time = mean_time_limits(10, 1.0, EndedBy::Time, 0.95);
    let by_event = mean_time_limits(10, 1.0, EndedBy::Event, 0.95);
    assert!((1.0 / by_time.low - 18.390).abs() < 5e-4);
    assert!((1.0 / by_event.low - 17.085).abs() < 5e-4);
    assert_eq!(by_time.high, by_event.high);
    // An interval limit is that of a watch ended by an event.
    let intervals = gamma_interval_limits(10, 1.0, 1.0, 0.95);
    assert!((intervals.high - 1.0 / by_event.low).abs() < 1e-9);
}

/// No event in 40 units of time (notes on NIST 8.4.5.1): 0.0748933 one-sided, 0.0922220 two-sided.
#[test]
fn no_event_at_all() {
    assert!((no_events_upper(0.95) / 40.0 - 0.074_893_3).abs() < 5e-8);
    let two_sided = poisson_limits(0, 0.95).times(1.0 / 40.0);
    assert_eq!(two_sided.low, 0.0);
    assert!((two_sided.high - 0.092_222_0).abs() < 5e-8);
    let mean_time = mean_time_limits(0, 40.0, EndedBy::Time, 0.95);
    assert_eq!(mean_time.high, f64::INFINITY);
    assert!((mean_time.low * 0.092_222_0 - 1.0).abs() < 1e-6);
}

#[test]
fn nonsense_is_not_a_number_and_no_panic() {
    for confidence in [f64::NAN, 0.0, 1.0, -1.0, 2.0, f64::INFINITY] {
        let limits = poisson_limits(5, confidence);
        assert!(limits.low.is_nan() && limits.high.is_nan());
        assert!(no_events_upper(confidence).is_nan());
    }
    for (intervals, sum, shape) in [
        (0, 10.0, 1.0),
        (3, 0.0, 1.0),
        (3, f64::NAN, 1.0),
        (3, 10.0, 0.0),
        (3, 10.0, f64::INFINITY),
    ] {
        let limits = gamma_interval_limits(intervals, sum, shape, 0.95);
        assert!(limits.low.is_nan() && limits.high.is_nan());
    }
    assert!(mean_time_limits(3, -1.0, EndedBy::Time, 0.95).low.is_nan());
    // A very large count keeps its limits near ± 1.96 √n.
    let many = poisson_limits(1_000_000, 0.95);
    assert!((many.low - 998_041.0).abs() < 5.0 && (many.high - 1_001_962.0).abs() < 5.0);
}
