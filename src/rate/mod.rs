//! Times in, numbers out: drops a minute with limits from the times of drops, and the statistics
//! that watch over them. It knows nothing of pictures, bands or alarms.
//!
//! - `record`: a record cleaned and taken apart; `renewal`: the model and its tables; `posterior`:
//!   the reading, on the grids of `marginal`; `limits`: textbook limits that check it;
//! - `silence` with the posterior's `tail`, `doubts`: what a reading is worth now;
//! - `change_watch`: has the rate changed, by `change` (with `split`) and `step_watch` together;
//!   `cusum`: the sums of textbooks;
//! - `trend`, `chart`, `allan`, `autocorrelation`: textbook statistics of a series;
//! - `retrace` with `borne_out`, `mean_rate`, `allan_record`, `steadiness`, `steady_verdict`: how
//!   steady a feed was over an hour or a shift;
//! - `settling`, `valve`: setting a feed — how many drops to wait, how the valve answers;
//! - `oil`: millilitres an hour, the reservoir, beads that grow;
//! - `hand_check` with `taps` and `proportion`: a person's count against the tool's;
//! - `study`: what all this is worth, by simulation.

mod allan;
mod allan_record;
mod autocorrelation;
mod borne_out;
mod change;
mod change_watch;
mod chart;
mod cusum;
mod doubts;
mod hand_check;
mod limits;
mod marginal;
mod mean_rate;
pub mod oil;
mod posterior;
mod proportion;
mod record;
mod renewal;
mod retrace;
mod settling;
mod silence;
mod special;
mod split;
mod steadiness;
mod steady_verdict;
mod step_watch;
pub mod study;
mod tail;
mod taps;
mod trend;
mod valve;

pub use allan::{
    allan_deviation, hadamard_deviation, modified_allan_deviation, overlapping_allan_deviation,
    overlapping_hadamard_deviation, time_deviation, total_deviation,
};
pub use allan_record::{AllanPoint, allan_of_rate};
pub use autocorrelation::{Autocorrelation, autocorrelation};
pub use change::{CHANGE_LIMIT, Change, find_change};
pub use change_watch::{ChangeWatch, LEARNED_FROM_DROPS, LEARNED_STEP_LIMIT};
pub use chart::{
    CountsChart, EwmaChart, IndividualsChart, counts_chart, ewma_chart, individuals_chart,
};
pub use cusum::{Cusum, GammaCusum, Way};
pub use doubts::{
    BLIND_SHARE, Doubt, FEW_DROPS, IRREGULAR_SCATTER, OVERDUE_CHANCE, REGULARITY_DROPS, doubts,
};
pub use hand_check::{
    Agreement, Compared, DIFFER_P, FEWEST_BEADS, HandCheck, LAPSE_SHARE, Outcome, TELLING_SHARE,
    agreement, hand_check,
};
pub use limits::{
    EndedBy, Limits, gamma_interval_limits, mean_time_limits, no_events_upper, poisson_limits,
};
pub use mean_rate::{MeanRate, mean_rate};
pub use posterior::{CONFIDENCE, Model, Posterior, reading};
pub use proportion::{binomial_at_least, mcnemar_exact, share_limits};
pub use record::NEWEST_DROPS;
pub use renewal::{
    Assumptions, MISSED_SHARE, SCATTER_CENTRE, SCATTER_MAX, SCATTER_MIN, SCATTER_SPREAD,
};
pub use retrace::{Retraced, Standing, TimeShares, retrace};
pub use settling::{SETTLED_HALF_WIDTH, Settling, settling};
pub use silence::{
    Expected, OWN_INTERVALS_FROM_DROPS, STOPPED_AFTER_INTERVALS, STOPPED_CHANCE,
    STOPPED_TAIL_CHANCE, Silence, stop_at_beginning,
};
pub use steadiness::{Drift, Interval, LongestSilence, MOST_LAG, Steadiness, steadiness};
pub use steady_verdict::{
    CORRELATION_P, DRIFT_P, DRIFT_SHARE, FEWEST_INTERVALS, Steady, SteadyVerdict,
    WANDERING_INFLATION,
};
pub use step_watch::{AtRest, STEP_LIMIT, STEP_SHARE, StepWatch};
pub use taps::{Pairing, SAME_TAP_SECS, USUAL_LAG_SECS, pair_taps};
pub use trend::{Trend, trend};
pub use valve::{Beyond, CurvePoint, Movement, ResponseCurve, ValveMark, ValvePoint, valve_points};

use crate::base::Span;

/// What is known of one feed's drops, in source time.
#[derive(Clone, Debug, Default)]
pub struct DropRecord {
    /// Start of watching, seconds. A drop at exactly this time means that watching began with
    /// that drop; otherwise the start is a moment that knows nothing of drops.
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
