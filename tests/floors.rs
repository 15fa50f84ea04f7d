//! Keeps the floors: reads every path in our own sources and refuses one that points upwards or
//! sideways, and keeps threads, files, networks and clocks out of the measuring core. What a
//! source looks like inside is left to `house_rules.rs`.

mod house_source;

use house_source::{Kind, Source, Written, sources_under};

/// Folder under `src` and its floor. A folder imports from lower floors and from itself; two
/// folders on one floor do not know each other.
const FLOORS: [(&str, u8); 10] = [
    ("base", 0),
    ("capture", 1),
    ("glass", 1),
    ("bead", 2),
    ("health", 2),
    ("rate", 3),
    ("judge", 4),
    ("run", 5),
    ("cli", 6),
    ("ui", 6),
];

/// What the demo may take from its own floor: the trait it fulfils and the words of that trait.
/// Were it to share more, a common mistake could hide in both the picture and the count.
const DEMO_MAY_USE: [&str; 4] = ["Source", "Grab", "About", "CaptureError"];

/// Paths that reach out of the process, wait, or read a clock.
const OUTSIDE_WORLD: [&str; 13] = [
    "std::thread",
    "std::fs",
    "std::net",
    "std::os",
    "std::env",
    "std::process",
    "std::io::stdin",
    "std::io::stdout",
    "std::io::stderr",
    "std::time::Instant",
    "std::time::SystemTime",
    "image::open",
    "image::ImageReader",
];

/// Crates that do so, and sources of chance that nobody seeded.
const OUTSIDE_CRATES: [&str; 18] = [
    "ctrlc",
    "directories",
    "eframe",
    "egui",
    "egui_plot",
    "indicatif",
    "jiff",
    "nokhwa",
    "rayon",
    "rodio",
    "rusqlite",
    "tempfile",
    "v4l",
    "tracing_subscriber",
    "clap",
    "rand::rng",
    "rand::random",
    "rand::thread_rng",
];

/// Names that read a clock however they were imported.
const CLOCKS: [&str; 2] = ["Instant", "SystemTime"];

/// Macros that write to the terminal.
const PRINTING: [&str; 5] = ["print", "println", "eprint", "eprintln", "dbg"];

/// The folder under `src` a file is in; none for `lib.rs` and `main.rs`.
fn folder_of(source: &Source) -> Option<String> {
    let module = source.module();
    module.get(1).cloned()
}

/// Whether the first parts of a path are those of `start` (written with `::` between them).
fn starts_with(path: &Written, start: &str) -> bool {
    let mut parts = path.parts.iter();
    start
        .split("::")
        .all(|want| parts.next().is_some_and(|have| have == want))
}

fn floor_of(folder: &str) -> Option<u8> {
    FLOORS
        .iter()
        .find_map(|(name, floor)| (*name == folder).then_some(*floor))
}

/// Breaches of the floors in one file, as sentences.
fn upward_imports(source: &Source) -> Vec<String> {
    let Some(folder) = folder_of(source) else {
        return Vec::new();
    };
    let Some(own) = floor_of(&folder) else {
        return vec![format!(
            "{}: the folder {folder} has no floor; give it one in tests/floors.rs",
            source.path
        )];
    };
    let mut breaches = Vec::new();
    for path in source.paths() {
        if !starts_with(&path, "crate") {
            continue;
        }
        // The whole crate under one name counts as a name without a floor.
        let target = path.parts.get(1).map_or("crate", String::as_str);
        if target == folder {
            continue;
        }
        let place = format!("{}:{}", source.path, path.line);
        match floor_of(target) {
            None => breaches.push(format!(
                "{place}: `{}` names no folder with a floor",
                path.parts.join("::")
            )),
            Some(other) if other >= own => breaches.push(format!(
                "{place}: {folder} (floor {own}) may not know {target} (floor {other})"
            )),
            Some(_) => {}
        }
    }
    breaches
}

fn is_demo(source: &Source) -> bool {
    let module = source.module();
    module.get(1).is_some_and(|part| part == "capture")
        && module.get(2).is_some_and(|part| part == "demo")
}

/// What the demo knows and may not, and what knows the demo and may not.
fn demo_leaks(source: &Source) -> Vec<String> {
    let is_demo = is_demo(source);
    let is_core = is_core(source);
    let mut breaches = Vec::new();
    for path in source.paths() {
        let place = format!("{}:{}", source.path, path.line);
        let words = path.parts.join("::");
        if is_demo && starts_with(&path, "crate") {
            let allowed = starts_with(&path, "crate::base")
                || starts_with(&path, "crate::capture::demo")
                || (starts_with(&path, "crate::capture")
                    && path
                        .parts
                        .get(2)
                        .is_some_and(|part| DEMO_MAY_USE.contains(&part.as_str())));
            if !allowed {
                breaches.push(format!("{place}: the demo may not use `{words}`"));
            }
        }
        // A test may look at drawn beads; the measuring itself may not know how they are drawn.
        if is_core && !path.in_tests && starts_with(&path, "crate::capture::demo") {
            breaches.push(format!(
                "{place}: measuring may not know the demo (`{words}`)"
            ));
        }
    }
    breaches
}

/// Whether a file belongs to the measuring core: same frames in, same readings out.
fn is_core(source: &Source) -> bool {
    let module = source.module();
    match module.get(1).map(String::as_str) {
        Some("base" | "glass" | "bead" | "health" | "rate" | "judge") => true,
        Some("run") => module.get(2).is_some_and(|part| part == "instrument"),
        _ => false,
    }
}

/// Where the core reaches out of itself, waits, or reads a clock. Tests within it may.
fn impurities(source: &Source) -> Vec<String> {
    if !is_core(source) || source.path == "src/base/clock.rs" {
        return Vec::new();
    }
    let is_calibration = source.path.starts_with("src/glass/calibration");
    let mut breaches = Vec::new();
    for path in source.paths() {
        let outside = OUTSIDE_WORLD
            .iter()
            .chain(&OUTSIDE_CRATES)
            .find(|start| starts_with(&path, start));
        let Some(outside) = outside else {
            continue;
        };
        let of_files = matches!(*outside, "std::fs" | "std::os" | "tempfile");
        // The calibration is a file, and this is where it is read and written.
        if path.in_tests || (is_calibration && of_files) {
            continue;
        }
        breaches.push(format!(
            "{}:{}: the measuring core may not use `{outside}`",
            source.path, path.line
        ));
    }
    let tokens = source.tokens();
    for (at, token) in tokens.iter().enumerate() {
        let Some(name) = token.ident() else {
            continue;
        };
        if token.in_tests {
            continue;
        }
        let next = tokens.get(at + 1).map(|token| &token.kind);
        let prints = PRINTING.contains(&name) && next == Some(&Kind::Punct('!'));
        if CLOCKS.contains(&name) || prints {
            breaches.push(format!(
                "{}:{}: the measuring core may not use `{name}`",
                source.path, token.line
            ));
        }
    }
    breaches
}

fn breaches_in(check: fn(&Source) -> Vec<String>) -> Vec<String> {
    let sources = sources_under("src");
    assert!(
        sources.len() >= FLOORS.len(),
        "the sources were not found: {} files",
        sources.len()
    );
    sources.iter().flat_map(check).collect()
}

fn assert_none(breaches: &[String]) {
    assert!(breaches.is_empty(), "\n{}\n", breaches.join("\n"));
}

#[test]
fn no_folder_knows_a_higher_floor_or_its_neighbour() {
    assert_none(&breaches_in(upward_imports));
}

#[test]
fn the_demo_shares_nothing_with_the_measuring() {
    assert_none(&breaches_in(demo_leaks));
}

#[test]
fn the_measuring_core_reaches_for_nothing_outside() {
    assert_none(&breaches_in(impurities));
}

#[test]
fn every_floor_has_its_folder() {
    let sources = sources_under("src");
    for (folder, _) in FLOORS {
        let start = format!("src/{folder}/");
        assert!(
            sources.iter().any(|source| source.path.starts_with(&start)),
            "there is no folder {start}: take its floor out of tests/floors.rs"
        );
    }
}

/// How many breaches `check` finds in a source written here.
fn count(check: fn(&Source) -> Vec<String>, path: &str, text: &str) -> usize {
    check(&Source::literal(path, text)).len()
}

#[test]
fn the_check_of_floors_can_fail() {
    let breaking = [
        ("src/base/a.rs", "use crate::glass::Outline;"),
        ("src/capture/a.rs", "use crate::glass::Outline;"),
        ("src/glass/a.rs", "use crate::capture::About;"),
        ("src/bead/a.rs", "use crate::health::Doubt;"),
        ("src/health/mod.rs", "use crate::bead::Bead;"),
        ("src/cli/a.rs", "fn f() { crate::ui::open(); }"),
        ("src/ui/a.rs", "fn f(x: &crate::cli::Arguments) {}"),
        ("src/rate/mod.rs", "use super::judge::FeedState;"),
        ("src/rate/a.rs", "use super::super::judge::FeedState;"),
        (
            "src/rate/a/b.rs",
            "use super::super::super::judge::FeedState;",
        ),
        ("src/rate/a.rs", "use crate::{base::Span, judge::Alarm};"),
        ("src/rate/a.rs", "use crate::{base::{Span, Band}, judge};"),
        (
            "src/rate/a.rs",
            "use crate::{\n    base::*,\n    run::{self, Event},\n};",
        ),
        (
            "src/rate/a.rs",
            "fn f() { println!(\"{}\", crate::judge::limit()); }",
        ),
        (
            "src/rate/a.rs",
            "mod inner { use super::super::super::judge::Alarm; }",
        ),
        (
            "src/rate/a.rs",
            "fn f() -> Vec<crate::judge::Alarm> { vec![] }",
        ),
        (
            "src/rate/a.rs",
            "macro_rules! m { () => { $crate::judge::limit() } }",
        ),
        ("src/rate/a.rs", "use crate::*;"),
        ("src/rate/a.rs", "use crate::{self as all, base};"),
        ("src/rate/a.rs", "use crate as all;"),
        ("src/rate/a.rs", "pub(in crate::judge) fn f() {}"),
        ("src/newcomer/mod.rs", "fn f() {}"),
    ];
    for (path, text) in breaking {
        assert!(count(upward_imports, path, text) > 0, "{path}: {text}");
    }
}

#[test]
fn the_check_of_floors_lets_good_sources_pass() {
    let good = [
        (
            "src/base/a.rs",
            "use std::sync::Arc;\nuse super::Frame;\nuse crate::base::Ring;",
        ),
        (
            "src/rate/a.rs",
            "use crate::{base::Span, bead::Bead};\nuse super::Reading;",
        ),
        (
            "src/rate/a.rs",
            "//! See [`crate::judge`] and `crate::ui`.\nconst S: &str = \"crate::ui::x\";",
        ),
        (
            "src/rate/a.rs",
            "/// Not crate::ui::x\n// crate::ui::y\npub(crate) fn f() {}",
        ),
        (
            "src/rate/a.rs",
            "mod inner { use super::super::Reading; use super::f; }",
        ),
        (
            "src/run/a.rs",
            "use crate::judge::Alarm;\nuse super::logbook::Logbook;",
        ),
        (
            "src/ui/a.rs",
            "use crate::run::Snapshot;\nuse crate::ui::theme;",
        ),
        ("src/main.rs", "use beadtally::{cli, ui};"),
        ("src/lib.rs", "pub mod base;\npub mod ui;"),
    ];
    for (path, text) in good {
        let breaches = upward_imports(&Source::literal(path, text));
        assert!(breaches.is_empty(), "{path}: {text}\n{breaches:?}");
    }
}

#[test]
fn a_breach_is_told_with_its_line() {
    let source = Source::literal(
        "src/rate/a.rs",
        "//! Head.\n\nuse crate::base::Span;\nuse crate::judge::Alarm;\n",
    );
    assert_eq!(
        upward_imports(&source),
        ["src/rate/a.rs:4: rate (floor 3) may not know judge (floor 4)"]
    );
}

#[test]
fn the_check_of_the_demo_can_fail() {
    let breaking = [
        ("src/capture/demo/a.rs", "use crate::glass::Outline;"),
        ("src/capture/demo/a.rs", "use crate::capture::clip::Clip;"),
        ("src/capture/demo/mod.rs", "use super::clip::Clip;"),
        ("src/capture/demo.rs", "use crate::capture::{Grab, decode};"),
        ("src/bead/a.rs", "use crate::capture::demo::Truth;"),
        ("src/glass/a.rs", "fn f() { crate::capture::demo::draw(); }"),
        ("src/run/instrument.rs", "use crate::capture::demo::Truth;"),
    ];
    for (path, text) in breaking {
        assert!(count(demo_leaks, path, text) > 0, "{path}: {text}");
    }
    let good = [
        (
            "src/capture/demo/a.rs",
            "use crate::base::Frame;\nuse crate::capture::{About, Grab, Source};",
        ),
        (
            "src/capture/demo/a.rs",
            "use super::optics::Ray;\nuse crate::capture::demo::Truth;",
        ),
        (
            "src/bead/a.rs",
            "#[cfg(test)]\nmod tests { use crate::capture::demo::Truth; }",
        ),
        ("src/run/runner.rs", "use crate::capture::demo::Demo;"),
    ];
    for (path, text) in good {
        assert_eq!(count(demo_leaks, path, text), 0, "{path}: {text}");
    }
}

#[test]
fn the_check_of_the_core_can_fail() {
    let breaking = [
        (
            "src/bead/a.rs",
            "use std::fs;\nfn f() { std::fs::read(\"a\"); }",
        ),
        ("src/bead/a.rs", "use std::{fs, io};"),
        (
            "src/rate/a.rs",
            "use std::{sync::Arc, thread::{self, Builder}};",
        ),
        ("src/judge/a.rs", "fn f() { ::std::thread::yield_now(); }"),
        ("src/judge/a.rs", "use std::time::{Duration, Instant};"),
        ("src/base/a.rs", "fn f(t: SystemTime) {}"),
        ("src/base/ring.rs", "use std::net::TcpStream;"),
        ("src/glass/find.rs", "use std::fs::File;"),
        (
            "src/glass/calibration.rs",
            "use std::thread;\nfn f() { thread::yield_now(); }",
        ),
        ("src/run/instrument.rs", "use rusqlite::Connection;"),
        ("src/run/instrument/steps.rs", "use std::thread;"),
        ("src/rate/a.rs", "fn f() { jiff::Timestamp::now(); }"),
        ("src/rate/a.rs", "fn f() { let x: f64 = rand::random(); }"),
        ("src/rate/a.rs", "fn f() { eprintln!(\"x\"); }"),
    ];
    for (path, text) in breaking {
        assert!(count(impurities, path, text) > 0, "{path}: {text}");
    }
    let good = [
        ("src/base/clock.rs", "use std::time::Instant;"),
        (
            "src/base/a.rs",
            "use std::time::Duration;\n// Instant, std::fs\nconst S: &str = \"std::thread\";",
        ),
        ("src/glass/calibration.rs", "use std::fs;"),
        (
            "src/glass/calibration/read.rs",
            "use std::fs::read_to_string;",
        ),
        ("src/capture/clip.rs", "use std::fs;"),
        ("src/run/runner.rs", "use std::thread;"),
        (
            "src/bead/a.rs",
            "fn f() {}\n#[cfg(test)]\nmod tests {\n    use std::fs;\n    fn g() { println!(\"x\"); }\n}",
        ),
        ("src/bead/tests.rs", "use std::fs;"),
    ];
    for (path, text) in good {
        let breaches = impurities(&Source::literal(path, text));
        assert!(breaches.is_empty(), "{path}: {text}\n{breaches:?}");
    }
}
