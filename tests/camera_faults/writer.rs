//! What stands behind the loopback camera: writes the clip into it in real time, as truth goes on
//! whether anybody looks or not, and spoils it as it is told on its standard input: `good`,
//! `frozen`, `garbage`, `slow`.

use std::io::{BufRead as _, Write as _};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use beadtally::base::{Clock as _, SystemClock};
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use v4l::video::Output as _;
use v4l::{Format, FourCC, Fraction};

use super::clip;
use super::drive::{CAMERA, uptime_secs};

/// Frames a second of a camera that slows down in poor light.
const SLOW_FPS: f64 = 12.0;

pub fn run() {
    let folder = std::env::var("FOLDER").expect("a folder");
    let start_secs: f64 = number("START");
    let (width, height) = (number("WIDTH") as u32, number("HEIGHT") as u32);
    let pictures = if (width, height) == clip::SIZE_PX {
        clip::read(&Path::new(&folder).join("clip.bin"))
    } else {
        vec![grey(width, height)]
    };
    let mut camera = v4l::Device::with_path(CAMERA).expect("the camera's other end");
    camera
        .set_format(&Format::new(width, height, FourCC::new(b"MJPG")))
        .expect("a format");
    let interval = Fraction::new(1, clip::FPS as u32);
    let _ = camera.set_params(&v4l::video::output::Parameters::new(interval));

    let told = Arc::new(Mutex::new("good".to_owned()));
    let telling = Arc::clone(&told);
    std::thread::Builder::new()
        .name("telling".to_owned())
        .spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                *telling.lock().unwrap_or_else(PoisonError::into_inner) = line;
            }
        })
        .expect("a thread");

    let clock = SystemClock::new();
    let mut odd: u32 = 7;
    let mut slot = 0;
    let mut last = pictures[0].clone();
    let mut slow = false;
    loop {
        let how = told.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let fps = if how == "slow" { SLOW_FPS } else { clip::FPS };
        if slow != (how == "slow") {
            slow = how == "slow";
            slot = 0;
        }
        // The next moment at which this camera takes a picture; moments that were slept through
        // are lost, as they are with a camera.
        let now_secs = uptime_secs() - start_secs;
        let due = (now_secs * fps).floor() as u64 + 1;
        slot = due.max(slot + 1);
        clock.wait_secs(slot as f64 / fps - now_secs);
        // A hair more, because a quotient may fall short of a whole number, and then a picture would
        // come a frame late.
        let index = (slot as f64 / fps * clip::FPS + 1e-6) as usize;
        let good = pictures.get(index).or(pictures.last());
        let good = good.expect("a clip has pictures");
        let _ = match how.as_str() {
            "frozen" => camera.write(&last),
            "garbage" if slot.is_multiple_of(4) => {
                odd += 1;
                camera.write(&spoilt(good, odd))
            }
            _ => {
                last.clone_from(good);
                camera.write(good)
            }
        };
    }
}

fn number(name: &str) -> f64 {
    let text = std::env::var(name).expect("a number");
    text.parse().expect("a number")
}

/// One of several ways in which a picture can be spoilt on its way.
fn spoilt(good: &[u8], odd: u32) -> Vec<u8> {
    match odd % 5 {
        0 => (0..4000_u32)
            .map(|n| (n.wrapping_mul(odd).wrapping_mul(2_654_435_761) >> 13) as u8)
            .collect(),
        1 => good[..good.len() / 2].to_vec(),
        2 => good[..good.len() - good.len() / 6].to_vec(),
        3 => {
            let mut bytes = good.to_vec();
            let at = bytes.len() / 3;
            bytes[at..at + 60].fill(0xAA);
            bytes.truncate(at + 400);
            bytes
        }
        _ => grey(64, 48),
    }
}

fn grey(width: u32, height: u32) -> Vec<u8> {
    let mut jpeg = Vec::new();
    let luma = vec![120; (width * height) as usize];
    JpegEncoder::new(&mut jpeg)
        .encode(&luma, width, height, ExtendedColorType::L8)
        .expect("a JPEG picture");
    jpeg
}
