//! The window's own state and its order of drawing: what is chosen, which view and dialog are
//! open, what was just said. Each part is drawn by its own file; all errands go to the backend.

mod errands;
mod remembering;
mod views;

use std::sync::Arc;
use std::time::Duration;

use eframe::egui::{CentralPanel, Context, Frame, Rect, Ui, UiBuilder, ViewportCommand};

use crate::base::{Clock, FeedNumber};
use crate::run::{FeedSnapshot, Intent, Notice};
use crate::ui::backend::{Backend, Pace};
use crate::ui::bars::{self, AlarmAsk, BLINK_SECS, Blink, RowKey};
use crate::ui::dialogs::{self, Dialog, FileErrand, Known};
use crate::ui::feed_panel::{self, Told, told};
use crate::ui::fitter::Shown;
use crate::ui::fitter::sheet::Sheet;
use crate::ui::flash::Flashes;
use crate::ui::fresh::Fresh;
use crate::ui::hand::{Hand, Stage};
use crate::ui::kept::{Kept, Memory};
use crate::ui::keys::{self, Action, Listening};
use crate::ui::paint::{Lit, Usable};
use crate::ui::picture::{self, LEAST_BETWEEN_SECS, LivePicture};
use crate::ui::room::{PLAY_SECS, Room};
use crate::ui::runs::RunsView;
use crate::ui::runs::strips::StripKeeper;
use crate::ui::setup::{Ask, Setup};
use crate::ui::sound::SoundSwitch;
use crate::ui::start::Start;
use crate::ui::strips::{self, Strips};
use crate::ui::style;
use crate::ui::theme::Palette;
use crate::ui::words::Language;
use crate::ui::{help, layout, words};

/// How long words said by the window itself stay, seconds.
const SAID_SECS: f64 = 6.0;
/// How often ages are told anew while nothing else changes, seconds.
const TICK_SECS: f64 = 1.0;

/// Width of the row of keys from which its words are whole, points.
const ROOMY: f32 = 800.0;
/// Longest time between down and up that is still a press, seconds.
const LONGEST_PRESS_SECS: f64 = 10.0;

/// The views.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// Picture, strips, panels.
    Watch,
    /// Panels alone.
    Far,
    /// Outlines.
    Setup,
    /// The help page.
    Help,
    /// Getting started.
    Start,
    /// One glass for a room.
    Room,
    /// The runs.
    Runs,
    /// The hand check.
    Hand,
}

impl View {
    /// How often it wants to be drawn when the instrument has news.
    fn pace(self) -> Pace {
        match self {
            Self::Watch | Self::Setup | Self::Start | Self::Room => Pace::Pictures,
            Self::Far | Self::Hand => Pace::Figures,
            Self::Help | Self::Runs => Pace::Pages,
        }
    }
}

/// The whole window.
pub struct Window {
    backend: Box<dyn Backend>,
    clock: Arc<dyn Clock>,
    sound: Arc<SoundSwitch>,
    fresh: Fresh,
    flashes: Flashes,
    live: LivePicture,
    strips: Strips,
    strip_keeper: StripKeeper,
    setup: Setup,
    view: View,
    dialog: Option<Dialog>,
    chosen: Option<FeedNumber>,
    said: Option<(Notice, f64)>,
    may_close: bool,
    /// An entry field had the keyboard at the end of the last picture: the Escape that leaves it
    /// is not ours.
    was_typing: bool,
    scroll_tenths: i32,
    start: Start,
    shown: Shown,
    sheet: Sheet,
    room: Room,
    runs: RunsView,
    hand: Hand,
    reports: u64,
    kept: Kept,
    memory: Memory,
    language: Language,
}

impl Window {
    /// A window on a backend. Puts the looks in force.
    #[must_use]
    pub fn new(
        ctx: &Context,
        backend: Box<dyn Backend>,
        clock: Arc<dyn Clock>,
        sound: Arc<SoundSwitch>,
    ) -> Self {
        style::put_in_force(ctx);
        // A slow press of a gloved finger is a press as well.
        ctx.options_mut(|options| options.input_options.max_click_duration = LONGEST_PRESS_SECS);
        Self {
            backend,
            clock,
            sound,
            fresh: Fresh::default(),
            flashes: Flashes::default(),
            live: LivePicture::default(),
            strips: Strips::default(),
            strip_keeper: StripKeeper::default(),
            setup: Setup::default(),
            view: View::Watch,
            dialog: None,
            chosen: None,
            said: None,
            may_close: false,
            was_typing: false,
            scroll_tenths: 0,
            start: Start::default(),
            shown: Shown::default(),
            sheet: Sheet::default(),
            room: Room::default(),
            runs: RunsView::default(),
            hand: Hand::default(),
            reports: 0,
            kept: Kept::default(),
            memory: Memory::default(),
            language: words::spoken(),
        }
    }

    /// The view that is open.
    #[must_use]
    pub fn view(&self) -> View {
        self.view
    }

    /// The chosen feed.
    #[must_use]
    pub fn chosen(&self) -> Option<FeedNumber> {
        self.chosen
    }

    /// How many times the live picture's texture was set.
    #[must_use]
    pub fn picture_sets(&self) -> u64 {
        self.live.sets()
    }

    /// The calibration being changed in the Set-up view.
    #[must_use]
    pub fn draft(&self) -> Option<&crate::glass::Calibration> {
        self.setup.draft()
    }

    /// Draws everything and does what was asked.
    pub fn show(&mut self, ui: &mut Ui) {
        words::speak(self.language);
        let ctx = ui.ctx().clone();
        let palette = Palette::of(&ctx);
        let now = self.clock.monotonic_secs();
        self.fresh.take(self.backend.snapshot(), now);
        let counts = self.fresh.snapshot().clone();
        self.flashes
            .take(now, counts.feeds.iter().map(|f| (f.feed, f.drops)));
        if !counts.ended {
            self.sheet.take(&counts, self.clock.wall_secs());
        }
        for strip in self.strip_keeper.due(&counts) {
            self.backend.keep_strip(strip);
        }
        self.backend.pace(self.view.pace());
        self.hear_of_reports(&ctx);
        self.setup.follow(&counts);
        self.strips.keep_only(&counts.feeds);
        self.mind_closing(&ctx);
        for action in keys::pressed(&ctx, self.listening(ui)) {
            self.act(&ctx, action);
        }
        CentralPanel::default()
            .frame(Frame::new().fill(palette.room))
            .show(ui, |ui| self.whole(ui, palette));
        self.dialog(&ctx, palette);
        if !matches!(self.view, View::Setup | View::Start)
            && let Some(settled) = self.setup.take_unsent()
        {
            self.calibrate(settled);
        }
        self.wake_later(&ctx, now);
        self.was_typing = ctx.text_edit_focused();
    }

    fn whole(&mut self, ui: &mut Ui, palette: &Palette) {
        let ctx = ui.ctx().clone();
        let places = layout::window(ui.max_rect());
        let clock = words::paper::time_of_day(self.clock.wall_secs());
        bars::top(ui, places.top, &self.fresh, &clock, palette);
        match self.view {
            View::Watch => self.watch(ui, places.view, palette),
            View::Far => self.far(ui, places.view, palette),
            View::Setup => self.set_up(ui, places.view, palette),
            View::Start => self.getting_started(ui, places.view, palette),
            View::Room => self.in_room(ui, places.view, palette),
            View::Runs => self.in_runs(ui, places.view, palette),
            View::Hand => self.in_hand_check(ui, places.view, palette),
            View::Help => {
                let tenths = std::mem::take(&mut self.scroll_tenths);
                help::show(ui, places.view, tenths, palette);
            }
        }
        let notice = self.notice();
        let blink = if (self.fresh.clock_secs() / BLINK_SECS).rem_euclid(2.0) < 1.0 {
            Blink::Bright
        } else {
            Blink::Dull
        };
        let ask = bars::alarms(
            ui,
            places.alarms,
            &self.fresh,
            notice.as_ref(),
            blink,
            palette,
        );
        match ask {
            Some(AlarmAsk::All) => self.backend.send(Intent::AcknowledgeAll),
            Some(AlarmAsk::One(feed, cause)) => {
                self.backend.send(Intent::Acknowledge { feed, cause });
            }
            None => {}
        }
        for action in bars::keys(ui, places.keys, &self.row(places.keys.width()), palette) {
            self.act(&ctx, action);
        }
    }

    fn row(&self, width: f32) -> [RowKey; 10] {
        let lit = |view| Lit::from(self.view == view);
        let running = self.fresh.is_running();
        let key = |action, words, lit| RowKey {
            action,
            words,
            usable: match action {
                Action::Mark | Action::Run => Usable::from(running),
                _ => Usable::Yes,
            },
            lit,
        };
        let recording = self.fresh.snapshot().run.is_some();
        let words = words::get();
        let run_words = match (recording, width < ROOMY) {
            (true, false) => words.end_run,
            (true, true) => words.end_run_short,
            (false, false) => words.start_run,
            (false, true) => words.start_run_short,
        };
        [
            key(Action::Watch, words::get().watch, lit(View::Watch)),
            key(Action::Far, words::get().far, lit(View::Far)),
            key(Action::Room, words::get().room, lit(View::Room)),
            key(Action::Runs, words::get().runs, lit(View::Runs)),
            key(Action::Setup, words::get().setup, lit(View::Setup)),
            key(Action::Source, words::get().source, Lit::No),
            key(Action::Mark, words::get().mark, Lit::No),
            key(Action::Run, run_words, Lit::from(recording)),
            key(Action::More, words::get().more, Lit::No),
            key(Action::Help, words::get().help, lit(View::Help)),
        ]
    }

    /// What all feeds may be told of now.
    fn all_told(&self) -> Vec<(FeedSnapshot, Told)> {
        let now = self.fresh.source_secs();
        let alive = self.fresh.alive();
        self.fresh
            .snapshot()
            .feeds
            .iter()
            .map(|feed| (feed.clone(), told(feed, now, alive)))
            .collect()
    }

    fn watch(&mut self, ui: &mut Ui, rect: Rect, palette: &Palette) {
        let feeds = self.all_told();
        let places = layout::watch(rect, feeds.len());
        let snapshot = self.fresh.snapshot().clone();
        let placing = self.live.show(
            ui,
            places.picture,
            snapshot.frame.as_ref(),
            &self.fresh,
            palette,
        );
        if let Some(placing) = placing {
            picture::feeds_over(ui, &placing, &feeds, self.chosen, &self.flashes, palette);
        }
        for ((feed, _), place) in feeds.iter().zip(&places.strips) {
            self.strips.show(ui, *place, feed, &self.fresh, palette);
        }
        for ((feed, _), place) in feeds.iter().zip(&places.histories) {
            strips::history(ui, *place, feed, self.fresh.source_secs(), palette);
        }
        self.panels(ui, &places.panels, &feeds, palette);
    }

    fn panels(
        &mut self,
        ui: &Ui,
        places: &[Rect],
        feeds: &[(FeedSnapshot, Told)],
        palette: &Palette,
    ) {
        for ((feed, told), place) in feeds.iter().zip(places) {
            let chosen = Lit::from(self.chosen == Some(feed.feed));
            if feed_panel::show(ui, *place, feed, told, chosen, palette).clicked() {
                self.press(feed.feed);
            }
        }
    }

    fn set_up(&mut self, ui: &mut Ui, rect: Rect, palette: &Palette) {
        let mut inner = ui.new_child(UiBuilder::new().id_salt("set-up").max_rect(rect));
        let asks = self
            .setup
            .show(&mut inner, rect, &self.fresh, &mut self.live, palette);
        for ask in asks {
            self.do_ask(ui.ctx(), ask);
        }
    }

    fn do_ask(&mut self, ctx: &Context, ask: Ask) {
        match ask {
            Ask::Calibrate(calibration) => self.calibrate(calibration),
            Ask::Find => self.backend.send(Intent::FindGlasses),
            Ask::Save => self.open_file(ctx, FileErrand::Save),
            Ask::Load => self.open_file(ctx, FileErrand::Load),
        }
    }

    /// Which keys may act now.
    fn listening(&self, ui: &Ui) -> Listening {
        if self.dialog.is_some() {
            Listening::OnlyBack
        } else if self.was_typing || ui.ctx().text_edit_focused() {
            Listening::Nothing
        } else if self.view == View::Help {
            Listening::InHelp
        } else if self.view == View::Hand && self.hand_stage() == Stage::Tapping {
            Listening::InHandCheck
        } else if !matches!(self.view, View::Setup | View::Start) {
            Listening::Everywhere
        } else if self.setup.picture_has_focus(ui) {
            Listening::OnPicture
        } else {
            Listening::InSetup
        }
    }

    /// The words to show now: the window's own first, then the instrument's, then of a part that
    /// gives no sign of life, then the sound's.
    fn notice(&mut self) -> Option<Notice> {
        if let Some((notice, until)) = &self.said {
            if self.fresh.clock_secs() < *until {
                return Some(notice.clone());
            }
            self.said = None;
        }
        let wrong = |words| Notice {
            is_error: true,
            words,
        };
        let silent = self
            .fresh
            .silent_part()
            .map(|(part, secs)| wrong(words::silent_part(part, secs)));
        self.fresh
            .snapshot()
            .notice
            .as_ref()
            .map(|notice| Notice {
                is_error: notice.is_error,
                words: words::instrument(&notice.words),
            })
            .or(silent)
            .or_else(|| self.sound.trouble().map(wrong))
    }

    fn dialog(&mut self, ctx: &Context, palette: &Palette) {
        let Some(mut dialog) = self.dialog.take() else {
            return;
        };
        let feeds: Vec<(FeedNumber, String)> = self
            .fresh
            .snapshot()
            .feeds
            .iter()
            .map(|feed| (feed.feed, feed.calibration.name.clone()))
            .collect();
        let known = Known {
            sheet: &self.sheet,
            looks: self.looks(ctx),
            cameras: self.backend.cameras(),
            faults: self.backend.faults(),
            feeds: &feeds,
        };
        let asked = dialogs::show(ctx, &mut dialog, &known, palette);
        self.dialog = Some(dialog);
        if let Some(asked) = asked {
            self.do_asked(ctx, asked);
        }
    }

    /// Asks once before closing while a run is recorded; who wants to close again while asked has
    /// answered. Either way the run is ended and kept.
    fn mind_closing(&mut self, ctx: &Context) {
        let wants_close = ctx.input(|input| input.viewport().close_requested());
        if !wants_close || self.may_close || self.fresh.snapshot().run.is_none() {
            return;
        }
        if matches!(self.dialog, Some(Dialog::Closing)) {
            self.backend.send(Intent::EndRun);
            self.may_close = true;
            return;
        }
        ctx.send_viewport_cmd(ViewportCommand::CancelClose);
        self.open_dialog(ctx, Dialog::Closing);
    }

    /// Asks to be drawn again only when something here will change by itself.
    fn wake_later(&self, ctx: &Context, now_secs: f64) {
        let mut wake_secs: Option<f64> = None;
        let mut sooner = |secs: f64| {
            wake_secs = Some(wake_secs.map_or(secs, |already: f64| already.min(secs)));
        };
        if self.fresh.is_running() {
            sooner(TICK_SECS);
        }
        if self.view == View::Room && self.room.plays() {
            sooner(PLAY_SECS);
        }
        if self.view.pace() == Pace::Pictures
            && let Some(secs) = self.flashes.next_change_secs()
        {
            sooner(secs.max(LEAST_BETWEEN_SECS));
        }
        if self.view == View::Hand
            && let Some(secs) = self.hand.next_change_secs(now_secs)
        {
            sooner(secs.max(LEAST_BETWEEN_SECS));
        }
        let blinks = self
            .fresh
            .snapshot()
            .alarms
            .iter()
            .any(|alarm| alarm.state == crate::judge::AlarmState::Unacknowledged);
        if blinks {
            sooner(BLINK_SECS - now_secs.rem_euclid(BLINK_SECS) + 0.01);
        }
        if let Some((_, until)) = &self.said {
            sooner((until - now_secs).max(0.1));
        }
        if self.waits_for_sources() {
            // The list of cameras comes from elsewhere.
            sooner(0.5);
        }
        // The clock shows minutes.
        sooner(60.0 - self.clock.wall_secs().rem_euclid(60.0));
        if let Some(secs) = wake_secs {
            ctx.request_repaint_after(Duration::from_secs_f64(secs.max(0.05)));
        }
    }
}
