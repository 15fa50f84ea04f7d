//! Tests of `explain`: what is no first bead of a restless glass.

use super::bore::Bore;
use super::clutter::Clutter;
use super::explain::{Explained, explain};
use super::known::Known;
use super::lane::Lane;
use super::track::tests::blob;
use super::track::{Path, Sighting};
use crate::base::GlassKind;

const SHAPE: (f32, f32) = (130.0, 40.0);

/// A glass in which two or three specks a frame were seen for ten seconds, at columns that are told; what
/// rises through the last frames of it is to be judged.
fn restless(col: impl Fn(u64) -> f32) -> Clutter {
    let mut clutter = Clutter::new(SHAPE);
    for frame in 1..=300 {
        let specks = (0..2 + frame % 2).map(|number| {
            let mut speck = blob(((37 * frame + 61 * number) % 130) as f32, col(frame));
            speck.weight = 60.0;
            speck
        });
        let specks: Vec<_> = specks.collect();
        clutter.learn(frame, specks.iter().map(|speck| (speck, false)));
    }
    clutter
}

fn all_over() -> Clutter {
    restless(|frame| (13 * frame % 40) as f32)
}

/// What rises in so many sightings, so wide.
fn rising(sightings: u64, width: f32) -> Path {
    let points = (0..sightings).map(|step| {
        let mut seen = blob(100.0 - 8.0 * step as f32, 20.0);
        (seen.weight, seen.width) = (60.0 + 30.0 * (step % 2) as f32, width);
        Sighting {
            at_secs: 9.5 + step as f64 / 30.0,
            frame: 285 + step,
            seen,
            shared: false,
        }
    });
    Path::of(points.collect())
}

/// A glass over which something drifts; a speck stands out of this grain by less than one spread, or of
/// that of [`FINE`] by six.
fn bore(kind: GlassKind, grain: f32, known: Known) -> Bore {
    Bore {
        rows: SHAPE.0,
        cols: SHAPE.1,
        axis: 19.5,
        kind,
        first_frame: 1,
        frames_per_s: 30.0,
        drift: true,
        lane: Lane::default(),
        cover: 1.0,
        grain,
        known,
    }
}

const COARSE: f32 = 2.0;
const FINE: f32 = 0.2;

/// Three beads like this one.
fn known(bead: &Explained) -> Known {
    let beads = [1.0, 4.0, 7.0].map(|at_secs| Explained {
        at_secs,
        ..bead.clone()
    });
    Known::of(beads.iter(), 9.8)
}

/// Ten sightings with a gap of ten frames in the middle, so many of them behind something.
fn hidden_for(frames: u64) -> Path {
    let points = (0..10).map(|step| {
        let step = if step < 5 { step } else { step + 10 };
        Sighting {
            at_secs: 9.0 + step as f64 / 30.0,
            frame: 270 + step,
            seen: blob(100.0 - 4.5 * step as f32, 20.0),
            shared: false,
        }
    });
    let mut path = Path::of(points.collect());
    path.hidden = frames;
    path
}

#[test]
fn frames_behind_something_are_no_gap_in_what_stands_out() {
    let told = |path: &Path, grain| {
        let bore = Bore {
            drift: false,
            ..bore(GlassKind::Tube, grain, Known::of([].into_iter(), 0.0))
        };
        explain(path, &bore, &all_over()).map(|bead| bead.cover)
    };
    assert_eq!(told(&hidden_for(0), FINE), None);
    assert_eq!(told(&hidden_for(10), FINE), Some(1.0));
    // It stands out by less than three spreads: a speck, with another where it should come out.
    assert_eq!(told(&hidden_for(10), 4.0), None);
}

#[test]
fn what_hardly_stands_out_is_no_first_bead() {
    let clutter = all_over();
    let path = rising(9, 10.0);
    for kind in [GlassKind::Tube, GlassKind::Port] {
        let unknown = |grain| bore(kind, grain, Known::default());
        let told = explain(&path, &unknown(FINE), &clutter).expect("it stands out");
        assert!(explain(&path, &unknown(COARSE), &clutter).is_none());
        // Once beads are known, one more is believed.
        let known = bore(kind, COARSE, known(&told));
        assert!(explain(&path, &known, &clutter).is_some());
    }
}

#[test]
fn pieces_of_a_streak_need_more_to_be_a_first_bead_of_a_tube() {
    let streak = restless(|frame| 19.0 + (frame % 3) as f32);
    let surplus = |kind, clutter: &Clutter| {
        let unknown = bore(kind, COARSE, Known::default());
        let told = explain(&rising(12, 10.0), &unknown, clutter);
        told.map_or(-100.0, |bead| bead.surplus)
    };
    let clutter = all_over();
    assert!(surplus(GlassKind::Tube, &clutter) > surplus(GlassKind::Tube, &streak) + 5.0);
    // A mirror in a flat window is no streak.
    let flat = surplus(GlassKind::Port, &clutter);
    assert!(flat > 0.0 && (flat - surplus(GlassKind::Port, &streak)).abs() < 3.0);
}

#[test]
fn a_slender_thing_needs_more_to_be_a_first_bead_of_a_tube() {
    let clutter = all_over();
    let surplus = |width| {
        let unknown = bore(GlassKind::Tube, COARSE, Known::default());
        explain(&rising(12, width), &unknown, &clutter).map_or(-100.0, |bead| bead.surplus)
    };
    assert!(surplus(10.0) > 0.0 && surplus(10.0) > surplus(5.0) + 2.0);
}

#[test]
fn what_flashes_up_or_turns_from_dark_to_bright_needs_more_to_be_a_first_bead() {
    let clutter = all_over();
    let surplus = |levels: [f32; 9], strengths: [f32; 9], known: Known| {
        let mut path = rising(9, 10.0);
        for ((point, level), strength) in path.points.iter_mut().zip(levels).zip(strengths) {
            (point.seen.level, point.seen.weight) = (level, strength);
        }
        let told = explain(&path, &bore(GlassKind::Tube, FINE, known), &clutter);
        told.expect("a strong thing")
    };
    let dark = [-10.0; 9];
    let steady = [
        700.0, 1500.0, 900.0, 1500.0, 1800.0, 2400.0, 1200.0, 1500.0, 600.0,
    ];
    let lamp = [
        120.0, 700.0, 370.0, 1500.0, 2900.0, 9400.0, 9400.0, 6300.0, 370.0,
    ];
    let turns = [-5.0, -5.0, -5.0, -5.0, -3.0, 2.0, 2.0, 2.0, 2.0];
    let beads = known(&surplus(dark, steady, Known::default()));
    let costs = |levels, strengths| {
        let first = surplus(levels, strengths, Known::default()).surplus;
        surplus(levels, strengths, beads).surplus - first
    };
    assert_eq!(costs(dark, steady), 0.0);
    assert!(costs(dark, lamp) > 5.0);
    assert!(costs(turns, steady) > 5.0);
}

#[test]
fn what_is_only_like_the_others_must_have_been_seen_below_the_middle() {
    let clutter = all_over();
    let mut usual = rising(9, 10.0);
    for point in &mut usual.points {
        point.seen.weight = 75.0;
    }
    let unknown = bore(GlassKind::Port, FINE, Known::default());
    let told = explain(&usual, &unknown, &clutter).expect("it stands out");
    let known = bore(GlassKind::Port, FINE, known(&told));
    let from = |row: f32| {
        let mut path = rising(5, 10.0);
        for point in &mut path.points {
            point.seen.row += row - 100.0;
        }
        explain(&path, &known, &clutter)
    };
    assert!(from(70.0).is_some_and(|bead| bead.surplus < 0.0));
    assert!(from(60.0).is_none());
}

/// A port of a camera of 15 frames a second, in which nothing else is; a bead in it stands out by 30 grey
/// levels.
fn clear(known: Known) -> Bore {
    Bore {
        rows: 60.0,
        cols: 60.0,
        axis: 29.5,
        frames_per_s: 15.0,
        drift: false,
        ..bore(GlassKind::Port, COARSE, known)
    }
}

/// A large bead at these rows, from frame to frame of that camera, so strong each time.
fn brief(seen: &[(f32, f32)]) -> Path {
    let points = seen.iter().enumerate().map(|(step, (row, strength))| {
        let mut seen = blob(*row, 29.5);
        (seen.weight, seen.level) = (*strength, -30.0);
        (seen.height, seen.width) = (11.0, 11.0);
        (seen.top, seen.bottom) = (row - 5.5, row + 5.5);
        Sighting {
            at_secs: 9.5 + step as f64 / 15.0,
            frame: 285 + step as u64,
            seen,
            shared: false,
        }
    });
    Path::of(points.collect())
}

fn calm() -> Clutter {
    let mut clutter = Clutter::new((60.0, 60.0));
    for frame in 1..=300 {
        clutter.learn(frame, std::iter::empty());
    }
    clutter
}

const WHOLE: f32 = 2850.0;

#[test]
fn a_clear_bead_of_three_sightings_is_believed_though_one_is_merged_with_the_nozzle() {
    let clutter = calm();
    let unknown = clear(Known::default());
    for merged in [WHOLE, 1200.0] {
        let path = brief(&[(34.0, merged), (23.0, WHOLE), (12.0, WHOLE)]);
        let bead = explain(&path, &unknown, &clutter).expect("a bead");
        assert!(bead.surplus > 0.0, "{}", bead.surplus);
    }
    // So high and slender a thing is none.
    let mut streak = brief(&[(34.0, 1200.0), (23.0, WHOLE), (12.0, WHOLE)]);
    for point in &mut streak.points {
        (point.seen.height, point.seen.width) = (17.0, 7.0);
    }
    assert!(explain(&streak, &unknown, &clutter).is_none());
}

#[test]
fn two_sightings_are_enough_where_beads_are_clear_and_known() {
    let clutter = calm();
    let path = brief(&[(34.0, WHOLE), (23.0, WHOLE), (12.0, WHOLE)]);
    let told = explain(&path, &clear(Known::default()), &clutter).expect("a bead");
    let known = known(&told);
    let twice = brief(&[(30.0, WHOLE), (19.0, WHOLE)]);
    assert!(explain(&twice, &clear(Known::default()), &clutter).is_none());
    assert!(explain(&twice, &clear(known), &clutter).is_some());
    let restless = Bore {
        drift: true,
        ..clear(known)
    };
    assert!(explain(&twice, &restless, &clutter).is_none());
    // Not half so high, or not clear.
    let mut small = twice.clone();
    for point in &mut small.points {
        (point.seen.height, point.seen.width) = (4.0, 4.0);
        point.seen.weight = 400.0;
    }
    assert!(explain(&small, &clear(known), &clutter).is_none());
    let coarse = Bore {
        grain: 4.0,
        ..clear(known)
    };
    assert!(explain(&twice, &coarse, &clutter).is_none());
}

#[test]
fn a_clear_bead_that_is_alone_is_not_part_of_what_stirs_the_glass() {
    let clutter = calm();
    let stirred = Bore {
        drift: true,
        ..clear(Known::default())
    };
    let mut path = brief(&[(34.0, WHOLE), (23.0, WHOLE), (12.0, WHOLE)]);
    let calmly = explain(&path, &clear(Known::default()), &clutter).expect("a bead");
    let bead = explain(&path, &stirred, &clutter).expect("a bead");
    assert_eq!(bead.surplus, calmly.surplus);
    // A band of light as strong is none.
    for point in &mut path.points {
        (point.seen.height, point.seen.width) = (6.0, 20.0);
    }
    assert!(explain(&path, &stirred, &clutter).is_none());
    // Nor is it alone with others of its strength.
    let mut restless = calm();
    for frame in 301..=330 {
        let other = [(10.0, 50.0), (50.0, 10.0)].map(|(row, col)| {
            let mut other = blob(row, col);
            other.weight = WHOLE;
            other
        });
        restless.learn(frame, other.iter().map(|other| (other, false)));
    }
    let mut later = brief(&[(34.0, WHOLE), (23.0, WHOLE), (12.0, WHOLE)]);
    for point in &mut later.points {
        point.frame += 30;
    }
    assert!(explain(&later, &stirred, &restless).is_none());
}

#[test]
fn a_flat_thing_needs_more_to_be_a_bead() {
    let clutter = calm();
    let surplus = |width: f32| {
        let mut path = brief(&[46.0, 40.0, 34.0, 28.0, 22.0, 16.0].map(|row| (row, WHOLE)));
        for point in &mut path.points {
            (point.seen.height, point.seen.width) = (8.0, width);
        }
        let told = explain(&path, &clear(Known::default()), &clutter);
        told.map_or(-100.0, |bead| bead.surplus)
    };
    assert!(surplus(8.0) > 0.0 && surplus(12.0) > surplus(24.0) + 10.0);
}

#[test]
fn a_strong_streak_or_one_of_a_crowd_is_no_first_bead_of_a_tube() {
    // Of a grain so fine that nothing is faint.
    let surplus = |clutter: &Clutter, width: f32, strength: f32| {
        let mut path = rising(12, width);
        for point in &mut path.points {
            (point.seen.weight, point.seen.level) = (strength, -20.0);
        }
        let unknown = bore(GlassKind::Tube, FINE, Known::default());
        let told = explain(&path, &unknown, clutter);
        told.map_or(-100.0, |bead| bead.surplus)
    };
    let clutter = all_over();
    // Nothing else is so strong: half of a bead and a slender streak.
    assert!(surplus(&clutter, 6.0, 900.0) > surplus(&clutter, 3.0, 900.0) + 12.0);
    // As strong as two or three specks in its own columns, and as those of a glass full of them.
    let streak = restless(|frame| 19.0 + (frame % 3) as f32);
    assert!(surplus(&clutter, 10.0, 75.0) > surplus(&streak, 10.0, 75.0) + 5.0);
}

#[test]
fn what_is_slender_needs_more_in_a_restless_glass_though_it_rises_as_fast_as_gas() {
    let clutter = all_over();
    let surplus = |width: f32| {
        let mut path = rising(12, width);
        for point in &mut path.points {
            (point.seen.weight, point.seen.height) = (75.0, 5.0);
        }
        let unknown = Bore {
            drift: false,
            ..bore(GlassKind::Port, FINE, Known::default())
        };
        let told = explain(&path, &unknown, &clutter);
        told.map(|bead| (bead.is_slow(), bead.surplus))
    };
    let (is_slow, wide) = surplus(2.4).expect("it stands out");
    assert!(!is_slow);
    assert!(surplus(1.2).is_none_or(|(_, slender)| slender < wide - 8.0));
}
