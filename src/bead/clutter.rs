//! Clutter: how often candidates of a given strength turn up at a given height for no reason, as
//! learned from the glass itself, and how unlikely that makes a path of chance. A weak bead in a
//! calm picture is believed; the same streak in a restless one is not.

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
/// False beads accepted an hour, by reckoning.
const FALSE_PER_HOUR: f32 = 3e-3;
/// Share of the glass in which a second sighting may lie and still begin a path.
const SECOND_SHARE: f32 = 0.3;

/// Learned rates of clutter in one glass.
#[derive(Clone, Debug)]
pub struct Clutter {
    /// Mean candidates per frame with at least the class's strength.
    at_least: [[f32; CLASSES]; BANDS],
    frames: f32,
    rows: f32,
    cols: f32,
}

impl Clutter {
    /// Nothing known yet, in a straightened glass of this shape (rows, columns).
    #[must_use]
    pub fn new(shape: (usize, usize)) -> Self {
        Self {
            at_least: [[0.0; CLASSES]; BANDS],
            frames: 0.0,
            rows: shape.0 as f32,
            cols: shape.1 as f32,
        }
    }

    /// Learns from the candidates of one frame that belong to nothing that rises.
    pub fn learn<'a>(&mut self, unexplained: impl Iterator<Item = &'a Candidate>) {
        self.frames = (self.frames + 1.0).min(MEMORY_FRAMES);
        let keep = 1.0 - 1.0 / self.frames;
        for value in self.at_least.iter_mut().flatten() {
            *value *= keep;
        }
        for candidate in unexplained {
            let band = self.band(candidate.row);
            for value in self.at_least[band]
                .iter_mut()
                .take(class(candidate.weight) + 1)
            {
                *value += 1.0 / self.frames;
            }
        }
    }

    /// What is known counts for little from now on: a second or two of new frames replace it.
    pub fn doubt(&mut self) {
        self.frames = self.frames.min(DOUBTED_FRAMES);
    }

    /// Expected candidates a frame of at least nearly this strength in a gate of so many rows ×
    /// columns at a row.
    #[must_use]
    pub fn expected(&self, row: f32, weight: f32, gate_samples: f32) -> f32 {
        let band = self.rows / BANDS as f32 * self.cols;
        let rate = self.at_least[self.band(row)][class(weight * WEAKER)];
        (rate * (gate_samples / band).min(1.0) + UNFORESEEN).min(1.0)
    }

    /// Expected candidates a frame of at least nearly this strength anywhere in the band of a row.
    #[must_use]
    pub fn anywhere(&self, row: f32, weight: f32) -> f32 {
        self.at_least[self.band(row)][class(weight * WEAKER)] + UNFORESEEN_ANYWHERE
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
        let mut calm = Clutter::new((200, 60));
        let mut restless = Clutter::new((200, 60));
        let noise: Vec<Candidate> = (0..8).map(|i| blob(25.0 * i as f32, 30.0)).collect();
        for _ in 0..300 {
            calm.learn(std::iter::empty());
            restless.learn(noise.iter());
        }
        assert!(calm.expected(100.0, 500.0, 30.0) < restless.expected(100.0, 500.0, 30.0));
        assert!(calm.anywhere(100.0, 500.0) < restless.anywhere(100.0, 500.0));
        // Far stronger things than the clutter stay believable.
        assert_eq!(
            calm.anywhere(100.0, 50_000.0),
            restless.anywhere(100.0, 50_000.0)
        );
    }
}
