//! The outlines and scales of a demo as they truly are, for tests and benches that leave finding to
//! others. The demo itself knows no outlines, so that it takes nothing from what measures.

#![allow(dead_code, reason = "most need only one of the three")]

use beadtally::capture::Source;
use beadtally::capture::demo::{DemoSource, GlassTruth};
use beadtally::glass::{Calibration, FeedCalibration, OilData, Outline};

/// Where a glass is in the picture.
#[must_use]
pub fn outline(glass: &GlassTruth) -> Outline {
    Outline {
        kind: glass.kind,
        centre_x_px: glass.centre_px.0,
        centre_y_px: glass.centre_px.1,
        width_px: glass.size_px.0,
        height_px: glass.size_px.1,
        angle_deg: glass.angle_deg,
    }
}

/// All glasses of a demo with their scales.
#[must_use]
pub fn calibration(source: &DemoSource) -> Calibration {
    let mut calibration = without_scale(source);
    for (feed, glass) in calibration.feeds.iter_mut().zip(source.glasses()) {
        feed.px_per_mm = Some(glass.px_per_mm);
    }
    calibration
}

/// The same as it is found by itself: nobody has told a scale.
#[must_use]
pub fn without_scale(source: &DemoSource) -> Calibration {
    let feeds = source.glasses();
    let feeds = feeds.iter().map(|g| FeedCalibration::new(outline(g)));
    Calibration {
        picture_width_px: source.about().width,
        picture_height_px: source.about().height,
        camera_identity: None,
        oil: OilData::default(),
        feeds: feeds.collect(),
    }
}
