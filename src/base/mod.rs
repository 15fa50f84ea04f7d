//! Floor 0: what every other floor may use — time, frames, units, words of the trade, fixed-size
//! histories. It knows nothing of cameras, glasses or rates.

pub mod clock;
pub mod frame;
pub mod pixel_box;
pub mod ring;
pub mod words;

pub use clock::{Clock, ManualClock, SystemClock};
pub use frame::{Extent, Frame};
pub use pixel_box::PixelBox;
pub use ring::Ring;
pub use words::{Band, BeadKind, BlindWhy, FeedNumber, GlassKind, Span};
