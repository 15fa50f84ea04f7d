//! Judging a feed: the band, silence, and the alarms' states. Readings in, verdicts out; it knows
//! nothing of pictures, files or windows.
//!
//! - `state`: the words for a verdict and for an alarm; `settings`: every limit and delay;
//! - `verdict`: a record and a reading against a band; `alarm`: the life of alarms.

mod alarm;
mod settings;
mod state;
mod verdict;

pub use alarm::{AlarmBook, Condition};
pub use settings::{AlarmSettings, Delays, JudgeSettings};
pub use state::{Alarm, AlarmState, By, Cause, FeedState, Happened, Step};
pub use verdict::{Judge, Verdict, judge};
