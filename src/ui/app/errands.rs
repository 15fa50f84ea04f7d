//! What keys, dialogs and the Set-up view ask for, done: views and dialogs opened, intents sent,
//! errands given to the backend, and words said about it.

use eframe::egui::{Context, OpenUrl, ViewportCommand};

use crate::base::FeedNumber;
use crate::run::{Intent, Notice};
use crate::ui::app::{SAID_SECS, View, Window};
use crate::ui::dialogs::{Asked, Dialog, FileErrand};
use crate::ui::keys::Action;
use crate::ui::start::Step;
use crate::ui::style::Look;
use crate::ui::words;

/// Opens a file of this computer in whatever opens pages here.
pub(super) fn open_paper(ctx: &Context, path: &str) {
    ctx.open_url(OpenUrl::new_tab(format!("file://{path}")));
}

impl Window {
    pub(super) fn open_file(&mut self, ctx: &Context, what: FileErrand) {
        self.open_dialog(
            ctx,
            Dialog::File {
                what,
                path: words::get().first_path.to_owned(),
                error: None,
            },
        );
    }

    pub(super) fn act(&mut self, ctx: &Context, action: Action) {
        let wants_source = matches!(
            action,
            Action::Mark | Action::MarkOpened | Action::MarkClosed | Action::Run
        );
        if wants_source && !self.fresh.is_running() {
            self.say(words::get().nothing_runs.to_owned());
            return;
        }
        match action {
            Action::Help => self.view = View::Help,
            Action::Setup => {
                self.view = View::Setup;
                if self.chosen.is_some() {
                    self.setup.choose(self.chosen);
                }
            }
            Action::Far if self.view == View::Far => self.view = View::Watch,
            Action::Far => self.view = View::Far,
            Action::Source => {
                self.backend.look_for_cameras();
                self.open_dialog(
                    ctx,
                    Dialog::Source {
                        path: String::new(),
                        error: None,
                    },
                );
            }
            Action::FullScreen => {
                let full = ctx.input(|input| input.viewport().fullscreen.unwrap_or(false));
                ctx.send_viewport_cmd(ViewportCommand::Fullscreen(!full));
            }
            Action::Acknowledge => self.backend.send(Intent::AcknowledgeAll),
            Action::Mark => {
                let feed = self.chosen;
                let words = String::new();
                self.open_dialog(ctx, Dialog::Mark { words, feed });
            }
            Action::MarkOpened => self.quick_mark(words::valve_opened),
            Action::MarkClosed => self.quick_mark(words::valve_closed),
            Action::Run if self.fresh.snapshot().run.is_some() => {
                self.open_dialog(ctx, Dialog::EndRun);
            }
            Action::Run => {
                let title = String::new();
                let lasts_secs = None;
                self.open_dialog(ctx, Dialog::StartRun { title, lasts_secs });
            }
            Action::Sound => self.switch_alarm_sound(),
            Action::DropSound => self.switch_drop_sound(),
            Action::Look => self.look(ctx, Look::of(ctx).next()),
            Action::Room if self.view == View::Room => self.view = View::Watch,
            Action::Freeze if self.view == View::Room => self.freeze(),
            Action::Lessons if self.view == View::Room => self.room.turn_lessons(),
            Action::Room | Action::Freeze | Action::Lessons => self.view = View::Room,
            Action::Runs if self.view == View::Runs => self.view = View::Watch,
            Action::Runs => {
                self.view = View::Runs;
                self.runs.open(&*self.backend);
            }
            Action::Report => self.ask_report(),
            Action::Beside if self.view == View::Runs => self.runs.put_beside(),
            Action::Beside => {}
            Action::OneOrAll => self.shown = self.shown.other(),
            Action::Neighbour(by) => self.choose_neighbour(by),
            Action::Sheet => self.open_dialog(ctx, Dialog::Sheet),
            Action::HandCheck => self.turn_hand_check(),
            Action::Tap => self.tap(),
            Action::More => self.open_dialog(ctx, Dialog::More),
            Action::Start => self.start_again(Step::Source),
            Action::Choose(feed) => self.choose(feed),
            Action::Back if self.dialog.is_some() => self.dialog = None,
            Action::Watch | Action::Back if self.view == View::Start => self.leave_start(),
            Action::Watch | Action::Back => self.view = View::Watch,
            Action::Scroll(tenths) => self.scroll_tenths += tenths,
            Action::Undo
            | Action::Redo
            | Action::Remove
            | Action::Next
            | Action::Previous
            | Action::Nudge(..)
            | Action::Turn(_) => self.setup.act(action),
        }
    }

    pub(super) fn choose(&mut self, feed: Option<FeedNumber>) {
        let there = |number: FeedNumber| {
            self.fresh
                .snapshot()
                .feeds
                .iter()
                .any(|feed| feed.feed == number)
        };
        self.chosen = feed.filter(|number| there(*number));
        if self.chosen.is_some() {
            self.setup.choose(self.chosen);
        }
    }

    /// Chooses the feed so many to the right, round and round.
    pub(super) fn choose_neighbour(&mut self, by: i8) {
        let feeds: Vec<FeedNumber> = self
            .fresh
            .snapshot()
            .feeds
            .iter()
            .map(|feed| feed.feed)
            .collect();
        let count = feeds.len().cast_signed();
        if count == 0 {
            return;
        }
        let now = self
            .chosen
            .and_then(|chosen| feeds.iter().position(|feed| *feed == chosen));
        let next = match now {
            Some(now) => (now.cast_signed() + isize::from(by)).rem_euclid(count),
            None if by > 0 => 0,
            None => count - 1,
        };
        self.choose(feeds.get(next.cast_unsigned()).copied());
    }

    pub(super) fn quick_mark(&mut self, words_of: fn(Option<FeedNumber>) -> String) {
        let only = match self.fresh.snapshot().feeds.as_slice() {
            [one] => Some(one.feed),
            _ => None,
        };
        match self.chosen.or(only) {
            Some(feed) => {
                let kept = words::in_english(|| words_of(Some(feed)));
                self.mark(Some(feed), &words_of(Some(feed)), kept);
            }
            None => self.say(words::get().choose_feed_first.to_owned()),
        }
    }

    /// Keeps a mark, in the words shown and in those of the logbook.
    pub(super) fn mark(&mut self, feed: Option<FeedNumber>, shown: &str, kept: String) {
        self.say(words::mark_kept(shown));
        self.sheet.mark(feed, shown, self.clock.wall_secs());
        self.backend.send(Intent::Mark { feed, words: kept });
    }

    pub(super) fn say(&mut self, words: String) {
        let notice = Notice {
            is_error: false,
            words,
        };
        self.said = Some((notice, self.fresh.clock_secs() + SAID_SECS));
    }

    pub(super) fn say_wrong(&mut self, words: String) {
        let notice = Notice {
            is_error: true,
            words,
        };
        self.said = Some((notice, self.fresh.clock_secs() + SAID_SECS));
    }

    pub(super) fn open_dialog(&mut self, ctx: &Context, dialog: Dialog) {
        // The keyboard goes to the dialog, whatever had it.
        ctx.memory_mut(|memory| {
            if let Some(id) = memory.focused() {
                memory.surrender_focus(id);
            }
        });
        self.dialog = Some(dialog);
    }

    pub(super) fn do_asked(&mut self, ctx: &Context, asked: Asked) {
        match asked {
            Asked::Close => self.dialog = None,
            Asked::LookForCameras => self.backend.look_for_cameras(),
            Asked::Fault(words) => self.backend.send(Intent::Fault(words)),
            Asked::Open(words) => match self.watch_other(&words) {
                Ok(()) => {
                    self.dialog = None;
                    if self.view == View::Start {
                        self.start.go(Step::Glasses);
                    } else {
                        self.view = View::Watch;
                    }
                }
                Err(why) => self.fail(why),
            },
            Asked::SaveSheet => self.save_sheet(ctx),
            Asked::NewSheet => {
                self.sheet.begin();
                self.dialog = None;
            }
            Asked::Look(look) => self.look(ctx, look),
            Asked::Size(percent) => self.size(ctx, percent),
            Asked::Language(language) => self.speak(language),
            Asked::AlarmSound => self.switch_alarm_sound(),
            Asked::DropSound => self.switch_drop_sound(),
            Asked::Start => {
                self.dialog = None;
                self.start_again(Step::Source);
            }
            Asked::Mark(feed, shown, kept) => {
                self.dialog = None;
                self.mark(feed, &shown, kept);
            }
            Asked::StartRun(title, lasts_secs) => {
                self.dialog = None;
                self.backend.send(Intent::StartRun { title });
                if let Some(secs) = lasts_secs {
                    self.backend.send(Intent::EndRunAfter { secs });
                }
            }
            Asked::EndRun => {
                self.dialog = None;
                self.backend.send(Intent::EndRun);
            }
            Asked::Save(path) => {
                let Some(draft) = self.setup.draft() else {
                    return;
                };
                match self.backend.save_calibration(&path, draft) {
                    Ok(()) => {
                        self.dialog = None;
                        self.say(words::saved_to(&path));
                    }
                    Err(why) => self.fail(why),
                }
            }
            Asked::Load(path) => match self.backend.load_calibration(&path) {
                Ok(calibration) => {
                    self.dialog = None;
                    self.setup.load(calibration);
                    self.say(words::loaded_from(&path));
                }
                Err(why) => self.fail(why),
            },
            Asked::CloseWindow => {
                self.backend.send(Intent::EndRun);
                self.may_close = true;
                self.dialog = None;
                ctx.send_viewport_cmd(ViewportCommand::Close);
            }
        }
    }

    /// Keeps the sheet as a page and opens it.
    fn save_sheet(&mut self, ctx: &Context) {
        let wall_secs = self.clock.wall_secs();
        let page = words::paper::sheet_page(&self.sheet, wall_secs);
        let name = format!("sheet-{}.html", words::paper::moment(wall_secs));
        let name = name.replace([':', '+'], "-");
        match self.backend.keep_paper(&name, &page) {
            Ok(path) => {
                self.dialog = None;
                self.say(words::paper_kept(&path));
                open_paper(ctx, &path);
            }
            Err(why) => self.say_wrong(why),
        }
    }

    /// Shows in the open dialog why it could not be done.
    pub(super) fn fail(&mut self, why: String) {
        if let Some(Dialog::Source { error, .. } | Dialog::File { error, .. }) = &mut self.dialog {
            *error = Some(why);
        }
    }
}
