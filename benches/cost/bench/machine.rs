//! The machine the figures belong to: its processor, memory, and how fast it reads memory.

use std::hint::black_box;

use serde::Serialize;

use super::sheet::median;
use super::stopwatch::Stopwatch;

/// Bytes read for the bandwidth: many times any cache.
const READ_BYTES: usize = 256 << 20;
/// How often they are read; the fastest counts, because other work can only slow it.
const READS: usize = 7;

/// A machine.
#[derive(Clone, Debug, Serialize)]
pub struct Machine {
    /// Model of the processor.
    pub processor: String,
    /// Cores.
    pub cores: usize,
    /// Memory, GiB.
    pub memory_gib: f64,
    /// Load when the bench began: the average number of busy processes over a minute.
    pub load: f64,
    /// One thread's reading of memory, bytes a nanosecond.
    pub read_bytes_per_ns: f64,
}

impl Machine {
    /// Looks at this machine.
    #[must_use]
    pub fn look() -> Self {
        let told = |path: &str| std::fs::read_to_string(path).unwrap_or_default();
        let after = |text: &str, key: &str| {
            text.lines()
                .find(|line| line.starts_with(key))
                .and_then(|line| line.split_once(':'))
                .map(|(_, value)| value.trim().to_owned())
        };
        let memory_kib: f64 = after(&told("/proc/meminfo"), "MemTotal")
            .and_then(|value| value.split_whitespace().next()?.parse().ok())
            .unwrap_or(f64::NAN);
        Self {
            processor: after(&told("/proc/cpuinfo"), "model name")
                .unwrap_or_else(|| "unknown processor".to_owned()),
            cores: std::thread::available_parallelism().map_or(1, usize::from),
            memory_gib: memory_kib / f64::from(1 << 20),
            load: told("/proc/loadavg")
                .split_whitespace()
                .next()
                .and_then(|value| value.parse().ok())
                .unwrap_or(f64::NAN),
            read_bytes_per_ns: read_bandwidth(),
        }
    }

    /// A line for people.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "{}, {} cores, {:.0} GiB, load {}; one thread reads {:.1} GB/s",
            self.processor, self.cores, self.memory_gib, self.load, self.read_bytes_per_ns
        )
    }

    /// Time to read so many bytes, nanoseconds.
    #[must_use]
    pub fn read_ns(&self, bytes: f64) -> f64 {
        bytes / self.read_bytes_per_ns
    }
}

fn read_bandwidth() -> f64 {
    let words: Vec<u64> = (0..READ_BYTES as u64 / 8).collect();
    let watch = Stopwatch::new();
    let times: Vec<f64> = (0..READS)
        .map(|_| {
            let (ns, sum) = watch.time(|| {
                // Eight sums at once, so that adding does not hold up reading.
                let mut sums = [0_u64; 8];
                for eight in black_box(&words).chunks_exact(8) {
                    for (sum, word) in sums.iter_mut().zip(eight) {
                        *sum = sum.wrapping_add(*word);
                    }
                }
                sums
            });
            black_box(sum);
            ns
        })
        .collect();
    let fastest = times.iter().copied().fold(f64::INFINITY, f64::min);
    READ_BYTES as f64
        / if fastest.is_finite() {
            fastest
        } else {
            median(times)
        }
}
