//! Compares what was counted with what truly passed: one to one, by time. It knows neither where
//! the pictures came from nor who counted.

use beadtally::base::BeadKind;
use serde::{Deserialize, Serialize};

/// A counted bead within this many seconds of a true one is that one (as the scoring of recorded
/// clips does it).
pub const MATCH_SECS: f64 = 0.4;
/// A missed drop this close to a declared blind spell, seconds, is excused: a bead's passage.
pub const EXCUSE_SECS: f64 = 0.1;

/// One bead that truly passed mid-glass, or that was reported to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passed {
    /// Mid-glass time, seconds.
    pub at_secs: f64,
    /// Oil or gas.
    pub kind: BeadKind,
    /// Diameter, mm, when known.
    pub diameter_mm: Option<f64>,
}

/// One glass: what passed, what was reported, and when it was said to be unseen.
#[derive(Clone, Debug, Default)]
pub struct Glass {
    /// What truly passed.
    pub truth: Vec<Passed>,
    /// What was reported.
    pub reported: Vec<Passed>,
    /// Declared blind spells: from, to; seconds.
    pub blind: Vec<(f64, f64)>,
}

/// Sums over any number of glasses and clips.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Score {
    /// Drops of oil that truly passed.
    pub truth: u32,
    /// Of these, counted.
    pub matched: u32,
    /// Not counted, and not in a declared blind spell.
    pub missed: u32,
    /// Not counted, in a declared blind spell.
    pub excused: u32,
    /// Counted, though no drop passed.
    pub false_drops: u32,
    /// Of the false ones, how many were bubbles of gas.
    pub gas_as_oil: u32,
    /// True bubbles that were reported as gas.
    pub gas_right: u32,
    /// True drops reported as gas (they are missed, too).
    pub oil_as_gas: u32,
    /// Time watched, glass-seconds.
    pub watched_secs: f64,
    /// Time declared blind, glass-seconds.
    pub blind_secs: f64,
    /// Sum of squared errors of mid-glass time, s².
    pub time_error_sq: f64,
    /// How many drops had a size.
    pub sized: u32,
    /// Sum of squared relative errors of diameter.
    pub size_error_sq: f64,
    /// Sum of relative errors of diameter.
    pub size_error: f64,
}

/// Pairs true and reported times one to one, nearest first; indices into both.
fn pairs(truth: &[Passed], reported: &[Passed]) -> Vec<(usize, usize)> {
    let mut near: Vec<(f64, usize, usize)> = Vec::new();
    for (t, a) in truth.iter().enumerate() {
        for (r, b) in reported.iter().enumerate() {
            let apart = (a.at_secs - b.at_secs).abs();
            if apart <= MATCH_SECS {
                near.push((apart, t, r));
            }
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut of_truth, mut of_reported) = (vec![None; truth.len()], vec![None; reported.len()]);
    let mut open: Vec<(usize, usize)> = Vec::new();
    for (_, t, r) in near {
        if of_truth[t].is_none() && of_reported[r].is_none() {
            of_truth[t] = Some(r);
            of_reported[r] = Some(t);
        } else {
            open.push((t, r));
        }
    }
    // Nearest first can leave two over that a swap would pair: a – b taken, a' and b' left.
    for t in 0..truth.len() {
        if of_truth[t].is_some() {
            continue;
        }
        let swap = open.iter().filter(|pair| pair.0 == t).find_map(|&(_, r)| {
            let other = of_reported[r]?;
            open.iter()
                .find(|pair| pair.0 == other && of_reported[pair.1].is_none())
                .map(|pair| (r, other, pair.1))
        });
        if let Some((r, other, free)) = swap {
            of_truth[t] = Some(r);
            of_reported[r] = Some(t);
            of_truth[other] = Some(free);
            of_reported[free] = Some(other);
        }
    }
    of_truth
        .iter()
        .enumerate()
        .filter_map(|(t, r)| r.map(|r| (t, r)))
        .collect()
}

/// Length of the union of stretches within `until_secs`.
fn covered(stretches: &[(f64, f64)], until_secs: f64) -> f64 {
    let mut sorted = stretches.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut sum, mut reached) = (0.0, 0.0_f64);
    for (from, to) in sorted {
        let (from, to) = (from.max(reached), to.min(until_secs));
        if to > from {
            sum += to - from;
            reached = to;
        }
    }
    sum
}

fn of_kind(all: &[Passed], kind: BeadKind) -> Vec<Passed> {
    all.iter().copied().filter(|p| p.kind == kind).collect()
}

/// What was not taken.
fn left_over(all: &[Passed], taken: impl Iterator<Item = usize>) -> Vec<Passed> {
    let taken: Vec<usize> = taken.collect();
    (0..all.len())
        .filter(|index| !taken.contains(index))
        .map(|index| all[index])
        .collect()
}

impl Glass {
    /// Whether that time lies in a declared blind spell or right beside one.
    fn hides(&self, at_secs: f64) -> bool {
        self.blind
            .iter()
            .any(|(from, to)| (from - EXCUSE_SECS..=to + EXCUSE_SECS).contains(&at_secs))
    }
}

impl Score {
    /// Every drop missed (and not excused) or counted falsely before `until_secs`, in words.
    #[must_use]
    pub fn errors(glass: &Glass, until_secs: f64) -> Vec<String> {
        let oil = of_kind(&glass.truth, BeadKind::Oil);
        let drops = of_kind(&glass.reported, BeadKind::Oil);
        let paired = pairs(&oil, &drops);
        let missed = left_over(&oil, paired.iter().map(|pair| pair.0));
        let wrong = left_over(&drops, paired.iter().map(|pair| pair.1));
        let missed = missed
            .iter()
            .filter(|p| p.at_secs < until_secs && !glass.hides(p.at_secs))
            .map(|p| format!("missed at {:.2} s", p.at_secs));
        let wrong = wrong
            .iter()
            .filter(|p| p.at_secs < until_secs)
            .map(|p| format!("false at {:.2} s", p.at_secs));
        missed.chain(wrong).collect()
    }

    /// The score of one glass over the time from 0 to `until_secs`. What passes later is neither
    /// asked for nor false.
    #[must_use]
    pub fn of(glass: &Glass, until_secs: f64) -> Self {
        let (oil, gas) = (
            of_kind(&glass.truth, BeadKind::Oil),
            of_kind(&glass.truth, BeadKind::Gas),
        );
        let (drops, bubbles) = (
            of_kind(&glass.reported, BeadKind::Oil),
            of_kind(&glass.reported, BeadKind::Gas),
        );
        let mut score = Self {
            watched_secs: until_secs,
            blind_secs: covered(&glass.blind, until_secs),
            ..Self::default()
        };
        let paired = pairs(&oil, &drops);
        for &(t, r) in &paired {
            let (true_one, seen) = (oil[t], drops[r]);
            if true_one.at_secs >= until_secs {
                continue;
            }
            score.truth += 1;
            score.matched += 1;
            score.time_error_sq += (seen.at_secs - true_one.at_secs).powi(2);
            if let (Some(seen), Some(real)) = (seen.diameter_mm, true_one.diameter_mm) {
                let error = seen / real - 1.0;
                score.sized += 1;
                score.size_error_sq += error * error;
                score.size_error += error;
            }
        }
        let truth_left = left_over(&oil, paired.iter().map(|pair| pair.0));
        let mut drops_left = left_over(&drops, paired.iter().map(|pair| pair.1));
        for left in truth_left.iter().filter(|p| p.at_secs < until_secs) {
            score.truth += 1;
            if glass.hides(left.at_secs) {
                score.excused += 1;
            } else {
                score.missed += 1;
            }
        }
        drops_left.retain(|p| p.at_secs < until_secs);
        score.false_drops = drops_left.len() as u32;
        let bubbles_of_oil = pairs(&truth_left, &bubbles);
        score.oil_as_gas = bubbles_of_oil.len() as u32;
        score.gas_right = pairs(&gas, &bubbles).len() as u32;
        score.gas_as_oil = pairs(&gas, &drops_left).len() as u32;
        score
    }

    /// Adds another score.
    pub fn add(&mut self, other: &Self) {
        self.truth += other.truth;
        self.matched += other.matched;
        self.missed += other.missed;
        self.excused += other.excused;
        self.false_drops += other.false_drops;
        self.gas_as_oil += other.gas_as_oil;
        self.gas_right += other.gas_right;
        self.oil_as_gas += other.oil_as_gas;
        self.watched_secs += other.watched_secs;
        self.blind_secs += other.blind_secs;
        self.time_error_sq += other.time_error_sq;
        self.sized += other.sized;
        self.size_error_sq += other.size_error_sq;
        self.size_error += other.size_error;
    }

    /// 2 × right ÷ (2 × right + false + missed); excused misses do not count. 1 when there was
    /// nothing to count and nothing was counted.
    #[must_use]
    pub fn f1(&self) -> f64 {
        let right = 2.0 * f64::from(self.matched);
        let all = right + f64::from(self.missed + self.false_drops);
        if all > 0.0 { right / all } else { 1.0 }
    }

    /// Root mean square of the errors of mid-glass time, ms.
    #[must_use]
    pub fn time_rms_ms(&self) -> Option<f64> {
        (self.matched > 0).then(|| 1000.0 * (self.time_error_sq / f64::from(self.matched)).sqrt())
    }

    /// Root mean square of the errors of diameter, per cent.
    #[must_use]
    pub fn size_rms_per_cent(&self) -> Option<f64> {
        (self.sized > 0).then(|| 100.0 * (self.size_error_sq / f64::from(self.sized)).sqrt())
    }

    /// Mean error of diameter, per cent.
    #[must_use]
    pub fn size_bias_per_cent(&self) -> Option<f64> {
        (self.sized > 0).then(|| 100.0 * self.size_error / f64::from(self.sized))
    }

    /// Of the true bubbles that were seen at all, the share told as gas, per cent.
    #[must_use]
    pub fn gas_right_per_cent(&self) -> Option<f64> {
        let seen = self.gas_right + self.gas_as_oil;
        (seen > 0).then(|| 100.0 * f64::from(self.gas_right) / f64::from(seen))
    }

    /// Of the true drops that were seen at all, the share told as oil, per cent.
    #[must_use]
    pub fn oil_right_per_cent(&self) -> Option<f64> {
        let seen = self.matched + self.oil_as_gas;
        (seen > 0).then(|| 100.0 * f64::from(self.matched) / f64::from(seen))
    }

    /// Share of the watched time that was declared blind, per cent.
    #[must_use]
    pub fn blind_per_cent(&self) -> f64 {
        if self.watched_secs > 0.0 {
            100.0 * self.blind_secs / self.watched_secs
        } else {
            0.0
        }
    }

    /// False drops an hour of watching one glass.
    #[must_use]
    pub fn false_an_hour(&self) -> f64 {
        if self.watched_secs > 0.0 {
            3600.0 * f64::from(self.false_drops) / self.watched_secs
        } else {
            0.0
        }
    }
}
