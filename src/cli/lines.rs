//! Events as lines: JSON objects for programs, sentences for people.

use serde::Serialize;

use crate::base::{BeadKind, FeedNumber, GlassKind};
use crate::bead::SizeDoubt;
use crate::capture::About;
use crate::glass::Calibration;
use crate::judge::{AlarmState, By, Cause, FeedState, Happened};
use crate::run::hand_check::HandCheckReport;
use crate::run::oil::{OilReport, OilState, ReservoirReport};
use crate::run::tally::{BlindReport, OutlineReport, ReadingReport, rounded};
use crate::run::{Event, FeedSnapshot, Moved, Notice};

/// One line of `watch --json-lines`. The word under `type` tells which.
#[derive(Debug, Serialize)]
#[serde(tag = "type", rename_all = "lowercase")]
pub enum Line {
    /// What is watched; the first line.
    Source {
        /// Name for people.
        name: String,
        /// Stable identity of a camera.
        identity: String,
        /// Pixels.
        width: u32,
        /// Pixels.
        height: u32,
        /// As announced; none when unknown.
        frames_per_second: Option<f64>,
    },
    /// The outlines, found or given.
    Glasses {
        /// From the left.
        glasses: Vec<GlassLine>,
    },
    /// A run is being recorded.
    Run {
        /// Its number in the logbook.
        run: i64,
        /// Its start, source time, when known.
        from_s: Option<f64>,
    },
    /// A settled bead: a drop of oil, or a bubble of gas.
    Bead {
        /// Which feed.
        feed: FeedNumber,
        /// Oil or gas.
        kind: BeadKind,
        /// Mid-glass time.
        at_s: f64,
        /// When the scale is known.
        rise_mm_per_s: Option<f64>,
        /// When the scale is known.
        diameter_mm: Option<f64>,
        /// 0 to 1.
        confidence: f64,
        /// When it was settled.
        settled_at_s: f64,
        /// How oil was told from gas.
        kind_why: String,
        /// Spread (one standard deviation) of the diameter as a share of it.
        diameter_spread: f64,
        /// Why the diameter is to be trusted less, if so.
        diameter_doubt: Option<&'static str>,
    },
    /// A reading, every ten seconds and at each change of state.
    Reading {
        /// Which feed.
        feed: FeedNumber,
        /// Source time.
        at_s: f64,
        /// Median; none when there is no reading yet.
        drops_per_minute: Option<f64>,
        /// Lower 95 % limit.
        low: Option<f64>,
        /// Upper 95 % limit.
        high: Option<f64>,
        /// Drops it rests on.
        drops: Option<usize>,
        /// The verdict.
        state: FeedState,
        /// Reasons to trust it less.
        doubts: Vec<String>,
        /// Oil, mL an hour, when the volume of a drop is known.
        #[serde(skip_serializing_if = "Option::is_none")]
        oil_ml_per_hour: Option<f64>,
        /// Lower 95 % limit.
        #[serde(skip_serializing_if = "Option::is_none")]
        oil_low_ml_per_hour: Option<f64>,
        /// Upper 95 % limit.
        #[serde(skip_serializing_if = "Option::is_none")]
        oil_high_ml_per_hour: Option<f64>,
        /// Where the volume comes from.
        #[serde(skip_serializing_if = "Option::is_none")]
        oil_by: Option<&'static str>,
        /// A hint to look after the nozzle.
        #[serde(skip_serializing_if = "Option::is_none")]
        hint: Option<String>,
    },
    /// The verdict changed.
    State {
        /// Which feed.
        feed: FeedNumber,
        /// Source time.
        at_s: f64,
        /// From now on.
        state: FeedState,
    },
    /// An alarm changed its state.
    Alarm {
        /// Which feed; none for the whole instrument.
        feed: Option<FeedNumber>,
        /// Source time.
        at_s: f64,
        /// What it is about.
        cause: Cause,
        /// From now on.
        state: AlarmState,
        /// How pressing: 1 is the most.
        priority: u8,
        /// What happened to it.
        happened: Happened,
        /// Who or what did it.
        by: By,
        /// When it comes off the shelf, source time; none when it is not shelved.
        shelved_until_s: Option<f64>,
    },
    /// A blind spell ended.
    Blind(BlindReport),
    /// A note by a person.
    Mark {
        /// Which feed; none for the whole lubricator.
        feed: Option<FeedNumber>,
        /// Source time.
        at_s: f64,
        /// The words.
        words: String,
        /// By how many turns the valve was opened (below 0: shut), when the words say so.
        turns: Option<f64>,
        /// Whether the words say that the valve was shut.
        shut: bool,
    },
    /// A new reading began; this was read until then.
    #[serde(rename = "as found")]
    AsFound {
        /// Which feed.
        feed: FeedNumber,
        /// Source time.
        at_s: f64,
        /// From when it reckoned.
        from_s: f64,
        /// Until when.
        until_s: f64,
        /// Median; none when there was no reading.
        drops_per_minute: Option<f64>,
        /// Lower 95 % limit.
        low: Option<f64>,
        /// Upper 95 % limit.
        high: Option<f64>,
        /// Drops it rests on.
        drops: Option<usize>,
        /// What began the new reading.
        began: String,
    },
    /// A person tapped at a drop.
    Tap {
        /// Which feed; none for all together.
        feed: Option<FeedNumber>,
        /// Source time.
        at_s: f64,
    },
    /// A hand check is over.
    #[serde(rename = "hand check")]
    HandCheck(HandCheckReport),
    /// Pictures lost or spoiled.
    Gap {
        /// Source time.
        from_s: f64,
        /// Source time.
        to_s: f64,
        /// A sentence.
        why: String,
    },
    /// Words to a person.
    Notice {
        /// Whether something went wrong.
        error: bool,
        /// A sentence or two.
        words: String,
    },
    /// The last line.
    End {
        /// Source time.
        at_s: f64,
        /// Why it ends: `clip over`, `time over`, `asked`, `source failed`.
        why: &'static str,
        /// What was counted, feed by feed.
        feeds: Vec<EndLine>,
        /// The reservoir, when its capacity and the time it was filled are known.
        #[serde(skip_serializing_if = "Option::is_none")]
        reservoir: Option<ReservoirReport>,
    },
}

/// One glass of the `glasses` line.
#[derive(Debug, Serialize)]
pub struct GlassLine {
    feed: FeedNumber,
    name: String,
    kind: GlassKind,
    outline: OutlineReport,
    px_per_mm: Option<f64>,
}

/// One feed of the `end` line.
#[derive(Debug, Serialize)]
pub struct EndLine {
    feed: FeedNumber,
    drops: u64,
    bubbles: u64,
    reading: Option<ReadingReport>,
    state: FeedState,
    #[serde(skip_serializing_if = "Option::is_none")]
    oil: Option<OilReport>,
}

impl Line {
    /// What is watched.
    #[must_use]
    pub fn source(about: &About) -> Self {
        Self::Source {
            name: about.name.clone(),
            identity: about.identity.clone(),
            width: about.width,
            height: about.height,
            frames_per_second: about.frames_per_second.map(|rate| rounded(rate, 3)),
        }
    }

    /// The outlines in force.
    #[must_use]
    pub fn glasses(calibration: &Calibration) -> Self {
        Self::Glasses {
            glasses: glass_lines(calibration),
        }
    }

    /// The end.
    #[must_use]
    pub fn end(at_secs: f64, why: &'static str, feeds: &[FeedSnapshot], oil: &OilState) -> Self {
        Self::End {
            at_s: rounded(at_secs, 3),
            why,
            feeds: feeds
                .iter()
                .map(|feed| EndLine {
                    feed: feed.feed,
                    drops: feed.drops,
                    bubbles: feed.bubbles,
                    reading: feed.reading.as_ref().map(ReadingReport::of),
                    state: feed.state,
                    oil: feed.oil.as_ref().map(OilReport::of),
                })
                .collect(),
            reservoir: oil.reservoir.as_ref().map(ReservoirReport::of),
        }
    }

    /// Words to a person.
    #[must_use]
    pub fn notice(notice: &Notice) -> Self {
        Self::Notice {
            error: notice.is_error,
            words: notice.words.clone(),
        }
    }

    /// What the instrument told.
    #[must_use]
    pub fn event(event: &Event) -> Self {
        match event {
            Event::Bead { feed, bead } => Self::Bead {
                feed: *feed,
                kind: bead.kind,
                at_s: rounded(bead.at_secs, 3),
                rise_mm_per_s: bead.rise_mm_per_s.map(|v| rounded(v, 1)),
                diameter_mm: bead.diameter_mm.map(|v| rounded(v, 2)),
                confidence: rounded(bead.confidence, 3),
                settled_at_s: rounded(bead.settled_at_secs, 3),
                kind_why: bead.why.words(),
                diameter_spread: rounded(bead.size.diameter_spread, 3),
                diameter_doubt: bead.size.doubt.map(SizeDoubt::words),
            },
            Event::Reading {
                at_secs,
                feed,
                reading,
                state,
                doubts,
                oil,
                hint,
            } => {
                let oil = oil.as_ref().map(OilReport::of);
                let figures = reading.as_ref().map(ReadingReport::of);
                Self::Reading {
                    feed: *feed,
                    at_s: rounded(*at_secs, 3),
                    drops_per_minute: figures.map(|r| r.drops_per_minute),
                    low: figures.map(|r| r.low),
                    high: figures.map(|r| r.high),
                    drops: reading.map(|r| r.drops),
                    state: *state,
                    doubts: doubts.clone(),
                    oil_ml_per_hour: oil.map(|o| o.ml_per_hour),
                    oil_low_ml_per_hour: oil.map(|o| o.low),
                    oil_high_ml_per_hour: oil.map(|o| o.high),
                    oil_by: oil.map(|o| o.from),
                    hint: hint.clone(),
                }
            }
            Event::State {
                at_secs,
                feed,
                state,
            } => Self::State {
                feed: *feed,
                at_s: rounded(*at_secs, 3),
                state: *state,
            },
            Event::Alarm { at_secs, alarm } => Self::Alarm {
                feed: alarm.feed,
                at_s: rounded(*at_secs, 3),
                cause: alarm.cause,
                state: alarm.state,
                priority: alarm.cause.priority(),
                happened: alarm.step.happened,
                by: alarm.step.by,
                shelved_until_s: alarm.step.shelved_until_secs.map(|v| rounded(v, 3)),
            },
            Event::Blind {
                feed,
                from_secs,
                to_secs,
                why,
            } => Self::Blind(BlindReport::of(*feed, *from_secs, *to_secs, *why)),
            Event::Mark {
                at_secs,
                feed,
                words,
                moved,
            } => Self::Mark {
                feed: *feed,
                at_s: rounded(*at_secs, 3),
                words: words.clone(),
                turns: moved.and_then(Moved::turns),
                shut: *moved == Some(Moved::Shut),
            },
            Event::AsFound { at_secs, found } => {
                let figures = found.reading.as_ref().map(ReadingReport::of);
                Self::AsFound {
                    feed: found.feed,
                    at_s: rounded(*at_secs, 3),
                    from_s: rounded(found.from_secs, 3),
                    until_s: rounded(found.until_secs, 3),
                    drops_per_minute: figures.map(|r| r.drops_per_minute),
                    low: figures.map(|r| r.low),
                    high: figures.map(|r| r.high),
                    drops: found.reading.map(|r| r.drops),
                    began: found.began.words(),
                }
            }
            Event::Tap { at_secs, feed, .. } => Self::Tap {
                feed: *feed,
                at_s: rounded(*at_secs, 3),
            },
            Event::HandCheck { check, .. } => Self::HandCheck(HandCheckReport::of(check)),
            Event::Gap {
                from_secs,
                to_secs,
                why,
            } => Self::Gap {
                from_s: rounded(*from_secs, 3),
                to_s: rounded(*to_secs, 3),
                why: why.clone(),
            },
        }
    }
}

/// The outlines as programs read them.
#[must_use]
pub fn glass_lines(calibration: &Calibration) -> Vec<GlassLine> {
    calibration
        .feeds
        .iter()
        .enumerate()
        .map(|(index, feed)| GlassLine {
            feed: FeedNumber::from_index(index),
            name: feed.name.clone(),
            kind: feed.outline.kind,
            outline: OutlineReport::of(&feed.outline),
            px_per_mm: feed.px_per_mm.map(|v| rounded(v, 3)),
        })
        .collect()
}

/// `feed 1`, `feed 1 (left cylinder)`, or `all feeds`.
#[must_use]
pub fn feed_words(feed: Option<FeedNumber>, name: &str) -> String {
    match (feed, name) {
        (None, _) => "all feeds".to_owned(),
        (Some(feed), "") => format!("feed {feed}"),
        (Some(feed), name) => format!("feed {feed} ({name})"),
    }
}

/// A reading and its verdict for people: `2.41 drops/min (1.93 to 3.02), in band`; the verdict
/// alone when there is no reading.
#[must_use]
pub fn verdict_words(reading: Option<ReadingReport>, state: FeedState) -> String {
    match reading {
        None => state.words().to_owned(),
        Some(r) => format!(
            "{} drops/min ({} to {}), {}",
            significant(r.drops_per_minute),
            significant(r.low),
            significant(r.high),
            state.words()
        ),
    }
}

/// A number with about three figures that count.
#[must_use]
pub fn significant(value: f64) -> String {
    match value.abs() {
        size if size >= 100.0 => format!("{value:.0}"),
        size if size >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

/// Size and speed of a bead for people, as far as they are known.
#[must_use]
pub fn measures_words(diameter_mm: Option<f64>, rise_mm_per_s: Option<f64>) -> String {
    let size = diameter_mm.map(|v| format!(", {v:.1} mm"));
    let speed = rise_mm_per_s.map(|v| format!(", {v:.0} mm/s"));
    size.unwrap_or_default() + &speed.unwrap_or_default()
}

/// An event as a sentence for people; none for what the lines of readings tell anyway.
#[must_use]
pub fn event_words(event: &Event) -> Option<String> {
    match event {
        Event::Bead { feed, bead } => {
            let what = match bead.kind {
                BeadKind::Oil => "drop",
                BeadKind::Gas => "bubble of gas (not counted)",
            };
            Some(format!(
                "{:8.2} s  feed {feed}: {what}{}",
                bead.at_secs,
                measures_words(bead.diameter_mm, bead.rise_mm_per_s)
            ))
        }
        Event::Reading { .. } => None,
        Event::State {
            at_secs,
            feed,
            state,
        } => Some(format!("{at_secs:8.2} s  feed {feed}: {}", state.words())),
        Event::Alarm { at_secs, alarm } => Some(format!(
            "{at_secs:8.2} s  ALARM {}: {}, {} ({} by {})",
            alarm
                .feed
                .map_or_else(|| "instrument".to_owned(), |feed| format!("feed {feed}")),
            alarm.cause.words(),
            alarm.state.words(),
            alarm.step.happened.words(),
            alarm.step.by.words()
        )),
        Event::Blind {
            feed,
            from_secs,
            to_secs,
            why,
        } => Some(format!(
            "{to_secs:8.2} s  {}: not seen since {from_secs:.2} s: {}",
            feed_words(*feed, ""),
            why.words()
        )),
        Event::Mark {
            at_secs,
            feed,
            words,
            ..
        } => Some(format!(
            "{at_secs:8.2} s  mark, {}: {words}",
            feed_words(*feed, "")
        )),
        Event::AsFound { at_secs, found } => Some(format!(
            "{at_secs:8.2} s  feed {}: a new reading begins: {}; until {:.2} s it was {}",
            found.feed,
            found.began.words(),
            found.until_secs,
            verdict_words(found.reading.as_ref().map(ReadingReport::of), found.state)
        )),
        Event::Tap { at_secs, .. } => Some(format!("{at_secs:8.2} s  tap")),
        Event::HandCheck { at_secs, check } => Some(format!(
            "{at_secs:8.2} s  hand check, {}: {}",
            feed_words(check.feed, ""),
            check.result.words()
        )),
        Event::Gap { to_secs, why, .. } => Some(format!("{to_secs:8.2} s  {why}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bead::{Bead, KindWhy, Size};

    #[test]
    fn a_bead_line_reads_as_programs_expect_it() {
        let line = Line::event(&Event::Bead {
            feed: FeedNumber(1),
            bead: Bead {
                at_secs: 3.214_49,
                kind: BeadKind::Oil,
                why: KindWhy {
                    by_oil: 1.02,
                    by_gas: 0.31,
                    by_own: None,
                    ..KindWhy::default()
                },
                size: Size {
                    diameter_spread: 0.04,
                    ..Size::default()
                },
                rise_px_per_s: 344.0,
                rise_mm_per_s: Some(86.04),
                height_px: 17.0,
                diameter_mm: Some(4.204),
                confidence: 0.99,
                surplus: 90.0,
                settled_at_secs: 3.6,
                picture: None,
            },
        });
        assert_eq!(
            serde_json::to_string(&line).unwrap(),
            r#"{"type":"bead","feed":"1","kind":"oil","at_s":3.214,"rise_mm_per_s":86.0,"diameter_mm":4.2,"confidence":0.99,"settled_at_s":3.6,"kind_why":"it rose 1.0 times as fast as oil of its size does and 0.3 times as fast as gas","diameter_spread":0.04,"diameter_doubt":null}"#
        );
    }

    #[test]
    fn a_blind_line_has_its_type_and_no_feed_for_all() {
        let line = Line::event(&Event::Blind {
            feed: None,
            from_secs: 0.0,
            to_secs: 0.4,
            why: crate::base::BlindWhy::Starting,
        });
        assert_eq!(
            serde_json::to_string(&line).unwrap(),
            r#"{"type":"blind","feed":null,"from_s":0.0,"to_s":0.4,"why":"getting used to the picture"}"#
        );
    }

    #[test]
    fn figures_that_count() {
        assert_eq!(significant(2.449), "2.45");
        assert_eq!(significant(24.49), "24.5");
        assert_eq!(significant(244.9), "245");
    }
}
