//! A run: the instrument that takes frames and gives readings, the threads that feed it, the
//! logbook that keeps what it found. Snapshot out, intents in.

pub mod as_found;
pub mod event;
pub mod export;
mod feed;
pub mod hand_check;
pub mod instrument;
pub mod keeping;
pub mod logbook;
pub mod moved;
pub mod oil;
pub mod outlines;
mod place;
pub mod report;
pub mod runner;
pub mod search;
pub mod snapshot;
pub mod tally;
pub mod taps;
mod telling;

pub use as_found::{AsFound, Began};
pub use event::Event;
pub use feed::LIKELY_MISSED;
pub use hand_check::{HandCheckOver, HandCheckState};
pub use instrument::Instrument;
pub use moved::Moved;
pub use runner::{Pictures, Recording, Runner, RunnerSettings};
pub use snapshot::{BeadMark, FeedSnapshot, HistoryPoint, Intent, Notice, RunSnapshot, Snapshot};
