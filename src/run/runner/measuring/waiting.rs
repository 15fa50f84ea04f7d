//! How the *measure* thread waits for pictures: what a camera brings while kept pictures are counted
//! or the glasses are looked for is put aside, within bounds. It counts nothing.

use std::ops::ControlFlow;
use std::sync::mpsc::RecvTimeoutError;
use std::time::Duration;

use super::{Measuring, Picture, WAIT_MS, Worker};

/// Most pictures that wait while kept ones are counted: half a minute at 30 a second.
const MOST_WAITING: usize = 900;
/// Most memory for them, bytes: 4 s of 1920 × 1080 at 30 a second.
const MOST_WAITING_BYTES: usize = 256 << 20;
/// Time between two looks at the rest of the world while another thread works, milliseconds.
const MEANWHILE_MS: u64 = 20;

impl Measuring {
    /// The next picture, or none within a tenth of a second.
    pub(super) fn next_picture(&mut self) -> Option<Picture> {
        // While kept pictures are counted, a camera goes on: take what it brings, so that nothing
        // is dropped. A clip waits by itself.
        if self.parts.about.live {
            while !self.waiting.is_empty() && self.waiting.len() < self.most_waiting() {
                match self.parts.pictures.try_recv() {
                    Ok(picture) => {
                        self.heard_secs = self.parts.shared.clock.monotonic_secs();
                        self.waiting.push_back(picture);
                    }
                    Err(_) => break,
                }
            }
        }
        if let Some(picture) = self.waiting.pop_front() {
            return Some(picture);
        }
        match self
            .parts
            .pictures
            .recv_timeout(Duration::from_millis(WAIT_MS))
        {
            Ok(picture) => {
                self.heard_secs = self.parts.shared.clock.monotonic_secs();
                Some(picture)
            }
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => {
                // *capture* is gone: after the end of a clip that is right, otherwise it died.
                // From now on only a person has anything to say.
                let wait = Duration::from_millis(WAIT_MS);
                if let Ok(asked) = self.parts.intents.recv_timeout(wait) {
                    self.obey(asked);
                }
                None
            }
        }
    }

    /// While another thread works for this one: shows that it lives, and takes what a camera brings.
    /// Breaks when the program is to end.
    pub(super) fn wait_meanwhile(&mut self) -> ControlFlow<()> {
        if self.parts.shared.stopping() {
            return ControlFlow::Break(());
        }
        self.parts.shared.beat(Worker::Measure);
        let wait = Duration::from_millis(MEANWHILE_MS);
        if self.parts.about.live && self.waiting.len() < self.most_waiting() {
            if let Ok(picture) = self.parts.pictures.recv_timeout(wait) {
                self.heard_secs = self.parts.shared.clock.monotonic_secs();
                self.waiting.push_back(picture);
            }
        } else {
            std::thread::park_timeout(wait);
        }
        ControlFlow::Continue(())
    }

    /// How many pictures may wait: enough for a slow search, within bounds of memory.
    fn most_waiting(&self) -> usize {
        let bytes = self.parts.about.width as usize * self.parts.about.height as usize;
        (MOST_WAITING_BYTES / bytes.max(1)).clamp(32, MOST_WAITING)
    }
}
