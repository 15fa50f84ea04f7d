//! Serial correlation against a published series, against a process of known correlation, and in
//! the trend test that reckons with it.

use beadtally::rate::{autocorrelation, trend};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Deflection of a steel-concrete beam: NIST Dataplot, LEW.DAT.
const LEW: [i32; 200] = [
    -213, -564, -35, -15, 141, 115, -420, -360, 203, -338, -431, 194, -220, -513, 154, -125, -559,
    92, -21, -579, -52, 99, -543, -175, 162, -457, -346, 204, -300, -474, 164, -107, -572, -8, 83,
    -541, -224, 180, -420, -374, 201, -236, -531, 83, 27, -564, -112, 131, -507, -254, 199, -311,
    -495, 143, -46, -579, -90, 136, -472, -338, 202, -287, -477, 169, -124, -568, 17, 48, -568,
    -135, 162, -430, -422, 172, -74, -577, -13, 92, -534, -243, 194, -355, -465, 156, -81, -578,
    -64, 139, -449, -384, 193, -198, -538, 110, -44, -577, -6, 66, -552, -164, 161, -460, -344,
    205, -281, -504, 134, -28, -576, -118, 156, -437, -381, 200, -220, -540, 83, 11, -568, -160,
    172, -414, -408, 188, -125, -572, -32, 139, -492, -321, 205, -262, -504, 142, -83, -574, 0, 48,
    -571, -106, 137, -501, -266, 190, -391, -406, 194, -186, -553, 83, -13, -577, -49, 103, -515,
    -280, 201, 300, -506, 131, -45, -578, -80, 138, -462, -361, 201, -211, -554, 32, 74, -533,
    -235, 187, -372, -442, 182, -147, -566, 25, 68, -535, -244, 194, -351, -463, 174, -125, -570,
    15, 72, -550, -190, 172, -424, -385, 198, -218, -536, 96,
];

/// NIST/SEMATECH e-Handbook 1.3.5.12, sample output for LEW.DAT, two decimals (data read from
/// Dataplot, printed values from memory).
#[test]
fn correlations_equal_the_beam_deflections_of_nist() {
    let values: Vec<f64> = LEW.iter().map(|v| f64::from(*v)).collect();
    let found = autocorrelation(&[values], 10).unwrap();
    let printed = [
        -0.31, -0.74, 0.77, 0.21, -0.90, 0.38, 0.63, -0.77, -0.12, 0.82,
    ];
    for (lag, (got, printed)) in found.at_lag.iter().zip(printed).enumerate() {
        assert!(
            (got - printed).abs() <= 0.005,
            "lag {}: {got}, printed {printed}",
            lag + 1
        );
    }
    assert_eq!((found.values, found.at_lag.len()), (200, 10));
    // 1.96 / √200.
    assert!((found.chance_limit - 0.138_59).abs() < 5e-6);
    assert!(found.p < 1e-12);
}

/// Values of which each is `share` of the one before plus something new: correlation share^lag.
fn wandering(share: f64, count: usize, rng: &mut ChaCha8Rng) -> Vec<f64> {
    let mut value = 0.0;
    (0..count)
        .map(|_| {
            let new: f64 = StandardNormal.sample(rng);
            value = share * value + (1.0 - share * share).sqrt() * new;
            value
        })
        .collect()
}

#[test]
fn correlations_of_a_known_process_are_found_and_chance_is_not() {
    let mut rng = ChaCha8Rng::seed_from_u64(17);
    let long = autocorrelation(&[wandering(0.6, 20_000, &mut rng)], 3).unwrap();
    for (lag, got) in long.at_lag.iter().enumerate() {
        let wanted = 0.6_f64.powi(lag as i32 + 1);
        assert!((got - wanted).abs() < 0.03, "lag {}: {got}", lag + 1);
    }
    // Without correlation: one series in twenty beyond the limit, and p below 5 % as often.
    let (mut beyond, mut small_p) = (0, 0);
    for _ in 0..1000 {
        let found = autocorrelation(&[wandering(0.0, 100, &mut rng)], 10).unwrap();
        beyond += i32::from(found.at_lag[0].abs() > found.chance_limit);
        small_p += i32::from(found.p < 0.05);
    }
    println!("{beyond} and {small_p} of 1000");
    assert!((25..=75).contains(&beyond), "{beyond}");
    assert!((25..=80).contains(&small_p), "{small_p}");
}

/// A cut in the series takes away the pairs across it and nothing else.
#[test]
fn stretches_are_not_joined() {
    let ends = [vec![1.0, 2.0], vec![5.0, 4.0]];
    // Mean 3; spread 4 + 1 + 4 + 1 = 10; pairs (−2)(−1) and (2)(1).
    let found = autocorrelation(&ends, 1).unwrap();
    assert!((found.at_lag[0] - 0.4).abs() < 1e-12);
    let joined = autocorrelation(&[vec![1.0, 2.0, 5.0, 4.0]], 1).unwrap();
    assert!((joined.at_lag[0] - 0.2).abs() < 1e-12);
}

#[test]
fn too_little_or_nonsense_has_no_correlation() {
    assert_eq!(autocorrelation(&[], 1), None);
    assert_eq!(autocorrelation(&[vec![1.0, 2.0]], 1), None);
    assert_eq!(autocorrelation(&[vec![2.0; 9]], 1), None);
    assert_eq!(autocorrelation(&[vec![1.0, f64::NAN, 2.0, 3.0]], 1), None);
    assert_eq!(autocorrelation(&[vec![1.0, 2.0, 4.0]], 0), None);
    assert_eq!(autocorrelation(&[vec![1.0, 2.0, 4.0]], 2), None);
}

/// A trend test that takes a wandering series for a trend is no use; one that reckons with
/// correlation tells half as many (in so short and so wandering a series still too many), and still
/// finds a true trend.
#[test]
fn wandering_is_not_taken_for_a_trend() {
    let mut rng = ChaCha8Rng::seed_from_u64(18);
    let (mut plain, mut reckoned, mut found) = (0, 0, 0);
    for _ in 0..200 {
        let series = |slope: f64, rng: &mut ChaCha8Rng| -> Vec<(f64, f64)> {
            let values = wandering(0.7, 100, rng);
            (0..100)
                .map(f64::from)
                .zip(values)
                .map(|(t, y)| (t, y + slope * t))
                .collect()
        };
        let level = trend(&series(0.0, &mut rng), 0.95).unwrap();
        plain += i32::from(level.p < 0.01);
        reckoned += i32::from(level.p_correlated < 0.01);
        assert!(level.p_correlated >= level.p);
        let rising = trend(&series(0.06, &mut rng), 0.95).unwrap();
        found += i32::from(rising.p_correlated < 0.01);
    }
    println!("plain {plain}, reckoned {reckoned}, found {found} of 200");
    assert!(
        plain > 40 && reckoned * 3 < plain * 2,
        "{plain}, {reckoned}"
    );
    assert!(found > 150, "{found}");
}
