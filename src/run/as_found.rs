//! A reading that is over: a change of the rate, the end of a stop, or a mark on the feed began a
//! new one, and what was read until then is kept as *as found*. It decides nothing; the feed does.

use crate::base::FeedNumber;
use crate::judge::FeedState;
use crate::rate::Reading;

/// What began the new reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Began {
    /// A person's mark on the feed.
    Mark {
        /// Its words.
        words: String,
    },
    /// The drop that ended a stop: how the feed runs since is told by what comes after it.
    Stop {
        /// Seconds of seen silence before that drop.
        silent_secs: f64,
    },
    /// The rate changed beyond doubt.
    Change {
        /// Mean rate before, drops a minute.
        before_per_minute: f64,
        /// Mean rate after, drops a minute.
        after_per_minute: f64,
    },
}

impl Began {
    /// The words that files use: `mark`, `stop` or `change`.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Mark { .. } => "mark",
            Self::Stop { .. } => "stop",
            Self::Change { .. } => "change",
        }
    }

    /// A sentence for people, without the full stop.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Mark { words } => words.clone(),
            Self::Stop { silent_secs } => {
                format!("the feed runs again after a stop of {silent_secs:.0} s")
            }
            Self::Change {
                before_per_minute,
                after_per_minute,
            } => format!(
                "the rate changed from about {before_per_minute:.1} to about \
                 {after_per_minute:.1} a minute"
            ),
        }
    }
}

/// The reading as it was when a new one began.
#[derive(Clone, Debug, PartialEq)]
pub struct AsFound {
    /// Its feed.
    pub feed: FeedNumber,
    /// From when the reading reckoned, source time, seconds.
    pub from_secs: f64,
    /// Until when; the new reading reckons from here. May lie before the moment at which a change
    /// was found.
    pub until_secs: f64,
    /// The figures; none when there was no reading yet.
    pub reading: Option<Reading>,
    /// The verdict on the feed when its reading ended.
    pub state: FeedState,
    /// What began the new reading.
    pub began: Began,
}
