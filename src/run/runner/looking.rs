//! Looking for the glasses in the first pictures while keeping them, so that no bead of that time
//! is lost: once the glasses are found, the kept pictures are counted like any others.

use std::collections::VecDeque;

use crate::capture::About;
use crate::glass::Calibration;
use crate::glass::find::{Finder, Found};
use crate::run::outlines::{self, Presets};

use super::grabbing::Picture;

/// Most pictures kept at once.
const MOST_PICTURES: usize = 200;
/// Most memory for kept pictures, bytes: 4 s of 1920 × 1080 at 30 a second.
const MOST_BYTES: usize = 256 << 20;

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
    pub(super) fn take(&mut self, picture: Picture, meanwhile: &mut dyn FnMut()) -> Looked {
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
    pub(super) fn decide(&mut self, meanwhile: &mut dyn FnMut()) -> Looked {
        let found = found_while(&self.finder, meanwhile);
        let calibration = outlines::calibration_from(&found, &self.about, self.presets);
        let kept = self.take_kept();
        if let Some(calibration) = calibration {
            return Looked::Found(calibration, kept, found.doubts);
        }
        self.finder = Finder::new(self.about.width, self.about.height);
        self.from_secs = None;
        Looked::NothingFound(found.doubts)
    }

    /// The pictures kept until now, for a calibration that came from elsewhere.
    pub(super) fn take_kept(&mut self) -> VecDeque<Picture> {
        self.bytes = 0;
        std::mem::take(&mut self.kept)
    }
}

/// What the finder found, worked out in a thread of its own: on a slow computer that takes
/// seconds, and the camera goes on.
fn found_while(finder: &Finder, meanwhile: &mut dyn FnMut()) -> Found {
    std::thread::scope(|scope| {
        let worker = std::thread::Builder::new()
            .name("finding".to_owned())
            .spawn_scoped(scope, || finder.found());
        let Ok(worker) = worker else {
            return finder.found();
        };
        while !worker.is_finished() {
            meanwhile();
        }
        worker.join().unwrap_or_else(|_| Found {
            glasses: Vec::new(),
            doubts: vec![
                "the search for the glasses failed; give the outlines yourself".to_owned(),
            ],
        })
    })
}
