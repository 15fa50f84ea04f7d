//! Source time of a camera: monotonic, 0 at its first frame, from the driver's stamps where they
//! can be trusted and from the injected clock where they cannot, across losses and returns.

/// How far a driver's stamp may stray from the clock, seconds: more than any queue delays a
/// picture, less than the jumps of drivers with a broken clock.
const MAX_STRAY_SECS: f64 = 2.0;

/// How many pictures in a row may come later than that after they were taken: as many as a driver
/// keeps while the program is held up, and some. More of them, and the driver's clock is another
/// than it was.
const MOST_LATE: u32 = 8;

/// Least step from one frame to the next, seconds, where stamps do not rise by themselves.
const LEAST_STEP_SECS: f64 = 1e-6;

/// Turns stamps and clock readings into source time.
#[derive(Debug, Default)]
pub(super) struct Timeline {
    zero: Option<Zero>,
    last_secs: Option<f64>,
    strays: u64,
    /// Pictures in a row that came late.
    late: u32,
    /// The computer slept: stamps up to the first figure are from before, on a scale that lacks the
    /// second, seconds.
    slept: Option<(f64, f64)>,
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
            (Zero::Driver { .. }, Some(stamp)) => self
                .by_driver(stamp, clock_secs)
                .unwrap_or_else(|| self.stray(clock_secs)),
            (Zero::Driver { .. }, None) => self.stray(clock_secs),
            (Zero::Clock { .. }, _) => self.clock_to_source_secs(clock_secs),
        };
        let at_secs = match self.last_secs {
            Some(last) if at_secs <= last => last + LEAST_STEP_SECS,
            _ => at_secs,
        };
        self.last_secs = Some(at_secs);
        at_secs
    }

    /// Source time by the driver's stamp, when that can be trusted.
    fn by_driver(&mut self, stamp: f64, clock_secs: f64) -> Option<f64> {
        let Some(Zero::Driver {
            first_stamp_secs,
            clock_from_stamp_secs,
        }) = self.zero
        else {
            return None;
        };
        if let Some((until_stamp, slept_secs)) = self.slept
            && stamp <= until_stamp
        {
            // Taken before the sleep, received after it.
            return Some(stamp - first_stamp_secs - slept_secs)
                .filter(|at| self.last_secs.is_none_or(|last| *at > last));
        }
        let late_secs = clock_secs - stamp - clock_from_stamp_secs;
        let mut zero = Zero::Driver {
            first_stamp_secs,
            clock_from_stamp_secs: clock_from_stamp_secs.min(clock_secs - stamp),
        };
        let at_secs = if late_secs.abs() < MAX_STRAY_SECS {
            self.late = 0;
            Some(stamp - first_stamp_secs)
        } else {
            self.late += 1;
            let rises = self
                .last_secs
                .is_none_or(|last| stamp - first_stamp_secs > last);
            if self.late > MOST_LATE {
                // Its clock is another for good: begin anew from here.
                self.late = 0;
                let at_secs = self.clock_to_source_secs(clock_secs);
                zero = Zero::Driver {
                    first_stamp_secs: stamp - at_secs,
                    clock_from_stamp_secs: clock_secs - stamp,
                };
                Some(at_secs)
            } else if late_secs > 0.0 && rises {
                // It lay in the driver while the program was held up.
                return Some(stamp - first_stamp_secs);
            } else {
                return None;
            }
        };
        self.zero = Some(zero);
        at_secs
    }

    /// Source time of a picture whose stamp cannot be used.
    fn stray(&mut self, clock_secs: f64) -> f64 {
        self.strays += 1;
        if self.strays == 1 {
            tracing::warn!(
                "the camera's time stamps cannot be trusted; the computer's clock is used where \
                 they stray"
            );
        }
        self.clock_to_source_secs(clock_secs)
    }

    /// The computer slept for so long and is awake again. Source time goes on in sleep, stamps do
    /// not.
    pub(super) fn slept(&mut self, slept_secs: f64, clock_secs: f64) {
        if let Some(Zero::Driver {
            first_stamp_secs,
            clock_from_stamp_secs,
        }) = &mut self.zero
        {
            *first_stamp_secs -= slept_secs;
            *clock_from_stamp_secs += slept_secs;
            self.slept = Some((clock_secs - *clock_from_stamp_secs, slept_secs));
        }
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

    #[test]
    fn pictures_that_lay_in_the_driver_keep_the_times_at_which_they_were_taken() {
        let mut time = Timeline::default();
        near(time.frame_secs(Some(100.0), 0.0), 0.0);
        // The program was held up for eight seconds; four pictures waited.
        for n in 1..5 {
            let at_secs = 0.04 * f64::from(n);
            near(time.frame_secs(Some(100.0 + at_secs), 8.0), at_secs);
        }
        near(time.frame_secs(Some(108.04), 8.04), 8.04);
    }

    #[test]
    fn a_driver_whose_clock_is_another_for_good_is_followed() {
        let mut time = Timeline::default();
        near(time.frame_secs(Some(100.0), 0.0), 0.0);
        let mut last_secs = 0.0;
        for n in 1..60 {
            let clock_secs = 0.04 * f64::from(n);
            // Six seconds back, and each picture is received a little late.
            let late_secs = 0.01 * f64::from(n % 3);
            let at_secs = time.frame_secs(Some(94.0 + clock_secs), clock_secs + late_secs);
            assert!(at_secs > last_secs && (at_secs - clock_secs).abs() < 0.05);
            last_secs = at_secs;
        }
        // By its stamps again: what is received late is not late.
        near(time.frame_secs(Some(96.4), 2.9), last_secs + 0.04);
    }

    #[test]
    fn source_time_goes_on_while_the_computer_sleeps() {
        let mut time = Timeline::default();
        near(time.frame_secs(Some(100.0), 0.01), 0.0);
        near(time.frame_secs(Some(100.04), 0.05), 0.04);
        // An hour's sleep: stamps stand still, the clock does not.
        time.slept(3600.0, 3600.10);
        // Two pictures from before it; then new ones.
        near(time.frame_secs(Some(100.08), 3600.11), 0.08);
        near(time.frame_secs(Some(100.085), 3600.12), 0.085);
        near(time.frame_secs(Some(100.14), 3600.15), 3600.14);
        near(time.frame_secs(Some(100.18), 3600.19), 3600.18);
        near(time.now_secs(3601.01), 3601.0);
    }
}
