//! Small live pictures of the sources that could be watched, for choosing among them: one thread a
//! source while somebody chooses, none otherwise. It counts nothing.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

use image::GrayImage;

use crate::base::Clock;
use crate::capture::{Grab, Paced, Source};

/// Widest small picture, pixels.
const MOST_WIDTH_PX: u32 = 320;
/// Shortest time between two small pictures, seconds: enough to see oneself move.
const LEAST_BETWEEN_SECS: f64 = 0.15;
/// Most sources that are looked at, at once: a computer's bus carries no more.
const MOST_SOURCES: usize = 6;

/// What is seen of one source.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// The newest small picture.
    pub picture: Option<Arc<GrayImage>>,
    /// Counts pictures.
    pub number: usize,
    /// Why there is none.
    pub why_not: Option<String>,
}

/// What is seen, by the words that open the source.
pub type AllSeen = BTreeMap<String, Seen>;

/// Opens a source.
pub type Opening = Box<dyn FnOnce() -> Result<Box<dyn Source>, String> + Send>;

/// Called when there is a new picture.
type Wake = Arc<dyn Fn() + Send + Sync>;

/// The small pictures.
pub struct Peeps {
    seen: Arc<Mutex<AllSeen>>,
    running: Mutex<Vec<(Arc<AtomicBool>, JoinHandle<()>)>>,
    clock: Arc<dyn Clock>,
    wake: Wake,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Peeps {
    /// Nobody looks yet.
    #[must_use]
    pub fn new(clock: Arc<dyn Clock>, wake: Wake) -> Self {
        Self {
            seen: Arc::default(),
            running: Mutex::default(),
            clock,
            wake,
        }
    }

    /// What is seen now.
    #[must_use]
    pub fn seen(&self) -> AllSeen {
        lock(&self.seen).clone()
    }

    /// Whether this source is looked at already.
    #[must_use]
    pub fn knows(&self, words: &str) -> bool {
        self.forget_ended();
        lock(&self.seen).contains_key(words)
    }

    /// Forgets what was told to end and has ended, so that it can be looked at again.
    fn forget_ended(&self) {
        let mut running = lock(&self.running);
        let has_ended = running
            .iter()
            .all(|(stop, handle)| stop.load(Ordering::Relaxed) && handle.is_finished());
        if !running.is_empty() && has_ended {
            running.clear();
            lock(&self.seen).clear();
        }
    }

    /// Starts to look at a source, unless it is looked at already or there are too many.
    pub fn look_at(&self, words: &str, open: Opening) {
        {
            let mut seen = lock(&self.seen);
            if seen.contains_key(words) || seen.len() >= MOST_SOURCES {
                return;
            }
            seen.insert(words.to_owned(), Seen::default());
        }
        let stop = Arc::new(AtomicBool::new(false));
        let (seen, clock, wake, name) = (
            Arc::clone(&self.seen),
            Arc::clone(&self.clock),
            Arc::clone(&self.wake),
            words.to_owned(),
        );
        let stopping = Arc::clone(&stop);
        let started = std::thread::Builder::new()
            .name("peep".to_owned())
            .spawn(move || look(&name, open, &seen, &clock, &wake, &stopping));
        match started {
            Ok(handle) => lock(&self.running).push((stop, handle)),
            Err(error) => {
                if let Some(one) = lock(&self.seen).get_mut(words) {
                    one.why_not = Some(error.to_string());
                }
            }
        }
    }

    /// Nobody chooses any more: every source is told to be let go. Does not wait.
    pub fn look_away(&self) {
        for (stop, _) in lock(&self.running).iter() {
            stop.store(true, Ordering::Relaxed);
        }
    }

    /// Waits until every source is let go, so that it can be opened anew.
    pub fn wait(&self) {
        self.look_away();
        let running = std::mem::take(&mut *lock(&self.running));
        for (_, handle) in running {
            // A thread that died holds nothing any more.
            let _ended = handle.join();
        }
        lock(&self.seen).clear();
    }
}

impl Drop for Peeps {
    fn drop(&mut self) {
        self.look_away();
    }
}

fn look(
    name: &str,
    open: Opening,
    seen: &Mutex<AllSeen>,
    clock: &Arc<dyn Clock>,
    wake: &Wake,
    stop: &AtomicBool,
) {
    let tell = |change: &dyn Fn(&mut Seen)| {
        if let Some(one) = lock(seen).get_mut(name) {
            change(one);
        }
        wake();
    };
    let source = match open() {
        Ok(source) => source,
        Err(why) => {
            tell(&|one| one.why_not = Some(why.clone()));
            return;
        }
    };
    let mut source = Paced::new(source, Arc::clone(clock));
    let mut shown_secs = f64::NEG_INFINITY;
    while !stop.load(Ordering::Relaxed) {
        match source.next() {
            Ok(Grab::Frame(frame)) => {
                if frame.at_secs - shown_secs < LEAST_BETWEEN_SECS {
                    continue;
                }
                shown_secs = frame.at_secs;
                let small = Arc::new(smaller(&frame.luma));
                tell(&|one| {
                    one.picture = Some(Arc::clone(&small));
                    one.number += 1;
                    one.why_not = None;
                });
            }
            Ok(Grab::Lost { why, .. } | Grab::Spoiled { why, .. }) => {
                tell(&|one| one.why_not = Some(why.clone()));
            }
            Ok(Grab::Nothing { .. }) => {}
            Ok(Grab::End) => return,
            Err(error) => {
                let why = error.to_string();
                tell(&|one| one.why_not = Some(why.clone()));
                return;
            }
        }
    }
}

/// Every n-th pixel, so that the picture is narrow enough.
fn smaller(luma: &GrayImage) -> GrayImage {
    let every = luma.width().div_ceil(MOST_WIDTH_PX).max(1);
    GrayImage::from_fn(
        (luma.width() / every).max(1),
        (luma.height() / every).max(1),
        |x, y| *luma.get_pixel(x * every, y * every),
    )
}
