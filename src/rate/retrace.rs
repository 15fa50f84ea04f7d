//! A whole record gone through once more as the instrument went through it: where the feed stood
//! against its band, when it stopped, when its rate changed, and what share of the time each took.
//! It judges nothing new: the rules are those of the reading, the change and the silence.

use crate::base::{Band, Span};

use super::silence::{OWN_INTERVALS_FROM_DROPS, STOPPED_AFTER_INTERVALS, STOPPED_CHANCE};
use super::{Change, ChangeWatch, DropRecord, Expected, NEWEST_DROPS, reading};

/// Within a silence the reading is looked at anew every so many expected intervals: it falls
/// slowly, and a quarter of an interval is a tenth of what makes a stop.
const SILENCE_STEP_INTERVALS: f64 = 0.25;

/// No look is taken beyond so many expected intervals after a drop: seen silence that long is a
/// stop, and the rest is a blind spell.
const LONGEST_WALK: f64 = 20.0;

/// Where a feed stood for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Too few drops so far.
    NoReading,
    /// The reading was within the band.
    InBand,
    /// The reading was under the band.
    Low,
    /// The reading was over the band.
    High,
    /// No drop for so long that the feed had stopped; from the last drop on.
    Stopped,
    /// The glass could not be judged.
    Blind,
}

/// What share of a record each standing took, 0 to 1; together 1 (all 0 for a record without
/// length).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TimeShares {
    /// Reading within the band.
    pub in_band: f64,
    /// Reading under the band.
    pub low: f64,
    /// Reading over the band.
    pub high: f64,
    /// Stopped.
    pub stopped: f64,
    /// Not to be judged.
    pub blind: f64,
    /// Seen, but without a reading yet.
    pub no_reading: f64,
}

/// A record gone through.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Retraced {
    /// Where the feed stood, from the start of the record to its end, without a gap; neighbours
    /// differ.
    pub standings: Vec<(Span, Standing)>,
    /// Changes of rate that nobody announced, as the instrument told them, in order.
    pub changes: Vec<Change>,
    /// Silences that made a stop: from the last drop to the next one or to the end. A blind spell
    /// may lie within.
    pub stops: Vec<Span>,
}

/// Goes through a record. `marks_secs` are the times at which a person moved the regulating valve:
/// a new reading starts at each, as the instrument starts one. A new reading also starts with a
/// change of rate, and with the drop that ends a stop.
///
/// ```
/// use beadtally::base::Band;
/// use beadtally::rate::{DropRecord, Standing, retrace};
/// // Every 24 s for ten minutes, then nothing for five.
/// let record = DropRecord {
///     from_secs: 0.0,
///     now_secs: 900.0,
///     drops_secs: (0..26).map(|i| 24.0 * f64::from(i)).collect(),
///     blind: vec![],
/// };
/// let told = retrace(&record, Band::default(), &[]);
/// assert_eq!((told.stops[0].from_secs, told.stops[0].to_secs), (600.0, 900.0));
/// assert_eq!(told.standings.last().map(|s| s.1), Some(Standing::Stopped));
/// assert!((told.shares().stopped - 1.0 / 3.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn retrace(record: &DropRecord, band: Band, marks_secs: &[f64]) -> Retraced {
    let record = record.cleaned();
    let mut told = Retraced::default();
    let mut ends: Vec<f64> = marks_secs
        .iter()
        .copied()
        .filter(|t| *t > record.from_secs && *t < record.now_secs)
        .collect();
    ends.sort_by(f64::total_cmp);
    ends.push(record.now_secs);
    let mut from = record.from_secs;
    for end in ends {
        told.one_setting(&record.between(from, end), band);
        from = end;
    }
    told.lay_over(&record.blind);
    told
}

impl Retraced {
    /// What share of the time each standing took.
    #[must_use]
    pub fn shares(&self) -> TimeShares {
        let whole: f64 = self.standings.iter().map(|(span, _)| span.secs()).sum();
        let mut shares = TimeShares::default();
        if whole > 0.0 {
            for (span, standing) in &self.standings {
                let share = match standing {
                    Standing::NoReading => &mut shares.no_reading,
                    Standing::InBand => &mut shares.in_band,
                    Standing::Low => &mut shares.low,
                    Standing::High => &mut shares.high,
                    Standing::Stopped => &mut shares.stopped,
                    Standing::Blind => &mut shares.blind,
                };
                *share += span.secs() / whole;
            }
        }
        shares
    }

    /// Goes through the record from one mark to the next.
    fn one_setting(&mut self, part: &DropRecord, band: Band) {
        let mut reading_from = part.from_secs;
        let mut changes = ChangeWatch::default();
        let first = part.drops_secs.first().copied().unwrap_or(part.now_secs);
        let before_any = Walk::new(part, reading_from, part.from_secs, first, band);
        if before_any.is_stop(None, first) {
            self.stop(part.from_secs, first);
        } else {
            self.stand(part.from_secs, first, Standing::NoReading);
        }
        for (index, &drop) in part.drops_secs.iter().enumerate() {
            let until = part.drops_secs.get(index + 1);
            let until = until.copied().unwrap_or(part.now_secs);
            if let Some(&oldest) = index
                .checked_sub(NEWEST_DROPS)
                .and_then(|oldest| part.drops_secs.get(oldest))
            {
                reading_from = reading_from.max(oldest);
            }
            let mut walk = Walk::new(part, reading_from, drop, until, band);
            if let Some(change) = changes.look(&walk.known(drop)) {
                changes.reset();
                self.changes.push(change);
                reading_from = change.at_secs;
                walk.reading_from = reading_from;
            }
            let expected = Expected::of(&walk.known(drop));
            if walk.is_stop(expected, until) {
                self.stop(drop, until);
                changes.reset();
                reading_from = until;
                continue;
            }
            walk.through_silence(expected, self);
            if let Some(change) = changes.look(&walk.known(until)) {
                changes.reset();
                self.changes.push(change);
                reading_from = change.at_secs;
            }
        }
    }

    fn stop(&mut self, from_secs: f64, to_secs: f64) {
        self.stand(from_secs, to_secs, Standing::Stopped);
        self.stops.push(Span { from_secs, to_secs });
    }

    fn stand(&mut self, from_secs: f64, to_secs: f64, standing: Standing) {
        if to_secs <= from_secs {
            return;
        }
        match self.standings.last_mut() {
            Some((span, last)) if *last == standing => span.to_secs = to_secs,
            _ => self.standings.push((Span { from_secs, to_secs }, standing)),
        }
    }

    /// Puts blind spells over what was told.
    fn lay_over(&mut self, blind: &[Span]) {
        let told = std::mem::take(&mut self.standings);
        for (span, standing) in told {
            let mut at = span.from_secs;
            let within = blind
                .iter()
                .filter(|b| b.to_secs > span.from_secs && b.from_secs < span.to_secs);
            for spell in within {
                self.stand(at, spell.from_secs, standing);
                at = at.max(spell.from_secs);
                let end = spell.to_secs.min(span.to_secs);
                self.stand(at, end, Standing::Blind);
                at = end;
            }
            self.stand(at, span.to_secs, standing);
        }
    }
}

/// The way from one drop to the next.
struct Walk<'a> {
    part: &'a DropRecord,
    reading_from: f64,
    drop: f64,
    until: f64,
    band: Band,
}

impl<'a> Walk<'a> {
    fn new(part: &'a DropRecord, reading_from: f64, drop: f64, until: f64, band: Band) -> Self {
        Self {
            part,
            reading_from,
            drop,
            until,
            band,
        }
    }

    /// What the reading rests on at a time from the drop on.
    fn known(&self, now_secs: f64) -> DropRecord {
        let drops = &self.part.drops_secs;
        let from = drops.partition_point(|t| *t < self.reading_from);
        let to = drops.partition_point(|t| *t <= self.drop);
        let blind = self.part.blind.iter();
        DropRecord {
            from_secs: self.reading_from,
            now_secs,
            drops_secs: drops.get(from..to).unwrap_or_default().to_vec(),
            blind: blind
                .filter(|s| s.to_secs > self.reading_from && s.from_secs < now_secs)
                .copied()
                .collect(),
        }
    }

    /// Whether the seen silence to the next drop makes a stop.
    fn is_stop(&self, expected: Option<Expected>, until: f64) -> bool {
        let seen_secs = until - self.drop - self.part.blind_secs_between(self.drop, until);
        let drops = self.known(self.drop).drops_secs.len();
        let limit_secs = match expected {
            Some(expected) if drops >= OWN_INTERVALS_FROM_DROPS => {
                expected.stopped_after_secs(STOPPED_AFTER_INTERVALS, STOPPED_CHANCE)
            }
            _ => STOPPED_AFTER_INTERVALS * 60.0 / self.band.low_per_minute,
        };
        limit_secs > 0.0 && seen_secs > limit_secs
    }

    fn through_silence(&self, expected: Option<Expected>, told: &mut Retraced) {
        let Some(expected) = expected else {
            told.stand(self.drop, self.until, Standing::NoReading);
            return;
        };
        let mut at = self.drop;
        let mut step = expected.interval_secs.max(f64::MIN_POSITIVE);
        // At the drop itself the reading is what the interval to expect was found from.
        let mut standing = standing_of(60.0 / expected.interval_secs, self.band);
        loop {
            let next = (at + step).min(self.until);
            told.stand(at, next, standing);
            // A blind spell may be of any length, and nothing is learned in it.
            if next >= self.until || next - self.drop > LONGEST_WALK * expected.interval_secs {
                told.stand(next, self.until, standing);
                return;
            }
            at = next;
            let now = reading(&self.known(at));
            standing = now.map_or(Standing::NoReading, |now| {
                standing_of(now.drops_per_minute, self.band)
            });
            step = SILENCE_STEP_INTERVALS * expected.interval_secs;
        }
    }
}

fn standing_of(drops_per_minute: f64, band: Band) -> Standing {
    if drops_per_minute < band.low_per_minute {
        Standing::Low
    } else if drops_per_minute > band.high_per_minute {
        Standing::High
    } else {
        Standing::InBand
    }
}
