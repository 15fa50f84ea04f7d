//! The second way: recorded clips with a truth beside them, put through disturbances that are
//! written here and share nothing with the demo and its faults. What is swept has the same names
//! and levels as in the first way.

pub mod clip;
pub mod light;
pub mod motion;
pub mod timing;

use std::sync::Arc;

use beadtally::base::{Extent, Frame};
use beadtally::capture::{About, CaptureError, Grab, Source};
use image::GrayImage;

use clip::Clip;
use light::{Clouds, Light};
use motion::Motion;
use timing::{Fate, Timing};

/// What is done to a clip, each as a level; 0 is nothing, 1 the range that must hold.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wrong {
    pub shake: f64,
    pub flicker: f64,
    pub exposure: f64,
    pub contrast: f64,
    pub noise: f64,
    pub steam: f64,
    pub passer: f64,
    pub reflection: f64,
    pub film: f64,
    pub zoom: f64,
    pub knock: f64,
    pub lost: f64,
    pub doubled: f64,
    pub late: f64,
    pub stall: f64,
    pub h264: f64,
}

/// The names that the second way knows, in the order of the table.
pub const NAMES: [&str; 18] = [
    "plain",
    "shake",
    "flicker",
    "exposure",
    "contrast",
    "noise",
    "steam",
    "passer",
    "reflection",
    "film",
    "zoom",
    "knock",
    "lost",
    "doubled",
    "late",
    "stall",
    "h264",
    "all",
];

impl Wrong {
    /// One disturbance by its name; none when the second way does not know it.
    #[must_use]
    pub fn named(name: &str, level: f64) -> Option<Self> {
        let mut wrong = Self::default();
        let one = match name {
            "plain" => return Some(wrong),
            "all" => {
                return Some(Self {
                    shake: level,
                    flicker: level,
                    exposure: level,
                    contrast: level,
                    noise: level,
                    steam: level,
                    passer: level,
                    reflection: level,
                    film: level,
                    zoom: level,
                    knock: level,
                    lost: level,
                    doubled: level,
                    late: level,
                    stall: level,
                    h264: level,
                });
            }
            "shake" => &mut wrong.shake,
            "flicker" => &mut wrong.flicker,
            "exposure" => &mut wrong.exposure,
            "contrast" => &mut wrong.contrast,
            "noise" => &mut wrong.noise,
            "steam" => &mut wrong.steam,
            "passer" => &mut wrong.passer,
            "reflection" => &mut wrong.reflection,
            "film" => &mut wrong.film,
            "zoom" => &mut wrong.zoom,
            "knock" => &mut wrong.knock,
            "lost" => &mut wrong.lost,
            "doubled" => &mut wrong.doubled,
            "late" => &mut wrong.late,
            "stall" => &mut wrong.stall,
            "h264" => &mut wrong.h264,
            _ => return None,
        };
        *one = level;
        Some(wrong)
    }
}

/// A clip as it looks with something wrong, frame by frame.
pub struct Disturbed {
    clip: Arc<Clip>,
    about: About,
    timing: Timing,
    motion: Motion,
    light: Light,
    clouds: Clouds,
    at: usize,
    last: Option<Arc<GrayImage>>,
    last_stamp_secs: f64,
}

impl Disturbed {
    /// A clip with something wrong. The same seed does the same wrong.
    #[must_use]
    pub fn new(clip: Arc<Clip>, wrong: &Wrong, seed: u64) -> Self {
        let secs = clip.secs();
        let (width, height) = clip.size();
        Self {
            about: About {
                name: clip.name.clone(),
                identity: String::new(),
                width,
                height,
                frames_per_second: Some(clip.frames_per_second),
                frames: None,
                live: false,
            },
            timing: Timing::new(wrong, secs, clip.frames.len(), seed),
            motion: Motion::new(wrong, secs, seed),
            light: Light::new(wrong, secs, seed),
            clouds: Clouds::new(wrong, (width, height), seed),
            clip,
            at: 0,
            last: None,
            last_stamp_secs: -1.0,
        }
    }

    fn picture(&self, index: usize) -> GrayImage {
        let at_secs = self.clip.times[index];
        let frame = &self.clip.frames[index];
        let (width, height) = frame.dimensions();
        let mut canvas: Vec<f32> = frame.as_raw().iter().map(|&v| f32::from(v)).collect();
        self.light
            .on_glasses(&self.clip.truth, (width, height), at_secs, &mut canvas);
        self.clouds.lay_over(at_secs, &mut canvas);
        let canvas = self.motion.seen((width, height), at_secs, canvas);
        self.light.develop((width, height), at_secs, index, &canvas)
    }
}

impl Source for Disturbed {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        loop {
            let index = self.at;
            let Some(&at_secs) = self.clip.times.get(index) else {
                return Ok(Grab::End);
            };
            self.at += 1;
            let fate = self.timing.fate(index, at_secs);
            let luma = match (fate, &self.last) {
                (Fate::Lost, _) => continue,
                (Fate::Doubled, Some(last)) => last.clone(),
                (Fate::Doubled | Fate::Fine, _) => Arc::new(self.picture(index)),
            };
            self.last = Some(luma.clone());
            // Stamps never run backwards, however late they are.
            let stamp = at_secs + self.timing.late_secs(index);
            self.last_stamp_secs = stamp.max(self.last_stamp_secs + 1e-3);
            return Ok(Grab::Frame(Frame::shared(
                index as u64,
                self.last_stamp_secs,
                luma,
                Extent::Whole,
            )));
        }
    }

    fn about(&self) -> &About {
        &self.about
    }
}
