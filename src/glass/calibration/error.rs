//! What can be wrong with a calibration, each in one sentence with its cure.

use std::fmt;

/// Why a calibration could not be read, written or used.
#[derive(Debug, thiserror::Error)]
pub enum CalibrationError {
    /// The file could not be read.
    #[error(
        "{file}: cannot read the calibration ({source}); check the name and that you may read it"
    )]
    Unreadable {
        /// The file as the person named it.
        file: String,
        /// The cause.
        source: std::io::Error,
    },
    /// The file could not be written.
    #[error("{file}: cannot write the calibration ({source}); choose a folder you may write to")]
    Unwritable {
        /// The file as the person named it.
        file: String,
        /// The cause.
        source: std::io::Error,
    },
    /// The target is a symbolic link, which is not written through.
    #[error(
        "{file}: is a symbolic link, and a calibration is not written through one; name the real file or remove the link"
    )]
    SymbolicLink {
        /// The file as the person named it.
        file: String,
    },
    /// The calibration says something that makes no sense.
    #[error("{file}{}: {fault}", At(*line))]
    Content {
        /// The file as the person named it.
        file: String,
        /// The line, counted from 1, when one line is to blame.
        line: Option<usize>,
        /// What is wrong.
        fault: CalibrationFault,
    },
    /// The camera delivers pictures of another shape.
    #[error(
        "the calibration was made on {from_width}×{from_height} pictures, but these are {to_width}×{to_height}, which has another shape; set the camera to a size of the same shape, or find the glasses again"
    )]
    OtherShape {
        /// Width of the calibration's pictures.
        from_width: u32,
        /// Height of the calibration's pictures.
        from_height: u32,
        /// Width of the pictures now.
        to_width: u32,
        /// Height of the pictures now.
        to_height: u32,
    },
}

impl CalibrationError {
    pub(super) fn content(file: &str, line: Option<usize>, fault: CalibrationFault) -> Self {
        Self::Content {
            file: file.to_owned(),
            line,
            fault,
        }
    }

    /// The line to blame, counted from 1, when there is one.
    #[must_use]
    pub fn line(&self) -> Option<usize> {
        match self {
            Self::Content { line, .. } => *line,
            _ => None,
        }
    }
}

struct At(Option<usize>);

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Some(line) => write!(f, ", line {line}"),
            None => Ok(()),
        }
    }
}

/// What is wrong with what a calibration says.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationFault {
    /// A folder or a device.
    #[error("is not a file; name a calibration file (.toml)")]
    NotAFile,
    /// Far larger than any calibration.
    #[error("is larger than 1 MB, which no calibration is; name the right file")]
    TooLarge,
    /// Nothing in it.
    #[error("is empty; let beadtally find the glasses and write a new one")]
    Empty,
    /// Not UTF-8.
    #[error("is not a text file in UTF-8; save it as plain text, or name the right file")]
    NotText,
    /// Not TOML.
    #[error("this is not TOML: {why}; mend this line")]
    NotToml {
        /// The parser's words.
        why: String,
    },
    /// A key that means nothing here.
    #[error("unknown key `{key}` in {place}; {hint}")]
    UnknownKey {
        /// The key.
        key: String,
        /// The table it stands in.
        place: String,
        /// The nearest known key, or all of them.
        hint: String,
    },
    /// A key that must be there is not.
    #[error("{place} has no `{key}`; add a line such as `{example}`")]
    MissingKey {
        /// The key.
        key: &'static str,
        /// The table it should stand in.
        place: String,
        /// A line that would do.
        example: &'static str,
    },
    /// A value of the wrong type.
    #[error("`{key}` is {found}, but it must be {wanted}; write it like `{example}`")]
    WrongType {
        /// The key.
        key: &'static str,
        /// What stands there.
        found: &'static str,
        /// What should.
        wanted: &'static str,
        /// A line that would do.
        example: &'static str,
    },
    /// NaN or infinite.
    #[error("`{key}` is {value}, which is no number to measure with; write a plain number")]
    NotFinite {
        /// The key.
        key: &'static str,
        /// `nan`, `inf` or `-inf`.
        value: &'static str,
    },
    /// Another version of the format.
    #[error(
        "the file has format {found}, but this program reads format {known}; let beadtally find the glasses again, or use a newer beadtally"
    )]
    Format {
        /// The version found.
        found: i64,
        /// The version known.
        known: i64,
    },
    /// An impossible picture size.
    #[error("a picture of {width}×{height} pixels is not possible; sizes run from 1 to {largest}")]
    PictureSize {
        /// Width, pixels.
        width: u32,
        /// Height, pixels.
        height: u32,
        /// Largest side, pixels.
        largest: u32,
    },
    /// No feeds.
    #[error(
        "there is no feed in it; add a `[[feed]]` with its outline, or let beadtally find the glasses"
    )]
    NoFeeds,
    /// Too many feeds.
    #[error(
        "there are {count} feeds, but at most {most} can be watched; remove some `[[feed]]` parts"
    )]
    TooManyFeeds {
        /// How many there are.
        count: usize,
        /// How many there may be.
        most: usize,
    },
    /// An unknown kind of glass.
    #[error(
        "`kind = \"{found}\"` is no kind of glass; write \"tube\" for a round tube or \"port\" for a flat round window"
    )]
    Kind {
        /// What stands there.
        found: String,
    },
    /// Zero or negative size.
    #[error(
        "an outline of {width}×{height} pixels has no size; both numbers of `size_px` must be above 0"
    )]
    NoSize {
        /// Width, pixels.
        width: f64,
        /// Height, pixels.
        height: f64,
    },
    /// Turned too far.
    #[error(
        "an outline turned by {angle}° leans too far; `angle_deg` runs from -45 to 45: turn the camera upright"
    )]
    TooSteep {
        /// The turn, degrees.
        angle: f64,
    },
    /// Outside the picture.
    #[error(
        "the outline reaches {over} px outside the {width}×{height} picture; move or shrink it, or correct [picture]"
    )]
    OutsidePicture {
        /// How far, pixels.
        over: f64,
        /// Width of the picture.
        width: u32,
        /// Height of the picture.
        height: u32,
    },
    /// Two outlines on one glass.
    #[error(
        "the outlines of feeds {other} and {feed} overlap; each glass has one feed: remove one or move it"
    )]
    Overlap {
        /// The later feed, counted from 1 in the file.
        feed: usize,
        /// The earlier feed.
        other: usize,
    },
    /// A negative limit.
    #[error(
        "the band from {low} to {high} drops a minute goes below 0; both limits of `band_per_minute` must be 0 or more"
    )]
    BandNegative {
        /// Low limit, drops a minute.
        low: f64,
        /// High limit, drops a minute.
        high: f64,
    },
    /// The low limit is not below the high one.
    #[error(
        "the band from {low} to {high} drops a minute is upside down or empty; write the low limit first and a higher one after it"
    )]
    BandUpsideDown {
        /// Low limit, drops a minute.
        low: f64,
        /// High limit, drops a minute.
        high: f64,
    },
    /// Faster than beads can be told apart.
    #[error(
        "a band up to {high} drops a minute is beyond what can be counted; the highest limit is {highest}"
    )]
    BandTooHigh {
        /// High limit, drops a minute.
        high: f64,
        /// Highest that makes sense.
        highest: f64,
    },
    /// A name that cannot be shown.
    #[error(
        "the name is too long or has characters that cannot be shown; use at most {longest} plain characters"
    )]
    Name {
        /// Longest name, characters.
        longest: usize,
    },
    /// The scale is given twice.
    #[error("the scale is given twice, by `{first}` and by `{second}`; keep one of them")]
    TwoScales {
        /// One key.
        first: &'static str,
        /// The other.
        second: &'static str,
    },
    /// A length that must be above 0 is not.
    #[error("`{key}` is {value}, but a length must be above 0; measure again")]
    NotALength {
        /// The key.
        key: &'static str,
        /// What stands there.
        value: f64,
    },
    /// A number of `[oil]` that cannot be.
    #[error(
        "`{key}` is {value}, which cannot be ({low} to {high}); mind its unit, which is the end of \
         its name"
    )]
    OilAbsurd {
        /// The key.
        key: &'static str,
        /// What stands there.
        value: f64,
        /// Smallest that makes sense.
        low: f64,
        /// Largest that makes sense.
        high: f64,
    },
    /// Oil heavier than water.
    #[error(
        "oil of {oil} kg/m³ does not rise in condensate of {condensate} kg/m³; the oil must be the \
         lighter: correct the densities in [oil]"
    )]
    OilSinks {
        /// Density of the oil, kg/m³.
        oil: f64,
        /// Density of the condensate, kg/m³.
        condensate: f64,
    },
    /// A time that is none.
    #[error("`{key}` must be a date and a time with its offset; write it like `{example}`")]
    NotATime {
        /// The key.
        key: &'static str,
        /// A line that would do.
        example: &'static str,
    },
    /// The two points are one.
    #[error("the two points of `scale_points` are the same; give two points some way apart")]
    SamePoints,
    /// A scale that no camera has.
    #[error(
        "the scale comes out as {px_per_mm:.3} px/mm, which cannot be ({low} to {high}); check the millimetres and the outline"
    )]
    ScaleAbsurd {
        /// The scale, pixels per millimetre.
        px_per_mm: f64,
        /// Smallest that makes sense.
        low: f64,
        /// Largest that makes sense.
        high: f64,
    },
}

impl CalibrationFault {
    pub(super) fn not_finite(key: &'static str, value: f64) -> Self {
        let value = if value.is_nan() {
            "nan"
        } else if value > 0.0 {
            "inf"
        } else {
            "-inf"
        };
        Self::NotFinite { key, value }
    }
}
