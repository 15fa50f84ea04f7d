//! The *capture* thread: asks the source for pictures and passes them on. It never lets a camera
//! wait: when *measure* does not keep up, the newest picture is dropped, counted and told. A clip
//! waits instead. A camera whose code meets a surprise is asked again, a few times.

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError};

use crate::base::Frame;
use crate::capture::{Grab, Source};

use super::panic_words;
use super::shared::{Shared, Worker};

/// Surprises (panics) of a camera's code without a picture between them after which it is given up:
/// one damaged picture may cost one, a broken driver costs all.
pub(super) const MOST_SURPRISES: u32 = 5;
/// Time after a surprise before the camera is asked again, seconds: short enough to lose no bead by
/// it, long enough not to spin.
const AFTER_SURPRISE_SECS: f64 = 0.1;

/// One message to *measure*.
#[derive(Clone, Debug)]
pub(super) enum Picture {
    /// A picture.
    Frame {
        /// The picture.
        frame: Frame,
        /// Monotonic time at which it came, seconds.
        arrived_secs: f64,
        /// Pictures dropped since the one before, because the queue was full.
        dropped: Option<Dropped>,
    },
    /// No picture within the source's patience.
    Nothing {
        /// Source time.
        at_secs: f64,
    },
    /// A picture that could not be used.
    Spoiled {
        /// Source time.
        at_secs: f64,
        /// A sentence.
        why: String,
    },
    /// The camera is gone for now.
    Lost {
        /// Source time.
        at_secs: f64,
        /// A sentence.
        why: String,
    },
    /// The code of the camera met a surprise and was started again.
    Surprise {
        /// Source time.
        at_secs: f64,
        /// What the surprise said.
        why: String,
    },
    /// The clip is over.
    End,
    /// The source can bring nothing more.
    Failed(String),
}

/// Pictures dropped in one go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Dropped {
    /// Source time of the first, seconds.
    pub(super) from_secs: f64,
    /// Source time of the last, seconds.
    pub(super) to_secs: f64,
    /// How many.
    pub(super) count: u64,
}

/// Runs until the source ends, *measure* is gone, or it is asked to stop.
pub(super) fn run(
    mut source: Box<dyn Source>,
    shared: &Shared,
    pictures: &SyncSender<Picture>,
    faults: &Receiver<String>,
) {
    let may_wait = !source.about().live;
    let mut dropped: Option<Dropped> = None;
    let mut wanted = shared.wanted_version();
    let mut surprises = 0;
    let mut newest_secs: f64 = 0.0;
    while !shared.stopping() {
        shared.beat(Worker::Capture);
        while let Ok(words) = faults.try_recv() {
            source.fault(&words);
        }
        let version = shared.wanted_version();
        if version != wanted {
            wanted = version;
            source.want(&shared.wanted());
        }
        // What the source holds after a surprise may be odd, but is its own: what comes of it is
        // checked like everything else that it brings.
        let grab = match catch_unwind(AssertUnwindSafe(|| source.next())) {
            Ok(grab) => Ok(grab),
            Err(surprise) if may_wait || surprises >= MOST_SURPRISES => resume_unwind(surprise),
            Err(surprise) => Err(panic_words(surprise.as_ref())),
        };
        let arrived_secs = shared.clock.monotonic_secs();
        let grab = match grab {
            Ok(grab) => grab,
            Err(why) => {
                surprises += 1;
                let told = Picture::Surprise {
                    at_secs: newest_secs,
                    why,
                };
                if let Err(TrySendError::Disconnected(_)) = pictures.try_send(told) {
                    return;
                }
                shared.clock.wait_secs(AFTER_SURPRISE_SECS);
                continue;
            }
        };
        // A time that is no number must not get beyond here: everything is tied to it.
        let timed = |at_secs: f64| {
            if at_secs.is_finite() {
                at_secs
            } else {
                newest_secs
            }
        };
        let picture = match grab {
            Ok(Grab::Frame(frame)) if !frame.at_secs.is_finite() => Picture::Spoiled {
                at_secs: newest_secs,
                why: "a picture came whose time is no number".to_owned(),
            },
            Ok(Grab::Frame(frame)) => {
                surprises = 0;
                newest_secs = frame.at_secs;
                Picture::Frame {
                    frame,
                    arrived_secs,
                    dropped: dropped.take(),
                }
            }
            Ok(Grab::Nothing { at_secs }) => Picture::Nothing {
                at_secs: timed(at_secs),
            },
            Ok(Grab::Spoiled { at_secs, why }) => Picture::Spoiled {
                at_secs: timed(at_secs),
                why,
            },
            Ok(Grab::Lost { at_secs, why }) => Picture::Lost {
                at_secs: timed(at_secs),
                why,
            },
            Ok(Grab::End) => Picture::End,
            Err(error) => Picture::Failed(error.to_string()),
        };
        let last = matches!(picture, Picture::End | Picture::Failed(_));
        if may_wait || last {
            if pictures.send(picture).is_err() || last {
                return;
            }
            continue;
        }
        match pictures.try_send(picture) {
            Err(TrySendError::Full(Picture::Frame {
                frame,
                dropped: before,
                ..
            })) => {
                dropped = Some(Dropped {
                    from_secs: before.map_or(frame.at_secs, |before| before.from_secs),
                    to_secs: frame.at_secs,
                    count: before.map_or(0, |before| before.count) + 1,
                });
            }
            // What is not a picture and found no room is said again half a second later.
            Ok(()) | Err(TrySendError::Full(_)) => {}
            Err(TrySendError::Disconnected(_)) => return,
        }
    }
}
