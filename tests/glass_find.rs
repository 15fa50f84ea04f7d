//! Finding glasses in still pictures drawn by a ray tracer that shares nothing with the finder or
//! the demo, and finding none where there are none. Every scene is invented.

mod glass_draw;

use beadtally::base::{Frame, GlassKind};
use beadtally::glass::{Finder, Outline};
use glass_draw::odd::{KINDS, draw_odd};
use glass_draw::{Light, Scene, TrueGlass, draw};
use image::GrayImage;

fn find(luma: GrayImage) -> Vec<Outline> {
    let mut finder = Finder::new(luma.width(), luma.height());
    finder.look(&Frame::new(0, 0.0, luma));
    finder.found().glasses.iter().map(|g| g.outline).collect()
}

fn truth(glass: &TrueGlass) -> Outline {
    Outline {
        kind: if glass.tube {
            GlassKind::Tube
        } else {
            GlassKind::Port
        },
        centre_x_px: glass.x,
        centre_y_px: glass.y,
        width_px: glass.width,
        height_px: glass.height,
        angle_deg: glass.angle_deg,
    }
}

#[test]
fn most_glasses_are_found_in_a_still_picture() {
    let (mut all, mut found, mut invented) = (0, 0, 0);
    for seed in 0..8_u64 {
        let light = [Light::Backlit, Light::Card, Light::Front][(seed % 3) as usize];
        let tubes = seed % 4 != 3;
        let count = 1 + (seed % 3) as usize;
        let picture = draw(&Scene::invented(seed, light, tubes, count, (640, 480)));
        let mut seen = find(picture.luma.clone());
        for glass in &picture.glasses {
            all += 1;
            let wanted = truth(glass).upright_box();
            let near = seen.iter().position(|o| o.upright_box().iou(&wanted) > 0.5);
            if let Some(near) = near {
                seen.remove(near);
                found += 1;
            }
        }
        invented += seen.len();
        println!("{seed} {light:?} tubes {tubes}: {found} of {all}, {invented} that are not there");
    }
    assert!(found * 4 >= all * 3, "only {found} of {all} found");
    assert!(
        invented * 8 <= all,
        "{invented} found that are not there, of {all}"
    );
}

#[test]
fn nothing_is_found_where_no_lubricator_is() {
    let mut wrong = Vec::new();
    for kind in KINDS {
        let glasses = find(draw_odd(kind, 7, (480, 360)));
        if !glasses.is_empty() {
            wrong.push((kind, glasses.len()));
        }
    }
    println!("{wrong:?} of {}", KINDS.len());
    // A clock face with a hand that hangs straight down looks like a port with its nozzle. More
    // than this one of the twenty kinds must not deceive the finder.
    assert!(wrong.len() <= 1, "{wrong:?}");
}
