//! Events as lines of the diagnostics, each at its level: what a person would want to know of a
//! long night at `info`, each bead at `debug`, each reading at `trace`. It decides nothing.

use crate::judge::AlarmState;
use crate::run::Event;

/// Tells of an event.
pub(super) fn tell(event: &Event) {
    match event {
        Event::Bead { feed, bead } => {
            tracing::debug!(%feed, at_secs = bead.at_secs, kind = ?bead.kind, "a bead");
        }
        Event::Reading {
            at_secs,
            feed,
            reading,
            state,
            ..
        } => {
            let per_minute = reading.as_ref().map(|reading| reading.drops_per_minute);
            tracing::trace!(%feed, at_secs, ?per_minute, state = state.words(), "a reading");
        }
        Event::State {
            at_secs,
            feed,
            state,
        } => tracing::info!(%feed, at_secs, state = state.words(), "another state"),
        Event::Alarm { at_secs, alarm } => {
            let feed = alarm.feed.map(|feed| feed.0);
            if alarm.state == AlarmState::Unacknowledged {
                tracing::warn!(feed, at_secs, cause = ?alarm.cause, "an alarm");
            } else {
                tracing::info!(feed, at_secs, cause = ?alarm.cause, state = ?alarm.state, "an alarm");
            }
        }
        Event::Blind {
            feed,
            from_secs,
            to_secs,
            why,
        } => {
            let feed = feed.map(|feed| feed.0);
            tracing::info!(feed, from_secs, to_secs, why = why.words(), "a blind spell");
        }
        Event::Mark {
            at_secs,
            feed,
            words,
            ..
        } => {
            let feed = feed.map(|feed| feed.0);
            tracing::info!(feed, at_secs, words, "a mark");
        }
        Event::AsFound { at_secs, .. } => tracing::info!(at_secs, "a new reading begins"),
        Event::Tap { at_secs, feed, .. } => {
            let feed = feed.map(|feed| feed.0);
            tracing::debug!(feed, at_secs, "a tap");
        }
        Event::HandCheck { at_secs, check } => {
            let agreement = check.result.agreement.words();
            tracing::info!(at_secs, agreement, "a hand check is over");
        }
        Event::Gap {
            from_secs,
            to_secs,
            why,
        } => tracing::warn!(from_secs, to_secs, why, "a gap"),
    }
}
