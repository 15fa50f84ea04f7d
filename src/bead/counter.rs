//! Counts the beads of one glass: steadies, compares with the picture at rest, finds candidates,
//! follows and explains them. One frame in, settled beads out; it decides nothing about trust in
//! the picture, but tells what is needed to decide.

use std::sync::Arc;

use image::GrayImage;
use ndarray::Array2;

use crate::base::{Frame, GlassKind, Ring};
use crate::bead::Bead;
use crate::bead::album::{Album, Cutting, Followed, Source};
use crate::bead::bore::Bore;
use crate::bead::candidate::{Wariness, candidates};
use crate::bead::ellipse::ellipse;
use crate::bead::explain::{Explained, explain};
use crate::bead::faint::Faint;
use crate::bead::gather::{Gathered, Gathering, in_one_light, light};
use crate::bead::glance::Glance;
use crate::bead::glean::{Gleaner, SAME_ROW, is_told};
use crate::bead::kind::{Measured, OwnOil, decide};
use crate::bead::known::Known;
use crate::bead::lane::Lane;
use crate::bead::lanes::sum;
use crate::bead::light::Bands;
use crate::bead::portrait::{Portrait, clean};
use crate::bead::rest::{Difference, Noise, Rest};
use crate::bead::same::{is_shadow_of, same_bead};
use crate::bead::sample::Sampler;
use crate::bead::seen::{Look, OnItsWay, Sight};
use crate::bead::size::{Size, expected};
use crate::bead::steady::{Pose, Steady};
use crate::bead::strip::Strip;
use crate::bead::track::{Path, Tracker};
use crate::bead::way::{Usual, is_beside};
use crate::glass::Outline;

/// Two beads of one glass are told at least this far apart, seconds: less than any two can be, and
/// enough that no record takes them for one.
const APART_SECS: f64 = 0.001;
/// Settled beads kept for comparison, so that no bead counts twice.
const REMEMBERED: usize = 12;
/// Beads that tell how long one takes to pass, before any frame is passed over.
const BEADS_THAT_TELL: usize = 2;
/// Of so many frames that a bead takes to pass one may go by unlooked at while the glass is calm: one
/// sighting fewer at the nozzle is nothing to it.
const FRAMES_FOR_ONE: f64 = 10.0;
/// Longest time between two looks, seconds (three frames at thirty a second): a bead's departure is
/// then seen in time.
const LONGEST_UNLOOKED_SECS: f64 = 0.102;
/// Confidence over which a bead is one, however large what moves with it looks.
const BEYOND_DOUBT: f64 = 0.95;
/// Columns of the strip that are kept: ten seconds at 30 frames a second.
const STRIP_COLUMNS: usize = 300;

/// Counts the beads of one glass.
#[derive(Clone, Debug)]
pub struct Counter {
    kind: GlassKind,
    px_per_mm: Option<f64>,
    outline: Outline,
    sampler: Sampler,
    steady: Option<Steady>,
    rest: Rest,
    noise_before: Option<Noise>,
    wariness: Wariness,
    tracker: Tracker,
    album: Album,
    first_frame: u64,
    gathering: Gathering,
    glance: Glance,
    luma: Arc<GrayImage>,
    patch: Array2<f32>,
    before: Array2<f32>,
    difference: Difference,
    compared: bool,
    at_secs: f64,
    pose: Pose,
    settled: Ring<Explained>,
    own: OwnOil,
    lane: Lane,
    gleaner: Gleaner,
    faint: Faint,
    strip: Strip,
}

impl Counter {
    /// A counter for one outline; `px_per_mm` is the scale at the glass's axis, when known.
    #[must_use]
    pub fn new(outline: &Outline, px_per_mm: Option<f64>) -> Self {
        let sampler = Sampler::new(outline);
        let shape = sampler.shape();
        Self {
            kind: outline.kind,
            px_per_mm,
            outline: *outline,
            steady: None,
            rest: Rest::new(shape),
            noise_before: None,
            wariness: Wariness::default(),
            tracker: Tracker::new((shape.0 as f32, sampler.inside().across)),
            album: Album::new(&sampler),
            first_frame: 1,
            gathering: Gathering::default(),
            glance: Glance::new(outline),
            luma: Arc::default(),
            patch: Array2::zeros(shape),
            before: Array2::zeros(shape),
            difference: Difference::new(shape),
            compared: false,
            at_secs: 0.0,
            pose: Pose::default(),
            settled: Ring::new(REMEMBERED),
            own: OwnOil::default(),
            lane: Lane::default(),
            gleaner: Gleaner::default(),
            faint: Faint::default(),
            strip: Strip::new(shape.0, STRIP_COLUMNS),
            sampler,
        }
    }

    /// Takes a new scale; counts go on.
    pub fn set_scale(&mut self, px_per_mm: Option<f64>) {
        self.px_per_mm = px_per_mm;
    }

    /// The glass stands at another outline from this frame on, because the camera moved or the
    /// picture grows: the same glass, so what is known of it and what is on its way stay.
    pub fn carry(&mut self, outline: &Outline, luma: &GrayImage) {
        self.sampler.carry(outline);
        self.album.carry(outline);
        self.glance.carry(outline);
        self.outline = *outline;
        self.steady = Some(Steady::new(luma, outline));
        self.pose = Pose::default();
    }

    /// Lets a frame go by unlooked at, if nothing moves in the glass, and either a glance shows nothing
    /// new or beads pass so slowly that they are seen often enough all the same; says whether it did.
    pub fn pass_over(&mut self, frame: &Frame) -> bool {
        let shows_nothing_new = self.glance.sees_nothing_new(&frame.luma, frame.at_secs);
        let unlooked_secs = frame.at_secs - self.at_secs + self.tracker.frame_secs();
        let passes = self.is_calm()
            && (shows_nothing_new && unlooked_secs <= self.glance.spares_secs()
                || unlooked_secs <= LONGEST_UNLOOKED_SECS && self.is_seen_often());
        if passes {
            self.tracker.pass_over();
            self.strip.push_again();
        }
        passes
    }

    /// Whether the frame passed over repeats the one before.
    #[must_use]
    pub fn repeats(&self) -> bool {
        self.glance.repeats()
    }

    /// Whether nothing moves in a glass whose beads are known.
    fn is_calm(&self) -> bool {
        self.settled.len() >= BEADS_THAT_TELL && self.is_still()
    }

    fn is_still(&self) -> bool {
        self.rest.is_ready() && !self.rest.drifts() && self.tracker.is_calm()
    }

    /// Whether beads are seen often enough when one more frame goes by.
    fn is_seen_often(&self) -> bool {
        let unlooked = f64::from(self.tracker.passed_over() + 1);
        let fastest = self.settled.iter().map(|bead| bead.rows_per_s);
        let fastest = f64::from(fastest.fold(0.0, f32::max)).max(1.0);
        let passage_secs = self.sampler.shape().0 as f64 / fastest;
        passage_secs / self.tracker.frame_secs() >= FRAMES_FOR_ONE * unlooked
    }

    /// Looks at a frame. Call [`Counter::count`] next, for the same frame.
    pub fn look(&mut self, frame: &Frame) -> Look {
        self.at_secs = frame.at_secs;
        let steady = self
            .steady
            .get_or_insert_with(|| Steady::new(&frame.luma, &self.outline));
        self.pose = steady.pose(&frame.luma);
        std::mem::swap(&mut self.patch, &mut self.before);
        self.luma = Arc::clone(&frame.luma);
        let Pose {
            shift_px, turn_rad, ..
        } = self.pose;
        self.sampler
            .take(&frame.luma, shift_px, turn_rad, &mut self.patch);
        let identical = self.patch == self.before;
        let mean = sum(self.patch.as_slice().unwrap_or(&[])) / self.patch.len().max(1) as f32;
        self.compared = self.rest.is_ready();
        self.rest.expect(Bands::expected(
            f64::from(frame.luma.height()),
            self.tracker.frame_secs(),
            self.sampler.step_px(),
            (self.sampler.inside().across, self.sampler.lean()),
        ));
        let (gain, changed) = if self.compared {
            self.rest
                .compare(&self.patch, self.sampler.inside(), &mut self.difference);
            (self.difference.gain, self.difference.changed)
        } else {
            (1.0, 0.0)
        };
        Look {
            pose: self.pose,
            mean,
            gain,
            changed,
            identical,
            stirs: !self.tracker.is_calm(),
            gathering: !self.rest.is_ready(),
            unsettled_since_secs: self.gathering.unsettled_since_secs(|| self.light()),
        }
    }

    /// The usual light of the glass in the frame last looked at.
    fn light(&self) -> f32 {
        light(&self.patch, &self.sampler.inside().mask, self.pose.gain)
    }

    /// Counts in the frame last looked at. While `blind` nothing is learned and nothing counted;
    /// what was on its way when the blind spell began is settled if it was already certain.
    pub fn count(&mut self, blind: Sight) -> Vec<Bead> {
        match blind {
            Sight::Blind => {
                self.gathering.clear();
                self.strip.push_blank();
                self.give_up()
            }
            Sight::Repeated => Vec::new(),
            Sight::Clear => {
                if self.rest.is_ready() {
                    self.count_now(None)
                } else {
                    self.gather()
                }
            }
        }
    }

    /// Frames were lost: what was on its way is settled if already certain, and what is seen
    /// above mid-glass next has passed unseen.
    pub fn interrupted(&mut self) -> Vec<Bead> {
        self.give_up()
    }

    /// The light or the scene is another than before a blind spell: learns the picture at rest
    /// anew from the next moments, which are counted as soon as it is known.
    pub fn relearn(&mut self) {
        if let Some(noise) = self.rest.noise() {
            self.noise_before = Some(noise.clone());
        }
        self.rest = Rest::new(self.sampler.shape());
        self.glance.forget();
        self.wariness = Wariness::default();
        self.tracker.doubt_clutter();
        self.gathering.clear();
        self.compared = false;
    }

    /// Forgets the picture at rest: the scene has changed for good.
    pub fn start_over(&mut self) -> Vec<Bead> {
        let beads = self.give_up();
        self.rest = Rest::new(self.sampler.shape());
        self.glance.forget();
        self.noise_before = None;
        self.faint = Faint::default();
        self.steady = None;
        self.gathering.clear();
        self.compared = false;
        beads
    }

    /// Settles what can be settled: the clip is over.
    pub fn finish(&mut self) -> Vec<Bead> {
        let mut beads = Vec::new();
        if !self.rest.is_ready() {
            beads.extend(self.begin());
        }
        beads.extend(self.give_up());
        beads
    }

    /// The strip, newest column to the right.
    #[must_use]
    pub fn strip(&self) -> Arc<GrayImage> {
        self.strip.picture()
    }

    /// The pose of the glass in the frame last looked at.
    #[must_use]
    pub fn pose(&self) -> Pose {
        self.pose
    }

    /// Beads that are rising now and not yet settled.
    #[must_use]
    pub fn on_their_way(&self) -> Vec<OnItsWay> {
        self.tracker
            .paths()
            .iter()
            .filter(|p| p.rises() && p.speed() > 0.0)
            .filter_map(|p| {
                let last = p.newest()?;
                let row = p.expected_row(self.at_secs).max(0.0);
                let (x_px, y_px) = self.sampler.picture_from_sample(
                    f64::from(row),
                    f64::from(last.seen.col),
                    self.pose.shift_px,
                    self.pose.turn_rad,
                );
                Some(OnItsWay {
                    x_px,
                    y_px,
                    radius_px: f64::from(last.seen.height) / 2.0 * self.sampler.step_px(),
                })
            })
            .collect()
    }

    fn gather(&mut self) -> Vec<Bead> {
        let mut cutting = Cutting::default();
        cutting.cut(&self.luma, &self.outline, &self.pose);
        let frame = Gathered {
            at_secs: self.at_secs,
            patch: self.patch.clone(),
            cutting,
            light: self.light(),
            surround_gain: self.pose.gain,
        };
        if self.gathering.is_enough_with(frame) {
            self.begin()
        } else {
            Vec::new()
        }
    }

    /// The picture at rest is known: count the gathered frames.
    fn begin(&mut self) -> Vec<Bead> {
        let gathered = self.gathering.take();
        let before = self.noise_before.take();
        let first = in_one_light(&gathered);
        self.rest.begin(&first, self.at_secs, before.as_ref());
        self.first_frame = self.tracker.frames() + 1;
        let newest = (self.at_secs, self.patch.clone());
        let mut beads = Vec::new();
        for kept in gathered {
            self.at_secs = kept.at_secs;
            self.patch = kept.patch;
            self.rest
                .compare(&self.patch, self.sampler.inside(), &mut self.difference);
            self.compared = true;
            beads.extend(self.count_now(Some(kept.cutting)));
        }
        (self.at_secs, self.patch) = newest;
        beads
    }

    /// Counts in the frame last compared; of one of the first the glass was cut out then.
    fn count_now(&mut self, cut: Option<Cutting>) -> Vec<Bead> {
        if !std::mem::take(&mut self.compared) {
            return Vec::new();
        }
        let found = candidates(&self.difference, self.sampler.inside(), &mut self.wariness);
        self.strip.push(&self.difference);
        let over = self.tracker.step(self.at_secs, &found, &self.patch);
        let followed = Followed {
            frame: self.tracker.frames(),
            at_secs: self.at_secs,
            luma: &self.patch,
            rest: self.rest.reference(),
            difference: &self.difference,
            found: found.len(),
        };
        let source = cut.map_or(Source::Frame(&self.luma, &self.pose), Source::Cut);
        self.album.keep(&followed, source);
        self.rest.learn(&self.difference, self.at_secs);
        let mut beads = self.settle(&over);
        self.gleaner
            .keep(self.at_secs, self.tracker.frames(), found);
        beads.extend(self.glean());
        beads.extend(self.seek_faint());
        self.tell_glance(&beads);
        beads
    }

    /// Tells glances what a look brought.
    fn tell_glance(&mut self, beads: &[Bead]) {
        if self.is_still() {
            self.glance.calm_at(self.at_secs);
        } else {
            self.glance.stirred_at(self.at_secs);
        }
        for bead in beads {
            self.glance.settled(bead.kind, self.at_secs);
        }
    }

    /// Looks once more for what the tracker lost.
    fn glean(&mut self) -> Vec<Bead> {
        let shape = (self.sampler.shape().0 as f32, self.sampler.inside().across);
        let (settled, paths) = (&self.settled, self.tracker.paths());
        let is_taken = |frame: u64, row: f32| {
            let is_it = |of: u64, at: f32| of == frame && (at - row).abs() < SAME_ROW;
            settled
                .iter()
                .any(|bead| bead.rows.iter().any(|(of, at)| is_it(*of, *at)))
                || paths.iter().any(|path| {
                    path.rises() && path.points.iter().any(|p| is_it(p.frame, p.seen.row))
                })
        };
        let over = self.gleaner.look(self.at_secs, shape, is_taken);
        if over.is_empty() {
            return Vec::new();
        }
        self.settle(&over)
    }

    /// Seeks beads like those of the feed that are too faint to be followed from picture to picture.
    fn seek_faint(&mut self) -> Vec<Bead> {
        let frame_secs = self.tracker.frame_secs();
        self.faint.keep(
            (self.at_secs, self.tracker.frames(), frame_secs),
            &self.difference.levels,
        );
        let (settled, paths) = (&self.settled, self.tracker.paths());
        let is_taken = |frame: u64, row: f32, within: f32| {
            let is_near = |of: u64, at: f32| of == frame && (at - row).abs() < within;
            let is_told = |bead: &Explained| bead.rows.iter().any(|(of, at)| is_near(*of, *at));
            settled.iter().any(is_told)
                || paths.iter().any(|path| {
                    let mut points = path.points.iter();
                    path.rises() && points.any(|p| is_near(p.frame, p.seen.row))
                })
        };
        let Some((bead, path)) = self.faint.look(is_taken) else {
            return Vec::new();
        };
        if self.settled.iter().any(|told| is_beside(told, &bead)) {
            return Vec::new();
        }
        let told = self.bead(&bead, &path);
        self.settled.push(bead);
        vec![told]
    }

    fn give_up(&mut self) -> Vec<Bead> {
        let over = self.tracker.give_up();
        self.faint.clear();
        self.gleaner.clear();
        self.first_frame = self.tracker.frames() + 1;
        self.settle(&over)
    }

    fn settle(&mut self, paths: &[Path]) -> Vec<Bead> {
        let bore = Bore {
            rows: self.sampler.shape().0 as f32,
            cols: self.sampler.inside().across,
            axis: self.sampler.shape().1 as f32 / 2.0 - 0.5,
            kind: self.kind,
            first_frame: self.first_frame,
            frames_per_s: (1.0 / self.tracker.frame_secs().max(1e-3)) as f32,
            drift: self.rest.drifts(),
            lane: self.lane,
            cover: self.lane.cover(),
            grain: self.faint.grain(),
            known: Known::of(self.settled.iter(), self.at_secs),
        };
        let mut explained: Vec<(Explained, &Path)> = paths
            .iter()
            .filter_map(|path| Some((explain(path, &bore, self.tracker.clutter())?, path)))
            .collect();
        // The strongest first: a reflection or a broken piece must not displace the bead.
        explained.sort_by(|a, b| b.0.strength.total_cmp(&a.0.strength));
        let mut beads = Vec::new();
        for (bead, path) in explained {
            let is_it = |other: &Explained| same_bead(other, &bead) || is_told(path, &other.rows);
            if self.settled.iter().any(is_it) || self.is_shadow(&bead) {
                continue;
            }
            let told = self.bead(&bead, path);
            // Seen whole it fills the glass from wall to wall: steam, whatever rose in it.
            if told.size.width_px > self.outline.width_px && told.confidence < BEYOND_DOUBT {
                continue;
            }
            self.own
                .learn(&told.why, told.rise_px_per_s, told.size.diameter_px);
            beads.push(told);
            self.lane.learn(&bead);
            let is_sure = bead.surplus >= 0.0;
            let (rows, col) = (bead.rows.clone(), bead.col);
            self.settled.push(bead);
            if is_sure && let Some(usual) = Usual::of(self.settled.iter()) {
                self.faint.takes_after(usual);
                self.faint.learn(&rows, col);
            }
        }
        beads.sort_by(|a: &Bead, b: &Bead| a.at_secs.total_cmp(&b.at_secs));
        // A bead that is still below the middle when the picture breaks off is told for the last
        // moment it was seen: no drop is of a time that nobody has watched.
        let mut latest_secs = self.at_secs;
        for bead in beads.iter_mut().rev() {
            bead.at_secs = bead.at_secs.min(latest_secs);
            latest_secs = bead.at_secs - APART_SECS;
        }
        beads
    }

    /// Whether it only runs beside something stronger that is still on its way: its reflection in
    /// the wall of the glass, or a piece of its rim.
    fn is_shadow(&self, bead: &Explained) -> bool {
        let paths = self.tracker.paths();
        paths.iter().any(|path| is_shadow_of(bead, path))
    }

    fn bead(&self, bead: &Explained, path: &Path) -> Bead {
        let step_px = self.sampler.step_px();
        let rise_px_per_s = f64::from(bead.rows_per_s) * step_px;
        let size = self.size(bead, path, rise_px_per_s);
        let (diameter_px, diameter_spread) = size.beside(&self.guessed(bead));
        let measured = Measured {
            rise_px_per_s,
            diameter_px,
            diameter_spread,
            px_per_mm: self.px_per_mm,
            glass_px: self.outline.width_px,
            glass: self.kind,
            core_share: size.core_share,
        };
        let why = decide(&measured, &self.own);
        Bead {
            at_secs: bead.at_secs,
            kind: why.kind(),
            why,
            rise_px_per_s,
            rise_mm_per_s: self.px_per_mm.map(|scale| rise_px_per_s / scale),
            height_px: size.height_px,
            diameter_mm: self.px_per_mm.map(|scale| size.diameter_px / scale),
            size,
            confidence: f64::from(bead.confidence),
            surplus: f64::from(bead.surplus),
            settled_at_secs: self.at_secs,
            picture: path.picture.clone(),
        }
    }

    /// Measures a bead by its portrait, or guesses by its sightings.
    fn size(&self, bead: &Explained, path: &Path, rise_px_per_s: f64) -> Size {
        let rows = self.sampler.shape().0 as f32;
        let points = clean(&path.points, &bead.rows, rows);
        let rest = self.rest.reference();
        let fitted = |portrait: Portrait| {
            let rows_per_frame =
                rise_px_per_s * self.tracker.frame_secs() / f64::from(portrait.step_px);
            let ellipse = ellipse(&portrait, &expected(self.kind, rows_per_frame))?;
            Some((portrait, ellipse))
        };
        let measured = self
            .album
            .portrait(&points, rest)
            .and_then(fitted)
            .and_then(|(portrait, ellipse)| {
                if portrait.holds(&ellipse.extent()) {
                    return Some((portrait, ellipse));
                }
                // Only a part of it was in the portrait.
                let again = (&portrait, &ellipse.extent());
                self.album.again(&points, rest, again).and_then(fitted)
            })
            .filter(|(portrait, ellipse)| portrait.holds(&ellipse.extent()))
            .map(|(portrait, ellipse)| {
                let step_px = f64::from(portrait.step_px);
                let aside = portrait.aside(ellipse.col);
                let mut size = Size::of(&ellipse, self.kind, step_px, aside);
                size.core_share = ellipse.core_share(&portrait);
                size
            });
        measured.unwrap_or_else(|| self.guessed(bead))
    }

    /// Its size by its sightings.
    fn guessed(&self, bead: &Explained) -> Size {
        let step_px = self.sampler.step_px();
        let (height, width) = (f64::from(bead.height), f64::from(bead.width));
        Size::guessed(height * step_px, width * step_px, self.kind)
    }
}
