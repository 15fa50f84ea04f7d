//! The short flash when a drop is counted: which feeds counted within the last moments. It knows
//! drop counts and a clock's seconds, nothing else.

use std::collections::HashMap;

use crate::base::FeedNumber;

/// How long a flash lasts, seconds: long enough to be seen from three metres, short enough that
/// two drops a second apart are two flashes.
pub const FLASH_SECS: f64 = 0.6;

/// The flashes of all feeds.
#[derive(Clone, Debug, Default)]
pub struct Flashes {
    seen: HashMap<FeedNumber, (u64, Option<f64>)>,
    now_secs: f64,
}

impl Flashes {
    /// Takes the drops counted so far, feed by feed, at the given time.
    pub fn take(&mut self, now_secs: f64, counts: impl Iterator<Item = (FeedNumber, u64)>) {
        self.now_secs = now_secs;
        for (feed, drops) in counts {
            let entry = self.seen.entry(feed).or_insert((drops, None));
            if drops > entry.0 {
                entry.1 = Some(now_secs);
            }
            entry.0 = drops;
        }
    }

    /// Whether the feed's flash is lit.
    #[must_use]
    pub fn is_lit(&self, feed: FeedNumber) -> bool {
        self.seen
            .get(&feed)
            .and_then(|(_, at)| *at)
            .is_some_and(|at| self.now_secs - at < FLASH_SECS)
    }

    /// Seconds until the next flash goes out; none when none is lit.
    #[must_use]
    pub fn next_change_secs(&self) -> Option<f64> {
        self.seen
            .values()
            .filter_map(|(_, at)| *at)
            .map(|at| at + FLASH_SECS - self.now_secs)
            .filter(|left| *left > 0.0)
            .min_by(f64::total_cmp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_drop_flashes_and_goes_out() {
        let feed = FeedNumber(1);
        let mut flashes = Flashes::default();
        flashes.take(0.0, [(feed, 5)].into_iter());
        assert!(
            !flashes.is_lit(feed),
            "what was there at the start is not new"
        );
        flashes.take(1.0, [(feed, 6)].into_iter());
        assert!(flashes.is_lit(feed));
        assert!(flashes.next_change_secs().is_some());
        flashes.take(1.0 + FLASH_SECS, [(feed, 6)].into_iter());
        assert!(!flashes.is_lit(feed));
        assert_eq!(flashes.next_change_secs(), None);
        // A new start of counting is not a drop.
        flashes.take(9.0, [(feed, 0)].into_iter());
        assert!(!flashes.is_lit(feed));
    }
}
