//! The Set-up view: outlines to drag, and beside them names, bands, measures and scale. It keeps
//! a draft with undo; what a person settles on goes to the instrument at once and can be undone.

mod canvas;
mod fields;
pub(super) mod steps;

use std::sync::Arc;

use eframe::egui::{Id, Rect, ScrollArea, Ui, UiBuilder};

use crate::base::FeedNumber;
use crate::glass::Calibration;
use crate::run::Snapshot;
use crate::ui::edit::Editor;
use crate::ui::fresh::Fresh;
use crate::ui::keys::{Action, Nudge};
use crate::ui::layout;
use crate::ui::picture::LivePicture;
use crate::ui::shapes;
use crate::ui::theme::Palette;
use crate::ui::words;

/// What the Set-up view asks of the window.
#[derive(Clone, Debug)]
pub enum Ask {
    /// Put this in force.
    Calibrate(Arc<Calibration>),
    /// Find the glasses again.
    Find,
    /// Ask where to save.
    Save,
    /// Ask what to load.
    Load,
}

/// Measuring with two clicks.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Measure {
    Off,
    First,
    Second((f64, f64)),
    Done((f64, f64), (f64, f64)),
}

impl Measure {
    /// Whether clicks on the picture are points to measure between.
    fn is_on(self) -> bool {
        matches!(self, Self::First | Self::Second(_))
    }
}

/// The Set-up view's memory.
pub struct Setup {
    editor: Option<Editor>,
    seen: Option<Arc<Calibration>>,
    sent: Vec<Arc<Calibration>>,
    unsent: bool,
    /// Why the draft is not in force, if it cannot be.
    trouble: Option<String>,
    measure: Measure,
    diameter_mm: f64,
    distance_mm: f64,
    picture_id: Option<Id>,
    /// Of each feed how far its glass stands from its place, pixels, and what steadying leaves
    /// unexplained, grey levels.
    steadied: Vec<(f64, f64)>,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            editor: None,
            seen: None,
            sent: Vec::new(),
            unsent: false,
            trouble: None,
            measure: Measure::Off,
            // A common outside diameter (common practice); a person puts in their own.
            diameter_mm: 20.0,
            distance_mm: 10.0,
            picture_id: None,
            steadied: Vec::new(),
        }
    }
}

impl Setup {
    /// The draft, once there is one.
    #[must_use]
    pub fn draft(&self) -> Option<&Calibration> {
        self.editor.as_ref().map(Editor::draft)
    }

    /// Takes over what is in force, unless it is only the echo of what was sent from here.
    pub fn follow(&mut self, snapshot: &Snapshot) {
        self.steadied.clear();
        let feeds = snapshot.feeds.iter();
        self.steadied
            .extend(feeds.map(|feed| (feed.shake_px, feed.residual_levels)));
        let Some(in_force) = snapshot.calibration.clone().or_else(|| started(snapshot)) else {
            return;
        };
        let known = self
            .seen
            .as_ref()
            .is_some_and(|seen| Arc::ptr_eq(seen, &in_force) || **seen == *in_force);
        self.seen = Some(in_force.clone());
        let Some(editor) = &mut self.editor else {
            self.editor = Some(Editor::new((*in_force).clone()));
            return;
        };
        if known {
            return;
        }
        if !editor.is_touched() {
            // The finder was at it, not a person: there is nothing to undo.
            *editor = Editor::new((*in_force).clone());
            return;
        }
        if let Some(at) = self.sent.iter().position(|sent| **sent == *in_force) {
            self.sent.drain(..=at);
        } else {
            editor.replace((*in_force).clone());
        }
    }

    /// Takes over a calibration read from a file: one step, sent at once.
    pub fn load(&mut self, calibration: Calibration) {
        match &mut self.editor {
            Some(editor) => editor.replace(calibration),
            None => self.editor = Some(Editor::new(calibration)),
        }
        self.unsent = true;
    }

    /// Forgets everything: another source is watched now.
    pub fn forget(&mut self) {
        *self = Self {
            diameter_mm: self.diameter_mm,
            distance_mm: self.distance_mm,
            ..Self::default()
        };
    }

    /// Chooses the outline of a feed.
    pub fn choose(&mut self, feed: Option<FeedNumber>) {
        if let Some(editor) = &mut self.editor {
            editor.choose(feed.map(FeedNumber::index));
        }
    }

    /// Whether the picture has the keyboard.
    #[must_use]
    pub fn picture_has_focus(&self, ui: &Ui) -> bool {
        self.picture_id
            .is_some_and(|id| ui.ctx().memory(|memory| memory.has_focus(id)))
    }

    /// Does what a key asked for.
    pub fn act(&mut self, action: Action) {
        let Some(editor) = &mut self.editor else {
            return;
        };
        let changed = match action {
            Action::Undo => editor.undo(),
            Action::Redo => editor.redo(),
            Action::Remove => editor.remove(),
            Action::Next | Action::Previous => {
                editor.choose_next(if action == Action::Next { 1 } else { -1 });
                false
            }
            Action::Nudge(x, y, Nudge::Move) => editor.change_on("keys-move", |feed| {
                feed.outline.centre_x_px += f64::from(x);
                feed.outline.centre_y_px += f64::from(y);
            }),
            Action::Nudge(x, y, Nudge::Size) => editor.change_on("keys-size", |feed| {
                // An upper left corner that stays.
                feed.outline.width_px += f64::from(x);
                feed.outline.height_px += f64::from(y);
                let centre = feed
                    .outline
                    .picture_from_glass(f64::from(x) / 2.0, f64::from(y) / 2.0);
                (feed.outline.centre_x_px, feed.outline.centre_y_px) = centre;
            }),
            Action::Turn(tenths) => editor.change_on("keys-turn", |feed| {
                feed.outline.angle_deg += f64::from(tenths) / 10.0;
            }),
            _ => false,
        };
        self.unsent |= changed;
    }

    /// What was changed and not yet sent; it counts as sent from now on.
    pub fn take_unsent(&mut self) -> Option<Arc<Calibration>> {
        let editor = self.editor.as_ref().filter(|_| self.unsent)?;
        let settled = Arc::new(editor.draft().clone());
        self.unsent = false;
        // What makes no sense is told, and not put in force.
        self.trouble = settled
            .check()
            .err()
            .map(|(index, fault)| words::not_in_force(index, &fault.to_string()));
        if self.trouble.is_some() {
            return None;
        }
        self.sent.push(settled.clone());
        Some(settled)
    }

    /// Draws the view.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        fresh: &Fresh,
        live: &mut LivePicture,
        palette: &Palette,
    ) -> Vec<Ask> {
        let (left, right) = layout::setup(rect);
        let placing = live.show(ui, left, fresh.snapshot().frame.as_ref(), fresh, palette);
        if let Some(placing) = placing {
            self.canvas(ui, &placing);
        }
        shapes::plate(ui.painter(), right, palette.plate, palette);
        let mut side = ui.new_child(
            UiBuilder::new()
                .id_salt("set-up-side")
                .max_rect(right.shrink(14.0)),
        );
        let mut asks = Vec::new();
        ScrollArea::vertical()
            .id_salt("set-up-fields")
            .auto_shrink(false)
            .show(&mut side, |ui| self.fields(ui, &mut asks, palette));
        // What is still being changed is not sent: the instrument starts anew at each change.
        let busy = ui.input(|input| input.pointer.any_down()) || ui.ctx().text_edit_focused();
        if !busy {
            asks.extend(self.take_unsent().map(Ask::Calibrate));
        }
        asks
    }
}

/// A first calibration, without glasses, for a source that has none yet.
fn started(snapshot: &Snapshot) -> Option<Arc<Calibration>> {
    let frame = snapshot.frame.as_ref()?;
    let identity = snapshot.about.as_ref().map(|about| about.identity.clone());
    Some(Arc::new(Calibration {
        picture_width_px: frame.width(),
        picture_height_px: frame.height(),
        camera_identity: identity.filter(|identity| !identity.is_empty()),
        oil: crate::glass::OilData::default(),
        feeds: snapshot
            .feeds
            .iter()
            .map(|feed| feed.calibration.clone())
            .collect(),
    }))
}
