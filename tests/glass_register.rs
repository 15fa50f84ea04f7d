//! Finding an old picture again in a new one: the demo knocked by known shift, turn and scale in all
//! lights, faded, noisy, hidden in part; and pictures that show something else, which must be
//! refused.
//!
//! `GLASS_BENCH=60 cargo test --test glass_register -- --nocapture` widens the bench to that many
//! knocks and prints its table.

#![expect(clippy::expect_used, reason = "a test may stop at a surprise")]

mod glass_draw;
mod true_outlines;

use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source};
use beadtally::glass::register::Certainty;
use beadtally::glass::{Outline, register, register::follow};
use glass_draw::{Dice, odd};
use image::{GrayImage, Luma};

/// Frames of a demo at these times, and the true outlines before the first and after the last.
fn demo(words: &str, times_secs: &[f64]) -> (Vec<GrayImage>, Vec<Outline>, Vec<Outline>) {
    let mut source = DemoSource::from_words(words).expect("the words of a demo");
    let before = outlines(&source);
    let mut frames = Vec::new();
    while frames.len() < times_secs.len() {
        if let Grab::Frame(frame) = source.next().expect("a demo does not fail")
            && frame.at_secs >= times_secs[frames.len()]
        {
            frames.push((*frame.luma).clone());
        }
    }
    (frames, before, outlines(&source))
}

fn outlines(source: &DemoSource) -> Vec<Outline> {
    source
        .glasses()
        .iter()
        .map(true_outlines::outline)
        .collect()
}

/// A move of the camera: shift in pixels, clockwise turn, scale; about the middle of the picture.
#[derive(Clone, Copy, Debug)]
struct Move {
    dx: f64,
    dy: f64,
    turn_deg: f64,
    scale: f64,
}

impl Move {
    fn any(dice: &mut Dice) -> Self {
        Self {
            dx: dice.between(-60.0, 60.0),
            dy: dice.between(-60.0, 60.0),
            turn_deg: dice.between(-5.0, 5.0),
            scale: dice.between(0.9, 1.1),
        }
    }

    fn outline(&self, outline: &Outline, (width, height): (u32, u32)) -> Outline {
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        let (cx, cy) = (f64::from(width) / 2.0, f64::from(height) / 2.0);
        let (u, v) = (outline.centre_x_px - cx, outline.centre_y_px - cy);
        Outline {
            kind: outline.kind,
            centre_x_px: cx + self.dx + self.scale * (u * cos - v * sin),
            centre_y_px: cy + self.dy + self.scale * (u * sin + v * cos),
            width_px: outline.width_px * self.scale,
            height_px: outline.height_px * self.scale,
            angle_deg: outline.angle_deg + self.turn_deg,
        }
    }

    /// The picture as the moved camera sees it, under another light and with fresh noise.
    fn picture(&self, from: &GrayImage, gain: f64, offset: f64, dice: &mut Dice) -> GrayImage {
        let (width, height) = (f64::from(from.width()), f64::from(from.height()));
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        GrayImage::from_fn(from.width(), from.height(), |x, y| {
            let u = f64::from(x) + 0.5 - width / 2.0 - self.dx;
            let v = f64::from(y) + 0.5 - height / 2.0 - self.dy;
            let (a, b) = (
                (u * cos + v * sin) / self.scale + width / 2.0 - 0.5,
                (v * cos - u * sin) / self.scale + height / 2.0 - 0.5,
            );
            let (a, b) = (a.clamp(0.0, width - 1.001), b.clamp(0.0, height - 1.001));
            let (i, j) = (a as u32, b as u32);
            let (fx, fy) = (a - f64::from(i), b - f64::from(j));
            let at = |i: u32, j: u32| f64::from(from.get_pixel(i, j).0[0]);
            let upper = at(i, j) * (1.0 - fx) + at(i + 1, j) * fx;
            let lower = at(i, j + 1) * (1.0 - fx) + at(i + 1, j + 1) * fx;
            let value = upper * (1.0 - fy) + lower * fy;
            let seen = gain * value + offset + 2.0 * dice.normal();
            Luma([seen.round().clamp(0.0, 255.0) as u8])
        })
    }
}

/// Greatest distance between the corners of two outlines, pixels.
fn apart(a: &Outline, b: &Outline) -> f64 {
    a.corners()
        .iter()
        .zip(b.corners())
        .map(|(p, q)| (p.0 - q.0).hypot(p.1 - q.1))
        .fold(0.0, f64::max)
}

#[test]
fn a_moved_camera_is_followed_in_every_light() {
    let knocks: u64 = std::env::var("GLASS_BENCH")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(12);
    let mut dice = Dice(5);
    let (mut glasses, mut outside, mut errors) = (0, 0, Vec::new());
    for knock in 0..knocks {
        let light = ["backlit", "card", "front"][(knock % 3) as usize];
        let kind = if knock % 4 == 3 { "port" } else { "tube" };
        let contrast = if knock % 5 == 4 {
            ",fault=contrast 0.2"
        } else {
            ""
        };
        let words = format!(
            "kind={kind},light={light},feeds={},size=640x480,rates=60,seed={knock},roll={:.1},\
             turn={:.1},noise={}{contrast}",
            1 + knock * 5 % 8,
            dice.between(-12.0, 12.0),
            dice.between(-15.0, 15.0),
            1 + 3 * (knock % 2),
        );
        // The beads stand elsewhere by then.
        let (frames, outlines, _) = demo(&words, &[0.1, 0.6]);
        let moved = Move::any(&mut dice);
        let (gain, offset) = (dice.between(0.75, 1.25), dice.between(-10.0, 10.0));
        let after = moved.picture(&frames[1], gain, offset, &mut dice);
        let found = register(&frames[0], &after, &outlines)
            .unwrap_or_else(|| panic!("not found again: {words} {moved:?}"));
        for (glass, outline) in found.glasses.iter().zip(&outlines) {
            glasses += 1;
            match glass.sure {
                Certainty::Sure => {
                    let off = apart(&glass.outline, &moved.outline(outline, (640, 480)));
                    assert!(off < 3.0, "{off} px off: {words} {moved:?}");
                    errors.push(off);
                }
                Certainty::Outside => outside += 1,
                Certainty::Hidden => panic!("called hidden: {words} {moved:?}"),
            }
        }
    }
    errors.sort_by(f64::total_cmp);
    println!(
        "{knocks} knocks, {glasses} glasses, {outside} out of the picture; corners off by {:.2} px \
         (median), {:.2} px (worst)",
        errors[errors.len() / 2],
        errors[errors.len() - 1]
    );
    assert!(errors[errors.len() / 2] < 0.6);
    assert!(outside * 4 < glasses);
}

#[test]
fn a_knock_drawn_anew_is_followed() {
    for (kind, light, feeds, px) in [
        ("tube", "backlit", 3, 40),
        ("tube", "card", 8, 25),
        ("tube", "front", 2, 60),
        ("port", "backlit", 4, 30),
    ] {
        let words = format!(
            "kind={kind},light={light},feeds={feeds},size=640x480,seed=3,fault=knock {px} @0.5-99"
        );
        let (frames, before, truth) = demo(&words, &[0.2, 0.8]);
        let found = register(&frames[0], &frames[1], &before).expect("the same lubricator");
        for (glass, truth) in found.glasses.iter().zip(&truth) {
            if glass.sure == Certainty::Sure {
                let off = apart(&glass.outline, truth);
                assert!(off < 2.5, "{words}: {off} px");
            } else {
                let b = truth.upright_box();
                assert!(
                    b.x < 0.0 || b.y < 0.0 || b.x + b.width > 640.0 || b.y + b.height > 480.0,
                    "{words}: {glass:?}"
                );
            }
        }
    }
}

#[test]
fn a_picture_of_something_else_is_refused() {
    let (frames, before, _) = demo("feeds=3,light=card,size=640x480,seed=2", &[0.2]);
    for (index, kind) in odd::KINDS.iter().enumerate() {
        let other = odd::draw_odd(kind, index as u64, (640, 480));
        assert_eq!(register(&frames[0], &other, &before), None, "{kind}");
    }
    for words in [
        "feeds=3,light=card,size=640x480,seed=40,glass_mm=40,outside_mm=14,bore_mm=10,turn=12",
        "feeds=5,light=backlit,size=640x480,seed=41",
        "feeds=2,kind=port,light=card,size=640x480,seed=42",
    ] {
        let (other, _, _) = demo(words, &[0.2]);
        assert_eq!(register(&frames[0], &other[0], &before), None, "{words}");
    }
    for dull in [0, 90, 255] {
        let blank = GrayImage::from_pixel(640, 480, Luma([dull]));
        assert_eq!(register(&frames[0], &blank, &before), None);
        assert_eq!(register(&blank, &frames[0], &before), None);
    }
    let small = GrayImage::new(320, 240);
    assert_eq!(register(&frames[0], &small, &before), None);
    assert_eq!(register(&small, &small, &before), None);
    let none = GrayImage::new(0, 0);
    assert_eq!(register(&none, &none, &before), None);
}

#[test]
fn a_glass_behind_somebody_is_called_hidden_and_the_others_are_followed() {
    let (frames, outlines, _) = demo("feeds=4,light=backlit,size=640x480,seed=6", &[0.2]);
    let moved = Move {
        dx: 14.0,
        dy: -9.0,
        turn_deg: 1.5,
        scale: 1.02,
    };
    let mut after = moved.picture(&frames[0], 1.0, 0.0, &mut Dice(1));
    let hidden = moved.outline(&outlines[3], (640, 480)).upright_box();
    for (x, _, pixel) in after.enumerate_pixels_mut() {
        if f64::from(x) > hidden.x - 20.0 {
            *pixel = Luma([60 + (x % 5) as u8]);
        }
    }
    let found = register(&frames[0], &after, &outlines).expect("three glasses are seen");
    let sure: Vec<Certainty> = found.glasses.iter().map(|g| g.sure).collect();
    assert_eq!(sure[..3], [Certainty::Sure; 3], "{found:?}");
    assert_eq!(sure[3], Certainty::Hidden, "{found:?}");
}

#[test]
fn nothing_moved_moves_nothing() {
    let (frames, outlines, _) = demo("feeds=3,light=front,size=640x480,seed=8", &[0.1, 0.5]);
    let found = register(&frames[0], &frames[1], &outlines).expect("the same picture");
    for (glass, outline) in found.glasses.iter().zip(&outlines) {
        assert!(apart(&glass.outline, outline) < 0.5, "{glass:?}");
    }
    assert!((found.scale - 1.0).abs() < 0.002 && found.turn_deg.abs() < 0.1);
    assert!(found.agreeing > 0.9);
}

#[test]
fn a_slow_zoom_and_sag_are_followed_glass_by_glass() {
    let (frames, outlines, _) = demo("feeds=3,light=card,size=640x480,seed=9", &[0.1, 0.5]);
    let mut dice = Dice(3);
    let moved = Move {
        dx: 1.5,
        dy: 3.0,
        turn_deg: 0.3,
        scale: 1.012,
    };
    let after = moved.picture(&frames[1], 0.9, 4.0, &mut dice);
    let starts: Vec<(f64, f64)> = outlines
        .iter()
        .map(|outline| {
            let there = moved.outline(outline, (640, 480));
            (
                there.centre_x_px - outline.centre_x_px + dice.between(-2.0, 2.0),
                there.centre_y_px - outline.centre_y_px + dice.between(-2.0, 2.0),
            )
        })
        .collect();
    let found = follow(&frames[0], &after, &outlines, &starts);
    assert_eq!(found.len(), 3);
    for (glass, outline) in found.iter().zip(&outlines) {
        assert_eq!(glass.sure, Certainty::Sure, "{glass:?}");
        let off = apart(&glass.outline, &moved.outline(outline, (640, 480)));
        assert!(off < 0.6, "{off} px: {glass:?}");
    }
    let other = odd::draw_odd("bricks", 1, (640, 480));
    for glass in follow(&frames[0], &other, &outlines, &starts) {
        assert_ne!(glass.sure, Certainty::Sure, "{glass:?}");
    }
}
