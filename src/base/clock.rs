//! Time, injected: the real clocks and one that a test turns by hand. Intervals come from the
//! monotonic clock only; wall time labels records and is never subtracted.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// The two clocks a program needs, and the one way it may wait.
pub trait Clock: Send + Sync {
    /// Monotonic seconds since this clock was made.
    fn monotonic_secs(&self) -> f64;
    /// Wall time: seconds since 1970-01-01T00:00:00Z; may step when the computer's clock is set.
    fn wall_secs(&self) -> f64;
    /// Waits, for pacing a recorded clip in real time. A hand-turned clock moves on instead.
    fn wait_secs(&self, secs: f64);
}

/// The computer's clocks.
#[derive(Clone, Debug)]
pub struct SystemClock {
    origin: Instant,
}

impl SystemClock {
    /// A clock whose monotonic time starts at 0 now.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one home of the real clocks")]
    pub fn new() -> Self {
        Self {
            origin: Instant::now(),
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
        self.origin.elapsed().as_secs_f64()
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

/// A clock turned by hand, for tests: waiting moves it on at once.
#[derive(Clone, Debug)]
pub struct ManualClock {
    now: Arc<Mutex<(f64, f64)>>,
}

impl ManualClock {
    /// A clock at monotonic 0 and the given wall time.
    #[must_use]
    pub fn new(wall_secs: f64) -> Self {
        Self {
            now: Arc::new(Mutex::new((0.0, wall_secs))),
        }
    }

    /// Moves both clocks on.
    pub fn advance(&self, secs: f64) {
        let mut now = self.lock();
        now.0 += secs;
        now.1 += secs;
    }

    /// Sets the wall clock alone, as a person or a time server does.
    pub fn set_wall(&self, wall_secs: f64) {
        self.lock().1 = wall_secs;
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, (f64, f64)> {
        self.now
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Clock for ManualClock {
    fn monotonic_secs(&self) -> f64 {
        self.lock().0
    }

    fn wall_secs(&self) -> f64 {
        self.lock().1
    }

    fn wait_secs(&self, secs: f64) {
        if secs > 0.0 {
            self.advance(secs);
        }
    }
}
