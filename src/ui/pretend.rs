//! A scripted instrument for tests and pictures of the window: feeds in every state, slanting
//! streaks, histories with limits, alarms. All of it is invented. The program itself never uses
//! it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use image::{GrayImage, Luma};

use crate::base::{BeadKind, BlindWhy, FeedNumber, Frame, GlassKind, Span};
use crate::capture::About;
use crate::glass::{Calibration, FeedCalibration, Outline};
use crate::judge::{Alarm, AlarmState, Cause, FeedState, Step};
use crate::rate::{Reading, hand_check};
use crate::run::hand_check::HandCheckState;
use crate::run::{BeadMark, FeedSnapshot, HistoryPoint, Intent, Notice, RunSnapshot, Snapshot};
use crate::ui::backend::{Backend, CameraChoice, Cameras, Look, Pace};
use crate::ui::library::{Request, Shelf};
use crate::ui::peep::{AllSeen, Seen};
use crate::ui::runs::strips::StripToKeep;
use crate::ui::words;

/// A scene to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scene {
    /// Nothing is watched.
    Empty,
    /// Three feeds, all well, one bead just counted, a run under way.
    Well,
    /// Three feeds: one stopped, one that cannot be seen, one far high; alarms.
    Trouble,
    /// So many feeds, going through all states.
    Many(usize),
    /// A clip that is over.
    Over,
}

/// The scripted instrument.
pub struct Pretend {
    inner: Arc<Mutex<Inner>>,
}

struct Inner {
    snapshot: Arc<Snapshot>,
    sent: Vec<Intent>,
    opened: Vec<String>,
    saved: Vec<(String, Calibration)>,
    papers: Vec<(String, String)>,
    shelf: Arc<Shelf>,
    requests: Vec<Request>,
    pace: Pace,
    strips: Vec<StripToKeep>,
}

/// Identity of the invented camera.
const CAMERA: &str = "invented-1";
/// Size of the invented pictures, pixels.
const SIZE: (u32, u32) = (640, 400);

impl Pretend {
    /// An instrument that shows a scene.
    #[must_use]
    pub fn new(scene: Scene) -> Self {
        Self {
            inner: Arc::new(Mutex::new(Inner {
                snapshot: Arc::new(scene_of(scene)),
                sent: Vec::new(),
                opened: Vec::new(),
                saved: Vec::new(),
                papers: Vec::new(),
                shelf: Arc::default(),
                requests: Vec::new(),
                pace: Pace::default(),
                strips: Vec::new(),
            })),
        }
    }

    /// Another handle on the same instrument, to look behind the window.
    #[must_use]
    pub fn twin(&self) -> Self {
        Self {
            inner: self.inner.clone(),
        }
    }

    /// What was sent so far.
    #[must_use]
    pub fn sent(&self) -> Vec<Intent> {
        self.lock().sent.clone()
    }

    /// The sources asked for so far.
    #[must_use]
    pub fn opened(&self) -> Vec<String> {
        self.lock().opened.clone()
    }

    /// The calibrations saved so far.
    #[must_use]
    pub fn saved(&self) -> Vec<(String, Calibration)> {
        self.lock().saved.clone()
    }

    /// What was asked of the logbook so far.
    #[must_use]
    pub fn requests(&self) -> Vec<Request> {
        self.lock().requests.clone()
    }

    /// How often the window wants to be told of changes.
    #[must_use]
    pub fn paced(&self) -> Pace {
        self.lock().pace
    }

    /// The strips kept so far.
    #[must_use]
    pub fn strips(&self) -> Vec<StripToKeep> {
        self.lock().strips.clone()
    }

    /// Puts something on the shelf.
    pub fn put_on_shelf(&self, shelf: Shelf) {
        self.lock().shelf = Arc::new(shelf);
    }

    /// The papers kept so far: name and page.
    #[must_use]
    pub fn papers(&self) -> Vec<(String, String)> {
        self.lock().papers.clone()
    }

    /// Changes the snapshot.
    pub fn change(&self, change: impl FnOnce(&mut Snapshot)) {
        let mut inner = self.lock();
        let mut next = (*inner.snapshot).clone();
        next.number += 1;
        change(&mut next);
        inner.snapshot = Arc::new(next);
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Backend for Pretend {
    fn snapshot(&self) -> Arc<Snapshot> {
        self.lock().snapshot.clone()
    }

    fn look(&self) -> Look {
        let twin = self.twin();
        Arc::new(move || twin.snapshot())
    }

    fn pace(&self, pace: Pace) {
        self.lock().pace = pace;
    }

    fn keep_strip(&self, strip: StripToKeep) {
        self.lock().strips.push(strip);
    }

    fn send(&self, intent: Intent) {
        self.lock().sent.push(intent.clone());
        match intent {
            Intent::AcknowledgeAll => self.change(|snapshot| {
                for alarm in &mut snapshot.alarms {
                    acknowledge(alarm);
                }
                snapshot.alarms.retain(|a| a.state != AlarmState::Normal);
            }),
            Intent::Acknowledge { feed, cause } => self.change(|snapshot| {
                for alarm in &mut snapshot.alarms {
                    if alarm.feed == feed && alarm.cause == cause {
                        acknowledge(alarm);
                    }
                }
                snapshot.alarms.retain(|a| a.state != AlarmState::Normal);
            }),
            Intent::StartHandCheck { feed } => self.change(|snapshot| {
                snapshot.hand_check = Some(Arc::new(check_of(feed, snapshot.now_secs)));
            }),
            Intent::Tap => self.change(|snapshot| {
                let now_secs = snapshot.now_secs;
                if let Some(check) = &mut snapshot.hand_check {
                    let check = Arc::make_mut(check);
                    check.taps += 1;
                    check.last_tap_secs = Some(now_secs);
                }
            }),
            Intent::EndHandCheck => self.change(|snapshot| {
                let now_secs = snapshot.now_secs;
                if let Some(check) = &mut snapshot.hand_check {
                    Arc::make_mut(check).ended_secs = Some(now_secs);
                }
            }),
            Intent::Calibrate(calibration) => self.change(|snapshot| {
                snapshot.calibration = Some(calibration);
            }),
            Intent::StartRun { .. } => self.change(|snapshot| {
                snapshot.run = Some(RunSnapshot {
                    id: 8,
                    from_secs: snapshot.now_secs,
                    drops: 0,
                    until_secs: None,
                });
            }),
            Intent::EndRunAfter { secs } => self.change(|snapshot| {
                if let Some(run) = &mut snapshot.run {
                    run.until_secs = Some(run.from_secs + secs);
                }
            }),
            Intent::EndRun => self.change(|snapshot| snapshot.run = None),
            _ => {}
        }
    }

    fn open_source(&mut self, words: &str) -> Result<(), String> {
        self.lock().opened.push(words.to_owned());
        if words.contains("missing") {
            return Err(format!("{words}: no such file; check the path"));
        }
        Ok(())
    }

    fn look_for_cameras(&self) {}

    fn peep(&self) {}

    fn look_away(&self) {}

    fn peeps(&self) -> AllSeen {
        let small = GrayImage::from_fn(64, 48, |x, y| Luma([(x * 3 + y) as u8]));
        let seen = Seen {
            picture: Some(Arc::new(small)),
            number: 1,
            why_not: None,
        };
        let camera = words::camera_source(CAMERA);
        [("demo".to_owned(), seen.clone()), (camera, seen)].into()
    }

    fn cameras(&self) -> Cameras {
        Cameras::Found(vec![CameraChoice {
            name: "invented camera".to_owned(),
            identity: CAMERA.to_owned(),
        }])
    }

    fn faults(&self) -> Vec<String> {
        vec!["stop 1".to_owned(), "flood 2".to_owned()]
    }

    fn shelf(&self) -> Arc<Shelf> {
        self.lock().shelf.clone()
    }

    fn ask(&self, request: Request) {
        self.lock().requests.push(request);
    }

    fn keep_paper(&self, name: &str, page: &str) -> Result<String, String> {
        self.lock().papers.push((name.to_owned(), page.to_owned()));
        Ok(format!("/invented/{name}"))
    }

    fn load_calibration(&self, path: &str) -> Result<Calibration, String> {
        if path.contains("missing") {
            return Err(format!("{path}: no such file; check the path"));
        }
        Ok(calibration_of(2))
    }

    fn save_calibration(&self, path: &str, calibration: &Calibration) -> Result<(), String> {
        let saved = (path.to_owned(), calibration.clone());
        self.lock().saved.push(saved);
        Ok(())
    }
}

fn acknowledge(alarm: &mut Alarm) {
    alarm.state = match alarm.state {
        AlarmState::Unacknowledged => AlarmState::Acknowledged,
        AlarmState::ReturnedUnacknowledged => AlarmState::Normal,
        other => other,
    };
}

fn calibration_of(feeds: usize) -> Calibration {
    let names = ["left cylinder", "steam chest", "right cylinder"];
    Calibration {
        picture_width_px: SIZE.0,
        picture_height_px: SIZE.1,
        camera_identity: None,
        oil: crate::glass::OilData::default(),
        feeds: (0..feeds)
            .map(|i| {
                let step = f64::from(SIZE.0) / feeds as f64;
                let width = (step * 0.45).min(72.0);
                let outline = Outline::upright(
                    GlassKind::Tube,
                    step * (i as f64 + 0.5) - width / 2.0,
                    90.0,
                    width,
                    240.0,
                );
                let mut feed = FeedCalibration::new(outline);
                names
                    .get(i)
                    .copied()
                    .unwrap_or_default()
                    .clone_into(&mut feed.name);
                feed.px_per_mm = Some(4.0);
                feed
            })
            .collect(),
    }
}

/// A picture with its glasses and beads.
fn picture(calibration: &Calibration, beads: &[Vec<BeadMark>]) -> GrayImage {
    let mut picture = GrayImage::from_fn(SIZE.0, SIZE.1, |x, y| {
        let lamp = 120.0 - 0.16 * (f64::from(x) - 380.0).abs() - 0.1 * f64::from(y);
        let grain = (x.wrapping_mul(73) ^ y.wrapping_mul(151)) % 7;
        Luma([(lamp + f64::from(grain)).clamp(20.0, 255.0) as u8])
    });
    for (feed, beads) in calibration.feeds.iter().zip(beads) {
        let upright = feed.outline.upright_box();
        for y in upright.y as u32..(upright.y + upright.height) as u32 {
            for x in upright.x as u32..(upright.x + upright.width) as u32 {
                let (across, _) = feed.outline.glass_from_picture(f64::from(x), f64::from(y));
                let u = 2.0 * across / feed.outline.width_px;
                let mut grey = 205.0 - 150.0 * u.powi(6);
                for bead in beads {
                    let dx = (f64::from(x) - bead.x_px) / (bead.radius_px * 1.25);
                    let dy = (f64::from(y) - bead.y_px) / bead.radius_px;
                    let r = dx.hypot(dy);
                    if r < 1.0 {
                        grey = if bead.kind == BeadKind::Oil {
                            70.0 + 60.0 * (1.0 - r)
                        } else {
                            230.0 - 200.0 * r.powi(3)
                        };
                    }
                }
                picture.put_pixel(x, y, Luma([grey.clamp(0.0, 255.0) as u8]));
            }
        }
    }
    picture
}

/// A strip with a slanting streak every `every` columns.
fn strip(every: u32, blind: Option<&std::ops::Range<u32>>) -> GrayImage {
    GrayImage::from_fn(400, 120, |x, y| {
        if blind.is_some_and(|blind| blind.contains(&x)) {
            return Luma([28]);
        }
        let phase = (x + 37) % every.max(1);
        // The streak starts at the foot and rises 3 rows a column.
        let bead_y = 120.0 - 3.0 * f64::from(phase);
        let off = (f64::from(y) - bead_y).abs();
        let grain = f64::from((x.wrapping_mul(31) ^ y.wrapping_mul(17)) % 9);
        let grey = 92.0 + grain + 140.0 * (-off * off / 18.0).exp();
        Luma([grey.min(255.0) as u8])
    })
}

fn history(now_secs: f64, rate: f64, blind: Option<&std::ops::Range<usize>>) -> Vec<HistoryPoint> {
    (0..=90)
        .map(|i| {
            let at_secs = now_secs - 900.0 + f64::from(i) * 10.0;
            let sway = 0.12 * rate * (f64::from(i) * 0.35).sin();
            let half = rate * (0.55 / (1.0 + f64::from(i) * 0.12) + 0.07);
            let known = i >= 6 && !blind.is_some_and(|blind| blind.contains(&(i as usize)));
            HistoryPoint {
                at_secs,
                rate: known.then_some((
                    rate + sway,
                    (rate + sway - half).max(0.0),
                    rate + sway + half,
                )),
            }
        })
        .collect()
}

fn reading(rate: f64, drops: usize) -> Reading {
    Reading {
        drops_per_minute: rate,
        low: rate * 0.91,
        high: rate * 1.1,
        scatter: 0.15,
        drops,
    }
}

/// A hand check that has just begun.
fn check_of(feed: Option<FeedNumber>, from_secs: f64) -> HandCheckState {
    let watched = Span {
        from_secs,
        to_secs: from_secs,
    };
    HandCheckState {
        feed,
        from_secs,
        ended_secs: None,
        taps: 0,
        last_tap_secs: None,
        result: hand_check(&[], &[], watched, &[]),
        is_settled: false,
    }
}

/// Source time of all scenes, seconds.
const NOW_SECS: f64 = 1234.5;

fn feed_of(i: usize, state: FeedState, calibration: &FeedCalibration) -> FeedSnapshot {
    let rate = match state {
        FeedState::Low => 1.4,
        FeedState::High => 3.9,
        FeedState::FarHigh => 8.4,
        FeedState::Stopped => 0.4,
        _ => 2.5 + 0.1 * i as f64,
    };
    let has_reading = !matches!(state, FeedState::NoReadingYet | FeedState::CannotSee);
    let outline = calibration.outline;
    let bead = |up: f64, kind: BeadKind, settled: bool| {
        let (x_px, y_px) = outline.picture_from_glass(0.0, -up * outline.height_px);
        BeadMark {
            x_px,
            y_px,
            radius_px: 11.0,
            kind,
            settled,
        }
    };
    let beads = match state {
        FeedState::InBand if i == 0 => vec![bead(0.12, BeadKind::Oil, true)],
        FeedState::InBand if i == 1 => vec![
            bead(0.3, BeadKind::Oil, true),
            bead(-0.28, BeadKind::Oil, false),
        ],
        FeedState::InBand => vec![bead(0.0, BeadKind::Gas, true)],
        FeedState::FarHigh => vec![
            bead(0.36, BeadKind::Oil, true),
            bead(0.1, BeadKind::Oil, true),
            bead(-0.25, BeadKind::Oil, false),
        ],
        _ => Vec::new(),
    };
    let blind = (state == FeedState::CannotSee).then_some(BlindWhy::Covered);
    let every = (6000.0 / (rate * 24.0)) as u32;
    FeedSnapshot {
        feed: FeedNumber::from_index(i),
        calibration: calibration.clone(),
        outline_now: outline,
        reading: has_reading.then(|| reading(rate, 37)),
        state,
        blind,
        doubts: if state == FeedState::High {
            vec!["the picture shakes".to_owned()]
        } else {
            Vec::new()
        },
        drops: 37 + i as u64,
        bubbles: if i == 2 { 4 } else { 0 },
        last_drop_secs: match state {
            FeedState::NoReadingYet => None,
            FeedState::Stopped => Some(NOW_SECS - 134.0),
            _ => Some(NOW_SECS - 12.0 + 3.0 * i as f64),
        },
        beads,
        history: Arc::new(history(
            NOW_SECS,
            rate,
            Some(&if blind.is_some() { 70..91 } else { 40..46 }),
        )),
        strip: Arc::new(strip(every.max(20), blind.map(|_| &(250..400)))),
        shake_px: 0.05,
        residual_levels: 0.8,
        as_found: None,
        oil: None,
        growth: None,
    }
}

fn scene_of(scene: Scene) -> Snapshot {
    const ROUND: [FeedState; 7] = [
        FeedState::InBand,
        FeedState::High,
        FeedState::Stopped,
        FeedState::CannotSee,
        FeedState::Low,
        FeedState::FarHigh,
        FeedState::NoReadingYet,
    ];
    let states: Vec<FeedState> = match scene {
        Scene::Empty => {
            return Snapshot {
                notice: Some(Notice {
                    is_error: false,
                    words: "Nothing is watched.".to_owned(),
                }),
                ..Snapshot::default()
            };
        }
        Scene::Well | Scene::Over => vec![FeedState::InBand; 3],
        Scene::Trouble => vec![FeedState::Stopped, FeedState::CannotSee, FeedState::FarHigh],
        Scene::Many(feeds) => ROUND.iter().copied().cycle().take(feeds).collect(),
    };
    let calibration = calibration_of(states.len());
    let feeds: Vec<FeedSnapshot> = states
        .iter()
        .zip(&calibration.feeds)
        .enumerate()
        .map(|(i, (state, feed))| feed_of(i, *state, feed))
        .collect();
    let beads: Vec<_> = feeds.iter().map(|feed| feed.beads.clone()).collect();
    let luma = picture(&calibration, &beads);
    let alarm = |feed: u16, cause, state, ago: f64| Alarm {
        feed: Some(FeedNumber(feed)),
        cause,
        state,
        since_secs: NOW_SECS - ago,
        step: Step::default(),
    };
    let alarms = match scene {
        Scene::Trouble => vec![
            alarm(1, Cause::Stopped, AlarmState::Unacknowledged, 74.0),
            alarm(3, Cause::FarHigh, AlarmState::Acknowledged, 31.0),
            alarm(2, Cause::CannotSee, AlarmState::Unacknowledged, 9.0),
            alarm(2, Cause::Low, AlarmState::ReturnedUnacknowledged, 300.0),
        ],
        Scene::Many(_) => vec![alarm(3, Cause::Stopped, AlarmState::Unacknowledged, 74.0)],
        _ => Vec::new(),
    };
    Snapshot {
        number: 1,
        about: Some(About {
            name: "invented lubricator".to_owned(),
            identity: String::new(),
            width: SIZE.0,
            height: SIZE.1,
            frames_per_second: Some(25.0),
            frames: None,
            live: scene != Scene::Over,
        }),
        now_secs: NOW_SECS,
        frame: Some(Frame::new(30862, NOW_SECS, luma)),
        frame_age_secs: 0.1,
        frames_per_second: 25.0,
        feeds,
        alarms,
        hand_check: None,
        oil: crate::run::oil::OilState::default(),
        run: (scene == Scene::Well).then_some(RunSnapshot {
            id: 7,
            from_secs: NOW_SECS - 734.0,
            drops: 93,
            until_secs: None,
        }),
        notice: None,
        calibration: Some(Arc::new(calibration)),
        ended: scene == Scene::Over,
        heartbeats: vec![("capture", 0.1), ("measure", 0.1), ("log", 0.4)],
    }
}
