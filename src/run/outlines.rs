//! From glasses found in the picture to a calibration that can be put in force. It finds nothing
//! itself and reads no file.

use crate::base::Band;
use crate::capture::About;
use crate::glass::find::Found;
use crate::glass::{Calibration, FeedCalibration, Outline, ScaleFrom};

/// What a person said about glasses that are found by themselves.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Presets {
    /// Target of every feed, drops a minute.
    pub band: Band,
    /// Outside diameter of the glass, mm, when known; it gives the scale.
    pub glass_mm: Option<f64>,
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
        oil: crate::glass::OilData::default(),
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

/// Keeps what a person decided: of the oil, and (name, band, scale in mm) for each new outline that lies where an
/// old one lay: the new centre within the old glass.
#[must_use]
pub fn keep_decisions(mut new: Calibration, old: &Calibration) -> Calibration {
    new.oil = old.oil;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::GlassKind;

    fn one_tube() -> Calibration {
        Calibration {
            picture_width_px: 640,
            picture_height_px: 480,
            camera_identity: None,
            oil: crate::glass::OilData::default(),
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
