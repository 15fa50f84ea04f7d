//! Getting started: what is watched, are these the glasses, how thick are they, what are the feeds
//! called. Four steps, each of which can be undone, left out, or done later in the Set-up view.

use std::collections::{HashMap, VecDeque};

use eframe::egui::accesskit::Role;
use eframe::egui::{Align2, Rect, Response, Sense, Ui, UiBuilder, WidgetInfo, pos2, vec2};

use crate::health::aim::{self, Judged};
use crate::ui::backend::{Backend, Cameras, DEMO_SOURCE};
use crate::ui::fresh::Fresh;
use crate::ui::layout;
use crate::ui::paint::{self, KeyFace, Lit, Usable};
use crate::ui::picture::{GreyTexture, LivePicture, Placing};
use crate::ui::setup::steps::{Onward, side};
use crate::ui::setup::{Ask, Setup};
use crate::ui::shapes;
use crate::ui::theme::{PICTURE, Palette};
use crate::ui::words;

/// How often the picture is judged, seconds: often enough to turn a lens by.
const JUDGE_EVERY_SECS: f64 = 0.4;
/// Over how long the sway of the picture is taken, seconds.
const SWAY_SECS: f64 = 3.0;
/// Fewest places from which sway can be told.
const LEAST_PLACES: usize = 8;
/// Most places that are kept.
const MOST_PLACES: usize = 200;

/// A step.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Step {
    /// What is watched.
    #[default]
    Source,
    /// Are these the glasses.
    Glasses,
    /// How thick are they.
    Size,
    /// What are the feeds called.
    Names,
}

impl Step {
    fn number(self) -> usize {
        match self {
            Self::Source => 1,
            Self::Glasses => 2,
            Self::Size => 3,
            Self::Names => 4,
        }
    }

    fn next(self) -> Option<Self> {
        match self {
            Self::Source => Some(Self::Glasses),
            Self::Glasses => Some(Self::Size),
            Self::Size => Some(Self::Names),
            Self::Names => None,
        }
    }

    fn before(self) -> Self {
        match self {
            Self::Source | Self::Glasses => Self::Source,
            Self::Size => Self::Glasses,
            Self::Names => Self::Size,
        }
    }
}

/// What the view asks of the window.
#[derive(Clone, Debug)]
pub enum StartAsk {
    /// Watch this.
    Open(String),
    /// Choose a clip.
    Clip,
    /// What the Set-up view would ask.
    Setup(Ask),
    /// All is done.
    Done,
    /// Leave it for later.
    Later,
}

/// How good the picture is, now and then.
#[derive(Default)]
pub struct Aiming {
    places: VecDeque<(f64, f64, f64)>,
    judged: Vec<Judged>,
    at_secs: Option<f64>,
}

impl Aiming {
    /// The newest judgement.
    #[must_use]
    pub fn judged(&self) -> &[Judged] {
        &self.judged
    }

    /// Looks at the newest picture, if it is time.
    pub fn take(&mut self, fresh: &Fresh) {
        let snapshot = fresh.snapshot();
        let Some(frame) = &snapshot.frame else {
            *self = Self::default();
            return;
        };
        if let Some(feed) = snapshot.feeds.first() {
            let place = (
                frame.at_secs,
                feed.outline_now.centre_x_px,
                feed.outline_now.centre_y_px,
            );
            if self.places.back().is_none_or(|last| last.0 < place.0) {
                self.places.push_back(place);
            }
            let since = frame.at_secs - SWAY_SECS;
            self.places
                .retain(|place| place.0 >= since && place.0 <= frame.at_secs);
            while self.places.len() > MOST_PLACES {
                self.places.pop_front();
            }
        }
        let now = fresh.clock_secs();
        if self
            .at_secs
            .is_some_and(|at| now >= at && now - at < JUDGE_EVERY_SECS)
        {
            return;
        }
        self.at_secs = Some(now);
        let outlines: Vec<_> = snapshot.feeds.iter().map(|feed| feed.outline_now).collect();
        let signs = aim::look(&frame.luma, &outlines);
        let nominal = snapshot
            .about
            .as_ref()
            .filter(|about| about.live)
            .and_then(|about| about.frames_per_second);
        self.judged = aim::judge(&signs, self.sway_px(), snapshot.frames_per_second, nominal);
    }

    fn sway_px(&self) -> Option<f64> {
        if self.places.len() < LEAST_PLACES {
            return None;
        }
        let n = self.places.len() as f64;
        let mean = |f: fn(&(f64, f64, f64)) -> f64| self.places.iter().map(f).sum::<f64>() / n;
        let (x, y) = (mean(|p| p.1), mean(|p| p.2));
        let square: f64 = self
            .places
            .iter()
            .map(|p| (p.1 - x).powi(2) + (p.2 - y).powi(2))
            .sum();
        Some((square / n).sqrt())
    }
}

/// What the steps work on.
pub struct With<'a> {
    /// What stands behind the window.
    pub backend: &'a dyn Backend,
    /// The draft of the outlines.
    pub setup: &'a mut Setup,
    /// What the instrument told last.
    pub fresh: &'a Fresh,
    /// The live picture.
    pub live: &'a mut LivePicture,
}

/// The view's memory.
#[derive(Default)]
pub struct Start {
    step: Step,
    tiles: HashMap<String, GreyTexture>,
    aiming: Aiming,
}

impl Start {
    /// The step that is open.
    #[must_use]
    pub fn step(&self) -> Step {
        self.step
    }

    /// Goes to a step.
    pub fn go(&mut self, step: Step) {
        self.step = step;
    }

    /// Draws the view; gives what was asked.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        with: With<'_>,
        palette: &Palette,
    ) -> Vec<StartAsk> {
        let With {
            backend,
            setup,
            fresh,
            live,
        } = with;
        let head = rect.with_max_y(rect.top() + 30.0);
        let body = rect.with_min_y(head.bottom() + 4.0);
        self.head(ui, head, palette);
        let mut asks = Vec::new();
        let later_width = 150.0_f32.min(rect.width() * 0.3);
        let later = head.with_min_x(head.right() - later_width);
        let face = KeyFace {
            words: words::get().start_later,
            cap: "",
            usable: Usable::Yes,
            lit: Lit::No,
        };
        if paint::key(ui, later, "later", &face, palette).clicked() {
            asks.push(StartAsk::Later);
        }
        if self.step == Step::Source {
            backend.peep();
            self.source(ui, body, backend, &mut asks, palette);
            return asks;
        }
        backend.look_away();
        self.aiming.take(fresh);
        let (left, right) = layout::setup(body);
        setup.picture(ui, left, fresh, live, palette);
        let mut onward = Onward::Stay;
        let mut of_setup = Vec::new();
        let step = self.step;
        let judged = self.aiming.judged();
        side(ui, right, "start-side", palette, |ui| {
            onward = match step {
                Step::Source | Step::Glasses => {
                    setup.glasses_step(ui, fresh, judged, &mut of_setup, palette)
                }
                Step::Size => setup.size_step(ui, palette),
                Step::Names => setup.names_step(ui, palette),
            };
        });
        asks.extend(of_setup.into_iter().map(StartAsk::Setup));
        asks.extend(setup.settled(ui).map(StartAsk::Setup));
        match onward {
            Onward::Stay => {}
            Onward::Next => {
                release_focus(ui);
                match self.step.next() {
                    Some(next) => self.step = next,
                    None => asks.push(StartAsk::Done),
                }
            }
            Onward::Before => {
                release_focus(ui);
                self.step = self.step.before();
            }
        }
        asks
    }

    fn head(&self, ui: &Ui, rect: Rect, palette: &Palette) {
        let heading = words::start_heading(self.step.number(), 4);
        paint::words(ui, rect, Align2::LEFT_CENTER, &heading, 19.0, palette.ink);
    }

    fn source(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        backend: &dyn Backend,
        asks: &mut Vec<StartAsk>,
        palette: &Palette,
    ) {
        let seen = backend.peeps();
        let mut choices: Vec<(String, String)> = Vec::new();
        let mut told = words::get().start_source_explained.to_owned();
        match backend.cameras() {
            Cameras::Looking => words::get().looking_for_cameras.clone_into(&mut told),
            Cameras::Failed(why) => told = why,
            Cameras::Found(cameras) => {
                if cameras.is_empty() {
                    words::get().no_cameras.clone_into(&mut told);
                }
                choices.extend(
                    cameras
                        .into_iter()
                        .map(|camera| (words::camera_source(&camera.identity), camera.name)),
                );
            }
        }
        choices.push((DEMO_SOURCE.to_owned(), words::get().start_demo.to_owned()));
        let line = rect.with_max_y(rect.top() + 44.0);
        let ink = palette.ink;
        paint::paragraph(ui, line, Align2::LEFT_CENTER, &told, 16.0, ink);
        let foot_height = 48.0_f32.min(rect.height() * 0.24);
        let foot = rect.with_min_y(rect.bottom() - foot_height);
        let middle = Rect::from_min_max(
            pos2(rect.left(), line.bottom() + 6.0),
            pos2(rect.right(), foot.top() - 8.0),
        );
        let places = layout::tiles(middle, choices.len());
        self.tiles
            .retain(|name, _| choices.iter().any(|(words, _)| words == name));
        for ((source, name), place) in choices.iter().zip(places) {
            let texture = self.tiles.entry(source.clone()).or_default();
            let one = seen.get(source);
            if tile(ui, place, source, name, one, texture, palette).clicked() {
                asks.push(StartAsk::Open(source.clone()));
            }
        }
        let width = (foot.width() * 0.24).clamp(110.0, 260.0);
        let mut left = foot.left();
        for (salt, word, ask) in [
            ("start-clip", words::get().start_clip, Some(StartAsk::Clip)),
            ("start-look", words::get().look_again, None),
        ] {
            let place = Rect::from_min_size(pos2(left, foot.top()), vec2(width, foot.height()));
            left = place.right() + 8.0;
            let face = KeyFace {
                words: word,
                cap: "",
                usable: Usable::Yes,
                lit: Lit::No,
            };
            if paint::key(ui, place, salt, &face, palette).clicked() {
                match ask {
                    Some(ask) => asks.push(ask),
                    None => backend.look_for_cameras(),
                }
            }
        }
        let caution = foot.with_min_x(left + 8.0);
        // A caution is never cut: a shorter one takes its place.
        let forms = [
            words::get().camera_caution,
            words::get().camera_caution_short,
        ]
        .map(str::to_owned);
        let size = (foot.height() * 0.3).clamp(13.0, 18.0);
        let words = paint::fitting_paragraph(ui, caution, 13.0, &forms);
        paint::paragraph_fitting(ui, caution, Align2::LEFT_CENTER, words, size, palette.ink);
    }
}

fn release_focus(ui: &Ui) {
    ui.ctx().memory_mut(|memory| {
        if let Some(id) = memory.focused() {
            memory.surrender_focus(id);
        }
    });
}

/// One source to choose: its live picture and its name.
fn tile(
    ui: &mut Ui,
    place: Rect,
    source: &str,
    name: &str,
    seen: Option<&crate::ui::peep::Seen>,
    texture: &mut GreyTexture,
    palette: &Palette,
) -> Response {
    let inner = ui.new_child(UiBuilder::new().id_salt(("tile", source)).max_rect(place));
    let ui = &inner;
    let response = ui.interact(place, ui.scope_id().with("choose"), Sense::click());
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, name));
    let fill = if response.hovered() {
        palette.key_hover
    } else {
        palette.key
    };
    shapes::plate(ui.painter(), place, fill, palette);
    let label_height = 34.0_f32.min(place.height() * 0.3);
    let label = place
        .with_min_y(place.bottom() - label_height)
        .shrink2(vec2(8.0, 0.0));
    let well = place.with_max_y(label.top()).shrink(8.0);
    ui.painter().rect_filled(well, 3.0, palette.well);
    let picture = seen.and_then(|seen| seen.picture.as_ref().map(|p| (p, seen.number)));
    if let Some((luma, number)) = picture {
        let secs = ui.input(|input| input.time);
        texture.follow(ui.ctx(), source, luma, number, 1, secs);
        if let Some(handle) = texture.handle() {
            let placing = Placing::fit(well, luma.width(), luma.height());
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            ui.painter()
                .image(handle.id(), placing.shown, whole, PICTURE);
        }
    } else {
        let why = seen
            .and_then(|seen| seen.why_not.as_deref())
            .unwrap_or(words::get().start_tile_waits);
        paint::paragraph(
            ui,
            well.shrink(8.0),
            Align2::CENTER_CENTER,
            why,
            14.0,
            palette.ink_well,
        );
    }
    paint::painted(
        ui,
        label,
        Align2::CENTER_CENTER,
        name,
        crate::ui::style::letters(paint::fitting_size(ui, label.width(), name, 17.0)),
        palette.ink,
    );
    if response.has_focus() {
        shapes::focus_ring(ui.painter(), place, palette);
    }
    response
}
