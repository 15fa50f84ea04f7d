//! A person's taps at a recorded clip, given to the instrument when their time comes. Live taps come
//! as intents; what they come to is the hand check's.

use crate::base::{FeedNumber, Span};
use crate::run::{Event, Instrument};

/// A person's taps at the drops of a clip.
#[derive(Clone, Debug)]
pub struct Taps {
    feed: Option<FeedNumber>,
    watched: Span,
    /// Not given yet, the latest first.
    at_secs: Vec<f64>,
    step: TapStep,
}

impl Taps {
    /// Taps at source times in seconds, in any order; `feed` is the one watched, none for all
    /// together; `watched` is from when to when the person watched, none for the whole clip. Times
    /// that are no numbers are left out.
    #[must_use]
    pub fn new(feed: Option<FeedNumber>, watched: Option<Span>, mut at_secs: Vec<f64>) -> Self {
        at_secs.retain(|at| at.is_finite());
        at_secs.sort_by(|a, b| b.total_cmp(a));
        Self {
            feed,
            watched: watched.unwrap_or(Span {
                from_secs: f64::NEG_INFINITY,
                to_secs: f64::INFINITY,
            }),
            at_secs,
            step: TapStep::Before,
        }
    }

    /// Gives the instrument what is due by now.
    pub(super) fn give(&mut self, instrument: &mut Instrument) -> Vec<Event> {
        let now_secs = instrument.now_secs();
        let Span { from_secs, to_secs } = self.watched;
        let mut events = Vec::new();
        if self.step == TapStep::Before && now_secs >= from_secs {
            events.extend(instrument.start_hand_check(self.feed));
            self.step = TapStep::Tapping;
        }
        if self.step == TapStep::Tapping {
            let is_due = |at: &mut f64| *at <= now_secs.min(to_secs);
            while let Some(at_secs) = self.at_secs.pop_if(is_due) {
                events.extend(instrument.tap(at_secs));
            }
            if now_secs >= to_secs {
                events.extend(instrument.end_hand_check(to_secs));
                self.step = TapStep::Over;
            }
        }
        events
    }
}

/// How far a hand check of a clip has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum TapStep {
    Before,
    Tapping,
    Over,
}
