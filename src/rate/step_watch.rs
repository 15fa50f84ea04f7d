//! Watches a feed of known mean interval for a step of its rate, up or down: a cumulative sum of
//! the log-likelihood ratio either way, in which an interval may hide a missed bead and the present
//! silence speaks before its interval is over. Where the mean is not known, `change` looks at a
//! whole record instead.

use super::cusum::Way;
use super::special::{gamma_upper, ln_gamma_of};

/// The step that is looked for, as a share of the rate, either way. 30 %: less is a matter of
/// trimming, and a larger step is found all the sooner.
pub const STEP_SHARE: f64 = 0.3;

/// A sum over this (natural log) is a step, where mean and scatter are known. By simulation at 2.5
/// drops a minute, 15 % scatter and 0.5 % missed beads: a step of 30 % is told after 106 s (slower)
/// or 113 s (faster) on average, and half a false one in eight hours; see `study::step_row`.
pub const STEP_LIMIT: f64 = 7.5;

/// A single interval, or the present silence, adds at most this share of the limit: one interval is
/// never a step, because two beads missed in a row would make one.
const MOST_OF_LIMIT: f64 = 0.8;

/// Chances under this are all alike: their ratio is not asked for, so that nothing is divided by 0.
const LEAST_CHANCE: f64 = 1e-250;

/// What is known of the feed that is watched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtRest {
    /// Mean interval, seconds.
    pub interval_secs: f64,
    /// Scatter of the intervals (standard deviation over mean).
    pub scatter: f64,
    /// The chance that a bead is missed.
    pub missed_share: f64,
}

/// The two sums.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepWatch {
    at_rest: AtRest,
    shape: f64,
    /// ln of Γ(k) k^k / Γ(2k): what turns the density of one interval into that of two.
    ln_double: f64,
    limit: f64,
    up: f64,
    down: f64,
}

impl StepWatch {
    /// Sums at zero. With values that are not positive numbers it never tells a step.
    ///
    /// ```
    /// use beadtally::rate::{AtRest, STEP_LIMIT, StepWatch, Way};
    /// let at_rest = AtRest { interval_secs: 24.0, scatter: 0.15, missed_share: 0.005 };
    /// let mut watch = StepWatch::new(at_rest, STEP_LIMIT);
    /// assert_eq!(watch.drop_after(25.0), None);
    /// assert_eq!(watch.drop_after(36.0), None);
    /// assert_eq!(watch.drop_after(36.0), Some(Way::Down)); // slow twice over
    /// ```
    #[must_use]
    pub fn new(at_rest: AtRest, limit: f64) -> Self {
        let usable = at_rest.interval_secs > 0.0
            && at_rest.scatter > 0.0
            && (0.0..1.0).contains(&at_rest.missed_share);
        let shape = if usable {
            1.0 / (at_rest.scatter * at_rest.scatter)
        } else {
            f64::NAN
        };
        Self {
            at_rest,
            shape,
            ln_double: shape * shape.ln() + ln_gamma_of(shape) - ln_gamma_of(2.0 * shape),
            limit,
            up: 0.0,
            down: 0.0,
        }
    }

    /// Takes the next whole interval, seconds; tells the way of a step. An interval that is no
    /// positive number is passed over. After a step the sums begin anew.
    pub fn drop_after(&mut self, interval_secs: f64) -> Option<Way> {
        if !(interval_secs > 0.0 && interval_secs.is_finite()) {
            return None;
        }
        self.up = (self.up + self.gain(interval_secs, 1.0 + STEP_SHARE)).max(0.0);
        self.down = (self.down + self.gain(interval_secs, 1.0 - STEP_SHARE)).max(0.0);
        let way = self.way(self.up, self.down);
        if way.is_some() {
            self.reset();
        }
        way
    }

    /// What a present silence of so many seconds would tell: a step down, before its interval is
    /// over. Nothing is added up.
    #[must_use]
    pub fn silent_for(&self, silence_secs: f64) -> Option<Way> {
        let longer = |factor: f64| {
            let z = self.shape * factor * silence_secs / self.at_rest.interval_secs;
            let missed = self.at_rest.missed_share;
            (1.0 - missed) * gamma_upper(self.shape, z) + missed * gamma_upper(2.0 * self.shape, z)
        };
        let (slower, at_rest) = (longer(1.0 - STEP_SHARE), longer(1.0));
        let gain = if at_rest > LEAST_CHANCE {
            (slower / at_rest).ln()
        } else {
            f64::INFINITY
        };
        let gain = gain.min(MOST_OF_LIMIT * self.limit);
        (gain.is_finite() && self.down + gain > self.limit).then_some(Way::Down)
    }

    /// The seconds of silence from which [`silent_for`](Self::silent_for) tells a step, found to a
    /// tenth of a second; none when no silence does.
    #[must_use]
    pub fn told_after_silence_secs(&self) -> Option<f64> {
        let (mut low, mut high) = (0.0, 10.0 * self.at_rest.interval_secs);
        self.silent_for(high)?;
        while high - low > 0.1 {
            let middle = f64::midpoint(low, high);
            if self.silent_for(middle).is_some() {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high)
    }

    /// The sums: up and down, natural log, ≥ 0.
    #[must_use]
    pub fn sums(&self) -> (f64, f64) {
        (self.up, self.down)
    }

    /// Puts both sums back to zero: for a new reading, or after a blind spell in which anything may
    /// have happened.
    pub fn reset(&mut self) {
        self.up = 0.0;
        self.down = 0.0;
    }

    /// ln of the density of an interval at `factor` times the rate over that at rest.
    fn gain(&self, interval_secs: f64, factor: f64) -> f64 {
        let z = interval_secs / self.at_rest.interval_secs;
        let missed = self.at_rest.missed_share;
        let fold = |z: f64| {
            let ratio = (self.ln_double + self.shape * z.ln()).min(700.0).exp();
            (1.0 - missed + missed * ratio).ln()
        };
        let one = self.shape * (factor.ln() - (factor - 1.0) * z);
        let gain = one + fold(z * factor) - fold(z);
        if gain.is_finite() {
            gain.min(MOST_OF_LIMIT * self.limit)
        } else {
            0.0
        }
    }

    fn way(&self, up: f64, down: f64) -> Option<Way> {
        if up > self.limit && up >= down {
            Some(Way::Up)
        } else {
            (down > self.limit).then_some(Way::Down)
        }
    }
}
