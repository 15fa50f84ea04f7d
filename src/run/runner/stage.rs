//! A stage for tests of the runner: a scripted source, a clock turned by hand, and the means to
//! wait for the runner's own signs.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;

use image::{GrayImage, Luma};

use super::{Runner, RunnerSettings};
use crate::base::{Clock, Frame, GlassKind, ManualClock};
use crate::capture::{About, CaptureError, Grab, Source};
use crate::glass::{Calibration, FeedCalibration, Outline};
use crate::run::Snapshot;

/// What a scripted source does next.
pub(super) enum Act {
    Bring(Grab),
    /// Waits until the test says go (or is over).
    Wait,
    Panic,
    Fail,
}

pub(super) struct Script {
    about: About,
    acts: std::vec::IntoIter<Act>,
    reached: SyncSender<()>,
    go: Receiver<()>,
    clock: ManualClock,
}

impl Source for Script {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        loop {
            match self.acts.next() {
                Some(Act::Bring(grab)) => {
                    self.clock.advance(STEP_SECS);
                    return Ok(grab);
                }
                Some(Act::Wait) => {
                    let _ = self.reached.try_send(());
                    let _ = self.go.recv();
                }
                Some(Act::Panic) => panic!("a scripted surprise"),
                Some(Act::Fail) => {
                    return Err(CaptureError::Damaged("The clip is cut.".to_owned()));
                }
                None => return Ok(Grab::End),
            }
        }
    }

    fn about(&self) -> &About {
        &self.about
    }
}

/// Time between two scripted pictures, seconds. A script brings them all at once, so a camera's
/// script between two waits must be shorter than the queue.
pub(super) const STEP_SECS: f64 = 0.1;

pub(super) fn picture(number: u64) -> Act {
    let luma = GrayImage::from_pixel(160, 120, Luma([120]));
    Act::Bring(Grab::Frame(Frame::new(
        number,
        number as f64 * STEP_SECS,
        luma,
    )))
}

pub(super) fn calibration() -> Calibration {
    Calibration {
        picture_width_px: 160,
        picture_height_px: 120,
        camera_identity: None,
        oil: crate::glass::OilData::default(),
        feeds: vec![FeedCalibration::new(Outline::upright(
            GlassKind::Tube,
            50.0,
            20.0,
            30.0,
            80.0,
        ))],
    }
}

/// A runner on a script, with the means to wait for it.
pub(super) struct Stage {
    pub(super) runner: Runner,
    pub(super) clock: ManualClock,
    pub(super) go: SyncSender<()>,
    /// Tells that the script has come to a wait.
    pub(super) reached: Receiver<()>,
    pub(super) changes: Receiver<()>,
}

#[derive(Clone, Copy)]
pub(super) enum Kind {
    Camera,
    Clip,
}

pub(super) fn stage(kind: Kind, acts: Vec<Act>, set: impl FnOnce(&mut RunnerSettings)) -> Stage {
    let clock = ManualClock::new(1_000_000.0);
    let (go, going) = sync_channel(8);
    let (reaching, reached) = sync_channel(8);
    let (changed, changes) = sync_channel(1);
    let script = Script {
        about: About {
            name: "script".to_owned(),
            identity: "script-1".to_owned(),
            width: 160,
            height: 120,
            frames_per_second: None,
            frames: None,
            live: matches!(kind, Kind::Camera),
        },
        acts: acts.into_iter(),
        reached: reaching,
        go: going,
        clock: clock.clone(),
    };
    let mut settings = RunnerSettings::new(Box::new(script));
    settings.calibration = Some(calibration());
    set(&mut settings);
    let also = settings.on_change.take();
    settings.on_change = Some(Box::new(move || {
        let _ = changed.try_send(());
        if let Some(also) = &also {
            also();
        }
    }));
    let runner = Runner::start(settings, Arc::new(clock.clone())).unwrap();
    Stage {
        runner,
        clock,
        go,
        reached,
        changes,
    }
}

impl Stage {
    /// Lets time go by, slowly enough for every thread to give its sign of life.
    pub(super) fn pass(&self, secs: f64) {
        let until_secs = self.clock.monotonic_secs() + secs;
        while self.clock.monotonic_secs() < until_secs {
            self.clock.advance(0.2);
            let _ = self.changes.recv_timeout(Duration::from_millis(150));
        }
    }

    /// Waits until a snapshot is as wanted; gives up after many changes or a long silence. While
    /// nothing changes the clock goes on a little, as it would.
    pub(super) fn wait_for(&self, wanted: impl Fn(&Snapshot) -> bool) -> Arc<Snapshot> {
        for _ in 0..400 {
            let snapshot = self.runner.snapshot();
            if wanted(&snapshot) {
                return snapshot;
            }
            if self
                .changes
                .recv_timeout(Duration::from_millis(50))
                .is_err()
            {
                self.clock.advance(0.05);
            }
        }
        let snapshot = self.runner.snapshot();
        panic!(
            "never came: {} {} {:?} {:?} {:?}",
            snapshot.number,
            snapshot.now_secs,
            snapshot.notice,
            snapshot.heartbeats,
            snapshot
                .feeds
                .iter()
                .map(|feed| feed.state)
                .collect::<Vec<_>>()
        );
    }
}

/// A source that ends early.
pub(super) struct Until {
    pub(super) inner: Box<dyn Source>,
    pub(super) until_secs: f64,
}

impl Source for Until {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let grab = self.inner.next()?;
        Ok(match grab {
            Grab::Frame(frame) if frame.at_secs > self.until_secs => Grab::End,
            grab => grab,
        })
    }

    fn about(&self) -> &About {
        self.inner.about()
    }
}
