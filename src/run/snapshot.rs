//! What a screen may know: the newest state of the instrument, complete and unchanging, made anew
//! for each picture or event; and what a person may ask for.

use std::sync::Arc;

use image::GrayImage;

use crate::base::{BeadKind, BlindWhy, FeedNumber, Frame};
use crate::capture::About;
use crate::glass::{Calibration, FeedCalibration, Outline};
use crate::judge::{Alarm, FeedState};
use crate::rate::Reading;
use crate::rate::oil::{Growth, OilFlow};
use crate::run::as_found::AsFound;
use crate::run::hand_check::HandCheckState;
use crate::run::oil::OilState;

/// The whole instrument at one moment.
#[derive(Clone, Debug, Default)]
pub struct Snapshot {
    /// Counts snapshots; a screen redraws when it changes.
    pub number: u64,
    /// What is watched; none before a source is open.
    pub about: Option<About>,
    /// Source time now, seconds.
    pub now_secs: f64,
    /// The newest picture.
    pub frame: Option<Frame>,
    /// Age of the newest picture, seconds.
    pub frame_age_secs: f64,
    /// Measured frames a second over the last few seconds.
    pub frames_per_second: f64,
    /// The feeds, from the left.
    pub feeds: Vec<FeedSnapshot>,
    /// All alarms that are not normal, most pressing first.
    pub alarms: Vec<Alarm>,
    /// The hand check under way, or the one that ended last; none before the first, and none again
    /// when a person has put it away.
    pub hand_check: Option<Arc<HandCheckState>>,
    /// The oil of all feeds together, and the reservoir.
    pub oil: OilState,
    /// The run that is being recorded, if any.
    pub run: Option<RunSnapshot>,
    /// The newest words from the instrument to a person ("looking for the glasses…", an error).
    pub notice: Option<Notice>,
    /// The calibration in force.
    pub calibration: Option<Arc<Calibration>>,
    /// The clip is over.
    pub ended: bool,
    /// Threads and how long ago each last gave a sign of life, seconds.
    pub heartbeats: Vec<(&'static str, f64)>,
}

/// Words to a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Whether something went wrong.
    pub is_error: bool,
    /// A sentence or two: what, why, and what to do.
    pub words: String,
}

/// One run under way.
#[derive(Clone, Debug, PartialEq)]
pub struct RunSnapshot {
    /// Its number in the logbook.
    pub id: i64,
    /// When it started, source time, seconds.
    pub from_secs: f64,
    /// Drops recorded so far, all feeds.
    pub drops: u64,
    /// When it ends by itself, source time, seconds; none when a person ends it.
    pub until_secs: Option<f64>,
}

/// One feed at one moment.
#[derive(Clone, Debug)]
pub struct FeedSnapshot {
    /// Which feed.
    pub feed: FeedNumber,
    /// Its outline (where the glass is now), name, band and scale.
    pub calibration: FeedCalibration,
    /// The outline as steadied in the newest picture.
    pub outline_now: Outline,
    /// The reading, or none yet.
    pub reading: Option<Reading>,
    /// The verdict.
    pub state: FeedState,
    /// Why it cannot be seen, when it cannot.
    pub blind: Option<BlindWhy>,
    /// Reasons to trust the reading less.
    pub doubts: Vec<String>,
    /// Drops of oil counted since the start.
    pub drops: u64,
    /// Bubbles of gas seen since the start.
    pub bubbles: u64,
    /// Source time of the last drop, seconds.
    pub last_drop_secs: Option<f64>,
    /// The newest beads with where they are now, for marking them in the picture.
    pub beads: Vec<BeadMark>,
    /// Median rate with limits over time, oldest first, at most some hundreds of points.
    pub history: Arc<Vec<HistoryPoint>>,
    /// The strip: one column a frame, newest to the right, top of the glass at the top.
    pub strip: Arc<GrayImage>,
    /// How far the glass stands from its place in this frame, pixels: what steadying takes out.
    pub shake_px: f64,
    /// What steadying leaves unexplained round the glass, grey levels of 256 (median absolute).
    pub residual_levels: f64,
    /// What was read before the newest change of rate or mark; a mark that came before there was a
    /// new reading leaves the older one.
    pub as_found: Option<Arc<AsFound>>,
    /// How much oil the feed gives, when the volume of a drop is known.
    pub oil: Option<OilFlow>,
    /// How the size of its beads went over hours, when it was watched for long enough.
    pub growth: Option<Growth>,
}

/// A bead to be marked in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeadMark {
    /// Where its centre is in the newest picture, pixels.
    pub x_px: f64,
    /// See `x_px`.
    pub y_px: f64,
    /// Half its height, pixels.
    pub radius_px: f64,
    /// Oil or gas.
    pub kind: BeadKind,
    /// Whether it is settled (counted) already.
    pub settled: bool,
}

/// One point of the rate plot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HistoryPoint {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Median and 95 % limits, drops a minute; none while there is no reading or nothing is seen.
    pub rate: Option<(f64, f64, f64)>,
}

/// What a person may ask of a running instrument.
#[derive(Clone, Debug)]
pub enum Intent {
    /// Acknowledge one alarm.
    Acknowledge {
        /// The alarm's feed.
        feed: Option<FeedNumber>,
        /// The alarm's cause.
        cause: crate::judge::Cause,
    },
    /// Acknowledge all alarms.
    AcknowledgeAll,
    /// Put one alarm aside for a while; for 0 s or less takes it off the shelf.
    Shelve {
        /// The alarm's feed.
        feed: Option<FeedNumber>,
        /// The alarm's cause.
        cause: crate::judge::Cause,
        /// For how long from now, seconds.
        for_secs: f64,
    },
    /// Put other outlines, names, bands or scale in force.
    Calibrate(Arc<Calibration>),
    /// Find the glasses again in the picture.
    FindGlasses,
    /// Start recording a run under a title.
    StartRun {
        /// A person's words for it; may be empty.
        title: String,
    },
    /// End the run.
    EndRun,
    /// End the run under way (or the one about to start) by itself, so many seconds from now.
    EndRunAfter {
        /// Seconds of source time.
        secs: f64,
    },
    /// Keep a note with the time.
    Mark {
        /// Which feed, or none.
        feed: Option<FeedNumber>,
        /// The words.
        words: String,
    },
    /// Begin a hand check: from now on a person taps at each drop seen. One under way is ended.
    StartHandCheck {
        /// The feed that is watched, or none for all together.
        feed: Option<FeedNumber>,
    },
    /// A tap: the person sees a drop now. Its time is when it is sent.
    Tap,
    /// End the hand check; once more puts its result away.
    EndHandCheck,
    /// Ask a demo for a fault.
    Fault(String),
    /// Stop everything.
    Quit,
}
