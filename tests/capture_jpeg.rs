//! Pictures as cameras send them, made by the ffmpeg program: every colour packing, with the
//! standard Huffman tables left out, and mutilated in thousands of ways.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::process::Command;

use beadtally::capture::jpeg::{insert_standard_tables, luma};
use rand::{RngExt, SeedableRng};

const WIDTH: u32 = 176;
const HEIGHT: u32 = 144;

/// What ffmpeg makes of its test picture.
fn ffmpeg(words: &str) -> Vec<u8> {
    let made = Command::new("ffmpeg")
        .args("-v error -nostdin -f lavfi -i testsrc2=size=176x144:duration=1:rate=1".split(' '))
        .args(words.split(' '))
        .arg("pipe:1")
        .output()
        .unwrap();
    assert!(
        made.status.success(),
        "{}",
        String::from_utf8_lossy(&made.stderr)
    );
    made.stdout
}

fn camera_jpeg(packing: &str) -> Vec<u8> {
    ffmpeg(&format!(
        "-pix_fmt {packing} -strict -2 -c:v mjpeg -huffman default -q:v 3 -f mjpeg"
    ))
}

/// The same picture without its Huffman tables.
fn bare(jpeg: &[u8]) -> Vec<u8> {
    let mut out = jpeg[..2].to_vec();
    let mut at = 2;
    while jpeg[at + 1] != 0xDA {
        let end = at + 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        if jpeg[at + 1] != 0xC4 {
            out.extend_from_slice(&jpeg[at..end]);
        }
        at = end;
    }
    out.extend_from_slice(&jpeg[at..]);
    out
}

#[test]
fn every_colour_packing_gives_the_luma_that_ffmpeg_gives() {
    let truth = ffmpeg("-vf format=gray -f rawvideo");
    assert_eq!(truth.len(), (WIDTH * HEIGHT) as usize);
    for packing in ["yuvj420p", "yuvj422p", "yuvj444p", "gray"] {
        let whole = camera_jpeg(packing);
        let picture = luma(&whole, Some((WIDTH, HEIGHT))).unwrap();
        let apart: u64 = picture
            .as_raw()
            .iter()
            .zip(&truth)
            .map(|(a, b)| u64::from(a.abs_diff(*b)))
            .sum();
        let mean = apart as f64 / truth.len() as f64;
        assert!(mean < 3.0, "{packing}: {mean} levels apart");
        let bare = bare(&whole);
        assert!(bare.len() + 400 < whole.len());
        assert_eq!(
            luma(&bare, Some((WIDTH, HEIGHT))).unwrap(),
            picture,
            "{packing}"
        );
        assert!(insert_standard_tables(&bare).len() > bare.len() + 400);
    }
}

#[test]
fn no_cut_picture_passes() {
    for packing in ["yuvj420p", "yuvj422p"] {
        let whole = camera_jpeg(packing);
        for end in (0..whole.len() - 1).step_by(17) {
            assert!(luma(&whole[..end], None).is_err(), "{packing} cut at {end}");
        }
        // A hole in the middle, as when a packet is lost on the cable.
        let pixels_at = whole.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap() + 14;
        let mut lost = 0;
        let mut tried = 0;
        for from in (pixels_at..whole.len() - 600).step_by(97) {
            let mut holed = whole[..from].to_vec();
            holed.extend_from_slice(&whole[from + 512..]);
            tried += 1;
            lost += u32::from(luma(&holed, Some((WIDTH, HEIGHT))).is_err());
        }
        assert_eq!(lost, tried, "{packing}: pictures with a hole of 512 bytes");
    }
}

#[test]
fn mutilated_pictures_never_panic() {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(11);
    let pictures: Vec<Vec<u8>> = ["yuvj420p", "yuvj422p", "yuvj444p", "gray"]
        .iter()
        .flat_map(|packing| {
            let whole = camera_jpeg(packing);
            [bare(&whole), whole]
        })
        .collect();
    let rounds = std::env::var("BEADTALLY_ROUNDS").map_or(4000, |n| n.parse().unwrap());
    for round in 0..rounds {
        let mut bytes = pictures[round % pictures.len()].clone();
        for _ in 0..rng.random_range(1..=8) {
            // Mostly in the headers, where it hurts most.
            let reach = if rng.random() {
                700.min(bytes.len())
            } else {
                bytes.len()
            };
            let at = rng.random_range(0..reach);
            if rng.random() {
                bytes[at] ^= 1 << rng.random_range(0..8);
            } else {
                bytes[at] = rng.random();
            }
        }
        if rng.random_range(0..5) == 0 {
            let from = rng.random_range(2..bytes.len());
            let to = rng.random_range(from..bytes.len());
            bytes.drain(from..to);
        }
        if let Ok(picture) = luma(&bytes, None) {
            assert_eq!(
                picture.as_raw().len() as u32,
                picture.width() * picture.height()
            );
        }
    }
}
