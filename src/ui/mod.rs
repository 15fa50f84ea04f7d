//! The window. It draws the newest snapshot and sends intents; it counts nothing and judges
//! nothing, and it knows nothing of the commands.
//!
//! - `theme`: every colour; `words`: every sentence; `keys`: every key.
//! - `backend`: what the window needs of whatever runs behind it; `live`: the running instrument;
//!   `pretend`: a scripted one; `open`: eframe's window round it all.
//! - `app`: the window's state and order; `layout`: where everything stands.
//! - `start`, `fitter`, `room`, `runs`, `setup`, `hand`: views, each for one task.
//! - `bars`, `feed_panel`, `scale`, `figures`, `picture`, `strips`, `dialogs`, `help`:
//!   the parts; `paint`, `shapes`: the pens.
//! - `fresh`: how old what we were told is; `flash`: what was counted just now; `edit`: outlines
//!   being changed; `sound`: the alarm's tone, in its own thread.

pub mod app;
pub mod backend;
mod bars;
mod dialogs;
pub mod edit;
pub mod feed_panel;
mod figures;
pub mod fitter;
mod flash;
mod fresh;
pub mod hand;
mod help;
pub mod kept;
mod keys;
pub mod layout;
pub mod library;
pub mod live;
mod open;
mod paint;
pub mod peep;
mod picture;
pub mod pretend;
pub mod room;
pub mod runs;
mod scale;
mod setup;
mod shapes;
pub mod sound;
pub mod start;
mod strips;
pub mod style;
pub mod theme;
pub mod words;

pub use open::{UiSettings, open};
