//! A demo in trouble: faults that are drawn and faults of a camera, at random, with what truly
//! happened told to the judge.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use beadtally::base::{BeadKind, Frame};
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{About, CaptureError, Grab, Source};
use rand::seq::IndexedRandom as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::stops::{STOPPED_ANEW_WITHIN_SECS, STOPPED_WITHIN_SECS};

/// Quiet time at the start, seconds.
const FIRST_SECS: f64 = 30.0;
/// Quiet time before a fault, seconds.
const QUIET_SECS: std::ops::Range<f64> = 8.0..40.0;
/// Length of a fault, seconds.
const FAULT_SECS: std::ops::Range<f64> = 3.0..45.0;
/// The fault that outlasts its time: the lens stays as it is then.
const ZOOM: &str = "zoom 1";
/// Faults that a demo draws, in its words: at usual strength, or inside the range that must hold.
const DRAWN: [&str; 21] = [
    "stop",
    "fast 1 2",
    "flood",
    "film",
    "shake 1",
    "shake-rolling 1",
    "flicker",
    "steam 0.3",
    "exposure",
    "passer",
    "passer-behind",
    "frozen",
    "dark",
    "contrast 40",
    "noise 5",
    "knock 4",
    ZOOM,
    "reflection 20",
    "lost",
    "doubled",
    "late",
];
/// Faults of a camera that the runner sees.
const OF_CAMERA: [&str; 5] = ["stall", "gone", "spoiled", "backwards", "no number"];

/// What truly happened, told by the source to the judge.
#[derive(Default)]
pub struct Truth {
    pub beads: VecDeque<(f64, &'static str)>,
    /// The fault under way.
    pub fault: &'static str,
    /// Since when, seconds.
    pub since_secs: f64,
    /// Gas that passed: times, seconds.
    pub gas: Vec<f64>,
    /// The newest faults that are over: name, start, end.
    pub over: VecDeque<(&'static str, f64, f64)>,
    /// Whether the feed stands still, since when.
    pub stopped_secs: Option<f64>,
}

/// A demo in trouble.
pub struct Troubled {
    demo: DemoSource,
    chance: ChaCha8Rng,
    until_secs: f64,
    fault: Option<&'static str>,
    change_secs: f64,
    since_secs: f64,
    told_secs: f64,
    last: Option<Frame>,
    truth: Arc<Mutex<Truth>>,
    /// Scale at first, pixels a millimetre.
    first_px_per_mm: f64,
}

pub fn lock(truth: &Mutex<Truth>) -> std::sync::MutexGuard<'_, Truth> {
    truth.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Picture pixels a millimetre of the first glass, now.
fn scale(demo: &DemoSource) -> f64 {
    demo.glasses().first().map_or(1.0, |glass| glass.px_per_mm)
}

impl Troubled {
    /// Trouble for so long, the same for the same seed.
    pub fn new(demo: DemoSource, seed: u64, until_secs: f64, truth: Arc<Mutex<Truth>>) -> Self {
        lock(&truth).fault = "quiet";
        Self {
            first_px_per_mm: scale(&demo),
            demo,
            chance: ChaCha8Rng::seed_from_u64(seed),
            until_secs,
            fault: None,
            change_secs: FIRST_SECS,
            since_secs: 0.0,
            told_secs: 0.0,
            last: None,
            truth,
        }
    }

    fn turn(&mut self, now_secs: f64) {
        if now_secs < self.change_secs {
            return;
        }
        let words = if let Some(fault) = self.fault.take() {
            self.change_secs = now_secs + self.chance.random_range(QUIET_SECS);
            let mut truth = lock(&self.truth);
            truth.over.push_back((fault, self.since_secs, now_secs));
            drop(truth);
            let name = fault.split(' ').next().unwrap_or(fault);
            DRAWN.contains(&fault).then(|| format!("{name} off"))
        } else {
            let all: Vec<&'static str> = DRAWN.iter().chain(&OF_CAMERA).copied().collect();
            let fault = *all.choose(&mut self.chance).expect("there are some");
            self.fault = Some(fault);
            self.since_secs = now_secs;
            let mut secs = self.chance.random_range(FAULT_SECS);
            if fault == "stop" {
                // Half of them so long that a reading begun anew must tell them, too.
                secs += if self.chance.random_bool(0.5) {
                    STOPPED_WITHIN_SECS
                } else {
                    STOPPED_ANEW_WITHIN_SECS
                };
            }
            self.change_secs = now_secs + secs;
            // The lens stays where it is when the fault is over; in three days it would have zoomed to
            // the double, and whoever draws the outline anew draws it as it was. So it goes back.
            let is_nearer = scale(&self.demo) > self.first_px_per_mm;
            let words = if fault == ZOOM && is_nearer {
                "zoom -1"
            } else {
                fault
            };
            DRAWN.contains(&fault).then(|| words.to_owned())
        };
        if let Some(words) = words {
            self.demo.switch(&words).expect("a fault by its words");
        }
        let mut truth = lock(&self.truth);
        truth.fault = self.fault.unwrap_or("quiet");
        truth.since_secs = now_secs;
    }

    /// The frame as the camera lets it through.
    fn let_through(&mut self, frame: Frame) -> Option<Grab> {
        let at_secs = frame.at_secs;
        let last = self.last.replace(frame.clone());
        let is_third = frame.number.is_multiple_of(3);
        let says = at_secs - self.told_secs >= 0.5;
        if says {
            self.told_secs = at_secs;
        }
        match self.fault {
            Some("stall") => says.then_some(Grab::Nothing { at_secs }),
            Some("gone") => says.then(|| Grab::Lost {
                at_secs,
                why: "The camera was unplugged.".to_owned(),
            }),
            Some("spoiled") if is_third => Some(Grab::Spoiled {
                at_secs,
                why: "the picture is cut".to_owned(),
            }),
            Some("backwards") if is_third => last.map(Grab::Frame),
            Some("no number") if is_third => Some(Grab::Frame(Frame {
                at_secs: f64::NAN,
                ..frame
            })),
            _ => Some(Grab::Frame(frame)),
        }
    }
}

impl Source for Troubled {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        loop {
            let now_secs = self.demo.now_secs();
            if now_secs >= self.until_secs {
                return Ok(Grab::End);
            }
            self.turn(now_secs);
            let grab = self.demo.next()?;
            {
                let mut truth = lock(&self.truth);
                let fault = truth.fault;
                for bead in self.demo.take_beads() {
                    if bead.kind == BeadKind::Oil {
                        truth.beads.push_back((bead.at_secs, fault));
                    } else {
                        truth.gas.push(bead.at_secs);
                    }
                }
                truth.stopped_secs = match (fault, truth.stopped_secs) {
                    ("stop", since) => since.or(Some(now_secs)),
                    _ => None,
                };
            }
            match grab {
                Grab::Frame(frame) => {
                    if let Some(grab) = self.let_through(frame) {
                        return Ok(grab);
                    }
                }
                other => return Ok(other),
            }
        }
    }

    fn about(&self) -> &About {
        self.demo.about()
    }
}
