//! The logbook as the window reads it: the list of runs, runs opened, pictures of beads, reports
//! asked for; and the strips of runs, in a folder of their own beside the logbook. One thread reads
//! and writes, so that the window never waits for a disk; it writes nothing into the logbook.

use std::collections::{BTreeMap, HashSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use image::GrayImage;
use jiff::tz::TimeZone;

use crate::base::Clock;
use crate::run::export;
use crate::run::logbook::LogbookReader;
use crate::run::logbook::read::{RunContents, RunSummary};
use crate::run::report::{Report, figures, page};
use crate::ui::runs::strips::{self, Kept, StripToKeep};
use crate::ui::words::{self, Language};

/// Requests on their way: more than one view asks for.
const QUEUE: usize = 64;
/// Name of the page among the tables of a report.
const PAGE: &str = "report.html";
/// Most runs that are kept open: two side by side, and the one under way.
const MOST_OPEN: usize = 4;
/// Most pictures that are kept: some screens full of them.
const MOST_PICTURES: usize = 400;

/// Most strips that are held for looking at.
const MOST_STRIPS: usize = 32;
/// What the folder of the strips is called after the logbook.
const STRIPS: &str = "strips";

/// Something asked of the library.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Request {
    /// The list of runs.
    List,
    /// Everything in a run but the pictures.
    Open(i64),
    /// The picture of a bead.
    Picture(Bead),
    /// The strip at the time of a bead.
    Strip(Bead),
    /// A run written out for others.
    Report(i64),
}

/// A bead of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Bead {
    /// The run.
    pub run: i64,
    /// The feed.
    pub feed: i64,
    /// Source time, seconds, as its bits.
    pub at_bits: u64,
}

/// How far the list of runs has come.
#[derive(Clone, Debug, Default)]
pub enum Runs {
    /// Not asked for yet, or still being read.
    #[default]
    Reading,
    /// These, the oldest first.
    Found(Arc<Vec<RunSummary>>),
    /// It cannot be read; a sentence.
    Failed(String),
}

/// What has been read so far.
#[derive(Clone, Debug, Default)]
pub struct Shelf {
    /// The list of runs.
    pub runs: Runs,
    /// Runs opened, each with how often it was read, or a sentence why not.
    pub opened: BTreeMap<i64, Result<Arc<RunContents>, String>>,
    /// Pictures of beads; none when none was kept.
    pub pictures: BTreeMap<Bead, Option<Arc<GrayImage>>>,
    /// Strips at the times of beads; none when none was kept.
    pub strips: BTreeMap<Bead, Option<Arc<Kept>>>,
    /// What became of the newest report: a path, or a sentence.
    pub report: Option<Result<String, String>>,
    /// Counts reports.
    pub reports: u64,
}

/// Called when there is something new to draw.
type Wake = Arc<dyn Fn() + Send + Sync>;

/// Work for the library's thread.
enum Job {
    /// Fetch something, in a language.
    Fetch(Request, Language),
    /// Keep a strip.
    Keep(StripToKeep),
}

/// The library.
pub struct Library {
    shelf: Arc<Mutex<Arc<Shelf>>>,
    asked: Arc<Mutex<HashSet<Request>>>,
    jobs: Option<SyncSender<Job>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Library {
    /// The library of a logbook; reports go into a folder.
    #[must_use]
    pub fn new(
        logbook: Option<PathBuf>,
        papers: PathBuf,
        clock: Arc<dyn Clock>,
        wake: Wake,
    ) -> Self {
        let shelf: Arc<Mutex<Arc<Shelf>>> = Arc::default();
        let asked: Arc<Mutex<HashSet<Request>>> = Arc::default();
        let Some(logbook) = logbook else {
            let failed = Runs::Failed(words::get().no_logbook.to_owned());
            *lock(&shelf) = Arc::new(Shelf {
                runs: failed,
                ..Shelf::default()
            });
            return Self {
                shelf,
                asked,
                jobs: None,
            };
        };
        let (sender, receiver) = sync_channel(QUEUE);
        let mut name = logbook.file_stem().unwrap_or_default().to_owned();
        name.push("-");
        name.push(STRIPS);
        let reading = Reading {
            strips: logbook.with_file_name(name),
            cleared: None,
            logbook,
            papers,
            clock,
            shelf: Arc::clone(&shelf),
            asked: Arc::clone(&asked),
            wake,
        };
        let started = std::thread::Builder::new()
            .name("library".to_owned())
            .spawn(move || {
                let mut reading = reading;
                reading.serve(&receiver);
            });
        if let Err(error) = &started {
            *lock(&shelf) = Arc::new(Shelf {
                runs: Runs::Failed(error.to_string()),
                ..Shelf::default()
            });
        }
        Self {
            shelf,
            asked,
            jobs: started.is_ok().then_some(sender),
        }
    }

    /// What has been read so far.
    #[must_use]
    pub fn shelf(&self) -> Arc<Shelf> {
        Arc::clone(&lock(&self.shelf))
    }

    /// Asks for something, unless it is being fetched already.
    pub fn ask(&self, request: Request) {
        let Some(jobs) = &self.jobs else {
            return;
        };
        if lock(&self.asked).insert(request)
            && jobs.try_send(Job::Fetch(request, words::spoken())).is_err()
        {
            lock(&self.asked).remove(&request);
        }
    }

    /// Keeps a strip of the run under way. When the disk is too slow, strips are left out.
    pub fn keep(&self, strip: StripToKeep) {
        if let Some(jobs) = &self.jobs
            && jobs.try_send(Job::Keep(strip)).is_err()
        {
            tracing::warn!("a strip was not kept: the disk is too slow");
        }
    }
}

struct Reading {
    logbook: PathBuf,
    /// Folder of the strips.
    strips: PathBuf,
    /// The run whose old strips were cleared away.
    cleared: Option<i64>,
    papers: PathBuf,
    clock: Arc<dyn Clock>,
    shelf: Arc<Mutex<Arc<Shelf>>>,
    asked: Arc<Mutex<HashSet<Request>>>,
    wake: Wake,
}

impl Reading {
    fn serve(&mut self, jobs: &Receiver<Job>) {
        while let Ok(job) = jobs.recv() {
            let (request, language) = match job {
                Job::Fetch(request, language) => (request, language),
                Job::Keep(strip) => {
                    if let Err(error) = self.keep(&strip) {
                        tracing::warn!(%error, run = strip.run, "a strip was not kept");
                    }
                    continue;
                }
            };
            words::speak(language);
            let mut shelf = Shelf::clone(&lock(&self.shelf));
            self.fetch(request, &mut shelf);
            *lock(&self.shelf) = Arc::new(shelf);
            lock(&self.asked).remove(&request);
            (self.wake)();
        }
    }

    fn keep(&mut self, strip: &StripToKeep) -> std::io::Result<()> {
        if self.cleared != Some(strip.run) {
            strips::clear(&self.strips, strip.run)?;
            self.cleared = Some(strip.run);
        }
        strips::write(&self.strips, strip)
    }

    fn fetch(&self, request: Request, shelf: &mut Shelf) {
        match request {
            Request::List => {
                shelf.runs = if self.logbook.exists() {
                    match self.reader().and_then(|reader| told(reader.runs())) {
                        Ok(runs) => Runs::Found(Arc::new(runs)),
                        Err(why) => Runs::Failed(why),
                    }
                } else {
                    // Nothing was recorded yet.
                    Runs::Found(Arc::default())
                };
            }
            Request::Open(run) => {
                let contents = self
                    .reader()
                    .and_then(|reader| told(reader.contents(run)))
                    .map(Arc::new);
                shelf.opened.insert(run, contents);
                while shelf.opened.len() > MOST_OPEN {
                    let oldest = shelf.opened.keys().copied().find(|other| *other != run);
                    match oldest {
                        Some(oldest) => shelf.opened.remove(&oldest),
                        None => break,
                    };
                }
            }
            Request::Picture(bead) => {
                let picture = self
                    .reader()
                    .and_then(|reader| {
                        told(reader.picture(bead.run, bead.feed, f64::from_bits(bead.at_bits)))
                    })
                    .ok()
                    .flatten()
                    .and_then(|png| image::load_from_memory(&png).ok())
                    .map(|picture| Arc::new(picture.to_luma8()));
                if shelf.pictures.len() >= MOST_PICTURES {
                    shelf.pictures.clear();
                }
                shelf.pictures.insert(bead, picture);
            }
            Request::Strip(bead) => {
                let at_secs = f64::from_bits(bead.at_bits);
                let found = strips::find(&self.strips, bead.run, bead.feed, at_secs);
                if shelf.strips.len() >= MOST_STRIPS {
                    shelf.strips.clear();
                }
                shelf.strips.insert(bead, found.map(Arc::new));
            }
            Request::Report(run) => {
                let report = self.report(run);
                if let Err(why) = &report {
                    tracing::warn!(run, why, "no report");
                }
                shelf.report = Some(report);
                shelf.reports += 1;
            }
        }
    }

    fn reader(&self) -> Result<LogbookReader, String> {
        told(LogbookReader::open(&self.logbook))
    }

    fn report(&self, run: i64) -> Result<String, String> {
        let reader = self.reader()?;
        let made_wall_secs = self.clock.wall_secs();
        let report = told(Report::of_run(
            &reader,
            run,
            TimeZone::system(),
            made_wall_secs,
        ))?;
        let folder = self.papers.join(format!("run-{run}"));
        let mut tables = export::tables(&report.run, &report.zone);
        tables.extend(figures::tables(&report));
        told(export::write_tables(&tables, &folder))?;
        let path = folder.join(PAGE);
        let text = page(&report);
        told(export::write_whole(&path, |file| {
            file.write_all(text.as_bytes())
        }))?;
        let whole = std::path::absolute(&path).unwrap_or(path);
        Ok(shown(&whole))
    }
}

fn told<T, E: std::fmt::Display>(result: Result<T, E>) -> Result<T, String> {
    result.map_err(|error| error.to_string())
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}
