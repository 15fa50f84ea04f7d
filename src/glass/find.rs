//! Finds the sight glasses in pictures by itself: tubes and round ports, one to eight of them, in
//! a still picture or in some seconds of frames. It says how sure it is, and when it finds none it
//! says what to do. It leaves counting, and any correction by a person, to others.
//!
//! A tube is a pair of long, nearly upright edges of the same extent with a fitting across both
//! ends; a port is a closed ring. Either counts as a glass only with a nozzle at its foot and
//! nothing like it at its head. Neighbours look alike: that settles which of several nested edges
//! is the silhouette of the glass, and leaves out what is odd.

mod axes;
mod bore;
mod bounds;
mod group;
mod lines;
mod motion;
mod nozzle;
mod patch;
mod plane;
mod ports;
mod pose;
mod risen;
mod tubes;

use image::{GrayImage, ImageBuffer};

use crate::base::{Frame, GlassKind};
use crate::glass::Outline;
use group::{Guess, Set};
use motion::Motion;
use plane::{Plane, Slopes};

/// Pictures wider than this are reduced by a whole factor before the search: a glass of 40 px in a
/// picture 1920 px wide is still 20 px wide then, and the search costs a quarter.
const WORKING_WIDTH_PX: u32 = 1000;
/// Shortest time between frames that are looked at, seconds: a mean over some seconds gains
/// nothing from more.
const SPACING_SECS: f64 = 0.03;
/// Smallest picture worth searching, pixels.
const SMALLEST_PX: u32 = 64;
/// Edges below this slope are left to noise, luma per pixel: half a video coder's block step.
const FAINTEST_SLOPE: f32 = 1.2;
/// However noisy the picture, edges above this slope count, luma per pixel.
const NOISIEST_SLOPE: f32 = 4.0;
/// The best glass of a set must look this much like one by itself while no bead was seen to rise.
/// Columns, jars and spines of books look up to this much like glasses; better none than one of
/// those: a bead that rises settles it.
const SURE_TWO_TUBES: f32 = 0.67;
const SURE_TWO_PORTS: f32 = 0.64;
/// Three alike in a row, with nozzles, are seldom chance: the best of them may look less sure.
const SURE_TUBES: f32 = 0.5;
const SURE_PORTS: f32 = 0.45;
/// The best nozzle of a set must be this sure; of ports surer, as much else shows in a ring.
const SURE_NOZZLE: f32 = 0.5;
const SURE_NOZZLE_PORTS: f32 = 0.75;
/// What a sure neighbour takes away of a glass's own doubt.
const BY_NEIGHBOURS: f32 = 0.5;
/// A glass below this is told to be unsure.
const UNSURE: f32 = 0.2;
/// As above for a glass without neighbours. Rings with one post are rare; rectangles are not.
const SURE_LONE_TUBE: f32 = 0.72;
const SURE_LONE_PORT: f32 = 0.64;

/// A nozzle this sure is spoken of.
const SEEN_NOZZLE: f32 = 0.3;
/// A bead that rose this surely is spoken of.
const SEEN_RISING: f32 = 0.4;
/// How far off the axis beads rise, parts of the width (one deviation): near it in a tube; in a port
/// they rise behind the window, and a camera that looks from one side sees them displaced.
const OFF_AXIS_TUBE: f32 = 0.08;
const OFF_AXIS_PORT: f32 = 0.13;
/// A bead seen to rise makes the odds for a glass 1 / (1 - this) times better.
const ROSE: f32 = 0.9;
/// When a bead was seen to rise in it, a glass must look this much like one.
const SURE_ROSE: f32 = 0.3;
/// Narrowest glass worth counting in, picture pixels: its beads are a quarter of it, six pixels wide,
/// and fewer cannot be told from noise. Smaller things in a picture are many, and mostly no glasses.
const NARROWEST_PX: f32 = 24.0;
/// A ring at least this good hides no tube.
const RING: f32 = 0.15;
/// What a tube within such a ring is worth.
const IN_A_RING: f32 = 0.2;

/// One glass as found.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundGlass {
    /// Where it is, in pixels of the frames that were looked at.
    pub outline: Outline,
    /// How sure it is that this is a glass, 0 to 1.
    pub confidence: f64,
    /// How it was found, in plain words.
    pub how: String,
}

/// What a search brought.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// The glasses, from the left.
    pub glasses: Vec<FoundGlass>,
    /// Reasons to look twice, each a sentence that says what to do.
    pub doubts: Vec<String>,
}

/// Collects frames and searches them.
///
/// ```
/// use beadtally::{base::Frame, glass::Finder};
/// let mut finder = Finder::new(320, 240);
/// finder.look(&Frame::new(0, 0.0, image::GrayImage::new(320, 240)));
/// assert!(finder.found().glasses.is_empty());
/// ```
#[derive(Clone, Debug)]
pub struct Finder {
    width: u32,
    height: u32,
    factor: u32,
    sum: Vec<f32>,
    motion: Motion,
    looked: u32,
    last_secs: Option<f64>,
    other_size: u32,
}

impl Finder {
    /// A finder for frames of this size, pixels.
    #[must_use]
    pub fn new(width: u32, height: u32) -> Self {
        let factor = width.div_ceil(WORKING_WIDTH_PX).max(1);
        let cells = (width / factor) as usize * (height / factor) as usize;
        Self {
            width,
            height,
            factor,
            sum: vec![0.0; cells],
            motion: Motion::default(),
            looked: 0,
            last_secs: None,
            other_size: 0,
        }
    }

    /// Takes a frame in. Frames closer together than 0.03 s, and frames of another size, are left
    /// out.
    pub fn look(&mut self, frame: &Frame) {
        if frame.width() != self.width || frame.height() != self.height {
            self.other_size = self.other_size.saturating_add(1);
            return;
        }
        if self
            .last_secs
            .is_some_and(|last| frame.at_secs - last < SPACING_SECS)
        {
            return;
        }
        self.last_secs = Some(frame.at_secs);
        self.looked = self.looked.saturating_add(1);
        let small = reduced(&frame.luma, self.factor);
        for (sum, value) in self.sum.iter_mut().zip(&small) {
            *sum += value;
        }
        let width = (self.width / self.factor) as usize;
        self.motion.add(&small, width, frame.at_secs);
    }

    /// How many frames were taken in.
    #[must_use]
    pub fn looked(&self) -> u32 {
        self.looked
    }

    /// Searches what was seen so far.
    #[must_use]
    pub fn found(&self) -> Found {
        let mut found = Found::default();
        if self.other_size > 0 {
            found.doubts.push(format!(
                "{} frames had another size than {}×{} and were left out; keep the camera on one size",
                self.other_size, self.width, self.height
            ));
        }
        if self.looked == 0 {
            found.doubts.push(
                "no glass found: no picture was seen; check the camera or the clip".to_owned(),
            );
            return found;
        }
        if self.width < SMALLEST_PX || self.height < SMALLEST_PX {
            found.doubts.push(format!(
                "no glass found: the picture is only {}×{} pixels; use at least 640×480",
                self.width, self.height
            ));
            return found;
        }
        let Some(mean) = self.mean() else {
            return found;
        };
        let slopes = Slopes::of(&mean);
        let set = search(&slopes, &self.motion, NARROWEST_PX / self.factor as f32);
        self.report(&set, &mut found);
        found
    }

    fn mean(&self) -> Option<Plane> {
        let count = self.looked.max(1) as f32;
        ImageBuffer::from_vec(
            self.width / self.factor,
            self.height / self.factor,
            self.sum.iter().map(|v| v / count).collect(),
        )
    }

    fn report(&self, set: &Set, found: &mut Found) {
        let best = set.glasses.iter().map(|g| g.score).fold(0.0, f32::max);
        let kind = set.glasses.first().map(|g| g.kind);
        let rose = set.glasses.iter().map(|g| g.rose).fold(0.0, f32::max);
        let sure = match (kind, set.glasses.len()) {
            _ if rose > SEEN_RISING => SURE_ROSE,
            (Some(GlassKind::Port), 1) => SURE_LONE_PORT,
            (Some(GlassKind::Port), 2) => SURE_TWO_PORTS,
            (Some(GlassKind::Port), _) => SURE_PORTS,
            (_, 0 | 1) => SURE_LONE_TUBE,
            (_, 2) => SURE_TWO_TUBES,
            _ => SURE_TUBES,
        };
        let nozzle = set
            .glasses
            .iter()
            .map(|g| g.nozzle.max(g.rose))
            .fold(0.0, f32::max);
        let sure_nozzle = match kind {
            Some(GlassKind::Port) => SURE_NOZZLE_PORTS,
            _ => SURE_NOZZLE,
        };
        if best < sure || nozzle < sure_nozzle || set.crowded {
            found.doubts.push(
                "no glass found: no pair of upright edges or ring with a nozzle at its foot; \
                 bring the glasses nearer, light them evenly from behind or from one side, keep \
                 the camera still, or draw the outlines by hand"
                    .to_owned(),
            );
            return;
        }
        let scale = f64::from(self.factor);
        for (index, glass) in set.glasses.iter().enumerate() {
            let outline = Outline {
                kind: glass.kind,
                centre_x_px: f64::from(glass.pose.x) * scale,
                centre_y_px: f64::from(glass.pose.y) * scale,
                width_px: f64::from(glass.width) * scale,
                height_px: f64::from(glass.height) * scale,
                angle_deg: f64::from(glass.pose.angle_deg()),
            };
            found.glasses.push(FoundGlass {
                outline: rounded(self.inside(outline)),
                confidence: f64::from(confidence(glass, &set.glasses)),
                how: how(glass, set.glasses.len()),
            });
            if glass.score < UNSURE {
                found.doubts.push(format!(
                    "glass {} from the left is faint and was found by its neighbours; look at its \
                     outline and correct it if need be",
                    index + 1
                ));
            }
        }
    }

    /// The same outline cut back to what lies in the picture.
    fn inside(&self, mut outline: Outline) -> Outline {
        // A turned outline may need a second cut.
        for _ in 0..3 {
            let b = outline.upright_box();
            let left = (-b.x).max(0.0);
            let right = (b.x + b.width - f64::from(self.width)).max(0.0);
            let above = (-b.y).max(0.0);
            let below = (b.y + b.height - f64::from(self.height)).max(0.0);
            outline.width_px = (outline.width_px - left - right).max(2.0);
            outline.height_px = (outline.height_px - above - below).max(2.0);
            outline.centre_x_px += (left - right) / 2.0;
            outline.centre_y_px += (above - below) / 2.0;
        }
        outline
    }
}

/// Hundredths of a pixel and of a degree: finer than it is known, and short in a file.
fn rounded(outline: Outline) -> Outline {
    let hundredths = |v: f64| (v * 100.0).round() / 100.0;
    Outline {
        kind: outline.kind,
        centre_x_px: hundredths(outline.centre_x_px),
        centre_y_px: hundredths(outline.centre_y_px),
        width_px: hundredths(outline.width_px),
        height_px: hundredths(outline.height_px),
        angle_deg: hundredths(outline.angle_deg),
    }
}

/// How sure a glass is, 0 to 1: by itself, and by the best of its neighbours that it is like.
fn confidence(glass: &Guess, all: &[Guess]) -> f32 {
    let own = glass.score.clamp(0.0, 1.0);
    let neighbour = all
        .iter()
        .filter(|g| g.pose.x != glass.pose.x)
        .map(|g| g.score)
        .fold(0.0, f32::max);
    let helped = own + (1.0 - own) * BY_NEIGHBOURS * neighbour.clamp(0.0, 1.0);
    (helped * 100.0).round() / 100.0
}

/// Says how a glass was found.
fn how(glass: &Guess, count: usize) -> String {
    let shape = match glass.kind {
        GlassKind::Tube => "two upright edges between fittings",
        GlassKind::Port => "a ring",
    };
    let nozzle = if glass.nozzle > SEEN_NOZZLE {
        " with a nozzle at the foot"
    } else {
        ""
    };
    let rose = if glass.rose > SEEN_RISING {
        ", and a bead rose in it"
    } else {
        ""
    };
    let like = if count > 1 {
        ", like its neighbours"
    } else {
        ""
    };
    format!("{shape}{nozzle}{rose}{like}")
}

/// All guesses in a picture at least `narrowest` working pixels wide, and the best set of them.
fn search(slopes: &Slopes, motion: &Motion, narrowest: f32) -> Set {
    let threshold = (4.0 * slopes.noise).clamp(FAINTEST_SLOPE, NOISIEST_SLOPE);
    let lines = lines::upright_lines(slopes, threshold, 5.0);
    let lean = axes::common_lean(&lines);
    let long: Vec<lines::Line> = lines
        .iter()
        .filter(|l| l.length() >= 12.0)
        .copied()
        .collect();
    let mut suggested = axes::between_pairs(slopes, &long);
    suggested.extend(axes::above_posts(slopes, &lines, lean, threshold));
    let risers = motion.risers();
    suggested.extend(axes::along_trails(slopes, &Motion::trails(&risers)));
    let mut guesses = tubes::tube_guesses(slopes, &suggested, threshold);
    let ports = ports::port_guesses(slopes, threshold);
    for tube in &mut guesses {
        if ports.iter().any(|port| fills(tube, port)) {
            tube.score *= IN_A_RING;
        }
    }
    guesses.extend(ports);
    guesses.retain(|guess| guess.width >= narrowest);
    for guess in &mut guesses {
        let off_axis = off_axis_of(guess.kind);
        let rose = Motion::rose_through(&risers, guess.pose, guess.width, guess.height, off_axis);
        // The odds for a glass are so many times better.
        guess.score /= guess.score + (1.0 - guess.score) * (1.0 - ROSE * rose);
        guess.rose = rose;
    }
    let mut set = group::alike(&guesses);
    if let Some(kind) = set.glasses.first().map(|g| g.kind) {
        let size = (slopes.width as f32, slopes.height as f32);
        bore::hold_beads(&mut set.glasses, &risers);
        risen::add_risen(&mut set, &risers, off_axis_of(kind), size);
    }
    set
}

/// How far off the axis beads rise, parts of the width.
fn off_axis_of(kind: GlassKind) -> f32 {
    match kind {
        GlassKind::Tube => OFF_AXIS_TUBE,
        GlassKind::Port => OFF_AXIS_PORT,
    }
}

/// Whether a tube is only the straightest parts of a ring: it fills most of the ring's height and
/// its corners lie in or near it.
fn fills(tube: &Guess, ring: &Guess) -> bool {
    ring.score > RING
        && tube.height > 0.55 * ring.height
        && [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]
            .into_iter()
            .all(|(u, v)| {
                let (x, y) = tube.pose.picture(u * tube.width, v * tube.height);
                let (across, along) = ring.pose.frame(x, y);
                (2.0 * across / ring.width).hypot(2.0 * along / ring.height) < 1.4
            })
}

/// Luma reduced by a whole factor, each value the mean of its square.
fn reduced(luma: &GrayImage, factor: u32) -> Vec<f32> {
    let (width, height) = (luma.width() as usize, luma.height() as usize);
    let raw = luma.as_raw();
    if factor <= 1 {
        return raw.iter().map(|&v| f32::from(v)).collect();
    }
    let factor = factor as usize;
    let (columns, rows) = (width / factor, height / factor);
    let share = 1.0 / (factor * factor) as f32;
    let mut out = Vec::with_capacity(columns * rows);
    let mut sums = vec![0_u32; columns];
    for row in 0..rows {
        sums.fill(0);
        for y in row * factor..(row + 1) * factor {
            let line = &raw[y * width..y * width + columns * factor];
            for (sum, cell) in sums.iter_mut().zip(line.chunks_exact(factor)) {
                *sum += cell.iter().map(|&v| u32::from(v)).sum::<u32>();
            }
        }
        out.extend(sums.iter().map(|&sum| sum as f32 * share));
    }
    out
}
