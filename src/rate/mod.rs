//! Times in, numbers out: drops a minute with limits from the times of drops. It knows nothing of
//! pictures, bands or alarms.

use crate::base::Span;

/// What is known of one feed's drops, in source time.
#[derive(Clone, Debug, Default)]
pub struct DropRecord {
    /// Start of watching, seconds.
    pub from_secs: f64,
    /// Now (or the end of the clip), seconds; ≥ every other time here.
    pub now_secs: f64,
    /// Mid-glass times of the counted oil drops, ascending, seconds.
    pub drops_secs: Vec<f64>,
    /// Blind spells, ascending, not overlapping, clipped to `from_secs..=now_secs`.
    pub blind: Vec<Span>,
}

/// A rate with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Posterior median, drops a minute.
    pub drops_per_minute: f64,
    /// Lower 95 % limit, drops a minute.
    pub low: f64,
    /// Upper 95 % limit, drops a minute.
    pub high: f64,
    /// Posterior median of the scatter of the intervals (standard deviation over mean).
    pub scatter: f64,
    /// How many drops the reading rests on.
    pub drops: usize,
}
