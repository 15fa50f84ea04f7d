//! What is read of a run: its head, its feeds, and one type for each kind of record. They are told
//! as they were written; nothing is judged anew.

use crate::run::Moved;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// As it should.
    Ended,
    /// It is being recorded now.
    Recording,
    /// A crash or a power cut ended it; it reaches to its last record.
    CutShort,
}

impl Ending {
    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Ended => "ended",
            Self::Recording => "being recorded",
            Self::CutShort => "not ended",
        }
    }
}

/// One run in a list.
#[derive(Clone, Debug, PartialEq)]
pub struct RunSummary {
    /// Its number.
    pub run: i64,
    /// A person's words for it; may be empty.
    pub title: String,
    /// What was watched.
    pub source_name: String,
    /// Stable identity of the camera; empty for others.
    pub source_identity: String,
    /// Size of its pictures, pixels.
    pub size_px: (u32, u32),
    /// Wall time of its start, seconds since 1970-01-01T00:00:00Z.
    pub started_wall_secs: f64,
    /// Source time of its start, seconds.
    pub from_secs: f64,
    /// Wall time of its end, or of its last record when it has no end.
    pub ended_wall_secs: f64,
    /// Source time of its end or last record, seconds.
    pub to_secs: f64,
    /// How it ended.
    pub ending: Ending,
    /// Version of the program that recorded it.
    pub program_version: String,
    /// How many feeds.
    pub feeds: u64,
    /// Drops of oil, all feeds.
    pub drops: u64,
    /// Bubbles of gas, all feeds.
    pub bubbles: u64,
    /// Whether the source ran in real time, so that times of day mean something; not known of runs
    /// of old versions.
    pub is_live: Option<bool>,
}

/// A feed of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct FeedRow {
    /// Its number.
    pub feed: i64,
    /// Its name; may be empty.
    pub name: String,
    /// `tube` or `port`.
    pub glass_kind: String,
    /// Band, drops a minute.
    pub band_per_minute: (f64, f64),
    /// Scale, pixels a millimetre, when known.
    pub px_per_mm: Option<f64>,
    /// Its outline in the picture: centre x and y, width, height, pixels; clockwise lean, degrees.
    pub outline: [f64; 5],
}

/// A bead of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct DropRow {
    /// Its feed.
    pub feed: i64,
    /// Source time at mid-glass, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// `oil` or `gas`.
    pub kind: String,
    /// Rise speed in the picture, px/s.
    pub rise_px_per_s: f64,
    /// Rise speed, mm/s, when the scale was known.
    pub rise_mm_per_s: Option<f64>,
    /// Height in the picture, px.
    pub height_px: f64,
    /// Diameter, mm, when the scale was known.
    pub diameter_mm: Option<f64>,
    /// 0 to 1.
    pub confidence: f64,
    /// Source time at which the count was settled, seconds.
    pub settled_at_secs: f64,
    /// Whether a picture of it is kept.
    pub has_picture: bool,
}

/// A reading of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingRow {
    /// Its feed.
    pub feed: i64,
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// Median and 95 % limits, drops a minute; none when there was no reading.
    pub rate_per_minute: Option<(f64, f64, f64)>,
    /// Scatter of the intervals (standard deviation over mean).
    pub scatter: Option<f64>,
    /// How many drops it rests on.
    pub drops: Option<i64>,
    /// The verdict.
    pub state: String,
    /// Reasons to trust it less.
    pub doubts: String,
}

/// A change of an alarm.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmRow {
    /// Its feed, if it has one.
    pub feed: Option<i64>,
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// What it is about.
    pub cause: String,
    /// Its state from then on.
    pub state: String,
    /// How pressing: 1 is the most. None in runs of old versions, as the three below.
    pub priority: Option<i64>,
    /// What happened.
    pub happened: Option<String>,
    /// Who or what did it.
    pub by_whom: Option<String>,
    /// When it comes off the shelf, source time, seconds; none when it is not shelved.
    pub shelved_until_secs: Option<f64>,
}

/// A note by a person.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkRow {
    /// Its feed, or none for the whole lubricator.
    pub feed: Option<i64>,
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// The words.
    pub words: String,
    /// How the feed's valve was moved, when the words said so.
    pub moved: Option<Moved>,
}

/// A reading that was over when a new one began.
#[derive(Clone, Debug, PartialEq)]
pub struct AsFoundRow {
    /// Its feed.
    pub feed: i64,
    /// Source time at which that was found out, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// From when it reckoned, source time, seconds.
    pub from_secs: f64,
    /// Until when; the new reading reckons from here.
    pub until_secs: f64,
    /// Median and 95 % limits, drops a minute; none when there was no reading.
    pub rate_per_minute: Option<(f64, f64, f64)>,
    /// Scatter of the intervals (standard deviation over mean).
    pub scatter: Option<f64>,
    /// How many drops it rests on.
    pub drops: Option<i64>,
    /// The verdict at its end.
    pub state: String,
    /// What began the new reading: `mark`, `stop` or `change`.
    pub began: String,
    /// The same as words.
    pub words: String,
    /// Mean rate before and after a change, drops a minute.
    pub change_per_minute: Option<(f64, f64)>,
}

/// A calibration that came in force within a run.
#[derive(Clone, Debug, PartialEq)]
pub struct CalibrationRow {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// The calibration as TOML.
    pub toml: String,
}

/// A blind spell (with a feed, or none for all) or a gap (never with a feed).
#[derive(Clone, Debug, PartialEq)]
pub struct SpellRow {
    /// Its feed, or none for all.
    pub feed: Option<i64>,
    /// Start, source time, seconds.
    pub from_secs: f64,
    /// End, source time, seconds.
    pub to_secs: f64,
    /// Wall time that belongs to its end.
    pub wall_secs: f64,
    /// Why.
    pub why: String,
}

/// A person's tap at a drop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TapRow {
    /// Its feed, or none for all together.
    pub feed: Option<i64>,
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// When the hand check it belongs to began, source time, seconds.
    pub check_from_secs: f64,
}

/// A hand check that is over: what the taps came to beside the drops counted.
#[derive(Clone, Debug, PartialEq)]
pub struct HandCheckRow {
    /// Its feed, or none for all together.
    pub feed: Option<i64>,
    /// Source time at which it was told, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it.
    pub wall_secs: f64,
    /// Start and end, source time, seconds.
    pub watched_secs: (f64, f64),
    /// Seen time in it, seconds.
    pub seen_secs: f64,
    /// Beads tapped and counted.
    pub matched: i64,
    /// Taps without a drop.
    pub missed_by_tool: i64,
    /// Drops without a tap.
    pub missed_by_person: i64,
    /// Taps and drops beside unseen time or the ends.
    pub left_out: i64,
    /// How late the person taps, seconds.
    pub lag_secs: f64,
    /// How much that scatters, seconds; none from too few taps.
    pub lag_scatter_secs: Option<f64>,
    /// A tap was laid to a drop when it came within this of the lag, seconds.
    pub window_secs: f64,
    /// The p of a difference of counts as large by chance.
    pub counts_p: f64,
    /// Whether the two agree, in words.
    pub agreement: String,
}

/// Wall time against source time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockRow {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time then.
    pub wall_secs: f64,
    /// By how much the wall clock jumped since the last record, seconds.
    pub stepped_secs: f64,
}

/// Everything in one run but the pictures.
#[derive(Clone, Debug, PartialEq)]
pub struct RunContents {
    /// Its head.
    pub summary: RunSummary,
    /// The calibration at its start, as TOML.
    pub calibration_toml: String,
    /// Its feeds.
    pub feeds: Vec<FeedRow>,
    /// Its beads by mid-glass time.
    pub drops: Vec<DropRow>,
    /// Its readings.
    pub readings: Vec<ReadingRow>,
    /// Changes of its alarms.
    pub alarms: Vec<AlarmRow>,
    /// Its marks.
    pub marks: Vec<MarkRow>,
    /// Its blind spells.
    pub blind: Vec<SpellRow>,
    /// Lost or spoiled pictures.
    pub gaps: Vec<SpellRow>,
    /// Its clock records.
    pub clocks: Vec<ClockRow>,
    /// Readings that were over when new ones began.
    pub as_found: Vec<AsFoundRow>,
    /// Calibrations that came in force after its start.
    pub calibrations: Vec<CalibrationRow>,
    /// A person's taps.
    pub taps: Vec<TapRow>,
    /// Hand checks that are over.
    pub hand_checks: Vec<HandCheckRow>,
}
