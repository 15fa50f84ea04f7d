//! A person's taps and the counted drops, each tap with the drop it was for: how late the person
//! taps is estimated, and the best one-to-one assignment is made. What the left-over ones mean is
//! judged in `hand_check`.

use super::Limits;

/// How late a person taps when nothing is known of it, seconds. Of a bead seen coming the mean is
/// 0.11 s (4304 timings by hand: "Manual timing in physics experiments", American Journal of
/// Physics 87 (2019) 110), of one that takes the eye by surprise about 0.25 s (from memory).
pub const USUAL_LAG_SECS: f64 = 0.2;

/// How far from the usual lag a person's own is looked for, seconds: a bead takes up to a second
/// from the nozzle to mid-glass and as long to the top, and a person may tap at either.
const LAG_REACH_SECS: f64 = 1.5;

/// The lag, and the window round it, stay within this share of the feed's shorter intervals, so
/// that a tap is not laid to the next drop.
const INTERVAL_SHARE: f64 = 0.45;

/// Half width of the heap of differences whose middle is the lag, seconds: 3.5 times the scatter
/// of a hand, 0.07 s (the same 4304 timings).
const HEAP_SECS: f64 = 0.25;

/// From this many differences in the heap on their own scatter sets the window.
const OWN_WINDOW_FROM: usize = 5;

/// The window in scatters of the person's own taps: beyond four a tap is for another bead.
const WINDOW_SCATTERS: f64 = 4.0;

/// Narrowest window, seconds: five times the 0.07 s that hands scatter by.
const NARROWEST_SECS: f64 = 0.35;

/// Widest window, seconds: who taps less evenly than that does not tap at beads.
const WIDEST_SECS: f64 = 1.0;

/// Two taps closer than this, seconds, are one: a finger cannot tap ten times a second (six or
/// seven times, from memory), but a worn key can.
pub const SAME_TAP_SECS: f64 = 0.1;

/// A normal scatter over the median of absolute differences.
const SCATTER_PER_MAD: f64 = 1.4826;

/// Taps and drops laid together.
#[derive(Clone, Debug, PartialEq)]
pub struct Pairing {
    /// The taps: times sorted, doubles left out, seconds.
    pub taps_secs: Vec<f64>,
    /// The drops: times sorted, seconds.
    pub drops_secs: Vec<f64>,
    /// Of each tap, the index of its drop.
    pub drop_of_tap: Vec<Option<usize>>,
    /// How late the person taps, seconds: estimated, or the usual when there are too few taps.
    pub lag_secs: f64,
    /// How much that scatters (robust standard deviation), seconds; none from too few taps.
    pub lag_scatter_secs: Option<f64>,
    /// A tap was laid to a drop when it came within this of the lag, seconds.
    pub window_secs: f64,
}

/// Lays taps to drops, one to one: as many pairs as the window allows, and of all such
/// assignments the one with the least sum of differences. Times that are no numbers are left out.
///
/// ```
/// let drops = [10.0, 34.0, 57.0, 82.0, 106.0, 131.0];
/// let taps = [10.3, 34.2, 57.3, 106.4, 131.2]; // the fourth drop was overlooked
/// let pairing = beadtally::rate::pair_taps(&taps, &drops);
/// assert_eq!(pairing.drop_of_tap, [Some(0), Some(1), Some(2), Some(4), Some(5)]);
/// assert!((pairing.lag_secs - 0.3).abs() < 1e-9);
/// ```
#[must_use]
pub fn pair_taps(taps_secs: &[f64], drops_secs: &[f64]) -> Pairing {
    let mut taps = sorted(taps_secs);
    taps.dedup_by(|later, kept| *later - *kept < SAME_TAP_SECS);
    let drops = sorted(drops_secs);
    let reach = INTERVAL_SHARE * shorter_interval(if drops.len() > 2 { &drops } else { &taps });
    let near = reach.min(LAG_REACH_SECS);
    let looked = Limits {
        low: USUAL_LAG_SECS - near,
        high: USUAL_LAG_SECS + near,
    };
    let heap = heap(&taps, &drops, looked);
    let widest = WIDEST_SECS.min(reach);
    let (mut lag, mut scatter, mut window) = (USUAL_LAG_SECS, None, widest);
    if heap.len() >= OWN_WINDOW_FROM {
        (lag, scatter, window) = own(&heap, widest);
    } else if !heap.is_empty() {
        lag = median(&heap);
    }
    let mut drop_of_tap = assign(&taps, &drops, lag, window);
    // Once more by all the pairs made, not by the heap alone.
    let late: Vec<f64> = drop_of_tap
        .iter()
        .zip(&taps)
        .filter_map(|(drop, tap)| drop.map(|drop| tap - drops[drop]))
        .collect();
    if late.len() >= OWN_WINDOW_FROM {
        (lag, scatter, window) = own(&late, widest);
        drop_of_tap = assign(&taps, &drops, lag, window);
    }
    Pairing {
        taps_secs: taps,
        drops_secs: drops,
        drop_of_tap,
        lag_secs: lag,
        lag_scatter_secs: scatter,
        window_secs: window,
    }
}

/// Lag, scatter and window by what was seen of this person.
fn own(late: &[f64], widest: f64) -> (f64, Option<f64>, f64) {
    let lag = median(late);
    let off: Vec<f64> = late.iter().map(|d| (d - lag).abs()).collect();
    let scatter = SCATTER_PER_MAD * median(&off);
    let window = (WINDOW_SCATTERS * scatter).clamp(NARROWEST_SECS.min(widest), widest);
    (lag, Some(scatter), window)
}

fn sorted(times: &[f64]) -> Vec<f64> {
    let mut times: Vec<f64> = times.iter().copied().filter(|t| t.is_finite()).collect();
    times.sort_by(f64::total_cmp);
    times
}

/// The lower quartile of the intervals, so that one long silence does not matter; ∞ with none.
fn shorter_interval(times: &[f64]) -> f64 {
    let mut intervals: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    intervals.sort_by(f64::total_cmp);
    intervals
        .get(intervals.len() / 4)
        .copied()
        .unwrap_or(f64::INFINITY)
}

/// The fullest heap of differences tap − drop among those looked at; of two as full, the one
/// nearer to the usual lag.
fn heap(taps: &[f64], drops: &[f64], looked: Limits) -> Vec<f64> {
    let mut differences: Vec<f64> = taps
        .iter()
        .flat_map(|tap| {
            let first = drops.partition_point(|drop| tap - drop > looked.high);
            drops[first..]
                .iter()
                .map(move |drop| tap - drop)
                .take_while(|late| *late >= looked.low)
        })
        .collect();
    differences.sort_by(f64::total_cmp);
    let mut best: (usize, f64, &[f64]) = (0, f64::INFINITY, &[]);
    for (index, low) in differences.iter().enumerate() {
        let end = differences.partition_point(|d| *d <= low + 2.0 * HEAP_SECS);
        let here = &differences[index..end];
        let off = (here[here.len() / 2] - USUAL_LAG_SECS).abs();
        if here.len() > best.0 || (here.len() == best.0 && off < best.1) {
            best = (here.len(), off, here);
        }
    }
    best.2.to_vec()
}

/// The median; NaN of none.
fn median(values: &[f64]) -> f64 {
    let values = sorted(values);
    match values.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => values[n / 2],
        n => f64::midpoint(values[n / 2 - 1], values[n / 2]),
    }
}

/// The assignment. Taps and drops so far apart that nothing bridges them are assigned on their
/// own, so an hour costs no more than its moments.
fn assign(taps: &[f64], drops: &[f64], lag: f64, window: f64) -> Vec<Option<usize>> {
    let mut result = vec![None; taps.len()];
    let (mut tap, mut drop) = (0, 0);
    while tap < taps.len() && drop < drops.len() {
        let (first_tap, first_drop) = (tap, drop);
        let at = |index: usize| taps.get(index).map_or(f64::INFINITY, |t| t - lag);
        let of = |index: usize| drops.get(index).copied().unwrap_or(f64::INFINITY);
        let mut last = at(tap).min(of(drop));
        loop {
            if at(tap) - last <= window {
                last = last.max(at(tap));
                tap += 1;
            } else if of(drop) - last <= window {
                last = last.max(of(drop));
                drop += 1;
            } else {
                break;
            }
        }
        let pairs = assign_few(&taps[first_tap..tap], &drops[first_drop..drop], lag, window);
        for (of_tap, of_drop) in pairs {
            result[first_tap + of_tap] = Some(first_drop + of_drop);
        }
    }
    result
}

/// The best assignment of a few, by stepping through both in order: on a line no best assignment
/// needs to cross itself.
fn assign_few(taps: &[f64], drops: &[f64], lag: f64, window: f64) -> Vec<(usize, usize)> {
    let (rows, columns) = (taps.len(), drops.len());
    // One pair more is worth more than any sum of differences.
    let worth = window * (rows.min(columns) as f64 + 1.0);
    let width = columns + 1;
    let mut best = vec![0.0_f64; width];
    let mut step = vec![Step::Tap; (rows + 1) * width];
    for row in 1..=rows {
        let mut diagonal = best[0];
        for column in 1..=columns {
            let above = best[column];
            let left = best[column - 1];
            let late = (taps[row - 1] - lag - drops[column - 1]).abs();
            let pair = if late <= window {
                diagonal + worth - late
            } else {
                f64::NEG_INFINITY
            };
            let (value, taken) = if pair >= above && pair >= left {
                (pair, Step::Pair)
            } else if above >= left {
                (above, Step::Tap)
            } else {
                (left, Step::Drop)
            };
            best[column] = value;
            step[row * width + column] = taken;
            diagonal = above;
        }
    }
    let mut pairs = Vec::new();
    let (mut row, mut column) = (rows, columns);
    while row > 0 && column > 0 {
        match step[row * width + column] {
            Step::Pair => {
                row -= 1;
                column -= 1;
                pairs.push((row, column));
            }
            Step::Tap => row -= 1,
            Step::Drop => column -= 1,
        }
    }
    pairs
}

/// How the best assignment came about: the newest tap or drop is alone, or they are a pair.
#[derive(Clone, Copy, Debug)]
enum Step {
    Pair,
    Tap,
    Drop,
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// Tries every assignment.
    fn by_force(taps: &[f64], drops: &[f64], lag: f64, window: f64) -> (usize, f64) {
        let Some((tap, taps)) = taps.split_first() else {
            return (0, 0.0);
        };
        let mut best = by_force(taps, drops, lag, window);
        for index in 0..drops.len() {
            let late = (tap - lag - drops[index]).abs();
            if late <= window {
                let mut others = drops.to_vec();
                others.remove(index);
                let (count, sum) = by_force(taps, &others, lag, window);
                if (count + 1, -(sum + late)) > (best.0, -best.1 + 1e-12) {
                    best = (count + 1, sum + late);
                }
            }
        }
        best
    }

    #[test]
    fn no_assignment_is_better() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        for _ in 0..300 {
            let draw = |rng: &mut ChaCha8Rng| {
                let n = rng.random_range(0..6);
                sorted(
                    &(0..n)
                        .map(|_| rng.random_range(0.0..4.0))
                        .collect::<Vec<f64>>(),
                )
            };
            let (taps, drops) = (draw(&mut rng), draw(&mut rng));
            let made = assign(&taps, &drops, 0.2, 0.5);
            let mut used: Vec<usize> = made.iter().flatten().copied().collect();
            let count = used.len();
            used.dedup();
            assert_eq!(used.len(), count, "one to one");
            let sum: f64 = made
                .iter()
                .zip(&taps)
                .filter_map(|(drop, tap)| drop.map(|drop| (tap - 0.2 - drops[drop]).abs()))
                .sum();
            let (best_count, best_sum) = by_force(&taps, &drops, 0.2, 0.5);
            assert_eq!(count, best_count, "{taps:?} {drops:?}");
            assert!((sum - best_sum).abs() < 1e-9, "{taps:?} {drops:?}");
        }
    }

    #[test]
    fn the_lag_is_found_when_a_person_taps_at_the_top_of_the_glass() {
        let drops: Vec<f64> = (0..20).map(|n| 5.0 + 24.0 * f64::from(n)).collect();
        let taps: Vec<f64> = drops
            .iter()
            .enumerate()
            .map(|(n, t)| t + 1.1 + if n % 2 == 0 { 0.05 } else { -0.05 })
            .collect();
        let pairing = pair_taps(&taps, &drops);
        assert!(pairing.drop_of_tap.iter().all(Option::is_some));
        assert!((pairing.lag_secs - 1.1).abs() < 0.06, "{pairing:?}");
        assert!(pairing.window_secs < 0.5);
    }

    #[test]
    fn a_fast_feed_is_not_laid_to_the_next_drop() {
        let drops: Vec<f64> = (0..40).map(f64::from).collect();
        let taps: Vec<f64> = drops.iter().map(|t| t + 0.15).collect();
        let pairing = pair_taps(&taps, &drops);
        let own: Vec<Option<usize>> = (0..40).map(Some).collect();
        assert_eq!(pairing.drop_of_tap, own);
    }

    #[test]
    fn two_taps_in_a_tenth_of_a_second_are_one_and_nonsense_is_left_out() {
        let pairing = pair_taps(&[1.0, 1.05, f64::NAN, f64::INFINITY], &[0.8, f64::NAN]);
        assert_eq!(pairing.taps_secs, [1.0]);
        assert_eq!(pairing.drop_of_tap, [Some(0)]);
        let none = pair_taps(&[], &[]);
        assert!(none.drop_of_tap.is_empty());
    }
}
