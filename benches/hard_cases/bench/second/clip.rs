//! A recorded clip in memory, and the truth beside it: `{"glasses": [{"box": [x, y, w, h], "beads":
//! [{"at_s", "kind", "diameter_mm"}]}], "px_per_mm"}`. Reading only.

use std::path::Path;

use beadtally::base::BeadKind;
use beadtally::capture::{Grab, clip};
use image::GrayImage;
use serde::Deserialize;

use crate::bench::score::Passed;
use crate::bench::watch::TrueGlass;

/// Longest clip that is kept in memory, seconds.
const LONGEST_SECS: f64 = 180.0;

#[derive(Deserialize)]
struct TruthFile {
    #[serde(default)]
    px_per_mm: Option<f64>,
    glasses: Vec<TruthGlass>,
}

#[derive(Deserialize)]
struct TruthGlass {
    #[serde(rename = "box")]
    upright_box: [f64; 4],
    beads: Vec<TruthBead>,
}

#[derive(Deserialize)]
struct TruthBead {
    at_s: f64,
    kind: BeadKind,
    #[serde(default)]
    diameter_mm: Option<f64>,
}

/// A clip and its truth.
#[derive(Clone, Debug)]
pub struct Clip {
    /// Its file name.
    pub name: String,
    /// Its pictures.
    pub frames: Vec<GrayImage>,
    /// Their stamps, seconds.
    pub times: Vec<f64>,
    /// Frames a second.
    pub frames_per_second: f64,
    /// Scale, when the truth tells it.
    pub px_per_mm: Option<f64>,
    /// The true glasses.
    pub truth: Vec<TrueGlass>,
}

impl Clip {
    /// Reads a clip and its truth.
    ///
    /// # Errors
    /// A sentence that says which file cannot be read and why.
    pub fn read(path: &Path, truth: &Path) -> Result<Self, String> {
        let told = |file: &Path, why: String| format!("{}: {why}", file.display());
        let text = std::fs::read_to_string(truth).map_err(|e| told(truth, e.to_string()))?;
        let file: TruthFile =
            serde_json::from_str(&text).map_err(|e| told(truth, e.to_string()))?;
        let mut source = clip::open(path).map_err(|e| told(path, e.to_string()))?;
        let (mut frames, mut times) = (Vec::new(), Vec::new());
        loop {
            match source.next().map_err(|e| told(path, e.to_string()))? {
                Grab::Frame(frame) if frame.at_secs <= LONGEST_SECS => {
                    times.push(frame.at_secs);
                    frames.push((*frame.luma).clone());
                }
                Grab::Frame(_) | Grab::End => break,
                Grab::Nothing { .. } | Grab::Spoiled { .. } | Grab::Lost { .. } => {}
            }
        }
        let (Some(first), Some(last)) = (times.first(), times.last()) else {
            return Err(told(path, "there is no picture in it".to_owned()));
        };
        let frames_per_second = (times.len() as f64 - 1.0) / (last - first).max(1e-9);
        let glass = |glass: TruthGlass| TrueGlass {
            upright_box: glass.upright_box,
            beads: glass
                .beads
                .iter()
                .map(|bead| Passed {
                    at_secs: bead.at_s,
                    kind: bead.kind,
                    diameter_mm: bead.diameter_mm,
                })
                .collect(),
        };
        Ok(Self {
            name: path
                .file_name()
                .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
            frames,
            times,
            frames_per_second,
            px_per_mm: file.px_per_mm,
            truth: file.glasses.into_iter().map(glass).collect(),
        })
    }

    /// Width and height, pixels.
    #[must_use]
    pub fn size(&self) -> (u32, u32) {
        self.frames.first().map_or((0, 0), GrayImage::dimensions)
    }

    /// Time of the last picture.
    #[must_use]
    pub fn secs(&self) -> f64 {
        self.times.last().copied().unwrap_or(0.0)
    }
}
