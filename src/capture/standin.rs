//! STAND-IN until the sources arrive; replaced by the merge.
use std::sync::Arc;

use image::GrayImage;

use super::{About, CaptureError, Grab, Source};
use crate::base::{Clock, Frame};

/// Stand-in.
#[derive(Clone, Debug)]
pub struct SourceSpec(String);
#[allow(missing_docs, clippy::all, clippy::pedantic)]
impl std::str::FromStr for SourceSpec {
    type Err = CaptureError;
    fn from_str(words: &str) -> Result<Self, CaptureError> {
        Ok(Self(words.into()))
    }
}
/// Stand-in.
#[allow(missing_docs, clippy::all, clippy::pedantic)]
pub fn open(spec: &SourceSpec, _clock: Arc<dyn Clock>) -> Result<Box<dyn Source>, CaptureError> {
    if spec.0 == "demo" || spec.0.starts_with("demo:") {
        return super::demo::open(spec.0.strip_prefix("demo:").unwrap_or(""));
    }
    if spec.0 != "demo" && spec.0 != "clip" {
        return Err(CaptureError::NoSuchSource(format!(
            "{}: there is no such file",
            spec.0
        )));
    }
    Ok(Box::new(Grey {
        about: About {
            name: spec.0.clone(),
            identity: String::new(),
            width: 320,
            height: 240,
            frames_per_second: Some(30.0),
            frames: (spec.0 == "clip").then_some(600),
            live: false,
        },
        n: 0,
    }))
}
struct Grey {
    about: About,
    n: u64,
}
impl Source for Grey {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        if self.about.frames.is_some_and(|n| self.n >= n) {
            return Ok(Grab::End);
        }
        let f = Frame::new(self.n, self.n as f64 / 30.0, GrayImage::new(320, 240));
        self.n += 1;
        Ok(Grab::Frame(f))
    }
    fn about(&self) -> &About {
        &self.about
    }
}
/// Stand-in.
pub mod pace {
    use super::*;
    /// Stand-in.
    pub struct Paced {
        inner: Box<dyn Source>,
        clock: Arc<dyn Clock>,
        start: Option<f64>,
    }
    #[allow(missing_docs, clippy::all, clippy::pedantic)]
    impl Paced {
        pub fn new(inner: Box<dyn Source>, clock: Arc<dyn Clock>) -> Self {
            Self {
                inner,
                clock,
                start: None,
            }
        }
    }
    impl Source for Paced {
        fn next(&mut self) -> Result<Grab, CaptureError> {
            let g = self.inner.next()?;
            if let Grab::Frame(f) = &g {
                let now = self.clock.monotonic_secs();
                let start = *self.start.get_or_insert(now);
                self.clock.wait_secs(start + f.at_secs - now);
            }
            Ok(g)
        }
        fn about(&self) -> &About {
            self.inner.about()
        }
    }
}
