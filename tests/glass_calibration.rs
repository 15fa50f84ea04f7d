//! The calibration file: what it keeps, and the sentence for everything that makes no sense in it.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on must fail")]

use std::path::Path;

use beadtally::base::{Band, GlassKind};
use beadtally::glass::{
    Calibration, CalibrationError, CalibrationFault, FeedCalibration, Outline, ScaleFrom,
};

const GOOD: &str = "\
format = 1

[picture]
width_px = 640
height_px = 480
camera = \"a camera\"

[[feed]]
name = \"left\"
kind = \"tube\"
centre_px = [140.0, 240.0]
size_px = [68, 232]
angle_deg = 0.5
band_per_minute = [2, 3.5]
px_per_mm = 4.0

[[feed]]
kind = \"port\"
centre_px = [320, 240]
size_px = [104, 104]
";

fn parse(text: &str) -> Result<Calibration, CalibrationError> {
    Calibration::parse(text, "x.toml")
}

/// The sentence for GOOD with `old` replaced by `new`.
fn sentence(old: &str, new: &str) -> String {
    assert!(GOOD.contains(old), "{old}");
    parse(&GOOD.replacen(old, new, 1)).unwrap_err().to_string()
}

#[test]
fn a_good_file_is_read() {
    let read = parse(GOOD).unwrap();
    assert_eq!(read.picture_width_px, 640);
    assert_eq!(read.picture_height_px, 480);
    assert_eq!(read.camera_identity.as_deref(), Some("a camera"));
    assert_eq!(read.feeds.len(), 2);
    assert_eq!(
        read.feeds[0],
        FeedCalibration {
            name: "left".to_owned(),
            outline: Outline {
                kind: GlassKind::Tube,
                centre_x_px: 140.0,
                centre_y_px: 240.0,
                width_px: 68.0,
                height_px: 232.0,
                angle_deg: 0.5,
            },
            band: Band {
                low_per_minute: 2.0,
                high_per_minute: 3.5,
            },
            px_per_mm: Some(4.0),
            scale_from: ScaleFrom::Typed,
        }
    );
    assert_eq!(read.feeds[1].band, Band::default());
    assert_eq!(read.feeds[1].px_per_mm, None);
    assert_eq!(read.feeds[1].outline.angle_deg, 0.0);
}

#[test]
fn scales_come_from_a_diameter_or_two_points() {
    let with = |line: &str| {
        parse(&GOOD.replacen("px_per_mm = 4.0", line, 1))
            .unwrap()
            .feeds[0]
            .px_per_mm
    };
    assert_eq!(with("outside_diameter_mm = 17"), Some(4.0));
    assert_eq!(
        with("scale_points = { from_px = [100, 10], to_px = [130, 50], apart_mm = 12.5 }"),
        Some(4.0)
    );
    assert_eq!(with("px_per_mm = 3"), Some(3.0));
}

#[test]
fn feeds_are_put_in_order_from_the_left() {
    let text = GOOD.replacen("[140.0, 240.0]", "[500.0, 240.0]", 1);
    let read = parse(&text).unwrap();
    assert_eq!(read.feeds[0].outline.kind, GlassKind::Port);
    assert_eq!(read.feeds[1].name, "left");
}

#[test]
fn each_fault_has_its_sentence() {
    let cases = [
        (
            "name =",
            "nmae =",
            "x.toml, line 9: unknown key `nmae` in [[feed]] number 1; did you mean `name`?",
        ),
        (
            "band_per_minute",
            "bands_per_minute",
            "x.toml, line 14: unknown key `bands_per_minute` in [[feed]] number 1; did you mean `band_per_minute`?",
        ),
        (
            "camera =",
            "colour =",
            "x.toml, line 6: unknown key `colour` in [picture]; the keys there are width_px, height_px, camera",
        ),
        (
            "[[feed]]",
            "[[feeds]]",
            "x.toml, line 8: unknown key `feeds` in the file; did you mean `feed`?",
        ),
        (
            "angle_deg = 0.5",
            "angle_deg = nan",
            "x.toml, line 13: `angle_deg` is nan, which is no number to measure with; write a plain number",
        ),
        (
            "[68, 232]",
            "[68, inf]",
            "x.toml, line 12: `size_px` is inf, which is no number to measure with; write a plain number",
        ),
        (
            "[140.0, 240.0]",
            "[-inf, 240.0]",
            "x.toml, line 11: `centre_px` is -inf, which is no number to measure with; write a plain number",
        ),
        (
            "px_per_mm = 4.0",
            "px_per_mm = -nan",
            "x.toml, line 15: `px_per_mm` is nan, which is no number to measure with; write a plain number",
        ),
        (
            "[140.0, 240.0]",
            "[30.0, 240.0]",
            "x.toml, line 11: the outline reaches 6 px outside the 640×480 picture; move or shrink it, or correct [picture]",
        ),
        (
            "[68, 232]",
            "[68, 0]",
            "x.toml, line 12: an outline of 68×0 pixels has no size; both numbers of `size_px` must be above 0",
        ),
        (
            "[68, 232]",
            "[-68, 232]",
            "x.toml, line 12: an outline of -68×232 pixels has no size; both numbers of `size_px` must be above 0",
        ),
        (
            "angle_deg = 0.5",
            "angle_deg = 90",
            "x.toml, line 13: an outline turned by 90° leans too far; `angle_deg` runs from -45 to 45: turn the camera upright",
        ),
        (
            "[2, 3.5]",
            "[3.5, 2]",
            "x.toml, line 14: the band from 3.5 to 2 drops a minute is upside down or empty; write the low limit first and a higher one after it",
        ),
        (
            "[2, 3.5]",
            "[2, 2]",
            "x.toml, line 14: the band from 2 to 2 drops a minute is upside down or empty; write the low limit first and a higher one after it",
        ),
        (
            "[2, 3.5]",
            "[-1, 3]",
            "x.toml, line 14: the band from -1 to 3 drops a minute goes below 0; both limits of `band_per_minute` must be 0 or more",
        ),
        (
            "[2, 3.5]",
            "[2, 1e9]",
            "x.toml, line 14: a band up to 1000000000 drops a minute is beyond what can be counted; the highest limit is 600",
        ),
        (
            "[2, 3.5]",
            "[2, 3, 4]",
            "x.toml, line 14: `band_per_minute` is a list, but it must be two numbers in brackets; write it like `band_per_minute = [2, 3]`",
        ),
        (
            "[2, 3.5]",
            "\"2 to 3\"",
            "x.toml, line 14: `band_per_minute` is text, but it must be two numbers in brackets; write it like `band_per_minute = [2, 3]`",
        ),
        (
            "px_per_mm = 4.0",
            "px_per_mm = 0",
            "x.toml, line 15: `px_per_mm` is 0, but a length must be above 0; measure again",
        ),
        (
            "px_per_mm = 4.0",
            "outside_diameter_mm = -3",
            "x.toml, line 15: `outside_diameter_mm` is -3, but a length must be above 0; measure again",
        ),
        (
            "px_per_mm = 4.0",
            "outside_diameter_mm = 0.001",
            "x.toml, line 15: the scale comes out as 68000.000 px/mm, which cannot be (0.2 to 500); check the millimetres and the outline",
        ),
        (
            "px_per_mm = 4.0",
            "px_per_mm = 4.0\noutside_diameter_mm = 17",
            "x.toml, line 16: the scale is given twice, by `px_per_mm` and by `outside_diameter_mm`; keep one of them",
        ),
        (
            "px_per_mm = 4.0",
            "scale_points = { from_px = [1, 1], to_px = [1, 1], apart_mm = 4 }",
            "x.toml, line 15: the two points of `scale_points` are the same; give two points some way apart",
        ),
        (
            "px_per_mm = 4.0",
            "scale_points = { from_px = [1, 1], to_px = [9, 1], apart_cm = 4 }",
            "x.toml, line 15: unknown key `apart_cm` in scale_points; did you mean `apart_mm`?",
        ),
        (
            "px_per_mm = 4.0",
            "scale_points = { from_px = [1, 1], to_px = [9, 1] }",
            "x.toml, line 15: scale_points has no `apart_mm`; add a line such as `scale_points = { from_px = [106, 124], to_px = [106, 356], apart_mm = 58 }`",
        ),
        (
            "kind = \"tube\"",
            "kind = \"bulb\"",
            "x.toml, line 10: `kind = \"bulb\"` is no kind of glass; write \"tube\" for a round tube or \"port\" for a flat round window",
        ),
        (
            "kind = \"tube\"\n",
            "",
            "x.toml, line 8: [[feed]] number 1 has no `kind`; add a line such as `kind = \"tube\"`",
        ),
        (
            "name = \"left\"",
            "name = 7",
            "x.toml, line 9: `name` is a number, but it must be text in quotes; write it like `name = \"left cylinder\"`",
        ),
        (
            "name = \"left\"",
            "name = \"a\\u0007b\"",
            "x.toml, line 9: the name is too long or has characters that cannot be shown; use at most 80 plain characters",
        ),
        (
            "format = 1",
            "format = 2",
            "x.toml, line 1: the file has format 2, but this program reads format 1; let beadtally find the glasses again, or use a newer beadtally",
        ),
        (
            "format = 1\n",
            "",
            "x.toml: the file has no `format`; add a line such as `format = 1`",
        ),
        (
            "width_px = 640",
            "width_px = 0",
            "x.toml, line 3: a picture of 0×480 pixels is not possible; sizes run from 1 to 32768",
        ),
        (
            "width_px = 640",
            "width_px = 640.5",
            "x.toml, line 4: `width_px` is a number, but it must be a whole number of pixels; write it like `width_px = 640`",
        ),
        (
            "[320, 240]",
            "[150, 240]",
            "x.toml, line 19: the outlines of feeds 1 and 2 overlap; each glass has one feed: remove one or move it",
        ),
        (
            "height_px = 480",
            "height_px = ",
            "x.toml, line 5: this is not TOML: string values must be quoted, expected literal string; mend this line",
        ),
        (
            "camera = \"a camera\"",
            "width_px = 641",
            "x.toml, line 6: this is not TOML: duplicate key; mend this line",
        ),
    ];
    let wrong: Vec<String> = cases
        .into_iter()
        .map(|(old, new, want)| (sentence(old, new), want))
        .filter(|(got, want)| got != want)
        .map(|(got, want)| format!("got  {got}\nwant {want}\n"))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.concat());
}

#[test]
fn no_feeds_and_too_many_feeds() {
    let head = &GOOD[..GOOD.find("[[feed]]").unwrap()];
    assert_eq!(
        parse(head).unwrap_err().to_string(),
        "x.toml: there is no feed in it; add a `[[feed]]` with its outline, or let beadtally find the glasses"
    );
    let feeds: Vec<String> = (0..17)
        .map(|i| {
            let x = 20 + 35 * i;
            format!("[[feed]]\nkind = \"tube\"\nsize_px = [20, 100]\ncentre_px = [{x}, 240]\n")
        })
        .collect();
    let feeds = feeds.concat();
    assert_eq!(
        parse(&format!("{head}{feeds}")).unwrap_err().to_string(),
        "x.toml: there are 17 feeds, but at most 16 can be watched; remove some `[[feed]]` parts"
    );
}

#[test]
fn text_that_is_no_calibration() {
    assert_eq!(
        parse(" \n\n").unwrap_err().to_string(),
        "x.toml: is empty; let beadtally find the glasses and write a new one"
    );
    assert_eq!(
        parse("\u{feff}").unwrap_err().to_string(),
        "x.toml: is empty; let beadtally find the glasses and write a new one"
    );
    for junk in [
        "hello there",
        "{\"a\": 1}",
        "\0\0\0\0",
        "[[[",
        "= = =",
        "a = 1\na",
    ] {
        let error = parse(junk).unwrap_err();
        assert!(
            matches!(
                error,
                CalibrationError::Content {
                    fault: CalibrationFault::NotToml { .. },
                    line: Some(_),
                    ..
                }
            ),
            "{junk:?}: {error}"
        );
    }
    let long = "#".repeat(1_000_001);
    assert_eq!(
        parse(&long).unwrap_err().to_string(),
        "x.toml: is larger than 1 MB, which no calibration is; name the right file"
    );
}

#[test]
fn files_that_cannot_be_read() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let said = |path: &Path| {
        Calibration::read(path)
            .unwrap_err()
            .to_string()
            .replace(&format!("{}", path.display()), "FILE")
    };
    assert!(said(&at("none.toml")).starts_with("FILE: cannot read the calibration ("));
    assert_eq!(
        said(folder.path()),
        "FILE: is not a file; name a calibration file (.toml)"
    );
    std::fs::write(at("bytes.toml"), [0xff, 0xfe, 0x00, 0x80]).unwrap();
    assert_eq!(
        said(&at("bytes.toml")),
        "FILE: is not a text file in UTF-8; save it as plain text, or name the right file"
    );
    std::fs::write(at("huge.toml"), vec![b' '; 3_000_000]).unwrap();
    assert_eq!(
        said(&at("huge.toml")),
        "FILE: is larger than 1 MB, which no calibration is; name the right file"
    );
    std::fs::write(at("empty.toml"), "").unwrap();
    assert_eq!(
        said(&at("empty.toml")),
        "FILE: is empty; let beadtally find the glasses and write a new one"
    );
}

#[test]
fn cut_and_broken_files_never_panic() {
    for end in 0..GOOD.len() {
        let _ = parse(&GOOD[..end]);
        let mut bytes = GOOD.as_bytes().to_vec();
        bytes[end] = bytes[end].wrapping_add(3) & 0x7f;
        if let Ok(text) = std::str::from_utf8(&bytes) {
            let _ = parse(text);
        }
    }
}

fn everything() -> Calibration {
    let tube = Outline {
        kind: GlassKind::Tube,
        centre_x_px: 140.062_5,
        centre_y_px: 240.1,
        width_px: 68.3,
        height_px: 232.7,
        angle_deg: -3.217,
    };
    let beside = |x: f64| Outline {
        centre_x_px: x,
        ..tube
    };
    Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: Some("usb \"odd\"\\ name\té".to_owned()),
        oil: beadtally::glass::OilData::default(),
        feeds: vec![
            FeedCalibration::new(tube),
            FeedCalibration {
                name: "a \"quoted\" name, 'n all".to_owned(),
                ..FeedCalibration::new(beside(250.0))
            }
            .with_scale(ScaleFrom::OutsideDiameter { mm: 17.3 }),
            FeedCalibration::new(beside(360.0)).with_scale(ScaleFrom::Points {
                from_px: [1.5, 2.25],
                to_px: [301.5, 2.0],
                apart_mm: 75.1,
            }),
            FeedCalibration {
                px_per_mm: Some(1.0 / 3.0),
                band: Band {
                    low_per_minute: 0.0,
                    high_per_minute: 0.1,
                },
                ..FeedCalibration::new(Outline::upright(GlassKind::Port, 420.0, 100.0, 80.0, 79.0))
            },
        ],
    }
}

#[test]
fn what_is_written_is_read_back_the_same() {
    let before = everything();
    let text = before.to_toml();
    assert!(text.starts_with("# "), "comments stand in the file");
    assert_eq!(Calibration::parse(&text, "x").unwrap(), before, "{text}");
}

#[test]
fn writing_replaces_the_file_and_leaves_nothing_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("c.toml");
    std::fs::write(&path, "old").unwrap();
    everything().write(&path).unwrap();
    assert_eq!(Calibration::read(&path).unwrap(), everything());
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn nonsense_is_not_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("c.toml");
    let mut nonsense = everything();
    nonsense.feeds[0].outline.width_px = f64::NAN;
    let error = nonsense.write(&path).unwrap_err().to_string();
    assert!(
        error.ends_with(
            "`size_px` is nan, which is no number to measure with; write a plain number"
        ),
        "{error}"
    );
    assert!(!path.exists());
}

#[cfg(unix)]
#[test]
fn a_symbolic_link_is_not_written_through() {
    let folder = tempfile::tempdir().unwrap();
    let (real, link) = (folder.path().join("real"), folder.path().join("c.toml"));
    std::fs::write(&real, "precious").unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    let error = everything().write(&link).unwrap_err().to_string();
    assert!(error.ends_with("is a symbolic link, and a calibration is not written through one; name the real file or remove the link"), "{error}");
    assert_eq!(std::fs::read_to_string(&real).unwrap(), "precious");
}

#[test]
fn a_folder_that_is_not_there() {
    let folder = tempfile::tempdir().unwrap();
    let error = everything()
        .write(&folder.path().join("no").join("c.toml"))
        .unwrap_err();
    assert!(
        matches!(error, CalibrationError::Unwritable { .. }),
        "{error}"
    );
}

#[test]
fn another_picture_size_of_the_same_shape() {
    let double = everything().scaled_to(1280, 960).unwrap();
    assert_eq!(double.picture_width_px, 1280);
    assert_eq!(double.feeds[1].outline.width_px, 136.6);
    assert_eq!(
        double.feeds[1].px_per_mm.unwrap(),
        2.0 * everything().feeds[1].px_per_mm.unwrap()
    );
    // Measured again from what the person gave, the scale is the same.
    for feed in &double.feeds[1..3] {
        let again = feed.scale_from.px_per_mm(&feed.outline).unwrap();
        assert!((again - feed.px_per_mm.unwrap()).abs() < 1e-9);
    }
    assert_eq!(double.scaled_to(640, 480).unwrap(), everything());
    // 854×480 is 16:9 rounded to whole pixels.
    let mut wide = everything();
    (wide.picture_width_px, wide.picture_height_px) = (1920, 1080);
    assert!(wide.scaled_to(854, 480).is_ok());
    assert_eq!(
        everything().scaled_to(1280, 720).unwrap_err().to_string(),
        "the calibration was made on 640×480 pictures, but these are 1280×720, which has another shape; set the camera to a size of the same shape, or find the glasses again"
    );
    assert!(everything().scaled_to(0, 0).is_err());
}

#[test]
fn the_examples_in_the_calibration_folder_are_good_and_say_they_are_invented() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "toml") {
            count += 1;
            let read = Calibration::read(&path).unwrap();
            assert!(!read.feeds.is_empty());
            assert!(std::fs::read_to_string(&path).unwrap().contains("invented"));
            // They survive being written by the program, too.
            assert_eq!(Calibration::parse(&read.to_toml(), "x").unwrap(), read);
        }
    }
    assert!(count >= 2, "found {count}");
}
