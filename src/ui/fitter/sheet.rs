//! The as-found / as-left sheet: what each feed gave before its valve was first moved, what was
//! done, and what it gives now. It keeps what the snapshot told; it measures nothing.

use std::collections::BTreeMap;

use crate::base::{Band, FeedNumber};
use crate::judge::FeedState;
use crate::rate::Reading;
use crate::run::Snapshot;
use crate::ui::fitter::settle::{Settling, settling};

/// Most marks that a sheet keeps: hours of setting valves.
const MOST_MARKS: usize = 200;

/// A reading with its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noted {
    /// The reading.
    pub reading: Reading,
    /// Its verdict.
    pub state: FeedState,
    /// Whether it could be acted on.
    pub is_settled: bool,
    /// Wall time, seconds since 1970.
    pub wall_secs: f64,
}

/// What was done.
#[derive(Clone, Debug, PartialEq)]
pub struct Done {
    /// At which feed; none for the whole lubricator.
    pub feed: Option<FeedNumber>,
    /// In words.
    pub words: String,
    /// Wall time, seconds since 1970.
    pub wall_secs: f64,
}

/// One feed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// Its band.
    pub band: Band,
    /// Before the first mark.
    pub found: Option<Noted>,
    /// After the last mark; the same as found while there is none.
    pub left: Option<Noted>,
}

/// The sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    rows: BTreeMap<FeedNumber, Row>,
    done: Vec<Done>,
    source: String,
}

impl Sheet {
    /// The feeds.
    #[must_use]
    pub fn rows(&self) -> &BTreeMap<FeedNumber, Row> {
        &self.rows
    }

    /// What was done.
    #[must_use]
    pub fn done(&self) -> &[Done] {
        &self.done
    }

    /// What was watched.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Begins a new sheet.
    pub fn begin(&mut self) {
        *self = Self::default();
    }

    /// Takes what the instrument told.
    pub fn take(&mut self, snapshot: &Snapshot, wall_secs: f64) {
        if let Some(about) = &snapshot.about
            && self.source != about.name
        {
            self.source.clone_from(&about.name);
        }
        for feed in &snapshot.feeds {
            let row = self.rows.entry(feed.feed).or_default();
            if row.name != feed.calibration.name {
                row.name.clone_from(&feed.calibration.name);
            }
            row.band = feed.calibration.band;
            let is_seen = feed.state != FeedState::CannotSee && feed.blind.is_none();
            let Some(reading) = feed.reading.filter(|_| is_seen) else {
                continue;
            };
            let noted = Noted {
                reading,
                state: feed.state,
                is_settled: settling(Some(&reading), row.band) == Settling::Settled,
                wall_secs,
            };
            let touched = self.done.iter().any(|done| done.feed == Some(feed.feed));
            if !touched {
                row.found = Some(noted);
            }
            row.left = Some(noted);
        }
    }

    /// Something was done; at a feed, its reading starts anew from here.
    pub fn mark(&mut self, feed: Option<FeedNumber>, words: &str, wall_secs: f64) {
        if self.done.len() >= MOST_MARKS {
            return;
        }
        self.done.push(Done {
            feed,
            words: words.to_owned(),
            wall_secs,
        });
        if let Some(row) = feed.and_then(|feed| self.rows.get_mut(&feed)) {
            row.left = None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ui::backend::Backend;
    use crate::ui::pretend::{Pretend, Scene};

    #[test]
    fn what_was_found_stays_and_what_is_left_follows() {
        let behind = Pretend::new(Scene::Well);
        let mut sheet = Sheet::default();
        sheet.take(&behind.snapshot(), 100.0);
        let first = FeedNumber(1);
        assert_eq!(sheet.rows()[&first].found.unwrap().reading.drops, 37);
        sheet.mark(Some(first), "valve 1 a quarter turn open", 160.0);
        assert!(sheet.rows()[&first].left.is_none(), "nothing is known yet");
        behind.change(|snapshot| {
            let reading = snapshot.feeds[0].reading.as_mut().unwrap();
            reading.drops_per_minute = 2.9;
            reading.drops = 3;
        });
        sheet.take(&behind.snapshot(), 220.0);
        let row = &sheet.rows()[&first];
        assert_eq!(row.found.unwrap().reading.drops, 37);
        assert_eq!(row.left.unwrap().reading.drops, 3);
        // The other feeds were not touched: found and left are one.
        let other = &sheet.rows()[&FeedNumber(2)];
        assert_eq!(other.found, other.left);
        // What cannot be seen is not noted.
        behind.change(|snapshot| snapshot.feeds[0].state = FeedState::CannotSee);
        sheet.take(&behind.snapshot(), 300.0);
        assert_eq!(sheet.rows()[&first].left.unwrap().wall_secs, 220.0);
        sheet.begin();
        assert!(sheet.rows().is_empty() && sheet.done().is_empty());
    }
}
