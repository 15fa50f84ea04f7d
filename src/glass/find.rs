//! STAND-IN until the finder arrives; replaced by the merge.
use crate::base::{Frame, GlassKind};
use crate::glass::Outline;

/// Stand-in.
#[allow(missing_docs)]
pub struct FoundGlass {
    pub outline: Outline,
    pub confidence: f64,
}
/// Stand-in.
#[allow(missing_docs)]
pub struct Found {
    pub glasses: Vec<FoundGlass>,
    pub doubts: Vec<String>,
}
/// Stand-in.
pub struct Finder {
    size: (u32, u32),
    seen: u32,
}
#[allow(missing_docs, clippy::all, clippy::pedantic)]
impl Finder {
    pub fn new(width: u32, height: u32) -> Self {
        Self {
            size: (width, height),
            seen: 0,
        }
    }
    pub fn look(&mut self, _frame: &Frame) {
        self.seen += 1;
    }
    pub fn found(&self) -> Found {
        let (w, h) = (f64::from(self.size.0), f64::from(self.size.1));
        Found {
            glasses: vec![FoundGlass {
                outline: Outline::upright(GlassKind::Tube, w / 3.0, h / 4.0, w / 8.0, h / 2.0),
                confidence: 0.9,
            }],
            doubts: vec![],
        }
    }
}
