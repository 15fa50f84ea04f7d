//! STAND-IN until the instrument arrives; replaced by the merge.
use std::sync::Arc;

use image::GrayImage;

use crate::base::{BeadKind, BlindWhy, FeedNumber, Frame};
use crate::bead::Bead;
use crate::glass::Calibration;
use crate::judge::{Alarm, Cause, Condition, FeedState};
use crate::run::{Event, FeedSnapshot};

/// Stand-in.
pub struct Instrument {
    calibration: Calibration,
    now: f64,
    next: f64,
    drops: Vec<u64>,
    alarms: Vec<Alarm>,
}

#[allow(missing_docs, clippy::all, clippy::pedantic)]
impl Instrument {
    pub fn new(calibration: Calibration) -> Self {
        let n = calibration.feeds.len();
        Self {
            calibration,
            now: 0.0,
            next: 0.4,
            drops: vec![0; n],
            alarms: vec![],
        }
    }
    pub fn step(&mut self, frame: &Frame) -> Vec<Event> {
        self.now = frame.at_secs;
        let mut out = vec![];
        while self.now > self.next {
            for i in 0..self.drops.len() {
                self.drops[i] += 1;
                out.push(Event::Bead {
                    feed: FeedNumber::from_index(i),
                    bead: Bead {
                        at_secs: self.next,
                        kind: BeadKind::Oil,
                        rise_px_per_s: 300.0,
                        rise_mm_per_s: None,
                        height_px: 12.0,
                        diameter_mm: None,
                        confidence: 0.9,
                        settled_at_secs: self.now,
                        picture: Some(Arc::new(GrayImage::new(24, 24))),
                    },
                });
                out.push(Event::Reading {
                    at_secs: self.now,
                    feed: FeedNumber::from_index(i),
                    reading: None,
                    state: FeedState::NoReadingYet,
                    doubts: vec![],
                });
            }
            self.next += 0.4;
        }
        out
    }
    pub fn no_frame(&mut self, at_secs: f64, _why: BlindWhy) -> Vec<Event> {
        self.now = self.now.max(at_secs);
        vec![]
    }
    pub fn spoiled(&mut self, at_secs: f64, why: &str) -> Vec<Event> {
        vec![Event::Gap {
            from_secs: self.now,
            to_secs: at_secs,
            why: why.into(),
        }]
    }
    pub fn mark(&mut self, feed: Option<FeedNumber>, words: String) -> Vec<Event> {
        vec![Event::Mark {
            at_secs: self.now,
            feed,
            words,
        }]
    }
    pub fn acknowledge(&mut self, _feed: Option<FeedNumber>, _cause: Cause) -> Vec<Event> {
        vec![]
    }
    pub fn acknowledge_all(&mut self) -> Vec<Event> {
        vec![]
    }
    pub fn condition(&mut self, _cause: Cause, _condition: Condition) -> Vec<Event> {
        vec![]
    }
    pub fn recalibrate(&mut self, calibration: Calibration) -> Vec<Event> {
        self.calibration = calibration;
        vec![]
    }
    pub fn finish(&mut self) -> Vec<Event> {
        vec![Event::Blind {
            feed: None,
            from_secs: 0.0,
            to_secs: 0.1,
            why: BlindWhy::Starting,
        }]
    }
    pub fn feeds(&self) -> Vec<FeedSnapshot> {
        self.calibration
            .feeds
            .iter()
            .enumerate()
            .map(|(i, c)| FeedSnapshot {
                feed: FeedNumber::from_index(i),
                calibration: c.clone(),
                outline_now: c.outline,
                reading: None,
                state: FeedState::NoReadingYet,
                blind: None,
                doubts: vec![],
                drops: self.drops[i],
                bubbles: 0,
                last_drop_secs: None,
                beads: vec![],
                history: Arc::new(vec![]),
                strip: Arc::new(GrayImage::new(1, 1)),
                shake_px: 0.0,
            })
            .collect()
    }
    pub fn alarms(&self) -> Vec<Alarm> {
        self.alarms.clone()
    }
    pub fn now_secs(&self) -> f64 {
        self.now
    }
}
