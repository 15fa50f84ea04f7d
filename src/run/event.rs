//! What the instrument tells as it goes: beads, readings, states, alarms, blind spells. The same
//! events go to the screen, to `--json-lines` and to the logbook.

use std::sync::Arc;

use crate::base::{BeadKind, BlindWhy, FeedNumber};
use crate::bead::Bead;
use crate::judge::{Alarm, FeedState};
use crate::rate::Reading;
use crate::rate::oil::OilFlow;
use crate::run::as_found::AsFound;
use crate::run::hand_check::HandCheckOver;
use crate::run::moved::Moved;

/// One thing that happened, in source time.
#[derive(Clone, Debug)]
pub enum Event {
    /// A bead was counted (oil) or reported (gas). It never changes afterwards.
    Bead {
        /// Which feed.
        feed: FeedNumber,
        /// The bead.
        bead: Bead,
    },
    /// A reading, told every ten seconds and at every change of state.
    Reading {
        /// Source time, seconds.
        at_secs: f64,
        /// Which feed.
        feed: FeedNumber,
        /// The figures, or none when there is no reading yet.
        reading: Option<Reading>,
        /// The verdict.
        state: FeedState,
        /// Reasons to trust it less.
        doubts: Vec<String>,
        /// How much oil that is, when the volume of a drop is known.
        oil: Option<OilFlow>,
        /// A hint to look after the nozzle, when there is one.
        hint: Option<String>,
    },
    /// The verdict on a feed changed.
    State {
        /// Source time, seconds.
        at_secs: f64,
        /// Which feed.
        feed: FeedNumber,
        /// From now on.
        state: FeedState,
    },
    /// An alarm changed its state.
    Alarm {
        /// Source time, seconds.
        at_secs: f64,
        /// The alarm as it stands now.
        alarm: Alarm,
    },
    /// A blind spell ended (or the clip did).
    Blind {
        /// Which feed; none when it was all of them.
        feed: Option<FeedNumber>,
        /// Start, source time, seconds.
        from_secs: f64,
        /// End, source time, seconds.
        to_secs: f64,
        /// Why.
        why: BlindWhy,
    },
    /// A note by a person; or by the instrument, when it carried the outlines along.
    Mark {
        /// Source time, seconds.
        at_secs: f64,
        /// Which feed, or none for the whole lubricator.
        feed: Option<FeedNumber>,
        /// The words.
        words: String,
        /// How the feed's valve was moved, when the words say so.
        moved: Option<Moved>,
    },
    /// A new reading began; what was read until then is kept.
    AsFound {
        /// Source time at which it was found out, seconds.
        at_secs: f64,
        /// The old reading.
        found: AsFound,
    },
    /// A person tapped at a drop.
    Tap {
        /// Source time, seconds.
        at_secs: f64,
        /// Which feed, or none for all together.
        feed: Option<FeedNumber>,
        /// When the hand check it belongs to began, source time, seconds.
        check_from_secs: f64,
    },
    /// A hand check is over, and all its drops are counted.
    HandCheck {
        /// Source time, seconds.
        at_secs: f64,
        /// What it came to.
        check: Arc<HandCheckOver>,
    },
    /// Frames lost between the camera and the instrument, or spoiled.
    Gap {
        /// Start, source time, seconds.
        from_secs: f64,
        /// End, source time, seconds.
        to_secs: f64,
        /// A sentence.
        why: String,
    },
}

impl Event {
    /// Whether this is a counted drop of oil.
    #[must_use]
    pub fn is_drop(&self) -> bool {
        matches!(self, Self::Bead { bead, .. } if bead.kind == BeadKind::Oil)
    }
}
