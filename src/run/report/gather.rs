//! What a report tells, brought together from the records of one run: each feed's record of drops,
//! its readings as found and as left, its steadiness, how its valve answered. The statistics are
//! `rate`'s; nothing is written here.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;

use crate::base::{Band, Span};
use crate::judge::FeedState;
use crate::rate::{
    DropRecord, ResponseCurve, SETTLED_HALF_WIDTH, Settling, Steadiness, Steady, SteadyVerdict,
    ValveMark, ValvePoint, reading, settling, steadiness, valve_points,
};
use crate::run::Moved;
use crate::run::logbook::read::{
    AlarmRow, AsFoundRow, DropRow, Ending, FeedRow, MarkRow, ReadingRow, RunContents, SpellRow,
};
use crate::run::logbook::{LogbookError, LogbookReader};

use super::words::{self, Rate};

/// Two marks nearer than this are one movement told twice, seconds.
const SAME_TIME_SECS: f64 = 1e-6;

/// Everything a report tells of a run.
#[derive(Debug)]
pub struct Report {
    /// The run as it is in the logbook.
    pub run: RunContents,
    /// Its feeds.
    pub feeds: Vec<FeedReport>,
    /// The zone in which times of day are written.
    pub zone: TimeZone,
    /// When the report was made, wall time, seconds since 1970-01-01T00:00:00Z.
    pub made_wall_secs: f64,
    pictures: BTreeMap<(i64, u64), Vec<u8>>,
}

/// Everything a report tells of one feed.
#[derive(Debug)]
pub struct FeedReport {
    /// Its row in the logbook.
    pub row: FeedRow,
    /// Its band.
    pub band: Band,
    /// Its drops and blind spells over the run.
    pub record: DropRecord,
    /// The drops of oil as the logbook has them.
    pub drops: Vec<DropRow>,
    /// Bubbles of gas.
    pub bubbles: usize,
    /// Its marks.
    pub marks: Vec<MarkRow>,
    /// Its blind spells, those of all feeds included, in order.
    pub blind: Vec<SpellRow>,
    /// What the instrument told of it every ten seconds.
    pub readings: Vec<ReadingRow>,
    /// Its readings one after the other, each as it was at its end.
    pub settings: Vec<Setting>,
    /// What ended its readings, in order: marks, changes of rate, stops.
    pub ended: Vec<(f64, String)>,
    /// The reading before its valve was first touched, or before its rate first changed.
    pub as_found: Standing,
    /// The last reading of the run.
    pub as_left: Standing,
    /// How far the last reading is from settled.
    pub settling: Settling,
    /// The statistics over the whole run.
    pub steadiness: Steadiness,
    /// The same between valve marks, when the valve was moved.
    pub between_marks: Vec<(Span, Steadiness)>,
    /// The positions of its valve with the readings there.
    pub valve: Vec<ValvePoint>,
    /// Rate against turns, when there are two positions at least.
    pub response: Option<ResponseCurve>,
}

/// One reading from its start to its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// From when it reckoned, source time, seconds.
    pub from_secs: f64,
    /// Until when.
    pub until_secs: f64,
    /// The figures at its end.
    pub rate: Option<Rate>,
    /// Drops it rests on.
    pub drops: Option<i64>,
    /// The verdict at its end.
    pub state: String,
    /// What ended it; none for the last one.
    pub ended_by: Option<String>,
}

/// A reading as found or as left.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// From when it reckoned, source time, seconds.
    pub from_secs: f64,
    /// Until when.
    pub until_secs: f64,
    /// The figures; none when there was no reading.
    pub rate: Option<Rate>,
    /// Drops it rests on.
    pub drops: Option<i64>,
    /// The verdict.
    pub state: String,
}

impl Report {
    /// Brings a run together.
    ///
    /// # Errors
    /// As [`LogbookReader::contents`].
    pub fn of_run(
        reader: &LogbookReader,
        run: i64,
        zone: TimeZone,
        made_wall_secs: f64,
    ) -> Result<Self, LogbookError> {
        let contents = reader.contents(run)?;
        let pictures = reader
            .pictures(run)?
            .into_iter()
            .map(|(feed, at_secs, png)| ((feed, at_secs.to_bits()), png))
            .collect();
        Ok(Self::new(contents, pictures, zone, made_wall_secs))
    }

    fn new(
        run: RunContents,
        pictures: BTreeMap<(i64, u64), Vec<u8>>,
        zone: TimeZone,
        made_wall_secs: f64,
    ) -> Self {
        let feeds = run.feeds.iter().map(|row| feed_report(&run, row)).collect();
        Self {
            run,
            feeds,
            zone,
            made_wall_secs,
            pictures,
        }
    }

    /// The picture of a drop as PNG, when it is kept.
    #[must_use]
    pub fn picture(&self, feed: i64, at_secs: f64) -> Option<&[u8]> {
        self.pictures
            .get(&(feed, at_secs.to_bits()))
            .map(Vec::as_slice)
    }

    /// Source time since the start of the run, seconds.
    #[must_use]
    pub fn since_start(&self, at_secs: f64) -> f64 {
        at_secs - self.run.summary.from_secs
    }

    /// Wall time that belongs to a source time: from the nearest clock record before it, which the
    /// computer's clock may have left since by being set.
    #[must_use]
    pub fn wall_secs(&self, at_secs: f64) -> f64 {
        let head = &self.run.summary;
        let known = self
            .run
            .clocks
            .iter()
            .take_while(|clock| clock.at_secs <= at_secs)
            .last()
            .map_or((head.from_secs, head.started_wall_secs), |clock| {
                (clock.at_secs, clock.wall_secs)
            });
        known.1 + (at_secs - known.0)
    }

    /// The name of a feed; empty when it has none.
    #[must_use]
    pub fn name_of(&self, feed: Option<i64>) -> &str {
        feed.and_then(|feed| self.feeds.iter().find(|f| f.row.feed == feed))
            .map_or("", |f| f.row.name.as_str())
    }

    /// Alarms that still stood when the run ended, as they stood.
    #[must_use]
    pub fn standing_alarms(&self) -> Vec<&AlarmRow> {
        let mut last: BTreeMap<(Option<i64>, &str), &AlarmRow> = BTreeMap::new();
        for alarm in &self.run.alarms {
            last.insert((alarm.feed, alarm.cause.as_str()), alarm);
        }
        let mut standing: Vec<&AlarmRow> = last
            .into_values()
            .filter(|alarm| alarm.state != "normal")
            .collect();
        standing.sort_by(|a, b| a.at_secs.total_cmp(&b.at_secs));
        standing
    }
}

impl FeedReport {
    /// Was the feed steady? Over the whole run; of a feed with marks, between them, because what a
    /// person's hand did is no unsteadiness.
    #[must_use]
    pub fn verdict(&self, report: &Report) -> SteadyVerdict {
        if self.between_marks.is_empty() {
            let whole = &self.steadiness.verdict;
            return SteadyVerdict {
                words: format!("over the whole run {}", whole.words),
                ..whole.clone()
            };
        }
        let found = |steady: Steady| {
            let parts = self.between_marks.iter();
            parts.filter(move |(_, part)| part.verdict.steady == steady)
        };
        let (steady, words) = if found(Steady::No).next().is_some() {
            (Steady::No, "the feed was not steady")
        } else if found(Steady::Yes).next().is_some() {
            (Steady::Yes, "the feed was steady")
        } else {
            (
                Steady::CannotTell,
                "whether the feed was steady cannot be told",
            )
        };
        // What was steady needs no reason; what was not, or cannot be told, does.
        let reasons = found(Steady::No)
            .chain(found(Steady::CannotTell))
            .map(|(span, part)| {
                let when = |secs: f64| words::elapsed(report.since_start(secs));
                let mut why = part.verdict.reasons.join(", ");
                if part.verdict.steady == Steady::CannotTell {
                    why = format!("cannot be told: {why}");
                }
                format!("{} to {}: {why}", when(span.from_secs), when(span.to_secs))
            })
            .collect();
        SteadyVerdict {
            steady,
            words: format!("between its marks {words}"),
            reasons,
        }
    }
}

fn feed_report(run: &RunContents, row: &FeedRow) -> FeedReport {
    let feed = row.feed;
    let head = &run.summary;
    let band = Band {
        low_per_minute: row.band_per_minute.0,
        high_per_minute: row.band_per_minute.1,
    };
    let drops: Vec<DropRow> = run
        .drops
        .iter()
        .filter(|drop| drop.feed == feed && drop.kind == "oil")
        .cloned()
        .collect();
    let readings: Vec<ReadingRow> = run
        .readings
        .iter()
        .filter(|reading| reading.feed == feed)
        .cloned()
        .collect();
    let blind = blind_spells(run, feed, &readings);
    let record = DropRecord {
        from_secs: head.from_secs,
        now_secs: head.to_secs,
        drops_secs: drops.iter().map(|drop| drop.at_secs).collect(),
        blind: blind
            .iter()
            .map(|spell| Span {
                from_secs: spell.from_secs,
                to_secs: spell.to_secs,
            })
            .collect(),
    }
    .cleaned();
    let marks: Vec<MarkRow> = run
        .marks
        .iter()
        .filter(|mark| mark.feed == Some(feed))
        .cloned()
        .collect();
    let as_found: Vec<&AsFoundRow> = run.as_found.iter().filter(|row| row.feed == feed).collect();
    let settings = settings(&record, &as_found, &readings);
    let as_left = as_left(&settings, head.to_secs);
    let marks_secs: Vec<f64> = marks.iter().map(|mark| mark.at_secs).collect();
    let settled = settling(&record.since(as_left.from_secs), SETTLED_HALF_WIDTH);
    let (valve_record, valve_marks) = valve_marks(&record, &marks);
    let valve = if valve_marks.is_empty() {
        Vec::new()
    } else {
        valve_points(&valve_record, &valve_marks)
    };
    FeedReport {
        as_found: as_found_standing(&record, &marks, &as_found, &as_left),
        ended: ended(&marks, &as_found),
        settling: settled,
        steadiness: steadiness(&record, band, &marks_secs),
        between_marks: between_marks(&record, band, &marks),
        response: ResponseCurve::of(&valve),
        bubbles: run
            .drops
            .iter()
            .filter(|drop| drop.feed == feed && drop.kind == "gas")
            .count(),
        row: row.clone(),
        band,
        record,
        drops,
        marks,
        blind,
        readings,
        settings,
        as_left,
        valve,
    }
}

/// The blind spells of a feed, and one that was still open when a run was cut short: its end was
/// never told, but the readings say *cannot see* until their last.
fn blind_spells(run: &RunContents, feed: i64, readings: &[ReadingRow]) -> Vec<SpellRow> {
    let mut spells: Vec<SpellRow> = run
        .blind
        .iter()
        .filter(|spell| spell.feed.is_none_or(|of| of == feed))
        .cloned()
        .collect();
    let cannot_see = FeedState::CannotSee.words();
    let open = readings
        .iter()
        .rev()
        .take_while(|reading| reading.state == cannot_see)
        .last();
    if run.summary.ending != Ending::Ended
        && let Some(open) = open
        && spells.iter().all(|spell| spell.to_secs < open.at_secs)
    {
        spells.push(SpellRow {
            feed: Some(feed),
            from_secs: open.at_secs,
            to_secs: run.summary.to_secs,
            wall_secs: run.summary.ended_wall_secs,
            why: "not seen when the record breaks off".to_owned(),
        });
    }
    spells.sort_by(|a, b| a.from_secs.total_cmp(&b.from_secs));
    spells
}

/// The readings one after the other.
fn settings(
    record: &DropRecord,
    as_found: &[&AsFoundRow],
    readings: &[ReadingRow],
) -> Vec<Setting> {
    let mut settings: Vec<Setting> = as_found
        .iter()
        .map(|row| Setting {
            from_secs: row.from_secs.max(record.from_secs),
            until_secs: row.until_secs,
            rate: row.rate_per_minute,
            drops: row.drops,
            state: row.state.clone(),
            ended_by: Some(row.words.clone()),
        })
        .collect();
    let from_secs = as_found.last().map_or(record.from_secs, |row| {
        // After a stop the new reading begins with the drop that ended it.
        if row.began == "stop" {
            let after = record.drops_secs.iter().find(|t| **t > row.until_secs);
            after.copied().unwrap_or(row.until_secs)
        } else {
            row.until_secs
        }
    });
    let last = readings.last();
    settings.push(Setting {
        from_secs,
        until_secs: record.now_secs,
        rate: last.and_then(|reading| reading.rate_per_minute),
        drops: last.and_then(|reading| reading.drops),
        state: last.map_or_else(
            || FeedState::NoReadingYet.words().to_owned(),
            |reading| reading.state.clone(),
        ),
        ended_by: None,
    });
    settings
}

/// What stood at the end; a feed that could not be seen then has no figure.
fn as_left(settings: &[Setting], to_secs: f64) -> Standing {
    let Some(last) = settings.last() else {
        return Standing {
            from_secs: to_secs,
            until_secs: to_secs,
            rate: None,
            drops: None,
            state: FeedState::NoReadingYet.words().to_owned(),
        };
    };
    let is_seen = last.state != FeedState::CannotSee.words();
    Standing {
        from_secs: last.from_secs,
        until_secs: last.until_secs,
        rate: last.rate.filter(|_| is_seen),
        drops: last.drops.filter(|_| is_seen),
        state: last.state.clone(),
    }
}

/// What was read before the valve was first touched (marks that tell no movement count when none
/// does). Of a feed that nobody touched, the first reading that was over: what changed it was not a
/// hand. Of one that kept its one reading, that reading.
fn as_found_standing(
    record: &DropRecord,
    marks: &[MarkRow],
    as_found: &[&AsFoundRow],
    as_left: &Standing,
) -> Standing {
    let standing = |row: &AsFoundRow| Standing {
        from_secs: row.from_secs.max(record.from_secs),
        until_secs: row.until_secs,
        rate: row.rate_per_minute,
        drops: row.drops,
        state: row.state.clone(),
    };
    let touched = marks
        .iter()
        .find(|mark| mark.moved.is_some())
        .or_else(|| marks.first());
    let Some(mark) = touched else {
        let first = as_found.iter().find(|row| row.rate_per_minute.is_some());
        return first.map_or_else(|| as_left.clone(), |row| standing(row));
    };
    let kept = as_found
        .iter()
        .find(|row| row.began == "mark" && (row.until_secs - mark.at_secs).abs() < SAME_TIME_SECS);
    if let Some(row) = kept {
        return standing(row);
    }
    // A run of an old version kept no reading; it is reckoned once more from the drops.
    let before = record.between(record.from_secs, mark.at_secs);
    let again = reading(&before);
    Standing {
        from_secs: before.from_secs,
        until_secs: before.now_secs,
        rate: again.map(|r| (r.drops_per_minute, r.low, r.high)),
        drops: again.map(|r| r.drops as i64),
        state: "reckoned again from the drops".to_owned(),
    }
}

/// What happened to a feed that its reading did not outlive: marks, and what nobody's hand did.
fn ended(marks: &[MarkRow], as_found: &[&AsFoundRow]) -> Vec<(f64, String)> {
    let mut ended: Vec<(f64, String)> = marks
        .iter()
        .map(|mark| (mark.at_secs, mark.words.clone()))
        .collect();
    let by_itself = as_found.iter().filter(|row| row.began != "mark");
    ended.extend(by_itself.map(|row| (row.until_secs, row.words.clone())));
    ended.sort_by(|a, b| a.0.total_cmp(&b.0));
    ended
}

/// The movements that hang together: those since the valve was last shut, which is a position of
/// its own and known without turns.
fn valve_marks(record: &DropRecord, marks: &[MarkRow]) -> (DropRecord, Vec<ValveMark>) {
    let shut = marks
        .iter()
        .rev()
        .find(|mark| mark.moved == Some(Moved::Shut))
        .map(|mark| mark.at_secs);
    let from_secs = shut.unwrap_or(record.from_secs);
    let moves = marks
        .iter()
        .filter(|mark| shut.is_none_or(|shut| mark.at_secs > shut))
        .filter_map(|mark| {
            Some(ValveMark {
                at_secs: mark.at_secs,
                opened_turns: mark.moved?.turns()?,
            })
        })
        .collect();
    (record.since(from_secs), moves)
}

/// The statistics between marks, when there are any.
fn between_marks(record: &DropRecord, band: Band, marks: &[MarkRow]) -> Vec<(Span, Steadiness)> {
    if marks.is_empty() {
        return Vec::new();
    }
    let mut ends: Vec<f64> = marks.iter().map(|mark| mark.at_secs).collect();
    ends.push(record.now_secs);
    ends.sort_by(f64::total_cmp);
    let mut from_secs = record.from_secs;
    let mut parts = Vec::new();
    for to_secs in ends {
        if to_secs - from_secs > SAME_TIME_SECS {
            let part = record.between(from_secs, to_secs);
            parts.push((Span { from_secs, to_secs }, steadiness(&part, band, &[])));
        }
        from_secs = to_secs;
    }
    parts
}
