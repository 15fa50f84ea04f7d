//! The words of judging: what a feed is found to be, what an alarm is about and where it stands.
//! Only words and their order; how they come about is in `verdict` and `alarm`.

use serde::{Deserialize, Serialize};

use crate::base::FeedNumber;

/// The verdict on one feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum FeedState {
    /// Too few drops for a reading, and not yet silent for too long.
    #[serde(rename = "no reading yet")]
    NoReadingYet,
    /// Within its band.
    #[serde(rename = "in band")]
    InBand,
    /// Under the low limit.
    #[serde(rename = "low")]
    Low,
    /// Over the high limit.
    #[serde(rename = "high")]
    High,
    /// Over twice the high limit.
    #[serde(rename = "far high")]
    FarHigh,
    /// Silent for longer than this feed's own intervals allow.
    #[serde(rename = "stopped")]
    Stopped,
    /// The glass cannot be judged now.
    #[serde(rename = "cannot see")]
    CannotSee,
}

impl FeedState {
    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::NoReadingYet => "no reading yet",
            Self::InBand => "in band",
            Self::Low => "low",
            Self::High => "high",
            Self::FarHigh => "far high",
            Self::Stopped => "stopped",
            Self::CannotSee => "cannot see",
        }
    }
}

/// What an alarm is about. One alarm per cause and feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Cause {
    /// The feed stopped.
    #[serde(rename = "stopped")]
    Stopped,
    /// The feed runs over twice its high limit.
    #[serde(rename = "far high")]
    FarHigh,
    /// The feed runs under its low limit.
    #[serde(rename = "low")]
    Low,
    /// The feed runs over its high limit.
    #[serde(rename = "high")]
    High,
    /// The glass cannot be judged.
    #[serde(rename = "cannot see")]
    CannotSee,
    /// The camera is gone (no feed of its own).
    #[serde(rename = "camera lost")]
    CameraLost,
    /// The logbook cannot be written (no feed of its own).
    #[serde(rename = "logbook not written")]
    LogbookNotWritten,
}

impl Cause {
    /// Every cause, most pressing first: see [`priority`](Self::priority).
    pub const ALL: [Self; 7] = [
        Self::CameraLost,
        Self::Stopped,
        Self::FarHigh,
        Self::CannotSee,
        Self::LogbookNotWritten,
        Self::Low,
        Self::High,
    ];

    /// Whether harm can follow while nobody acts: an acknowledged alarm of such a cause comes again
    /// (re-alarm). The first three by priority.
    #[must_use]
    pub fn is_pressing(self) -> bool {
        self.priority() <= 3
    }

    /// How pressing: 1 is the most. The reasons for the order: without a camera nothing at all is
    /// watched; a stopped feed leaves a cylinder dry, which does harm in minutes; far high empties
    /// the reservoir, after which every feed stops; a glass that cannot be seen may hide either;
    /// a logbook that is not written loses evidence but harms no engine; low wears slowly; high
    /// only wastes oil.
    #[must_use]
    pub fn priority(self) -> u8 {
        match self {
            Self::CameraLost => 1,
            Self::Stopped => 2,
            Self::FarHigh => 3,
            Self::CannotSee => 4,
            Self::LogbookNotWritten => 5,
            Self::Low => 6,
            Self::High => 7,
        }
    }

    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Stopped => "stopped",
            Self::FarHigh => "far high",
            Self::Low => "low",
            Self::High => "high",
            Self::CannotSee => "cannot see",
            Self::CameraLost => "camera lost",
            Self::LogbookNotWritten => "logbook not written",
        }
    }
}

/// The states of an alarm in the words of ANSI/ISA-18.2 and IEC 62682.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum AlarmState {
    /// Nothing wrong, nothing to acknowledge.
    #[serde(rename = "normal")]
    Normal,
    /// Active and not yet acknowledged: sounds and blinks.
    #[serde(rename = "unacknowledged")]
    Unacknowledged,
    /// Active and acknowledged: silent and steady.
    #[serde(rename = "acknowledged")]
    Acknowledged,
    /// Over, but nobody acknowledged it.
    #[serde(rename = "returned to normal unacknowledged")]
    ReturnedUnacknowledged,
    /// Put aside by a person until a set time: silent, whatever the condition.
    #[serde(rename = "shelved")]
    Shelved,
}

impl AlarmState {
    /// Whether the alarm sounds and blinks.
    #[must_use]
    pub fn wants_acknowledging(self) -> bool {
        matches!(self, Self::Unacknowledged | Self::ReturnedUnacknowledged)
    }

    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::ReturnedUnacknowledged => "returned to normal unacknowledged",
            Self::Shelved => "shelved",
        }
    }
}

/// What happened to an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Happened {
    /// It came: the condition had lasted the on-delay.
    #[default]
    #[serde(rename = "raised")]
    Raised,
    /// It came again after it had returned to normal unacknowledged.
    #[serde(rename = "raised again")]
    RaisedAgain,
    /// It had been acknowledged, still stood, and asked for attention once more.
    #[serde(rename = "re-alarmed")]
    ReAlarmed,
    /// A person acknowledged it.
    #[serde(rename = "acknowledged")]
    Acknowledged,
    /// Its condition had been gone for the off-delay.
    #[serde(rename = "returned to normal")]
    Returned,
    /// It was put aside until a set time, or its set time was moved.
    #[serde(rename = "shelved")]
    Shelved,
    /// It came off the shelf.
    #[serde(rename = "unshelved")]
    Unshelved,
    /// What it watched over is no longer watched.
    #[serde(rename = "no longer watched")]
    Forgotten,
    /// Nothing changed: it stood already when its recording began.
    #[serde(rename = "stood when the run began")]
    Stood,
}

impl Happened {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Raised,
        Self::RaisedAgain,
        Self::ReAlarmed,
        Self::Acknowledged,
        Self::Returned,
        Self::Shelved,
        Self::Unshelved,
        Self::Forgotten,
        Self::Stood,
    ];

    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::RaisedAgain => "raised again",
            Self::ReAlarmed => "re-alarmed",
            Self::Acknowledged => "acknowledged",
            Self::Returned => "returned to normal",
            Self::Shelved => "shelved",
            Self::Unshelved => "unshelved",
            Self::Forgotten => "no longer watched",
            Self::Stood => "stood when the run began",
        }
    }
}

/// Who or what changed an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum By {
    /// The condition came or went.
    #[default]
    #[serde(rename = "the condition")]
    Condition,
    /// A person.
    #[serde(rename = "a person")]
    Person,
    /// Time that ran out: a shelving, or the patience with an acknowledged alarm.
    #[serde(rename = "time")]
    Time,
    /// Another calibration, in which its feed is no longer the same.
    #[serde(rename = "another calibration")]
    Calibration,
}

impl By {
    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Condition => "the condition",
            Self::Person => "a person",
            Self::Time => "time",
            Self::Calibration => "another calibration",
        }
    }
}

/// The newest step in the life of an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Step {
    /// What happened.
    pub happened: Happened,
    /// Who or what did it.
    pub by: By,
    /// When it comes off the shelf, source time in seconds; none when it is not shelved.
    pub shelved_until_secs: Option<f64>,
}

/// One alarm as it stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alarm {
    /// The feed, or none for an alarm of the whole instrument.
    pub feed: Option<FeedNumber>,
    /// What it is about.
    pub cause: Cause,
    /// Where it stands.
    pub state: AlarmState,
    /// Source time of its last change of state, seconds.
    pub since_secs: f64,
    /// The step that brought it there.
    pub step: Step,
}
