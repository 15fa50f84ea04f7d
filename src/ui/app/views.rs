//! The views for the fitter, the instructor and the tester, as the window puts them up.

use eframe::egui::{Context, Rect, Ui};

use crate::base::FeedNumber;
use crate::run::Intent;
use crate::ui::app::{View, Window, errands};
use crate::ui::backend::DEMO_SOURCE;
use crate::ui::fitter::{self, FitterAsk};
use crate::ui::hand::{self, HandAsk, Stage};
use crate::ui::kept::Hears;
use crate::ui::library::Request;
use crate::ui::paint::{Lit, Usable};
use crate::ui::room::{self, RoomAsk};
use crate::ui::runs::{self, RunsAsk};
use crate::ui::theme::Palette;
use crate::ui::words;

impl Window {
    pub(super) fn far(&mut self, ui: &Ui, rect: Rect, palette: &Palette) {
        let feeds = fitter::shown_feeds(self.all_told(), self.shown, self.chosen);
        let keys = fitter::keys(
            self.shown,
            Lit::from(self.sound.drops() == Hears::On),
            Usable::from(self.fresh.is_running()),
        );
        for ask in fitter::show(ui, rect, &feeds, self.chosen, &keys, palette) {
            match ask {
                FitterAsk::Act(action) => self.act(ui.ctx(), action),
                FitterAsk::Press(feed) => self.press(feed),
            }
        }
    }

    /// A panel was pressed: it is chosen, or let go when it was.
    pub(super) fn press(&mut self, feed: FeedNumber) {
        let was_chosen = self.chosen == Some(feed);
        self.choose((!was_chosen).then_some(feed));
    }

    pub(super) fn in_room(&mut self, ui: &mut Ui, rect: Rect, palette: &Palette) {
        let feeds = self.all_told();
        let with = room::With {
            backend: &*self.backend,
            fresh: &self.fresh,
            flashes: &self.flashes,
            feeds: &feeds,
            chosen: self.chosen,
        };
        let asks = self.room.show(ui, rect, &with, palette);
        // The strip of the glass that is shown, above its explanation.
        let (mut upper, _) = crate::ui::layout::over_keys(rect);
        if self.room.lesson().is_some() {
            upper = crate::ui::layout::lesson(upper).0;
        }
        let shown = feeds
            .iter()
            .find(|(feed, _)| Some(feed.feed) == self.chosen)
            .or(feeds.first());
        if let Some((feed, _)) = shown {
            let place = crate::ui::layout::room(upper).strip;
            self.strips.show(ui, place, feed, &self.fresh, palette);
        }
        for ask in asks {
            match ask {
                RoomAsk::Act(action) => self.act(ui.ctx(), action),
                RoomAsk::OpenDemo => {
                    if let Err(why) = self.watch_other(DEMO_SOURCE) {
                        self.say_wrong(why);
                    }
                }
            }
        }
    }

    pub(super) fn in_runs(&mut self, ui: &mut Ui, rect: Rect, palette: &Palette) {
        let with = runs::With {
            backend: &*self.backend,
            fresh: &self.fresh,
        };
        for RunsAsk::Act(action) in self.runs.show(ui, rect, &with, palette) {
            self.act(ui.ctx(), action);
        }
    }

    /// How far the hand check has come.
    pub(super) fn hand_stage(&self) -> Stage {
        Stage::of(self.fresh.snapshot().hand_check.as_deref())
    }

    pub(super) fn in_hand_check(&mut self, ui: &mut Ui, rect: Rect, palette: &Palette) {
        let with = hand::With {
            fresh: &self.fresh,
            chosen: self.checked_feed(),
        };
        for ask in self.hand.show(ui, rect, &with, palette) {
            match ask {
                HandAsk::Act(action) => self.act(ui.ctx(), action),
                HandAsk::Send(intent) => self.backend.send(intent),
            }
        }
    }

    /// The feed a hand check is for: the chosen one, or the only one; none for all together.
    fn checked_feed(&self) -> Option<FeedNumber> {
        let only = match self.fresh.snapshot().feeds.as_slice() {
            [one] => Some(one.feed),
            _ => None,
        };
        self.chosen.or(only)
    }

    /// The key of the hand check: its view; there, begins one or ends it.
    pub(super) fn turn_hand_check(&mut self) {
        if self.view != View::Hand {
            self.view = View::Hand;
            return;
        }
        match self.hand_stage() {
            Stage::Tapping => self.backend.send(Intent::EndHandCheck),
            Stage::Settling => {}
            Stage::None | Stage::Told if self.fresh.is_running() => {
                let feed = self.checked_feed();
                self.backend.send(Intent::StartHandCheck { feed });
            }
            Stage::None | Stage::Told => self.say(words::get().nothing_runs.to_owned()),
        }
    }

    /// A tap by key.
    pub(super) fn tap(&mut self) {
        self.hand.tapped(self.fresh.clock_secs());
        self.backend.send(Intent::Tap);
    }

    /// Freezes the picture of the room view, or lets it go.
    pub(super) fn freeze(&mut self) {
        let feeds = self.all_told();
        self.room.freeze(&self.fresh, &feeds, self.chosen);
    }

    /// Asks for the report of the run that is open, or under way.
    pub(super) fn ask_report(&mut self) {
        let under_way = self.fresh.snapshot().run.as_ref().map(|run| run.id);
        if let Some(run) = self.runs.chosen().or(under_way) {
            self.reports = self.backend.shelf().reports;
            self.backend.ask(Request::Report(run));
            self.say(words::report_asked(run));
        } else {
            self.view = View::Runs;
            self.runs.open(&*self.backend);
        }
    }

    /// Tells what became of a report, and opens it.
    pub(super) fn hear_of_reports(&mut self, ctx: &Context) {
        let shelf = self.backend.shelf();
        if shelf.reports == self.reports {
            return;
        }
        self.reports = shelf.reports;
        match &shelf.report {
            Some(Ok(path)) => {
                self.say(words::report_done(path));
                errands::open_paper(ctx, path);
            }
            Some(Err(why)) => self.say_wrong(why.clone()),
            None => {}
        }
    }
}
