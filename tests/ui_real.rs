//! The real window on a display without a screen, with real keys and clicks on the demo: see drops,
//! mark a valve, have an alarm and acknowledge it, end the run, write its report; and then what the
//! logbook says of all that. Needs Xvfb, xdotool and import (`./run.sh --install tests`).

#![cfg(all(feature = "window", target_os = "linux"))]
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper of a test fails the test by panicking"
)]

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;

use beadtally::run::logbook::LogbookReader;
use beadtally::run::logbook::read::{Ending, RunContents};

/// Drops so quick that a test can wait for them, and far over the usual band.
const SOURCE: &str = "demo:feeds=2,rates=40;30,size=480x360,fps=20";
/// One look at whether something has happened.
const LOOK: Duration = Duration::from_millis(300);
/// How often it is looked before a test gives up: a debug build on a busy computer takes its time.
const LOOKS: usize = 400;

/// Ends a program when a test ends, however it ends.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A window under real keys.
struct Stage {
    display: String,
    window: String,
    data: PathBuf,
    /// Nothing ever comes: it is only waited on.
    never: Receiver<()>,
    _keeps: SyncSender<()>,
    _program: Running,
    _screen: Running,
    _folder: tempfile::TempDir,
}

fn start() -> Stage {
    let mut screen = Command::new("Xvfb")
        .args([
            "-displayfd",
            "1",
            "-screen",
            "0",
            "1280x800x24",
            "-noreset",
            "+extension",
            "GLX",
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap_or_else(|error| panic!("Xvfb is needed ({error}): ./run.sh --install tests"));
    let mut number = String::new();
    let told = screen.stdout.take().unwrap();
    BufReader::new(told).read_line(&mut number).unwrap();
    let screen = Running(screen);
    let display = format!(":{}", number.trim());
    let folder = tempfile::tempdir().unwrap();
    let program = Command::new(env!("CARGO_BIN_EXE_beadtally"))
        .args(["--source", SOURCE])
        .env("DISPLAY", &display)
        .env_remove("WAYLAND_DISPLAY")
        .env("LIBGL_ALWAYS_SOFTWARE", "1")
        .env("WINIT_X11_SCALE_FACTOR", "1")
        .env("LC_ALL", "C")
        .env("BROWSER", "true")
        .env("XDG_DATA_HOME", folder.path())
        .env("XDG_CONFIG_HOME", folder.path())
        .spawn()
        .unwrap();
    let pid = program.id().to_string();
    let (keeps, never) = sync_channel(1);
    let mut stage = Stage {
        display,
        window: String::new(),
        data: folder.path().join("beadtally"),
        never,
        _keeps: keeps,
        _program: Running(program),
        _screen: screen,
        _folder: folder,
    };
    stage.window = stage.until("a window", |stage| {
        let found = stage.xdotool(&["search", "--onlyvisible", "--pid", &pid]);
        found.lines().last().map(str::to_owned)
    });
    let window = stage.window.clone();
    stage.xdotool(&["windowmove", &window, "0", "0"]);
    stage.xdotool(&["windowsize", "--sync", &window, "1280", "800"]);
    stage.xdotool(&["windowfocus", "--sync", &window]);
    stage
}

impl Stage {
    fn xdotool(&self, words: &[&str]) -> String {
        let output = Command::new("xdotool")
            .args(words)
            .env("DISPLAY", &self.display)
            .output()
            .unwrap_or_else(|error| {
                panic!("xdotool is needed ({error}): ./run.sh --install tests")
            });
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    fn key(&self, key: &str) {
        self.xdotool(&["key", "--window", "0", key]);
        self.wait();
    }

    fn click(&self, x: i32, y: i32) {
        self.xdotool(&["mousemove", &x.to_string(), &y.to_string()]);
        self.wait();
        self.xdotool(&["click", "1"]);
        self.wait();
    }

    /// Waits for one look. Nothing is ever sent, so the time runs out.
    fn wait(&self) {
        let _ = self.never.recv_timeout(LOOK);
    }

    fn until<T>(&self, what: &str, mut look: impl FnMut(&Self) -> Option<T>) -> T {
        for _ in 0..LOOKS {
            if let Some(found) = look(self) {
                return found;
            }
            self.wait();
        }
        panic!("it never came: {what}");
    }

    /// Whether the live picture is there: the lit glasses are the brightest thing in its place.
    fn shows_glasses(&self) -> bool {
        let output = Command::new("import")
            .args(["-window", &self.window, "png:-"])
            .env("DISPLAY", &self.display)
            .output()
            .unwrap_or_else(|error| panic!("import is needed ({error}): ./run.sh --install tests"));
        let Ok(picture) = image::load_from_memory(&output.stdout) else {
            return false;
        };
        let luma = picture.to_luma8();
        let place = image::imageops::crop_imm(&luma, 20, 60, 660, 330).to_image();
        let bright = place.pixels().filter(|pixel| pixel.0[0] > 150).count();
        bright * 20 > place.pixels().len()
    }

    /// The newest run, once the logbook has one.
    fn run(&self) -> Option<RunContents> {
        let path = self.data.join("logbook.sqlite3");
        if !path.exists() {
            return None;
        }
        let reader = LogbookReader::open(&path).ok()?;
        reader.contents(reader.newest_run().ok()?).ok()
    }
}

#[test]
fn a_person_at_the_real_window_gets_a_run_a_mark_an_alarm_and_a_report() {
    let stage = start();
    stage.until("the live picture", |stage| {
        stage.shows_glasses().then_some(())
    });
    stage.key("r");
    stage.xdotool(&["type", "real"]);
    stage.wait();
    stage.key("Return");
    let run = stage.until("a run", |stage| {
        stage.run().filter(|run| run.drops.len() >= 4)
    });
    assert_eq!(run.summary.title, "real");
    assert_eq!(run.summary.ending, Ending::Recording);
    // Feed 1 is chosen by a click on its panel, and its valve marked by key.
    stage.click(1000, 200);
    stage.key("o");
    let run = stage.until("a mark", |stage| {
        stage.run().filter(|run| !run.marks.is_empty())
    });
    assert_eq!(run.marks[0].feed, Some(1));
    assert_eq!(run.marks[0].words, "valve 1 a quarter turn open");
    // Forty drops a minute are far high: an alarm comes by itself, and is acknowledged by a click.
    let states = |run: &RunContents| -> Vec<String> {
        run.alarms.iter().map(|alarm| alarm.state.clone()).collect()
    };
    stage.until("an alarm", |stage| {
        let run = stage.run()?;
        states(&run)
            .iter()
            .any(|state| state == "unacknowledged")
            .then_some(())
    });
    stage.until("its acknowledgement", |stage| {
        stage.click(1180, 715);
        let run = stage.run()?;
        states(&run)
            .iter()
            .any(|state| state == "acknowledged")
            .then_some(())
    });
    stage.key("r");
    stage.key("Return");
    let run = stage.until("the end of the run", |stage| {
        stage
            .run()
            .filter(|run| run.summary.ending == Ending::Ended)
    });
    assert!(run.drops.iter().all(|drop| drop.has_picture));
    // The report of the run, by one key.
    stage.key("F7");
    let page = stage.data.join("papers").join("run-1").join("report.html");
    let page = stage.until("the report", |stage| {
        stage.key("p");
        std::fs::read_to_string(&page).ok()
    });
    assert!(page.contains("valve 1 a quarter turn open"));
}
