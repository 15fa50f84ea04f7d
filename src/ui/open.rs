//! Opening the real window: eframe's own options, the real backend, the sound. All that can be
//! tested without a screen stands elsewhere.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use eframe::egui::{self, Color32, IconData, Pos2, ViewportBuilder, pos2, vec2};

use crate::base::{Clock, SystemClock};
use crate::glass::Calibration;
use crate::ui::app::Window;
use crate::ui::backend::{Backend, DEMO_SOURCE};
use crate::ui::kept::Memory;
use crate::ui::live::Live;
use crate::ui::picture::LEAST_BETWEEN_SECS;
use crate::ui::sound::{Sound, SoundSwitch};
use crate::ui::theme;
use crate::ui::words::{self, Language};

/// Size of the window at its first start, points.
const FIRST_SIZE: [f32; 2] = [1280.0, 800.0];
/// Smallest size of the window, points: everything still has its place.
const LEAST_SIZE: [f32; 2] = [512.0, 300.0];

/// What the window starts with.
#[derive(Clone, Debug, Default)]
pub struct UiSettings {
    /// What to watch first, in the words of the commands; what was watched last when nothing is
    /// said, and at the first start the window asks.
    pub source: Option<String>,
    /// The calibration file to start with.
    pub calibration: Option<PathBuf>,
    /// Where the logbook is; none to keep none.
    pub logbook: Option<PathBuf>,
}

/// Opens the window and stays until it is closed.
///
/// # Errors
/// A sentence: the calibration cannot be read, the words name no source, or no window can be
/// opened (no display, no graphics).
pub fn open(settings: UiSettings) -> anyhow::Result<()> {
    if !has_display() {
        anyhow::bail!(words::get().no_display);
    }
    let calibration = settings
        .calibration
        .as_deref()
        .map(Calibration::read)
        .transpose()?;
    let memory = Memory::usual();
    // What was said comes first, then what is remembered; else the window asks.
    let first = match (settings.source, calibration) {
        (Some(source), calibration) => Some((source, calibration)),
        (None, calibration) => match (Window::remembered(&memory), calibration) {
            (Some((source, remembered)), calibration) => Some((source, calibration.or(remembered))),
            (None, Some(calibration)) => Some((DEMO_SOURCE.to_owned(), Some(calibration))),
            (None, None) => None,
        },
    };
    words::speak(system_language());
    let options = eframe::NativeOptions {
        viewport: ViewportBuilder::default()
            .with_title(words::get().title)
            .with_app_id(words::get().program)
            .with_inner_size(FIRST_SIZE)
            .with_min_inner_size(LEAST_SIZE)
            .with_icon(icon()),
        ..eframe::NativeOptions::default()
    };
    let logbook = settings.logbook;
    eframe::run_native(
        words::get().program,
        options,
        Box::new(move |creation| {
            let ctx = creation.egui_ctx.clone();
            let wake = Arc::new(move || {
                ctx.request_repaint_after(Duration::from_secs_f64(LEAST_BETWEEN_SECS));
            });
            let clock: Arc<dyn Clock> = Arc::new(SystemClock::new());
            let live = Live::new(clock.clone(), wake, logbook);
            let asks = first.is_none();
            if let Some((source, calibration)) = first {
                live.watch(&source, calibration)?;
            }
            let mut app = App::new(&creation.egui_ctx, live, clock, memory);
            if asks {
                app.window = app.window.at_the_start();
            }
            Ok(Box::new(app))
        }),
    )
    .map_err(|error| anyhow::anyhow!(words::no_window(&error.to_string())))
}

/// The language of this computer, as far as its environment says and we have it.
fn system_language() -> Language {
    ["LC_ALL", "LC_MESSAGES", "LANG"]
        .iter()
        .find_map(|name| std::env::var(name).ok().filter(|value| !value.is_empty()))
        .map_or(Language::English, |locale| Language::of_locale(&locale))
}

/// Whether there can be a screen to draw on.
#[cfg(target_os = "linux")]
fn has_display() -> bool {
    ["DISPLAY", "WAYLAND_DISPLAY", "WAYLAND_SOCKET"]
        .iter()
        .any(|name| std::env::var_os(name).is_some_and(|value| !value.is_empty()))
}

#[cfg(not(target_os = "linux"))]
fn has_display() -> bool {
    true
}

/// The window as eframe wants it.
struct App {
    window: Window,
    /// Ends its thread when the window closes.
    _sound: Option<Sound>,
}

impl App {
    fn new(ctx: &egui::Context, live: Live, clock: Arc<dyn Clock>, memory: Memory) -> Self {
        let (sound, switch) = match Sound::start(live.look(), clock.clone()) {
            Ok(sound) => {
                let switch = sound.switch();
                (Some(sound), switch)
            }
            Err(error) => {
                tracing::warn!(%error, "no thread for the alarm's sound");
                (None, Arc::new(SoundSwitch::default()))
            }
        };
        Self {
            window: Window::new(ctx, Box::new(live), clock, switch).remembering(ctx, memory),
            _sound: sound,
        }
    }
}

impl eframe::App for App {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.window.show(ui);
    }

    fn clear_color(&self, visuals: &egui::Visuals) -> [f32; 4] {
        visuals.panel_fill.to_normalized_gamma_f32()
    }
}

/// Side of the icon, pixels; the drawing below is made in a square of this side.
const ICON_PX: usize = 128;

/// The window's icon, the same drawing as the desktop's: a bead, ringed, above its nozzle in a
/// sight glass.
fn icon() -> IconData {
    let mut rgba = Vec::with_capacity(ICON_PX * ICON_PX * 4);
    for y in 0..ICON_PX {
        for x in 0..ICON_PX {
            let at = pos2(x as f32 + 0.5, y as f32 + 0.5);
            rgba.extend(icon_colour(at).to_array());
        }
    }
    IconData {
        rgba,
        width: ICON_PX as u32,
        height: ICON_PX as u32,
    }
}

/// The topmost colour at a point of the icon.
fn icon_colour(at: Pos2) -> Color32 {
    let look = &theme::DARK;
    let within =
        |x: std::ops::Range<f32>, y: std::ops::Range<f32>| x.contains(&at.x) && y.contains(&at.y);
    let from_bead = at.distance(pos2(64.0, 46.0));
    let nozzle_half = 4.0 + (at.y - 84.0) * 0.25;
    let corner = vec2((at.x - 64.0).abs() - 40.0, (at.y - 64.0).abs() - 40.0);
    if at.distance(pos2(59.0, 41.0)) < 4.5 {
        look.figure
    } else if from_bead < 15.0 {
        look.focus
    } else if (from_bead - 21.0).abs() < 1.75 {
        theme::RING_OIL
    } else if ((84.0..108.0).contains(&at.y) && (at.x - 64.0).abs() < nozzle_half)
        || within(36.0..92.0, 10.0..20.0)
        || within(36.0..92.0, 108.0..118.0)
    {
        look.brass
    } else if within(43.5..84.5, 20.0..108.0) {
        look.well
    } else if within(40.5..87.5, 20.0..108.0) {
        look.ink_well
    } else if corner.max(vec2(0.0, 0.0)).length() < 22.0 {
        look.plate
    } else {
        theme::NONE
    }
}
