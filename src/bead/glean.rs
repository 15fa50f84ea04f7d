//! A second look for what the tracker lost: candidates that nothing explains yet and that lie on one
//! straight way up the glass. Links from frame to frame go astray where half of the pictures hide a
//! bead and each shows other specks; a whole way does not. Whether it is a bead is judged by the
//! same rules as any path.

use std::collections::{BTreeSet, VecDeque};

use crate::bead::candidate::Candidate;
use crate::bead::track::{Path, Sighting};

/// Time for which candidates are kept, seconds: a passage before and after the crossing.
const KEPT_SECS: f64 = 1.5;
/// Most frames kept, and most candidates of one frame: the strongest tell most.
const KEPT_FRAMES: usize = 90;
const KEPT_EACH: usize = 10;
/// Time between two looks, seconds.
const EVERY_SECS: f64 = 0.2;
/// A way is looked for so long after it crossed mid-glass, seconds: the tracker has had its turn.
const AFTER_SECS: f64 = 0.6;
/// Speeds looked for, in heights of the sightings a second: oil, and the quick half of what may be.
const SPEEDS: std::ops::RangeInclusive<f32> = 10.0..=60.0;
/// Least distance of the two sightings that a way is laid through, as a share of the glass.
const LEAST_RISE: f32 = 0.3;
/// How far off the way a sighting may be, rows, and as a share of its height: stamps waver.
const OFF_ROWS: (f32, f32) = (1.5, 0.3);
/// How far aside, columns, and as a share of the glass.
const OFF_COLS: (f32, f32) = (1.5, 0.05);
/// Most ratio of strengths on one way, natural logarithm.
const UNLIKE: f32 = 1.1;
/// Fewest sightings on a way, and least share of the frames between first and last.
const FEWEST: usize = 6;
const LEAST_SHARE: f32 = 0.5;
/// What is seen once more where it was last, within so many rows and columns, is an old piece of
/// picture that a coder left as it was: it tells nothing, and the bead could not be seen then.
const REPEATED: (f32, f32) = (1.0, 1.5);

/// What is seen at one place in so many frames and over so long, seconds, stands there: a coder leaves
/// specks where a bead went by, and a few of them can lie on one straight way. A bead that rises ten
/// of its heights a second is gone from a place in a tenth.
const STANDING: (usize, f64) = (5, 0.35);

/// Two sightings of one frame so near each other along the glass, rows, are one.
pub const SAME_ROW: f32 = 0.6;
/// Most of a bead's sightings, as a share, that belong to another.
const MOST_HELD: f32 = 0.25;

/// One frame's candidates.
#[derive(Clone, Debug)]
struct Seen {
    at_secs: f64,
    frame: u64,
    found: Vec<Candidate>,
}

/// Candidates of the last moments in one glass.
#[derive(Clone, Debug, Default)]
pub struct Gleaner {
    recent: VecDeque<Seen>,
    next_secs: f64,
}

/// A straight way up.
#[derive(Clone, Copy, Debug)]
struct Way {
    at_secs: f64,
    row: f32,
    col: f32,
    rows_per_s: f32,
    cols_per_s: f32,
    weight: f32,
    height: f32,
}

impl Gleaner {
    /// Forgets all: what comes is another picture.
    pub fn clear(&mut self) {
        self.recent.clear();
    }

    /// Takes the candidates of one frame.
    pub fn keep(&mut self, at_secs: f64, frame: u64, mut found: Vec<Candidate>) {
        while let Some(first) = self.recent.front()
            && (at_secs - first.at_secs > KEPT_SECS || self.recent.len() >= KEPT_FRAMES)
        {
            self.recent.pop_front();
        }
        if found.is_empty() {
            return;
        }
        if found.len() > KEPT_EACH {
            found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
            found.truncate(KEPT_EACH);
        }
        self.recent.push_back(Seen {
            at_secs,
            frame,
            found,
        });
    }

    /// The likeliest ways that crossed the middle a while ago, the best first, in a glass so many rows
    /// high and so many columns wide; `is_taken` says which candidates (frame and row) belong to
    /// something else.
    pub fn look(
        &mut self,
        at_secs: f64,
        (rows, cols): (f32, f32),
        is_taken: impl Fn(u64, f32) -> bool,
    ) -> Vec<Path> {
        if self.next_secs > at_secs + EVERY_SECS {
            self.next_secs = at_secs;
        }
        if at_secs < self.next_secs || self.recent.len() < FEWEST {
            return Vec::new();
        }
        self.next_secs = at_secs + EVERY_SECS;
        let free: Vec<Seen> = self
            .recent
            .iter()
            .map(|seen| Seen {
                found: seen
                    .found
                    .iter()
                    .filter(|c| !is_taken(seen.frame, c.row))
                    .copied()
                    .collect(),
                ..*seen
            })
            .filter(|seen| !seen.found.is_empty())
            .collect();
        let middle = rows / 2.0;
        let (from, to) = (at_secs - AFTER_SECS - EVERY_SECS, at_secs - AFTER_SECS);
        let mut ways: Vec<(f32, Path)> = Vec::new();
        for (index, below) in free.iter().enumerate() {
            for above in free.iter().skip(index + 1) {
                for a in below.found.iter().filter(|c| c.row > middle) {
                    for b in above.found.iter().filter(|c| c.row <= middle) {
                        let Some(way) = Way::through((below.at_secs, a), (above.at_secs, b)) else {
                            continue;
                        };
                        let crossed = way.at_secs + f64::from((way.row - middle) / way.rows_per_s);
                        if a.row - b.row < LEAST_RISE * rows || !(from..to).contains(&crossed) {
                            continue;
                        }
                        ways.extend(way.sightings(&free, cols));
                    }
                }
            }
        }
        if ways.is_empty() {
            return Vec::new();
        }
        let standing = self.standing();
        ways.retain(|(_, way)| {
            let moves = |s: &&Sighting| !standing.contains(&(s.frame, s.seen.row.to_bits()));
            way.points.iter().filter(moves).count() >= FEWEST
        });
        ways.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut chosen: Vec<Path> = Vec::new();
        for (_, way) in ways {
            let is_in = |other: &Path, s: &Sighting| {
                let mut points = other.points.iter();
                points.any(|o| o.frame == s.frame && o.seen == s.seen)
            };
            let shares = |other: &Path| way.points.iter().any(|s| is_in(other, s));
            if !chosen.iter().any(shares) {
                chosen.push(way);
            }
        }
        chosen
    }

    /// Frame and row (its bits) of each candidate that stands.
    fn standing(&self) -> BTreeSet<(u64, u32)> {
        let mut standing = BTreeSet::new();
        for seen in &self.recent {
            for it in &seen.found {
                let again = self
                    .recent
                    .iter()
                    .filter(|other| other.found.iter().any(|c| repeats_it(it, c)));
                let (mut count, mut first, mut last) = (0, f64::INFINITY, f64::NEG_INFINITY);
                for other in again {
                    count += 1;
                    first = other.at_secs.min(first);
                    last = other.at_secs.max(last);
                }
                if count >= STANDING.0 && last - first >= STANDING.1 {
                    standing.insert((seen.frame, it.row.to_bits()));
                }
            }
        }
        standing
    }
}

impl Way {
    /// The way through two sightings; none when nothing could rise so.
    fn through((a_secs, a): (f64, &Candidate), (b_secs, b): (f64, &Candidate)) -> Option<Self> {
        let secs = (b_secs - a_secs) as f32;
        let height = f32::midpoint(a.height, b.height).max(3.0);
        let rows_per_s = (a.row - b.row) / secs.max(1e-3);
        if !SPEEDS.contains(&(rows_per_s / height))
            || (a.weight.max(1.0) / b.weight.max(1.0)).ln().abs() > UNLIKE
        {
            return None;
        }
        Some(Self {
            at_secs: a_secs,
            row: a.row,
            col: a.col,
            rows_per_s,
            cols_per_s: (b.col - a.col) / secs.max(1e-3),
            weight: (a.weight * b.weight).sqrt(),
            height,
        })
    }

    /// What was seen on it, and how much that is worth, when it is enough.
    fn sightings(&self, free: &[Seen], cols: f32) -> Option<(f32, Path)> {
        let most = (
            OFF_ROWS.0 + OFF_ROWS.1 * self.height,
            OFF_COLS.0 + OFF_COLS.1 * cols,
        );
        let mut on_it: Vec<Sighting> = Vec::new();
        let mut off_sum = 0.0;
        let (mut repeats, mut since_last) = (0, 0);
        for seen in free {
            let since = (seen.at_secs - self.at_secs) as f32;
            let (row, col) = (
                self.row - self.rows_per_s * since,
                self.col + self.cols_per_s * since,
            );
            let off = |c: &Candidate| (c.row - row).abs() / most.0;
            let nearest = seen
                .found
                .iter()
                .filter(|c| {
                    off(c) < 1.0
                        && (c.col - col).abs() < most.1
                        && (c.weight / self.weight).ln().abs() < UNLIKE
                })
                .min_by(|a, b| off(a).total_cmp(&off(b)));
            if let Some(candidate) = nearest {
                off_sum += off(candidate);
                repeats += std::mem::take(&mut since_last);
                on_it.push(Sighting {
                    at_secs: seen.at_secs,
                    frame: seen.frame,
                    seen: *candidate,
                    shared: false,
                });
            } else if let Some(last) = on_it.last()
                && seen.found.iter().any(|c| repeats_it(&last.seen, c))
            {
                since_last += 1;
            }
        }
        let (first, last) = (on_it.first()?, on_it.last()?);
        let frames = (last.frame - first.frame + 1 - repeats) as f32;
        let count = on_it.len() as f32;
        if on_it.len() < FEWEST || count < LEAST_SHARE * frames {
            return None;
        }
        let mut path = Path::of(on_it);
        path.repeats = repeats;
        Some((count - 0.5 * off_sum - 0.4 * (frames - count), path))
    }
}

/// Whether more of a path than a few sightings belongs to a bead that was told, of which it is another
/// reading: what was sought among all candidates may hold what the tracker follows. Sightings in which
/// two beads are one thing are shared by right.
pub fn is_told(path: &Path, told: &[(u64, f32)]) -> bool {
    let held = |p: &&Sighting| {
        let at = told.binary_search_by_key(&p.frame, |(frame, _)| *frame);
        let row = at.ok().and_then(|at| told.get(at)).map(|(_, row)| *row);
        !p.shared && row.is_some_and(|row| (row - p.seen.row).abs() < SAME_ROW)
    };
    path.points.iter().filter(held).count() as f32 > MOST_HELD * path.points.len() as f32
}

/// Whether a candidate is a thing that was seen, once more at the same place.
fn repeats_it(last: &Candidate, now: &Candidate) -> bool {
    (last.row - now.row).abs() < REPEATED.0
        && (last.col - now.col).abs() < REPEATED.1
        && (last.weight / now.weight).ln().abs() < UNLIKE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bead::track::tests::blob;

    /// A bead that is seen in two frames of three, among specks.
    fn looked(is_taken: impl Fn(u64, f32) -> bool + Copy) -> Vec<Path> {
        let mut gleaner = Gleaner::default();
        let mut found = Vec::new();
        for frame in 0..70_u64 {
            let at_secs = frame as f64 / 30.0;
            let mut seen = vec![blob(
                ((frame * 77) % 200) as f32,
                ((frame * 31) % 60) as f32,
            )];
            if (10..34).contains(&frame) && frame % 3 != 0 {
                seen.push(blob(195.0 - 8.0 * (frame - 10) as f32, 30.0));
            }
            gleaner.keep(at_secs, frame, seen);
            found.extend(gleaner.look(at_secs, (200.0, 60.0), is_taken));
        }
        found
    }

    #[test]
    fn a_bead_seen_now_and_then_is_one_way_among_specks() {
        let found = looked(|_, _| false);
        assert_eq!(found.len(), 1);
        assert!(found[0].points.len() >= 14, "{}", found[0].points.len());
    }

    #[test]
    fn another_reading_of_a_bead_that_was_told_is_none() {
        let found = looked(|_, _| false);
        let rows: Vec<(u64, f32)> = found[0]
            .points
            .iter()
            .map(|p| (p.frame, p.seen.row))
            .collect();
        assert!(is_told(&found[0], &rows));
        assert!(!is_told(&found[0], &rows[..2]));
        let elsewhere: Vec<(u64, f32)> = rows.iter().map(|(f, r)| (*f, r + 8.0)).collect();
        assert!(!is_told(&found[0], &elsewhere));
    }

    #[test]
    fn an_old_piece_of_picture_is_no_frame_in_which_the_bead_was_missing() {
        let mut gleaner = Gleaner::default();
        let mut found = Vec::new();
        for frame in 0..70_u64 {
            // The coder renews what it shows in every third picture only.
            let shown = frame - frame % 3;
            let bead = (9..36)
                .contains(&frame)
                .then(|| blob(195.0 - 8.0 * (shown - 9) as f32, 30.0));
            let at_secs = frame as f64 / 30.0;
            gleaner.keep(at_secs, frame, bead.into_iter().collect());
            found.extend(gleaner.look(at_secs, (200.0, 60.0), |_, _| false));
        }
        // Each look may find it anew, for here nobody takes it.
        let most = found.iter().map(|path| path.repeats).max();
        assert!(most >= Some(10), "{most:?}");
    }

    /// As it was in a coded clip: specks stood at five heights, each seen in some frames, and those of a
    /// few frames lay on one way.
    #[test]
    fn specks_that_stand_where_a_bead_went_by_are_no_way() {
        let mut gleaner = Gleaner::default();
        let mut found = Vec::new();
        for frame in 0..70_u64 {
            let at_secs = frame as f64 / 30.0;
            let specks = [190.0, 150.0, 110.0, 70.0, 30.0].map(|row| blob(row, 12.0));
            let seen = specks.into_iter().enumerate();
            let seen = seen.filter(|(speck, _)| !(frame + *speck as u64).is_multiple_of(3));
            gleaner.keep(at_secs, frame, seen.map(|(_, blob)| blob).collect());
            found.extend(gleaner.look(at_secs, (200.0, 60.0), |_, _| false));
        }
        assert!(found.is_empty(), "{}", found.len());
    }

    #[test]
    fn what_belongs_to_something_else_is_no_way() {
        let bead = |frame: u64, row: f32| {
            frame >= 10 && (row - (195.0 - 8.0 * (frame - 10) as f32)).abs() < 0.5
        };
        assert!(looked(bead).is_empty());
    }
}
