//! Time, injected: the real clocks and one that a test turns by hand. Intervals come from the
//! monotonic clock only; wall time labels records and is never subtracted.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// The two clocks a program needs, and the one way it may wait.
pub trait Clock: Send + Sync {
    /// Monotonic seconds since this clock was made. They go on while the computer sleeps: beads do,
    /// too.
    fn monotonic_secs(&self) -> f64;
    /// How much of that time the computer slept, seconds. Drivers stamp pictures by a clock that
    /// stands still then.
    fn asleep_secs(&self) -> f64 {
        0.0
    }
    /// Wall time: seconds since 1970-01-01T00:00:00Z; may step when the computer's clock is set.
    fn wall_secs(&self) -> f64;
    /// Waits, for pacing a recorded clip in real time. A hand-turned clock moves on instead.
    fn wait_secs(&self, secs: f64);
}

/// The computer's clocks.
#[derive(Clone, Debug)]
pub struct SystemClock {
    origin: Instant,
    /// How long the computer had slept when this clock was made, seconds.
    slept_before_secs: f64,
}

impl SystemClock {
    /// A clock whose monotonic time starts at 0 now.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one home of the real clocks")]
    pub fn new() -> Self {
        Self {
            origin: Instant::now(),
            slept_before_secs: slept_secs(),
        }
    }
}

impl Default for SystemClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for SystemClock {
    fn monotonic_secs(&self) -> f64 {
        self.origin.elapsed().as_secs_f64() + self.asleep_secs()
    }

    fn asleep_secs(&self) -> f64 {
        (slept_secs() - self.slept_before_secs).max(0.0)
    }

    #[expect(clippy::disallowed_methods, reason = "the one home of the real clocks")]
    fn wall_secs(&self) -> f64 {
        match SystemTime::now().duration_since(UNIX_EPOCH) {
            Ok(since) => since.as_secs_f64(),
            Err(before) => -before.duration().as_secs_f64(),
        }
    }

    #[expect(
        clippy::disallowed_methods,
        reason = "the one place where the program waits by sleeping"
    )]
    fn wait_secs(&self, secs: f64) {
        if secs.is_finite() && secs > 0.0 {
            std::thread::sleep(Duration::from_secs_f64(secs.min(3600.0)));
        }
    }
}

/// How long the computer has slept since it was started, seconds: what the clock that goes on in
/// sleep is ahead of the one that stands still then.
#[cfg(target_os = "linux")]
fn slept_secs() -> f64 {
    use rustix::time::{ClockId, clock_gettime};
    let secs = |clock| {
        let time = clock_gettime(clock);
        time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
    };
    // Read one after the other, the two differ by the moment between even when it never slept.
    let ahead_secs = secs(ClockId::Boottime) - secs(ClockId::Monotonic);
    if ahead_secs < LEAST_SLEEP_SECS {
        0.0
    } else {
        (ahead_secs / LEAST_SLEEP_SECS).round() * LEAST_SLEEP_SECS
    }
}

/// Elsewhere sleep is not told from other time; a camera is lost and found again by it.
#[cfg(not(target_os = "linux"))]
fn slept_secs() -> f64 {
    0.0
}

/// Sleep is told in steps of this, seconds: coarser than the moment between two looks at two
/// clocks, finer than any gap between pictures that matters.
#[cfg(target_os = "linux")]
const LEAST_SLEEP_SECS: f64 = 0.05;

/// A clock turned by hand, for tests: waiting moves it on at once.
#[derive(Clone, Debug)]
pub struct ManualClock {
    now: Arc<Mutex<Hands>>,
}

/// Where its hands stand, seconds.
#[derive(Debug)]
struct Hands {
    monotonic: f64,
    wall: f64,
    asleep: f64,
}

impl ManualClock {
    /// A clock at monotonic 0 and the given wall time.
    #[must_use]
    pub fn new(wall_secs: f64) -> Self {
        Self {
            now: Arc::new(Mutex::new(Hands {
                monotonic: 0.0,
                wall: wall_secs,
                asleep: 0.0,
            })),
        }
    }

    /// Moves both clocks on.
    pub fn advance(&self, secs: f64) {
        let mut now = self.lock();
        now.monotonic += secs;
        now.wall += secs;
    }

    /// Moves both clocks on as a sleep of the computer does.
    pub fn sleep(&self, secs: f64) {
        self.lock().asleep += secs;
        self.advance(secs);
    }

    /// Sets the wall clock alone, as a person or a time server does.
    pub fn set_wall(&self, wall_secs: f64) {
        self.lock().wall = wall_secs;
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Hands> {
        self.now
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Clock for ManualClock {
    fn monotonic_secs(&self) -> f64 {
        self.lock().monotonic
    }

    fn asleep_secs(&self) -> f64 {
        self.lock().asleep
    }

    fn wall_secs(&self) -> f64 {
        self.lock().wall
    }

    fn wait_secs(&self, secs: f64) {
        if secs > 0.0 {
            self.advance(secs);
        }
    }
}
