//! Spares the camera's decoder what nobody looks at: while all glasses are seen and no person sees
//! the picture, only the glasses and what steadying needs round them are asked for, and a whole
//! picture twice a second for the watch over the camera's place. In doubt it asks for everything.

use std::sync::Arc;

use crate::base::{Extent, Frame, PixelBox};
use crate::capture::Wanted;
use crate::glass::{Calibration, Outline};
use crate::judge::FeedState;
use crate::run::FeedSnapshot;

use super::super::Pictures;
use super::Measuring;

/// How far measuring looks beside an outline, as a share of its width: steadying looks for texture
/// that far.
const REACH_SHARE: f64 = 0.35;
/// The same, pixels, on top of it: the farthest shift and turn that steadying follows, and the
/// pixels that smoothing reads on either side.
const REACH_PX: f64 = 9.0 + 8.0 + 4.0;
/// How much more is asked for, pixels: outlines that are carried along with a drifting camera must
/// not run out of the pictures that wait in the queue.
const SLACK_PX: f64 = 16.0;
/// Longest time between two whole pictures, seconds: the watch over the camera's place acts every
/// two seconds while all is well.
const WHOLE_EVERY_SECS: f64 = 0.5;

/// What is said of a picture that does not hold the outlines.
pub(super) const NOT_DECODED: &str =
    "the outlines were moved, and this picture was decoded only where they were before";

/// What was asked for.
pub(super) struct Sparing {
    pictures: Pictures,
    asked: Wanted,
    /// The calibration that the boxes below are of.
    of: Option<Arc<Calibration>>,
    /// What must be there.
    needed: Vec<PixelBox>,
    boxes: Arc<[PixelBox]>,
}

impl Sparing {
    pub(super) fn new(pictures: Pictures) -> Self {
        Self {
            pictures,
            asked: Wanted::Everything,
            of: None,
            needed: Vec::new(),
            boxes: Arc::from([]),
        }
    }

    /// Keeps up with the calibration in force.
    fn follow(&mut self, calibration: Option<&Arc<Calibration>>) {
        let is_same = match (&self.of, calibration) {
            (Some(a), Some(b)) => Arc::ptr_eq(a, b),
            (None, None) => true,
            _ => false,
        };
        if is_same {
            return;
        }
        self.of = calibration.cloned();
        let all = |slack_px: f64| -> Vec<PixelBox> {
            let of = |c: &Arc<Calibration>| -> Vec<PixelBox> {
                let round = |feed: &crate::glass::FeedCalibration| {
                    round(&feed.outline, slack_px).within(c.picture_width_px, c.picture_height_px)
                };
                c.feeds.iter().map(round).collect()
            };
            calibration.map(of).unwrap_or_default()
        };
        self.needed = all(0.0);
        self.boxes = Arc::from(all(SLACK_PX));
    }

    /// Whether a frame holds what measuring looks at.
    fn is_held(&self, frame: &Frame) -> bool {
        match &frame.extent {
            Extent::Whole => true,
            Extent::Boxes(boxes) => self
                .needed
                .iter()
                .all(|needed| boxes.iter().any(|there| there.holds(*needed))),
        }
    }
}

/// What measuring may look at of a glass, and so much more.
fn round(outline: &Outline, slack_px: f64) -> PixelBox {
    let edge = outline.upright_box();
    let reach_px = REACH_SHARE * outline.width_px + REACH_PX + slack_px;
    PixelBox {
        left: (edge.x - reach_px).floor().max(0.0) as u32,
        top: (edge.y - reach_px).floor().max(0.0) as u32,
        right: (edge.x + edge.width + reach_px).ceil().max(0.0) as u32,
        bottom: (edge.y + edge.height + reach_px).ceil().max(0.0) as u32,
    }
}

impl Measuring {
    /// Whether a frame holds what measuring looks at.
    pub(super) fn holds_the_glasses(&mut self, frame: &Frame) -> bool {
        if frame.is_whole() {
            return true;
        }
        self.sparing.follow(self.calibration.as_ref());
        self.sparing.is_held(frame)
    }

    /// The newest picture that can be shown is a whole one.
    pub(super) fn show(&mut self, frame: &Frame) {
        if frame.is_whole() {
            self.newest = Some(frame.clone());
        }
    }

    /// Tells *capture* what is looked at, when that has changed.
    pub(super) fn say_what_is_wanted(&mut self, feeds: &[FeedSnapshot]) {
        if self.sparing.pictures == Pictures::Shown {
            return;
        }
        self.sparing.follow(self.calibration.as_ref());
        let is_searching = self.looking.is_some() || self.again.is_some();
        let is_blind = feeds.iter().any(|f| f.state == FeedState::CannotSee);
        let wanted = if feeds.is_empty() || is_searching || is_blind {
            Wanted::Everything
        } else {
            Wanted::Boxes {
                boxes: Arc::clone(&self.sparing.boxes),
                whole_every_secs: WHOLE_EVERY_SECS,
            }
        };
        if wanted != self.sparing.asked {
            self.sparing.asked = wanted.clone();
            self.parts.shared.want(wanted);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::GlassKind;
    use crate::capture::demo::DemoSource;
    use crate::capture::pool::BLANK;
    use crate::capture::{Grab, Source};
    use crate::glass::{FeedCalibration, OilData};
    use crate::run::Instrument;

    fn calibration_of(source: &DemoSource) -> Calibration {
        let feed = |glass: &crate::capture::demo::GlassTruth| {
            FeedCalibration::new(Outline {
                kind: glass.kind,
                centre_x_px: glass.centre_px.0,
                centre_y_px: glass.centre_px.1,
                width_px: glass.size_px.0,
                height_px: glass.size_px.1,
                angle_deg: glass.angle_deg,
            })
        };
        Calibration {
            picture_width_px: source.about().width,
            picture_height_px: source.about().height,
            camera_identity: None,
            oil: OilData::default(),
            feeds: source.glasses().iter().map(feed).collect(),
        }
    }

    /// The frame as a camera brings it of which only these boxes are wanted.
    fn in_parts(frame: &Frame, boxes: &Arc<[PixelBox]>) -> Frame {
        let mut luma = (*frame.luma).clone();
        for (x, y, pixel) in luma.enumerate_pixels_mut() {
            let is_in =
                |b: &PixelBox| (b.left..b.right).contains(&x) && (b.top..b.bottom).contains(&y);
            if !boxes.iter().any(is_in) {
                pixel.0[0] = BLANK;
            }
        }
        Frame::shared(
            frame.number,
            frame.at_secs,
            Arc::new(luma),
            Extent::Boxes(Arc::clone(boxes)),
        )
    }

    #[test]
    fn parts_give_the_same_events_as_whole_pictures() {
        for words in [
            "demo:feeds=2,size=320x240,rates=20,fault=shake 2",
            "demo:feeds=2,size=320x240,rates=20,kind=port,roll=6,fault=shake 2",
        ] {
            let mut source = DemoSource::from_words(words).unwrap();
            let calibration = Arc::new(calibration_of(&source));
            let mut sparing = Sparing::new(Pictures::Measured);
            sparing.follow(Some(&calibration));
            // What must be there is enough, without the slack.
            let needed: Arc<[PixelBox]> = Arc::from(sparing.needed.clone());
            let mut from_whole = Instrument::new((*calibration).clone());
            let mut from_parts = Instrument::new((*calibration).clone());
            let mut beads = 0;
            for n in 0..360 {
                let Grab::Frame(frame) = source.next().unwrap() else {
                    panic!("the demo brings frames");
                };
                let whole = format!("{:?}", from_whole.step(&frame));
                beads += whole.matches("Bead").count();
                let part = if n % 15 == 0 {
                    frame
                } else {
                    in_parts(&frame, &needed)
                };
                assert_eq!(whole, format!("{:?}", from_parts.step(&part)), "{words}");
            }
            assert!(beads > 0, "{words}: nothing rose");
        }
    }

    #[test]
    fn a_frozen_picture_is_told_though_parts_and_whole_pictures_come_in_turn() {
        for fps in [15, 30] {
            let words = format!("demo:feeds=2,size=320x240,rates=20,fps={fps},fault=frozen @12");
            let mut source = DemoSource::from_words(&words).unwrap();
            let calibration = Arc::new(calibration_of(&source));
            let mut sparing = Sparing::new(Pictures::Measured);
            sparing.follow(Some(&calibration));
            let mut instrument = Instrument::new((*calibration).clone());
            for n in 0..fps * 18 {
                let Grab::Frame(frame) = source.next().unwrap() else {
                    panic!("the demo brings frames");
                };
                let part = if n % (fps / 2) == 0 {
                    frame
                } else {
                    in_parts(&frame, &sparing.boxes)
                };
                instrument.step(&part);
                let is_blind = instrument
                    .feeds()
                    .iter()
                    .all(|feed| feed.state == FeedState::CannotSee);
                let since_secs = part.at_secs - 12.0;
                if !(0.0..3.0).contains(&since_secs) {
                    assert_eq!(is_blind, since_secs > 0.0, "{since_secs} s, {fps} a second");
                }
            }
        }
    }

    #[test]
    fn a_frame_of_other_places_is_known() {
        let outline = Outline::upright(GlassKind::Tube, 100.0, 60.0, 40.0, 200.0);
        let moved = Outline {
            centre_x_px: outline.centre_x_px + SLACK_PX + 2.0,
            ..outline
        };
        let of = |outline: Outline| {
            Arc::new(Calibration {
                picture_width_px: 640,
                picture_height_px: 480,
                camera_identity: None,
                oil: OilData::default(),
                feeds: vec![FeedCalibration::new(outline)],
            })
        };
        let mut sparing = Sparing::new(Pictures::Measured);
        sparing.follow(Some(&of(outline)));
        let frame = Frame::shared(
            0,
            0.0,
            Arc::default(),
            Extent::Boxes(Arc::clone(&sparing.boxes)),
        );
        assert!(sparing.is_held(&frame));
        sparing.follow(Some(&of(moved)));
        assert!(!sparing.is_held(&frame));
        assert!(sparing.is_held(&Frame::new(0, 0.0, image::GrayImage::new(1, 1))));
    }
}
