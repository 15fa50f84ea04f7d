//! What the window remembers and what follows from it: look, size, language, sounds, what is
//! watched and with which outlines; and getting started, when there is nothing to remember.

use std::sync::Arc;

use eframe::egui::{Context, Rect, Ui};

use crate::glass::Calibration;
use crate::run::Intent;
use crate::ui::app::{View, Window};
use crate::ui::backend::{Cameras, DEMO_SOURCE};
use crate::ui::dialogs::{Dialog, Looks};
use crate::ui::kept::{Hears, Memory};
use crate::ui::start::{StartAsk, Step, With};
use crate::ui::style::Look;
use crate::ui::theme::Palette;
use crate::ui::words::{self, Language};

impl Window {
    /// The same window with a memory: what is in it is put in force.
    #[must_use]
    pub fn remembering(mut self, ctx: &Context, memory: Memory) -> Self {
        self.kept = memory.recall();
        self.memory = memory;
        if let Some(look) = self.kept.look {
            look.choose(ctx);
        }
        if let Some(language) = self.kept.language {
            self.language = language;
        }
        ctx.set_zoom_factor(f32::from(self.kept.size_percent.clamp(50, 300)) / 100.0);
        if (self.kept.alarm_sound == Hears::On) != self.sound.is_on() {
            self.sound.toggle();
        }
        self.sound.let_drops_sound(self.kept.drop_sound);
        self
    }

    /// The same window, beginning with the first step of getting started.
    #[must_use]
    pub fn at_the_start(mut self) -> Self {
        self.start_again(Step::Source);
        self
    }

    /// The step of getting started that is open.
    #[must_use]
    pub fn start_step(&self) -> Step {
        self.start.step()
    }

    pub(super) fn start_again(&mut self, step: Step) {
        self.start.go(step);
        self.view = View::Start;
        self.backend.look_for_cameras();
    }

    pub(super) fn looks(&self, ctx: &Context) -> Looks {
        Looks {
            look: Look::of(ctx),
            size_percent: (ctx.zoom_factor() * 100.0).round() as u16,
            language: self.language,
            alarm_sound: Hears::from(self.sound.is_on()),
            drop_sound: self.sound.drops(),
        }
    }

    pub(super) fn look(&mut self, ctx: &Context, look: Look) {
        look.choose(ctx);
        self.kept.look = Some(look);
        self.memory.keep(&self.kept);
    }

    pub(super) fn size(&mut self, ctx: &Context, percent: u16) {
        ctx.set_zoom_factor(f32::from(percent) / 100.0);
        self.kept.size_percent = percent;
        self.memory.keep(&self.kept);
    }

    pub(super) fn speak(&mut self, language: Language) {
        self.language = language;
        words::speak(language);
        self.kept.language = Some(language);
        self.memory.keep(&self.kept);
    }

    pub(super) fn switch_alarm_sound(&mut self) {
        let now_on = self.sound.toggle();
        let words = if now_on {
            words::get().sound_on
        } else {
            words::get().sound_off
        };
        self.say(words.to_owned());
        self.kept.alarm_sound = Hears::from(now_on);
        self.memory.keep(&self.kept);
    }

    pub(super) fn switch_drop_sound(&mut self) {
        let (next, words) = match self.sound.drops() {
            Hears::Off => (Hears::On, words::get().drop_sound_on),
            Hears::On => (Hears::Off, words::get().drop_sound_off),
        };
        self.sound.let_drops_sound(next);
        self.say(words.to_owned());
        self.kept.drop_sound = next;
        self.memory.keep(&self.kept);
    }

    /// Watches another source from now on.
    pub(super) fn watch_other(&mut self, words: &str) -> Result<(), String> {
        self.backend.open_source(words)?;
        self.chosen = None;
        self.setup.forget();
        self.sheet.begin();
        // Outlines of another picture are not kept for this one.
        self.memory.forget_calibration();
        self.kept.source = Some(words.to_owned());
        if self.view != View::Start {
            self.memory.keep(&self.kept);
        }
        Ok(())
    }

    /// Puts outlines in force that a person settled on, and keeps them for the next start.
    pub(super) fn calibrate(&mut self, calibration: Arc<Calibration>) {
        self.memory.keep_calibration(&calibration);
        self.backend.send(Intent::Calibrate(calibration));
    }

    pub(super) fn getting_started(&mut self, ui: &mut Ui, rect: Rect, palette: &Palette) {
        let with = With {
            backend: &*self.backend,
            setup: &mut self.setup,
            fresh: &self.fresh,
            live: &mut self.live,
        };
        let asks = self.start.show(ui, rect, with, palette);
        for ask in asks {
            match ask {
                StartAsk::Open(words) => match self.watch_other(&words) {
                    Ok(()) => self.start.go(Step::Glasses),
                    Err(why) => self.say_wrong(why),
                },
                StartAsk::Clip => self.open_dialog(
                    ui.ctx(),
                    Dialog::Source {
                        path: String::new(),
                        error: None,
                    },
                ),
                StartAsk::Setup(ask) => self.do_ask(ui.ctx(), ask),
                StartAsk::Later => self.leave_start(),
                StartAsk::Done => {
                    if let Some(draft) = self.setup.draft() {
                        self.memory.keep_calibration(draft);
                    }
                    self.leave_start();
                }
            }
        }
    }

    /// To the Watch view; what was chosen so far is kept.
    pub(super) fn leave_start(&mut self) {
        self.backend.look_away();
        self.memory.keep(&self.kept);
        self.view = View::Watch;
    }

    /// Whether something comes from elsewhere that only this view or dialog waits for.
    pub(super) fn waits_for_sources(&self) -> bool {
        let looking = self.backend.cameras() == Cameras::Looking;
        let choosing = self.view == View::Start && self.start.step() == Step::Source;
        (choosing && looking) || matches!(self.dialog, Some(Dialog::Source { .. }))
    }

    /// What to watch and with which outlines, as remembered; nothing before the first set-up.
    #[must_use]
    pub fn remembered(memory: &Memory) -> Option<(String, Option<Calibration>)> {
        let source = memory.recall().source?;
        // The demo draws its glasses anew each time.
        let calibration = if source == DEMO_SOURCE {
            None
        } else {
            memory.recall_calibration()
        };
        Some((source, calibration))
    }
}
