//! Looking for the glasses in the first pictures while keeping them, so that no bead of that time
//! is lost: once the glasses are found, the kept pictures are counted like any others.

use std::collections::VecDeque;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::mpsc::{TryRecvError, sync_channel};

use crate::capture::About;
use crate::glass::Calibration;
use crate::glass::find::{Finder, Found};
use crate::run::outlines::{self, Presets};

use super::grabbing::Picture;

/// Most pictures kept at once.
const MOST_PICTURES: usize = 200;
/// Most memory for kept pictures, bytes: 4 s of 1920 × 1080 at 30 a second.
const MOST_BYTES: usize = 256 << 20;

/// Called again and again while an answer is worked out; breaks when nobody wants it any more.
pub(super) type Meanwhile<'a> = &'a mut dyn FnMut() -> ControlFlow<()>;

/// Where looking stands after one more picture.
pub(super) enum Looked {
    /// Not long enough yet.
    StillLooking,
    /// These glasses; and the pictures kept until now, in order.
    Found(Calibration, VecDeque<Picture>, Vec<String>),
    /// No glass in all that time; looking starts again. The reasons, if any are known.
    NothingFound(Vec<String>),
}

/// A search under way.
pub(super) struct Looking {
    about: About,
    presets: Presets,
    find_secs: f64,
    finder: Finder,
    kept: VecDeque<Picture>,
    bytes: usize,
    from_secs: Option<f64>,
}

impl Looking {
    pub(super) fn new(about: About, presets: Presets, find_secs: f64) -> Self {
        Self {
            finder: Finder::new(about.width, about.height),
            about,
            presets,
            find_secs,
            kept: VecDeque::new(),
            bytes: 0,
            from_secs: None,
        }
    }

    /// Takes one more picture (or the news that there is none). `meanwhile` is called again and
    /// again while the answer is worked out.
    pub(super) fn take(&mut self, picture: Picture, meanwhile: Meanwhile<'_>) -> Looked {
        let mut long_enough = false;
        if let Picture::Frame { frame, .. } = &picture {
            let from_secs = *self.from_secs.get_or_insert(frame.at_secs);
            self.finder.look(frame);
            self.bytes += frame.luma.as_raw().len();
            long_enough = frame.at_secs - from_secs >= self.find_secs
                || self.kept.len() + 1 >= MOST_PICTURES
                || self.bytes >= MOST_BYTES;
        }
        if self.kept.len() < MOST_PICTURES {
            self.kept.push_back(picture);
        }
        if long_enough {
            self.decide(meanwhile)
        } else {
            Looked::StillLooking
        }
    }

    /// The source is over: what is there must do.
    pub(super) fn decide(&mut self, meanwhile: Meanwhile<'_>) -> Looked {
        let fresh = Finder::new(self.about.width, self.about.height);
        let finder = std::mem::replace(&mut self.finder, fresh);
        let Some(found) = found_while(finder, meanwhile) else {
            return Looked::StillLooking;
        };
        let calibration = outlines::calibration_from(&found, &self.about, self.presets);
        let kept = self.take_kept();
        if let Some(calibration) = calibration {
            return Looked::Found(calibration, kept, found.doubts);
        }
        self.from_secs = None;
        Looked::NothingFound(found.doubts)
    }

    /// The pictures kept until now, for a calibration that came from elsewhere.
    pub(super) fn take_kept(&mut self) -> VecDeque<Picture> {
        self.bytes = 0;
        std::mem::take(&mut self.kept)
    }
}

/// What the finder found; none when nobody wants it any more.
pub(super) fn found_while(finder: Finder, meanwhile: Meanwhile<'_>) -> Option<Found> {
    let finder = Arc::new(finder);
    let working = Arc::clone(&finder);
    match worked_out("finding", move || working.found(), meanwhile) {
        Worked::Done(found) => Some(found),
        Worked::Unwanted => None,
        // The system gives no thread: then here.
        Worked::NoThread => Some(finder.found()),
        Worked::Died => Some(Found {
            glasses: Vec::new(),
            doubts: vec![
                "the search for the glasses failed; give the outlines yourself".to_owned(),
            ],
        }),
    }
}

/// What came of work in a thread of its own.
#[derive(Debug, PartialEq)]
enum Worked<T> {
    Done(T),
    /// Nobody wants it any more; the thread is left to come to its end.
    Unwanted,
    NoThread,
    Died,
}

/// Works something out in a thread of its own: on a slow computer it takes seconds, and the camera
/// goes on.
fn worked_out<T: Send + 'static>(
    name: &str,
    work: impl FnOnce() -> T + Send + 'static,
    meanwhile: Meanwhile<'_>,
) -> Worked<T> {
    let (sender, receiver) = sync_channel(1);
    let worker = std::thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || {
            // Nobody may be waiting any more.
            let _ = sender.try_send(work());
        });
    if worker.is_err() {
        return Worked::NoThread;
    }
    loop {
        match receiver.try_recv() {
            Ok(done) => return Worked::Done(done),
            Err(TryRecvError::Disconnected) => return Worked::Died,
            Err(TryRecvError::Empty) => {}
        }
        if meanwhile().is_break() {
            return Worked::Unwanted;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_that_nobody_wants_any_more_is_left() {
        // It waits for ever.
        let (_never, waiting) = sync_channel::<()>(1);
        let mut looks = 0;
        let worked = worked_out("endless", move || waiting.recv().is_ok(), &mut || {
            looks += 1;
            if looks < 3 {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        });
        assert_eq!(worked, Worked::Unwanted);
        assert_eq!(looks, 3);
    }

    #[test]
    fn work_that_is_done_or_dies_is_told() {
        let mut wait = || {
            std::thread::yield_now();
            ControlFlow::Continue(())
        };
        assert_eq!(worked_out("sum", || 2 + 2, &mut wait), Worked::Done(4));
        let died = worked_out("dying", || -> u8 { panic!("a surprise") }, &mut wait);
        assert_eq!(died, Worked::Died);
    }
}
