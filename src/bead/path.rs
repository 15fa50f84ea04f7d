//! The path of one thing through the glass: where it was seen, how fast it rises, whether it stands.
//! How candidates come to lie on it is left to `track`, what it was to `explain`.

use std::sync::Arc;

use image::GrayImage;

use crate::bead::candidate::Candidate;
use crate::bead::steady::median;

/// Points of a path that is standing still which are kept: about half a second.
const STILL_POINTS: usize = 16;
/// Movement under this many rows in that time is standing still.
const STILL_ROWS: f32 = 2.5;
/// Sightings in a row without such movement that are enough to call it standing still.
const STILL_SIGHTINGS: usize = 6;
/// A step up of so many rows from standing still may be a departure.
const DEPARTS_ROWS: f32 = 1.0;
/// A thing that rose by so many rows from picture to picture and then not at all is an old picture
/// that came once more, or one that a coder left as it was: it tells nothing. As a part of its step.
const REPEATED_ROWS: f32 = 2.0;
const REPEATED_SHARE: f32 = 0.2;
/// Share of the height of a glass through which a bead may go behind something in one piece.
const MOST_HIDDEN_SHARE: f32 = 0.45;
/// What is so many times as high as a bead was of late, and so many times as wide, is another thing, which it
/// may be behind. Beads that rise close together are one thing of the same width.
const LARGER_FROM: (f32, f32) = (1.6, 1.15);
/// Newest sightings that tell how large it is.
const SIZE_OF: usize = 5;
/// From this many points on a path is sure enough to own its candidates.
pub(super) const SURE_POINTS: usize = 3;

/// One sighting on a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sighting {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Number of the frame among those looked at.
    pub frame: u64,
    /// What was seen.
    pub seen: Candidate,
    /// Whether another path took the same candidate (two beads seen as one).
    pub shared: bool,
}

/// The path of one thing through the glass.
#[derive(Clone, Debug)]
pub struct Path {
    /// From the first sighting to the last.
    pub points: Vec<Sighting>,
    /// A picture of it, taken nearest to mid-glass so far.
    pub picture: Option<Arc<GrayImage>>,
    /// Frames in which it was seen once more where it had been, while it rose: they tell nothing.
    pub repeats: u64,
    /// The newest of them: frame, row and column.
    pub(super) repeated: Option<(u64, f32, f32)>,
    /// Frames of its way in which something larger stood where it should have been: they tell nothing.
    pub hidden: u64,
    /// Such frames since the newest sighting, and when the newest of them was, seconds.
    behind: (u64, f64),
    pub(super) picture_off_rows: f32,
    pub(super) stays: bool,
    pub(super) forgiven: bool,
}

impl Path {
    pub(super) fn new(first: Sighting) -> Self {
        Self::of(vec![first])
    }

    /// A path of sightings that were put together elsewhere, oldest first.
    #[must_use]
    pub fn of(points: Vec<Sighting>) -> Self {
        Self {
            points,
            picture: None,
            repeats: 0,
            repeated: None,
            hidden: 0,
            behind: (0, f64::NEG_INFINITY),
            picture_off_rows: f32::MAX,
            stays: false,
            forgiven: false,
        }
    }

    /// Takes one more sighting.
    pub(super) fn take(&mut self, sighting: Sighting) {
        self.hidden += self.behind.0;
        self.behind.0 = 0;
        self.points.push(sighting);
    }

    /// Notes that something larger stands where it should be, if it does: a bead behind steam or behind a
    /// larger one is no bead that has gone. On a glass of so many rows it may be behind things for
    /// [`MOST_HIDDEN_SHARE`] of its way at the most.
    pub(super) fn goes_behind(&mut self, others: &[Candidate], at_secs: f64, rows: f32) {
        let Some(last) = self.newest().filter(|_| self.rises()) else {
            return;
        };
        let (row, seen) = (self.expected_row(at_secs), last.seen);
        let hides = |other: &Candidate| {
            self.should_be_in(other, at_secs)
                && self.is_smaller_than(other)
                && (other.col - seen.col).abs() < f32::midpoint(other.width, seen.width)
        };
        if seen.row - row < MOST_HIDDEN_SHARE * rows && others.iter().any(hides) {
            self.behind = (self.behind.0 + 1, at_secs);
        }
    }

    /// Whether something is larger than it, both ways.
    pub(super) fn is_smaller_than(&self, other: &Candidate) -> bool {
        let from = self.points.len().saturating_sub(SIZE_OF);
        let newest = self.points.get(from..).unwrap_or(&[]);
        let usual = |of: fn(&Sighting) -> f32| {
            let mut values = [0.0; SIZE_OF];
            for (value, point) in values.iter_mut().zip(newest) {
                *value = of(point);
            }
            median(values.get_mut(..newest.len()).unwrap_or(&mut []))
        };
        other.height > LARGER_FROM.0 * usual(|p| p.seen.height)
            && other.width > LARGER_FROM.1 * usual(|p| p.seen.width)
    }

    /// When it was seen last, or known to be behind something, seconds.
    pub(super) fn last_secs(&self) -> f64 {
        let seen_secs = self.newest().map_or(f64::NEG_INFINITY, |p| p.at_secs);
        seen_secs.max(self.behind.1)
    }

    /// Whether it was seen in each frame since it began.
    pub(super) fn is_unbroken(&self) -> bool {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => last.frame - first.frame + 1 == self.points.len() as u64,
            _ => false,
        }
    }

    /// The newest sighting.
    #[must_use]
    pub fn newest(&self) -> Option<&Sighting> {
        self.points.last()
    }

    /// Rise speed over the newest sightings, rows a second (upwards is positive).
    #[must_use]
    pub fn speed(&self) -> f32 {
        let tail = self
            .points
            .get(self.points.len().saturating_sub(4)..)
            .unwrap_or(&[]);
        slope(tail)
    }

    /// Usual weight of its sightings, grey levels × samples.
    #[must_use]
    pub fn strength(&self) -> f32 {
        let mut weights: Vec<f32> = self.points.iter().map(|p| p.seen.weight).collect();
        median(&mut weights)
    }

    /// Whether it stood still and its newest sighting is a step upwards: a bead may be leaving
    /// the nozzle, which is a path of its own.
    pub(super) fn departs(&self) -> bool {
        let n = self.points.len();
        !self.rises()
            && n >= 2
            && self.points[n - 2].seen.row - self.points[n - 1].seen.row > DEPARTS_ROWS
    }

    /// Where it should be at a time, row.
    #[must_use]
    pub fn expected_row(&self, at_secs: f64) -> f32 {
        self.newest().map_or(0.0, |last| {
            last.seen.row - self.speed() * (at_secs - last.at_secs) as f32
        })
    }

    /// Whether the height at which it should be lies within a candidate.
    pub(super) fn should_be_in(&self, candidate: &Candidate, at_secs: f64) -> bool {
        (candidate.top..=candidate.bottom).contains(&self.expected_row(at_secs))
    }

    /// Whether it has clearly been rising.
    #[must_use]
    pub fn rises(&self) -> bool {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => {
                self.points.len() >= SURE_POINTS
                    && first.seen.row - last.seen.row > last.seen.height.max(4.0)
            }
            _ => false,
        }
    }

    /// Whether it stood still in its newest sightings.
    pub(super) fn stands(&self) -> bool {
        let newest = self.points.len().checked_sub(STILL_SIGHTINGS);
        let newest = newest.and_then(|from| self.points.get(from..));
        newest.is_some_and(|points| {
            let rows = || points.iter().map(|p| p.seen.row);
            let most = rows().fold(f32::NEG_INFINITY, f32::max);
            most - rows().fold(f32::INFINITY, f32::min) < STILL_ROWS
        })
    }

    /// Whether a candidate is its newest sighting once more, though it should have risen.
    pub(super) fn repeats(&self, candidate: &Candidate, at_secs: f64) -> bool {
        let Some(last) = self.newest().filter(|_| self.rises()) else {
            return false;
        };
        let step = self.speed() * (at_secs - last.at_secs) as f32;
        step > REPEATED_ROWS
            && (last.seen.row - candidate.row).abs() < REPEATED_SHARE * step
            && (last.seen.col - candidate.col).abs() < 1.0
    }

    pub(super) fn is_sure(&self) -> bool {
        self.points.len() >= SURE_POINTS
    }

    /// A path that stands still keeps only its newest points: the growing bead on the nozzle must
    /// not weigh on its own departure.
    pub(super) fn forget_stillness(&mut self) {
        if self.points.len() <= STILL_POINTS {
            return;
        }
        let from = self.points.len() - STILL_POINTS;
        let moved = match (self.points.get(from), self.points.last()) {
            (Some(a), Some(b)) => (a.seen.row - b.seen.row).abs(),
            _ => 0.0,
        };
        if moved < STILL_ROWS {
            self.stays = true;
            self.points.drain(..from);
        } else {
            self.stays = false;
        }
    }
}

/// Least-squares rise speed of some sightings, rows a second.
fn slope(points: &[Sighting]) -> f32 {
    let n = points.len() as f64;
    let Some(first) = points.first() else {
        return 0.0;
    };
    let (mut st, mut sr, mut stt, mut str_) = (0.0, 0.0, 0.0, 0.0);
    for p in points {
        let (t, r) = (p.at_secs - first.at_secs, f64::from(p.seen.row));
        st += t;
        sr += r;
        stt += t * t;
        str_ += t * r;
    }
    let spread = stt - st * st / n;
    if spread <= 1e-12 {
        return 0.0;
    }
    (-(str_ - st * sr / n) / spread) as f32
}

/// Most ratio of the rises of a bead and of its reflection.
const MOST_PACE: f32 = 1.6;

/// Whether two paths rose alike in the frames in which both were seen: a reflection keeps pace with
/// its bead, a drifting light does not.
pub(super) fn keeps_pace(bead: &[(u64, f32)], other: &[(u64, f32)]) -> bool {
    let row = |of: &[(u64, f32)], frame: u64| {
        let at = of.binary_search_by_key(&frame, |(f, _)| *f).ok();
        at.and_then(|at| of.get(at)).map(|(_, row)| *row)
    };
    let both = || bead.iter().filter_map(|(f, r)| Some((*r, row(other, *f)?)));
    match (both().next(), both().next_back()) {
        (Some(first), Some(last)) => {
            let (own, others) = (first.0 - last.0, first.1 - last.1);
            others > own / MOST_PACE && others < own * MOST_PACE
        }
        _ => false,
    }
}

/// Leaves out the time in which it stood still before it rose.
pub(super) fn moving(points: &[Sighting]) -> &[Sighting] {
    let Some(first) = points.first() else {
        return points;
    };
    let start = points
        .iter()
        .rposition(|p| p.seen.row > first.seen.row - 2.0)
        .unwrap_or(0);
    points.get(start..).unwrap_or(points)
}
