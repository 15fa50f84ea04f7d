//! Takes any source of frames through the instrument and keeps what it reported. It scores
//! nothing.

use std::sync::Arc;

use beadtally::base::BlindWhy;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source};
use beadtally::glass::Calibration;
use beadtally::run::outlines::Presets;
use beadtally::run::{Event, Instrument, search};

use super::score::{Glass, Passed};

/// Time that a clip runs on after the time that is scored, seconds: a bead's passage and the
/// settling of its count.
pub const RUN_ON_SECS: f64 = 2.0;

/// What the instrument reported of one glass.
#[derive(Clone, Debug, Default)]
pub struct Reported {
    /// Where it looks: the middle of the outline, pixels.
    pub middle_px: (f64, f64),
    /// Beads of both kinds.
    pub beads: Vec<Passed>,
    /// Blind spells: from, to; seconds.
    pub blind: Vec<(f64, f64)>,
    /// The same with their reasons.
    pub why: Vec<(f64, f64, BlindWhy)>,
}

/// The outlines that the instrument finds by itself at the start of a source; none when it finds
/// none. `glass_mm` is the outside diameter that a person would tell it.
#[must_use]
pub fn found_calibration(source: Box<dyn Source>, glass_mm: Option<f64>) -> Option<Calibration> {
    let presets = Presets {
        glass_mm,
        ..Presets::default()
    };
    search::search(source, presets, &|| false, &mut |_| {})
        .ok()
        .map(|searched| searched.calibration)
}

/// Watches a source for `secs` (and the run-on) and returns what was reported of each outline.
///
/// # Errors
/// A sentence when the source breaks off before its first picture.
pub fn watch(
    source: &mut dyn Source,
    calibration: &Calibration,
    secs: f64,
) -> Result<Vec<Reported>, String> {
    let mut instrument = Instrument::new(calibration.clone());
    let mut reported: Vec<Reported> = calibration
        .feeds
        .iter()
        .map(|feed| Reported {
            middle_px: (feed.outline.centre_x_px, feed.outline.centre_y_px),
            ..Reported::default()
        })
        .collect();
    let mut first_secs = None;
    loop {
        let events = match source.next().map_err(|error| error.to_string())? {
            Grab::Frame(frame) => {
                let first = *first_secs.get_or_insert(frame.at_secs);
                if frame.at_secs - first >= secs + RUN_ON_SECS {
                    break;
                }
                instrument.step(&frame)
            }
            Grab::Nothing { at_secs } => instrument.no_frame(at_secs, BlindWhy::NoFrames),
            Grab::Lost { at_secs, .. } => instrument.no_frame(at_secs, BlindWhy::CameraLost),
            Grab::Spoiled { at_secs, why } => instrument.spoiled(at_secs, &why),
            Grab::End => break,
        };
        keep(&mut reported, events);
    }
    keep(&mut reported, instrument.finish());
    Ok(reported)
}

fn keep(reported: &mut [Reported], events: Vec<Event>) {
    for event in events {
        match event {
            Event::Bead { feed, bead } => {
                if let Some(own) = reported.get_mut(feed.index()) {
                    own.beads.push(Passed {
                        at_secs: bead.at_secs,
                        kind: bead.kind,
                        diameter_mm: bead.diameter_mm,
                    });
                }
            }
            Event::Blind {
                feed,
                from_secs,
                to_secs,
                why,
            } => {
                for (index, own) in reported.iter_mut().enumerate() {
                    if feed.is_none_or(|feed| feed.index() == index) {
                        own.blind.push((from_secs, to_secs));
                        own.why.push((from_secs, to_secs, why));
                    }
                }
            }
            _ => {}
        }
    }
}

/// What truly passed in each glass of a demo, from the left.
#[must_use]
pub fn truth_of(source: &DemoSource) -> Vec<Vec<Passed>> {
    let truth = source.truth();
    truth
        .glasses
        .iter()
        .map(|glass| {
            truth
                .beads
                .iter()
                .filter(|bead| bead.feed == glass.feed)
                .map(|bead| Passed {
                    at_secs: bead.at_secs,
                    kind: bead.kind,
                    diameter_mm: Some(bead.diameter_mm),
                })
                .collect()
        })
        .collect()
}

/// A glass as it truly is.
#[derive(Clone, Debug)]
pub struct TrueGlass {
    /// Smallest upright box round it: left, top, width, height, pixels.
    pub upright_box: [f64; 4],
    /// What truly passes in it.
    pub beads: Vec<Passed>,
}

/// Pairs true glasses with reported ones by their middles, as the scoring of recorded clips does; a
/// true glass that was not found has no report, and a reported one that is not there has no truth.
#[must_use]
pub fn side_by_side(truth: &[TrueGlass], reported: &[Reported]) -> Vec<Glass> {
    let mut used = vec![false; reported.len()];
    let mut glasses: Vec<Glass> = truth
        .iter()
        .map(|glass| {
            let [x, y, width, height] = glass.upright_box;
            let apart = |own: &Reported| {
                (
                    (own.middle_px.0 - x - 0.5 * width).abs(),
                    (own.middle_px.1 - y - 0.5 * height).abs(),
                )
            };
            let nearest = reported
                .iter()
                .enumerate()
                .filter(|(index, _)| !used[*index])
                .map(|(index, own)| (apart(own), index))
                .filter(|(apart, _)| apart.0 < 0.5 * width && apart.1 < 0.5 * height)
                .min_by(|a, b| (a.0.0 + a.0.1).total_cmp(&(b.0.0 + b.0.1)))
                .map(|(_, index)| index);
            let own = nearest.map(|index| {
                used[index] = true;
                reported[index].clone()
            });
            let own = own.unwrap_or_default();
            Glass {
                truth: glass.beads.clone(),
                reported: own.beads,
                blind: own.blind,
            }
        })
        .collect();
    for (own, used) in reported.iter().zip(used) {
        if !used {
            glasses.push(Glass {
                truth: Vec::new(),
                reported: own.beads.clone(),
                blind: own.blind.clone(),
            });
        }
    }
    glasses
}

/// Frames kept in memory, played again with their own numbers and stamps.
pub struct Kept {
    about: beadtally::capture::About,
    grabs: std::vec::IntoIter<Grab>,
}

impl Kept {
    /// What a source brings in `secs` seconds and the run-on.
    ///
    /// # Errors
    /// The source's own sentence.
    pub fn take(source: &mut dyn Source, secs: f64) -> Result<Vec<Grab>, String> {
        let mut grabs = Vec::new();
        loop {
            let grab = source.next().map_err(|error| error.to_string())?;
            match &grab {
                Grab::End => break,
                Grab::Frame(frame) if frame.at_secs >= secs + RUN_ON_SECS => break,
                _ => grabs.push(grab),
            }
        }
        Ok(grabs)
    }

    /// A source of kept grabs.
    #[must_use]
    pub fn new(about: beadtally::capture::About, grabs: Vec<Grab>) -> Self {
        Self {
            about,
            grabs: grabs.into_iter(),
        }
    }
}

impl Source for Kept {
    fn next(&mut self) -> Result<Grab, beadtally::capture::CaptureError> {
        Ok(self.grabs.next().unwrap_or(Grab::End))
    }

    fn about(&self) -> &beadtally::capture::About {
        &self.about
    }
}

/// Puts other pictures into the frames among grabs, in order.
///
/// # Errors
/// A sentence when there are not as many pictures as frames.
pub fn with_pictures(
    grabs: Vec<Grab>,
    pictures: Vec<image::GrayImage>,
) -> Result<Vec<Grab>, String> {
    let frames = grabs
        .iter()
        .filter(|grab| matches!(grab, Grab::Frame(_)))
        .count();
    if frames != pictures.len() {
        return Err(format!("{frames} frames but {} pictures", pictures.len()));
    }
    let mut pictures = pictures.into_iter();
    Ok(grabs
        .into_iter()
        .map(|grab| match grab {
            Grab::Frame(mut frame) => {
                if let Some(picture) = pictures.next() {
                    frame.luma = Arc::new(picture);
                }
                Grab::Frame(frame)
            }
            other => other,
        })
        .collect())
}
