//! Putting one event of a run into its table. Transactions, and what is to be written when, belong
//! to `write.rs`.

use std::io::Cursor;

use image::{GrayImage, ImageFormat};
use rusqlite::{Transaction, params};

use super::record::{Item, feed_column};
use crate::bead::Bead;
use crate::judge::Alarm;
use crate::rate::Reading;
use crate::run::as_found::{AsFound, Began};
use crate::run::{Event, HandCheckOver, Moved};

/// Puts an event into its table; one that is there already stays as it is.
pub(super) fn put_event(
    transaction: &Transaction<'_>,
    run_id: i64,
    item: &Item,
    event: &Event,
) -> rusqlite::Result<()> {
    let (sequence, wall_secs) = (item.sequence, item.wall_secs);
    match event {
        Event::Bead { feed, bead } => put_bead(transaction, run_id, item, i64::from(feed.0), bead),
        Event::Reading {
            at_secs,
            feed,
            reading,
            state,
            doubts,
            ..
        } => transaction
            .prepare_cached(
                "INSERT INTO readings VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12) \
                 ON CONFLICT DO NOTHING",
            )?
            .execute(params![
                run_id,
                sequence,
                feed.0,
                at_secs,
                wall_secs,
                reading.map(|r| r.drops_per_minute),
                reading.map(|r| r.low),
                reading.map(|r| r.high),
                reading.map(|r| r.scatter),
                reading.as_ref().map(drops_column),
                state.words(),
                doubts.join("; "),
            ])
            .map(|_| ()),
        // Every change of state comes with a reading that holds it.
        Event::State { .. } => Ok(()),
        Event::Alarm { at_secs, alarm } => put_alarm(transaction, run_id, item, *at_secs, alarm),
        Event::Mark {
            at_secs,
            feed,
            words,
            moved,
        } => transaction
            .prepare_cached(
                "INSERT INTO marks (run_id, sequence, feed, at_secs, wall_secs, words, turns, \
                 is_shut) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT DO NOTHING",
            )?
            .execute(params![
                run_id,
                sequence,
                feed_column(*feed),
                at_secs,
                wall_secs,
                words,
                moved.and_then(Moved::turns),
                *moved == Some(Moved::Shut),
            ])
            .map(|_| ()),
        Event::AsFound { at_secs, found } => {
            put_as_found(transaction, run_id, item, *at_secs, found)
        }
        Event::Tap {
            at_secs,
            feed,
            check_from_secs,
        } => transaction
            .prepare_cached(
                "INSERT INTO taps VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT DO NOTHING",
            )?
            .execute(params![
                run_id,
                sequence,
                feed_column(*feed),
                at_secs,
                wall_secs,
                check_from_secs
            ])
            .map(|_| ()),
        Event::HandCheck { at_secs, check } => {
            put_hand_check(transaction, run_id, item, *at_secs, check)
        }
        Event::Blind {
            feed,
            from_secs,
            to_secs,
            why,
        } => transaction
            .prepare_cached(
                "INSERT INTO blind VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING",
            )?
            .execute(params![
                run_id,
                sequence,
                feed_column(*feed),
                from_secs,
                to_secs,
                wall_secs,
                why.words()
            ])
            .map(|_| ()),
        Event::Gap {
            from_secs,
            to_secs,
            why,
        } => transaction
            .prepare_cached(
                "INSERT INTO gaps VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT DO NOTHING",
            )?
            .execute(params![
                run_id, sequence, from_secs, to_secs, wall_secs, why
            ])
            .map(|_| ()),
    }
}

fn put_hand_check(
    transaction: &Transaction<'_>,
    run_id: i64,
    item: &Item,
    at_secs: f64,
    check: &HandCheckOver,
) -> rusqlite::Result<()> {
    let result = &check.result;
    let whole = |count: u64| i64::try_from(count).unwrap_or(i64::MAX);
    transaction
        .prepare_cached(
            "INSERT INTO hand_checks VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, \
             ?13, ?14, ?15, ?16, ?17) ON CONFLICT DO NOTHING",
        )?
        .execute(params![
            run_id,
            item.sequence,
            feed_column(check.feed),
            at_secs,
            item.wall_secs,
            result.watched.from_secs,
            result.watched.to_secs,
            result.seen_secs,
            whole(result.matched),
            whole(result.missed_by_tool),
            whole(result.missed_by_person),
            whole(result.left_out),
            result.lag_secs,
            result.lag_scatter_secs,
            result.window_secs,
            result.counts_p,
            result.agreement.words(),
        ])
        .map(|_| ())
}

fn put_alarm(
    transaction: &Transaction<'_>,
    run_id: i64,
    item: &Item,
    at_secs: f64,
    alarm: &Alarm,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO alarms (run_id, sequence, feed, at_secs, wall_secs, cause, state, \
             priority, happened, by_whom, shelved_until_secs) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11) ON CONFLICT DO NOTHING",
        )?
        .execute(params![
            run_id,
            item.sequence,
            feed_column(alarm.feed),
            at_secs,
            item.wall_secs,
            alarm.cause.words(),
            alarm.state.words(),
            alarm.cause.priority(),
            alarm.step.happened.words(),
            alarm.step.by.words(),
            alarm.step.shelved_until_secs,
        ])
        .map(|_| ())
}

fn put_as_found(
    transaction: &Transaction<'_>,
    run_id: i64,
    item: &Item,
    at_secs: f64,
    found: &AsFound,
) -> rusqlite::Result<()> {
    let reading = found.reading;
    let (before, after) = match &found.began {
        Began::Mark { .. } | Began::Stop { .. } => (None, None),
        Began::Change {
            before_per_minute,
            after_per_minute,
        } => (Some(before_per_minute), Some(after_per_minute)),
    };
    transaction
        .prepare_cached(
            "INSERT INTO as_found VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, \
             ?13, ?14, ?15, ?16, ?17) ON CONFLICT DO NOTHING",
        )?
        .execute(params![
            run_id,
            item.sequence,
            found.feed.0,
            at_secs,
            item.wall_secs,
            found.from_secs,
            found.until_secs,
            reading.map(|r| r.drops_per_minute),
            reading.map(|r| r.low),
            reading.map(|r| r.high),
            reading.map(|r| r.scatter),
            reading.as_ref().map(drops_column),
            found.state.words(),
            found.began.word(),
            found.began.words(),
            before,
            after,
        ])
        .map(|_| ())
}

/// Drops a reading rests on, as the tables keep it.
fn drops_column(reading: &Reading) -> i64 {
    i64::try_from(reading.drops).unwrap_or(i64::MAX)
}

fn put_bead(
    transaction: &Transaction<'_>,
    run_id: i64,
    item: &Item,
    feed: i64,
    bead: &Bead,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO drops VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13) \
             ON CONFLICT DO NOTHING",
        )?
        .execute(params![
            run_id,
            item.sequence,
            feed,
            bead.at_secs,
            item.wall_secs,
            bead.kind.word(),
            bead.rise_px_per_s,
            bead.rise_mm_per_s,
            bead.height_px,
            bead.diameter_mm,
            bead.confidence,
            bead.settled_at_secs,
            bead.picture.as_deref().and_then(png),
        ])
        .map(|_| ())
}

/// A small picture as PNG; none when it cannot be made (an empty picture).
fn png(picture: &GrayImage) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    picture
        .write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png)
        .inspect_err(|error| tracing::warn!(%error, "a bead's picture was not kept"))
        .ok()?;
    Some(bytes)
}
