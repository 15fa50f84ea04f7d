//! The demo: a model lubricator whose beads let go, rise and are drawn by physics, as a source of
//! frames that knows the truth. It shares nothing with the code that finds glasses and counts
//! beads, so that the one can judge the other.

pub mod camera;
pub mod draw;
pub mod fault_words;
pub mod faults;
pub mod light;
pub mod model;
pub mod noise;
pub mod optics;
pub mod physics;
pub mod reflection;
pub mod scene;
pub mod settings;
pub mod veil;

pub use settings::{DemoSettings, Light};

use crate::base::{BeadKind, FeedNumber, Frame, GlassKind, Ring};
use crate::capture::{About, CaptureError, Grab, Source};
use fault_words::Fault;
use faults::Faults;
use model::{Model, Pass};
use reflection::Mirrored;
use scene::Scene;
use veil::Patch;

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

/// Share of the time between frames that reading out a picture takes, first row to last.
const READOUT_SHARE: f64 = 0.8;
/// However late they are, stamps never run backwards: least step between two, seconds.
const LEAST_STEP_SECS: f64 = 1e-3;
/// How long the source waits before it says that nothing came, seconds.
const PATIENCE_SECS: f64 = 0.5;

/// The demo as a source of frames. Frames come as fast as they are asked for, with the stamps of
/// its own clock; pacing is left to others.
pub struct DemoSource {
    settings: DemoSettings,
    about: About,
    model: Model,
    faults: Faults,
    scene: Scene,
    /// The camera before any knock, and the knock that the picture at rest was traced with.
    camera: camera::Camera,
    knock: Option<((f64, f64), f64)>,
    base: Vec<f32>,
    patches: Vec<Option<Patch>>,
    canvas: Vec<f32>,
    trembled: Vec<f32>,
    gaussian: noise::Gaussian,
    number: u64,
    stalled_secs: f64,
    last: Option<Frame>,
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
    /// As [`DemoSettings::check`]; also when a fault's words are not known.
    pub fn new(settings: DemoSettings) -> Result<Self, CaptureError> {
        settings.check()?;
        let mut faults = Faults::new(settings.feeds, settings.seed);
        faults.ask(&settings.fault, 0.0)?;
        let model = Model::new(&settings);
        let rims: Vec<f64> = (0..settings.feeds).map(|f| model.rim_mm(f)).collect();
        let scene = Scene::new(&settings, &rims);
        let base = scene.bake();
        let source = Self {
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
            faults,
            camera: scene.camera,
            knock: None,
            patches: vec![None; settings.feeds],
            trembled: Vec::new(),
            scene,
            canvas: base.clone(),
            base,
            gaussian: noise::Gaussian::new(settings.seed),
            number: 0,
            stalled_secs: 0.0,
            last: None,
            beads: Ring::new(TRUTH_BEADS),
            settings,
        };
        source.check_glasses()?;
        Ok(source)
    }

    /// Refuses a scene in which a glass is not wholly in the picture.
    fn check_glasses(&self) -> Result<(), CaptureError> {
        let (width, height) = (f64::from(self.about.width), f64::from(self.about.height));
        for glass in self.glasses() {
            let [x, y, w, h] = glass.upright_box;
            if x < 0.0 || y < 0.0 || x + w > width || y + h > height {
                return Err(CaptureError::NoSuchSource(format!(
                    "demo: the glass of feed {} does not fit into the picture of {width} × \
                     {height} pixels; ask for a smaller px_per_mm, fewer feeds, or less roll and \
                     turn",
                    glass.feed
                )));
            }
        }
        Ok(())
    }

    /// Switches faults on or off from the next frame on, in the words of [`fault_words`].
    ///
    /// # Errors
    /// [`CaptureError::NoSuchSource`] with a sentence that names the known words.
    pub fn switch(&mut self, words: &str) -> Result<(), CaptureError> {
        self.faults.ask(words, self.now_secs())
    }

    /// Source time of the next frame.
    #[must_use]
    pub fn now_secs(&self) -> f64 {
        self.number as f64 / self.settings.fps
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

    /// Takes the beads that passed since they were last taken, oldest first; [`Self::truth`] no
    /// longer tells them. For whoever keeps the truth of a long clip.
    #[must_use]
    pub fn take_beads(&mut self) -> Vec<BeadTruth> {
        let beads = self.beads.iter().copied().collect();
        self.beads.clear();
        beads
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
                let zoom = self.faults.zoomed();
                let foreshortened = match settings.kind {
                    GlassKind::Tube => 1.0,
                    GlassKind::Port => stand.yaw.0,
                };
                let width = settings.glass_width_mm() * foreshortened * stand.px_per_mm * zoom;
                let height = settings.glass_height_mm() * stand.px_per_mm * zoom;
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
                let about = |centre: f64, size: u32| {
                    let middle = 0.5 * f64::from(size);
                    middle + zoom * (centre - middle)
                };
                let (x, y) = (
                    about(stand.centre_px.0, self.about.width),
                    about(stand.centre_px.1, self.about.height),
                );
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
                    px_per_mm: stand.px_per_mm * zoom,
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

    /// Moves the model and the slow faults on to a time.
    fn live_until(&mut self, at_secs: f64) {
        let step = at_secs - self.model.now_secs();
        self.faults.advance(at_secs, step);
        let space = self.model.space();
        for feed in 0..self.settings.feeds {
            let factor = self.faults.rate_factor(feed, at_secs);
            self.model.set_factor(feed, factor);
            let flooded = self.faults.flooded(feed);
            let ceiling = if flooded > 0.0 {
                space.top_mm - flooded * (space.top_mm - space.floor_mm)
            } else {
                f64::INFINITY
            };
            self.model.set_ceiling(feed, ceiling);
        }
        let passes = self.model.advance(at_secs);
        self.remember(passes);
    }

    /// Follows a knock, or its taking back.
    fn follow_camera(&mut self, at_secs: f64) {
        let knock = self.faults.knocked(at_secs);
        if knock == self.knock {
            return;
        }
        self.knock = knock;
        let camera = match knock {
            Some((shift_px, roll_deg)) => self.camera.knocked(shift_px, roll_deg),
            None => self.camera,
        };
        self.scene.move_camera(camera);
        self.base = self.scene.bake();
        self.patches.fill(None);
    }

    /// Draws the picture of a moment.
    fn picture(&mut self, number: u64, at_secs: f64) -> image::GrayImage {
        self.follow_camera(at_secs);
        let size_px = self.scene.size_px;
        let salt = self.settings.seed as u32;
        let behind = self.faults.passer_at(Fault::PasserBehind, at_secs);
        let mirrored = self.faults.reflection(at_secs);
        self.canvas.copy_from_slice(&self.base);
        for feed in 0..self.settings.feeds {
            let wanted = self.faults.flooded(feed) > 0.0
                || self.faults.filmed(feed) > 0.0
                || mirrored.is_some()
                || behind.is_some();
            if wanted && self.patches[feed].is_none() {
                self.patches[feed] = Patch::new(&self.scene, feed);
            }
            if let Some(patch) = &self.patches[feed] {
                let level = self.model.ceiling_mm(feed);
                if level.is_finite() {
                    patch.flood(&self.scene, feed, level, &mut self.canvas);
                }
            }
        }
        // The stamp is the middle of the time during which the shutter is open.
        let open_for = self.settings.shutter / self.settings.fps;
        let open_at = at_secs - 0.5 * open_for;
        draw::draw_beads(
            &self.scene,
            &self.model,
            &mut self.canvas,
            open_at,
            open_for,
        );
        for (feed, patch) in self.patches.iter().enumerate() {
            let Some(patch) = patch else { continue };
            if let Some(place) = behind {
                patch.shade_behind(&self.scene, feed, place, &mut self.canvas);
            }
            if let Some((since_secs, luma)) = mirrored {
                let glass = &self.scene.glasses[feed];
                let things: Vec<Mirrored> = reflection::moving(since_secs, luma)
                    .iter()
                    .flatten()
                    .map(|bright| Mirrored::new(&self.scene, glass, bright))
                    .collect();
                patch.mirror(&self.scene, feed, &things, &mut self.canvas);
            }
            let film = self.faults.filmed(feed);
            if film > 0.0 {
                patch.film(
                    &self.scene,
                    self.scene.glasses[feed].salt,
                    film,
                    &mut self.canvas,
                );
            }
        }
        if let Some(thickness) = self.faults.strength(Fault::Steam, at_secs) {
            veil::steam(size_px, at_secs, thickness, salt, &mut self.canvas);
        }
        if let Some(place) = self.faults.passer_at(Fault::Passer, at_secs) {
            veil::pass_before(size_px, place, &mut self.canvas);
        }
        let readout_secs = READOUT_SHARE / self.settings.fps;
        self.move_picture(at_secs, open_for, readout_secs);
        let mut sensor = self.faults.sensor(at_secs);
        sensor.noise = sensor.noise.hypot(self.settings.noise);
        veil::develop(
            &self.canvas,
            size_px,
            &self.gaussian,
            &sensor,
            number,
            readout_secs,
        )
    }
}

/// Moments while the shutter is open at which a shaken picture is drawn, for its blur.
const BLUR_MOMENTS: u32 = 4;

impl DemoSource {
    /// Shakes and zooms the picture, if that is asked for.
    fn move_picture(&mut self, at_secs: f64, open_for: f64, readout_secs: f64) {
        let size_px = self.scene.size_px;
        let zoom = self.faults.zoomed();
        let whole = self.faults.shake_px(at_secs);
        let rolling = self.faults.rolling_shake_px(at_secs, at_secs).is_some();
        if zoom == 1.0 && whole.is_none() && !rolling {
            return;
        }
        self.trembled.resize(self.canvas.len(), 0.0);
        let by_px = whole.unwrap_or_default();
        if !rolling {
            if zoom == 1.0 {
                veil::shift(size_px, by_px, &self.canvas, &mut self.trembled);
            } else {
                veil::moved(size_px, zoom, |_| by_px, &self.canvas, &mut self.trembled);
            }
            std::mem::swap(&mut self.canvas, &mut self.trembled);
            return;
        }
        let mut sum = vec![0.0_f32; self.canvas.len()];
        for moment in 0..BLUR_MOMENTS {
            let share = (f64::from(moment) + 0.5) / f64::from(BLUR_MOMENTS) - 0.5;
            let faults = &self.faults;
            let row_px = |row: u32| {
                let read = readout_secs * f64::from(row) / f64::from(size_px.1);
                let at = at_secs + share * open_for + read;
                let (dx, dy) = faults.rolling_shake_px(at_secs, at).unwrap_or_default();
                (dx + by_px.0, dy + by_px.1)
            };
            veil::moved(size_px, zoom, row_px, &self.canvas, &mut self.trembled);
            for (sum, value) in sum.iter_mut().zip(&self.trembled) {
                *sum += value / BLUR_MOMENTS as f32;
            }
        }
        self.canvas = sum;
    }
}

impl Source for DemoSource {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let mut at_secs = self.now_secs();
        if let Some(until_secs) = self.faults.stalled_until(at_secs) {
            // Told in steps of the patience; the frames of that time are lost.
            let told_secs = self.stalled_secs.max(at_secs) + PATIENCE_SECS;
            if told_secs < until_secs {
                self.stalled_secs = told_secs;
                return Ok(Grab::Nothing { at_secs: told_secs });
            }
            self.number = (until_secs * self.settings.fps).ceil() as u64;
            at_secs = self.now_secs();
        }
        while self.faults.strikes(Fault::Lost, self.number, at_secs) {
            self.number += 1;
            at_secs = self.now_secs();
        }
        let number = self.number;
        self.number += 1;
        self.live_until(at_secs);
        let earliest = self
            .last
            .as_ref()
            .map_or(0.0, |last| last.at_secs + LEAST_STEP_SECS);
        let stamp_secs = earliest.max(at_secs + self.faults.late_secs(number, at_secs));
        let again = self.faults.strength(Fault::Frozen, at_secs).is_some()
            || self.faults.strikes(Fault::Doubled, number, at_secs);
        let frame = match &self.last {
            Some(last) if again => Frame {
                number,
                at_secs: stamp_secs,
                luma: last.luma.clone(),
                extent: last.extent.clone(),
            },
            _ => Frame::new(number, stamp_secs, self.picture(number, at_secs)),
        };
        self.last = Some(frame.clone());
        Ok(Grab::Frame(frame))
    }

    fn about(&self) -> &About {
        &self.about
    }

    fn fault(&mut self, words: &str) {
        if let Err(refusal) = self.switch(words) {
            tracing::warn!("{refusal}");
        }
    }
}
