//! What a person may ask of the *measure* thread: runs, marks, outlines, a new search, faults of a
//! demo. It only passes on; what is counted and judged is not decided here.

use std::sync::Arc;

use crate::base::Frame;
use crate::glass::Calibration;
use crate::glass::find::Finder;
use crate::run::{Event, Instrument, Intent};
use crate::run::{moved, outlines};

use super::super::looking::found_while;
use super::{Again, Asked, MOST_MARKS, Measuring, Phase, Picture, RunUnderWay, Tie, said, wrong};

impl Measuring {
    pub(super) fn start_run(&mut self, title: String) {
        self.end_run();
        if self.phase == Phase::Over {
            self.notices.asked = Some(wrong(
                "The clip is over, so there is nothing to record; open a source again.",
            ));
            return;
        }
        let Some(log) = &self.parts.log else {
            self.notices.asked = Some(wrong(
                "No run can be recorded because no logbook is kept; start the program with one.",
            ));
            return;
        };
        let Some(calibration) = &self.calibration else {
            self.run_asked = Some(title);
            self.notices.asked = Some(said("The run starts as soon as the glasses are found."));
            return;
        };
        let clock = Arc::clone(&self.parts.shared.clock);
        // Pictures that were kept belong to the run.
        let (from_secs, tie) = match self.waiting.front() {
            Some(Picture::Frame {
                frame,
                arrived_secs,
                ..
            }) => {
                let tie = Tie {
                    at_secs: frame.at_secs,
                    arrived_secs: *arrived_secs,
                };
                (frame.at_secs, tie)
            }
            _ => (self.now_secs(), self.tie),
        };
        self.run = Some(RunUnderWay::start(
            title,
            self.parts.about.clone(),
            from_secs,
            tie,
            Arc::clone(calibration),
            log,
            clock.as_ref(),
        ));
        self.notices.asked = None;
        let standing = self.instrument.as_ref().map(Instrument::standing_events);
        self.record(standing.unwrap_or_default());
    }

    /// Puts events into the run alone: they are no news to those who listen.
    fn record(&mut self, events: Vec<Event>) {
        if let (Some(run), Some(log)) = (&mut self.run, &self.parts.log) {
            for event in events {
                let clock = self.parts.shared.clock.as_ref();
                run.event(&Arc::new(event), self.tie, log, clock);
            }
        }
    }

    pub(super) fn end_run(&mut self) {
        let now_secs = self.now_secs();
        let open = self.instrument.as_ref().map(Instrument::open_events);
        self.record(open.unwrap_or_default());
        if let (Some(run), Some(log)) = (self.run.take(), &self.parts.log) {
            run.end(now_secs, self.tie, log, self.parts.shared.clock.as_ref());
        }
        self.run_asked = None;
        self.run_lasts_secs = None;
    }

    /// Ends a run whose time is over.
    pub(super) fn end_run_if_due(&mut self) {
        if let (Some(run), Some(secs)) = (&self.run, self.run_lasts_secs)
            && self.now_secs() >= run.started_secs() + secs
        {
            self.end_run();
            self.changed = true;
        }
    }

    fn recalibrate(&mut self, calibration: &Calibration) {
        let about = &self.parts.about;
        let fitted = match calibration.scaled_to(about.width, about.height) {
            Ok(fitted) => fitted,
            Err(error) => {
                self.notices.asked = Some(wrong(format!("The outlines were not taken: {error}.")));
                return;
            }
        };
        if self.instrument.is_none() {
            if let Some(looking) = &mut self.looking {
                let kept = looking.take_kept();
                self.waiting.extend(kept);
            }
            self.begin(fitted);
            return;
        }
        self.step(|instrument| instrument.recalibrate(fitted));
        self.show_calibration();
    }

    /// The calibration in force is another: shows it, and tells the logbook.
    pub(super) fn show_calibration(&mut self) {
        let Some(instrument) = &self.instrument else {
            return;
        };
        let shown = Arc::new(instrument.calibration().clone());
        self.calibration = Some(Arc::clone(&shown));
        if let (Some(run), Some(log)) = (&mut self.run, &self.parts.log) {
            run.calibration(&shown, self.tie, log, self.parts.shared.clock.as_ref());
        }
    }

    /// A search asked for while counting.
    pub(super) fn look_again(&mut self, frame: &Frame) {
        let Some(again) = &mut self.again else { return };
        again.finder.look(frame);
        let until_secs = *again
            .until_secs
            .get_or_insert(frame.at_secs + self.parts.find_secs);
        if frame.at_secs < until_secs {
            return;
        }
        let Some(again) = self.again.take() else {
            return;
        };
        // Outside this thread: a search takes longer than a camera may wait.
        let Some(found) = found_while(again.finder, &mut || self.wait_meanwhile()) else {
            return;
        };
        let new = outlines::calibration_from(&found, &self.parts.about, self.parts.presets);
        match (new, &self.calibration) {
            (Some(new), Some(old)) => {
                let new = outlines::keep_decisions(new, old);
                self.notices.looking = None;
                self.recalibrate(&new);
            }
            _ => {
                self.notices.looking = Some(wrong(
                    "No sight glass was found; the outlines stay as they were. See that each \
                     glass is upright, whole, lit and sharp, and try again.",
                ));
            }
        }
    }

    /// Does what a person asked.
    pub(super) fn obey(&mut self, asked: Asked) {
        self.changed = true;
        let Asked { intent, sent_secs } = asked;
        match intent {
            Intent::Acknowledge { feed, cause } => {
                self.step(|instrument| instrument.acknowledge(feed, cause));
            }
            Intent::AcknowledgeAll => self.step(Instrument::acknowledge_all),
            Intent::Shelve {
                feed,
                cause,
                for_secs,
            } => self.step(|instrument| instrument.shelve(feed, cause, for_secs)),
            Intent::Calibrate(calibration) => self.recalibrate(&calibration),
            Intent::FindGlasses => {
                if self.instrument.is_some() {
                    let about = &self.parts.about;
                    self.again = Some(Again {
                        finder: Finder::new(about.width, about.height),
                        until_secs: None,
                    });
                    self.notices.looking = Some(said("Looking for the glasses again…"));
                }
            }
            Intent::StartRun { title } => self.start_run(title),
            Intent::EndRun => self.end_run(),
            Intent::EndRunAfter { secs } => {
                self.run_lasts_secs = (secs.is_finite() && secs > 0.0).then_some(secs);
            }
            Intent::Mark { feed, words } => {
                if self.instrument.is_some() {
                    self.step(|instrument| instrument.mark(feed, words));
                } else if self.marks.len() < MOST_MARKS {
                    let at_secs = self.tie.at_secs;
                    let said = moved::read(&words);
                    self.marks.push(Event::Mark {
                        at_secs,
                        feed: feed.or(said.feed),
                        words,
                        moved: said.moved,
                    });
                }
            }
            Intent::StartHandCheck { feed } => {
                if self.instrument.is_some() && self.phase != Phase::Over {
                    self.step(|instrument| instrument.start_hand_check(feed));
                    self.notices.asked = None;
                } else {
                    self.notices.asked = Some(wrong(
                        "A hand check needs drops that are being counted; open a source, and wait \
                         until the glasses are found.",
                    ));
                }
            }
            Intent::Tap => {
                let at_secs = self.tie.source_secs_at(sent_secs);
                self.step(|instrument| instrument.tap(at_secs));
            }
            Intent::EndHandCheck => {
                let at_secs = self.tie.source_secs_at(sent_secs);
                self.step(|instrument| instrument.end_hand_check(at_secs));
            }
            Intent::Fault(words) => {
                if self.parts.faults.try_send(words).is_err() {
                    self.notices.asked =
                        Some(wrong("The source did not take the fault; ask again."));
                }
            }
            Intent::Quit => {
                self.parts
                    .shared
                    .stop
                    .store(true, std::sync::atomic::Ordering::Relaxed);
            }
        }
    }
}
