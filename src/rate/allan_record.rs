//! Allan deviation of a feed's rate against averaging time, from the times of its drops. The
//! formula is that of `allan`; here the rate over any time comes from the drops, and blind spells
//! are kept out.

use super::DropRecord;

/// Averaging times asked for, seconds: round times from half a minute to two hours, about evenly
/// spaced in their logarithm.
const AVERAGING_SECS: [f64; 9] = [
    30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0,
];

/// Differences wanted for a figure, as if they did not overlap: with fewer than two and a half
/// pairs of spells, the figure is chance.
const FEWEST_SPELLS: f64 = 5.0;

/// Overlapping spells start so many times within an averaging time. More than eight add nothing:
/// neighbouring ones are then nearly the same.
const STARTS_A_SPELL: f64 = 8.0;

/// The Allan deviation at one averaging time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AllanPoint {
    /// Averaging time, seconds.
    pub averaging_secs: f64,
    /// Overlapping Allan deviation of the rate, drops a minute.
    pub deviation_per_minute: f64,
    /// How many spells of this length the seen time holds, one after the other; the fewer, the
    /// less the figure is worth.
    pub spells: f64,
}

/// The Allan deviation of the rate at averaging times from half a minute (and no less than two
/// mean intervals) to a fifth of the seen time, in stretches that no blind spell cuts. Empty when
/// there is too little.
///
/// The rate over a time is the number of drops in it, each interval counted by the part of it that
/// lies within, so that it moves smoothly; ½ mean squared difference of adjoining rates, as in
/// W. J. Riley, *Handbook of Frequency Stability Analysis*, NIST SP 1065 (2008).
#[must_use]
pub fn allan_of_rate(record: &DropRecord) -> Vec<AllanPoint> {
    let mut stretches = record.seen_stretches();
    stretches.retain(|stretch| stretch.len() > 1);
    let length = |stretch: &[f64]| match (stretch.first(), stretch.last()) {
        (Some(first), Some(last)) => last - first,
        _ => 0.0,
    };
    let seen_secs: f64 = stretches.iter().map(|s| length(s)).sum();
    let intervals: usize = stretches.iter().map(|s| s.len() - 1).sum();
    if intervals == 0 || seen_secs <= 0.0 {
        return Vec::new();
    }
    let shortest = 2.0 * seen_secs / intervals as f64;
    AVERAGING_SECS
        .into_iter()
        .filter(|secs| *secs >= shortest && FEWEST_SPELLS * secs <= seen_secs)
        .filter_map(|averaging_secs| {
            let (mut sum, mut count, mut spells) = (0.0, 0_usize, 0.0);
            for stretch in &stretches {
                let room = length(stretch) - 2.0 * averaging_secs;
                let Some(&first) = stretch.first() else {
                    continue;
                };
                if room < 0.0 {
                    continue;
                }
                spells += length(stretch) / averaging_secs;
                let step = averaging_secs / STARTS_A_SPELL;
                for i in 0..=(room / step) as usize {
                    let at = first + step * i as f64;
                    let ends = [at, at + averaging_secs, at + 2.0 * averaging_secs];
                    let [a, b, c] = ends.map(|t| count_at(stretch, t));
                    let difference = (c - 2.0 * b + a) / averaging_secs * 60.0;
                    sum += difference * difference;
                    count += 1;
                }
            }
            (count > 0 && spells >= FEWEST_SPELLS).then(|| AllanPoint {
                averaging_secs,
                deviation_per_minute: (sum / count as f64 / 2.0).sqrt(),
                spells,
            })
        })
        .collect()
}

/// Drops of a stretch up to a time, the interval in which it lies counted by its part.
fn count_at(stretch: &[f64], secs: f64) -> f64 {
    let after = stretch.partition_point(|t| *t <= secs);
    let Some(index) = after.checked_sub(1) else {
        return 0.0;
    };
    match (stretch.get(index), stretch.get(after)) {
        (Some(a), Some(b)) => index as f64 + (secs - a) / (b - a),
        _ => index as f64,
    }
}

#[cfg(test)]
mod tests {
    use super::super::overlapping_allan_deviation;
    use super::*;

    /// Rates that change every minute, at drop times made to give exactly these rates: the figure
    /// at whole minutes equals the published formula on the series of rates.
    #[test]
    fn equals_the_formula_on_a_series_of_rates() {
        // 2, 4, 3, … drops in successive minutes, evenly spaced within each.
        let counts = [2, 4, 3, 5, 2, 3, 4, 4, 2, 6, 3, 2, 4, 5, 3, 3];
        let mut drops = vec![0.0];
        for (minute, count) in counts.iter().enumerate() {
            for i in 1..=*count {
                drops.push(60.0 * (minute as f64 + f64::from(i) / f64::from(*count)));
            }
        }
        let stretch = drops.clone();
        for (t, wanted) in [
            (0.0, 0.0),
            (60.0, 2.0),
            (120.0, 6.0),
            (90.0, 4.0),
            (75.0, 3.0),
        ] {
            assert!((count_at(&stretch, t) - wanted).abs() < 1e-9, "{t}");
        }
        let rates: Vec<f64> = counts.iter().map(|c| f64::from(*c)).collect();
        let plain = overlapping_allan_deviation(&rates, 2).unwrap();
        // The same differences, taken by hand at whole minutes.
        let mut sum = 0.0;
        let mut n = 0.0;
        for minute in 0..=(counts.len() - 4) {
            let at = 60.0 * minute as f64;
            let [a, b, c] = [at, at + 120.0, at + 240.0].map(|t| count_at(&stretch, t));
            let difference = (c - b) / 2.0 - (b - a) / 2.0;
            sum += difference * difference;
            n += 1.0;
        }
        assert!(((sum / n / 2.0_f64).sqrt() - plain).abs() < 1e-12);
        let record = DropRecord {
            from_secs: 0.0,
            now_secs: 960.0,
            drops_secs: drops,
            blind: vec![],
        };
        let points = allan_of_rate(&record);
        let two = points.iter().find(|p| p.averaging_secs == 120.0).unwrap();
        // Eight starts a spell instead of two: near, not the same.
        assert!(
            (two.deviation_per_minute / plain - 1.0).abs() < 0.25,
            "{two:?} {plain}"
        );
    }
}
