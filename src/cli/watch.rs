//! `beadtally watch`: counts live without a window and prints what happens as it happens. The
//! counting is the runner's.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

use crate::base::{Clock, FeedNumber, SystemClock};
use crate::capture::{self, About, SourceSpec, pace::Paced};
use crate::glass::Calibration;
use crate::run::logbook::{self, Logbook};
use crate::run::oil::{self, OIL_CAUTION, OilReport, ReservoirReport};
use crate::run::runner::Stopped;
use crate::run::tally::{ReadingReport, rounded};
use crate::run::{
    Event, FeedSnapshot, Intent, Notice, Pictures, Recording, Runner, RunnerSettings, Snapshot,
};

use super::args::WatchArgs;
use super::code;
use super::lines::{Line, event_words, feed_words, verdict_words};
use super::out::{Out, complain};
use super::taps;

/// How long to wait for an event before looking around, milliseconds.
const WAIT_MS: u64 = 50;
/// People get a line a feed at least this often, seconds of source time.
const STATUS_SECS: f64 = 5.0;

/// Watches a source until it ends, the time is over, or a person breaks it off.
///
/// # Errors
/// A sentence: the source, the calibration or the logbook cannot be opened.
pub fn run(args: &WatchArgs, logbook: Option<&Path>) -> anyhow::Result<u8> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
    let spec: SourceSpec = args.source.parse()?;
    let calibration = args
        .calibration
        .as_deref()
        .map(Calibration::read)
        .transpose()?;
    let logbook = logbook_for(args, logbook)?;
    let source = capture::open(&spec, Arc::clone(&clock))?;
    // Only now: a source that takes its time to open has nothing to lose, and ends at once.
    let asked = Arc::new(AtomicBool::new(false));
    {
        let asked = Arc::clone(&asked);
        // Without a handler Ctrl-C still ends the program, only less cleanly.
        if let Err(error) = ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed)) {
            tracing::warn!(%error, "Ctrl-C will cut the run short");
        }
    }
    let about = source.about().clone();
    let mut settings = RunnerSettings::new(Box::new(Paced::new(source, Arc::clone(&clock))));
    settings.pictures = Pictures::Measured;
    settings.calibration = calibration;
    settings.presets = args.glass.presets();
    if logbook.is_some() {
        settings.recording = Recording::AtOnce(args.title.clone());
    }
    settings.logbook = logbook;

    let mut screen = Screen::new(args);
    screen.source(&about)?;
    let runner = Arc::new(Runner::start(settings, clock)?);
    let events = runner.events();
    if args.hand_check {
        taps::listen(&runner)?;
        screen.taps = Some(TapsAt(args.taps_feed));
    }
    let why = follow(&runner, &events, &mut screen, args.for_secs, &asked)?;

    let stopped = runner.stop();
    let last = runner.snapshot();
    // What was told while the runner settled.
    screen.look(&last)?;
    for event in events.try_iter() {
        screen.event(&event, &last)?;
    }
    if let Some((_, run)) = stopped.logbook.as_ref().and_then(|log| log.run.as_ref()) {
        screen.run(*run, None)?;
    }
    screen.end(&last, why)?;
    Ok(verdict(&mut screen, &last, &stopped, why))
}

/// The exit code, and a sentence for each thing that went wrong.
fn verdict(screen: &mut Screen, last: &Snapshot, stopped: &Stopped, why: Why) -> u8 {
    let mut exit = code::DONE;
    if let Some(status) = &stopped.logbook
        && (status.lost > 0 || status.failing.is_some())
    {
        let words = status.failing.as_deref().unwrap_or_default();
        complain(&format!(
            "{} records of this run are not in the logbook. {words}",
            status.lost
        ));
        exit = code::FAILED;
    }
    if !stopped.left.is_empty() {
        complain(&format!(
            "these parts of the program did not end in time: {}",
            stopped.left.join(", ")
        ));
        exit = code::FAILED;
    }
    if let Some(notice) = last.notice.as_ref().filter(|notice| notice.is_error)
        && why != Why::Asked
    {
        screen.complain_once(notice);
        exit = code::FAILED;
    }
    exit
}

/// The logbook a run goes into, tried before anything starts; none with `--no-run`.
fn logbook_for(args: &WatchArgs, given: Option<&Path>) -> anyhow::Result<Option<PathBuf>> {
    if args.no_run {
        return Ok(None);
    }
    let opened = given
        .map_or_else(logbook::default_path, |path| Ok(path.to_path_buf()))
        .and_then(|path| Logbook::open(&path).map(|_| path));
    match opened {
        Ok(path) => Ok(Some(path)),
        Err(error) => Err(anyhow::anyhow!(
            "{error}; or watch without recording: --no-run"
        )),
    }
}

/// Why watching ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Why {
    ClipOver,
    TimeOver,
    Asked,
    SourceFailed,
}

impl Why {
    fn words(self) -> &'static str {
        match self {
            Self::ClipOver => "clip over",
            Self::TimeOver => "time over",
            Self::Asked => "asked",
            Self::SourceFailed => "source failed",
        }
    }
}

/// Prints events until there is a reason to end.
fn follow(
    runner: &Runner,
    events: &Receiver<Arc<Event>>,
    screen: &mut Screen,
    for_secs: Option<f64>,
    asked: &AtomicBool,
) -> anyhow::Result<Why> {
    loop {
        let event = events.recv_timeout(Duration::from_millis(WAIT_MS));
        let snapshot = runner.snapshot();
        screen.look(&snapshot)?;
        if let Some(TapsAt(feed)) = screen.taps.take_if(|_| !snapshot.feeds.is_empty()) {
            runner.send(Intent::StartHandCheck { feed });
            screen.hand_check(feed)?;
        }
        match event {
            Ok(event) => screen.event(&event, &snapshot)?,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                let wrong = snapshot
                    .notice
                    .as_ref()
                    .is_some_and(|notice| notice.is_error);
                return Ok(if wrong || !snapshot.ended {
                    Why::SourceFailed
                } else {
                    Why::ClipOver
                });
            }
        }
        if asked.load(Ordering::Relaxed) {
            return Ok(Why::Asked);
        }
        if for_secs.is_some_and(|secs| snapshot.now_secs >= secs) {
            return Ok(Why::TimeOver);
        }
        // A clip that is over closes its events; a camera that is gone for good only says so.
        let live = snapshot.about.as_ref().is_some_and(|about| about.live);
        if snapshot.ended && live {
            return Ok(Why::SourceFailed);
        }
    }
}

/// A hand check that waits for the glasses: its feed, or none for all together.
struct TapsAt(Option<FeedNumber>);

/// Prints what happens, as text or as JSON lines; each thing once.
struct Screen {
    out: Out,
    json: bool,
    calibration: Option<Arc<Calibration>>,
    run: i64,
    notice: Option<Notice>,
    status_secs: f64,
    /// A hand check that begins as soon as the glasses are known, with its feed.
    taps: Option<TapsAt>,
}

impl Screen {
    fn new(args: &WatchArgs) -> Self {
        Self {
            out: Out::new(),
            json: args.json_lines,
            calibration: None,
            run: 0,
            notice: None,
            status_secs: 0.0,
            taps: None,
        }
    }

    fn source(&mut self, about: &About) -> io::Result<()> {
        if self.json {
            self.out.json_line(&Line::source(about))
        } else {
            self.out.line(&format!(
                "watching {}, {} × {} pixels",
                about.name, about.width, about.height
            ))
        }
    }

    /// Prints what is new in a snapshot.
    fn look(&mut self, snapshot: &Snapshot) -> io::Result<()> {
        if snapshot.notice != self.notice {
            self.notice.clone_from(&snapshot.notice);
            if let Some(notice) = &snapshot.notice {
                if self.json {
                    self.out.json_line(&Line::notice(notice))?;
                } else {
                    complain(&notice.words);
                }
            }
        }
        if let Some(calibration) = &snapshot.calibration
            && !self
                .calibration
                .as_ref()
                .is_some_and(|shown| Arc::ptr_eq(shown, calibration))
        {
            self.calibration = Some(Arc::clone(calibration));
            self.glasses(calibration)?;
        }
        if let Some(run) = &snapshot.run {
            self.run(run.id, Some(run.from_secs))?;
        }
        if !self.json && snapshot.now_secs >= self.status_secs && !snapshot.feeds.is_empty() {
            self.status_secs = snapshot.now_secs + STATUS_SECS;
            for feed in &snapshot.feeds {
                let line = status_words(snapshot.now_secs, feed);
                self.out.line(&line)?;
            }
        }
        Ok(())
    }

    fn glasses(&mut self, calibration: &Calibration) -> io::Result<()> {
        if self.json {
            return self.out.json_line(&Line::glasses(calibration));
        }
        for (index, feed) in calibration.feeds.iter().enumerate() {
            let at = feed.outline.upright_box();
            self.out.line(&format!(
                "{}: {} at x {:.0} y {:.0}, {:.0} × {:.0} px",
                feed_words(Some(FeedNumber::from_index(index)), &feed.name),
                feed.outline.kind.word(),
                at.x,
                at.y,
                at.width,
                at.height
            ))?;
        }
        Ok(())
    }

    /// A run has its number.
    fn run(&mut self, run: i64, from_secs: Option<f64>) -> io::Result<()> {
        if run == 0 || run == self.run {
            return Ok(());
        }
        self.run = run;
        if self.json {
            self.out.json_line(&Line::Run {
                run,
                from_s: from_secs.map(|secs| rounded(secs, 3)),
            })
        } else {
            self.out.line(&format!("recording run {run}"))
        }
    }

    fn hand_check(&mut self, feed: Option<FeedNumber>) -> io::Result<()> {
        if self.json {
            return Ok(());
        }
        let feed = feed_words(feed, "");
        self.out.line(&format!(
            "hand check, {feed}: press Enter at each drop you see; e and Enter ends it"
        ))
    }

    fn event(&mut self, event: &Event, snapshot: &Snapshot) -> io::Result<()> {
        if self.json {
            return self.out.json_line(&Line::event(event));
        }
        let Some(mut line) = event_words(event) else {
            return Ok(());
        };
        if let Event::Bead { feed, .. } = event
            && let Some(feed) = snapshot.feeds.iter().find(|shown| shown.feed == *feed)
        {
            let reading = feed.reading.as_ref().map(ReadingReport::of);
            line = format!("{line}; {}", verdict_words(reading, feed.state));
        }
        self.out.line(&line)
    }

    fn end(&mut self, last: &Snapshot, why: Why) -> io::Result<()> {
        if self.json {
            let line = Line::end(last.now_secs, why.words(), &last.feeds, &last.oil);
            return self.out.json_line(&line);
        }
        for feed in &last.feeds {
            let line = status_words(last.now_secs, feed);
            self.out.line(&line)?;
        }
        for feed in &last.feeds {
            let name = feed_words(Some(feed.feed), &feed.calibration.name);
            if let Some(oil) = feed.oil.as_ref().map(OilReport::of) {
                self.out.line(&format!("{name}: {}", oil.words()))?;
            }
            if let Some(hint) = oil::hint(feed.growth.as_ref()) {
                self.out.line(&format!("{name}: {hint}"))?;
            }
        }
        if let Some(life) = last.oil.reservoir.as_ref().map(ReservoirReport::of) {
            self.out.line(&life.words())?;
        }
        if last.feeds.iter().any(|feed| feed.oil.is_some()) {
            self.out.line(OIL_CAUTION)?;
        }
        if let Some(why) = &last.oil.no_nozzle {
            self.out.line(&format!("no oil from the nozzle: {why}"))?;
        }
        self.out.line(&format!("ended: {}", why.words()))
    }

    /// An error that was not shown as text yet.
    fn complain_once(&mut self, notice: &Notice) {
        if self.json || self.notice.as_ref() != Some(notice) {
            complain(&notice.words);
        }
    }
}

/// How a feed stands, in a line.
fn status_words(now_secs: f64, feed: &FeedSnapshot) -> String {
    let last = feed.last_drop_secs.map_or_else(String::new, |at_secs| {
        format!(", last drop {:.0} s ago", (now_secs - at_secs).max(0.0))
    });
    let blind = feed
        .blind
        .map_or_else(String::new, |why| format!(" ({})", why.words()));
    format!(
        "{now_secs:8.2} s  {}: {}{blind}; {} drops{last}",
        feed_words(Some(feed.feed), &feed.calibration.name),
        verdict_words(feed.reading.as_ref().map(ReadingReport::of), feed.state),
        feed.drops
    )
}
