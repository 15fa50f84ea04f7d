//! Reads a clip ahead in a thread of its own, so that decoding runs beside measuring. Which clip, and
//! how it is decoded, is the affair of the source inside.

use std::io;
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread::{Builder, JoinHandle};
use std::time::Duration;

use crate::capture::{About, CaptureError, Grab, Source};

/// Pictures read ahead: enough to smooth hiccups, little memory.
const PICTURES_AHEAD: usize = 3;
/// How long one call waits for a picture.
const PATIENCE: Duration = Duration::from_millis(450);

/// A source read ahead.
pub(super) struct Ahead {
    about: About,
    /// None while it is being dropped.
    grabs: Option<Receiver<Result<Grab, CaptureError>>>,
    thread: Option<JoinHandle<()>>,
    at_secs: f64,
}

impl Ahead {
    /// Starts reading.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(super) fn new(mut source: Box<dyn Source>) -> io::Result<Self> {
        let about = source.about().clone();
        let (out, grabs) = sync_channel(PICTURES_AHEAD);
        let thread = Builder::new()
            .name("clip-ahead".to_owned())
            .spawn(move || {
                loop {
                    let grab = source.next();
                    let is_last = matches!(grab, Ok(Grab::End) | Err(_));
                    if out.send(grab).is_err() || is_last {
                        return;
                    }
                }
            })?;
        Ok(Self {
            about,
            grabs: Some(grabs),
            thread: Some(thread),
            at_secs: 0.0,
        })
    }
}

impl Source for Ahead {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let Some(grabs) = &self.grabs else {
            return Ok(Grab::End);
        };
        match grabs.recv_timeout(PATIENCE) {
            Ok(grab) => {
                if let Ok(Grab::Frame(frame)) = &grab {
                    self.at_secs = frame.at_secs;
                }
                grab
            }
            Err(RecvTimeoutError::Timeout) => Ok(Grab::Nothing {
                at_secs: self.at_secs,
            }),
            // After the end, or after an error that was told.
            Err(RecvTimeoutError::Disconnected) => Ok(Grab::End),
        }
    }

    fn about(&self) -> &About {
        &self.about
    }
}

impl Drop for Ahead {
    fn drop(&mut self) {
        // A thread that waits for room in the queue wakes when nobody listens any more.
        self.grabs = None;
        if let Some(thread) = self.thread.take() {
            thread.join().ok();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Frame;
    use image::GrayImage;

    struct Script {
        about: About,
        left: u64,
        fails: Option<String>,
    }

    impl Source for Script {
        fn next(&mut self) -> Result<Grab, CaptureError> {
            if self.left == 0 {
                return match self.fails.take() {
                    Some(why) => Err(CaptureError::Damaged(why)),
                    None => Ok(Grab::End),
                };
            }
            self.left -= 1;
            let number = 99 - self.left;
            let picture = GrayImage::new(2, 2);
            Ok(Grab::Frame(Frame::new(number, number as f64, picture)))
        }

        fn about(&self) -> &About {
            &self.about
        }
    }

    fn script(left: u64, fails: Option<&str>) -> Box<dyn Source> {
        Box::new(Script {
            about: About {
                name: "script".to_owned(),
                identity: String::new(),
                width: 2,
                height: 2,
                frames_per_second: None,
                frames: None,
                live: false,
            },
            left,
            fails: fails.map(str::to_owned),
        })
    }

    #[test]
    fn everything_comes_in_order_and_the_end_stays() {
        let mut ahead = Ahead::new(script(20, None)).unwrap();
        assert_eq!(ahead.about().name, "script");
        for number in 80..=99 {
            // 80 is the first: 99 less the 19 that are left.
            match ahead.next().unwrap() {
                Grab::Frame(frame) => assert_eq!(frame.number, number),
                other => panic!("{other:?}"),
            }
        }
        assert!(matches!(ahead.next(), Ok(Grab::End)));
        assert!(matches!(ahead.next(), Ok(Grab::End)));
    }

    #[test]
    fn an_error_comes_where_it_happened_and_once() {
        let mut ahead = Ahead::new(script(2, Some("it is torn"))).unwrap();
        assert!(matches!(ahead.next(), Ok(Grab::Frame(_))));
        assert!(matches!(ahead.next(), Ok(Grab::Frame(_))));
        assert!(ahead.next().unwrap_err().to_string().contains("torn"));
        assert!(matches!(ahead.next(), Ok(Grab::End)));
    }

    #[test]
    fn leaving_early_ends_the_thread() {
        let mut ahead = Ahead::new(script(90, None)).unwrap();
        assert!(ahead.next().is_ok());
        drop(ahead);
    }
}
