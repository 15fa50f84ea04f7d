//! What happens to frames as a whole: lost, doubled, late, none for a while.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::Wrong;

/// Shares of frames, and time, at level 1.
const LOST_SHARE: f64 = 0.10;
const DOUBLED_SHARE: f64 = 0.10;
const LATE_SECS: f64 = 0.025;
const STALL_SECS: f64 = 2.0;
/// Losses come in bursts of up to this many frames: a bus that is busy is busy for a while.
const LONGEST_BURST: usize = 3;
/// How many stalls a clip has.
const STALLS: usize = 2;

/// What becomes of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It comes.
    Fine,
    /// It never comes.
    Lost,
    /// The one before comes once more in its place.
    Doubled,
}

/// The fate of every frame of a clip.
#[derive(Clone, Debug)]
pub struct Timing {
    fates: Vec<Fate>,
    late_secs: Vec<f64>,
    stalls: Vec<(f64, f64)>,
}

impl Timing {
    /// The fates of `frames` frames within `secs`.
    #[must_use]
    pub fn new(wrong: &Wrong, secs: f64, frames: usize, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(1);
        let mut fates = vec![Fate::Fine; frames];
        let burst = 0.5 * (1 + LONGEST_BURST) as f64;
        let lost = (LOST_SHARE * wrong.lost / burst).clamp(0.0, 1.0);
        let doubled = (DOUBLED_SHARE * wrong.doubled).clamp(0.0, 1.0);
        for index in 1..frames {
            if rng.random_bool(doubled) && fates[index] == Fate::Fine {
                fates[index] = Fate::Doubled;
            }
            if rng.random_bool(lost) {
                let run = rng.random_range(1..=LONGEST_BURST);
                for fate in fates.iter_mut().skip(index).take(run) {
                    *fate = Fate::Lost;
                }
            }
        }
        let late_secs = (0..frames)
            .map(|_| rng.random_range(0.0..1.0) * LATE_SECS * wrong.late)
            .collect();
        let stall = STALL_SECS * wrong.stall;
        let stalls = (0..STALLS)
            .filter(|_| stall > 0.0)
            .map(|number| {
                let part = secs / STALLS as f64;
                let from = part * (number as f64 + rng.random_range(0.3..0.7));
                (from, from + stall)
            })
            .collect();
        Self {
            fates,
            late_secs,
            stalls,
        }
    }

    /// What becomes of a frame.
    #[must_use]
    pub fn fate(&self, index: usize, at_secs: f64) -> Fate {
        let stalled = self
            .stalls
            .iter()
            .any(|(from, to)| (*from..*to).contains(&at_secs));
        if stalled {
            return Fate::Lost;
        }
        self.fates.get(index).copied().unwrap_or(Fate::Fine)
    }

    /// How late its stamp is.
    #[must_use]
    pub fn late_secs(&self, index: usize) -> f64 {
        self.late_secs.get(index).copied().unwrap_or(0.0)
    }
}
