//! A run: the instrument that takes frames and gives readings, the threads that feed it, the
//! logbook that keeps what it found. Snapshot out, intents in.

pub mod event;
pub mod snapshot;

pub use event::Event;
pub use snapshot::{BeadMark, FeedSnapshot, HistoryPoint, Intent, Notice, RunSnapshot, Snapshot};
