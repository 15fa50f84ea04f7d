//! Tests of the watch over one glass: each sign, each spell, and what is none.

use super::*;

fn good(at_secs: f64) -> Signs {
    Signs {
        at_secs,
        mean: 120.0,
        gain: 1.0,
        surround_gain: 1.0,
        changed: 0.01,
        agreeing: 0.98,
        contrast: 1.0,
        shift_px: 0.2,
        identical: false,
        stirs: false,
        unsettled_since_secs: None,
    }
}

fn run(
    watch: &mut Watch,
    frames: std::ops::Range<u32>,
    signs: impl Fn(f64) -> Signs,
) -> Vec<Spell> {
    frames
        .flat_map(|f| watch.frame(&signs(f64::from(f) / 30.0)).0)
        .collect()
}

#[test]
fn a_good_picture_is_trusted() {
    let mut watch = Watch::new(HealthSettings::default());
    assert!(run(&mut watch, 0..300, good).is_empty());
    assert_eq!(watch.trust(), Trust::Clear);
}

#[test]
fn something_in_the_way_is_one_spell_that_begins_when_it_came() {
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..300, |t| Signs {
        changed: if (2.0..5.0).contains(&t) { 0.8 } else { 0.0 },
        ..good(t)
    });
    assert_eq!(spells.len(), 1);
    assert_eq!(spells[0].why, BlindWhy::Covered);
    assert!((spells[0].span.from_secs - 2.0).abs() < 0.04);
    assert!((spells[0].span.to_secs - 5.3).abs() < 0.08);
}

#[test]
fn a_flicker_of_two_frames_is_no_spell() {
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..300, |t| Signs {
        changed: if (2.0..2.07).contains(&t) { 0.4 } else { 0.0 },
        ..good(t)
    });
    assert!(spells.is_empty());
}

#[test]
fn a_frozen_picture_was_blind_from_its_last_change() {
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..400, |t| Signs {
        identical: (3.0..9.0).contains(&t),
        ..good(t)
    });
    assert_eq!(spells.len(), 1);
    assert_eq!(spells[0].why, BlindWhy::Frozen);
    assert!((spells[0].span.from_secs - 3.0).abs() < 0.05);
    assert!((spells[0].span.to_secs - 9.0).abs() < 0.05);
}

#[test]
fn a_gap_between_frames_is_a_spell_and_so_is_silence() {
    let mut watch = Watch::new(HealthSettings::default());
    watch.frame(&good(0.0));
    let (over, trust) = watch.frame(&good(1.0));
    assert_eq!(
        over[0].span,
        Span {
            from_secs: 0.0,
            to_secs: 1.0
        }
    );
    assert_eq!(trust, Trust::Clear);
    assert_eq!(watch.no_frame(1.2, BlindWhy::NoFrames), Trust::Clear);
    assert!(matches!(
        watch.no_frame(1.5, BlindWhy::NoFrames),
        Trust::Blind {
            since_secs: 1.0,
            ..
        }
    ));
    assert!(matches!(
        watch.no_frame(2.5, BlindWhy::CameraLost),
        Trust::Blind {
            why: BlindWhy::CameraLost,
            since_secs: 1.0
        }
    ));
    let (over, trust) = watch.frame(&good(4.0));
    assert_eq!(over.len(), 1);
    assert_eq!(
        over[0].span,
        Span {
            from_secs: 1.0,
            to_secs: 4.0
        }
    );
    assert_eq!(trust, Trust::Clear);
}

#[test]
fn pictures_too_few_for_a_bead_are_a_spell_of_their_own() {
    let mut watch = Watch::new(HealthSettings::default());
    watch.passed(0.66);
    let mut spells = Vec::new();
    // Every third is spoiled, and once four in a row are lost: no hole is long enough alone.
    for n in (0..900).filter(|n| n % 3 != 0 && !(300..304).contains(n)) {
        spells.extend(watch.frame(&good(f64::from(n) / 15.0)).0);
    }
    assert_eq!(spells.len(), 1, "{spells:?}");
    assert_eq!(spells[0].why, BlindWhy::NoFrames);
    let span = spells[0].span;
    assert!(span.from_secs < 20.0 && span.to_secs > 20.2, "{span:?}");
    assert!(span.secs() < 1.2, "{span:?}");
    assert_eq!(watch.trust(), Trust::Clear);
}

#[test]
fn a_flood_is_told_from_something_in_the_way() {
    let mut watch = Watch::new(HealthSettings::default());
    run(&mut watch, 0..300, |t| Signs {
        changed: if t > 2.0 { 0.9 } else { 0.0 },
        gain: if t > 2.0 { 0.6 } else { 1.0 },
        ..good(t)
    });
    assert!(matches!(
        watch.trust(),
        Trust::Blind {
            why: BlindWhy::Flooded,
            ..
        }
    ));
}

#[test]
fn steam_that_comes_and_goes_is_no_flood_though_the_glass_is_lit_otherwise() {
    let end_with = |stands: bool| {
        let mut watch = Watch::new(HealthSettings::default());
        run(&mut watch, 0..600, |t| {
            let cloud = if t < 2.0 {
                0.0
            } else if stands {
                0.5
            } else {
                0.5 - 0.5 * (2.1 * (t - 2.0)).cos() as f32
            };
            Signs {
                mean: 120.0 * (1.0 + 0.8 * cloud),
                gain: 1.0 + 0.8 * cloud,
                changed: if t < 2.0 { 0.0 } else { 0.5 },
                ..good(t)
            }
        });
        watch.trust()
    };
    let is = |trust: Trust, it: BlindWhy| matches!(trust, Trust::Blind { why, .. } if why == it);
    assert!(is(end_with(true), BlindWhy::Flooded));
    assert!(is(end_with(false), BlindWhy::Covered));
}

#[test]
fn a_flood_that_rises_and_drains_slowly_is_one_spell() {
    // The share that is far from rest wavers about the limit, falls when the light of all the
    // glass is taken for another lamp, and comes back on the way out.
    let level = |t: f64| match t {
        ..2.0 => 0.0,
        2.0..12.0 => (t - 2.0) / 10.0,
        12.0..20.0 => 1.0,
        _ => (1.0 - (t - 20.0) / 6.0).max(0.0),
    };
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..900, |t| {
        let oil = level(t) as f32;
        let waver = 0.02 * (t * 9.0).sin() as f32;
        let (gain, changed) = if oil > 0.8 {
            (0.24, 1.0 - oil)
        } else {
            (1.0, (0.6 * oil + waver).max(0.0))
        };
        Signs {
            gain,
            changed,
            ..good(t)
        }
    });
    assert_eq!(spells.len(), 1, "{spells:?}");
    let span = spells[0].span;
    assert_eq!(spells[0].why, BlindWhy::Flooded);
    // Covered from half full on; clear when a fifth is left.
    assert!((6.5..8.0).contains(&span.from_secs), "{span:?}");
    assert!((24.0..26.0).contains(&span.to_secs), "{span:?}");
}

#[test]
fn a_leap_of_light_is_told_however_well_it_is_evened_and_a_step_is_not() {
    let run_with = |mean: f32| {
        let mut watch = Watch::new(HealthSettings::default());
        run(&mut watch, 0..300, |t| Signs {
            mean: if t > 4.0 { mean } else { 120.0 },
            gain: if t > 4.0 { mean / 120.0 } else { 1.0 },
            surround_gain: if t > 4.0 { mean / 120.0 } else { 1.0 },
            changed: 0.0,
            ..good(t)
        })
    };
    let spells = run_with(18.0);
    assert_eq!(spells.len(), 1, "{spells:?}");
    assert_eq!(spells[0].why, BlindWhy::LightChanged);
    assert!(spells[0].span.to_secs - spells[0].span.from_secs < 0.5);
    assert!(run_with(60.0).is_empty());
}

#[test]
fn another_lamp_is_no_flood() {
    // Somebody stands in the way and turns the lamp down: glass and surround are darker alike.
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..600, |t| Signs {
        changed: if (2.0..9.0).contains(&t) { 0.9 } else { 0.02 },
        gain: if t > 4.0 { 0.5 } else { 1.0 },
        surround_gain: if t > 4.0 { 0.5 } else { 1.0 },
        ..good(t)
    });
    assert_eq!(spells.len(), 1);
    assert_eq!(spells[0].why, BlindWhy::Covered);
    assert!((spells[0].span.to_secs - 9.3).abs() < 0.08);
}

#[test]
fn a_flood_that_brightens_the_glass_is_told_and_a_lamp_beside_it_is_none() {
    let run_with = |surround: f32, changed: f32| {
        let mut watch = Watch::new(HealthSettings::default());
        run(&mut watch, 0..1200, |t| {
            let is_lit = (10.0..30.0).contains(&t);
            Signs {
                gain: if is_lit { 1.36 } else { 1.0 },
                surround_gain: if is_lit { surround } else { 1.0 },
                changed: if is_lit { changed } else { 0.01 },
                ..good(t)
            }
        })
    };
    let spells = run_with(1.0, 0.19);
    assert_eq!(spells.len(), 1, "{spells:?}");
    assert_eq!(spells[0].why, BlindWhy::Flooded);
    assert!((spells[0].span.from_secs - 10.0).abs() < 0.05);
    assert!((spells[0].span.to_secs - 30.3).abs() < 0.08);
    // A lamp that lights both, a lamp that lights the glass and leaves its picture as it is.
    assert!(run_with(1.36, 0.19).is_empty());
    assert!(run_with(1.0, 0.01).is_empty());
}

#[test]
fn a_card_behind_the_glass_blinds_for_ten_minutes_at_most() {
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..30_000, |t| Signs {
        gain: if t > 10.0 { 1.6 } else { 1.0 },
        changed: if t > 10.0 { 0.15 } else { 0.01 },
        ..good(t)
    });
    assert_eq!(spells.len(), 1, "{spells:?}");
    assert!((spells[0].span.secs() - 602.0).abs() < 0.2, "{spells:?}");
}

#[test]
fn a_scene_that_stays_another_is_taken_for_what_it_shows() {
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..600, |t| Signs {
        changed: match t {
            ..2.0 => 0.0,
            2.0..5.0 => 0.8,
            _ => 0.2,
        },
        ..good(t)
    });
    assert_eq!(spells.len(), 1);
    assert!((spells[0].span.to_secs - 7.0).abs() < 0.08, "{spells:?}");
}

/// Somebody who passes hides the texture round the glass; then the steadying follows his coat, and then
/// there is nothing to follow again. None of it lasts, and it is one event.
#[test]
fn somebody_who_hides_the_texture_and_leads_it_astray_is_one_spell() {
    let mut watch = Watch::new(HealthSettings::default());
    let spells = run(&mut watch, 0..300, |t| {
        let hidden = Signs {
            contrast: 0.06,
            ..good(t)
        };
        let astray = Signs {
            contrast: 0.06,
            shift_px: 11.0,
            ..good(t)
        };
        match ((t - 2.0) / 0.15) as i64 {
            _ if !(2.0..2.6).contains(&t) => good(t),
            0 | 2 => hidden,
            _ => astray,
        }
    });
    assert_eq!(spells.len(), 1);
    assert!((spells[0].span.from_secs - 2.0).abs() < 0.04);
    assert!((spells[0].span.to_secs - 2.9).abs() < 0.08);
}
