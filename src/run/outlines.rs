//! From glasses found in the picture to a calibration that can be put in force, and a calibration
//! made for one size of picture fitted to another. It finds nothing itself and reads no file.

use crate::base::Band;
use crate::capture::About;
use crate::glass::find::Found;
use crate::glass::{Calibration, FeedCalibration, Outline, ScaleFrom};

/// How far the two scales of a picture may differ, as a part of one, before a calibration made for
/// another size no longer fits: 1 % is under a pixel over the width of a glass.
const ASPECT_TOLERANCE: f64 = 0.01;

/// What a person said about glasses that are found by themselves.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Presets {
    /// Target of every feed, drops a minute.
    pub band: Band,
    /// Outside diameter of the glass, mm, when known; it gives the scale.
    pub glass_mm: Option<f64>,
}

/// A calibration does not fit the pictures.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error(
    "the calibration was made for pictures of {was_width} × {was_height} pixels and these have \
     {width} × {height}, which is another shape: find the glasses again with `beadtally find`, or \
     set the camera to the size it had"
)]
pub struct SizeMismatch {
    was_width: u32,
    was_height: u32,
    width: u32,
    height: u32,
}

/// The calibration that glasses just found amount to, from the left; none when none was found.
///
/// The scale at the axis is the outline's width over the outside diameter of the glass.
#[must_use]
pub fn calibration_from(found: &Found, about: &About, presets: Presets) -> Option<Calibration> {
    if found.glasses.is_empty() {
        return None;
    }
    let feeds = from_the_left(found)
        .into_iter()
        .map(|(outline, _)| {
            let mut feed = FeedCalibration::new(outline);
            feed.band = presets.band;
            match presets.glass_mm {
                Some(mm) if mm > 0.0 => feed.with_scale(ScaleFrom::OutsideDiameter { mm }),
                _ => feed,
            }
        })
        .collect();
    Some(Calibration {
        picture_width_px: about.width,
        picture_height_px: about.height,
        camera_identity: (!about.identity.is_empty()).then(|| about.identity.clone()),
        feeds,
    })
}

/// How sure each found glass is, 0 to 1, from the left.
#[must_use]
pub fn confidences(found: &Found) -> Vec<f64> {
    from_the_left(found)
        .into_iter()
        .map(|(_, sure)| sure)
        .collect()
}

fn from_the_left(found: &Found) -> Vec<(Outline, f64)> {
    let mut glasses: Vec<(Outline, f64)> = found
        .glasses
        .iter()
        .map(|glass| (glass.outline, glass.confidence))
        .collect();
    glasses.sort_by(|(a, _), (b, _)| a.centre_x_px.total_cmp(&b.centre_x_px));
    glasses
}

/// Keeps what a person decided (name, band, scale in mm) for each new outline that lies where an
/// old one lay: the new centre within the old glass.
#[must_use]
pub fn keep_decisions(mut new: Calibration, old: &Calibration) -> Calibration {
    for feed in &mut new.feeds {
        let before = old.feeds.iter().find(|before| {
            before
                .outline
                .contains(feed.outline.centre_x_px, feed.outline.centre_y_px)
        });
        if let Some(before) = before {
            feed.name.clone_from(&before.name);
            feed.band = before.band;
            if feed.px_per_mm.is_none() {
                feed.px_per_mm = before.px_per_mm;
                feed.scale_from = before.scale_from;
            }
        }
    }
    new
}

/// The same calibration for pictures of another size but the same shape (a camera that came up in
/// another mode, a clip made smaller).
///
/// # Errors
/// [`SizeMismatch`] when the shape differs: then the outlines cannot be where they were.
pub fn fitted(
    calibration: &Calibration,
    width: u32,
    height: u32,
) -> Result<Calibration, SizeMismatch> {
    let (was_width, was_height) = (calibration.picture_width_px, calibration.picture_height_px);
    if (was_width, was_height) == (width, height) {
        return Ok(calibration.clone());
    }
    let scale_x = f64::from(width) / f64::from(was_width.max(1));
    let scale_y = f64::from(height) / f64::from(was_height.max(1));
    if (scale_x / scale_y - 1.0).abs() > ASPECT_TOLERANCE {
        return Err(SizeMismatch {
            was_width,
            was_height,
            width,
            height,
        });
    }
    let mut fitted = calibration.clone();
    fitted.picture_width_px = width;
    fitted.picture_height_px = height;
    for feed in &mut fitted.feeds {
        feed.outline.centre_x_px *= scale_x;
        feed.outline.centre_y_px *= scale_y;
        feed.outline.width_px *= scale_x;
        feed.outline.height_px *= scale_y;
        feed.px_per_mm = feed.px_per_mm.map(|scale| scale * scale_x);
    }
    Ok(fitted)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::GlassKind;

    fn one_tube() -> Calibration {
        Calibration {
            picture_width_px: 640,
            picture_height_px: 480,
            camera_identity: None,
            feeds: vec![FeedCalibration {
                name: "left".to_owned(),
                outline: Outline::upright(GlassKind::Tube, 100.0, 120.0, 68.0, 232.0),
                band: Band::default(),
                px_per_mm: Some(4.0),
                scale_from: ScaleFrom::Typed,
            }],
        }
    }

    #[test]
    fn twice_the_picture_is_twice_the_outline_and_scale() {
        let fitted = fitted(&one_tube(), 1280, 960).unwrap();
        let outline = fitted.feeds[0].outline.upright_box();
        assert_eq!((outline.x, outline.y), (200.0, 240.0));
        assert_eq!((outline.width, outline.height), (136.0, 464.0));
        assert_eq!(fitted.feeds[0].px_per_mm, Some(8.0));
    }

    #[test]
    fn another_shape_is_refused_with_both_sizes() {
        let words = fitted(&one_tube(), 1280, 720).unwrap_err().to_string();
        assert!(
            words.contains("640 × 480") && words.contains("1280 × 720"),
            "{words}"
        );
    }

    #[test]
    fn a_found_glass_keeps_the_name_of_the_glass_that_stood_there() {
        let mut new = one_tube();
        new.feeds[0].name = String::new();
        new.feeds[0].outline.centre_x_px += 10.0;
        new.feeds[0].px_per_mm = None;
        let kept = keep_decisions(new, &one_tube());
        assert_eq!(kept.feeds[0].name, "left");
        assert_eq!(kept.feeds[0].px_per_mm, Some(4.0));
    }
}
