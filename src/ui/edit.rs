//! Changing outlines, names, bands and scales: the draft, what a pointer has hold of, undo and
//! redo. Pure: picture pixels in, a calibration out; it draws nothing and sends nothing.

use crate::base::{Band, GlassKind};
use crate::glass::{Calibration, FeedCalibration, Outline};

/// Smallest side of an outline, pixels: below this no bead could be seen in it.
pub const LEAST_SIDE_PX: f64 = 12.0;
/// Largest turn of an outline, degrees (as the outline's own definition has it).
pub const MOST_TURN_DEG: f64 = 45.0;
/// How many steps can be undone.
const MOST_STEPS: usize = 200;

/// A part of an outline that can be taken hold of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Handle {
    /// The whole.
    Body,
    /// A corner or the middle of a side: −1, 0 or 1 across and along.
    Side(i8, i8),
    /// The knob above, which turns it.
    Turn,
}

/// All handles but the body, in the order in which they are looked for.
pub const HANDLES: [Handle; 9] = [
    Handle::Turn,
    Handle::Side(-1, -1),
    Handle::Side(1, -1),
    Handle::Side(1, 1),
    Handle::Side(-1, 1),
    Handle::Side(0, -1),
    Handle::Side(1, 0),
    Handle::Side(0, 1),
    Handle::Side(-1, 0),
];

/// Where a handle is in the picture; `reach_px` is how far the turning knob stands off.
#[must_use]
pub fn handle_at(outline: &Outline, handle: Handle, reach_px: f64) -> (f64, f64) {
    let (half_width, half_height) = (outline.width_px / 2.0, outline.height_px / 2.0);
    match handle {
        Handle::Body => (outline.centre_x_px, outline.centre_y_px),
        Handle::Side(a, l) => {
            outline.picture_from_glass(f64::from(a) * half_width, f64::from(l) * half_height)
        }
        Handle::Turn => outline.picture_from_glass(0.0, half_height + reach_px),
    }
}

/// A drag under way.
#[derive(Clone, Copy, Debug)]
struct Drag {
    handle: Handle,
    start: Outline,
    from_px: (f64, f64),
}

/// What becomes of an outline when `handle` is dragged from one picture point to another.
#[must_use]
pub fn dragged(start: &Outline, handle: Handle, from_px: (f64, f64), to_px: (f64, f64)) -> Outline {
    let mut outline = *start;
    match handle {
        Handle::Body => {
            outline.centre_x_px += to_px.0 - from_px.0;
            outline.centre_y_px += to_px.1 - from_px.1;
        }
        Handle::Side(a, l) => {
            // In glass space the opposite side stays where it is.
            let from = start.glass_from_picture(from_px.0, from_px.1);
            let to = start.glass_from_picture(to_px.0, to_px.1);
            let (across, along) = (to.0 - from.0, to.1 - from.1);
            let mut centre = (0.0, 0.0);
            if a != 0 {
                let side = f64::from(a);
                outline.width_px = (start.width_px + side * across).max(LEAST_SIDE_PX);
                centre.0 = side * (outline.width_px - start.width_px) / 2.0;
            }
            if l != 0 {
                let side = f64::from(l);
                outline.height_px = (start.height_px + side * along).max(LEAST_SIDE_PX);
                centre.1 = side * (outline.height_px - start.height_px) / 2.0;
            }
            (outline.centre_x_px, outline.centre_y_px) =
                start.picture_from_glass(centre.0, centre.1);
        }
        Handle::Turn => {
            // The knob hangs below the centre: straight down is an angle of 0.
            let (dx, dy) = (to_px.0 - start.centre_x_px, to_px.1 - start.centre_y_px);
            if dx.hypot(dy) > 1.0 {
                outline.angle_deg = (-dx).atan2(dy).to_degrees();
            }
        }
    }
    outline
}

/// Keeps an outline within what is allowed: its centre in the picture, its sides and turn within
/// limits. A value that is no number goes back to `before`.
#[must_use]
pub fn within(outline: Outline, before: &Outline, width_px: u32, height_px: u32) -> Outline {
    let finite = |value: f64, old: f64| if value.is_finite() { value } else { old };
    let (w, h) = (f64::from(width_px.max(1)), f64::from(height_px.max(1)));
    let (least_w, least_h) = (LEAST_SIDE_PX.min(w), LEAST_SIDE_PX.min(h));
    let mut kept = Outline {
        kind: outline.kind,
        centre_x_px: finite(outline.centre_x_px, before.centre_x_px),
        centre_y_px: finite(outline.centre_y_px, before.centre_y_px),
        width_px: finite(outline.width_px, before.width_px).clamp(least_w, w),
        height_px: finite(outline.height_px, before.height_px).clamp(least_h, h),
        angle_deg: finite(outline.angle_deg, before.angle_deg).clamp(-MOST_TURN_DEG, MOST_TURN_DEG),
    };
    // The whole glass stays in the picture: move it in; shrink it only when it cannot fit.
    for _ in 0..2 {
        let upright = kept.upright_box();
        let shrink = (w / upright.width).min(h / upright.height).min(1.0);
        kept.width_px = (kept.width_px * shrink).max(least_w);
        kept.height_px = (kept.height_px * shrink).max(least_h);
        let upright = kept.upright_box();
        kept.centre_x_px = kept.centre_x_px.clamp(
            (upright.width / 2.0).min(w / 2.0),
            (w - upright.width / 2.0).max(w / 2.0),
        );
        kept.centre_y_px = kept.centre_y_px.clamp(
            (upright.height / 2.0).min(h / 2.0),
            (h - upright.height / 2.0).max(h / 2.0),
        );
    }
    kept
}

/// The calibration being changed.
#[derive(Clone, Debug)]
pub struct Editor {
    draft: Calibration,
    chosen: Option<usize>,
    undo: Vec<Calibration>,
    redo: Vec<Calibration>,
    drag: Option<Drag>,
    /// The field whose changes join the newest step, while a person is still at it.
    joining: Option<&'static str>,
}

impl Editor {
    /// Starts with a calibration; nothing can be undone yet.
    #[must_use]
    pub fn new(start: Calibration) -> Self {
        let chosen = if start.feeds.is_empty() {
            None
        } else {
            Some(0)
        };
        Self {
            draft: start,
            chosen,
            undo: Vec::new(),
            redo: Vec::new(),
            drag: None,
            joining: None,
        }
    }

    /// The calibration as it stands, with the drag under way.
    #[must_use]
    pub fn draft(&self) -> &Calibration {
        &self.draft
    }

    /// Takes over a calibration that came from elsewhere (the finder); it can be undone.
    pub fn replace(&mut self, calibration: Calibration) {
        if self.drag.is_none() && calibration != self.draft {
            self.step(calibration);
        }
    }

    /// The index of the chosen outline.
    #[must_use]
    pub fn chosen(&self) -> Option<usize> {
        self.chosen.filter(|index| *index < self.draft.feeds.len())
    }

    /// The chosen feed.
    #[must_use]
    pub fn chosen_feed(&self) -> Option<&FeedCalibration> {
        self.chosen().and_then(|index| self.draft.feeds.get(index))
    }

    /// Chooses an outline.
    pub fn choose(&mut self, index: Option<usize>) {
        self.chosen = index.filter(|index| *index < self.draft.feeds.len());
    }

    /// Chooses the outline so many to the right, round and round.
    pub fn choose_next(&mut self, by: isize) {
        let count = self.draft.feeds.len().cast_signed();
        if count > 0 {
            let now = self
                .chosen()
                .map_or(-by.min(0), |index| index.cast_signed() + by);
            self.chosen = usize::try_from(now.rem_euclid(count)).ok();
        }
    }

    /// Whether there is something to undo.
    #[must_use]
    pub fn can_undo(&self) -> bool {
        !self.undo.is_empty()
    }

    /// Whether there is something to redo.
    #[must_use]
    pub fn can_redo(&self) -> bool {
        !self.redo.is_empty()
    }

    /// Whether a person has changed anything since the start.
    #[must_use]
    pub fn is_touched(&self) -> bool {
        self.can_undo() || self.can_redo() || self.is_dragging()
    }

    /// Takes back the last step. Gives whether there was one.
    pub fn undo(&mut self) -> bool {
        self.drag = None;
        self.joining = None;
        let Some(before) = self.undo.pop() else {
            return false;
        };
        self.redo.push(std::mem::replace(&mut self.draft, before));
        true
    }

    /// Does the last step taken back again. Gives whether there was one.
    pub fn redo(&mut self) -> bool {
        self.drag = None;
        self.joining = None;
        let Some(after) = self.redo.pop() else {
            return false;
        };
        self.undo.push(std::mem::replace(&mut self.draft, after));
        true
    }

    /// What stands at a picture point: an index and the part taken hold of. `reach_px` is how near
    /// is near enough, `knob_px` how far the turning knob stands off.
    #[must_use]
    pub fn hit(&self, at: (f64, f64), reach_px: f64, knob_px: f64) -> Option<(usize, Handle)> {
        if let Some((index, feed)) = self.chosen().zip(self.chosen_feed()) {
            for handle in HANDLES {
                let (x, y) = handle_at(&feed.outline, handle, knob_px);
                if (x - at.0).hypot(y - at.1) <= reach_px {
                    return Some((index, handle));
                }
            }
        }
        self.draft
            .feeds
            .iter()
            .position(|feed| feed.outline.contains(at.0, at.1))
            .map(|index| (index, Handle::Body))
    }

    /// Takes hold of a part.
    pub fn grab(&mut self, index: usize, handle: Handle, at: (f64, f64)) {
        if let Some(feed) = self.draft.feeds.get(index) {
            self.chosen = Some(index);
            self.drag = Some(Drag {
                handle,
                start: feed.outline,
                from_px: at,
            });
        }
    }

    /// Whether a part is held.
    #[must_use]
    pub fn is_dragging(&self) -> bool {
        self.drag.is_some()
    }

    /// Moves the part held to a picture point.
    pub fn drag_to(&mut self, at: (f64, f64)) {
        let (width, height) = self.size();
        if let (Some(drag), Some(index)) = (self.drag, self.chosen())
            && let Some(feed) = self.draft.feeds.get_mut(index)
        {
            let moved = dragged(&drag.start, drag.handle, drag.from_px, at);
            feed.outline = within(moved, &drag.start, width, height);
        }
    }

    /// Lets go. Gives whether anything changed.
    pub fn let_go(&mut self) -> bool {
        let (Some(drag), Some(index)) = (self.drag.take(), self.chosen()) else {
            return false;
        };
        let mut before = self.draft.clone();
        let Some(feed) = before.feeds.get_mut(index) else {
            return false;
        };
        if feed.outline == drag.start {
            return false;
        }
        feed.outline = drag.start;
        let after = std::mem::replace(&mut self.draft, before);
        self.step(after);
        true
    }

    /// Changes the chosen feed in one step. Gives whether anything changed.
    pub fn change(&mut self, change: impl FnOnce(&mut FeedCalibration)) -> bool {
        self.joining = None;
        self.change_step(change)
    }

    /// Changes the chosen feed; changes of the same field join into one step until
    /// [`Editor::settle`]. Gives whether anything changed.
    pub fn change_on(
        &mut self,
        field: &'static str,
        change: impl FnOnce(&mut FeedCalibration),
    ) -> bool {
        let joins = self.joining == Some(field);
        let changed = self.change_step(change);
        if changed && joins {
            // The state in between is nobody's wish: it need not be undone to.
            self.undo.pop();
        }
        if changed {
            self.joining = Some(field);
        }
        changed
    }

    /// The person left the field: what comes next is a new step.
    pub fn settle(&mut self) {
        self.joining = None;
    }

    fn change_step(&mut self, change: impl FnOnce(&mut FeedCalibration)) -> bool {
        let (width, height) = self.size();
        let mut after = self.draft.clone();
        let Some(feed) = self.chosen().and_then(|index| after.feeds.get_mut(index)) else {
            return false;
        };
        let before = feed.clone();
        change(feed);
        feed.outline = within(feed.outline, &before.outline, width, height);
        feed.band = sound_band(feed.band, before.band);
        if feed
            .px_per_mm
            .is_some_and(|scale| !(scale.is_finite() && scale > 0.0))
        {
            feed.px_per_mm = before.px_per_mm;
        }
        if *feed == before {
            return false;
        }
        self.step(after);
        true
    }

    /// Adds a glass in the middle of the widest gap between the others, and chooses it.
    pub fn add(&mut self, kind: GlassKind) {
        let (width, height) = self.size();
        let (w, h) = (f64::from(width), f64::from(height));
        let like = self
            .draft
            .feeds
            .iter()
            .find(|feed| feed.outline.kind == kind);
        let (own_w, own_h) = match (like, kind) {
            (Some(feed), _) => (feed.outline.width_px, feed.outline.height_px),
            (None, GlassKind::Tube) => (w * 0.08, h * 0.5),
            (None, GlassKind::Port) => (h * 0.3, h * 0.3),
        };
        let mut edges = vec![0.0];
        edges.extend(self.draft.feeds.iter().map(|feed| feed.outline.centre_x_px));
        edges.push(w);
        edges.sort_by(f64::total_cmp);
        let x = edges
            .windows(2)
            .max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))
            .map_or(w / 2.0, |gap| f64::midpoint(gap[0], gap[1]));
        let y = like.map_or(h / 2.0, |feed| feed.outline.centre_y_px);
        let outline = Outline {
            kind,
            centre_x_px: x,
            centre_y_px: y,
            width_px: own_w,
            height_px: own_h,
            angle_deg: 0.0,
        };
        let mut added = FeedCalibration::new(within(outline, &outline, width, height));
        added.px_per_mm = like.and_then(|feed| feed.px_per_mm);
        let mut after = self.draft.clone();
        after.feeds.push(added);
        self.chosen = Some(after.feeds.len() - 1);
        self.step(after);
    }

    /// Removes the chosen glass. Gives whether there was one.
    pub fn remove(&mut self) -> bool {
        let Some(index) = self.chosen() else {
            return false;
        };
        let mut after = self.draft.clone();
        after.feeds.remove(index);
        self.step(after);
        self.chosen = if self.draft.feeds.is_empty() {
            None
        } else {
            Some(index.min(self.draft.feeds.len() - 1))
        };
        true
    }

    /// Puts `after` in the place of the draft, from the left as feeds are numbered; the choice
    /// goes with its glass.
    fn step(&mut self, mut after: Calibration) {
        for feed in &mut after.feeds {
            // A scale taken from the glass's own diameter follows its outline.
            feed.px_per_mm = feed.scale_from.px_per_mm(&feed.outline).or(feed.px_per_mm);
        }
        let chosen = self
            .chosen
            .and_then(|index| after.feeds.get(index).cloned());
        after
            .feeds
            .sort_by(|a, b| a.outline.centre_x_px.total_cmp(&b.outline.centre_x_px));
        self.chosen = chosen
            .and_then(|feed| after.feeds.iter().position(|other| *other == feed))
            .or(if after.feeds.is_empty() {
                None
            } else {
                Some(0)
            });
        self.undo.push(std::mem::replace(&mut self.draft, after));
        if self.undo.len() > MOST_STEPS {
            self.undo.remove(0);
        }
        self.redo.clear();
    }

    fn size(&self) -> (u32, u32) {
        (self.draft.picture_width_px, self.draft.picture_height_px)
    }
}

/// A band that makes sense: limits that are numbers, not below zero, low under high.
fn sound_band(band: Band, before: Band) -> Band {
    let sound = band.low_per_minute.is_finite()
        && band.high_per_minute.is_finite()
        && band.low_per_minute >= 0.0
        && band.low_per_minute < band.high_per_minute;
    if sound { band } else { before }
}

#[cfg(test)]
#[path = "edit_tests.rs"]
mod tests;
