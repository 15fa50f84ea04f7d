//! The calibration: outlines, scale, bands and the camera they belong to, kept in a TOML file. It
//! refuses what makes no sense with the file, the line and the cure; it finds nothing itself.

use crate::base::Band;
use crate::glass::Outline;

/// Everything about a set-up that a person or the finder decided.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Width of the frames the outlines were drawn on, pixels.
    pub picture_width_px: u32,
    /// Height of the frames the outlines were drawn on, pixels.
    pub picture_height_px: u32,
    /// Stable identity of the camera, when one is known.
    pub camera_identity: Option<String>,
    /// The feeds, from the left.
    pub feeds: Vec<FeedCalibration>,
}

/// One feed's glass and target.
#[derive(Clone, Debug, PartialEq)]
pub struct FeedCalibration {
    /// A person's name for it ("left cylinder"); may be empty.
    pub name: String,
    /// Its glass in the picture.
    pub outline: Outline,
    /// Target, drops a minute.
    pub band: Band,
    /// Scale at the axis of the glass, pixels per millimetre, when known.
    pub px_per_mm: Option<f64>,
}

/// STAND-IN.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct CalibrationError(pub String);

#[allow(missing_docs, clippy::all, clippy::pedantic)]
impl Calibration {
    pub fn read(path: &std::path::Path) -> Result<Self, CalibrationError> {
        Err(CalibrationError(format!(
            "{} cannot be read",
            path.display()
        )))
    }
    pub fn write(&self, path: &std::path::Path) -> Result<(), CalibrationError> {
        std::fs::write(path, self.to_toml()).map_err(|e| CalibrationError(e.to_string()))
    }
    pub fn to_toml(&self) -> String {
        format!("# {:?}\n", self)
    }
}
