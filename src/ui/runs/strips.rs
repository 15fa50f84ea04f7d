//! Strips of the run under way, kept so that the strip at the time of a drop can be looked at
//! again: one picture a strip's length, at half size, for the last hour or so. The logbook keeps
//! none; old runs have only the pictures of their beads.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use image::GrayImage;

use crate::base::FeedNumber;
use crate::run::Snapshot;

/// Most strips kept a feed: an hour of them at the usual length of some ten seconds.
const MOST_STRIPS: usize = 400;
/// Share of a strip that is new when the next one is kept: neighbours overlap, so that no bead is
/// cut.
const NEW_SHARE: f64 = 0.6;

/// A strip with its time.
#[derive(Clone, Debug)]
pub struct Kept {
    /// Source time of its right edge, seconds.
    pub to_secs: f64,
    /// Its length, seconds.
    pub secs: f64,
    /// The picture.
    pub picture: Arc<GrayImage>,
}

impl Kept {
    /// Where a time is in it, 0 at the left to 1 at the right; none outside.
    #[must_use]
    pub fn place_of(&self, at_secs: f64) -> Option<f64> {
        let share = 1.0 - (self.to_secs - at_secs) / self.secs;
        (0.0..=1.0).contains(&share).then_some(share)
    }
}

/// The strips kept.
#[derive(Clone, Debug, Default)]
pub struct StripShelf {
    feeds: BTreeMap<FeedNumber, VecDeque<Kept>>,
}

impl StripShelf {
    /// Keeps the strips of the snapshot that are new enough.
    pub fn take(&mut self, snapshot: &Snapshot) {
        if snapshot.frames_per_second <= 0.0 || snapshot.run.is_none() {
            return;
        }
        for feed in &snapshot.feeds {
            let width = feed.strip.width();
            let secs = f64::from(width) / snapshot.frames_per_second;
            let kept = self.feeds.entry(feed.feed).or_default();
            if kept
                .back()
                .is_some_and(|last| last.to_secs > snapshot.now_secs)
            {
                kept.clear();
            }
            let since = kept
                .back()
                .map_or(f64::INFINITY, |last| snapshot.now_secs - last.to_secs);
            if width < 2 || feed.strip.height() < 2 || since < secs * NEW_SHARE {
                continue;
            }
            kept.push_back(Kept {
                to_secs: snapshot.now_secs,
                secs,
                picture: Arc::new(half(&feed.strip)),
            });
            while kept.len() > MOST_STRIPS {
                kept.pop_front();
            }
        }
    }

    /// The strip in which a time stands nearest to the middle.
    #[must_use]
    pub fn at(&self, feed: FeedNumber, at_secs: f64) -> Option<(&Kept, f64)> {
        self.feeds
            .get(&feed)?
            .iter()
            .filter_map(|kept| kept.place_of(at_secs).map(|share| (kept, share)))
            .min_by(|(_, a), (_, b)| (a - 0.5).abs().total_cmp(&(b - 0.5).abs()))
    }

    /// Forgets all: another source is watched.
    pub fn clear(&mut self) {
        self.feeds.clear();
    }
}

/// Every second pixel; of two rows the darker, so that no thin streak is lost.
fn half(strip: &GrayImage) -> GrayImage {
    GrayImage::from_fn(strip.width() / 2, strip.height() / 2, |x, y| {
        let luma = |dx: u32, dy: u32| strip.get_pixel(2 * x + dx, 2 * y + dy).0[0];
        image::Luma([luma(0, 0).min(luma(0, 1)).min(luma(1, 0)).min(luma(1, 1))])
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ui::backend::Backend;
    use crate::ui::pretend::{Pretend, Scene};

    #[test]
    fn the_strip_at_a_time_is_found_and_nothing_grows_without_end() {
        let behind = Pretend::new(Scene::Well);
        let mut shelf = StripShelf::default();
        for _ in 0..(MOST_STRIPS * 3) {
            behind.change(|snapshot| snapshot.now_secs += 6.0);
            shelf.take(&behind.snapshot());
        }
        let now = behind.snapshot().now_secs;
        let feed = FeedNumber(1);
        assert!(shelf.feeds[&feed].len() <= MOST_STRIPS);
        let (kept, share) = shelf.at(feed, now - 30.0).unwrap();
        assert!((0.0..=1.0).contains(&share));
        let at = kept.to_secs - kept.secs * (1.0 - share);
        assert!((at - (now - 30.0)).abs() < 1e-6);
        assert!(shelf.at(feed, now + 100.0).is_none());
        assert!(shelf.at(FeedNumber(9), now).is_none());
        // Another source starts its time anew.
        behind.change(|snapshot| snapshot.now_secs = 1.0);
        shelf.take(&behind.snapshot());
        assert!(shelf.at(feed, now - 30.0).is_none());
    }
}
