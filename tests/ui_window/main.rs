//! The window, driven by label as a person with a keyboard or a screen reader would, on a scripted
//! instrument and a clock turned by hand; and pictures of it, painted without any graphics card.

#![cfg(feature = "window")]
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper of a test fails the test by panicking"
)]

mod care;
mod fitter;
mod hand;
mod kit;
mod live;
mod paint;
mod pictures;
mod room;
mod runs;
mod setup;
mod start;
mod strict;
mod tongues;
mod watch;
mod words;
