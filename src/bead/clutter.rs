//! Clutter: how often candidates of a given strength turn up at a given height for no reason, as
//! learned from the glass itself, and how unlikely that makes a path of chance. A weak bead in a
//! calm picture is believed; the same streak in a restless one is not, nor in a restless moment of
//! a calm one.

use std::collections::VecDeque;

use crate::bead::candidate::Candidate;

/// Bands along the axis: restlessness differs between the nozzle and the middle.
const BANDS: usize = 8;
/// Classes of strength, each √2 wide, from one grey level × sample upwards.
const CLASSES: usize = 40;
/// Frames over which clutter is forgotten: about half a minute.
const MEMORY_FRAMES: f32 = 900.0;
/// Weight, in frames, of what was known before the picture changed.
const DOUBTED_FRAMES: f32 = 30.0;
/// Chance per frame of a disturbance that was never seen before, anywhere in the gate.
const UNFORESEEN: f32 = 0.0007;
/// The same anywhere in a band of the glass.
const UNFORESEEN_ANYWHERE: f32 = 0.001;
/// A path's sighting may be weaker than the bead's usual strength by this much.
const WEAKER: f32 = 0.7;
/// What is so many classes stronger than that could not be taken for it: a bank of steam beside a
/// bead is no company.
const FAR_STRONGER: usize = 4;
/// False beads accepted an hour, by reckoning.
const FALSE_PER_HOUR: f32 = 3e-3;
/// Share of the glass in which a second sighting may lie and still begin a path.
const SECOND_SHARE: f32 = 0.3;

/// Frames whose own clutter is kept: the longest passage at thirty frames a second, half of it at
/// sixty.
const RECENT_FRAMES: usize = 256;
/// Frames before and after a sighting that tell how restless its moment is: a step of the light
/// stirs the glass for a tenth of a second and more.
const MOMENT_FRAMES: u64 = 2;

/// Frames before and after a sighting that tell what else its columns show: a bright edge that wanders
/// over a glass stays in the same columns for a second, and comes and goes in pieces.
const COLUMN_FRAMES: u64 = 8;
/// Columns to each side of a sighting that are its own: such an edge is a few samples wide.
const BESIDE_COLS: f32 = 2.5;

/// Learned rates of clutter in one glass.
#[derive(Clone, Debug)]
pub struct Clutter {
    /// Mean candidates per frame with at least the class's strength.
    at_least: [[f32; CLASSES]; BANDS],
    frames: f32,
    rows: f32,
    cols: f32,
    /// Number of the newest frame.
    newest: u64,
    /// For each of the newest frames how many candidates of at least each class it had, oldest
    /// first.
    recent: VecDeque<[u8; CLASSES]>,
    /// For the same frames where across the glass each of them was, and its class.
    across: VecDeque<Vec<(f32, usize)>>,
}

impl Clutter {
    /// Nothing known yet, in a straightened glass so many samples high and wide.
    #[must_use]
    pub fn new(shape: (f32, f32)) -> Self {
        Self {
            at_least: [[0.0; CLASSES]; BANDS],
            frames: 0.0,
            rows: shape.0,
            cols: shape.1,
            newest: 0,
            recent: VecDeque::with_capacity(RECENT_FRAMES),
            across: VecDeque::with_capacity(RECENT_FRAMES),
        }
    }

    /// Learns from the candidates of one frame, of that number, that belong to nothing that rises;
    /// each with whether it stands still, as a bead does that grows at the nozzle: that is no company
    /// for what rises.
    pub fn learn<'a>(
        &mut self,
        frame: u64,
        unexplained: impl Iterator<Item = (&'a Candidate, bool)>,
    ) {
        self.newest = frame;
        let mut here = [0_u8; CLASSES];
        let mut across = if self.recent.len() == RECENT_FRAMES {
            self.recent.pop_front();
            self.across.pop_front().unwrap_or_default()
        } else {
            Vec::new()
        };
        across.clear();
        self.frames = (self.frames + 1.0).min(MEMORY_FRAMES);
        let keep = 1.0 - 1.0 / self.frames;
        for value in self.at_least.iter_mut().flatten() {
            *value *= keep;
        }
        for (candidate, is_still) in unexplained {
            if !is_still {
                across.push((candidate.col, class(candidate.weight)));
                for count in here.iter_mut().take(class(candidate.weight) + 1) {
                    *count = count.saturating_add(1);
                }
            }
            let band = self.band(candidate.row);
            for value in self.at_least[band]
                .iter_mut()
                .take(class(candidate.weight) + 1)
            {
                *value += 1.0 / self.frames;
            }
        }
        self.recent.push_back(here);
        self.across.push_back(across);
    }

    /// Takes back a candidate of an earlier frame, by its column and weight: it belongs to something
    /// that rises.
    pub fn forgive(&mut self, frame: u64, (col, weight): (f32, f32)) {
        let Some(at) = self.place(frame) else {
            return;
        };
        if let Some(counts) = self.recent.get_mut(at) {
            for count in counts.iter_mut().take(class(weight) + 1) {
                *count = count.saturating_sub(1);
            }
        }
        if let Some(across) = self.across.get_mut(at)
            && let Some(it) = across.iter().position(|it| *it == (col, class(weight)))
        {
            across.swap_remove(it);
        }
    }

    /// Where a frame is among those that are kept.
    fn place(&self, frame: u64) -> Option<usize> {
        let age = self.newest.checked_sub(frame)? as usize;
        self.recent.len().checked_sub(age.checked_add(1)?)
    }

    /// Expected candidates of at least nearly this strength in a gate of so many rows × columns at
    /// a column, in a frame, as there are others in the columns beside it in the half second about.
    #[must_use]
    pub fn expected_in_column(&self, frame: u64, col: f32, weight: f32, gate_samples: f32) -> f32 {
        let class = class(weight * WEAKER);
        let is_beside = |(at, of): &&(f32, usize)| {
            (at - col).abs() <= BESIDE_COLS && (class..class + FAR_STRONGER).contains(of)
        };
        let (mut others, mut frames) = (0.0, 0.0_f32);
        for near in frame.saturating_sub(COLUMN_FRAMES)..=frame.saturating_add(COLUMN_FRAMES) {
            let here = self.place(near).and_then(|at| self.across.get(at));
            let Some(here) = here else { continue };
            // One a frame is left out: the path that is judged.
            others += here.iter().filter(is_beside).count().saturating_sub(1) as f32;
            frames += 1.0;
        }
        let columns = self.rows * 2.0 * BESIDE_COLS;
        (others / frames.max(1.0) * gate_samples / columns).min(1.0)
    }

    /// Mean number of other candidates of a class or somewhat stronger anywhere in the glass, in
    /// the moment of a frame. One a frame is left out: the sighting that is judged.
    fn others(&self, frame: u64, class: usize) -> f32 {
        let back = |frame: u64| {
            let counts = self.recent.get(self.place(frame)?)?;
            let stronger = counts.get(class + FAR_STRONGER).copied().unwrap_or(0);
            Some(counts.get(class)?.saturating_sub(stronger))
        };
        let (mut sum, mut frames) = (0.0, 0.0_f32);
        for near in frame.saturating_sub(MOMENT_FRAMES)..=frame + MOMENT_FRAMES {
            if let Some(count) = back(near) {
                sum += f32::from(count.saturating_sub(1));
                frames += 1.0;
            }
        }
        sum / frames.max(1.0)
    }

    /// What is known counts for little from now on: a second or two of new frames replace it.
    pub fn doubt(&mut self) {
        self.frames = self.frames.min(DOUBTED_FRAMES);
    }

    /// Mean number of other candidates, of at least nearly this strength, that are anywhere in the
    /// glass in the moment of a frame.
    #[must_use]
    pub fn company(&self, frame: u64, weight: f32) -> f32 {
        self.others(frame, class(weight * WEAKER))
    }

    /// Usual candidates a frame of a class or somewhat stronger in the band of a row.
    fn usual(&self, row: f32, class: usize) -> f32 {
        let band = &self.at_least[self.band(row)];
        let stronger = band.get(class + FAR_STRONGER).copied().unwrap_or(0.0);
        (band[class] - stronger).max(0.0)
    }

    /// Expected candidates of at least nearly this strength in a gate of so many rows × columns at
    /// a row, in a frame: as usual in its band of the glass, or as there are in that moment.
    #[must_use]
    pub fn expected(&self, frame: u64, row: f32, weight: f32, gate_samples: f32) -> f32 {
        let band = self.rows / BANDS as f32 * self.cols;
        let class = class(weight * WEAKER);
        let usual = self.usual(row, class) * (gate_samples / band).min(1.0);
        let whole = self.rows * self.cols;
        let now = self.others(frame, class) * (gate_samples / whole).min(1.0);
        (usual.max(now) + UNFORESEEN).min(1.0)
    }

    /// Expected candidates of at least nearly this strength anywhere in the band of a row, in a
    /// frame.
    #[must_use]
    pub fn anywhere(&self, frame: u64, row: f32, weight: f32) -> f32 {
        let class = class(weight * WEAKER);
        let usual = self.usual(row, class);
        let now = self.others(frame, class) / BANDS as f32;
        usual.max(now) + UNFORESEEN_ANYWHERE
    }

    /// How much evidence (natural logarithm) a path needs so that chance brings about
    /// `FALSE_PER_HOUR`: the number of ways in which two sightings an hour can begin one.
    #[must_use]
    pub fn chance_runs(&self, frames_per_s: f32) -> f32 {
        (3600.0 * frames_per_s.max(1.0) * BANDS as f32 * SECOND_SHARE * BANDS as f32
            / FALSE_PER_HOUR)
            .ln()
    }

    fn band(&self, row: f32) -> usize {
        ((row / self.rows.max(1.0) * BANDS as f32).max(0.0) as usize).min(BANDS - 1)
    }
}

fn class(weight: f32) -> usize {
    ((weight.max(1.0).log2() * 2.0) as usize).min(CLASSES - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bead::track::tests::blob;

    #[test]
    fn restless_places_ask_for_more_evidence() {
        let mut calm = Clutter::new((200.0, 60.0));
        let mut restless = Clutter::new((200.0, 60.0));
        let noise: Vec<Candidate> = (0..8).map(|i| blob(25.0 * i as f32, 30.0)).collect();
        for frame in 1..=300 {
            calm.learn(frame, std::iter::empty());
            restless.learn(frame, noise.iter().map(|c| (c, false)));
        }
        let gate = 30.0;
        assert!(
            calm.expected(300, 100.0, 500.0, gate) < restless.expected(300, 100.0, 500.0, gate)
        );
        assert!(calm.anywhere(300, 100.0, 500.0) < restless.anywhere(300, 100.0, 500.0));
        // Far stronger things than the clutter stay believable.
        assert_eq!(
            calm.anywhere(300, 100.0, 50_000.0),
            restless.anywhere(300, 100.0, 50_000.0)
        );
    }

    #[test]
    fn specks_one_above_the_other_are_expected_in_their_columns_only() {
        let mut clutter = Clutter::new((200.0, 60.0));
        let specks: Vec<Candidate> = (0..3).map(|i| blob(60.0 * i as f32, 21.0)).collect();
        for frame in 1..=300 {
            clutter.learn(frame, specks.iter().map(|c| (c, false)));
        }
        let gate = 30.0;
        let beside = clutter.expected_in_column(300, 20.0, 500.0, gate);
        // Two more than the one that is judged, in five columns of 200 rows.
        assert!((beside - 2.0 * gate / 1000.0).abs() < 1e-6, "{beside}");
        assert!(beside > 2.0 * clutter.expected(300, 100.0, 500.0, gate));
        assert_eq!(clutter.expected_in_column(300, 40.0, 500.0, gate), 0.0);
        for frame in 1..=300 {
            clutter.forgive(frame, (21.0, 500.0));
            clutter.forgive(frame, (21.0, 500.0));
        }
        assert_eq!(clutter.expected_in_column(300, 20.0, 500.0, gate), 0.0);
    }

    #[test]
    fn a_bank_of_steam_is_no_company_for_a_bead() {
        let mut clutter = Clutter::new((200.0, 60.0));
        let mut bank = blob(60.0, 30.0);
        bank.weight = 4000.0;
        let puffs = [bank, bank, bank];
        for frame in 1..=300 {
            clutter.learn(frame, puffs.iter().map(|c| (c, false)));
        }
        assert_eq!(clutter.company(300, 500.0), 0.0);
        assert!(clutter.company(300, 4000.0) >= 2.0);
    }

    #[test]
    fn a_restless_moment_asks_for_more_evidence_and_a_lone_thing_does_not() {
        let mut clutter = Clutter::new((200.0, 60.0));
        let storm: Vec<Candidate> = (0..20).map(|i| blob(10.0 * i as f32, 30.0)).collect();
        let lone = [blob(100.0, 30.0)];
        for frame in 1..=900 {
            match frame {
                700..=705 => clutter.learn(frame, storm.iter().map(|c| (c, false))),
                750..=755 => clutter.learn(frame, storm.iter().map(|c| (c, true))),
                800..=805 => clutter.learn(frame, lone.iter().map(|c| (c, false))),
                _ => clutter.learn(frame, std::iter::empty()),
            }
        }
        let at = |frame| clutter.expected(frame, 100.0, 500.0, 30.0);
        assert!(at(703) > 3.0 * at(780), "{} {}", at(703), at(780));
        assert_eq!(at(803), at(780));
        // What stands still is no company.
        assert_eq!(clutter.company(753, 500.0), 0.0);
    }
}
