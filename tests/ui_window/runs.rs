//! The tester's view, on a scripted logbook: charts, evidence, two runs side by side, the report.

use std::sync::Arc;

use beadtally::run::Intent;
use beadtally::run::logbook::read::{
    DropRow, Ending, FeedRow, MarkRow, ReadingRow, RunContents, RunSummary, SpellRow,
};
use beadtally::ui::app::View;
use beadtally::ui::library::{Bead, Request, Runs, Shelf};
use beadtally::ui::pretend::Scene;
use beadtally::ui::runs::data;
use beadtally::ui::runs::strips::Kept;
use beadtally::ui::words;
use eframe::egui::{Key, OutputCommand};
use egui_kittest::kittest::Queryable;

use crate::kit::{Build, Rig};

fn summary(run: i64) -> RunSummary {
    RunSummary {
        run,
        title: format!("invented {run}"),
        source_name: "demo".to_owned(),
        source_identity: String::new(),
        is_live: Some(false),
        size_px: (640, 480),
        started_wall_secs: 1_709_993_106.0 + 4000.0 * run as f64,
        from_secs: 100.0,
        ended_wall_secs: 1_709_993_706.0 + 4000.0 * run as f64,
        to_secs: 700.0,
        ending: Ending::Ended,
        program_version: "0".to_owned(),
        feeds: 2,
        drops: 24,
        bubbles: 1,
    }
}

/// A drop every 25 s in feed 1, one of them late, and a blind spell.
fn contents(run: i64) -> RunContents {
    let drop = |feed: i64, at_secs: f64, kind: &str| DropRow {
        feed,
        at_secs,
        wall_secs: 1_709_993_106.0 + at_secs,
        kind: kind.to_owned(),
        rise_px_per_s: 120.0,
        rise_mm_per_s: Some(60.0),
        height_px: 18.0,
        diameter_mm: Some(4.2),
        confidence: 0.97,
        settled_at_secs: at_secs + 1.0,
        has_picture: true,
    };
    let mut drops: Vec<DropRow> = (0..20)
        .map(|i| {
            let i = f64::from(i);
            let jitter = if i == 12.0 { 14.0 } else { (i * 0.7).sin() };
            drop(1, 110.0 + 25.0 * i + jitter, "oil")
        })
        .collect();
    drops.push(drop(1, 333.0, "gas"));
    drops.push(drop(2, 200.0, "oil"));
    RunContents {
        summary: summary(run),
        calibration_toml: String::new(),
        feeds: [(1, "left cylinder"), (2, "")]
            .map(|(feed, name)| FeedRow {
                feed,
                name: name.to_owned(),
                glass_kind: "tube".to_owned(),
                band_per_minute: (2.0, 3.0),
                px_per_mm: None,
                outline: [100.0, 200.0, 60.0, 240.0, 0.0],
            })
            .to_vec(),
        drops,
        readings: (0..60)
            .map(|i| ReadingRow {
                feed: 1,
                at_secs: 100.0 + 10.0 * f64::from(i),
                wall_secs: 0.0,
                rate_per_minute: (i > 4).then_some((2.4, 2.0, 2.9)),
                scatter: Some(0.1),
                drops: Some(i64::from(i / 3)),
                state: "in band".to_owned(),
                doubts: String::new(),
            })
            .collect(),
        alarms: Vec::new(),
        marks: vec![MarkRow {
            feed: Some(1),
            at_secs: 300.0,
            wall_secs: 0.0,
            words: "valve 1 a quarter turn open".to_owned(),
            moved: None,
        }],
        blind: vec![SpellRow {
            feed: Some(1),
            from_secs: 262.0,
            to_secs: 270.0,
            wall_secs: 0.0,
            why: "covered".to_owned(),
        }],
        gaps: Vec::new(),
        clocks: Vec::new(),
        as_found: Vec::new(),
        calibrations: Vec::new(),
        taps: Vec::new(),
        hand_checks: Vec::new(),
    }
}

pub fn shelf() -> Shelf {
    let opened = [1, 2].map(|run| (run, Ok(Arc::new(contents(run)))));
    Shelf {
        runs: Runs::Found(Arc::new(vec![summary(1), summary(2)])),
        opened: opened.into(),
        ..Shelf::default()
    }
}

fn runs() -> Rig {
    let mut rig = Build::of(Scene::Trouble).rig();
    rig.behind.put_on_shelf(shelf());
    rig.harness.key_press(Key::F7);
    rig.harness.run();
    assert_eq!(rig.window().view(), View::Runs);
    rig
}

fn press(rig: &mut Rig, words: &str) {
    rig.harness.get_by_label(words).click();
    rig.harness.run();
}

fn says(rig: &Rig, part: &str) -> bool {
    rig.harness.query_all_by_label_contains(part).count() > 0
}

#[test]
fn intervals_leave_out_blind_spells_and_gas() {
    let run = contents(1);
    let drops = data::drops(&run, 1);
    assert_eq!(drops.len(), 20);
    assert_eq!(drops[0].interval_secs, None);
    let blind = drops
        .iter()
        .skip(1)
        .filter(|drop| drop.interval_secs.is_none())
        .count();
    assert_eq!(blind, 1, "the one across the spell");
    let (points, chart) = data::individuals(&drops);
    let chart = chart.unwrap();
    assert_eq!(points.len(), 18);
    assert!((chart.mean - 25.0).abs() < 1.0);
    assert!(chart.outside.len() >= 2, "the late drop and the one after");
    assert_eq!(data::nearest(&drops, 0.0), Some(0));
    assert_eq!(data::nearest(&drops, 1e6), Some(19));
    assert_eq!(data::nearest(&[], 1.0), None);
    assert!((data::mean_rate(&drops, &run).unwrap() - 2.0).abs() < 1e-9);
    // A hole in the readings is a hole in the line.
    let mut holed = run.clone();
    holed
        .readings
        .retain(|row| row.at_secs < 300.0 || row.at_secs > 400.0);
    let rates = data::rates(&holed, 1);
    assert!(
        rates
            .iter()
            .filter(|point| point.at_secs > 60.0)
            .any(|p| p.rate.is_none())
    );
}

#[test]
fn the_newest_run_is_open_and_the_pages_turn() {
    let mut rig = runs();
    assert!(rig.behind.requests().contains(&Request::List));
    assert!(says(&rig, "Run 2: invented 2"));
    press(&mut rig, words::get().runs_intervals);
    assert!(says(&rig, "18 intervals, mean 25"));
    press(&mut rig, "2");
    assert!(says(&rig, "0 intervals: too few"));
    press(&mut rig, "1 left cylinder");
    press(&mut rig, words::get().runs_drops);
    let row = words::drop_row(3, &data::drops(&contents(2), 1)[2]);
    press(&mut rig, &row);
    assert!(says(&rig, "Drop 3, "));
    assert!(says(&rig, "diameter 4.20 mm"));
    let wanted = rig.behind.requests().iter().any(|request| {
        matches!(
            request,
            Request::Picture(Bead {
                run: 2,
                feed: 1,
                ..
            })
        )
    });
    assert!(wanted, "its picture is asked for");
    press(&mut rig, words::get().runs_drop_after);
    assert!(says(&rig, "Drop 4, "));
    press(&mut rig, words::get().runs_drop_before);
    assert!(says(&rig, "Drop 3, "));
}

#[test]
fn a_press_on_the_chart_leads_to_the_bead() {
    let mut rig = runs();
    assert!(says(&rig, words::get().runs_press_chart));
    // The chart fills the middle of the page.
    click(&mut rig, 900.0, 300.0);
    assert!(!says(&rig, words::get().runs_press_chart));
    assert!(says(&rig, "Interval before it"));
    let bead = strip_wanted(&rig).unwrap();
    assert_eq!((bead.run, bead.feed), (2, 1));
    // None was kept.
    let mut shelf = shelf();
    shelf.strips.insert(bead, None);
    rig.behind.put_on_shelf(shelf.clone());
    rig.after(0.1);
    assert!(says(&rig, words::get().runs_no_strip));
    // One was kept.
    let strip = Kept {
        to_secs: f64::from_bits(bead.at_bits) + 6.0,
        secs: 12.0,
        picture: Arc::new(image::GrayImage::new(100, 40)),
    };
    shelf.strips.insert(bead, Some(Arc::new(strip)));
    rig.behind.put_on_shelf(shelf);
    rig.after(0.1);
    assert!(says(&rig, words::get().runs_strip_said));
}

fn click(rig: &mut Rig, x: f32, y: f32) {
    let at = eframe::egui::pos2(x, y);
    rig.harness.event(eframe::egui::Event::PointerMoved(at));
    for pressed in [true, false] {
        rig.harness.event(eframe::egui::Event::PointerButton {
            pos: at,
            button: eframe::egui::PointerButton::Primary,
            pressed,
            modifiers: eframe::egui::Modifiers::NONE,
        });
        rig.harness.run();
    }
}

/// The bead whose strip was asked for last.
fn strip_wanted(rig: &Rig) -> Option<Bead> {
    let requests = rig.behind.requests();
    requests.iter().rev().find_map(|request| match request {
        Request::Strip(bead) => Some(*bead),
        _ => None,
    })
}

#[test]
fn two_runs_stand_side_by_side() {
    let mut rig = runs();
    press(&mut rig, words::get().runs_beside);
    assert!(says(&rig, words::get().runs_choose_beside));
    let row = words::run_row(&summary(1));
    press(&mut rig, &row);
    assert!(says(&rig, "Run 1: invented 1") && says(&rig, "Run 2: invented 2"));
    assert!(says(&rig, "20 drops, 2.00 a minute"));
    // A press on either chart leads to a bead of its own run.
    for (x, run) in [(1100.0, 1), (600.0, 2)] {
        click(&mut rig, x, 330.0);
        assert_eq!(strip_wanted(&rig).unwrap().run, run);
        assert!(says(&rig, "Interval before it"));
    }
    press(&mut rig, words::get().runs_alone);
    assert!(!says(&rig, "Run 1: invented 1"));
}

#[test]
fn one_key_writes_the_report_and_opens_it() {
    let mut rig = runs();
    rig.harness.key_press(Key::P);
    rig.harness.run();
    assert!(rig.behind.requests().contains(&Request::Report(2)));
    assert!(says(&rig, "Writing the report of run 2"));
    rig.behind.put_on_shelf(Shelf {
        report: Some(Ok("/invented/run-2".to_owned())),
        reports: 1,
        ..shelf()
    });
    let mut opened = Vec::new();
    for _ in 0..3 {
        rig.harness.step();
        opened.extend(rig.harness.output().platform_output.commands.clone());
    }
    assert!(says(&rig, "Report: /invented/run-2"));
    let is_open = |command: &OutputCommand| matches!(command, OutputCommand::OpenUrl(open) if open.url == "file:///invented/run-2");
    assert_eq!(opened.iter().filter(|c| is_open(c)).count(), 1, "once");
    // What fails is said.
    rig.behind.put_on_shelf(Shelf {
        report: Some(Err("the disk is full; make room".to_owned())),
        reports: 2,
        ..shelf()
    });
    rig.after(0.1);
    assert!(says(&rig, "the disk is full; make room"));
}

#[test]
fn a_run_may_be_timed() {
    let mut rig = Build::of(Scene::Trouble).rig();
    rig.harness.key_press(Key::R);
    rig.harness.run();
    press(&mut rig, "15 min");
    press(&mut rig, words::get().start_the_run);
    let sent = rig.behind.sent();
    assert!(
        matches!(&sent[..], [Intent::StartRun { .. }, Intent::EndRunAfter { secs }] if *secs == 900.0),
        "{sent:?}"
    );
    assert!(says(&rig, "ends in 15 min 00 s"));
}

#[test]
fn an_empty_or_unreadable_logbook_is_told() {
    for (runs, told) in [
        (Runs::Found(Arc::default()), words::get().runs_none),
        (Runs::Reading, words::get().runs_reading),
        (
            Runs::Failed("it is damaged; mend it".to_owned()),
            "it is damaged; mend it",
        ),
    ] {
        let mut rig = Build::of(Scene::Trouble).rig();
        rig.behind.put_on_shelf(Shelf {
            runs,
            ..Shelf::default()
        });
        rig.harness.key_press(Key::F7);
        rig.harness.run();
        assert!(says(&rig, told));
    }
}
