//! The real window on a display without a screen, with real keys and clicks on the demo, from the
//! first start: set up, see drops, mark a valve, have an alarm and acknowledge it, tap along, end
//! the run, open its report; and then what the files say of all that. Where things are to be clicked
//! is asked of the same window drawn without a screen. Needs Xvfb, xdotool and import
//! (`./run.sh --install tests`).

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

use std::os::unix::fs::PermissionsExt;

use beadtally::run::logbook::LogbookReader;
use beadtally::run::logbook::read::{Ending, RunContents};
use beadtally::ui::pretend::Scene;
use beadtally::ui::theme::{OUTLINE, RING_OIL};
use beadtally::ui::words;
use eframe::egui::{Color32, Key, Pos2};
use egui_kittest::kittest::Queryable;
use image::RgbImage;

#[path = "ui_window/kit.rs"]
#[expect(
    dead_code,
    reason = "shared with the tests of the window, which use all of it"
)]
mod kit;
#[path = "ui_window/paint.rs"]
#[expect(
    dead_code,
    reason = "shared with the tests of the window, which use all of it"
)]
mod paint;

use kit::{Build, Rig};

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
    // What would be shown in a browser is written down instead.
    let browser = folder.path().join("browser");
    let script = "#!/bin/sh\nprintf '%s\\n' \"$1\" >>\"$(dirname \"$0\")/opened\"\n";
    std::fs::write(&browser, script).unwrap();
    std::fs::set_permissions(&browser, std::fs::Permissions::from_mode(0o755)).unwrap();
    let program = Command::new(env!("CARGO_BIN_EXE_beadtally"))
        .env("DISPLAY", &display)
        .env_remove("WAYLAND_DISPLAY")
        .env("LIBGL_ALWAYS_SOFTWARE", "1")
        .env("WINIT_X11_SCALE_FACTOR", "1")
        .env("LC_ALL", "C")
        .env("BROWSER", &browser)
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
        let seen = concat!(env!("CARGO_TARGET_TMPDIR"), "/ui_real.png");
        let is_kept = self
            .screen()
            .is_some_and(|screen| screen.save(seen).is_ok());
        panic!("it never came: {what}; the screen is kept as {seen}: {is_kept}");
    }

    /// What the window shows.
    fn screen(&self) -> Option<RgbImage> {
        let output = Command::new("import")
            .args(["-window", &self.window, "png:-"])
            .env("DISPLAY", &self.display)
            .output()
            .unwrap_or_else(|error| panic!("import is needed ({error}): ./run.sh --install tests"));
        let picture = image::load_from_memory(&output.stdout).ok()?;
        Some(picture.to_rgb8())
    }

    /// Whether so many pixels of a colour are to be seen in the picture's place.
    fn shows(&self, colour: Color32, least: usize) -> bool {
        let Some(screen) = self.screen() else {
            return false;
        };
        let place = image::imageops::crop_imm(&screen, 20, 60, 660, 560).to_image();
        let wanted = [colour.r(), colour.g(), colour.b()];
        let near = |pixel: &image::Rgb<u8>| (0..3).all(|c| pixel.0[c].abs_diff(wanted[c]) <= 8);
        place.pixels().filter(|pixel| near(pixel)).count() >= least
    }

    fn click_at(&self, at: Pos2) {
        self.click(at.x.round() as i32, at.y.round() as i32);
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

    fn kept(&self, name: &str) -> String {
        std::fs::read_to_string(self.data.join(name)).unwrap_or_default()
    }
}

/// The middle of what has these words, in the window drawn without a screen.
fn place_of(rig: &Rig, words: &str) -> Pos2 {
    rig.harness.get_by_label(words).rect().center()
}

/// The same window at its first start with two glasses found, as far as these words were pressed.
fn started(pressed: &[&str]) -> Rig {
    let mut rig = Build::of(Scene::Many(2)).at_the_start();
    for words in pressed {
        rig.harness.get_by_label(words).click();
        rig.harness.run();
    }
    rig
}

fn states(run: &RunContents) -> Vec<String> {
    run.alarms.iter().map(|alarm| alarm.state.clone()).collect()
}

#[test]
fn a_person_at_the_real_window_sets_up_and_gets_a_run_a_mark_an_alarm_and_a_report() {
    let stage = start();
    let w = words::get();
    // Set up: a source in a person's own words, the glasses, their size, their names.
    let clip = place_of(&started(&[]), w.start_clip);
    stage.until("the first step", |stage| {
        let drawn = stage.screen()?;
        let colours: std::collections::BTreeSet<_> = drawn.pixels().map(|p| p.0).collect();
        (colours.len() > 100).then_some(())
    });
    stage.click_at(clip);
    stage.xdotool(&["type", "--delay", "30", SOURCE]);
    stage.wait();
    stage.key("Return");
    stage.until("the outlines", |stage| {
        stage.shows(OUTLINE, 150).then_some(())
    });
    stage.key("Return");
    let size = started(&[w.start_demo, w.start_yes]);
    stage.click_at(place_of(&size, w.start_size_take));
    let names = started(&[w.start_demo, w.start_yes, w.start_skip]);
    // The scene of the window without a screen has names already; here they are still to be given.
    stage.click_at(place_of(&names, w.start_suggest));
    stage.click_at(place_of(&names, w.start_done));
    stage.until("what was set up, kept", |stage| {
        let calibration = stage.kept("last-calibration.toml");
        let is_kept = calibration.contains("left cylinder")
            && calibration.contains("right cylinder")
            && calibration.contains("px_per_mm")
            && stage.kept("window.toml").contains("demo:feeds=2");
        is_kept.then_some(())
    });
    // Drops are to be seen: a ring round each as it is counted.
    stage.until("a ring round a drop", |stage| {
        stage.shows(RING_OIL, 20).then_some(())
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
    assert_eq!(run.feeds[0].name, "left cylinder");
    assert!(run.feeds[0].px_per_mm.is_some());
    // Feed 1 is chosen by a click on its panel, and its valve marked by key.
    let watch = Build::of(Scene::Many(2)).rig();
    stage.click_at(place_of(&watch, &words::choose_feed("left cylinder")));
    stage.key("o");
    let run = stage.until("a mark", |stage| {
        stage.run().filter(|run| !run.marks.is_empty())
    });
    assert_eq!(run.marks[0].feed, Some(1));
    assert_eq!(run.marks[0].words, "valve 1 a quarter turn open");
    // Forty drops a minute are far high: an alarm comes by itself, and is acknowledged by a click.
    stage.until("an alarm", |stage| {
        let run = stage.run()?;
        let waits = states(&run).iter().any(|state| state == "unacknowledged");
        waits.then_some(())
    });
    let trouble = Build::of(Scene::Trouble).rig();
    let acknowledge = place_of(&trouble, w.acknowledge);
    stage.until("its acknowledgement", |stage| {
        stage.click_at(acknowledge);
        let run = stage.run()?;
        let done = states(&run).iter().any(|state| state == "acknowledged");
        done.then_some(())
    });
    // Taps of a hand check, by key and by a click into the field.
    let mut hand = Build::of(Scene::Many(2)).rig();
    for key in [Key::H, Key::H] {
        hand.harness.key_press(key);
        hand.harness.run();
    }
    stage.key("h");
    stage.key("h");
    stage.key("space");
    stage.click_at(place_of(&hand, w.hand_tap_here));
    stage.key("h");
    let run = stage.until("the hand check", |stage| {
        stage.run().filter(|run| !run.hand_checks.is_empty())
    });
    assert_eq!(run.taps.len(), 2, "{:?}", run.taps);
    stage.key("r");
    stage.key("Return");
    let run = stage.until("the end of the run", |stage| {
        stage
            .run()
            .filter(|run| run.summary.ending == Ending::Ended)
    });
    assert!(run.drops.iter().all(|drop| drop.has_picture));
    let strips = stage.data.join("logbook-strips").join("run-1");
    let strips = stage.until("the strips", |_| {
        let count = std::fs::read_dir(&strips).ok()?.count();
        (count > 0).then_some(count)
    });
    assert!(strips >= 2, "of both feeds: {strips}");
    // The report of the run, by one key: written, and opened.
    stage.key("F7");
    stage.wait();
    stage.key("p");
    let page = stage.data.join("papers").join("run-1").join("report.html");
    let opened = stage.data.parent().unwrap().join("opened");
    let opened = stage.until("the report, opened", |_| {
        std::fs::read_to_string(&opened).ok()
    });
    assert_eq!(opened.trim(), format!("file://{}", page.display()));
    let page = std::fs::read_to_string(&page).unwrap();
    assert!(page.contains("valve 1 a quarter turn open"));
    assert!(page.contains("left cylinder"));
}
