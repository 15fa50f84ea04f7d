//! Whether a reading is narrow enough to act on, or how many more drops it wants. Pure arithmetic
//! on a reading and its band; it changes no verdict.

use crate::base::Band;
use crate::rate::Reading;

/// Upper limit over lower limit from which a reading is narrow enough to set a valve by: about a
/// sixth either way, half the width of a band of two to three drops a minute.
const NARROW_RATIO: f64 = 1.4;
/// Drops after which it is no use to say how many more.
const MOST_MORE: usize = 9;
/// Drops without which there is no reading.
const FIRST_DROPS: usize = 2;

/// How far a reading has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settling {
    /// About so many more drops, until it is narrow enough.
    Wait {
        /// How many.
        drops: usize,
    },
    /// More drops than are worth counting.
    WaitLong,
    /// It can be acted on: wholly on one side of the band, wholly within it, or narrow.
    Settled,
}

/// How far a reading has come. Limits narrow as one over the root of the number of intervals.
///
/// ```
/// use beadtally::base::Band;
/// use beadtally::rate::Reading;
/// use beadtally::ui::fitter::settle::{Settling, settling};
/// let reading = |low, high, drops| Reading {
///     drops_per_minute: 2.5,
///     low,
///     high,
///     scatter: 0.15,
///     drops,
/// };
/// let band = Band::default();
/// assert_eq!(settling(Some(&reading(2.2, 2.8, 10)), band), Settling::Settled);
/// assert_eq!(settling(Some(&reading(1.8, 3.4, 3)), band), Settling::Wait { drops: 4 });
/// assert_eq!(settling(None, band), Settling::Wait { drops: 2 });
/// ```
#[must_use]
pub fn settling(reading: Option<&Reading>, band: Band) -> Settling {
    let Some(reading) = reading else {
        return Settling::Wait { drops: FIRST_DROPS };
    };
    let (low, median, high) = (reading.low, reading.drops_per_minute, reading.high);
    if !(low > 0.0 && low <= median && median <= high && high.is_finite()) {
        return Settling::WaitLong;
    }
    let intervals = reading.drops.saturating_sub(1).max(1) as f64;
    for more in 0..=MOST_MORE {
        let share = (intervals / (intervals + more as f64)).sqrt();
        let low = median * (low / median).powf(share);
        let high = median * (high / median).powf(share);
        let is_inside = low >= band.low_per_minute && high <= band.high_per_minute;
        let is_outside = high < band.low_per_minute || low > band.high_per_minute;
        if is_inside || is_outside || high / low <= NARROW_RATIO {
            return if more == 0 {
                Settling::Settled
            } else {
                Settling::Wait { drops: more }
            };
        }
    }
    Settling::WaitLong
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(rate: f64, half: f64, drops: usize) -> Reading {
        Reading {
            drops_per_minute: rate,
            low: rate / half,
            high: rate * half,
            scatter: 0.15,
            drops,
        }
    }

    #[test]
    fn far_from_the_band_few_drops_are_enough() {
        let band = Band::default();
        assert_eq!(
            settling(Some(&reading(9.0, 1.6, 3)), band),
            Settling::Settled
        );
        assert_eq!(
            settling(Some(&reading(0.8, 1.5, 3)), band),
            Settling::Settled
        );
    }

    #[test]
    fn more_drops_never_make_it_wait_longer() {
        let band = Band::default();
        let mut before = usize::MAX;
        for drops in 2..14 {
            let half = 1.0 + 0.5 / (drops as f64 - 1.0).sqrt();
            let now = match settling(Some(&reading(2.5, half, drops)), band) {
                Settling::Settled => 0,
                Settling::Wait { drops } => drops,
                Settling::WaitLong => MOST_MORE + 1,
            };
            assert!(now <= before, "{drops} drops: {now} after {before}");
            before = now;
        }
        assert_eq!(before, 0);
    }

    #[test]
    fn nonsense_waits() {
        let band = Band::default();
        let mut odd = reading(2.5, 1.2, 5);
        odd.low = f64::NAN;
        assert_eq!(settling(Some(&odd), band), Settling::WaitLong);
        odd.low = 0.0;
        assert_eq!(settling(Some(&odd), band), Settling::WaitLong);
        let wide = reading(2.5, 9.0, 2);
        assert_eq!(settling(Some(&wide), band), Settling::WaitLong);
    }
}
