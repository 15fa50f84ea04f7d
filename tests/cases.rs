//! Every case of test-images taken down the whole road as a person's clip would be: read from its
//! folder, glasses found, beads counted, feeds judged; and compared with what the demo that drew it
//! says is true. With `BEADTALLY_DRAW_CASES=1` the frames are drawn anew first; else nothing is
//! written. Files that must be refused are left to `capture_bad.rs`.
#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

mod cases_files;

use std::path::Path;

use beadtally::base::BeadKind;
use beadtally::capture::clip;
use beadtally::glass::{Calibration, UprightBox};
use beadtally::run::tally::{GlassReport, TallyReport, TallySettings, tally};
use cases_files::{Case, Expected, ExpectedGlass, draw, draw_anew, folders, home, name, read};

/// A counted bead this close to a true one is that one, seconds.
const MATCH_SECS: f64 = 0.25;
/// What passes mid-glass in the last so many seconds has not risen far enough to be sure of: it is
/// neither missed nor false.
const END_SECS: f64 = 0.3;
/// Least common part of the found and the true box, of both together: a lit plate right behind a
/// tube may be taken for a part of it, which leaves about 0.8.
const LEAST_IOU: f64 = 0.75;
/// Farthest that the middle of a found glass lies from the true one, as a share of its width: with
/// this the middle half of the glass is where the beads are looked for.
const CENTRE_SHARE: f64 = 0.25;
/// How far a blind spell may reach beyond the time that truly shows nothing, seconds: a bead's
/// passage, which cannot be judged when a part of it is hidden.
const BLIND_SLACK_SECS: f64 = 0.8;
/// Least share of the time that truly shows nothing which must be told as blind.
const LEAST_BLIND_SHARE: f64 = 0.6;
/// Two drawings of the same words agree this well: a rounding apart, in seconds and pixels.
const SAME: f64 = 0.002;
/// Bytes that all cases together may take in the repository.
const MOST_BYTES: u64 = 20_000_000;

/// Draws the cases anew when that is asked for, once and before any test reads them.
fn cases() -> &'static [(String, std::path::PathBuf, Case)] {
    static CASES: std::sync::OnceLock<Vec<(String, std::path::PathBuf, Case)>> =
        std::sync::OnceLock::new();
    CASES.get_or_init(|| {
        let anew = std::env::var("BEADTALLY_DRAW_CASES").is_ok_and(|value| value == "1");
        let cases: Vec<_> = folders()
            .into_iter()
            .map(|folder| {
                let case: Case = read(&folder, "case.toml");
                if anew {
                    draw_anew(&folder, &case);
                }
                (name(&folder), folder, case)
            })
            .collect();
        assert!(!cases.is_empty(), "test-images holds no case");
        cases
    })
}

fn count(name: &str, folder: &Path, case: &Case) -> Result<TallyReport, String> {
    let calibration = case
        .calibration
        .as_ref()
        .map(|file| Calibration::read(&folder.join(file)).expect("a whole calibration"));
    let settings = TallySettings {
        clip: name.to_owned(),
        calibration,
        ..TallySettings::default()
    };
    let frames = folder.join("frames");
    tally(&mut || clip::open(&frames), &settings, &mut |_| {}).map_err(|e| e.to_string())
}

/// Everything that differs from the truth, a sentence each.
fn differences(case: &Case, expected: &Expected, report: &TallyReport) -> Vec<String> {
    let mut wrong = Vec::new();
    if let Some(damage) = &report.damaged {
        wrong.push(format!("not read to its end: {damage}"));
    }
    if report.glasses.len() != expected.glasses.len() {
        wrong.push(format!(
            "{} glasses found, there are {}",
            report.glasses.len(),
            expected.glasses.len()
        ));
        return wrong;
    }
    for (truth, found) in expected.glasses.iter().zip(&report.glasses) {
        let mut own = glass_differences(truth, found);
        own.extend(bead_differences(case, expected, truth, found));
        own.extend(blind_differences(expected, truth, report));
        if found.state != truth.state {
            own.push(format!(
                "is {}, not {}",
                found.state.words(),
                truth.state.words()
            ));
        }
        wrong.extend(
            own.iter()
                .map(|what| format!("feed {}: {what}", truth.feed)),
        );
    }
    wrong
}

fn glass_differences(truth: &ExpectedGlass, found: &GlassReport) -> Vec<String> {
    let mut wrong = Vec::new();
    if found.feed.0 != truth.feed || found.kind != truth.kind {
        wrong.push(format!(
            "found as feed {}, a {}; it is a {}",
            found.feed,
            found.kind.word(),
            truth.kind.word()
        ));
    }
    let [x, y, width, height] = truth.upright_box;
    let true_box = UprightBox {
        x,
        y,
        width,
        height,
    };
    let outline = &found.outline;
    let found_box = UprightBox {
        x: outline.x,
        y: outline.y,
        width: outline.width,
        height: outline.height,
    };
    let middle = |b: &UprightBox| (b.x + b.width / 2.0, b.y + b.height / 2.0);
    let ((true_x, true_y), (found_x, found_y)) = (middle(&true_box), middle(&found_box));
    let away_px = (true_x - found_x).hypot(true_y - found_y);
    let iou = true_box.iou(&found_box);
    println!(
        "    feed {}: {away_px:.1} px away, IoU {iou:.2}",
        truth.feed
    );
    if away_px > CENTRE_SHARE * width {
        wrong.push(format!("its middle is {away_px:.1} px away"));
    }
    if iou < LEAST_IOU {
        wrong.push(format!("found at {found_box:?}, IoU {iou:.2} only"));
    }
    wrong
}

/// Pairs times in order, as many as can be paired within [`MATCH_SECS`]; what is left of each.
fn unpaired(truth: &[f64], counted: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let (mut missed, mut wrong) = (Vec::new(), Vec::new());
    let (mut truth, mut counted) = (truth.iter().peekable(), counted.iter().peekable());
    loop {
        match (truth.peek(), counted.peek()) {
            (Some(a), Some(b)) if (*a - *b).abs() <= MATCH_SECS => {
                truth.next();
                counted.next();
            }
            (Some(a), Some(b)) if a < b => missed.extend(truth.next()),
            (_, Some(_)) => wrong.extend(counted.next()),
            (Some(_), None) => missed.extend(truth.next()),
            (None, None) => return (missed, wrong),
        }
    }
}

fn bead_differences(
    case: &Case,
    expected: &Expected,
    truth: &ExpectedGlass,
    found: &GlassReport,
) -> Vec<String> {
    let judged = |at_s: &f64| {
        *at_s < case.seconds - END_SECS
            && !expected
                .blind
                .iter()
                .any(|b| (b.from_s - MATCH_SECS..=b.to_s + MATCH_SECS).contains(at_s))
    };
    let true_times = |kind| -> Vec<f64> {
        let of_kind = truth.beads.iter().filter(|b| b.kind == kind);
        of_kind.map(|b| b.at_s).collect()
    };
    let counted = |kind| -> Vec<f64> {
        let of_kind = found.beads.iter().filter(|b| b.kind == kind);
        of_kind.map(|b| b.at_s).collect()
    };
    let mut wrong = Vec::new();
    let oil = unpaired(&true_times(BeadKind::Oil), &counted(BeadKind::Oil));
    for at_s in oil.0.iter().filter(|at| judged(at)) {
        wrong.push(format!("the oil bead of {at_s} s is missed"));
    }
    for at_s in oil.1.iter().filter(|at| judged(at)) {
        wrong.push(format!("no oil bead passes at {at_s} s"));
    }
    // Gas is told apart, but small bubbles need not be seen.
    let gas = unpaired(&true_times(BeadKind::Gas), &counted(BeadKind::Gas));
    for at_s in gas.1.iter().filter(|at| judged(at)) {
        wrong.push(format!("no gas bubble passes at {at_s} s"));
    }
    wrong
}

fn blind_differences(
    expected: &Expected,
    truth: &ExpectedGlass,
    report: &TallyReport,
) -> Vec<String> {
    let told: Vec<_> = report
        .blind
        .iter()
        .filter(|spell| spell.feed.is_none_or(|feed| feed.0 == truth.feed))
        .collect();
    let mut wrong = Vec::new();
    for spell in &told {
        let known = expected.blind.iter().any(|b| {
            spell.from_s >= b.from_s - BLIND_SLACK_SECS && spell.to_s <= b.to_s + BLIND_SLACK_SECS
        });
        if !known {
            wrong.push(format!(
                "told blind from {} s to {} s ({}), where all is seen",
                spell.from_s, spell.to_s, spell.why
            ));
        }
    }
    for b in expected.blind.iter().filter(|b| !b.may) {
        // The longest told spell counts: two that overlap must not add up.
        let common_secs = told
            .iter()
            .map(|spell| spell.to_s.min(b.to_s) - spell.from_s.max(b.from_s))
            .fold(0.0, f64::max);
        if common_secs < LEAST_BLIND_SHARE * (b.to_s - b.from_s) {
            wrong.push(format!(
                "blind from {} s to {} s, of which {common_secs:.2} s are told",
                b.from_s, b.to_s
            ));
        }
    }
    wrong
}

#[test]
fn every_case_is_counted_as_the_demo_knows_it() {
    let mut complaints = Vec::new();
    for (name, folder, case) in cases() {
        println!("{name}");
        let expected: Expected = read(folder, "expected.toml");
        let wrong = match count(name, folder, case) {
            Ok(report) => differences(case, &expected, &report),
            Err(refusal) => vec![refusal],
        };
        for what in &wrong {
            println!("    {what}");
        }
        match (case.known_failure, wrong.is_empty()) {
            (false, true) | (true, false) => {}
            (false, false) => complaints.push(format!("{name}: {}", wrong.join("; "))),
            (true, true) => complaints.push(format!(
                "{name}: is counted right now; take known_failure and why out of its case.toml"
            )),
        }
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}

#[test]
fn what_is_expected_is_the_demos_truth() {
    for (name, folder, case) in cases() {
        let written: Expected = read(folder, "expected.toml");
        let mut frames = 0;
        let drawn = draw(case, |_, _, _| frames += 1);
        let files = std::fs::read_dir(folder.join("frames"))
            .expect("frames")
            .count();
        assert_eq!(files, frames + 1, "{name}: pictures and frames.csv");
        let cure = format!(
            "{name}: expected.toml is not what its demo words draw; draw it anew with \
             BEADTALLY_DRAW_CASES=1"
        );
        assert_eq!(written.glasses.len(), drawn.glasses.len(), "{cure}");
        assert_eq!(written.blind.len(), drawn.blind.len(), "{cure}");
        for (a, b) in written.blind.iter().zip(&drawn.blind) {
            assert!((a.from_s - b.from_s).abs() <= SAME, "{cure}");
            assert!((a.to_s - b.to_s).abs() <= SAME, "{cure}");
        }
        for (a, b) in written.glasses.iter().zip(&drawn.glasses) {
            assert_eq!(
                (a.feed, a.kind, a.state),
                (b.feed, b.kind, b.state),
                "{cure}"
            );
            for (p, q) in a.upright_box.iter().zip(&b.upright_box) {
                assert!((p - q).abs() <= SAME, "{cure}");
            }
            assert_eq!(a.beads.len(), b.beads.len(), "{cure}");
            for (p, q) in a.beads.iter().zip(&b.beads) {
                assert_eq!(p.kind, q.kind, "{cure}");
                assert!((p.at_s - q.at_s).abs() <= SAME, "{cure}");
            }
        }
    }
}

#[test]
fn every_case_says_that_it_is_invented() {
    let list = std::fs::read_to_string(home().join("README.md")).expect("test-images/README.md");
    let mut bytes = 0;
    for (name, folder, case) in cases() {
        assert_eq!(case.origin, cases_files::ORIGIN, "{name}");
        assert!(!case.shows.trim().is_empty(), "{name} shows what?");
        assert_eq!(
            case.known_failure,
            case.why.is_some(),
            "{name}: a known failure says why, and only that does"
        );
        let line = list
            .lines()
            .find(|line| line.starts_with(&format!("| `{name}` |")))
            .unwrap_or_else(|| panic!("test-images/README.md has no line for {name}"));
        assert_eq!(
            line.contains("known failure"),
            case.known_failure,
            "test-images/README.md on {name}"
        );
        for entry in std::fs::read_dir(folder.join("frames")).expect("frames") {
            bytes += entry.expect("a file").metadata().expect("its size").len();
        }
    }
    println!("{bytes} bytes in all");
    assert!(bytes < MOST_BYTES, "{bytes} bytes in all: too many");
}

#[test]
fn a_wrong_count_is_noticed() {
    let (truth, counted) = ([1.0, 2.0, 3.0], [1.1, 2.9, 3.05]);
    assert_eq!(unpaired(&truth, &counted), (vec![2.0], vec![3.05]));
    assert_eq!(unpaired(&[], &[1.0]), (vec![], vec![1.0]));
    assert_eq!(unpaired(&[1.0], &[]), (vec![1.0], vec![]));
    let (name, folder, case) = cases()
        .iter()
        .find(|(name, ..)| name == "one-tube-backlit")
        .expect("the plainest case");
    let report = count(name, folder, case).expect("a report");
    let mut expected: Expected = read(folder, "expected.toml");
    assert!(differences(case, &expected, &report).is_empty());
    expected.glasses[0].upright_box[0] += 30.0;
    expected.glasses[0].beads.remove(0);
    expected.glasses[0].state = beadtally::judge::FeedState::InBand;
    let wrong = differences(case, &expected, &report);
    for word in ["middle", "IoU", "no oil bead", "not in band"] {
        assert!(wrong.iter().any(|w| w.contains(word)), "{word}: {wrong:?}");
    }
}
