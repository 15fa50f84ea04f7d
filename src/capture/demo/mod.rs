//! The demo: a model lubricator whose beads let go, rise and are drawn by physics, as a source of
//! frames that knows the truth. It shares nothing with the code that finds glasses and counts
//! beads, so that the one can judge the other.

pub mod camera;
pub mod draw;
pub mod light;
pub mod model;
pub mod noise;
pub mod optics;
pub mod physics;
pub mod scene;
pub mod settings;

pub use settings::{DemoSettings, Light};

use crate::base::{BeadKind, FeedNumber, Frame, GlassKind, Ring};
use crate::capture::{About, CaptureError, Grab, Source};
use model::{Model, Pass};
use scene::Scene;

/// How many beads the truth remembers: days of slow feeds, and a bounded amount of memory.
const TRUTH_BEADS: usize = 20_000;

/// One glass as it truly is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlassTruth {
    /// Its feed.
    pub feed: FeedNumber,
    /// Tube or port.
    pub kind: GlassKind,
    /// Smallest upright box round the visible glass: left, top, width, height; pixels. For a tube
    /// the outer silhouette between its fittings, for a port the window.
    pub upright_box: [f64; 4],
    /// Middle of the glass in the picture, pixels.
    pub centre_px: (f64, f64),
    /// Width and height of the glass along its own axes, pixels.
    pub size_px: (f64, f64),
    /// Clockwise lean in the picture, degrees.
    pub angle_deg: f64,
    /// Scale at its axis.
    pub px_per_mm: f64,
}

/// One bead as it truly passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeadTruth {
    /// Its feed.
    pub feed: FeedNumber,
    /// Oil or gas.
    pub kind: BeadKind,
    /// Source time at which its centre passed mid-height of the visible glass, seconds.
    pub at_secs: f64,
    /// Diameter of the ball of its volume, mm.
    pub diameter_mm: f64,
    /// Terminal rise speed in its glass, mm/s.
    pub rise_mm_per_s: f64,
}

/// What a demo truly showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// The glasses from the left, as they stand in the picture now.
    pub glasses: Vec<GlassTruth>,
    /// The newest beads that passed mid-glass, oldest first.
    pub beads: Vec<BeadTruth>,
}

/// Opens a demo from its words: `demo` or `demo:feeds=2,light=front…`
///
/// # Errors
/// [`CaptureError::NoSuchSource`] with a sentence that names the word that is wrong and the words
/// that are known.
pub fn open(words: &str) -> Result<Box<dyn Source>, CaptureError> {
    Ok(Box::new(DemoSource::from_words(words)?))
}

/// The demo as a source of frames. Frames come as fast as they are asked for, with the stamps of
/// its own clock; pacing is left to others.
pub struct DemoSource {
    settings: DemoSettings,
    about: About,
    model: Model,
    scene: Scene,
    base: Vec<f32>,
    canvas: Vec<f32>,
    gaussian: noise::Gaussian,
    number: u64,
    beads: Ring<BeadTruth>,
}

impl DemoSource {
    /// A demo from its words.
    ///
    /// # Errors
    /// As [`open`].
    pub fn from_words(words: &str) -> Result<Self, CaptureError> {
        Self::new(DemoSettings::from_words(words)?)
    }

    /// A demo from settings.
    ///
    /// # Errors
    /// As [`DemoSettings::check`].
    pub fn new(settings: DemoSettings) -> Result<Self, CaptureError> {
        settings.check()?;
        let model = Model::new(&settings);
        let rims: Vec<f64> = (0..settings.feeds).map(|f| model.rim_mm(f)).collect();
        let scene = Scene::new(&settings, &rims);
        let base = scene.bake();
        Ok(Self {
            about: About {
                name: "demo".to_owned(),
                identity: String::new(),
                width: settings.width_px,
                height: settings.height_px,
                frames_per_second: Some(settings.fps),
                frames: None,
                live: false,
            },
            model,
            scene,
            canvas: base.clone(),
            base,
            gaussian: noise::Gaussian::new(settings.seed),
            number: 0,
            beads: Ring::new(TRUTH_BEADS),
            settings,
        })
    }

    /// What it was asked for.
    #[must_use]
    pub fn settings(&self) -> &DemoSettings {
        &self.settings
    }

    /// What it truly showed so far.
    #[must_use]
    pub fn truth(&self) -> Truth {
        Truth {
            glasses: self.glasses(),
            beads: self.beads.iter().copied().collect(),
        }
    }

    /// The glasses as they stand in the picture now.
    #[must_use]
    pub fn glasses(&self) -> Vec<GlassTruth> {
        let settings = &self.settings;
        self.scene
            .glasses
            .iter()
            .enumerate()
            .map(|(index, glass)| {
                let stand = glass.stand;
                let foreshortened = match settings.kind {
                    GlassKind::Tube => 1.0,
                    GlassKind::Port => stand.yaw.0,
                };
                let width = settings.glass_width_mm() * foreshortened * stand.px_per_mm;
                let height = settings.glass_height_mm() * stand.px_per_mm;
                let (cos, sin) = stand.roll;
                let (box_width, box_height) = match settings.kind {
                    GlassKind::Tube => (
                        (width * cos).abs() + (height * sin).abs(),
                        (width * sin).abs() + (height * cos).abs(),
                    ),
                    GlassKind::Port => (
                        (width * cos).hypot(height * sin),
                        (width * sin).hypot(height * cos),
                    ),
                };
                let (x, y) = stand.centre_px;
                GlassTruth {
                    feed: FeedNumber::from_index(index),
                    kind: settings.kind,
                    upright_box: [
                        x - 0.5 * box_width,
                        y - 0.5 * box_height,
                        box_width,
                        box_height,
                    ],
                    centre_px: (x, y),
                    size_px: (width, height),
                    angle_deg: self.scene.camera.roll_deg(),
                    px_per_mm: stand.px_per_mm,
                }
            })
            .collect()
    }

    fn remember(&mut self, passes: Vec<Pass>) {
        for pass in passes {
            self.beads.push(BeadTruth {
                feed: FeedNumber::from_index(pass.feed),
                kind: pass.kind,
                at_secs: pass.at_secs,
                diameter_mm: pass.diameter_mm,
                rise_mm_per_s: pass.rise_mm_per_s,
            });
        }
    }
}

impl Source for DemoSource {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let number = self.number;
        self.number += 1;
        let at_secs = number as f64 / self.settings.fps;
        // The stamp is the middle of the time during which the shutter is open.
        let open_for = self.settings.shutter / self.settings.fps;
        let passes = self.model.advance(at_secs);
        self.remember(passes);
        self.canvas.copy_from_slice(&self.base);
        draw::draw_beads(
            &self.scene,
            &self.model,
            &mut self.canvas,
            at_secs - 0.5 * open_for,
            open_for,
        );
        let picture = draw::develop(
            &self.canvas,
            self.scene.size_px,
            &self.gaussian,
            self.settings.noise,
            number,
        );
        Ok(Grab::Frame(Frame::new(number, at_secs, picture)))
    }

    fn about(&self) -> &About {
        &self.about
    }
}
