//! A run: the instrument that takes frames and gives readings, the threads that feed it, the
//! logbook that keeps what it found. Snapshot out, intents in.

pub mod event;
mod feed;
pub mod instrument;
pub mod snapshot;

pub use event::Event;
pub use instrument::Instrument;
pub use snapshot::{BeadMark, FeedSnapshot, HistoryPoint, Intent, Notice, RunSnapshot, Snapshot};
