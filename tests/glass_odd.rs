//! The finder on pictures that show no lubricator, still and with other things that move: it must
//! find no glass, and say so.
//!
//! `GLASS_ODD=20 cargo test --release --test glass_odd -- --nocapture` widens it to that many seeds of
//! each kind; `GLASS_ODD_FROM=N` begins with seed N; `GLASS_PICTURES=DIR` keeps a picture of each that
//! went wrong.

mod glass_draw;

use std::path::Path;

use beadtally::base::Frame;
use beadtally::glass::Finder;
use glass_draw::cases::FRAMES_A_SECOND;
use glass_draw::score::keep;
use glass_draw::trouble::troubled;
use glass_draw::{Dice, number_from, odd};
use image::GrayImage;

/// All kinds of odd pictures.
fn kinds() -> Vec<&'static str> {
    odd::KINDS
        .iter()
        .chain(&odd::MORE_KINDS)
        .chain(&odd::THINGS)
        .copied()
        .collect()
}

/// Seeds of a sweep: those asked for, or so many.
fn seeds(usual: u64) -> std::ops::Range<u64> {
    let from = number_from("GLASS_ODD_FROM").unwrap_or(0);
    from..from + number_from("GLASS_ODD").unwrap_or(usual)
}

/// Looks at pictures; what was found, when anything was.
fn looked_at(name: &str, frames: &mut dyn Iterator<Item = (f64, GrayImage)>) -> Option<String> {
    let mut finder: Option<Finder> = None;
    let mut last = GrayImage::default();
    for (number, (at_secs, luma)) in frames.enumerate() {
        let finder = finder.get_or_insert_with(|| Finder::new(luma.width(), luma.height()));
        finder.look(&Frame::new(number as u64, at_secs, luma.clone()));
        last = luma;
    }
    let found = finder?.found();
    if found.glasses.is_empty() {
        let said = found.doubts.join(" ");
        assert!(said.starts_with("no glass found: "), "{name}: {said}");
        return None;
    }
    if let Ok(dir) = std::env::var("GLASS_PICTURES") {
        keep(
            Path::new(&dir),
            &format!("odd-{name}.png"),
            &last,
            &[],
            &found,
        );
    }
    Some(format!("{name} ({})", found.glasses.len()))
}

#[test]
fn no_glass_is_found_where_none_is() {
    let (mut wrong, mut count) = (Vec::new(), 0);
    for (index, kind) in kinds().iter().enumerate() {
        for seed in seeds(2) {
            let size = if seed % 3 == 2 && number_from("GLASS_ODD").is_some() {
                (1280, 720)
            } else {
                (640, 480)
            };
            let luma = odd::draw_odd(kind, seed + 7000 + 1000 * index as u64, size);
            count += 1;
            wrong.extend(looked_at(
                &format!("{kind} {seed}"),
                &mut std::iter::once((0.0, luma)),
            ));
        }
    }
    println!(
        "{} of {count} odd pictures hold a glass: {wrong:?}",
        wrong.len()
    );
    assert!(wrong.len() * 100 <= count, "{wrong:?}");
}

#[test]
fn what_moves_but_is_no_bead_makes_no_glass() {
    let kinds = kinds();
    let (mut wrong, mut count) = (Vec::new(), 0);
    for (index, moves) in odd::MOVES.iter().enumerate() {
        for seed in seeds(1) {
            let number = seed + 90_000 + 1000 * index as u64;
            let kind = kinds[(5 * seed as usize + 11 * index) % kinds.len()];
            let still = odd::draw_odd(kind, number, (640, 480));
            let mut dice = Dice(number);
            let shake = if dice.chance(0.5) {
                dice.between(0.1, 3.0)
            } else {
                0.0
            };
            let frames = (0..75_u64).map(|frame| {
                let at_secs = frame as f64 / FRAMES_A_SECOND;
                let shaken = troubled(&still, (shake, 0.05), at_secs);
                let mut seen = odd::moved(moves, &shaken, number, at_secs);
                for pixel in seen.pixels_mut() {
                    let noisy = f64::from(pixel[0]) + 1.5 * dice.grain();
                    pixel[0] = noisy.round().clamp(0.0, 255.0) as u8;
                }
                (at_secs, seen)
            });
            count += 1;
            wrong.extend(looked_at(&format!("{moves} before {kind} {seed}"), &mut {
                frames
            }));
        }
    }
    println!(
        "{} of {count} odd films hold a glass: {wrong:?}",
        wrong.len()
    );
    // Known: a lamp that swings before pipes, 1 of 9 films here and of 45 in a wide sweep.
    assert!(wrong.len() * 8 <= count, "{wrong:?}");
}
