//! How old what we were told is: notices when a new snapshot comes, lets ages grow while none
//! does, and says when the instrument gives no sign of life. Time comes in as seconds.

use std::sync::Arc;

use crate::run::Snapshot;
use crate::ui::feed_panel::Alive;

/// Without a new snapshot for this long, seconds, nothing on the screen may pass for true: a
/// running instrument tells of itself at least twice a second, even when no picture comes.
pub const NO_SIGN_AFTER_SECS: f64 = 3.0;

/// The newest snapshot, with when it came.
#[derive(Clone, Debug, Default)]
pub struct Fresh {
    snapshot: Arc<Snapshot>,
    generation: usize,
    came_at_secs: f64,
    clock_secs: f64,
}

impl Fresh {
    /// Takes the newest snapshot at a time of the window's own clock.
    pub fn take(&mut self, snapshot: Arc<Snapshot>, clock_secs: f64) {
        self.clock_secs = clock_secs;
        // The last one is still held, so that its place in memory cannot be taken by another.
        if Arc::ptr_eq(&snapshot, &self.snapshot) && self.generation > 0 {
            return;
        }
        // The same snapshot with fresher ages shows no other pictures.
        if self.generation == 0 || !same_pictures(&snapshot, &self.snapshot) {
            self.generation += 1;
        }
        self.came_at_secs = clock_secs;
        self.snapshot = snapshot;
    }

    /// The snapshot.
    #[must_use]
    pub fn snapshot(&self) -> &Arc<Snapshot> {
        &self.snapshot
    }

    /// Counts snapshots that show something new.
    #[must_use]
    pub fn generation(&self) -> usize {
        self.generation
    }

    /// The window's own clock, seconds.
    #[must_use]
    pub fn clock_secs(&self) -> f64 {
        self.clock_secs
    }

    /// Whether more can be expected: a source is open and not over.
    #[must_use]
    pub fn is_running(&self) -> bool {
        self.snapshot.about.is_some() && !self.snapshot.ended
    }

    /// Seconds since the snapshot came, while more are due; else 0.
    fn waiting_secs(&self) -> f64 {
        if self.is_running() {
            (self.clock_secs - self.came_at_secs).max(0.0)
        } else {
            0.0
        }
    }

    /// Source time now, seconds: it goes on when no snapshot comes.
    #[must_use]
    pub fn source_secs(&self) -> f64 {
        self.snapshot.now_secs + self.waiting_secs()
    }

    /// Age of the newest picture, seconds.
    #[must_use]
    pub fn picture_age_secs(&self) -> f64 {
        self.snapshot.frame_age_secs + self.waiting_secs()
    }

    /// The part of the instrument that has been silent longest, if it should not be, and for how
    /// many seconds.
    #[must_use]
    pub fn silent_part(&self) -> Option<(&'static str, f64)> {
        let waiting = self.waiting_secs();
        self.snapshot
            .heartbeats
            .iter()
            .map(|(part, secs)| (*part, secs + waiting))
            .filter(|(_, secs)| self.is_running() && *secs > NO_SIGN_AFTER_SECS)
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Whether the instrument gives signs of life.
    #[must_use]
    pub fn alive(&self) -> Alive {
        if self.waiting_secs() > NO_SIGN_AFTER_SECS {
            Alive::No
        } else {
            Alive::Yes
        }
    }
}

/// Whether two snapshots show the same pictures.
fn same_pictures(one: &Snapshot, other: &Snapshot) -> bool {
    let same_frame = match (&one.frame, &other.frame) {
        (Some(a), Some(b)) => Arc::ptr_eq(&a.luma, &b.luma),
        (None, None) => true,
        _ => false,
    };
    one.number == other.number && same_frame
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::About;

    fn running(number: u64) -> Arc<Snapshot> {
        Arc::new(Snapshot {
            number,
            now_secs: 10.0,
            frame_age_secs: 0.1,
            about: Some(About {
                name: "demo".to_owned(),
                identity: String::new(),
                width: 4,
                height: 3,
                frames_per_second: None,
                frames: None,
                live: true,
            }),
            ..Snapshot::default()
        })
    }

    #[test]
    fn ages_grow_while_nothing_comes() {
        let mut fresh = Fresh::default();
        let snapshot = running(1);
        fresh.take(snapshot.clone(), 100.0);
        fresh.take(snapshot.clone(), 102.0);
        assert_eq!(fresh.generation(), 1);
        assert!((fresh.picture_age_secs() - 2.1).abs() < 1e-9);
        assert!((fresh.source_secs() - 12.0).abs() < 1e-9);
        assert_eq!(fresh.alive(), Alive::Yes);
        fresh.take(snapshot, 103.5);
        assert_eq!(fresh.alive(), Alive::No);
        // The same with fresher ages is a sign of life, but shows nothing new.
        fresh.take(running(1), 104.0);
        assert_eq!(fresh.alive(), Alive::Yes);
        assert_eq!(fresh.generation(), 1);
        fresh.take(running(2), 104.1);
        assert_eq!(fresh.generation(), 2);
    }

    #[test]
    fn a_clip_that_is_over_grows_no_older() {
        let mut fresh = Fresh::default();
        let mut snapshot = (*running(1)).clone();
        snapshot.ended = true;
        fresh.take(Arc::new(snapshot), 0.0);
        let same = fresh.snapshot().clone();
        fresh.take(same, 500.0);
        assert_eq!(fresh.alive(), Alive::Yes);
        assert!((fresh.picture_age_secs() - 0.1).abs() < 1e-9);
    }
}
