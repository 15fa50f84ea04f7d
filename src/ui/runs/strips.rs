//! Strips of runs, kept beside the logbook as small pictures, so that the strip at the time of a
//! drop can be looked at again, in old runs as well: when one is due, what it is called, how it is
//! found again. Who writes and reads the files is the library.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, GrayImage};

use crate::base::FeedNumber;
use crate::run::{Snapshot, export};

/// Share of a strip that is new when the next one is kept: neighbours overlap, so that no bead is
/// cut.
const NEW_SHARE: f64 = 0.6;
/// Quality of the small pictures, of 100: streaks stay sharp, and an hour of a feed takes some
/// two megabytes.
const QUALITY: u8 = 80;

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

/// Where a time is in a strip, 0 at the left to 1 at the right; none outside.
fn place_in(to_secs: f64, secs: f64, at_secs: f64) -> Option<f64> {
    let share = 1.0 - (to_secs - at_secs) / secs;
    (0.0..=1.0).contains(&share).then_some(share)
}

impl Kept {
    /// Where a time is in it, 0 at the left to 1 at the right; none outside.
    #[must_use]
    pub fn place_of(&self, at_secs: f64) -> Option<f64> {
        place_in(self.to_secs, self.secs, at_secs)
    }
}

/// A strip on its way to the disk.
#[derive(Clone, Debug)]
pub struct StripToKeep {
    /// The run.
    pub run: i64,
    /// The feed.
    pub feed: FeedNumber,
    /// The strip.
    pub kept: Kept,
}

/// Says which strips of the run under way are due.
#[derive(Clone, Debug, Default)]
pub struct StripKeeper {
    run: Option<i64>,
    /// Right edge of the newest strip of each feed, seconds.
    newest_secs: BTreeMap<FeedNumber, f64>,
}

impl StripKeeper {
    /// The strips of the snapshot that are to be kept now.
    pub fn due(&mut self, snapshot: &Snapshot) -> Vec<StripToKeep> {
        let under_way = snapshot.run.as_ref().map(|run| run.id);
        let before = self.run;
        self.run = under_way;
        let (run, share) = match (before, under_way) {
            (None, None) => return Vec::new(),
            // What came since the last one is still kept when a run ends.
            (Some(ended), None) => (ended, 0.0),
            (_, Some(run)) => (run, NEW_SHARE),
        };
        if before != Some(run) {
            self.newest_secs.clear();
        }
        if snapshot.frames_per_second <= 0.0 {
            return Vec::new();
        }
        let mut due = Vec::new();
        for feed in &snapshot.feeds {
            let width = feed.strip.width();
            let secs = f64::from(width) / snapshot.frames_per_second;
            let since = self
                .newest_secs
                .get(&feed.feed)
                .filter(|newest| **newest <= snapshot.now_secs)
                .map_or(f64::INFINITY, |newest| snapshot.now_secs - newest);
            if width < 2 || feed.strip.height() < 2 || since <= secs * share {
                continue;
            }
            self.newest_secs.insert(feed.feed, snapshot.now_secs);
            due.push(StripToKeep {
                run,
                feed: feed.feed,
                kept: Kept {
                    to_secs: snapshot.now_secs,
                    secs,
                    picture: Arc::clone(&feed.strip),
                },
            });
        }
        due
    }
}

/// Half as wide and half as high; of four pixels the darkest, so that no thin streak is lost.
fn half(strip: &GrayImage) -> GrayImage {
    GrayImage::from_fn(strip.width() / 2, strip.height() / 2, |x, y| {
        let luma = |dx: u32, dy: u32| strip.get_pixel(2 * x + dx, 2 * y + dy).0[0];
        image::Luma([luma(0, 0).min(luma(0, 1)).min(luma(1, 0)).min(luma(1, 1))])
    })
}

/// Folder of the strips of a run.
fn folder_of(strips: &Path, run: i64) -> std::path::PathBuf {
    strips.join(format!("run-{run}"))
}

/// A strip's name tells its feed, its end and its length, both in milliseconds.
fn name_of(strip: &StripToKeep) -> String {
    let millis = |secs: f64| (secs * 1000.0).round() as i64;
    format!(
        "feed-{}_{}_{}.jpg",
        strip.feed.0,
        millis(strip.kept.to_secs),
        millis(strip.kept.secs)
    )
}

/// Feed, end and length of the strip with this name; none when it is no name of ours.
fn told_by(name: &str) -> Option<(u16, f64, f64)> {
    let mut parts = name.strip_prefix("feed-")?.strip_suffix(".jpg")?.split('_');
    let feed = parts.next()?.parse().ok()?;
    let mut secs = || Some(parts.next()?.parse::<i64>().ok()? as f64 / 1000.0);
    let (to_secs, secs) = (secs()?, secs()?);
    (secs > 0.0).then_some((feed, to_secs, secs))
}

/// Writes a strip.
///
/// # Errors
/// When its folder cannot be made or the file not be written.
pub fn write(strips: &Path, strip: &StripToKeep) -> std::io::Result<()> {
    let folder = folder_of(strips, strip.run);
    std::fs::create_dir_all(&folder)?;
    let small = half(&strip.kept.picture);
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .encode(
            small.as_raw(),
            small.width(),
            small.height(),
            ExtendedColorType::L8,
        )
        .map_err(std::io::Error::other)?;
    // Whole or not there; a link is replaced, not followed.
    let path = folder.join(name_of(strip));
    let mut file = export::begin(&path, "")?;
    file.write_all(&bytes)?;
    export::put_in_place(file, &path)
}

/// Removes the strips of a run that had this number before: a run's number may come again in a new
/// logbook.
///
/// # Errors
/// When they are there and cannot be removed.
pub fn clear(strips: &Path, run: i64) -> std::io::Result<()> {
    match std::fs::remove_dir_all(folder_of(strips, run)) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// The strip of a feed of a run in which a time stands nearest to the middle.
#[must_use]
pub fn find(strips: &Path, run: i64, feed: i64, at_secs: f64) -> Option<Kept> {
    let off_middle =
        |to_secs: f64, secs: f64| place_in(to_secs, secs, at_secs).map(|share| (share - 0.5).abs());
    let (name, to_secs, secs) = std::fs::read_dir(folder_of(strips, run))
        .ok()?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter_map(|name| {
            let (of, to_secs, secs) = told_by(&name)?;
            let off = off_middle(to_secs, secs)?;
            (i64::from(of) == feed).then_some((off, name, to_secs, secs))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name, to_secs, secs)| (name, to_secs, secs))?;
    let bytes = std::fs::read(folder_of(strips, run).join(name)).ok()?;
    let picture = image::load_from_memory(&bytes).ok()?.to_luma8();
    Some(Kept {
        to_secs,
        secs,
        picture: Arc::new(picture),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ui::backend::Backend;
    use crate::ui::pretend::{Pretend, Scene};

    #[test]
    fn strips_of_a_run_are_kept_and_found_again_by_time() {
        let folder = tempfile::tempdir().unwrap();
        let behind = Pretend::new(Scene::Well);
        let mut keeper = StripKeeper::default();
        let mut kept = 0;
        let from = behind.snapshot().now_secs;
        for _ in 0..100 {
            behind.change(|snapshot| snapshot.now_secs += 1.0);
            for strip in keeper.due(&behind.snapshot()) {
                write(folder.path(), &strip).unwrap();
                kept += 1;
            }
        }
        // Sixteen seconds a strip, three feeds: one in ten seconds each.
        assert!((24..=33).contains(&kept), "{kept}");
        let now = behind.snapshot().now_secs;
        let found = find(folder.path(), 7, 1, from + 50.0).unwrap();
        let share = found.place_of(from + 50.0).unwrap();
        assert!((0.2..=0.8).contains(&share), "no bead is cut: {share}");
        assert_eq!(found.picture.dimensions(), (200, 60));
        assert!(find(folder.path(), 7, 1, now + 100.0).is_none());
        assert!(find(folder.path(), 7, 9, from + 50.0).is_none());
        assert!(
            find(folder.path(), 8, 1, from + 50.0).is_none(),
            "another run has none"
        );
        // When the run ends, what came since the last strip is kept too; then nothing more.
        behind.change(|snapshot| {
            snapshot.now_secs += 3.0;
            snapshot.run = None;
        });
        let last = keeper.due(&behind.snapshot());
        assert_eq!(last.len(), 3);
        assert_eq!(last[0].run, 7);
        behind.change(|snapshot| snapshot.now_secs += 30.0);
        assert!(keeper.due(&behind.snapshot()).is_empty());
        clear(folder.path(), 7).unwrap();
        clear(folder.path(), 7).unwrap();
        assert!(find(folder.path(), 7, 1, from + 50.0).is_none());
    }

    #[test]
    fn names_of_others_are_left_alone() {
        for name in [
            "feed-1.jpg",
            "feed-x_1_2.jpg",
            "feed-1_5_0.jpg",
            "notes.txt",
            "",
        ] {
            assert_eq!(told_by(name), None, "{name}");
        }
        assert_eq!(told_by("feed-2_61500_12000.jpg"), Some((2, 61.5, 12.0)));
    }
}
