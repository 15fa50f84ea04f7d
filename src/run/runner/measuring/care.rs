//! How the *measure* thread looks after the threads, itself among them: after a surprise it goes on
//! with a new instrument, and what was in flight is a blind spell; a camera's code that was started
//! again, and a logbook that is not written, are told. It counts nothing.

use std::any::Any;
use std::panic::resume_unwind;
use std::sync::Arc;

use crate::base::BlindWhy;
use crate::judge::{Cause, Condition};
use crate::run::{Event, Instrument, Notice};

use super::super::panic_words;
use super::super::shared::Worker;
use super::{Measuring, Phase, wrong};

/// How often the logbook is asked how it stands, seconds.
const LOG_LOOK_SECS: f64 = 0.25;
/// The *log* thread gives a sign of life ten times a second, and waits less than half a second for
/// a file that another program holds; silent for this long its disk hangs, seconds.
const LOG_HUNG_SECS: f64 = 3.0;
/// Surprises of counting within [`RESTART_SECS`] after which it is given up: more often, and the
/// next one is near, whatever was counted.
pub(super) const MOST_RESTARTS: usize = 3;
/// See [`MOST_RESTARTS`], seconds.
const RESTART_SECS: f64 = 60.0;
/// Beads that are on their way when counting is started again are lost; they came into the glass
/// within this, seconds: a slow bead in a long glass, and the time to be sure of it.
const IN_FLIGHT_SECS: f64 = 4.0;
/// How long it stays told that a part was started again, seconds: somebody may be at the glasses.
const RESTART_TOLD_SECS: f64 = 60.0;

impl Measuring {
    /// Counting met a surprise: goes on with a new instrument; when that happens too often, dies of
    /// it, which is told.
    pub(super) fn start_again(&mut self, surprise: Box<dyn Any + Send>) {
        let shared = Arc::clone(&self.parts.shared);
        let now_secs = shared.clock.monotonic_secs();
        let is_often = self.restarts.len() == MOST_RESTARTS
            && self
                .restarts
                .oldest()
                .is_some_and(|first| now_secs - first < RESTART_SECS);
        if is_often || self.phase == Phase::Over {
            resume_unwind(surprise);
        }
        self.restarts.push(now_secs);
        let words = panic_words(surprise.as_ref());
        tracing::error!(why = words, "counting was started again");
        self.tell_restart("counts the drops", &words);
        self.again = None;
        let at_secs = self.tie.at_secs;
        let Some(calibration) = self.calibration.clone() else {
            // It was looking for the glasses; it looks anew.
            self.look();
            return;
        };
        let from_secs = (at_secs - IN_FLIGHT_SECS).max(0.0);
        let mut instrument = Instrument::new(Arc::unwrap_or_clone(calibration));
        let mut events = vec![Event::Gap {
            from_secs,
            to_secs: at_secs,
            why: format!("the part that counts met a surprise ({words}) and was started again"),
        }];
        events.extend(instrument.feeds().iter().map(|feed| Event::Blind {
            feed: Some(feed.feed),
            from_secs,
            to_secs: at_secs,
            why: BlindWhy::Starting,
        }));
        if self.log_failing {
            events.extend(instrument.condition(Cause::LogbookNotWritten, Condition::Active));
        }
        self.instrument = Some(instrument);
        self.changed = true;
        self.tell(events);
    }

    /// The camera's code met a surprise, and is asked again.
    pub(super) fn camera_started_again(&mut self, at_secs: f64, why: &str) {
        self.tell_restart("takes the pictures", why);
        let words = format!("the part that takes the pictures met a surprise ({why})");
        self.step(|instrument| instrument.spoiled(at_secs, &words));
    }

    fn tell_restart(&mut self, work: &str, why: &str) {
        let until_secs = self.parts.shared.clock.monotonic_secs() + RESTART_TOLD_SECS;
        let notice = wrong(format!(
            "The part of the program that {work} met a surprise ({why}) and was started again. \
             What was in the glasses just then may be missing. Tell us what you did."
        ));
        self.notices.restarted = Some((notice, until_secs));
        self.changed = true;
    }

    /// Takes away what has been told for long enough.
    pub(super) fn forget_restart_if_due(&mut self) {
        let now_secs = self.parts.shared.clock.monotonic_secs();
        if self
            .notices
            .restarted
            .take_if(|(_, until_secs)| now_secs >= *until_secs)
            .is_some()
        {
            self.changed = true;
        }
    }

    /// Whether the logbook is written, for the alarm and the words.
    pub(super) fn look_at_log(&mut self) {
        let shared = Arc::clone(&self.parts.shared);
        let now_secs = shared.clock.monotonic_secs();
        let Some(log) = &self.parts.log else { return };
        if now_secs - self.log_look_secs < LOG_LOOK_SECS {
            return;
        }
        self.log_look_secs = now_secs;
        let mut status = log.status();
        if status.failing.is_none() && shared.is_silent(Worker::Log, now_secs, LOG_HUNG_SECS) {
            status.failing = Some(
                "The part of the program that writes the logbook does not answer; its disk may \
                 hang. See to the disk."
                    .to_owned(),
            );
        }
        let failing = status.failing.is_some() || shared.has_died(Worker::Log);
        let notice = status.failing.clone().map(|words| Notice {
            is_error: true,
            words: format!("{words} Counting goes on; {} records wait.", status.waiting),
        });
        if notice != self.notices.log {
            self.notices.log = notice;
            self.changed = true;
        }
        shared.set_log_status(status);
        if failing != self.log_failing {
            self.log_failing = failing;
            let condition = if failing {
                Condition::Active
            } else {
                Condition::Clear
            };
            self.step(|instrument| instrument.condition(Cause::LogbookNotWritten, condition));
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::sync_channel;

    use super::super::super::shared::Shared;
    use super::super::super::stage::calibration;
    use super::super::Parts;
    use super::*;
    use crate::base::{Clock, ManualClock};
    use crate::capture::About;
    use crate::run::Recording;
    use crate::run::logbook::LogThread;

    #[test]
    fn a_disk_that_hangs_is_told_and_raises_the_alarm_of_the_logbook() {
        let clock = ManualClock::new(0.0);
        let about = About {
            name: "script".to_owned(),
            identity: String::new(),
            width: 160,
            height: 120,
            frames_per_second: None,
            frames: None,
            live: true,
        };
        let folder = tempfile::tempdir().unwrap();
        let shared = Arc::new(Shared::new(Arc::new(clock.clone()), about.clone(), None));
        let path = folder.path().join("logbook.sqlite3");
        // Its thread never runs: as if it hung in its disk.
        let (log, _worker) = LogThread::new(path, Arc::new(clock.clone()));
        let (_pictures, pictures) = sync_channel(1);
        let (_intents, intents) = sync_channel(1);
        let (faults, _faults) = sync_channel(1);
        let mut measuring = Measuring::new(Parts {
            shared: Arc::clone(&shared),
            about,
            pictures,
            intents,
            faults,
            log: Some(log),
            calibration: None,
            presets: crate::run::outlines::Presets::default(),
            recording: Recording::WhenAsked,
            find_secs: 1.0,
            pictures_for: crate::run::runner::Pictures::default(),
        });
        measuring.begin(calibration());
        shared.beat(Worker::Log);
        measuring.look_at_log();
        assert_eq!(measuring.notices.log, None);
        for _ in 0..24 {
            clock.advance(0.5);
            measuring.look_at_log();
            let at_secs = clock.monotonic_secs();
            measuring.step(|instrument| instrument.no_frame(at_secs, BlindWhy::NoFrames));
        }
        let notice = measuring.notices.log.clone().unwrap();
        assert!(notice.words.contains("its disk may hang"), "{notice:?}");
        let alarms = measuring.instrument.as_ref().unwrap().alarms();
        let is_it = |alarm: &crate::judge::Alarm| alarm.cause == Cause::LogbookNotWritten;
        assert!(alarms.iter().any(is_it), "{alarms:?}");
        // It answers again.
        shared.beat(Worker::Log);
        clock.advance(0.5);
        shared.beat(Worker::Log);
        measuring.look_at_log();
        assert_eq!(measuring.notices.log, None);
    }
}
