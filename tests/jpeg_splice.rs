//! What is decoded of a JPEG picture in parts is bit for bit what the whole picture holds there:
//! over random boxes, samplings, sizes, restart intervals and tables.

mod jpeg_draw;

use beadtally::base::PixelBox;
use beadtally::capture::jpeg::{Decoder, JpegError, luma};
use image::GrayImage;
use image::Luma;
use jpeg_draw::{How, Sampling, Tables, encode};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SAMPLINGS: [Sampling; 4] = [
    Sampling::Grey,
    Sampling::Full,
    Sampling::Half,
    Sampling::Quarter,
];
/// Stands where nothing was decoded.
const UNTOUCHED: u8 = 77;

/// Some levels that change from pixel to pixel and from block to block.
fn level(seed: usize) -> impl Fn(usize, usize, usize) -> u8 {
    move |component, x, y| {
        let mixed = (x * 31 + y * 17 + component * 101 + seed * 7).wrapping_mul(0x9E37_79B9);
        let grain = (mixed >> 13) % 64;
        (((x + seed) / 9 * 23 + y / 7 * 41) % 190 + grain) as u8
    }
}

fn random_how(rng: &mut ChaCha8Rng) -> How {
    let sampling = SAMPLINGS[rng.random_range(0..4)];
    let (width, height) = (rng.random_range(17..150), rng.random_range(17..110));
    let (h, v) = sampling.blocks();
    let across = width_units(width, h);
    let divisors: Vec<usize> = (1..=across).filter(|n| across.is_multiple_of(*n)).collect();
    let restart = match rng.random_range(0..6) {
        0 => 0,
        1 => across,
        2 => across * rng.random_range(2..4),
        3 => rng.random_range(1..2 * across + 2),
        _ => divisors[rng.random_range(0..divisors.len())],
    };
    assert!(v > 0);
    let mut quantum = || std::array::from_fn(|_| rng.random_range(1..60));
    let quantum = [quantum(), quantum()];
    How {
        width,
        height,
        sampling,
        restart,
        quantum,
        tables: [Tables::new(Some(rng)), Tables::new(Some(rng))],
    }
}

fn width_units(width: usize, h: usize) -> usize {
    width.div_ceil(8 * h)
}

fn random_box(rng: &mut ChaCha8Rng, how: &How) -> PixelBox {
    let (w, h) = (how.width as u32, how.height as u32);
    let (a, b) = (rng.random_range(0..w), rng.random_range(0..w));
    let (c, d) = (rng.random_range(0..h), rng.random_range(0..h));
    PixelBox {
        left: a.min(b),
        top: c.min(d),
        right: a.max(b) + 1,
        bottom: c.max(d) + 1,
    }
}

fn parts(decoder: &mut Decoder, bytes: &[u8], boxes: &[PixelBox]) -> Result<GrayImage, JpegError> {
    let (width, height) = decoder.read(bytes, None)?;
    let mut picture = GrayImage::from_pixel(width, height, Luma([UNTOUCHED]));
    decoder.parts(bytes, boxes, &mut picture)?;
    Ok(picture)
}

#[test]
fn the_encoder_writes_what_another_decoder_reads() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for _ in 0..60 {
        let mut how = random_how(&mut rng);
        how.quantum = [[1; 64]; 2];
        let bytes = encode(&how, &|_, x, y| (x + y) as u8 / 2 + 40);
        let read = image::load_from_memory(&bytes).unwrap().to_luma8();
        let ours = luma(&bytes, None).unwrap();
        assert_eq!(ours.dimensions(), (how.width as u32, how.height as u32));
        for (x, y, pixel) in ours.enumerate_pixels() {
            let wanted = i32::from((x + y) as u8 / 2 + 40);
            assert!((i32::from(pixel.0[0]) - wanted).abs() <= 2, "{how:?}");
            if how.sampling == Sampling::Grey {
                let other = i32::from(read.get_pixel(x, y).0[0]);
                assert!((other - wanted).abs() <= 2, "{how:?}");
            }
        }
    }
}

#[test]
fn parts_are_bit_for_bit_the_whole_picture() {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let mut decoder = Decoder::default();
    let mut outside = 0_u64;
    // Pixels decoded and all pixels: without markers, and with markers that part the rows.
    let mut decoded = [[0; 2]; 2];
    for round in 0..1500 {
        let how = random_how(&mut rng);
        let bytes = encode(&how, &level(round));
        let whole = luma(&bytes, None).unwrap();
        let boxes: Vec<PixelBox> = (0..rng.random_range(1..4))
            .map(|_| random_box(&mut rng, &how))
            .collect();
        let picture = parts(&mut decoder, &bytes, &boxes).unwrap();
        let across = width_units(how.width, how.sampling.blocks().0);
        let parted = usize::from(how.restart > 0 && across.is_multiple_of(how.restart));
        decoded[parted][0] += decoder.decoded_pixels();
        decoded[parted][1] += how.width * how.height;
        for (x, y, pixel) in picture.enumerate_pixels() {
            let is_in =
                |b: &PixelBox| (b.left..b.right).contains(&x) && (b.top..b.bottom).contains(&y);
            let wanted = if boxes.iter().any(is_in) {
                whole.get_pixel(x, y).0[0]
            } else {
                outside += 1;
                UNTOUCHED
            };
            assert_eq!(
                pixel.0[0], wanted,
                "round {round}, ({x}, {y}), {boxes:?}: {} × {}, {:?}, restart {}",
                how.width, how.height, how.sampling, how.restart
            );
        }
    }
    assert!(outside > 100_000);
    let share = decoded.map(|[part, all]| part as f64 / all as f64);
    println!("decoded: {share:?} of all pixels");
    // Random boxes reach far; still much must be spared.
    assert!(share[0] < 0.95 && share[1] < 0.8, "{share:?}");
}

#[test]
fn standard_tables_that_are_left_out_are_put_in() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let how = How {
        width: 96,
        height: 64,
        sampling: Sampling::Half,
        restart: 6,
        quantum: [[16; 64]; 2],
        tables: [Tables::new(None), Tables::new(None)],
    };
    // The same tables by another hand: the `image` crate writes those of Annex K.3.
    let mut bytes = Vec::new();
    let grey = GrayImage::from_fn(96, 64, |x, y| Luma([(x * 2 + y) as u8]));
    image::codecs::jpeg::JpegEncoder::new(&mut bytes)
        .encode_image(&grey)
        .unwrap();
    let mut bare = Vec::new();
    let mut at = 2;
    bare.extend_from_slice(&bytes[..2]);
    while bytes[at + 1] != 0xDA {
        let next = at + 2 + usize::from(u16::from_be_bytes([bytes[at + 2], bytes[at + 3]]));
        if bytes[at + 1] != 0xC4 {
            bare.extend_from_slice(&bytes[at..next]);
        }
        at = next;
    }
    bare.extend_from_slice(&bytes[at..]);
    assert!(bare.len() < bytes.len());
    let whole = luma(&bytes, None).unwrap();
    let wanted = random_box(&mut rng, &how);
    let picture = parts(&mut Decoder::default(), &bare, &[wanted]).unwrap();
    for y in wanted.top..wanted.bottom {
        for x in wanted.left..wanted.right {
            assert_eq!(picture.get_pixel(x, y), whole.get_pixel(x, y));
        }
    }
}

#[test]
fn a_cut_picture_is_refused_in_parts_too() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    for _ in 0..40 {
        let how = random_how(&mut rng);
        let bytes = encode(&how, &level(1));
        let wanted = random_box(&mut rng, &how);
        let mut decoder = Decoder::default();
        for cut in [bytes.len() - 1, bytes.len() / 2, 20, 2, 0] {
            assert!(parts(&mut decoder, &bytes[..cut], &[wanted]).is_err());
        }
    }
}

#[test]
fn damage_never_panics() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let mut decoder = Decoder::default();
    let mut refused = 0;
    for round in 0..4000 {
        let how = random_how(&mut rng);
        // Encoding is the slow part: each picture is damaged several times.
        let good = encode(&how, &level(round));
        for _ in 0..4 {
            let mut bytes = good.clone();
            for _ in 0..rng.random_range(1..8) {
                let at = rng.random_range(0..bytes.len());
                bytes[at] = rng.random();
            }
            if rng.random_range(0..5) == 0 {
                bytes.truncate(rng.random_range(0..bytes.len()));
                bytes.extend_from_slice(&[0xFF, 0xD9]);
            }
            let boxes = [random_box(&mut rng, &how), random_box(&mut rng, &how)];
            refused += u32::from(parts(&mut decoder, &bytes, &boxes).is_err());
        }
        if round > 700 {
            break;
        }
    }
    assert!(refused > 100, "{refused}");
}
