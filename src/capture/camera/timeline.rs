//! Source time of a camera: monotonic, 0 at its first frame, from the driver's stamps where they
//! can be trusted and from the injected clock where they cannot, across losses and returns.

/// How far a driver's stamp may stray from the clock, seconds: more than any queue delays a
/// picture, less than the jumps of drivers with a broken clock.
const MAX_STRAY_SECS: f64 = 2.0;

/// Least step from one frame to the next, seconds, where stamps do not rise by themselves.
const LEAST_STEP_SECS: f64 = 1e-6;

/// Turns stamps and clock readings into source time.
#[derive(Debug, Default)]
pub(super) struct Timeline {
    zero: Option<Zero>,
    last_secs: Option<f64>,
    strays: u64,
}

/// Where source time began.
#[derive(Clone, Copy, Debug)]
enum Zero {
    /// By the driver's stamps: the first one, and the smallest difference seen between the clock at
    /// receipt and the stamp. The smallest is the one with the least delay in it.
    Driver {
        first_stamp_secs: f64,
        clock_from_stamp_secs: f64,
    },
    /// By the clock.
    Clock { first_secs: f64 },
}

impl Timeline {
    /// Source time of a frame received at `clock_secs`.
    pub(super) fn frame_secs(&mut self, stamp_secs: Option<f64>, clock_secs: f64) -> f64 {
        let stamp_secs = stamp_secs.filter(|s| s.is_finite() && *s > 0.0);
        let zero = *self.zero.get_or_insert(match stamp_secs {
            Some(stamp) => Zero::Driver {
                first_stamp_secs: stamp,
                clock_from_stamp_secs: clock_secs - stamp,
            },
            None => Zero::Clock {
                first_secs: clock_secs,
            },
        });
        let at_secs = match (zero, stamp_secs) {
            (
                Zero::Driver {
                    first_stamp_secs,
                    clock_from_stamp_secs,
                },
                Some(stamp),
            ) if (clock_secs - stamp - clock_from_stamp_secs).abs() < MAX_STRAY_SECS => {
                self.zero = Some(Zero::Driver {
                    first_stamp_secs,
                    clock_from_stamp_secs: clock_from_stamp_secs.min(clock_secs - stamp),
                });
                stamp - first_stamp_secs
            }
            (Zero::Driver { .. }, _) => {
                self.strays += 1;
                if self.strays == 1 {
                    tracing::warn!(
                        "the camera's time stamps cannot be trusted; the computer's clock is used \
                         where they stray"
                    );
                }
                self.clock_to_source_secs(clock_secs)
            }
            (Zero::Clock { .. }, _) => self.clock_to_source_secs(clock_secs),
        };
        let at_secs = match self.last_secs {
            Some(last) if at_secs <= last => last + LEAST_STEP_SECS,
            _ => at_secs,
        };
        self.last_secs = Some(at_secs);
        at_secs
    }

    /// Source time now, for telling that no frame came. Never before the last frame; 0 before the
    /// first.
    pub(super) fn now_secs(&self, clock_secs: f64) -> f64 {
        let last_secs = self.last_secs.unwrap_or(0.0);
        self.clock_to_source_secs(clock_secs).max(last_secs)
    }

    fn clock_to_source_secs(&self, clock_secs: f64) -> f64 {
        match self.zero {
            None => 0.0,
            Some(Zero::Driver {
                first_stamp_secs,
                clock_from_stamp_secs,
            }) => clock_secs - clock_from_stamp_secs - first_stamp_secs,
            Some(Zero::Clock { first_secs }) => clock_secs - first_secs,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} is not {b}");
    }

    #[test]
    fn driver_stamps_decide_and_the_clock_only_tells_now() {
        let mut time = Timeline::default();
        // The driver's scale began 5000 s before the clock; pictures take 30, 10 and 50 ms.
        near(time.frame_secs(Some(5000.0), 0.030), 0.0);
        near(time.frame_secs(Some(5000.04), 0.050), 0.04);
        near(time.frame_secs(Some(5000.08), 0.130), 0.08);
        // Now, by the least delay seen (10 ms).
        near(time.now_secs(1.010), 1.0);
        // Never before the last frame.
        near(time.now_secs(0.0), 0.08);
    }

    #[test]
    fn without_stamps_the_clock_decides() {
        let mut time = Timeline::default();
        near(time.now_secs(7.0), 0.0);
        near(time.frame_secs(None, 10.0), 0.0);
        near(time.frame_secs(Some(0.0), 10.04), 0.04);
        // A stamp that comes later has no known zero.
        near(time.frame_secs(Some(9999.0), 10.08), 0.08);
        near(time.now_secs(10.5), 0.5);
    }

    #[test]
    fn stamps_that_stray_are_replaced_and_time_always_rises() {
        let mut time = Timeline::default();
        near(time.frame_secs(Some(100.0), 0.0), 0.0);
        near(time.frame_secs(Some(100.04), 0.04), 0.04);
        // A jump far ahead, one back, one missing.
        near(time.frame_secs(Some(4100.0), 0.08), 0.08);
        near(time.frame_secs(Some(3.0), 0.12), 0.12);
        near(time.frame_secs(None, 0.16), 0.16);
        near(time.frame_secs(Some(100.20), 0.20), 0.20);
        // The same stamp again still rises.
        let again = time.frame_secs(Some(100.20), 0.24);
        assert!(again > 0.20 && again < 0.21);
    }
}
