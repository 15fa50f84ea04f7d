//! What the beads of a feed are like: while a feed gives drops, a path that looks like its beads is
//! more likely one of them than a path in a glass through which nothing has come yet. Asked only
//! in a restless glass and of what is clear, for otherwise every bead speaks for itself.

use crate::bead::explain::Explained;

/// Fewest beads beyond doubt, and most that are kept.
const FEWEST: usize = 2;
const MOST: usize = 12;
/// A feed goes on giving drops for so many of its longest intervals after its newest bead, and at least
/// for the second figure and at most for the third, seconds.
const GOES_ON: (f64, f64, f64) = (2.0, 6.0, 90.0);
/// False beads accepted for each true one, by reckoning, while a feed gives drops.
const FALSE_PER_BEAD: f32 = 1e-3;
/// False beads an hour that are accepted all the same: see `clutter`.
const FALSE_PER_HOUR: f32 = 3e-3;
/// Spread of speed, height and strength from bead to bead of a feed as they are seen in restless
/// pictures, natural logarithm: drops from one nozzle are alike, a coder takes away of their strength.
const SPREADS: [f32; 3] = [0.1, 0.25, 0.45];
/// What is like a bead of the feed differs by so many of them at the most.
const MOST_SPREADS: f32 = 3.0;
/// Ranges over which chance finds lie evenly, natural logarithm. That of speed is in `explain`.
const CHANCE: [f32; 3] = [CHANCE_SPEEDS, 1.5, 2.5];
/// Share of the beads that look like none before: smaller ones that follow, changed settings.
const UNLIKE_ANY: f32 = 0.2;
/// Evidence (natural logarithm) that a feed of which nothing is known takes away in a restless glass:
/// such glasses are few, and false beads are kept as rare in them as in all the others.
const SILENT_COSTS: f32 = 2.5;
/// Speeds of oil in its own diameters a second: what the drag law says, with the bore's wall and
/// warmth, times and over the second figure.
const USUAL_SPEED: (f32, f32) = (21.0, 1.45);
/// Range of speeds among which chance finds lie evenly, natural logarithm: 1 to 400 of their
/// heights a second.
const CHANCE_SPEEDS: f32 = 6.0;

/// What is known of the beads of a feed that gives drops.
#[derive(Clone, Copy, Debug, Default)]
pub struct Known {
    looks: [[f32; 3]; MOST],
    count: usize,
    /// How many of them rose as slowly as oil does.
    slow: usize,
    per_hour: f32,
}

impl Known {
    /// From the beads that were settled, at a time; nothing is known when they are too few or the
    /// newest is too long ago.
    #[must_use]
    pub fn of<'a>(settled: impl Iterator<Item = &'a Explained>, at_secs: f64) -> Self {
        let mut known = Self::default();
        let mut times: Vec<f64> = Vec::with_capacity(MOST);
        for bead in settled.filter(|bead| bead.surplus >= 0.0) {
            if let Some(look) = known.looks.get_mut(known.count) {
                *look = look_of(bead.rows_per_s, bead.height, bead.strength);
                known.count += 1;
                known.slow += usize::from(bead.is_slow());
                times.push(bead.at_secs);
            }
        }
        times.sort_by(f64::total_cmp);
        let longest = times
            .windows(2)
            .filter_map(|w| Some(w.last()? - w.first()?));
        let (after, least, most) = GOES_ON;
        let on_for = (after * longest.fold(0.0, f64::max)).clamp(least, most);
        let (Some(first), Some(last)) = (times.first(), times.last()) else {
            return Self::default();
        };
        if known.count < FEWEST || at_secs - last > on_for {
            return Self::default();
        }
        known.per_hour = (3600.0 * known.count as f64 / (at_secs - first).max(least)) as f32;
        known
    }

    /// Whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Whether beads are known that rose as slowly as oil does: bubbles of gas say nothing of it.
    #[must_use]
    pub fn has_oil(&self) -> bool {
        self.slow >= FEWEST
    }

    /// Whether one of its beads rose about as fast (rows a second), was about as high (rows) and as strong.
    #[must_use]
    pub fn is_like(&self, (rows_per_s, height, strength): (f32, f32, f32)) -> bool {
        let it = look_of(rows_per_s, height, strength);
        let is_near = |look: &[f32; 3]| {
            let mut both = it.iter().zip(look).zip(SPREADS);
            both.all(|((a, b), spread)| (a - b).abs() < MOST_SPREADS * spread)
        };
        let looks = self.looks.get(..self.count).unwrap_or(&[]);
        looks.iter().any(is_near)
    }

    /// Evidence (natural logarithm) that speaks for a path that rises so fast (rows a second), is so
    /// high (rows) and so strong, and so many diameters long is its rise in a second.
    #[must_use]
    pub fn speaks(&self, (rows_per_s, height, strength): (f32, f32, f32), diameters: f32) -> f32 {
        let by_size = speed_speaks(diameters);
        let looks = self.looks.get(..self.count).unwrap_or(&[]);
        if looks.is_empty() {
            return by_size - SILENT_COSTS;
        }
        let it = look_of(rows_per_s, height, strength);
        let density = |known: &[f32; 3]| {
            let mut ratio = 1.0;
            for (((a, b), spread), chance) in it.iter().zip(known).zip(SPREADS).zip(CHANCE) {
                let off = (a - b) / spread;
                ratio *=
                    (-0.5 * off * off).exp() * chance / (spread * std::f32::consts::TAU.sqrt());
            }
            ratio
        };
        let alike = looks.iter().map(density).sum::<f32>() / looks.len() as f32;
        let odds = (1.0 - UNLIKE_ANY) * alike + UNLIKE_ANY * by_size.exp();
        (odds.ln() + (1.0 + FALSE_PER_BEAD * self.per_hour / FALSE_PER_HOUR).ln()).max(by_size)
    }
}

fn look_of(rows_per_s: f32, height: f32, strength: f32) -> [f32; 3] {
    [rows_per_s, height, strength].map(|v| v.max(1.0).ln())
}

/// Evidence from a speed, in diameters a second: a bead of oil rises as fast as its size lets it,
/// chance finds at any speed. It only ever adds: what is slow is judged by itself, and gas is faster.
pub(super) fn speed_speaks(diameters_per_s: f32) -> f32 {
    let spread = USUAL_SPEED.1.ln();
    let off = (diameters_per_s / USUAL_SPEED.0).ln() / spread;
    let peak = (CHANCE_SPEEDS / (spread * std::f32::consts::TAU.sqrt())).ln();
    (peak - 0.5 * off * off).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bead(at_secs: f64, surplus: f32) -> Explained {
        Explained {
            at_secs,
            rows_per_s: 190.0,
            height: 9.0,
            width: 12.0,
            confidence: 0.99,
            surplus,
            col: 20.0,
            strength: 400.0,
            cover: 0.9,
            diameters_per_s: 21.0,
            rows: Vec::new(),
        }
    }

    #[test]
    fn what_looks_like_the_beads_of_a_feed_that_gives_drops_is_sooner_believed() {
        let beads = [bead(1.0, 20.0), bead(5.0, 9.0), bead(9.0, 15.0)];
        let known = Known::of(beads.iter(), 12.0);
        let alike = (185.0, 9.5, 380.0);
        let nothing = Known::default().speaks(alike, 21.0);
        assert!(known.speaks(alike, 21.0) > nothing + 5.0);
        // Another speed and size: no more than that the feed gives drops.
        assert!(known.speaks((420.0, 20.0, 4000.0), 21.0) < known.speaks(alike, 21.0) - 2.0);
    }

    #[test]
    fn bubbles_of_gas_say_nothing_of_oil() {
        let mut beads = [bead(1.0, 20.0), bead(5.0, 9.0), bead(9.0, 15.0)];
        assert!(Known::of(beads.iter(), 12.0).has_oil());
        beads[1].diameters_per_s = 90.0;
        assert!(Known::of(beads.iter(), 12.0).has_oil());
        beads[2].diameters_per_s = 90.0;
        let known = Known::of(beads.iter(), 12.0);
        assert!(!known.has_oil() && !known.is_empty());
    }

    #[test]
    fn a_feed_that_stopped_or_was_never_sure_is_not_known() {
        let sure = [bead(1.0, 20.0), bead(5.0, 9.0)];
        let alike = (190.0, 9.0, 400.0);
        let nothing = Known::default().speaks(alike, 21.0);
        assert_eq!(Known::of(sure.iter(), 14.0).speaks(alike, 21.0), nothing);
        assert!(nothing < speed_speaks(21.0));
        let doubtful = [bead(1.0, -2.0), bead(5.0, 9.0)];
        assert_eq!(Known::of(doubtful.iter(), 7.0).speaks(alike, 21.0), nothing);
    }
}
