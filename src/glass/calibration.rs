//! The calibration: outlines, scale, bands and the camera they belong to, kept in a TOML file. It
//! refuses what makes no sense with the file, the line and the cure; it finds nothing itself.

mod error;
mod oil;
mod parse;
mod write;

use std::io::Read;
use std::path::Path;

use crate::base::Band;
use crate::glass::Outline;

pub use error::{CalibrationError, CalibrationFault};
pub use oil::OilData;

/// The version of the file format this program reads and writes.
pub const FORMAT: i64 = 1;
/// Most feeds in one calibration.
pub const MOST_FEEDS: usize = 16;
/// Largest file that is read, bytes: a calibration is a few kilobytes.
pub const LARGEST_FILE_BYTES: u64 = 1_000_000;
/// How far an outline may reach over the border of the picture, pixels: half-hidden glasses are
/// drawn up to the border, and rounding must not spoil them.
const OVER_THE_BORDER_PX: f64 = 2.0;
/// Part of the smaller of two outlines that the other may cover: neighbours do not overlap.
const OVERLAP: f64 = 0.2;
/// Smallest and largest sensible scale, pixels per millimetre: from a glass of 40 mm that is 8 px
/// wide to a microscope.
const SCALE_PX_PER_MM: (f64, f64) = (0.2, 500.0);
/// Highest band limit, drops a minute: beyond ten a second beads run together.
const FASTEST_PER_MINUTE: f64 = 600.0;
/// Largest picture side, pixels.
const LARGEST_PICTURE_PX: u32 = 32_768;
/// Longest name, characters.
const LONGEST_NAME: usize = 80;

/// Everything about a set-up that a person or the finder decided.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Width of the frames the outlines were drawn on, pixels.
    pub picture_width_px: u32,
    /// Height of the frames the outlines were drawn on, pixels.
    pub picture_height_px: u32,
    /// Stable identity of the camera, when one is known.
    pub camera_identity: Option<String>,
    /// What is known of oil, nozzles and reservoir; nothing at first.
    pub oil: OilData,
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
    /// How the scale was measured, so that it can be measured again.
    pub scale_from: ScaleFrom,
}

/// How a scale was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum ScaleFrom {
    /// Not at all, or typed in as pixels per millimetre.
    #[default]
    Typed,
    /// From the known outside diameter of the glass (of the visible window, for a port), mm, set
    /// against the width of the outline. The silhouette of a round glass in air is as wide as the
    /// glass, whatever is inside.
    OutsideDiameter {
        /// Outside diameter, mm.
        mm: f64,
    },
    /// From two points that a person clicked in the picture.
    Points {
        /// The first point, pixels.
        from_px: [f64; 2],
        /// The second point, pixels.
        to_px: [f64; 2],
        /// How far apart they are on the glass, mm.
        apart_mm: f64,
    },
}

impl ScaleFrom {
    /// The scale this measurement gives for an outline, pixels per millimetre; none for
    /// [`ScaleFrom::Typed`], which carries none.
    ///
    /// ```
    /// use beadtally::{base::GlassKind, glass::{Outline, ScaleFrom}};
    /// let glass = Outline::upright(GlassKind::Tube, 106.0, 124.0, 68.0, 232.0);
    /// let scale = ScaleFrom::OutsideDiameter { mm: 17.0 }.px_per_mm(&glass);
    /// assert_eq!(scale, Some(4.0));
    /// ```
    #[must_use]
    pub fn px_per_mm(&self, outline: &Outline) -> Option<f64> {
        match *self {
            Self::Typed => None,
            Self::OutsideDiameter { mm } => Some(outline.width_px / mm),
            Self::Points {
                from_px,
                to_px,
                apart_mm,
            } => Some((to_px[0] - from_px[0]).hypot(to_px[1] - from_px[1]) / apart_mm),
        }
    }
}

impl FeedCalibration {
    /// A feed without a name, with the default band and no scale.
    #[must_use]
    pub fn new(outline: Outline) -> Self {
        Self {
            name: String::new(),
            outline,
            band: Band::default(),
            px_per_mm: None,
            scale_from: ScaleFrom::Typed,
        }
    }

    /// The same feed with its scale measured in a new way.
    #[must_use]
    pub fn with_scale(mut self, scale_from: ScaleFrom) -> Self {
        self.px_per_mm = scale_from.px_per_mm(&self.outline).or(self.px_per_mm);
        self.scale_from = scale_from;
        self
    }
}

impl Calibration {
    /// Reads a calibration file.
    ///
    /// # Errors
    /// [`CalibrationError`] when the file cannot be read, or says something that makes no sense;
    /// it names the file, the line and the cure.
    pub fn read(path: &Path) -> Result<Self, CalibrationError> {
        let file_name = path.display().to_string();
        let unreadable = |source| CalibrationError::Unreadable {
            file: file_name.clone(),
            source,
        };
        let whole = |fault| CalibrationError::content(&file_name, None, fault);
        let meta = std::fs::metadata(path).map_err(unreadable)?;
        if !meta.is_file() {
            return Err(whole(CalibrationFault::NotAFile));
        }
        let file = std::fs::File::open(path).map_err(unreadable)?;
        let mut bytes = Vec::new();
        file.take(LARGEST_FILE_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(unreadable)?;
        if bytes.len() as u64 > LARGEST_FILE_BYTES {
            return Err(whole(CalibrationFault::TooLarge));
        }
        let text = String::from_utf8(bytes).map_err(|_| whole(CalibrationFault::NotText))?;
        Self::parse(&text, &file_name)
    }

    /// Reads a calibration from text; `file_name` is only named in errors. Feeds are put in order
    /// from the left.
    ///
    /// # Errors
    /// [`CalibrationError`] when the text says something that makes no sense; it names the file,
    /// the line and the cure.
    pub fn parse(text: &str, file_name: &str) -> Result<Self, CalibrationError> {
        parse::parse(text, file_name)
    }

    /// The calibration as a file a person can read and edit, with comments.
    #[must_use]
    pub fn to_toml(&self) -> String {
        write::to_toml(self)
    }

    /// Writes the calibration: first a temporary file beside it, then a rename, so that a power cut
    /// leaves the old file or the new one. It does not write through a symbolic link.
    ///
    /// # Errors
    /// [`CalibrationError`] when the calibration makes no sense, or the file cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), CalibrationError> {
        write::write(self, path)
    }

    /// Checks that the calibration makes sense as a whole.
    ///
    /// # Errors
    /// The first fault found, with the index of the feed it lies in (none: the whole file).
    pub fn check(&self) -> Result<(), (Option<usize>, CalibrationFault)> {
        let (width, height) = (self.picture_width_px, self.picture_height_px);
        if width == 0 || height == 0 || width > LARGEST_PICTURE_PX || height > LARGEST_PICTURE_PX {
            return Err((
                None,
                CalibrationFault::PictureSize {
                    width,
                    height,
                    largest: LARGEST_PICTURE_PX,
                },
            ));
        }
        if self.feeds.is_empty() {
            return Err((None, CalibrationFault::NoFeeds));
        }
        if self.feeds.len() > MOST_FEEDS {
            return Err((
                None,
                CalibrationFault::TooManyFeeds {
                    count: self.feeds.len(),
                    most: MOST_FEEDS,
                },
            ));
        }
        self.oil.check().map_err(|fault| (None, fault))?;
        for (index, feed) in self.feeds.iter().enumerate() {
            feed.check(width, height)
                .map_err(|fault| (Some(index), fault))?;
        }
        for (later, feed) in self.feeds.iter().enumerate() {
            for (earlier, other) in self.feeds[..later].iter().enumerate() {
                if overlap(&feed.outline, &other.outline) > OVERLAP {
                    return Err((
                        Some(later),
                        CalibrationFault::Overlap {
                            feed: later + 1,
                            other: earlier + 1,
                        },
                    ));
                }
            }
        }
        Ok(())
    }

    /// The same calibration for pictures of another size but the same shape, as when a camera is
    /// set to a finer mode.
    ///
    /// # Errors
    /// [`CalibrationError::OtherShape`] when the shapes differ by more than a pixel of rounding.
    pub fn scaled_to(&self, width_px: u32, height_px: u32) -> Result<Self, CalibrationError> {
        let (from_width, from_height) = (
            f64::from(self.picture_width_px),
            f64::from(self.picture_height_px),
        );
        let factor = f64::from(width_px) / from_width;
        let expected = from_height * factor;
        let rounding = factor.max(1.0);
        let same = (f64::from(height_px) - expected).abs() <= rounding;
        if width_px == 0 || height_px == 0 || !same {
            return Err(CalibrationError::OtherShape {
                from_width: self.picture_width_px,
                from_height: self.picture_height_px,
                to_width: width_px,
                to_height: height_px,
            });
        }
        let feeds = self
            .feeds
            .iter()
            .map(|feed| FeedCalibration {
                outline: feed.outline.scaled(factor),
                px_per_mm: feed.px_per_mm.map(|scale| scale * factor),
                scale_from: match feed.scale_from {
                    ScaleFrom::Points {
                        from_px,
                        to_px,
                        apart_mm,
                    } => ScaleFrom::Points {
                        from_px: from_px.map(|v| v * factor),
                        to_px: to_px.map(|v| v * factor),
                        apart_mm,
                    },
                    other => other,
                },
                ..feed.clone()
            })
            .collect();
        Ok(Self {
            picture_width_px: width_px,
            picture_height_px: height_px,
            camera_identity: self.camera_identity.clone(),
            oil: self.oil,
            feeds,
        })
    }
}

impl FeedCalibration {
    fn check(&self, width: u32, height: u32) -> Result<(), CalibrationFault> {
        let outline = &self.outline;
        for (key, value) in [
            ("centre_px", outline.centre_x_px),
            ("centre_px", outline.centre_y_px),
            ("size_px", outline.width_px),
            ("size_px", outline.height_px),
            ("angle_deg", outline.angle_deg),
            ("band_per_minute", self.band.low_per_minute),
            ("band_per_minute", self.band.high_per_minute),
        ] {
            if !value.is_finite() {
                return Err(CalibrationFault::not_finite(key, value));
            }
        }
        if outline.width_px <= 0.0 || outline.height_px <= 0.0 {
            return Err(CalibrationFault::NoSize {
                width: outline.width_px,
                height: outline.height_px,
            });
        }
        if outline.angle_deg.abs() > 45.0 {
            return Err(CalibrationFault::TooSteep {
                angle: outline.angle_deg,
            });
        }
        let around = outline.upright_box();
        let over = (-around.x)
            .max(-around.y)
            .max(around.x + around.width - f64::from(width))
            .max(around.y + around.height - f64::from(height));
        if over > OVER_THE_BORDER_PX {
            return Err(CalibrationFault::OutsidePicture {
                over: over.ceil(),
                width,
                height,
            });
        }
        let (low, high) = (self.band.low_per_minute, self.band.high_per_minute);
        if low < 0.0 || high < 0.0 {
            return Err(CalibrationFault::BandNegative { low, high });
        }
        if low >= high {
            return Err(CalibrationFault::BandUpsideDown { low, high });
        }
        if high > FASTEST_PER_MINUTE {
            return Err(CalibrationFault::BandTooHigh {
                high,
                highest: FASTEST_PER_MINUTE,
            });
        }
        if self.name.chars().count() > LONGEST_NAME || self.name.chars().any(char::is_control) {
            return Err(CalibrationFault::Name {
                longest: LONGEST_NAME,
            });
        }
        if let Some(scale) = self.px_per_mm {
            if !scale.is_finite() {
                return Err(CalibrationFault::not_finite("px_per_mm", scale));
            }
            if !(SCALE_PX_PER_MM.0..=SCALE_PX_PER_MM.1).contains(&scale) {
                return Err(CalibrationFault::ScaleAbsurd {
                    px_per_mm: scale,
                    low: SCALE_PX_PER_MM.0,
                    high: SCALE_PX_PER_MM.1,
                });
            }
        }
        Ok(())
    }
}

/// The part of the smaller outline that the other covers, 0 to 1, on a grid of points.
fn overlap(a: &Outline, b: &Outline) -> f64 {
    /// Points each way: 2.5 % of the glass is fine enough for a warning.
    const GRID: i32 = 20;
    let (small, large) = if a.width_px * a.height_px <= b.width_px * b.height_px {
        (a, b)
    } else {
        (b, a)
    };
    let (mut inside, mut all) = (0_u32, 0_u32);
    for i in -GRID..=GRID {
        for j in -GRID..=GRID {
            let across = f64::from(i) / f64::from(2 * GRID) * small.width_px;
            let along = f64::from(j) / f64::from(2 * GRID) * small.height_px;
            let (x, y) = small.picture_from_glass(across, along);
            if small.contains(x, y) {
                all += 1;
                inside += u32::from(large.contains(x, y));
            }
        }
    }
    if all == 0 {
        0.0
    } else {
        f64::from(inside) / f64::from(all)
    }
}
