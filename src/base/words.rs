//! The trade's words as types: feeds, glasses, beads, bands, blind spells. Only words and their
//! limits; what is done with them lives on the floors above.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Which feed: 1 is the leftmost glass in the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FeedNumber(pub u16);

impl FeedNumber {
    /// The feed of the `index`-th glass, counted from 0.
    #[must_use]
    pub fn from_index(index: usize) -> Self {
        Self(u16::try_from(index.saturating_add(1)).unwrap_or(u16::MAX))
    }

    /// The index from 0.
    #[must_use]
    pub fn index(self) -> usize {
        usize::from(self.0.saturating_sub(1))
    }
}

impl fmt::Display for FeedNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Serialize for FeedNumber {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What kind of glass the beads are seen through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum GlassKind {
    /// A round, water-filled tube: widens what is inside it, does not heighten it.
    Tube,
    /// A flat, round window.
    Port,
}

impl GlassKind {
    /// The word as files and screens use it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Tube => "tube",
            Self::Port => "port",
        }
    }
}

/// What a bead is made of. Gas is reported, never counted as a drop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BeadKind {
    /// A drop of oil: it counts.
    Oil,
    /// A bubble of steam or air.
    Gas,
}

impl BeadKind {
    /// The word as files and screens use it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Oil => "oil",
            Self::Gas => "gas",
        }
    }
}

/// The target of a feed, in drops a minute.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Low limit, drops a minute.
    pub low_per_minute: f64,
    /// High limit, drops a minute.
    pub high_per_minute: f64,
}

impl Default for Band {
    /// Two to three drops a minute (common practice).
    fn default() -> Self {
        Self {
            low_per_minute: 2.0,
            high_per_minute: 3.0,
        }
    }
}

/// A stretch of source time, in seconds; `to_secs` ≥ `from_secs`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Span {
    /// Start.
    pub from_secs: f64,
    /// End.
    pub to_secs: f64,
}

impl Span {
    /// Length in seconds.
    #[must_use]
    pub fn secs(self) -> f64 {
        (self.to_secs - self.from_secs).max(0.0)
    }
}

/// Why a glass could not be judged for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlindWhy {
    /// The first moments, before the picture at rest is known.
    Starting,
    /// No frames came, or frames were lost.
    NoFrames,
    /// The camera is gone.
    CameraLost,
    /// Frames come but the picture never changes, not even by noise.
    Frozen,
    /// Too dark to see a bead.
    Dark,
    /// The light changed by too much at once.
    LightChanged,
    /// The camera moved, or the glass is no longer where it was.
    Moved,
    /// Something stands before the glass, or passes through the picture.
    Covered,
    /// The glass is full of oil.
    Flooded,
}

impl BlindWhy {
    /// A few plain words for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Starting => "getting used to the picture",
            Self::NoFrames => "no frames",
            Self::CameraLost => "camera lost",
            Self::Frozen => "the picture is frozen",
            Self::Dark => "too dark",
            Self::LightChanged => "the light changed",
            Self::Moved => "the camera moved",
            Self::Covered => "something is in the way",
            Self::Flooded => "the glass is flooded with oil",
        }
    }
}
