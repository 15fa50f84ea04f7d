//! Processor time of the thread that asks, so that other work on the machine disturbs little. On
//! systems that do not tell it, the time on the clock instead.

use beadtally::base::{Clock, SystemClock};

/// Measures stretches of work of one thread.
pub struct Stopwatch {
    clock: SystemClock,
}

impl Stopwatch {
    /// A stopwatch at rest.
    #[must_use]
    pub fn new() -> Self {
        Self {
            clock: SystemClock::new(),
        }
    }

    /// Processor time of this thread so far, nanoseconds.
    #[must_use]
    pub fn thread_ns(&self) -> f64 {
        #[cfg(target_os = "linux")]
        {
            let spent = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
            spent.tv_sec as f64 * 1e9 + spent.tv_nsec as f64
        }
        #[cfg(not(target_os = "linux"))]
        {
            self.clock.monotonic_secs() * 1e9
        }
    }

    /// How long `work` took this thread, nanoseconds, and what it gave.
    pub fn time<T>(&self, work: impl FnOnce() -> T) -> (f64, T) {
        let from = self.thread_ns();
        let given = work();
        (self.thread_ns() - from, given)
    }

    /// Time on the clock, seconds.
    #[must_use]
    pub fn wall_secs(&self) -> f64 {
        self.clock.monotonic_secs()
    }
}
