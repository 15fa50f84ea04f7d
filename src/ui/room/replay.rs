//! The last bead again: a short reel of one glass, from which the moments round a counted drop are
//! kept and played slowly, round and round. Nothing is measured from it.

use std::collections::VecDeque;
use std::sync::Arc;

use image::GrayImage;

use crate::base::FeedNumber;
use crate::glass::Outline;
use crate::run::{BeadMark, FeedSnapshot, Snapshot};

/// How many times slower it is played.
pub const SLOWER: f64 = 4.0;
/// Most pictures on the reel: about six seconds of them.
const MOST_SHOTS: usize = 190;
/// How long before its mid-glass time the replay of a drop begins, seconds: a bead takes one to
/// two seconds to mid-glass.
const BEFORE_SECS: f64 = 2.2;
/// How long the last picture stands before it begins again, seconds.
const REST_SECS: f64 = 1.0;
/// Share of the glass's size that is kept beyond its edges.
const MARGIN: f64 = 0.12;
/// Tallest picture kept, pixels: more would not be seen in its place.
const MOST_HEIGHT_PX: u32 = 420;

/// One picture of the glass.
#[derive(Clone, Debug)]
pub struct Shot {
    /// Source time, seconds.
    pub at_secs: f64,
    /// The picture.
    pub picture: Arc<GrayImage>,
    /// The glass in it.
    pub outline: Outline,
    /// The beads in it.
    pub beads: Vec<BeadMark>,
}

/// The pictures round one drop.
#[derive(Clone, Debug, Default)]
pub struct Replay {
    shots: Vec<Shot>,
    began_secs: f64,
    /// The drop's number.
    pub drop: u64,
}

impl Replay {
    /// The picture to show at a time of the window's clock, with its place on the reel.
    #[must_use]
    pub fn shot_at(&self, clock_secs: f64) -> Option<(usize, &Shot)> {
        let (first, last) = (self.shots.first()?, self.shots.last()?);
        let whole = (last.at_secs - first.at_secs) * SLOWER + REST_SECS;
        let played = (clock_secs - self.began_secs).max(0.0).rem_euclid(whole) / SLOWER;
        let index = self
            .shots
            .partition_point(|shot| shot.at_secs - first.at_secs <= played)
            .saturating_sub(1);
        self.shots.get(index).map(|shot| (index, shot))
    }
}

/// The reel of one glass.
#[derive(Clone, Debug, Default)]
pub struct Reel {
    feed: Option<FeedNumber>,
    shots: VecDeque<Shot>,
    drops: Option<u64>,
    last: Option<Replay>,
}

impl Reel {
    /// The last bead, once there was one.
    #[must_use]
    pub fn last(&self) -> Option<&Replay> {
        self.last.as_ref()
    }

    /// Takes a picture of the glass of a feed.
    pub fn take(&mut self, snapshot: &Snapshot, feed: &FeedSnapshot, clock_secs: f64) {
        if self.feed != Some(feed.feed) {
            *self = Self {
                feed: Some(feed.feed),
                ..Self::default()
            };
        }
        let Some(frame) = &snapshot.frame else { return };
        let newest = self.shots.back().map(|shot| shot.at_secs);
        if newest.is_some_and(|newest| frame.at_secs < newest) {
            // Another source, or a clip from its beginning.
            self.shots.clear();
        }
        if newest != Some(frame.at_secs)
            && let Some(shot) = shot_of(&frame.luma, feed, frame.at_secs)
        {
            self.shots.push_back(shot);
            while self.shots.len() > MOST_SHOTS {
                self.shots.pop_front();
            }
        }
        let is_new = self.drops.is_some_and(|before| feed.drops > before);
        self.drops = Some(feed.drops);
        if is_new {
            let from = feed.last_drop_secs.unwrap_or(snapshot.now_secs) - BEFORE_SECS;
            let shots: Vec<Shot> = self
                .shots
                .iter()
                .filter(|shot| shot.at_secs >= from)
                .cloned()
                .collect();
            self.last = Some(Replay {
                shots,
                began_secs: clock_secs,
                drop: feed.drops,
            });
        }
    }
}

/// The glass out of a picture, small enough to be kept many times.
fn shot_of(luma: &GrayImage, feed: &FeedSnapshot, at_secs: f64) -> Option<Shot> {
    let upright = feed.outline_now.upright_box();
    let (margin_x, margin_y) = (upright.width * MARGIN, upright.height * MARGIN);
    let left = (upright.x - margin_x).max(0.0).floor() as u32;
    let top = (upright.y - margin_y).max(0.0).floor() as u32;
    let right = ((upright.x + upright.width + margin_x).ceil() as u32).min(luma.width());
    let bottom = ((upright.y + upright.height + margin_y).ceil() as u32).min(luma.height());
    let (width, height) = (right.checked_sub(left)?, bottom.checked_sub(top)?);
    if width < 4 || height < 4 {
        return None;
    }
    let every = height.div_ceil(MOST_HEIGHT_PX).max(1);
    let picture = GrayImage::from_fn(width / every, height / every, |x, y| {
        *luma.get_pixel(left + x * every, top + y * every)
    });
    let scale = 1.0 / f64::from(every);
    let moved = |x: f64, y: f64| ((x - f64::from(left)) * scale, (y - f64::from(top)) * scale);
    let mut outline = feed.outline_now;
    (outline.centre_x_px, outline.centre_y_px) = moved(outline.centre_x_px, outline.centre_y_px);
    outline.width_px *= scale;
    outline.height_px *= scale;
    let beads = feed
        .beads
        .iter()
        .map(|bead| {
            let (x_px, y_px) = moved(bead.x_px, bead.y_px);
            BeadMark {
                x_px,
                y_px,
                radius_px: bead.radius_px * scale,
                ..*bead
            }
        })
        .collect();
    Some(Shot {
        at_secs,
        picture: Arc::new(picture),
        outline,
        beads,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ui::backend::Backend;
    use crate::ui::pretend::{Pretend, Scene};

    fn run(behind: &Pretend, reel: &mut Reel, frames: usize) {
        for _ in 0..frames {
            behind.change(|snapshot| {
                snapshot.now_secs += 0.04;
                let at = snapshot.now_secs;
                if let Some(frame) = &mut snapshot.frame {
                    frame.number += 1;
                    frame.at_secs = at;
                }
            });
            let snapshot = behind.snapshot();
            reel.take(&snapshot, &snapshot.feeds[0], snapshot.now_secs);
        }
    }

    #[test]
    fn a_counted_drop_is_played_again_four_times_slower() {
        let behind = Pretend::new(Scene::Well);
        let mut reel = Reel::default();
        run(&behind, &mut reel, 400);
        assert!(reel.last().is_none(), "nothing new was counted");
        assert!(reel.shots.len() <= MOST_SHOTS);
        behind.change(|snapshot| {
            snapshot.feeds[0].drops += 1;
            snapshot.feeds[0].last_drop_secs = Some(snapshot.now_secs - 0.5);
        });
        run(&behind, &mut reel, 1);
        let replay = reel.last().unwrap();
        assert_eq!(replay.drop, 38);
        let clock = behind.snapshot().now_secs;
        let (first, a) = replay.shot_at(clock).unwrap();
        let (later, b) = replay.shot_at(clock + 4.0).unwrap();
        assert_eq!(first, 0);
        assert!(later > first);
        assert!((b.at_secs - a.at_secs - 1.0).abs() < 0.05, "four to one");
        // Round and round.
        let whole = 2.74 * SLOWER + REST_SECS;
        assert!(replay.shot_at(clock + whole + 0.3).unwrap().0 < 5);
        // The glass is in the picture, and nothing but the glass.
        let shot = &replay.shots[0];
        assert!(f64::from(shot.picture.width()) < 1.4 * shot.outline.width_px);
        assert!(shot.outline.centre_x_px > 0.0);
    }

    #[test]
    fn another_glass_is_another_reel() {
        let behind = Pretend::new(Scene::Well);
        let mut reel = Reel::default();
        run(&behind, &mut reel, 3);
        let snapshot = behind.snapshot();
        reel.take(&snapshot, &snapshot.feeds[1], 0.0);
        assert_eq!(reel.shots.len(), 1);
        reel.take(&Snapshot::default(), &snapshot.feeds[1], 0.0);
    }
}
