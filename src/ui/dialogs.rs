//! The dialogs: source, mark, run, calibration file, closing. Each asks one thing, says what to
//! mind, and closes with Escape. They decide nothing; they give back what was asked.

use eframe::egui::{Context, Id, Key, Modal, Response, ScrollArea, TextEdit, Ui, vec2};

use crate::base::FeedNumber;
use crate::ui::backend::{Cameras, DEMO_SOURCE};
use crate::ui::fitter::sheet::Sheet;
use crate::ui::kept::{Hears, SIZES_PERCENT};
use crate::ui::paint::InSight;
use crate::ui::style::{self, Look};
use crate::ui::theme::{self, Palette};
use crate::ui::words;
use crate::ui::words::Language;

/// A dialog that is open.
#[derive(Clone, Debug, PartialEq)]
pub enum Dialog {
    /// Choosing a source.
    Source {
        /// A path being typed.
        path: String,
        /// Why the last try failed.
        error: Option<String>,
    },
    /// Keeping a mark.
    Mark {
        /// Free words being typed.
        words: String,
        /// Which feed, or the whole lubricator.
        feed: Option<FeedNumber>,
    },
    /// Starting a run.
    StartRun {
        /// Its title being typed.
        title: String,
        /// How long it lasts, seconds; none until a person ends it.
        lasts_secs: Option<f64>,
    },
    /// Ending the run.
    EndRun,
    /// Saving or loading a calibration.
    File {
        /// Which.
        what: FileErrand,
        /// The path being typed.
        path: String,
        /// Why the last try failed.
        error: Option<String>,
    },
    /// Closing the window while a run is recorded.
    Closing,
    /// Look, size, language, sounds.
    More,
    /// The as-found / as-left sheet.
    Sheet,
}

/// What a file is wanted for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileErrand {
    /// Writing the calibration.
    Save,
    /// Reading one.
    Load,
}

/// What was asked for in a dialog.
#[derive(Clone, Debug, PartialEq)]
pub enum Asked {
    /// Close the dialog.
    Close,
    /// Watch this source.
    Open(String),
    /// Look for cameras again.
    LookForCameras,
    /// Ask the demo for a fault.
    Fault(String),
    /// Keep a mark: at which feed, as it is shown, and as the logbook keeps it.
    Mark(Option<FeedNumber>, String, String),
    /// Start a run.
    StartRun(String, Option<f64>),
    /// End the run.
    EndRun,
    /// Write the calibration to this path.
    Save(String),
    /// Read a calibration from this path.
    Load(String),
    /// Close the window.
    CloseWindow,
    /// Another look.
    Look(Look),
    /// Another size of everything, per cent.
    Size(u16),
    /// Another language.
    Language(Language),
    /// Alarms to be heard, or not.
    AlarmSound,
    /// Drops to be heard, or not.
    DropSound,
    /// Getting started.
    Start,
    /// Keep the sheet and open it.
    SaveSheet,
    /// Begin a new sheet.
    NewSheet,
}

/// What is in force of look, size, language and sounds.
#[derive(Clone, Copy, Debug)]
pub struct Looks {
    /// The look.
    pub look: Look,
    /// Size of everything, per cent.
    pub size_percent: u16,
    /// The language.
    pub language: Language,
    /// Whether alarms are heard.
    pub alarm_sound: Hears,
    /// Whether drops are heard.
    pub drop_sound: Hears,
}

/// What a dialog may need to know.
pub struct Known<'a> {
    /// What is in force.
    pub looks: Looks,
    /// The as-found / as-left sheet.
    pub sheet: &'a Sheet,
    /// The cameras.
    pub cameras: Cameras,
    /// The demo's faults; empty without a demo.
    pub faults: Vec<String>,
    /// The feeds with their names.
    pub feeds: &'a [(FeedNumber, String)],
}

/// Shows the dialog; gives what was asked.
pub fn show(
    ctx: &Context,
    dialog: &mut Dialog,
    known: &Known<'_>,
    palette: &Palette,
) -> Option<Asked> {
    let mut asked = None;
    let room = ctx.content_rect();
    let most_height = (room.height() - 80.0).max(120.0);
    Modal::new(Id::unique("dialog"))
        .frame(style::dialog_frame(palette))
        .backdrop_color(theme::CURTAIN)
        .show(ctx, |ui| {
            ui.set_width((room.width() - 80.0).clamp(240.0, 560.0));
            ScrollArea::vertical()
                .max_height(most_height)
                .min_scrolled_height(most_height)
                .auto_shrink([false, true])
                .show(ui, |ui| match dialog {
                    Dialog::Source { path, error } => {
                        source(ui, path, error.as_deref(), known, &mut asked, palette);
                    }
                    Dialog::Mark { words, feed } => {
                        mark(ui, words, feed, known, &mut asked, palette);
                    }
                    Dialog::StartRun { title, lasts_secs } => {
                        start_run(ui, title, lasts_secs, &mut asked);
                    }
                    Dialog::EndRun => {
                        ui.heading(words::get().end_run_question);
                        ui.label(words::get().end_run_explained);
                        two_keys(ui, words::get().end_the_run, Asked::EndRun, &mut asked);
                    }
                    Dialog::File { what, path, error } => {
                        file(ui, *what, path, error.as_deref(), &mut asked, palette);
                    }
                    Dialog::Sheet => sheet(ui, known.sheet, &mut asked, palette),
                    Dialog::More => more(ui, known.looks, &mut asked),
                    Dialog::Closing => {
                        ui.heading(words::get().close_question);
                        ui.label(words::get().close_explained);
                        two_keys(
                            ui,
                            words::get().end_and_close,
                            Asked::CloseWindow,
                            &mut asked,
                        );
                    }
                });
        });
    asked
}

fn sheet(ui: &mut Ui, sheet: &Sheet, asked: &mut Option<Asked>, palette: &Palette) {
    let words = words::get();
    ui.heading(words.sheet_heading);
    for (feed, row) in sheet.rows() {
        ui.strong(words::number_and_name(*feed, &row.name));
        for (heading, noted) in [
            (words.sheet_found, &row.found),
            (words.sheet_left, &row.left),
        ] {
            ui.label(words::heading_and(
                heading,
                &words::paper::noted(noted.as_ref()),
            ));
        }
    }
    ui.separator();
    ui.strong(words.sheet_marks);
    if sheet.done().is_empty() {
        ui.label(words.sheet_no_marks);
    }
    for done in sheet.done() {
        let time = words::paper::time_of_day(done.wall_secs);
        ui.label(words::heading_and(&time, &done.words));
    }
    ui.separator();
    ui.horizontal_wrapped(|ui| {
        let save = big_key(ui, words.sheet_save);
        focus_first(ui, &save);
        if save.clicked() {
            *asked = Some(Asked::SaveSheet);
        }
        if big_key(ui, words.sheet_new).clicked() {
            *asked = Some(Asked::NewSheet);
        }
        if big_key(ui, words.back).clicked() {
            *asked = Some(Asked::Close);
        }
    });
    ui.colored_label(palette.ink_soft, words.sheet_limits);
}

fn more(ui: &mut Ui, looks: Looks, asked: &mut Option<Asked>) {
    let words = words::get();
    ui.heading(words.more_heading);
    ui.label(words.look);
    ui.horizontal_wrapped(|ui| {
        for (look, word) in [
            (Look::Dark, words.look_dark),
            (Look::Light, words.look_light),
            (Look::HighContrast, words.look_high_contrast),
        ] {
            if ui.radio(looks.look == look, word).in_sight().clicked() {
                *asked = Some(Asked::Look(look));
            }
        }
    });
    ui.label(words.size);
    ui.horizontal_wrapped(|ui| {
        for percent in SIZES_PERCENT {
            let chosen = looks.size_percent == percent;
            let word = words::size_percent(percent);
            if ui.radio(chosen, word).in_sight().clicked() {
                *asked = Some(Asked::Size(percent));
            }
        }
    });
    ui.label(words.language);
    ui.horizontal_wrapped(|ui| {
        for language in Language::CHOICE {
            let name = language.words().language_name;
            let chosen = looks.language == language;
            if ui.radio(chosen, name).in_sight().clicked() {
                *asked = Some(Asked::Language(language));
            }
        }
    });
    ui.separator();
    let mut on = looks.alarm_sound == Hears::On;
    if ui.checkbox(&mut on, words.alarm_sound).in_sight().clicked() {
        *asked = Some(Asked::AlarmSound);
    }
    let mut on = looks.drop_sound == Hears::On;
    if ui.checkbox(&mut on, words.drop_sound).in_sight().clicked() {
        *asked = Some(Asked::DropSound);
    }
    ui.label(words.drop_sound_explained);
    ui.separator();
    ui.horizontal(|ui| {
        if big_key(ui, words.start_again).clicked() {
            *asked = Some(Asked::Start);
        }
        let back = big_key(ui, words.back);
        focus_first(ui, &back);
        if back.clicked() {
            *asked = Some(Asked::Close);
        }
    });
}

/// The key that does it, and the one that goes back. The first has the keyboard at once.
fn two_keys(ui: &mut Ui, does: &str, what: Asked, asked: &mut Option<Asked>) {
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        let done = big_key(ui, does);
        focus_first(ui, &done);
        if done.clicked() {
            *asked = Some(what);
        }
        if big_key(ui, words::get().back).clicked() {
            *asked = Some(Asked::Close);
        }
    });
}

fn big_key(ui: &mut Ui, words: &str) -> Response {
    ui.add(eframe::egui::Button::new(words).min_size(vec2(120.0, 44.0)))
        .in_sight()
}

/// Gives the keyboard to a widget of a dialog that has just opened.
fn focus_first(ui: &Ui, response: &Response) {
    if ui.memory(|memory| memory.focused().is_none()) {
        response.request_focus();
    }
}

fn entered(ui: &Ui, response: &Response) -> bool {
    response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter))
}

fn source(
    ui: &mut Ui,
    path: &mut String,
    error: Option<&str>,
    known: &Known<'_>,
    asked: &mut Option<Asked>,
    palette: &Palette,
) {
    ui.heading(words::get().source_heading);
    ui.label(words::get().cameras);
    match &known.cameras {
        Cameras::Looking => {
            ui.label(words::get().looking_for_cameras);
        }
        Cameras::Failed(why) => {
            ui.colored_label(palette.ink_danger, why);
        }
        Cameras::Found(cameras) => {
            if cameras.is_empty() {
                ui.label(words::get().no_cameras);
            }
            for camera in cameras {
                let key = big_key(ui, &camera.name);
                focus_first(ui, &key);
                if key.clicked() {
                    *asked = Some(Asked::Open(words::camera_source(&camera.identity)));
                }
            }
        }
    }
    if ui.button(words::get().look_again).in_sight().clicked() {
        *asked = Some(Asked::LookForCameras);
    }
    ui.separator();
    let label = ui.label(words::get().clip);
    let field = ui
        .add(TextEdit::singleline(path).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    let wants = entered(ui, &field);
    if !wants && matches!(&known.cameras, Cameras::Found(cameras) if cameras.is_empty()) {
        // Without a camera what is left is to write a clip.
        focus_first(ui, &field);
    }
    ui.horizontal(|ui| {
        let usable = !path.trim().is_empty();
        ui.add_enabled_ui(usable, |ui| {
            if ui.button(words::get().open_clip).in_sight().clicked() || (wants && usable) {
                *asked = Some(Asked::Open(path.trim().to_owned()));
            }
        });
        if ui.button(words::get().open_demo).in_sight().clicked() {
            *asked = Some(Asked::Open(DEMO_SOURCE.to_owned()));
        }
    });
    if let Some(error) = error {
        ui.colored_label(palette.ink_danger, error);
    }
    if !known.faults.is_empty() {
        ui.separator();
        ui.label(words::get().demo_faults);
        ui.horizontal_wrapped(|ui| {
            for fault in &known.faults {
                if ui.button(fault).in_sight().clicked() {
                    *asked = Some(Asked::Fault(fault.clone()));
                }
            }
        });
    }
    ui.separator();
    ui.colored_label(palette.ink_soft, words::get().camera_caution);
    if ui.button(words::get().back).in_sight().clicked() {
        *asked = Some(Asked::Close);
    }
}

fn mark(
    ui: &mut Ui,
    free: &mut String,
    feed: &mut Option<FeedNumber>,
    known: &Known<'_>,
    asked: &mut Option<Asked>,
    palette: &Palette,
) {
    ui.heading(words::get().mark_heading);
    ui.horizontal_wrapped(|ui| {
        ui.radio_value(feed, None, words::get().whole_lubricator);
        for (number, name) in known.feeds {
            ui.radio_value(feed, Some(*number), words::feed_name(*number, name));
        }
    });
    ui.separator();
    let for_the_logbook = words::in_english(|| words::marks(*feed));
    let presets = words::marks(*feed).into_iter().zip(for_the_logbook);
    for (i, (preset, kept)) in presets.enumerate() {
        let key = big_key(ui, &preset);
        if i == 0 {
            focus_first(ui, &key);
        }
        if key.clicked() {
            *asked = Some(Asked::Mark(*feed, preset, kept));
        }
    }
    ui.separator();
    let label = ui.label(words::get().own_words);
    let field = ui
        .add(TextEdit::singleline(free).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    let wants = entered(ui, &field);
    ui.horizontal(|ui| {
        let usable = !free.trim().is_empty();
        ui.add_enabled_ui(usable, |ui| {
            if ui.button(words::get().keep_mark).in_sight().clicked() || (wants && usable) {
                let words = free.trim().to_owned();
                *asked = Some(Asked::Mark(*feed, words.clone(), words));
            }
        });
        if ui.button(words::get().back).in_sight().clicked() {
            *asked = Some(Asked::Close);
        }
    });
    ui.colored_label(palette.ink, words::get().valve_caution);
}

/// How long a run may be asked to last, seconds.
const LASTS_SECS: [f64; 6] = [300.0, 900.0, 1800.0, 3600.0, 7200.0, 28800.0];

fn start_run(
    ui: &mut Ui,
    title: &mut String,
    lasts_secs: &mut Option<f64>,
    asked: &mut Option<Asked>,
) {
    ui.heading(words::get().start_run_heading);
    let label = ui.label(words::get().run_title);
    let field = ui
        .add(TextEdit::singleline(title).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    // Asked before the field is given the keyboard again.
    let wants = entered(ui, &field);
    focus_first(ui, &field);
    ui.label(words::get().run_lasts);
    ui.horizontal_wrapped(|ui| {
        let _chosen = ui
            .radio_value(lasts_secs, None, words::get().run_until_ended)
            .in_sight();
        for secs in LASTS_SECS {
            let word = words::short_length(secs);
            let _chosen = ui.radio_value(lasts_secs, Some(secs), word).in_sight();
        }
    });
    ui.label(words::get().start_run_explained);
    ui.horizontal(|ui| {
        if big_key(ui, words::get().start_the_run).clicked() || wants {
            *asked = Some(Asked::StartRun(title.trim().to_owned(), *lasts_secs));
        }
        if big_key(ui, words::get().back).clicked() {
            *asked = Some(Asked::Close);
        }
    });
}

fn file(
    ui: &mut Ui,
    what: FileErrand,
    path: &mut String,
    error: Option<&str>,
    asked: &mut Option<Asked>,
    palette: &Palette,
) {
    let (heading, key) = match what {
        FileErrand::Save => (words::get().save_heading, words::get().save),
        FileErrand::Load => (words::get().load_heading, words::get().load),
    };
    ui.heading(heading);
    let label = ui.label(words::get().file_path);
    let field = ui
        .add(TextEdit::singleline(path).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    // Asked before the field is given the keyboard again.
    let wants = entered(ui, &field);
    focus_first(ui, &field);
    if let Some(error) = error {
        ui.colored_label(palette.ink_danger, error);
    }
    ui.horizontal(|ui| {
        let usable = !path.trim().is_empty();
        ui.add_enabled_ui(usable, |ui| {
            if big_key(ui, key).clicked() || (wants && usable) {
                let path = path.trim().to_owned();
                *asked = Some(match what {
                    FileErrand::Save => Asked::Save(path),
                    FileErrand::Load => Asked::Load(path),
                });
            }
        });
        if big_key(ui, words::get().back).clicked() {
            *asked = Some(Asked::Close);
        }
    });
}
