//! A recorded clip played in real time: each frame is held back until its time has come. It leaves
//! the frames themselves as they are.

use std::sync::Arc;

use crate::base::Clock;

use super::{About, CaptureError, Grab, Source, Wanted};

/// Longest wait in one call, in seconds: whoever asks must be able to stop, draw and answer twice a
/// second even if the next frame is far away.
const PATIENCE_SECS: f64 = 0.45;

/// Delivers the frames of a recorded source at their own times.
///
/// The first frame sets the start. When the consumer is late nothing is dropped: the frames that
/// are due follow each other at once until it has caught up, so a paced clip gives the same counts
/// as one read at full speed. A live source needs no pacing and passes through.
pub struct Paced {
    inner: Box<dyn Source>,
    clock: Arc<dyn Clock>,
    /// Clock time of source time 0, once the first frame came.
    start_secs: Option<f64>,
    waiting: Option<crate::base::Frame>,
}

impl Paced {
    /// Paces `inner` by `clock`.
    #[must_use]
    pub fn new(inner: Box<dyn Source>, clock: Arc<dyn Clock>) -> Self {
        Self {
            inner,
            clock,
            start_secs: None,
            waiting: None,
        }
    }
}

impl Source for Paced {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let frame = match self.waiting.take() {
            Some(frame) => frame,
            None => match self.inner.next()? {
                Grab::Frame(frame) if !self.inner.about().live => frame,
                other => return Ok(other),
            },
        };
        let now_secs = self.clock.monotonic_secs();
        let start_secs = *self.start_secs.get_or_insert(now_secs - frame.at_secs);
        let wait_secs = start_secs + frame.at_secs - now_secs;
        if wait_secs <= PATIENCE_SECS {
            if wait_secs > 0.0 {
                self.clock.wait_secs(wait_secs);
            }
            return Ok(Grab::Frame(frame));
        }
        self.clock.wait_secs(PATIENCE_SECS);
        let at_secs = (self.clock.monotonic_secs() - start_secs).min(frame.at_secs);
        self.waiting = Some(frame);
        Ok(Grab::Nothing { at_secs })
    }

    fn about(&self) -> &About {
        self.inner.about()
    }

    fn fault(&mut self, words: &str) {
        self.inner.fault(words);
    }

    fn want(&mut self, wanted: &Wanted) {
        self.inner.want(wanted);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Frame, ManualClock};
    use image::GrayImage;

    struct Script {
        grabs: Vec<Grab>,
        about: About,
    }

    impl Source for Script {
        fn next(&mut self) -> Result<Grab, CaptureError> {
            Ok(if self.grabs.is_empty() {
                Grab::End
            } else {
                self.grabs.remove(0)
            })
        }

        fn about(&self) -> &About {
            &self.about
        }
    }

    fn paced(times_secs: &[f64], clock: &ManualClock) -> Paced {
        let grabs = times_secs
            .iter()
            .enumerate()
            .map(|(n, at)| Grab::Frame(Frame::new(n as u64, *at, GrayImage::new(1, 1))))
            .collect();
        let about = About {
            name: "script".to_owned(),
            identity: String::new(),
            width: 1,
            height: 1,
            frames_per_second: None,
            frames: None,
            live: false,
        };
        Paced::new(Box::new(Script { grabs, about }), Arc::new(clock.clone()))
    }

    #[test]
    fn each_frame_comes_at_its_own_time() {
        let clock = ManualClock::new(0.0);
        clock.advance(100.0);
        let mut source = paced(&[0.0, 0.25, 0.5], &clock);
        for expected in [100.0, 100.25, 100.5] {
            assert!(matches!(source.next().unwrap(), Grab::Frame(_)));
            assert!((clock.monotonic_secs() - expected).abs() < 1e-9);
        }
        assert!(matches!(source.next().unwrap(), Grab::End));
    }

    #[test]
    fn a_long_wait_is_cut_into_slices_that_say_nothing() {
        let clock = ManualClock::new(0.0);
        let mut source = paced(&[0.0, 2.0], &clock);
        assert!(matches!(source.next().unwrap(), Grab::Frame(_)));
        let mut slices = 0;
        let mut before_secs = clock.monotonic_secs();
        loop {
            let grab = source.next().unwrap();
            assert!(clock.monotonic_secs() - before_secs < 0.5);
            before_secs = clock.monotonic_secs();
            match grab {
                Grab::Nothing { at_secs } => {
                    slices += 1;
                    assert!((at_secs - clock.monotonic_secs()).abs() < 1e-9);
                }
                Grab::Frame(frame) => {
                    assert_eq!(frame.number, 1);
                    break;
                }
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(slices, 4);
        assert!((clock.monotonic_secs() - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_late_consumer_catches_up_and_loses_nothing() {
        let clock = ManualClock::new(0.0);
        let times: Vec<f64> = (0..100).map(|n| n as f64 * 0.04).collect();
        let mut source = paced(&times, &clock);
        assert!(matches!(source.next().unwrap(), Grab::Frame(_)));
        clock.advance(3.0);
        let mut numbers = Vec::new();
        while let Grab::Frame(frame) = source.next().unwrap() {
            if frame.at_secs <= 3.0 {
                assert!(
                    (clock.monotonic_secs() - 3.0).abs() < 1e-9,
                    "no wait while late"
                );
            } else {
                assert!((clock.monotonic_secs() - frame.at_secs).abs() < 1e-9);
            }
            numbers.push(frame.number);
        }
        assert_eq!(numbers, (1..100).collect::<Vec<_>>());
    }
}
