//! Streaks: candidates of successive frames linked into the paths of things that rise. Every
//! candidate that no sure path explains may begin a new one, so that a wrong first guess costs
//! nothing. Whether a path is a bead is judged in `explain`.

use std::sync::Arc;

use image::GrayImage;
use ndarray::Array2;

use crate::bead::candidate::Candidate;
use crate::bead::clutter::Clutter;
use crate::bead::path::SURE_POINTS;
pub use crate::bead::path::{Path, Sighting};

/// Fastest rise looked for, glass widths a second: a gas bubble at 0.35 m/s in a 12 mm glass.
const FASTEST_WIDTHS_PER_S: f32 = 30.0;
/// Longest time a path goes on unseen, seconds: a bead hidden behind another or two lost frames.
const COAST_SECS: f64 = 0.20;
/// The same in frames, for slow cameras.
const COAST_FRAMES: f64 = 2.5;
/// Most paths followed at once in one glass.
const MOST_PATHS: usize = 48;

/// Added to the cost of such a link, rows: what goes on rising comes first.
const REPEATED_COSTS: f32 = 6.0;
/// Links candidates into paths, one glass.
#[derive(Clone, Debug)]
pub struct Tracker {
    rows: f32,
    cols: f32,
    paths: Vec<Path>,
    clutter: Clutter,
    frame: u64,
    last_secs: Option<f64>,
    frame_secs: f64,
    /// Frames that went by unlooked at since the last one.
    passed_over: u32,
}

impl Tracker {
    /// Nothing followed yet, in a straightened glass so many samples high and wide.
    #[must_use]
    pub fn new(shape: (f32, f32)) -> Self {
        Self {
            rows: shape.0,
            cols: shape.1,
            paths: Vec::new(),
            clutter: Clutter::new(shape),
            frame: 0,
            last_secs: None,
            frame_secs: 1.0 / 30.0,
            passed_over: 0,
        }
    }

    /// A frame went by that nobody looked at.
    pub fn pass_over(&mut self) {
        self.passed_over += 1;
    }

    /// How many frames went by unlooked at since the last one that was not.
    #[must_use]
    pub fn passed_over(&self) -> u32 {
        self.passed_over
    }

    /// Whether nothing moves: whatever is followed has stood still for some time.
    #[must_use]
    pub fn is_calm(&self) -> bool {
        self.paths.iter().all(|path| path.stays && !path.departs())
    }

    /// Number of frames taken so far.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.frame
    }

    /// The picture has changed: what is known of clutter counts for little now.
    pub fn doubt_clutter(&mut self) {
        self.clutter.doubt();
    }

    /// What turns up for no reason in this glass.
    #[must_use]
    pub fn clutter(&self) -> &Clutter {
        &self.clutter
    }

    /// Usual time between frames, seconds.
    #[must_use]
    pub fn frame_secs(&self) -> f64 {
        self.frame_secs
    }

    /// Paths still followed.
    #[must_use]
    pub fn paths(&self) -> &[Path] {
        &self.paths
    }

    /// Takes the candidates of one frame; gives back the paths that ended with it. `patch` is the
    /// straightened glass, for the beads' pictures.
    pub fn step(&mut self, at_secs: f64, found: &[Candidate], patch: &Array2<f32>) -> Vec<Path> {
        self.frame += 1;
        if let Some(last) = self.last_secs {
            let gap = (at_secs - last) / f64::from(1 + self.passed_over);
            if gap > 0.0 && gap < 0.2 {
                self.frame_secs += (gap - self.frame_secs) * 0.1;
            }
        }
        self.last_secs = Some(at_secs);
        self.passed_over = 0;
        let taken = self.link(at_secs, found);
        for (index, candidate) in found.iter().enumerate() {
            if taken.get(index).copied().unwrap_or(false) || self.paths.len() >= MOST_PATHS {
                continue;
            }
            self.paths.push(Path::new(Sighting {
                at_secs,
                frame: self.frame,
                seen: *candidate,
                shared: false,
            }));
        }
        self.prune();
        let (frame, rows) = (self.frame, self.rows);
        for path in &mut self.paths {
            let is_seen = path.newest().is_some_and(|p| p.frame == frame);
            if !is_seen && path.repeated.is_none_or(|(of, ..)| of != frame) {
                path.goes_behind(found, at_secs, rows);
            }
        }
        self.learn_clutter(found);
        for path in &mut self.paths {
            path.forget_stillness();
            keep_picture(path, at_secs, patch);
        }
        self.ended(at_secs)
    }

    /// Gives up all paths, as at the end of a clip or the start of a blind spell.
    pub fn give_up(&mut self) -> Vec<Path> {
        self.last_secs = None;
        std::mem::take(&mut self.paths)
    }

    /// Assigns candidates to paths, nearest first, sure paths before the others. Returns which
    /// candidates a *sure* path took.
    fn link(&mut self, at_secs: f64, found: &[Candidate]) -> Vec<bool> {
        let mut pairs: Vec<(bool, f32, usize, usize)> = Vec::new();
        for (p, path) in self.paths.iter().enumerate() {
            for (c, candidate) in found.iter().enumerate() {
                if let Some(cost) = self.cost(path, candidate, at_secs) {
                    pairs.push((!path.is_sure(), cost, p, c));
                }
            }
        }
        pairs.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let mut path_has = vec![false; self.paths.len()];
        let mut owner: Vec<Option<usize>> = vec![None; found.len()];
        let mut sure = vec![false; found.len()];
        for pass in 0..2 {
            for &(_, _, p, c) in &pairs {
                if path_has[p] {
                    continue;
                }
                let is_sure = self.paths[p].is_sure();
                let shared = owner[c].is_some();
                // First each candidate to one path; then a sure path that got nothing may share
                // one that reaches to where it should be: two beads that are seen as one.
                if pass == 0 && shared {
                    continue;
                }
                let path = &self.paths[p];
                let may_share = is_sure && path.rises() && path.should_be_in(&found[c], at_secs);
                if pass == 1 && !(shared && may_share) {
                    continue;
                }
                path_has[p] = true;
                if !shared {
                    owner[c] = Some(p);
                }
                if self.paths[p].repeats(&found[c], at_secs) {
                    self.paths[p].repeats += 1;
                    self.paths[p].repeated = Some((self.frame, found[c].row, found[c].col));
                    sure[c] = true;
                    continue;
                }
                self.paths[p].take(Sighting {
                    at_secs,
                    frame: self.frame,
                    seen: found[c],
                    shared,
                });
                sure[c] |= is_sure && !self.paths[p].departs();
            }
        }
        sure
    }

    fn cost(&self, path: &Path, candidate: &Candidate, at_secs: f64) -> Option<f32> {
        let last = path.newest()?;
        let gap = (at_secs - last.at_secs) as f32;
        if gap <= 0.0 {
            return None;
        }
        let aside = (candidate.col - last.seen.col).abs();
        let most_aside = 2.0 + 0.06 * self.cols + 0.3 * last.seen.width;
        if aside > most_aside {
            return None;
        }
        // Something larger is no sighting of it: it may be behind that.
        if path.rises() && path.is_smaller_than(candidate) {
            return None;
        }
        let size = (candidate.weight.max(1.0) / last.seen.weight.max(1.0))
            .ln()
            .abs();
        if size > 2.0 {
            return None;
        }
        let off = if path.repeats(candidate, at_secs) {
            REPEATED_COSTS
        } else if path.points.len() == 1 {
            // Where it goes is not known yet: upwards, the nearer the likelier.
            let up = last.seen.row - candidate.row;
            if up < -1.5 || up > FASTEST_WIDTHS_PER_S * self.cols * gap {
                return None;
            }
            up.abs() * 0.5
        } else {
            let speed = path.speed().max(0.0);
            let off = (path.expected_row(at_secs) - candidate.row).abs();
            let slack = if path.points.len() == 2 { 0.7 } else { 0.5 };
            let most = 2.5 + slack * speed * gap + 0.2 * last.seen.height;
            if off > most {
                return None;
            }
            off
        };
        Some(off + 0.5 * aside + 2.0 * size)
    }

    /// Drops unsure paths whose newest candidate belongs to a sure one, and paths that hold the
    /// same last two candidates as another.
    fn prune(&mut self) {
        let mut owned: Vec<(u64, f32, f32)> = self
            .paths
            .iter()
            .filter(|p| p.is_sure() && !p.departs())
            .filter_map(|p| p.newest().map(|s| (s.frame, s.seen.row, s.seen.col)))
            .collect();
        owned.retain(|o| o.0 == self.frame);
        self.paths.retain(|p| {
            p.is_sure()
                || p.newest().is_none_or(|s| {
                    !owned
                        .iter()
                        .any(|o| o.0 == s.frame && o.1 == s.seen.row && o.2 == s.seen.col)
                })
        });
        if self.paths.len() > MOST_PATHS {
            self.paths
                .sort_by_key(|p| std::cmp::Reverse(p.points.len()));
            self.paths.truncate(MOST_PATHS);
        }
    }

    /// What no rising path holds is clutter. What a path held before it was known to rise is taken
    /// back once it does.
    fn learn_clutter(&mut self, found: &[Candidate]) {
        let frame = self.frame;
        for path in &mut self.paths {
            if path.forgiven || path.points.len() <= SURE_POINTS || !path.rises() {
                continue;
            }
            path.forgiven = true;
            if path.is_unbroken() {
                for point in path.points.iter().rev().skip(1) {
                    let seen = (point.seen.col, point.seen.weight);
                    self.clutter.forgive(point.frame, seen);
                }
            }
        }
        let rising: Vec<(f32, f32)> = self
            .paths
            .iter()
            .filter(|p| p.points.len() > SURE_POINTS && p.rises())
            .flat_map(|p| {
                let newest = p.newest().map(|s| (s.frame, s.seen.row, s.seen.col));
                newest.into_iter().chain(p.repeated)
            })
            .filter(|(of, ..)| *of == frame)
            .map(|(_, row, col)| (row, col))
            .collect();
        let still: Vec<(f32, f32)> = self
            .paths
            .iter()
            .filter(|p| p.stands())
            .filter_map(Path::newest)
            .filter(|s| s.frame == frame)
            .map(|s| (s.seen.row, s.seen.col))
            .collect();
        let unexplained = found
            .iter()
            .filter(|c| !rising.contains(&(c.row, c.col)))
            .map(|c| (c, still.contains(&(c.row, c.col))));
        self.clutter.learn(frame, unexplained);
    }

    fn ended(&mut self, at_secs: f64) -> Vec<Path> {
        let most = COAST_SECS.max(COAST_FRAMES * self.frame_secs);
        let rows = self.rows;
        let mut over = Vec::new();
        self.paths.retain(|path| {
            let Some(last) = path.newest() else {
                return false;
            };
            let unseen = at_secs - last.at_secs;
            // Once it must have left at the top there is nothing to wait for.
            let gone = path.rises()
                && unseen > 0.0
                && path.expected_row(at_secs) + last.seen.height / 2.0 < 0.0;
            let missing = at_secs - path.last_secs();
            let lost = missing > most || (path.points.len() < SURE_POINTS && unseen > most / 2.0);
            // A thing that never leaves (a scratch, a reflection) must not be kept for ever.
            let endless = path.points.len() > 4000 && last.seen.row > rows * 0.02;
            if gone || lost || endless {
                over.push(path.clone());
                false
            } else {
                true
            }
        });
        over
    }
}

/// Keeps the picture in which the bead is nearest to mid-glass.
fn keep_picture(path: &mut Path, at_secs: f64, patch: &Array2<f32>) {
    let Some(last) = path.points.last().copied() else {
        return;
    };
    if last.at_secs != at_secs || !path.rises() {
        return;
    }
    let (rows, cols) = patch.dim();
    let off = (last.seen.row - rows as f32 / 2.0).abs();
    if off >= path.picture_off_rows {
        return;
    }
    path.picture_off_rows = off;
    let half_height = (last.seen.height * 1.1 + 2.0).min(rows as f32 / 2.0);
    let half_width = (last.seen.width * 1.1 + 2.0).min(cols as f32 / 2.0);
    let top = (last.seen.row - half_height).max(0.0) as usize;
    let left = (last.seen.col - half_width).max(0.0) as usize;
    let bottom = ((last.seen.row + half_height) as usize + 1).min(rows);
    let right = ((last.seen.col + half_width) as usize + 1).min(cols);
    if bottom <= top || right <= left {
        return;
    }
    let picture = GrayImage::from_fn((right - left) as u32, (bottom - top) as u32, |x, y| {
        image::Luma([patch[[top + y as usize, left + x as usize]].clamp(0.0, 255.0) as u8])
    });
    path.picture = Some(Arc::new(picture));
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn blob(row: f32, col: f32) -> Candidate {
        Candidate {
            row,
            col,
            height: 8.0,
            width: 10.0,
            top: row - 4.0,
            bottom: row + 4.0,
            weight: 500.0,
            level: -10.0,
            core: -5.0,
            touches_side: false,
        }
    }

    fn run(frames: usize, at: impl Fn(usize) -> Vec<Candidate>) -> Vec<Path> {
        let mut tracker = Tracker::new((200.0, 60.0));
        let patch = Array2::zeros((200, 60));
        let mut over = Vec::new();
        for frame in 0..frames {
            over.extend(tracker.step(frame as f64 / 30.0, &at(frame), &patch));
        }
        over.extend(tracker.give_up());
        over.retain(Path::rises);
        over
    }

    #[test]
    fn one_rising_thing_is_one_path() {
        let over = run(40, |f| {
            if f < 25 {
                vec![blob(195.0 - 8.0 * f as f32, 30.0)]
            } else {
                vec![]
            }
        });
        assert_eq!(over.len(), 1);
        assert_eq!(over[0].points.len(), 25);
    }

    #[test]
    fn a_still_thing_and_three_missed_frames_do_not_disturb() {
        let over = run(60, |f| {
            let mut seen = vec![blob(190.0, 30.0)];
            if (20..44).contains(&f) && !(30..33).contains(&f) {
                seen.push(blob(180.0 - 7.0 * (f - 20) as f32, 30.0));
            }
            seen
        });
        assert_eq!(
            over.len(),
            1,
            "{:?}",
            over.iter().map(|p| p.points.len()).collect::<Vec<_>>()
        );
        assert!(over[0].points.len() >= 20);
    }

    #[test]
    fn what_goes_behind_a_larger_thing_is_the_same_when_it_comes_out() {
        // A puff of steam stands in the middle, a large one or one that the bead could be taken for.
        for (half, hidden) in [(30.0, 8), (10.0, 3)] {
            let puff = Candidate {
                height: 2.0 * half,
                width: 40.0,
                top: 100.0 - half,
                bottom: 100.0 + half,
                weight: 1500.0,
                ..blob(100.0, 28.0)
            };
            let over = run(40, |f| {
                let mut seen = vec![puff];
                let bead = blob(195.0 - 7.5 * f as f32, 30.0);
                if f < 26 && !(puff.top..puff.bottom).contains(&bead.row) {
                    seen.push(bead);
                }
                seen
            });
            let beads: Vec<&Path> = over.iter().filter(|p| p.points.len() > 12).collect();
            assert_eq!(beads.len(), 1, "{half}");
            let seen = (beads[0].points.len(), beads[0].hidden);
            assert_eq!(seen, (26 - hidden as usize, hidden), "{half}");
            assert!(beads[0].points.iter().all(|p| p.seen.height == 8.0));
        }
    }

    #[test]
    fn what_vanishes_before_nothing_larger_is_another_when_something_comes_again() {
        let over = run(40, |f| {
            let bead = blob(195.0 - 7.5 * f as f32, 30.0);
            let is_seen = f < 26 && !(70.0..130.0).contains(&bead.row);
            is_seen.then_some(bead).into_iter().collect()
        });
        assert_eq!(over.len(), 2);
    }

    #[test]
    fn two_that_follow_close_are_two_paths() {
        let over = run(60, |f| {
            let mut seen = Vec::new();
            for start in [0, 3] {
                if (start..start + 25).contains(&f) {
                    seen.push(blob(195.0 - 8.0 * (f - start) as f32, 30.0));
                }
            }
            seen
        });
        assert_eq!(over.len(), 2);
    }
}
