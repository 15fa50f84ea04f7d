//! What a screen may know of a feed. It decides nothing.

use std::sync::Arc;

use crate::base::BeadKind;
use crate::run::snapshot::{BeadMark, FeedSnapshot};

use super::{Feed, MARKED_SECS};

impl Feed {
    pub fn snapshot(&self, now_secs: f64) -> FeedSnapshot {
        let pose = self.counter.pose();
        let mut outline_now = self.calibration.outline;
        outline_now.centre_x_px += pose.shift_px.0;
        outline_now.centre_y_px += pose.shift_px.1;
        outline_now.angle_deg += pose.turn_rad.to_degrees();
        let mut beads: Vec<BeadMark> = self
            .counter
            .on_their_way()
            .into_iter()
            .map(|bead| BeadMark {
                x_px: bead.x_px,
                y_px: bead.y_px,
                radius_px: bead.radius_px,
                kind: BeadKind::Oil,
                settled: false,
            })
            .collect();
        for bead in &self.counted {
            if now_secs - bead.settled_at_secs > MARKED_SECS {
                continue;
            }
            let risen = bead.rise_px_per_s * (now_secs - bead.at_secs);
            let top = -outline_now.height_px / 2.0;
            let (x_px, y_px) = outline_now.picture_from_glass(0.0, (-risen).max(top));
            beads.push(BeadMark {
                x_px,
                y_px,
                radius_px: bead.height_px / 2.0,
                kind: bead.kind,
                settled: true,
            });
        }
        FeedSnapshot {
            feed: self.number,
            calibration: self.calibration.clone(),
            outline_now,
            reading: self.reading,
            state: self.state,
            blind: self.blind(),
            doubts: self.doubts.clone(),
            drops: self.drops,
            bubbles: self.bubbles,
            last_drop_secs: self.record.drops_secs.last().copied(),
            beads,
            history: Arc::clone(&self.history_shared),
            strip: self.counter.strip(),
            shake_px: pose.shift_px.0.hypot(pose.shift_px.1),
            residual_levels: pose.residual,
            as_found: self.as_found.clone(),
            oil: self.oil_now(),
            growth: self.oil.growth,
        }
    }
}
