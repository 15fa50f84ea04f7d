//! Every limit and delay of judging, each with its reason. Nothing is decided here.

use crate::rate::{OWN_INTERVALS_FROM_DROPS, STOPPED_AFTER_INTERVALS, STOPPED_CHANCE};

use super::Cause;

/// The limits a verdict is found by.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgeSettings {
    /// A feed has stopped after so many expected intervals of silence; see
    /// [`STOPPED_AFTER_INTERVALS`].
    pub stopped_after_intervals: f64,
    /// ... but not before a silence that a running feed reaches with this chance at each interval;
    /// see [`STOPPED_CHANCE`].
    pub stopped_chance: f64,
    /// From so many drops on a feed's own intervals tell when it has stopped; before, the interval
    /// at the band's low limit does; see [`OWN_INTERVALS_FROM_DROPS`].
    pub own_intervals_from_drops: usize,
    /// Far high is over so many times the high limit. 2 (common practice: a feed at twice its
    /// setting is no longer a matter of trimming).
    pub far_high_factor: f64,
    /// A feed that left its band is back only when inside by this share of the limit. 3 %: about
    /// how much a settled reading moves from drop to drop.
    pub deadband_share: f64,
}

impl Default for JudgeSettings {
    fn default() -> Self {
        Self {
            stopped_after_intervals: STOPPED_AFTER_INTERVALS,
            stopped_chance: STOPPED_CHANCE,
            own_intervals_from_drops: OWN_INTERVALS_FROM_DROPS,
            far_high_factor: 2.0,
            deadband_share: 0.03,
        }
    }
}

/// How long a condition must last to count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delays {
    /// Seconds a condition must have been active before the alarm comes (on-delay).
    pub on_secs: f64,
    /// Seconds it must have been clear before the alarm goes (off-delay).
    pub off_secs: f64,
}

/// The delays of every alarm.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmSettings {
    /// On at once: the silence itself was the delay. Off at once: a drop is proof.
    pub stopped: Delays,
    /// On after 10 s (at once when even the reading's lower limit is far high): two or three drops
    /// at such a rate. Off after 10 s, because a reading swings as it settles.
    pub far_high: Delays,
    /// On after 60 s: two or three drops at the low end of common practice, and a feed that is low
    /// harms nothing in a minute. Off after 10 s, as above.
    pub low: Delays,
    /// As for low.
    pub high: Delays,
    /// On after 5 s: somebody walking past is no alarm. Off after 2 s of seeing.
    pub cannot_see: Delays,
    /// On after 2 s: longer than any camera takes between two pictures, shorter than any bead
    /// takes to matter. Off after 1 s of pictures.
    pub camera_lost: Delays,
    /// On after 5 s: a disk may be busy that long. Off after 1 s.
    pub logbook_not_written: Delays,
    /// An acknowledged alarm of a pressing cause (priority 1 to 3) that is still active after so
    /// many seconds comes again as unacknowledged (re-alarm). Half an hour: an acknowledged stop
    /// must not be forgotten for a shift. Infinite or not a number: never.
    pub re_alarm_secs: f64,
    /// An alarm may be shelved for at most so many seconds. Eight hours: a shift.
    pub longest_shelving_secs: f64,
}

impl Default for AlarmSettings {
    fn default() -> Self {
        let delays = |on_secs, off_secs| Delays { on_secs, off_secs };
        Self {
            stopped: delays(0.0, 0.0),
            far_high: delays(10.0, 10.0),
            low: delays(60.0, 10.0),
            high: delays(60.0, 10.0),
            cannot_see: delays(5.0, 2.0),
            camera_lost: delays(2.0, 1.0),
            logbook_not_written: delays(5.0, 1.0),
            re_alarm_secs: 1800.0,
            longest_shelving_secs: 8.0 * 3600.0,
        }
    }
}

impl AlarmSettings {
    /// No delays at all, no re-alarm: for tests and for a judge who wants to see every flicker.
    #[must_use]
    pub fn immediate() -> Self {
        let none = Delays {
            on_secs: 0.0,
            off_secs: 0.0,
        };
        Self {
            stopped: none,
            far_high: none,
            low: none,
            high: none,
            cannot_see: none,
            camera_lost: none,
            logbook_not_written: none,
            re_alarm_secs: f64::INFINITY,
            ..Self::default()
        }
    }

    /// The delays of a cause.
    #[must_use]
    pub fn delays(&self, cause: Cause) -> Delays {
        match cause {
            Cause::Stopped => self.stopped,
            Cause::FarHigh => self.far_high,
            Cause::Low => self.low,
            Cause::High => self.high,
            Cause::CannotSee => self.cannot_see,
            Cause::CameraLost => self.camera_lost,
            Cause::LogbookNotWritten => self.logbook_not_written,
        }
    }
}
