//! Processor time of the thread that asks, so that other work on the machine disturbs little. On
//! systems that do not tell it, the time on the clock instead.

#[cfg(not(target_os = "linux"))]
use beadtally::base::{Clock, SystemClock};

/// Measures stretches of work of one thread.
pub struct Stopwatch {
    #[cfg(not(target_os = "linux"))]
    clock: SystemClock,
}

impl Stopwatch {
    /// A stopwatch at rest.
    #[must_use]
    pub fn new() -> Self {
        Self {
            #[cfg(not(target_os = "linux"))]
            clock: SystemClock::new(),
        }
    }

    /// Processor time of this thread so far, nanoseconds.
    #[must_use]
    #[cfg_attr(
        target_os = "linux",
        expect(
            clippy::unused_self,
            reason = "elsewhere the clock of the stopwatch is asked"
        )
    )]
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
}

/// Processor time of this whole process, seconds.
#[must_use]
pub fn process_secs() -> f64 {
    #[cfg(target_os = "linux")]
    {
        let spent = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
        spent.tv_sec as f64 + spent.tv_nsec as f64 * 1e-9
    }
    #[cfg(not(target_os = "linux"))]
    {
        f64::NAN
    }
}
