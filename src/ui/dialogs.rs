//! The dialogs: source, mark, run, calibration file, closing. Each asks one thing, says what to
//! mind, and closes with Escape. They decide nothing; they give back what was asked.

use eframe::egui::{Context, Id, Key, Modal, Response, ScrollArea, TextEdit, Ui, vec2};

use crate::base::FeedNumber;
use crate::ui::backend::Cameras;
use crate::ui::paint::InSight;
use crate::ui::theme::{self, Palette};
use crate::ui::words;

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
    /// Keep a mark.
    Mark(Option<FeedNumber>, String),
    /// Start a run.
    StartRun(String),
    /// End the run.
    EndRun,
    /// Write the calibration to this path.
    Save(String),
    /// Read a calibration from this path.
    Load(String),
    /// Close the window.
    CloseWindow,
}

/// What a dialog may need to know.
pub struct Known<'a> {
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
        .frame(theme::dialog_frame(palette))
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
                    Dialog::StartRun { title } => start_run(ui, title, &mut asked),
                    Dialog::EndRun => {
                        ui.heading(words::END_RUN_QUESTION);
                        ui.label(words::END_RUN_EXPLAINED);
                        two_keys(ui, words::END_THE_RUN, Asked::EndRun, &mut asked);
                    }
                    Dialog::File { what, path, error } => {
                        file(ui, *what, path, error.as_deref(), &mut asked, palette);
                    }
                    Dialog::Closing => {
                        ui.heading(words::CLOSE_QUESTION);
                        ui.label(words::CLOSE_EXPLAINED);
                        two_keys(ui, words::END_AND_CLOSE, Asked::CloseWindow, &mut asked);
                    }
                });
        });
    asked
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
        if big_key(ui, words::BACK).clicked() {
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
    ui.heading(words::SOURCE_HEADING);
    ui.label(words::CAMERAS);
    match &known.cameras {
        Cameras::Looking => {
            ui.label(words::LOOKING_FOR_CAMERAS);
        }
        Cameras::Failed(why) => {
            ui.colored_label(palette.ink_danger, why);
        }
        Cameras::Found(cameras) => {
            if cameras.is_empty() {
                ui.label(words::NO_CAMERAS);
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
    if ui.button(words::LOOK_AGAIN).in_sight().clicked() {
        *asked = Some(Asked::LookForCameras);
    }
    ui.separator();
    let label = ui.label(words::CLIP);
    let field = ui
        .add(TextEdit::singleline(path).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    let wants = entered(ui, &field);
    ui.horizontal(|ui| {
        let usable = !path.trim().is_empty();
        ui.add_enabled_ui(usable, |ui| {
            if ui.button(words::OPEN_CLIP).in_sight().clicked() || (wants && usable) {
                *asked = Some(Asked::Open(path.trim().to_owned()));
            }
        });
        if ui.button(words::OPEN_DEMO).in_sight().clicked() {
            *asked = Some(Asked::Open(words::DEMO_SOURCE.to_owned()));
        }
    });
    if let Some(error) = error {
        ui.colored_label(palette.ink_danger, error);
    }
    if !known.faults.is_empty() {
        ui.separator();
        ui.label(words::DEMO_FAULTS);
        ui.horizontal_wrapped(|ui| {
            for fault in &known.faults {
                if ui.button(fault).in_sight().clicked() {
                    *asked = Some(Asked::Fault(fault.clone()));
                }
            }
        });
    }
    ui.separator();
    ui.colored_label(palette.ink_soft, words::CAMERA_CAUTION);
    if ui.button(words::BACK).in_sight().clicked() {
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
    ui.heading(words::MARK_HEADING);
    ui.horizontal_wrapped(|ui| {
        ui.radio_value(feed, None, words::WHOLE_LUBRICATOR);
        for (number, name) in known.feeds {
            ui.radio_value(feed, Some(*number), words::feed_name(*number, name));
        }
    });
    ui.separator();
    for (i, preset) in words::marks(*feed).into_iter().enumerate() {
        let key = big_key(ui, &preset);
        if i == 0 {
            focus_first(ui, &key);
        }
        if key.clicked() {
            *asked = Some(Asked::Mark(*feed, preset));
        }
    }
    ui.separator();
    let label = ui.label(words::OWN_WORDS);
    let field = ui
        .add(TextEdit::singleline(free).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    let wants = entered(ui, &field);
    ui.horizontal(|ui| {
        let usable = !free.trim().is_empty();
        ui.add_enabled_ui(usable, |ui| {
            if ui.button(words::KEEP_MARK).in_sight().clicked() || (wants && usable) {
                *asked = Some(Asked::Mark(*feed, free.trim().to_owned()));
            }
        });
        if ui.button(words::BACK).in_sight().clicked() {
            *asked = Some(Asked::Close);
        }
    });
    ui.colored_label(palette.ink, words::VALVE_CAUTION);
}

fn start_run(ui: &mut Ui, title: &mut String, asked: &mut Option<Asked>) {
    ui.heading(words::START_RUN_HEADING);
    let label = ui.label(words::RUN_TITLE);
    let field = ui
        .add(TextEdit::singleline(title).desired_width(f32::INFINITY))
        .labelled_by(label.id)
        .in_sight();
    // Asked before the field is given the keyboard again.
    let wants = entered(ui, &field);
    focus_first(ui, &field);
    ui.label(words::START_RUN_EXPLAINED);
    ui.horizontal(|ui| {
        if big_key(ui, words::START_THE_RUN).clicked() || wants {
            *asked = Some(Asked::StartRun(title.trim().to_owned()));
        }
        if big_key(ui, words::BACK).clicked() {
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
        FileErrand::Save => (words::SAVE_HEADING, words::SAVE),
        FileErrand::Load => (words::LOAD_HEADING, words::LOAD),
    };
    ui.heading(heading);
    let label = ui.label(words::FILE_PATH);
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
        if big_key(ui, words::BACK).clicked() {
            *asked = Some(Asked::Close);
        }
    });
}
