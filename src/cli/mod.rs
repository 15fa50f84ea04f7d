//! The commands. They speak text and JSON; they know nothing of the window.

pub mod draw;
