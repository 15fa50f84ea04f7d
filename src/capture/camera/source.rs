//! A camera as a source of frames: unpacks pictures, keeps number and time rising, tells spoiled
//! pictures and stalls, and after a loss keeps trying to come back to the same camera. It knows no
//! operating system; see [`super::device`].

use std::sync::Arc;

use crate::base::{Clock, Frame};
use crate::capture::{About, CaptureError, Grab, Source, Wanted};

use super::device::{Device, Event, Open};
use super::mode::Mode;
use super::numbering::Numbering;
use super::timeline::Timeline;
use super::unpack::Unpacker;

/// Time between two tries to open a lost camera, seconds: soon enough for a person who has just put
/// the plug back, rare enough to cost nothing for days.
const RETRY_SECS: f64 = 1.0;

/// Longest wait in one call while a camera is lost, seconds.
const PATIENCE_SECS: f64 = 0.45;

/// A camera that is there but brings no picture for so long, seconds, is opened anew: some need
/// that after a disturbance on the cable.
const REOPEN_AFTER_SECS: f64 = 10.0;

/// Shorter sleep than this is none, seconds: the two clocks it is told by waver against each other.
const LEAST_SLEEP_SECS: f64 = 0.3;

/// Frames a second of a camera that does not tell.
const USUAL_PER_SECOND: f64 = 30.0;

/// A camera.
pub(super) struct CameraSource {
    opener: Box<dyn Open>,
    clock: Arc<dyn Clock>,
    state: State,
    time: Timeline,
    /// How long the computer had slept at the last look, seconds.
    asleep_secs: f64,
    numbering: Numbering,
    about: About,
    mode: Mode,
    unpacker: Unpacker,
}

enum State {
    Running {
        device: Box<dyn Device>,
        /// Clock time of the last picture, or of opening.
        fed_secs: f64,
    },
    Lost {
        /// Clock time of the next try.
        retry_secs: f64,
        /// The sentence that is told until it is back.
        why: String,
    },
}

impl CameraSource {
    /// Opens the camera for the first time.
    pub(super) fn open(
        name: String,
        identity: String,
        mut opener: Box<dyn Open>,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, CaptureError> {
        let device = opener.open(None).map_err(CaptureError::Camera)?;
        let mode = device.mode();
        Ok(Self {
            about: About {
                name,
                identity,
                width: mode.width,
                height: mode.height,
                frames_per_second: mode.frames_per_second,
                frames: None,
                live: true,
            },
            state: State::Running {
                device,
                fed_secs: clock.monotonic_secs(),
            },
            opener,
            asleep_secs: clock.asleep_secs(),
            clock,
            time: Timeline::default(),
            numbering: Numbering::default(),
            mode,
            unpacker: Unpacker::default(),
        })
    }

    fn lose(&mut self, why: &str, retry_secs: f64) -> Grab {
        tracing::warn!("the camera {} is lost: {why}", self.about.name);
        // Closes it.
        self.state = State::Lost {
            retry_secs,
            why: why.to_owned(),
        };
        Grab::Lost {
            at_secs: self.time.now_secs(self.clock.monotonic_secs()),
            why: why.to_owned(),
        }
    }

    /// One try to come back, when it is time for one.
    fn come_back(&mut self, retry_secs: f64, why: String) -> Grab {
        take_sleep(&mut self.time, &mut self.asleep_secs, self.clock.as_ref());
        let now_secs = self.clock.monotonic_secs();
        if now_secs < retry_secs {
            self.clock
                .wait_secs((retry_secs - now_secs).min(PATIENCE_SECS));
            let now_secs = self.clock.monotonic_secs();
            if now_secs < retry_secs {
                return Grab::Lost {
                    at_secs: self.time.now_secs(now_secs),
                    why,
                };
            }
        }
        let opened = self.opener.open(Some(self.mode));
        let now_secs = self.clock.monotonic_secs();
        let at_secs = self.time.now_secs(now_secs);
        match opened {
            Err(why) => {
                self.state = State::Lost {
                    retry_secs: now_secs + RETRY_SECS,
                    why: why.clone(),
                };
                Grab::Lost { at_secs, why }
            }
            Ok(device) if !same_size(device.mode(), self.mode) => {
                // Outlines, and what was learned of the picture, are of no use for it; and the size
                // may come back as it went. Closed again, it can be set back.
                let (old, new) = (self.mode, device.mode());
                let why = format!(
                    "The camera is back, but its pictures are {} × {} pixels now instead of {} × \
                     {}. Set it back, and close what else uses it; or start this program again to \
                     use them as they are.",
                    new.width, new.height, old.width, old.height
                );
                self.state = State::Lost {
                    retry_secs: now_secs + RETRY_SECS,
                    why: why.clone(),
                };
                Grab::Lost { at_secs, why }
            }
            Ok(device) => {
                self.mode = device.mode();
                self.state = State::Running {
                    device,
                    fed_secs: now_secs,
                };
                // The count of a newly opened camera starts anew.
                self.numbering.begin_anew();
                self.about.frames_per_second = self.mode.frames_per_second;
                tracing::info!("the camera {} is back", self.about.name);
                Grab::Nothing { at_secs }
            }
        }
    }
}

/// Takes a sleep of the computer into source time.
fn take_sleep(time: &mut Timeline, before_secs: &mut f64, clock: &dyn Clock) {
    let asleep_secs = clock.asleep_secs();
    let slept_secs = asleep_secs - *before_secs;
    if slept_secs > LEAST_SLEEP_SECS {
        *before_secs = asleep_secs;
        time.slept(slept_secs, clock.monotonic_secs());
        tracing::info!("the computer slept for {slept_secs:.1} s");
    }
}

fn same_size(a: Mode, b: Mode) -> bool {
    (a.width, a.height) == (b.width, b.height)
}

impl Source for CameraSource {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let (device, fed_secs) = match &mut self.state {
            State::Lost { retry_secs, why } => {
                let (retry_secs, why) = (*retry_secs, why.clone());
                return Ok(self.come_back(retry_secs, why));
            }
            State::Running { device, fed_secs } => (device, fed_secs),
        };
        let stride = device.stride();
        let event = device.grab();
        // It mostly falls asleep, and wakes, in that wait.
        take_sleep(&mut self.time, &mut self.asleep_secs, self.clock.as_ref());
        let now_secs = self.clock.monotonic_secs();
        let packed = match event {
            Event::Picture(packed) => packed,
            Event::Stall if now_secs - *fed_secs < REOPEN_AFTER_SECS => {
                return Ok(Grab::Nothing {
                    at_secs: self.time.now_secs(now_secs),
                });
            }
            Event::Stall => {
                let why = "The camera brings no pictures any more; it is opened anew.";
                return Ok(self.lose(why, now_secs));
            }
            Event::Gone(why) => return Ok(self.lose(&why, now_secs)),
        };
        *fed_secs = now_secs;
        let sequence = packed.sequence;
        let received_secs = packed.received_secs.unwrap_or(now_secs);
        let at_secs = self.time.frame_secs(packed.stamp_secs, received_secs);
        let luma = if packed.is_bad {
            Err("the camera's driver marked the picture as damaged".to_owned())
        } else {
            self.unpacker
                .unpack(self.mode, packed.bytes, stride, at_secs)
        };
        let rate = self.about.frames_per_second.unwrap_or(USUAL_PER_SECOND);
        let number = self.numbering.number(sequence, at_secs, rate);
        Ok(match luma {
            Ok((luma, extent)) => Grab::Frame(Frame::shared(number, at_secs, luma, extent)),
            Err(why) => Grab::Spoiled { at_secs, why },
        })
    }

    fn about(&self) -> &About {
        &self.about
    }

    fn want(&mut self, wanted: &Wanted) {
        self.unpacker.want(wanted);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ManualClock;
    use crate::capture::pixel::PixelFormat;
    use std::collections::VecDeque;
    use std::sync::Mutex;

    /// What the pretend camera does next.
    #[derive(Clone, Debug)]
    enum Act {
        /// A good picture of this grey, with this stamp and sequence.
        Picture(u8, f64, u32),
        /// The same, marked bad by the driver.
        Bad(f64, u32),
        /// A picture with this many bytes too few.
        Short(f64, u32),
        Stall,
        Unplug,
        /// Opening fails with these words.
        Refuse(&'static str),
        /// Opening succeeds with this size.
        Open(u32, u32),
    }

    const FRAME_SECS: f64 = 0.04;

    #[derive(Clone)]
    struct Pretend {
        acts: Arc<Mutex<VecDeque<Act>>>,
        clock: ManualClock,
        opened: Arc<Mutex<Vec<Option<Mode>>>>,
    }

    struct PretendDevice {
        script: Pretend,
        mode: Mode,
        buffer: Vec<u8>,
    }

    impl Open for Pretend {
        fn open(&mut self, preferred: Option<Mode>) -> Result<Box<dyn Device>, String> {
            self.opened.lock().unwrap().push(preferred);
            match self.acts.lock().unwrap().pop_front() {
                Some(Act::Open(width, height)) => Ok(Box::new(PretendDevice {
                    script: self.clone(),
                    mode: Mode {
                        format: PixelFormat::Grey,
                        width,
                        height,
                        frames_per_second: Some(25.0),
                    },
                    buffer: Vec::new(),
                })),
                Some(Act::Refuse(words)) => Err(words.to_owned()),
                other => panic!("opened while the script says {other:?}"),
            }
        }
    }

    impl Device for PretendDevice {
        fn mode(&self) -> Mode {
            self.mode
        }

        fn grab(&mut self) -> Event<'_> {
            let act = self.script.acts.lock().unwrap().pop_front();
            let bytes = (self.mode.width * self.mode.height) as usize;
            let mut picture = |grey: u8, missing: usize| {
                self.script.clock.advance(FRAME_SECS);
                self.buffer = vec![grey; bytes - missing];
            };
            let (stamp, sequence, is_bad) = match act {
                Some(Act::Picture(grey, stamp, sequence)) => {
                    picture(grey, 0);
                    (stamp, sequence, false)
                }
                Some(Act::Bad(stamp, sequence)) => {
                    picture(0, 0);
                    (stamp, sequence, true)
                }
                Some(Act::Short(stamp, sequence)) => {
                    picture(0, 3);
                    (stamp, sequence, false)
                }
                Some(Act::Stall) => {
                    self.script.clock.advance(0.5);
                    return Event::Stall;
                }
                Some(Act::Unplug) => return Event::Gone("unplugged".to_owned()),
                other => panic!("asked for a picture while the script says {other:?}"),
            };
            Event::Picture(Packed {
                bytes: &self.buffer,
                stamp_secs: Some(stamp),
                received_secs: None,
                sequence: Some(sequence),
                is_bad,
            })
        }
    }

    use super::super::device::Packed;

    fn start(acts: &[Act]) -> (CameraSource, Pretend) {
        let script = Pretend {
            acts: Arc::new(Mutex::new(acts.iter().cloned().collect())),
            clock: ManualClock::new(0.0),
            opened: Arc::default(),
        };
        let source = CameraSource::open(
            "pretend".to_owned(),
            "id".to_owned(),
            Box::new(script.clone()),
            Arc::new(script.clock.clone()),
        )
        .unwrap();
        (source, script)
    }

    fn frame(source: &mut CameraSource) -> Frame {
        match source.next().unwrap() {
            Grab::Frame(frame) => frame,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn frames_carry_driver_stamps_and_holes_show_in_their_numbers() {
        let (mut source, _) = start(&[
            Act::Open(8, 6),
            Act::Picture(10, 500.00, 7),
            Act::Picture(20, 500.04, 8),
            Act::Picture(30, 500.16, 11),
            Act::Picture(40, 500.20, 0), // the count began anew
        ]);
        assert!(source.about().live);
        assert_eq!((source.about().width, source.about().height), (8, 6));
        let seen: Vec<_> = (0..4)
            .map(|_| {
                let f = frame(&mut source);
                (
                    f.number,
                    f.luma.get_pixel(7, 5).0[0],
                    (f.at_secs * 100.0).round(),
                )
            })
            .collect();
        assert_eq!(
            seen,
            [(0, 10, 0.0), (1, 20, 4.0), (4, 30, 16.0), (5, 40, 20.0)]
        );
    }

    #[test]
    fn spoiled_pictures_are_told_and_take_a_number() {
        let (mut source, _) = start(&[
            Act::Open(8, 6),
            Act::Picture(10, 500.00, 0),
            Act::Bad(500.04, 1),
            Act::Short(500.08, 2),
            Act::Picture(10, 500.12, 3),
        ]);
        frame(&mut source);
        for (at, word) in [(0.04, "driver"), (0.08, "cut")] {
            match source.next().unwrap() {
                Grab::Spoiled { at_secs, why } => {
                    assert!((at_secs - at).abs() < 1e-6);
                    assert!(why.contains(word), "{why}");
                }
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(frame(&mut source).number, 3);
    }

    #[test]
    fn a_stall_is_told_with_rising_time_and_does_not_end_the_camera() {
        let (mut source, _) = start(&[
            Act::Open(8, 6),
            Act::Picture(10, 500.00, 0),
            Act::Stall,
            Act::Stall,
            Act::Picture(10, 501.04, 1),
        ]);
        frame(&mut source);
        for expected in [0.5, 1.0] {
            match source.next().unwrap() {
                Grab::Nothing { at_secs } => assert!((at_secs - expected).abs() < 1e-9),
                other => panic!("{other:?}"),
            }
        }
        let after = frame(&mut source);
        assert_eq!(after.number, 1);
        assert!((after.at_secs - 1.04).abs() < 1e-9);
    }

    #[test]
    fn after_an_unplug_the_same_camera_is_tried_once_a_second_and_time_goes_on() {
        let (mut source, script) = start(&[
            Act::Open(8, 6),
            Act::Picture(10, 500.00, 0),
            Act::Unplug,
            Act::Refuse("not there"),
            Act::Refuse("not there"),
            Act::Open(8, 6),
            Act::Picture(20, 502.10, 0),
        ]);
        frame(&mut source);
        let mut last_secs = 0.0;
        let mut told = Vec::new();
        let after = loop {
            let before_secs = script.clock.monotonic_secs();
            let grab = source.next().unwrap();
            assert!(
                script.clock.monotonic_secs() - before_secs < 1.0,
                "no call takes a second"
            );
            match grab {
                Grab::Lost { at_secs, why } => {
                    assert!(at_secs >= last_secs);
                    last_secs = at_secs;
                    told.push(why);
                }
                Grab::Nothing { at_secs } => last_secs = at_secs,
                Grab::Frame(frame) => break frame,
                other => panic!("{other:?}"),
            }
        };
        // The newest reason is told until it is back.
        assert_eq!(told[0], "unplugged");
        assert!(told.len() > 4 && told[1..].iter().all(|why| why == "not there"));
        assert_eq!(after.number, 1);
        assert!(after.at_secs > last_secs);
        assert!((after.at_secs - 2.10).abs() < 1e-6, "{}", after.at_secs);
        // The first try at once, the others a second apart; the old mode is asked for.
        let opened = script.opened.lock().unwrap();
        assert_eq!(opened.len(), 4);
        assert!(opened[0].is_none() && opened[1..].iter().all(|m| m.unwrap().width == 8));
    }

    #[test]
    fn a_camera_that_is_back_in_another_size_is_told_until_it_has_the_old_one_again() {
        let (mut source, script) = start(&[
            Act::Open(8, 6),
            Act::Picture(10, 500.00, 0),
            Act::Unplug,
            Act::Open(4, 3),
            Act::Open(4, 3),
            Act::Open(8, 6),
            Act::Picture(20, 502.10, 0),
        ]);
        frame(&mut source);
        assert!(matches!(source.next().unwrap(), Grab::Lost { .. }));
        let after = loop {
            match source.next().unwrap() {
                Grab::Lost { why, .. } => {
                    assert!(why.contains("4 × 3") && why.contains("8 × 6"), "{why}");
                }
                Grab::Nothing { .. } => {}
                Grab::Frame(frame) => break frame,
                other @ (Grab::Spoiled { .. } | Grab::End) => panic!("{other:?}"),
            }
        };
        assert_eq!(after.luma.dimensions(), (8, 6));
        assert_eq!((source.about().width, source.about().height), (8, 6));
        // It is always asked for the size it had.
        let opened = script.opened.lock().unwrap();
        assert_eq!(opened.len(), 4);
        assert!(opened[1..].iter().all(|m| m.unwrap().width == 8));
    }

    #[test]
    fn the_time_in_which_the_computer_sleeps_is_time() {
        let (mut source, script) = start(&[
            Act::Open(8, 6),
            Act::Picture(10, 500.00, 0),
            Act::Picture(10, 500.04, 1),
            Act::Picture(10, 500.07, 2), // was ready before the sleep
            Act::Picture(10, 500.18, 3),
        ]);
        frame(&mut source);
        let before = frame(&mut source);
        script.clock.sleep(60.0);
        let waited = frame(&mut source);
        let after = frame(&mut source);
        assert!((before.at_secs - 0.04).abs() < 1e-6);
        assert!((waited.at_secs - 0.07).abs() < 1e-6, "{}", waited.at_secs);
        assert!((after.at_secs - 60.18).abs() < 1e-6, "{}", after.at_secs);
    }

    #[test]
    fn a_camera_that_stalls_for_long_is_opened_anew() {
        let mut acts = vec![Act::Open(8, 6), Act::Picture(10, 500.00, 0)];
        acts.extend(std::iter::repeat_n(Act::Stall, 20));
        acts.extend([Act::Open(8, 6), Act::Picture(20, 510.20, 0)]);
        let (mut source, script) = start(&acts);
        frame(&mut source);
        let mut nothing = 0;
        let after = loop {
            match source.next().unwrap() {
                Grab::Nothing { .. } => nothing += 1,
                Grab::Lost { .. } => {}
                Grab::Frame(frame) => break frame,
                other => panic!("{other:?}"),
            }
        };
        // Nineteen within the ten seconds, and one when it is back.
        assert_eq!(nothing, 20);
        assert_eq!(after.number, 1);
        assert_eq!(script.opened.lock().unwrap().len(), 2);
    }

    #[test]
    fn a_camera_that_cannot_be_opened_says_why() {
        let script = Pretend {
            acts: Arc::new(Mutex::new([Act::Refuse("In use.")].into())),
            clock: ManualClock::new(0.0),
            opened: Arc::default(),
        };
        let clock = Arc::new(script.clock.clone());
        let error = CameraSource::open(String::new(), String::new(), Box::new(script), clock)
            .err()
            .unwrap();
        assert!(matches!(error, CaptureError::Camera(_)));
        assert_eq!(error.to_string(), "In use.");
    }
}
