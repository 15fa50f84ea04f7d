//! How a regulating valve answers: the rate of a feed against the turns its valve was opened, from
//! marks with readings before and after, as a curve that never falls, with limits; and what
//! movement would bring the feed to a wanted rate. It tells what was seen and how sure that is;
//! it gives no order, and knows nothing of screens or sheets.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::{DropRecord, Reading, find_change, reading};

/// How far a movement of a hand is from what was told of it: standard deviation, turns. 0.03 turn
/// is some ten degrees, what a person is off in a quarter turn (common practice).
const HAND_SPREAD_TURNS: f64 = 0.03;

/// Curves drawn from what is known of the readings. With a thousand, a 95 % limit is off by a
/// fifteenth of a standard deviation; the seed is fixed, so the same marks give the same limits.
const DRAWS: usize = 1000;

/// Seed of the drawing: any number.
const SEED: u64 = 1878;

/// A curve is carried on beyond what was tried by at most its own length, and by its mean slope.
const BEYOND_SHARE: f64 = 1.0;

/// Positions nearer than this are one position, turns: a quarter of what a hand is off.
const SAME_TURNS: f64 = 0.008;

/// A movement of the valve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ValveMark {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Turns opened; negative when closed.
    pub opened_turns: f64,
}

/// A position of the valve with the reading there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ValvePoint {
    /// Turns opened since the first position.
    pub turns: f64,
    /// The reading at this position.
    pub reading: Reading,
}

/// A place on a response curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Turns opened since the first position.
    pub turns: f64,
    /// Rate, drops a minute: the middle of what is possible.
    pub drops_per_minute: f64,
    /// Lower 95 % limit, drops a minute.
    pub low: f64,
    /// Upper 95 % limit, drops a minute.
    pub high: f64,
}

/// What movement would bring a feed to a wanted rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Movement {
    /// The wanted rate, drops a minute.
    pub wanted_per_minute: f64,
    /// Turns to open from where the valve stands now, negative to close: the middle of what is
    /// possible.
    pub turns: f64,
    /// Lower 95 % limit, turns; −∞ when more than the curve can tell.
    pub low: f64,
    /// Upper 95 % limit, turns; ∞ when more than the curve can tell.
    pub high: f64,
    /// Whether it leads beyond the positions that were tried.
    pub beyond: Beyond,
}

/// Whether a movement leads beyond what was tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beyond {
    /// It stays between positions that were tried.
    No,
    /// It leads beyond them: the curve is carried on.
    Yes,
}

/// A curve of rate against turns.
#[derive(Clone, Debug)]
pub struct ResponseCurve {
    points: Vec<CurvePoint>,
    /// Each with its positions in rising order, and the last position in time.
    drawn: Vec<Drawn>,
    /// The outermost positions as told.
    tried: (f64, f64),
}

/// One curve that the readings leave possible.
#[derive(Clone, Debug)]
struct Drawn {
    /// (turns, drops a minute), neither ever falling.
    knots: Vec<(f64, f64)>,
    /// Where the valve stands now.
    now_turns: f64,
}

/// The positions of a valve with their readings: one before the first mark, and one after each,
/// from the drops up to the next mark (after a change of rate that nobody announced, only those
/// since). Positions without a reading are passed over. Marks out of order are put in order.
#[must_use]
pub fn valve_points(record: &DropRecord, marks: &[ValveMark]) -> Vec<ValvePoint> {
    let mut marks: Vec<ValveMark> = marks
        .iter()
        .copied()
        .filter(|m| m.at_secs.is_finite() && m.opened_turns.is_finite())
        .collect();
    marks.sort_by(|a, b| a.at_secs.total_cmp(&b.at_secs));
    let mut points = Vec::new();
    let (mut from, mut turns) = (record.from_secs, 0.0);
    let last = ValveMark {
        at_secs: record.now_secs,
        opened_turns: 0.0,
    };
    for mark in marks.into_iter().chain([last]) {
        let mut part = record.between(from, mark.at_secs);
        while let Some(change) = find_change(&part) {
            part = part.since(change.at_secs);
        }
        if let Some(reading) = reading(&part) {
            points.push(ValvePoint { turns, reading });
        }
        from = mark.at_secs;
        turns += mark.opened_turns;
    }
    points
}

impl ResponseCurve {
    /// The curve through positions given in order of time. None with fewer than two different
    /// positions, or readings that are no positive numbers.
    ///
    /// A curve that never falls is fitted (pool adjacent violators, each rate weighted by what is
    /// known of it) to each of a thousand sets of rates drawn from the readings and of positions
    /// drawn round those told; the limits are what 95 % of these curves keep to (a projected
    /// posterior: L. Lin and D. B. Dunson, Biometrika 101 (2014)).
    #[must_use]
    pub fn of(points: &[ValvePoint]) -> Option<Self> {
        let usable = |p: &ValvePoint| {
            let r = &p.reading;
            let rates = [r.low, r.drops_per_minute, r.high];
            p.turns.is_finite() && rates.iter().all(|v| *v > 0.0 && v.is_finite())
        };
        if !points.iter().all(usable) {
            return None;
        }
        let turns = || points.iter().map(|p| p.turns);
        let tried = (
            turns().fold(f64::INFINITY, f64::min),
            turns().fold(f64::NEG_INFINITY, f64::max),
        );
        if points.len() < 2 || tried.1 - tried.0 < SAME_TURNS {
            return None;
        }
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let drawn: Vec<Drawn> = (0..DRAWS).map(|_| Drawn::new(points, &mut rng)).collect();
        let mut places: Vec<f64> = turns().collect();
        places.sort_by(f64::total_cmp);
        places.dedup_by(|a, b| *a - *b < SAME_TURNS);
        let points = places.into_iter().map(|at| point_at(&drawn, at)).collect();
        Some(Self {
            points,
            drawn,
            tried,
        })
    }

    /// The curve at the positions tried, in rising order.
    #[must_use]
    pub fn points(&self) -> &[CurvePoint] {
        &self.points
    }

    /// The curve at any position between the outermost ones tried; none beyond.
    #[must_use]
    pub fn at(&self, turns: f64) -> Option<CurvePoint> {
        (self.tried.0..=self.tried.1)
            .contains(&turns)
            .then(|| point_at(&self.drawn, turns))
    }

    /// What movement from where the valve stands now would bring the feed to a wanted rate. None
    /// when the curve cannot tell: in a tenth or more of the possible cases the valve did not
    /// answer, or the rate lies farther off than the curve may be carried on.
    #[must_use]
    pub fn movement_to(&self, wanted_per_minute: f64) -> Option<Movement> {
        if !(wanted_per_minute > 0.0 && wanted_per_minute.is_finite()) {
            return None;
        }
        let mut moves: Vec<f64> = Vec::with_capacity(DRAWS);
        let mut beyond = 0_usize;
        for drawn in &self.drawn {
            let (turns, is_beyond) = drawn.movement_to(wanted_per_minute);
            moves.push(turns);
            beyond += usize::from(is_beyond);
        }
        let told = moves.iter().filter(|turns| turns.is_finite()).count();
        if told * 10 < 9 * DRAWS {
            return None;
        }
        moves.sort_by(f64::total_cmp);
        Some(Movement {
            wanted_per_minute,
            turns: at_share(&moves, 0.5),
            low: at_share(&moves, 0.025),
            high: at_share(&moves, 0.975),
            beyond: if 2 * beyond > DRAWS {
                Beyond::Yes
            } else {
                Beyond::No
            },
        })
    }
}

impl Drawn {
    fn new(points: &[ValvePoint], rng: &mut ChaCha8Rng) -> Self {
        let mut now_turns = 0.0;
        let mut told_before: Option<f64> = None;
        let mut knots: Vec<(f64, f64, f64)> = points
            .iter()
            .map(|point| {
                if let Some(before) = told_before
                    && (point.turns - before).abs() >= SAME_TURNS
                {
                    let off: f64 = StandardNormal.sample(rng);
                    now_turns += point.turns - before + HAND_SPREAD_TURNS * off;
                } else if told_before.is_none() {
                    now_turns = point.turns;
                }
                told_before = Some(point.turns);
                let r = &point.reading;
                let z: f64 = StandardNormal.sample(rng);
                let (up, down) = (
                    (r.high / r.drops_per_minute).ln() / Z_LIMIT,
                    (r.drops_per_minute / r.low).ln() / Z_LIMIT,
                );
                let rate = r.drops_per_minute * (z * if z > 0.0 { up } else { down }).exp();
                let spread = rate * f64::midpoint(up, down).max(1e-6);
                (now_turns, rate, 1.0 / (spread * spread))
            })
            .collect();
        knots.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self {
            knots: never_falling(&knots),
            now_turns,
        }
    }

    fn rate_at(&self, turns: f64) -> f64 {
        let after = self.knots.partition_point(|(at, _)| *at <= turns);
        let before = after.checked_sub(1).and_then(|i| self.knots.get(i));
        match (before, self.knots.get(after)) {
            (Some((a, rate_a)), Some((b, rate_b))) => {
                rate_a + (rate_b - rate_a) * (turns - a) / (b - a)
            }
            (Some((_, rate)), None) | (None, Some((_, rate))) => *rate,
            (None, None) => f64::NAN,
        }
    }

    /// Turns to open for the wanted rate (±∞ when the curve does not tell), and whether that is
    /// beyond the positions tried.
    fn movement_to(&self, wanted: f64) -> (f64, bool) {
        let (Some(first), Some(last)) = (self.knots.first(), self.knots.last()) else {
            return (f64::INFINITY, true);
        };
        let length = last.0 - first.0;
        let slope = (last.1 - first.1) / length;
        let carried = |from: (f64, f64)| {
            let by = (wanted - from.1) / slope;
            if slope > 0.0 && by.abs() <= BEYOND_SHARE * length {
                from.0 + by - self.now_turns
            } else {
                (wanted - from.1).signum() * f64::INFINITY
            }
        };
        if wanted > last.1 {
            return (carried(*last), true);
        }
        if wanted < first.1 {
            return (carried(*first), true);
        }
        let after = self.knots.partition_point(|(_, rate)| *rate < wanted);
        let at = match (
            after.checked_sub(1).and_then(|i| self.knots.get(i)),
            self.knots.get(after),
        ) {
            (Some((a, rate_a)), Some((b, rate_b))) => {
                a + (b - a) * (wanted - rate_a) / (rate_b - rate_a)
            }
            (_, Some((at, _))) | (Some((at, _)), None) => *at,
            (None, None) => self.now_turns,
        };
        (at - self.now_turns, false)
    }
}

/// The z of a 95 % limit.
const Z_LIMIT: f64 = 1.959_964;

/// The curve that never falls nearest to weighted values (pool adjacent violators; M. Ayer and
/// others, Ann. Math. Statist. 26 (1955)). Values: (place, value, weight) in order of place.
fn never_falling(values: &[(f64, f64, f64)]) -> Vec<(f64, f64)> {
    // Blocks: mean, weight, how many.
    let mut blocks: Vec<(f64, f64, usize)> = Vec::with_capacity(values.len());
    for (_, value, weight) in values {
        let mut block = (*value, *weight, 1);
        while let Some(&(mean, before, count)) = blocks.last()
            && mean > block.0
        {
            let weight = before + block.1;
            block = (
                (mean * before + block.0 * block.1) / weight,
                weight,
                count + block.2,
            );
            blocks.pop();
        }
        blocks.push(block);
    }
    let fitted = blocks
        .iter()
        .flat_map(|(mean, _, count)| std::iter::repeat_n(*mean, *count));
    values
        .iter()
        .zip(fitted)
        .map(|((place, ..), value)| (*place, value))
        .collect()
}

fn point_at(drawn: &[Drawn], turns: f64) -> CurvePoint {
    let mut rates: Vec<f64> = drawn.iter().map(|d| d.rate_at(turns)).collect();
    rates.sort_by(f64::total_cmp);
    CurvePoint {
        turns,
        drops_per_minute: at_share(&rates, 0.5),
        low: at_share(&rates, 0.025),
        high: at_share(&rates, 0.975),
    }
}

/// The value below which lies a share of sorted values.
fn at_share(sorted: &[f64], share: f64) -> f64 {
    let index = (share * sorted.len() as f64) as usize;
    let last = sorted.len().saturating_sub(1);
    sorted.get(index.min(last)).copied().unwrap_or(f64::NAN)
}

impl Movement {
    /// A sentence for people, without the full stop: what it would take, and how sure that is.
    #[must_use]
    pub fn words(&self) -> String {
        let wanted = self.wanted_per_minute;
        if self.low < 0.0 && self.high > 0.0 {
            return format!(
                "where the valve stands, the feed may well be at {wanted:.1} a minute already \
                 ({} to {} turn would be possible)",
                signed(self.low),
                signed(self.high)
            );
        }
        let way = if self.turns > 0.0 { "open" } else { "closed" };
        let (less, more) = if self.turns > 0.0 {
            (self.low, self.high)
        } else {
            (-self.high, -self.low)
        };
        let more = if more.is_finite() {
            format!("{more:.2}")
        } else {
            "more than can be told".to_owned()
        };
        let beyond = match self.beyond {
            Beyond::No => "",
            Beyond::Yes => ", beyond what was tried",
        };
        format!(
            "about {:.2} turn more {way} ({less:.2} to {more}{beyond}) would bring it to \
             {wanted:.1} a minute, if the valve answers as it did",
            self.turns.abs()
        )
    }
}

fn signed(turns: f64) -> String {
    if turns.is_finite() {
        format!("{turns:+.2}")
    } else if turns > 0.0 {
        "+many".to_owned()
    } else {
        "-many".to_owned()
    }
}
