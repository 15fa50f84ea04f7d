//! Words and keys at fixed places: each is painted where it is told, cut with an ellipsis rather
//! than pushed aside, and said to the accessibility tree. It holds no state.

use std::sync::Arc;

use eframe::egui::accesskit::{Live, Role};
use eframe::egui::text::{LayoutJob, TextFormat, TextWrapping};
use eframe::egui::{
    Align, Align2, Color32, CornerRadius, FontId, Galley, Id, Rect, Response, Sense, Stroke,
    StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2,
};

use crate::ui::shapes;
use crate::ui::style::{LEAST_LETTERS, letters};
use crate::ui::theme::{PICTURE, Palette};

/// Whether something can be used now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Usable {
    /// It can.
    Yes,
    /// It cannot, now.
    No,
}

impl From<bool> for Usable {
    fn from(yes: bool) -> Self {
        if yes { Self::Yes } else { Self::No }
    }
}

/// Whether something is switched on or chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lit {
    /// On.
    Yes,
    /// Off.
    No,
}

impl From<bool> for Lit {
    fn from(yes: bool) -> Self {
        if yes { Self::Yes } else { Self::No }
    }
}

/// One line of words in a rectangle: painted, cut when too long, and said. Gives the place taken.
pub fn words(ui: &Ui, rect: Rect, align: Align2, text: &str, size: f32, ink: Color32) -> Rect {
    let taken = painted(ui, rect, align, text, letters(size.max(LEAST_LETTERS)), ink);
    say_as(ui, taken, id_of_place(ui, rect), text);
    taken
}

/// The same, painted but not said (what says it is something larger).
pub fn painted(ui: &Ui, rect: Rect, align: Align2, text: &str, font: FontId, ink: Color32) -> Rect {
    let mut job = LayoutJob::single_section(text.to_owned(), TextFormat::simple(font, ink));
    job.wrap = TextWrapping {
        max_width: rect.width(),
        max_rows: 1,
        break_anywhere: true,
        overflow_character: Some('…'),
    };
    let galley = ui.painter().layout_job(job);
    let place = align.align_size_within_rect(galley.size(), rect);
    ui.painter().galley(place.min, galley, ink);
    place
}

/// The first of several forms of the same words that fits a width, points; the last when none
/// does.
#[must_use]
pub fn fitting<'a>(ui: &Ui, room: f32, size: f32, forms: &'a [String]) -> &'a str {
    let fits = |form: &&String| width(ui, form, size) <= room;
    forms
        .iter()
        .find(fits)
        .or(forms.last())
        .map_or("", String::as_str)
}

/// The largest size of letters up to one that lets a line fit a width, points.
#[must_use]
pub fn fitting_size(ui: &Ui, room: f32, text: &str, most: f32) -> f32 {
    let whole = width(ui, text, most);
    if whole <= room {
        return most;
    }
    (most * room / whole).max(LEAST_LETTERS)
}

/// Several lines of words in a rectangle, wrapped, cut after as many rows as it holds, and said.
pub fn paragraph(ui: &Ui, rect: Rect, align: Align2, text: &str, size: f32, ink: Color32) {
    let galley = wrapped(ui, rect, align, text, size, ink);
    let height = galley.size().y;
    let y = match align.y() {
        Align::Min => rect.top(),
        Align::Center => rect.center().y - height / 2.0,
        Align::Max => rect.bottom() - height,
    };
    let x = match align.x() {
        Align::Min => rect.left(),
        Align::Center => rect.center().x,
        Align::Max => rect.right(),
    };
    ui.painter().galley(pos2(x, y), galley, ink);
    say(ui, rect, text);
}

/// The same, in the largest letters up to a size in which nothing is cut.
pub fn paragraph_fitting(ui: &Ui, rect: Rect, align: Align2, text: &str, most: f32, ink: Color32) {
    let mut size = most;
    while size > LEAST_LETTERS && wrapped(ui, rect, align, text, size, ink).elided {
        size -= 0.5;
    }
    paragraph(ui, rect, align, text, size, ink);
}

/// The first of several forms of the same words of which nothing is cut in a rectangle; the last
/// when something of each is.
#[must_use]
pub fn fitting_paragraph<'a>(ui: &Ui, rect: Rect, size: f32, forms: &'a [String]) -> &'a str {
    let fits = |form: &&String| !wrapped(ui, rect, Align2::LEFT_TOP, form, size, PICTURE).elided;
    forms
        .iter()
        .find(fits)
        .or(forms.last())
        .map_or("", String::as_str)
}

fn wrapped(ui: &Ui, rect: Rect, align: Align2, text: &str, size: f32, ink: Color32) -> Arc<Galley> {
    let size = size.max(LEAST_LETTERS);
    let mut job =
        LayoutJob::single_section(text.to_owned(), TextFormat::simple(letters(size), ink));
    job.halign = match align.x() {
        Align::Min => Align::LEFT,
        Align::Center => Align::Center,
        Align::Max => Align::RIGHT,
    };
    job.wrap = TextWrapping {
        max_width: rect.width(),
        max_rows: ((rect.height() / (size * 1.25)).floor() as usize).max(1),
        break_anywhere: false,
        overflow_character: Some('…'),
    };
    ui.painter().layout_job(job)
}

/// Width of one line of words, points.
#[must_use]
pub fn width(ui: &Ui, text: &str, size: f32) -> f32 {
    ui.painter()
        .layout_no_wrap(text.to_owned(), letters(size.max(LEAST_LETTERS)), PICTURE)
        .size()
        .x
}

/// Says words that are drawn in some other way.
pub fn say(ui: &Ui, rect: Rect, text: &str) -> Response {
    say_as(ui, rect, id_of_place(ui, rect), text)
}

/// The id comes from the place, not from the words: a reading that changes stays one thing.
fn id_of_place(ui: &Ui, rect: Rect) -> Id {
    let whole = |v: f32| v.round() as i32;
    ui.scope_id().with((
        whole(rect.min.x),
        whole(rect.min.y),
        whole(rect.max.x),
        whole(rect.max.y),
    ))
}

/// Tells a screen reader of the words at a place when they change, once it has nothing else to say.
pub fn announce_politely(ui: &Ui, rect: Rect) {
    let id = id_of_place(ui, rect);
    ui.ctx()
        .accesskit_node_builder(id, |node| node.set_live(Live::Polite));
}

/// Says words under a given id.
pub fn say_as(ui: &Ui, rect: Rect, id: Id, text: &str) -> Response {
    let response = ui.interact(rect, id, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, text));
    response
}

/// Scrolls to what the keyboard came to.
pub trait InSight {
    /// Scrolls to this if it has just been given the keyboard.
    #[must_use]
    fn in_sight(self) -> Self;
}

impl InSight for Response {
    fn in_sight(self) -> Self {
        if self.gained_focus() {
            self.scroll_to_me(None);
        }
        self
    }
}

/// What stands on a key.
#[derive(Clone, Copy, Debug)]
pub struct KeyFace<'a> {
    /// The words.
    pub words: &'a str,
    /// The key of the keyboard that does the same, or nothing.
    pub cap: &'a str,
    /// Whether it can be used now.
    pub usable: Usable,
    /// Whether it is switched on.
    pub lit: Lit,
}

/// Share of a key's width that its words may take before they are made smaller; the rest is for the
/// cap of its key.
const WORDS_SHARE: f32 = 0.68;

/// Size of the words on a key of this size, points: a key for gloves has larger words, as far as
/// they fit.
#[must_use]
pub fn key_letters(ui: &Ui, size: Vec2, words: &str) -> f32 {
    let most = if size.y > 60.0 { 26.0 } else { 18.0 };
    let mut letters = (size.y * 0.38).clamp(LEAST_LETTERS, most);
    while letters > 18.0 && width(ui, words, letters) > size.x * WORDS_SHARE {
        letters -= 1.0;
    }
    letters
}

/// A large key to press, with the keyboard's key beside its words.
pub fn key(ui: &Ui, rect: Rect, salt: &str, face: &KeyFace<'_>, palette: &Palette) -> Response {
    let size = key_letters(ui, rect.size(), face.words);
    key_with(ui, rect, salt, face, size, palette)
}

/// The same with words of a given size, so that the keys of a row are alike.
pub fn key_with(
    ui: &Ui,
    rect: Rect,
    salt: &str,
    face: &KeyFace<'_>,
    size: f32,
    palette: &Palette,
) -> Response {
    let sense = match face.usable {
        Usable::Yes => Sense::click(),
        Usable::No => Sense::hover(),
    };
    let response = ui.interact(rect, ui.scope_id().with(salt), sense);
    let info = || WidgetInfo::labeled(Role::Button, face.usable == Usable::Yes, face.words);
    response.widget_info(info);
    if !ui.is_rect_visible(rect) {
        return response;
    }
    let held = response.is_pointer_button_down_on() || face.lit == Lit::Yes;
    let fill = if face.usable == Usable::No {
        palette.room
    } else if held {
        palette.key_down
    } else if response.hovered() {
        palette.key_hover
    } else {
        palette.key
    };
    let edge = if face.usable == Usable::Yes {
        palette.key_edge
    } else {
        palette.rule
    };
    let ink = match face.usable {
        Usable::Yes => palette.ink,
        Usable::No => palette.ink_soft,
    };
    ui.painter().rect(
        rect,
        CornerRadius::same(5),
        fill,
        Stroke::new(1.0, edge),
        StrokeKind::Inside,
    );
    if face.lit == Lit::Yes {
        let foot = Rect::from_min_max(
            pos2(rect.left() + 6.0, rect.bottom() - 5.0),
            pos2(rect.right() - 6.0, rect.bottom() - 2.5),
        );
        ui.painter().rect_filled(foot, 1.0, palette.focus);
    }
    let cap_size = (size - 3.0).clamp(LEAST_LETTERS, 15.0);
    let side = if rect.width() < 90.0 { 3.0 } else { 8.0 };
    let inner = rect.shrink2(vec2(side, 2.0));
    let cap_width = if face.cap.is_empty() {
        0.0
    } else {
        width(ui, face.cap, cap_size) + 12.0
    };
    let words_width = width(ui, face.words, size);
    let room_for_cap = words_width + cap_width <= inner.width() && cap_width > 0.0;
    if room_for_cap {
        let cap = Rect::from_min_max(
            pos2(
                inner.right() - cap_width + 6.0,
                inner.center().y - cap_size * 0.75,
            ),
            pos2(inner.right(), inner.center().y + cap_size * 0.75),
        );
        ui.painter().rect_stroke(
            cap,
            CornerRadius::same(3),
            Stroke::new(1.0, palette.key_edge),
            StrokeKind::Inside,
        );
        painted(
            ui,
            cap,
            Align2::CENTER_CENTER,
            face.cap,
            letters(cap_size),
            palette.ink_soft,
        );
        let left = inner.with_max_x(cap.left() - 4.0);
        painted(
            ui,
            left,
            Align2::CENTER_CENTER,
            face.words,
            letters(size),
            ink,
        );
    } else {
        painted(
            ui,
            inner,
            Align2::CENTER_CENTER,
            face.words,
            letters(size),
            ink,
        );
    }
    if response.has_focus() {
        shapes::focus_ring(ui.painter(), rect, palette);
    }
    response
}
