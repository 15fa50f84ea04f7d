//! The room view: one glass as large as it goes, each bead ringed as it is counted, the count
//! stepping, the last bead again in slow motion, and the strip explained; for many eyes at some
//! distance. It draws what the snapshot says.

pub mod lessons;
pub mod replay;

use eframe::egui::{Align2, Rect, Stroke, StrokeKind, Ui, pos2, vec2};

use crate::base::{FeedNumber, Frame};
use crate::judge::FeedState;
use crate::run::{FeedSnapshot, Intent};
use crate::ui::backend::{Backend, DEMO_SOURCE};
use crate::ui::bars::RowKey;
use crate::ui::feed_panel::Told;
use crate::ui::fitter::glove_keys;
use crate::ui::flash::Flashes;
use crate::ui::fresh::Fresh;
use crate::ui::keys::Action;
use crate::ui::paint::{self, Lit, Usable};
use crate::ui::picture::{self, GreyTexture, Placing};
use crate::ui::style::letters;
use crate::ui::theme::{OUTLINE_CHOSEN, PICTURE, Palette};
use crate::ui::{figures, layout, shapes, words};

use lessons::{CLEAR, Lesson, LessonAsk, OnDemo};
use replay::Reel;

/// Share of the glass's height that is shown beyond its ends.
const MARGIN: f64 = 0.15;
/// Room for the number above the glass, points.
const LEAST_ABOVE: f64 = 34.0;
/// How often the slow motion changes its picture, seconds.
pub const PLAY_SECS: f64 = 0.08;

/// What was asked for in the view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RoomAsk {
    /// What a key does.
    Act(Action),
    /// Open the demo.
    OpenDemo,
}

/// A moment that was frozen.
struct Frozen {
    frame: Frame,
    feed: FeedSnapshot,
    told: Told,
}

/// The view's memory.
#[derive(Default)]
pub struct Room {
    reel: Reel,
    glass: GreyTexture,
    slow: GreyTexture,
    frozen: Option<Frozen>,
    lesson: Option<Lesson>,
}

/// What the view draws from.
pub struct With<'a> {
    /// What stands behind the window.
    pub backend: &'a dyn Backend,
    /// What the instrument told last.
    pub fresh: &'a Fresh,
    /// What was counted just now.
    pub flashes: &'a Flashes,
    /// All feeds.
    pub feeds: &'a [(FeedSnapshot, Told)],
    /// The chosen one.
    pub chosen: Option<FeedNumber>,
}

impl Room {
    /// Whether something here moves by itself.
    #[must_use]
    pub fn plays(&self) -> bool {
        self.reel.last().is_some()
    }

    /// Whether the picture is frozen.
    #[must_use]
    pub fn is_frozen(&self) -> bool {
        self.frozen.is_some()
    }

    /// The lesson that is open.
    #[must_use]
    pub fn lesson(&self) -> Option<Lesson> {
        self.lesson
    }

    /// Opens the lessons, or closes them.
    pub fn turn_lessons(&mut self) {
        self.lesson = match self.lesson {
            Some(_) => None,
            None => Some(Lesson::default()),
        };
    }

    /// Freezes the picture, or lets it go. Counting goes on either way.
    pub fn freeze(
        &mut self,
        fresh: &Fresh,
        feeds: &[(FeedSnapshot, Told)],
        chosen: Option<FeedNumber>,
    ) {
        self.frozen = match self.frozen.take() {
            Some(_) => None,
            None => shown(feeds, chosen).and_then(|(feed, told)| {
                Some(Frozen {
                    frame: fresh.snapshot().frame.clone()?,
                    feed: feed.clone(),
                    told: told.clone(),
                })
            }),
        };
    }

    /// Draws the view.
    pub(super) fn show(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        with: &With<'_>,
        palette: &Palette,
    ) -> Vec<RoomAsk> {
        let mut asks = Vec::new();
        let (mut upper, row) = layout::over_keys(rect);
        if let Some(lesson) = &mut self.lesson {
            let (left, right) = layout::lesson(upper);
            upper = left;
            let on_demo = match &with.fresh.snapshot().about {
                Some(about) if about.name.starts_with(DEMO_SOURCE) => OnDemo::Yes,
                _ => OnDemo::No,
            };
            for ask in lesson.show(ui, right, on_demo, palette) {
                match ask {
                    LessonAsk::OpenDemo => asks.push(RoomAsk::OpenDemo),
                    LessonAsk::Faults(faults) => {
                        for fault in faults {
                            with.backend.send(Intent::Fault((*fault).to_owned()));
                        }
                    }
                    LessonAsk::Clear => with.backend.send(Intent::Fault(CLEAR.to_owned())),
                    LessonAsk::Over => self.lesson = None,
                }
            }
        }
        if let Some((feed, told)) = shown(with.feeds, with.chosen) {
            self.glass_and_count(ui, upper, feed, told, with, palette);
        } else {
            let ink = palette.ink;
            let words = words::get().room_nothing;
            paint::paragraph(ui, upper, Align2::CENTER_CENTER, words, 24.0, ink);
        }
        for action in glove_keys(ui, row, &self.keys(), palette) {
            asks.push(RoomAsk::Act(action));
        }
        asks
    }

    fn keys(&self) -> Vec<RowKey> {
        let words = words::get();
        let freeze = if self.frozen.is_some() {
            words.unfreeze
        } else {
            words.freeze
        };
        let key = |action, words, lit| RowKey {
            action,
            words,
            usable: Usable::Yes,
            lit,
        };
        vec![
            key(Action::Neighbour(-1), words.feed_left, Lit::No),
            key(Action::Neighbour(1), words.feed_right, Lit::No),
            key(Action::Freeze, freeze, Lit::from(self.frozen.is_some())),
            key(
                Action::Lessons,
                words.lessons,
                Lit::from(self.lesson.is_some()),
            ),
            key(Action::FullScreen, words.full_screen, Lit::No),
        ]
    }

    fn glass_and_count(
        &mut self,
        ui: &Ui,
        rect: Rect,
        feed: &FeedSnapshot,
        told: &Told,
        with: &With<'_>,
        palette: &Palette,
    ) {
        let snapshot = with.fresh.snapshot();
        self.reel.take(snapshot, feed, with.fresh.clock_secs());
        let places = layout::room(rect);
        let flash = Lit::from(with.flashes.is_lit(feed.feed));
        match &self.frozen {
            Some(frozen) => {
                let number = frozen.frame.number as usize ^ (usize::MAX / 2);
                glass(
                    ui,
                    places.glass,
                    &mut self.glass,
                    (&frozen.frame, number),
                    (&frozen.feed, &frozen.told, Lit::No),
                    with,
                    palette,
                );
                let sign = places.glass.with_max_y(places.glass.top() + 34.0);
                let words = words::get().room_frozen;
                ui.painter().rect_filled(sign, 3.0, palette.caution);
                let ink = palette.on_caution;
                paint::words(ui, sign, Align2::CENTER_CENTER, words, 18.0, ink);
            }
            None => {
                if let Some(frame) = &snapshot.frame {
                    let number = with.fresh.generation();
                    glass(
                        ui,
                        places.glass,
                        &mut self.glass,
                        (frame, number),
                        (feed, told, flash),
                        with,
                        palette,
                    );
                }
            }
        }
        count(ui, places.count, feed, told, flash, palette);
        self.slow_motion(ui, places.slow, feed, with, palette);
        strip_explained(ui, places.words, palette);
    }

    fn slow_motion(
        &mut self,
        ui: &Ui,
        rect: Rect,
        feed: &FeedSnapshot,
        with: &With<'_>,
        palette: &Palette,
    ) {
        ui.painter().rect_filled(rect, 4.0, palette.well);
        let line = 26.0_f32.min(rect.height() * 0.2);
        let head = rect.with_max_y(rect.top() + line).shrink2(vec2(8.0, 2.0));
        let body = rect.with_min_y(head.bottom()).shrink(4.0);
        let ink = palette.ink_well;
        let Some((index, shot)) = self
            .reel
            .last()
            .and_then(|replay| replay.shot_at(with.fresh.clock_secs()))
        else {
            let words = words::get().room_no_last;
            paint::paragraph(
                ui,
                rect.shrink(8.0),
                Align2::CENTER_CENTER,
                words,
                15.0,
                ink,
            );
            return;
        };
        let words = words::get().room_last;
        paint::words(ui, head, Align2::LEFT_CENTER, words, 14.0, ink);
        let (width, height) = (shot.picture.width(), shot.picture.height());
        let placing = Placing::fit(body, width, height);
        let drop = self.reel.last().map_or(0, |replay| replay.drop);
        let mark = (drop as usize) << 12 | index;
        let secs = with.fresh.clock_secs();
        self.slow
            .follow(ui.ctx(), "slow-motion", &shot.picture, mark, 1, secs);
        let painter = ui.painter_at(rect);
        if let Some(handle) = self.slow.handle() {
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            painter.image(handle.id(), placing.shown, whole, PICTURE);
        }
        let mut then = feed.clone();
        then.outline_now = shot.outline;
        then.beads.clone_from(&shot.beads);
        then.drops = drop;
        let points = picture::outline_points(&then.outline_now, &placing);
        shapes::haloed(&painter, &points, 1.75, OUTLINE_CHOSEN);
        picture::beads(&painter, &placing, &then, Lit::No);
    }
}

/// The feed to show: the chosen one, or the first.
fn shown(
    feeds: &[(FeedSnapshot, Told)],
    chosen: Option<FeedNumber>,
) -> Option<(&FeedSnapshot, &Told)> {
    feeds
        .iter()
        .find(|(feed, _)| Some(feed.feed) == chosen)
        .or(feeds.first())
        .map(|(feed, told)| (feed, told))
}

/// The glass of a feed, as large as it goes, with its beads.
fn glass(
    ui: &Ui,
    rect: Rect,
    texture: &mut GreyTexture,
    (frame, number): (&Frame, usize),
    (feed, told, flash): (&FeedSnapshot, &Told, Lit),
    with: &With<'_>,
    palette: &Palette,
) {
    ui.painter().rect_filled(rect, 4.0, palette.well);
    let upright = feed.outline_now.upright_box();
    let (width, height) = (
        upright.width.max(1.0) * (1.0 + 4.0 * MARGIN),
        upright.height.max(1.0) * (1.0 + 2.0 * MARGIN.max(LEAST_ABOVE / f64::from(rect.height()))),
    );
    let scale = (f64::from(rect.width()) / width).min(f64::from(rect.height()) / height) as f32;
    // The whole picture, placed so that the glass stands in the middle; the rest is cut off.
    let centre = vec2(
        (upright.x + upright.width / 2.0) as f32,
        (upright.y + upright.height / 2.0) as f32,
    );
    let size = vec2(frame.width() as f32, frame.height() as f32) * scale;
    let placing = Placing {
        shown: Rect::from_min_size(rect.center() - centre * scale, size),
        points_per_px: scale,
    };
    let secs = with.fresh.clock_secs();
    texture.follow(ui.ctx(), "room-glass", &frame.luma, number, 1, secs);
    let painter = ui.painter_at(rect);
    if let Some(handle) = texture.handle() {
        let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        painter.image(handle.id(), placing.shown, whole, PICTURE);
    }
    picture::feed_over(&painter, &placing, feed, told, Lit::Yes, flash, palette);
    let name = words::feed_name(feed.feed, &feed.calibration.name);
    paint::say(ui, rect, &words::feed_sentence(&name, told));
    if flash == Lit::Yes {
        painter.rect_stroke(
            rect.shrink(2.0),
            4.0,
            Stroke::new(4.0, crate::ui::theme::RING_OIL),
            StrokeKind::Inside,
        );
    }
}

/// The count as it steps, the rate, the verdict.
fn count(ui: &Ui, rect: Rect, feed: &FeedSnapshot, told: &Told, flash: Lit, palette: &Palette) {
    let fill = if flash == Lit::Yes {
        palette.plate_chosen
    } else {
        palette.plate
    };
    shapes::plate(ui.painter(), rect, fill, palette);
    let inner = rect.shrink(rect.height().min(rect.width()) * 0.06);
    let line = (inner.height() * 0.11).clamp(16.0, 44.0);
    let row = |from: f32, height: f32| {
        Rect::from_min_size(
            pos2(inner.left(), inner.top() + from),
            vec2(inner.width(), height),
        )
    };
    let name = words::feed_name(feed.feed, &feed.calibration.name);
    paint::words(
        ui,
        row(0.0, line),
        Align2::LEFT_CENTER,
        &name,
        line * 0.72,
        palette.ink,
    );
    let drops = feed.drops.to_string();
    let room = row(line * 1.2, inner.height() - line * 4.4);
    let height = room
        .height()
        .min(room.width() / figures::width(&"8".repeat(drops.len().max(3)), 1.0))
        .max(18.0);
    let foot = pos2(room.right(), room.center().y + height / 2.0);
    figures::draw(ui.painter(), foot, height, &drops, palette.figure);
    paint::say(ui, room, &words::counted(feed.drops, 0));
    let below = inner.height() - line * 3.1;
    let right = Align2::RIGHT_CENTER;
    let drops_word = words::get().room_drops;
    paint::words(
        ui,
        row(below, line),
        right,
        drops_word,
        line * 0.7,
        palette.ink,
    );
    let rate = match (&told.reading, told.state) {
        (_, FeedState::CannotSee) => told.why_blind.clone(),
        (Some(reading), _) => words::said_rate(reading),
        (None, _) => words::get().waiting_for_drops.to_owned(),
    };
    let mut size = line * 0.8;
    while size > 12.0 && paint::width(ui, &rate, size) > inner.width() {
        size -= 0.5;
    }
    paint::words(ui, row(below + line, line), right, &rate, size, palette.ink);
    let badge = palette.state(told.state);
    let plate = row(below + line * 2.1, line);
    ui.painter().rect(
        plate,
        4.0,
        badge.fill,
        Stroke::new(1.0, palette.badge_edge()),
        StrokeKind::Inside,
    );
    let side = line * 0.6;
    let square = Rect::from_center_size(
        pos2(plate.left() + line * 0.6, plate.center().y),
        vec2(side, side),
    );
    shapes::verdict(ui.painter(), square, told.state, badge.ink);
    paint::painted(
        ui,
        plate.with_min_x(square.right() + line * 0.3),
        Align2::LEFT_CENTER,
        words::state(told.state),
        letters(line * 0.66),
        badge.ink,
    );
}

/// What a strip is, beside it.
fn strip_explained(ui: &Ui, rect: Rect, palette: &Palette) {
    let size = (rect.height() * 0.2).clamp(13.0, 22.0);
    let words = words::get().room_strip;
    paint::paragraph(ui, rect, Align2::LEFT_CENTER, words, size, palette.ink);
}
