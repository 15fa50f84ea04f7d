//! JPEG pictures of which only parts are looked at. The first byte says what the rest is.
//!
//! 0: how a picture is written (size, sampling, restart interval, tables) and which boxes of it are
//! looked at: the parts come out bit for bit as the whole picture holds them, whatever the boxes
//! are, and nothing else is touched. 1: the same picture, damaged, its markers among what is hit:
//! a picture or a reason. Else: any bytes at all, as a camera may send them, and boxes from their
//! end.

use beadtally::base::PixelBox;
use beadtally::capture::jpeg::{Decoder, insert_standard_tables, luma};
use beadtally::capture::limits::MAX_PIXELS;
use image::{GrayImage, Luma};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::draw::Draw;
use super::jpeg_draw::{How, Sampling, Tables, encode};

/// Largest pictures that are written, pixels a side: a slow one must not hide the many.
const MOST_SIDE: usize = 96;
/// Largest pictures of any bytes that are decoded, pixels: as above.
const MOST_FOREIGN: u64 = 1 << 20;
/// Stands where nothing was decoded.
const UNTOUCHED: u8 = 77;

pub fn body(bytes: &[u8]) {
    let mut draw = Draw::new(bytes);
    match draw.byte() {
        0 => parts_of_a_good_picture(&mut draw),
        1 => parts_of_a_damaged_picture(&mut draw),
        _ => parts_of_any_bytes(draw.rest()),
    }
}

/// A picture as `how` says, of levels that change from pixel to pixel; with tables left out or not.
fn picture(draw: &mut Draw<'_>) -> (How, Vec<u8>) {
    let sampling = draw.of(&[
        Sampling::Grey,
        Sampling::Full,
        Sampling::Half,
        Sampling::Quarter,
    ]);
    let side = |byte: u8| usize::from(byte) % MOST_SIDE + 1;
    let (width, height) = (side(draw.byte()), side(draw.byte()));
    let restart = usize::from(draw.byte()) % 40;
    let quantum = [[draw.byte().max(1); 64], [draw.byte().max(1); 64]];
    let seed = u64::from(draw.byte());
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let tables = if seed.is_multiple_of(2) {
        [Tables::new(None), Tables::new(None)]
    } else {
        [
            Tables::new(Some(&mut chance)),
            Tables::new(Some(&mut chance)),
        ]
    };
    let how = How {
        width,
        height,
        sampling,
        restart,
        quantum,
        tables,
    };
    let noise: Vec<u8> = (0..512).map(|_| chance.random()).collect();
    let level = |component: usize, x: usize, y: usize| {
        let grain = noise[(x * 7 + y * 31 + component * 101) % noise.len()] % 60;
        ((x / 5 * 37 + y / 9 * 53) % 190) as u8 + grain
    };
    let bytes = encode(&how, &level);
    (how, bytes)
}

/// Up to three boxes, in the picture, across its border, beside it, and empty ones.
fn boxes(draw: &mut Draw<'_>) -> Vec<PixelBox> {
    (0..=draw.byte() % 3)
        .map(|_| {
            let (left, top) = (u32::from(draw.byte()), u32::from(draw.byte()));
            let far = draw.of(&[0, 0, 0, 1, u32::MAX - 255]);
            PixelBox {
                left,
                top,
                right: (left + u32::from(draw.byte())).max(far),
                bottom: (top + u32::from(draw.byte())).max(far),
            }
        })
        .collect()
}

fn parts_of_a_good_picture(draw: &mut Draw<'_>) {
    let (how, bytes) = picture(draw);
    let (width, height) = (how.width as u32, how.height as u32);
    let announced = Some((
        width,
        height.saturating_sub(u32::from(draw.byte() % 4)).max(1),
    ));
    let boxes = boxes(draw);
    let whole = luma(&bytes, announced).expect("a good picture");
    assert_eq!(insert_standard_tables(&bytes).as_ref(), bytes, "has tables");
    let mut decoder = Decoder::default();
    check_parts(&mut decoder, &bytes, announced, &boxes, &whole);
    // What the decoder keeps from picture to picture changes nothing.
    check_parts(&mut decoder, &bytes, announced, &boxes, &whole);
}

fn parts_of_a_damaged_picture(draw: &mut Draw<'_>) {
    let (how, mut bytes) = picture(draw);
    let boxes = boxes(draw);
    let mut decoder = Decoder::default();
    while !draw.is_over() {
        let at = usize::from(u16::from_le_bytes([draw.byte(), draw.byte()])) % bytes.len();
        match draw.byte() % 4 {
            0 => bytes[at] = draw.byte(),
            // A marker where none was, or a stretch that is gone or is there twice.
            1 => bytes
                .splice(at..at, [0xFF, 0xD0 | (draw.byte() % 16)])
                .for_each(drop),
            2 => {
                let to = (at + usize::from(draw.byte())).min(bytes.len());
                bytes.drain(at..to);
            }
            _ => {
                let to = (at + usize::from(draw.byte())).min(bytes.len());
                let again = bytes[at..to].to_vec();
                bytes.splice(to..to, again);
            }
        }
        if bytes.is_empty() || bytes.len() > 1 << 16 {
            return;
        }
    }
    any_parts(&mut decoder, &bytes, &boxes);
    // A good picture after a bad one is as good as ever.
    let (_, good) = picture(&mut Draw::new(&[how.restart as u8, 40, 30, 2]));
    let whole = luma(&good, None).expect("a good picture");
    check_parts(&mut decoder, &good, None, &boxes, &whole);
}

fn parts_of_any_bytes(bytes: &[u8]) {
    let (_, tail) = bytes.split_at(bytes.len() - bytes.len().min(12));
    let boxes = boxes(&mut Draw::new(tail));
    let mut decoder = Decoder::default();
    any_parts(&mut decoder, bytes, &boxes);
    let inserted = insert_standard_tables(bytes);
    assert!(inserted.len() >= bytes.len());
    assert_eq!(insert_standard_tables(&inserted), inserted, "twice is once");
    // As with the tables put in before.
    assert_eq!(
        read(&mut decoder, bytes, &boxes),
        read(&mut decoder, &inserted, &boxes)
    );
}

/// What is decoded of bytes that may be no picture; none when they are refused.
fn read(decoder: &mut Decoder, bytes: &[u8], boxes: &[PixelBox]) -> Option<GrayImage> {
    let (width, height) = decoder.read(bytes, None).ok()?;
    let pixels = u64::from(width) * u64::from(height);
    assert!(pixels > 0 && pixels <= MAX_PIXELS);
    if pixels > MOST_FOREIGN {
        return None;
    }
    let mut into = GrayImage::from_pixel(width, height, Luma([UNTOUCHED]));
    decoder.parts(bytes, boxes, &mut into).ok()?;
    Some(into)
}

/// Parts of bytes that may be damaged: in the boxes whatever is there, and nothing outside them.
/// Where the whole picture is refused for its header, so are its parts.
fn any_parts(decoder: &mut Decoder, bytes: &[u8], boxes: &[PixelBox]) {
    let Some(parts) = read(decoder, bytes, boxes) else {
        return;
    };
    assert!(
        decoder.decoded_pixels() as u64 <= u64::from(parts.width()) * u64::from(parts.height()),
        "more than the whole was decoded"
    );
    for (x, y, pixel) in parts.enumerate_pixels() {
        assert!(
            is_looked_at(boxes, x, y) || pixel.0[0] == UNTOUCHED,
            "({x}, {y}) was not asked for"
        );
    }
}

fn check_parts(
    decoder: &mut Decoder,
    bytes: &[u8],
    announced: Option<(u32, u32)>,
    boxes: &[PixelBox],
    whole: &GrayImage,
) {
    let size = decoder.read(bytes, announced).expect("a good picture");
    assert_eq!(size, whole.dimensions());
    let mut into = GrayImage::from_pixel(size.0, size.1, Luma([UNTOUCHED]));
    decoder.parts(bytes, boxes, &mut into).expect("good parts");
    for (x, y, pixel) in into.enumerate_pixels() {
        let wanted = if is_looked_at(boxes, x, y) {
            whole.get_pixel(x, y).0[0]
        } else {
            UNTOUCHED
        };
        assert_eq!(pixel.0[0], wanted, "({x}, {y})");
    }
}

fn is_looked_at(boxes: &[PixelBox], x: u32, y: u32) -> bool {
    boxes
        .iter()
        .any(|b| (b.left..b.right).contains(&x) && (b.top..b.bottom).contains(&y))
}
