//! The instrument with made-up frames, stamps, gaps, calibrations and operations: it goes on, time
//! never runs backwards, no drop is told twice or from a time that was not watched, and every
//! figure is one that can be shown.

use std::collections::BTreeSet;
use std::sync::Arc;

use beadtally::base::{Band, BlindWhy, FeedNumber, Frame, GlassKind};
use beadtally::cli::lines::Line;
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::judge::{Cause, Condition};
use beadtally::run::{Event, Instrument};
use image::GrayImage;

use super::draw::Draw;

/// Most frames of one input: a slow one must not hide the many.
const MOST_FRAMES: u32 = 160;
/// Size of the pictures, pixels.
const SIZE_PX: (u32, u32) = (64, 96);
/// Times between frames, seconds: 1000 to 1 a second, and some that no camera has.
const BETWEEN_SECS: [f64; 10] = [
    1.0 / 30.0,
    1.0 / 30.0,
    1.0 / 60.0,
    1.0 / 15.0,
    1.0 / 12.0,
    0.25,
    1.0,
    1.0 / 120.0,
    0.001,
    10.0,
];
const WHYS: [BlindWhy; 9] = [
    BlindWhy::Starting,
    BlindWhy::NoFrames,
    BlindWhy::CameraLost,
    BlindWhy::Frozen,
    BlindWhy::Dark,
    BlindWhy::LightChanged,
    BlindWhy::Moved,
    BlindWhy::Covered,
    BlindWhy::Flooded,
];
const CONDITIONS: [Condition; 4] = [
    Condition::Active,
    Condition::Certain,
    Condition::Clear,
    Condition::Unknown,
];
const MARKS: [&str; 8] = [
    "valve 1 a quarter turn open",
    "valve 2 shut",
    "reservoir filled",
    "-0.25",
    "=1+1",
    "",
    "valve 65535 open 1e999 turns",
    "<b>\u{0}\n",
];

pub fn body(bytes: &[u8]) {
    beads_told(bytes);
}

/// How many beads were told on the way.
pub fn beads_told(bytes: &[u8]) -> usize {
    let mut draw = Draw::new(bytes);
    let mut bench = Bench {
        instrument: Instrument::new(calibration(&mut draw)),
        at_secs: 0.0,
        number: 0,
        frames_left: MOST_FRAMES,
        scene: Scene::default(),
        last: None,
        told: BTreeSet::new(),
        first_secs: None,
        clock_secs: f64::NEG_INFINITY,
    };
    while !draw.is_over() && bench.frames_left > 0 {
        bench.act(&mut draw);
    }
    let over = bench.instrument.finish();
    bench.check(&over);
    bench.told.len()
}

/// One or two glasses that make sense; what makes none is refused before it comes here.
fn calibration(draw: &mut Draw<'_>) -> Calibration {
    let glasses = usize::from(draw.byte() % 3);
    let feeds = (0..glasses)
        .map(|index| {
            let kind = draw.of(&[GlassKind::Tube, GlassKind::Port]);
            let outline = Outline {
                kind,
                centre_x_px: 16.0 + 32.0 * index as f64 + f64::from(draw.byte() % 6),
                centre_y_px: 48.0,
                width_px: 6.0 + f64::from(draw.byte() % 18),
                height_px: f64::from(draw.byte() % 80) + 4.0,
                angle_deg: f64::from(draw.byte() % 9) - 4.0,
            };
            let mut feed = FeedCalibration::new(outline);
            feed.px_per_mm = draw.of(&[None, Some(2.0), Some(0.2), Some(500.0)]);
            feed.band = draw.of(&[
                Band::default(),
                Band {
                    low_per_minute: 0.0,
                    high_per_minute: 600.0,
                },
            ]);
            feed
        })
        .collect();
    let mut calibration = Calibration {
        picture_width_px: SIZE_PX.0,
        picture_height_px: SIZE_PX.1,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds,
    };
    calibration.oil.nozzle_bore_mm = draw.of(&[None, Some(0.1), Some(2.0), Some(10.0)]);
    calibration.oil.reservoir_capacity_ml = draw.of(&[None, Some(10.0), Some(200_000.0)]);
    if !calibration.feeds.is_empty() && calibration.check().is_err() {
        calibration.feeds.clear();
    }
    calibration
}

/// What the made-up camera sees.
#[derive(Clone, Copy, Debug)]
struct Scene {
    ground: u8,
    bead: u8,
    noise: u8,
    /// Radius of the beads, pixels.
    radius_px: f64,
    /// How fast they rise, pixels a second; 0 for none.
    rise_px_per_s: f64,
    /// Time between two, seconds.
    every_secs: f64,
    shift_px: f64,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            ground: 160,
            bead: 60,
            noise: 2,
            radius_px: 4.0,
            rise_px_per_s: 80.0,
            every_secs: 2.5,
            shift_px: 0.0,
        }
    }
}

impl Scene {
    fn picture(&self, at_secs: f64, number: u64, (width, height): (u32, u32)) -> GrayImage {
        let secs = if at_secs.is_finite() { at_secs } else { 0.0 };
        let rise = self.rise_px_per_s * secs.rem_euclid(self.every_secs.max(0.01));
        let y_bead = f64::from(height) - rise;
        // Numbers beside each other must not begin alike (the mixing of SplitMix64, from memory).
        let mut chance = number.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        chance = (chance ^ (chance >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        chance = (chance ^ (chance >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB) | 1;
        // Reckoned once a row and once a column: an input is to be measured, not drawn.
        let across: Vec<f64> = (0..width)
            .map(|x| (f64::from(x) + self.shift_px).rem_euclid(32.0))
            .collect();
        let reach_px = self.radius_px + 0.5;
        let (glass, wall) = (f64::from(self.ground), f64::from(self.ground / 2));
        let spread = u64::from(self.noise) * 2 + 1;
        let mut levels = Vec::with_capacity(width as usize * height as usize);
        for y in 0..height {
            // Something to hold on to along the glass, or steadying finds no place for it.
            let ripple = 10.0 * (f64::from(y) * 0.4).sin();
            let off = f64::from(y) - y_bead;
            let has_bead = off.abs() < reach_px;
            for across in &across {
                // A weak chance will do for noise.
                chance ^= chance << 13;
                chance ^= chance >> 7;
                chance ^= chance << 17;
                let noise = (chance % spread) as i32 - i32::from(self.noise);
                let is_wall = !(3.0..=29.0).contains(across);
                let ground = ripple + if is_wall { wall } else { glass };
                let mut level = ground;
                if has_bead {
                    let bead = (reach_px - (across - 16.0).hypot(off)).clamp(0.0, 1.0);
                    level += bead * (f64::from(self.bead) - ground);
                }
                levels.push((level as i32 + noise).clamp(0, 255) as u8);
            }
        }
        GrayImage::from_raw(width, height, levels).expect("as many levels as pixels")
    }
}

struct Bench {
    instrument: Instrument,
    at_secs: f64,
    number: u64,
    frames_left: u32,
    scene: Scene,
    last: Option<Frame>,
    /// Beads told so far: feed and the bits of the time.
    told: BTreeSet<(u16, u64)>,
    first_secs: Option<f64>,
    /// The newest time the instrument told.
    clock_secs: f64,
}

impl Bench {
    fn act(&mut self, draw: &mut Draw<'_>) {
        let feed = draw.of(&[
            None,
            Some(FeedNumber(1)),
            Some(FeedNumber(2)),
            Some(FeedNumber(9)),
        ]);
        let events = match draw.byte() % 24 {
            0..=5 => return self.stretch(draw),
            6 | 7 => return self.scene(draw),
            8 => {
                // A frame of its own, with any stamp and any number.
                let at_secs = draw.number();
                self.number = draw.of(&[0, self.number, self.number.wrapping_add(99), u64::MAX]);
                return self.frame(at_secs, SIZE_PX);
            }
            9 => {
                let sizes = [(1, 1), (1, 4000), (4000, 1), (63, 96), (128, 192), (0, 0)];
                self.at_secs += 0.04;
                return self.frame(self.at_secs, draw.of(&sizes));
            }
            10 => {
                if let Some(last) = self.last.clone() {
                    self.at_secs += 0.04;
                    let again = Frame {
                        number: self.number,
                        at_secs: self.at_secs,
                        luma: Arc::clone(&last.luma),
                        extent: last.extent.clone(),
                    };
                    return self.step(again);
                }
                Vec::new()
            }
            11 => {
                self.at_secs += draw.of(&[0.5, 0.0, 3.0, 30.0, -1.0, 86_400.0]);
                self.instrument.no_frame(self.at_secs, draw.of(&WHYS))
            }
            12 => self.instrument.no_frame(draw.number(), draw.of(&WHYS)),
            13 => {
                // The runner gives times of the source only, which are numbers.
                let at_secs = Some(draw.number()).filter(|at| at.is_finite());
                self.instrument
                    .spoiled(at_secs.unwrap_or(self.at_secs), &draw.words())
            }
            14 => {
                let words = draw.of(&MARKS).to_owned();
                self.instrument.mark(feed, words)
            }
            15 => {
                let words = draw.words();
                self.instrument.mark(feed, words)
            }
            16 => self.instrument.start_hand_check(feed),
            17 => {
                let at_secs = draw.of(&[self.at_secs, self.at_secs - 1.0, f64::NAN, 1e300]);
                self.instrument.tap(at_secs)
            }
            18 => self.instrument.end_hand_check(self.at_secs),
            19 => match draw.byte() % 3 {
                0 => self.instrument.acknowledge_all(),
                1 => self.instrument.acknowledge(feed, draw.of(&Cause::ALL)),
                _ => {
                    let secs = draw.number();
                    self.instrument.shelve(feed, draw.of(&Cause::ALL), secs)
                }
            },
            20 => self
                .instrument
                .condition(draw.of(&Cause::ALL), draw.of(&CONDITIONS)),
            21 => {
                let calibration = calibration(draw);
                self.instrument.recalibrate(calibration)
            }
            22 => {
                // The same outlines with other bands.
                let mut calibration = self.instrument.calibration().clone();
                for feed in &mut calibration.feeds {
                    feed.band.high_per_minute = 1.0 + f64::from(draw.byte());
                    feed.name = draw.words();
                }
                self.instrument.recalibrate(calibration)
            }
            _ => {
                let filled = Some(draw.number()).filter(|_| draw.byte() > 99);
                let oil = self.instrument.oil(filled.filter(|secs| *secs >= 0.0));
                serde_json::to_string(&format!("{oil:?}")).expect("oil can be shown");
                let _ = self.instrument.hand_check();
                self.check_standing();
                self.instrument.open_events()
            }
        };
        self.check(&events);
    }

    fn scene(&mut self, draw: &mut Draw<'_>) {
        match draw.byte() % 6 {
            0 => self.scene.ground = draw.byte(),
            1 => self.scene.bead = draw.byte(),
            2 => self.scene.noise = draw.byte() % 100,
            3 => self.scene.radius_px = f64::from(draw.byte() % 30) / 2.0,
            4 => {
                self.scene.rise_px_per_s = f64::from(draw.byte()) * 4.0;
                self.scene.every_secs = f64::from(draw.byte()) / 10.0;
            }
            _ => self.scene.shift_px = f64::from(draw.byte()) / 8.0,
        }
    }

    /// Frames one after the other, as from a camera.
    fn stretch(&mut self, draw: &mut Draw<'_>) {
        let frames = u32::from(draw.byte()) + 1;
        let between_secs = draw.of(&BETWEEN_SECS);
        for _ in 0..frames.min(self.frames_left) {
            self.at_secs += between_secs;
            self.frame(self.at_secs, SIZE_PX);
        }
    }

    fn frame(&mut self, at_secs: f64, size: (u32, u32)) {
        let luma = self.scene.picture(at_secs, self.number, size);
        self.step(Frame::new(self.number, at_secs, luma));
    }

    fn step(&mut self, frame: Frame) {
        self.frames_left = self.frames_left.saturating_sub(1);
        self.number = self.number.wrapping_add(1);
        if self.first_secs.is_none() && frame.at_secs.is_finite() {
            // The first frame sets the time; what came before had none.
            self.first_secs = Some(frame.at_secs);
            self.clock_secs = f64::NEG_INFINITY;
        }
        let events = self.instrument.step(&frame);
        if frame.at_secs.is_finite() {
            self.at_secs = self.at_secs.max(frame.at_secs.min(1e9));
        }
        self.last = Some(frame);
        self.check(&events);
    }

    fn check(&mut self, events: &[Event]) {
        let now_secs = self.instrument.now_secs();
        assert!(
            now_secs.is_finite() && now_secs >= self.clock_secs,
            "time runs backwards: {now_secs} after {}",
            self.clock_secs
        );
        self.clock_secs = now_secs;
        for event in events {
            let line = serde_json::to_string(&Line::event(event)).expect("an event can be shown");
            assert!(!line.is_empty());
            let _ = beadtally::cli::lines::event_words(event);
            match event {
                Event::Bead { feed, bead } => {
                    assert!(bead.at_secs.is_finite() && bead.settled_at_secs.is_finite());
                    let first_secs = self.first_secs.expect("no bead before the first frame");
                    assert!(bead.at_secs >= first_secs - 1e-6, "before the first frame");
                    assert!(bead.at_secs <= bead.settled_at_secs + 1e-6, "{bead:?}");
                    assert!(bead.settled_at_secs <= now_secs + 1e-6);
                    assert!((0.0..=1.0).contains(&bead.confidence), "{bead:?}");
                    assert!(bead.rise_px_per_s.is_finite() && bead.height_px.is_finite());
                    let key = (feed.0, bead.at_secs.to_bits());
                    assert!(self.told.insert(key), "told twice: {bead:?}");
                }
                Event::Reading {
                    reading: Some(reading),
                    ..
                } => {
                    let (low, mid, high) = (reading.low, reading.drops_per_minute, reading.high);
                    assert!(
                        0.0 <= low && low <= mid && mid <= high && high.is_finite(),
                        "{reading:?}"
                    );
                    assert!(reading.scatter.is_finite() && reading.scatter >= 0.0);
                }
                Event::Blind {
                    from_secs, to_secs, ..
                }
                | Event::Gap {
                    from_secs, to_secs, ..
                } => assert!(from_secs <= to_secs, "{event:?}"),
                _ => {}
            }
        }
    }

    fn check_standing(&mut self) {
        let feeds = self.instrument.feeds();
        assert_eq!(feeds.len(), self.instrument.calibration().feeds.len());
        assert!(self.instrument.alarms().len() <= 7 * (feeds.len() + 4));
        let standing = self.instrument.standing_events();
        self.check(&standing);
    }
}
