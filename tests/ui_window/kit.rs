//! A window on a scripted instrument, for tests.

use std::sync::Arc;

use beadtally::base::{Clock, ManualClock};
use beadtally::ui::app::Window;
use beadtally::ui::kept::Memory;
use beadtally::ui::pretend::{Pretend, Scene};
use beadtally::ui::sound::SoundSwitch;
use beadtally::ui::words::{self, Language};
use eframe::egui::{Context, Theme, UiBuilder, Vec2};
use egui_kittest::Harness;
use jiff::tz::TimeZone;

use crate::paint::SoftPainter;

/// 2024-03-09T14:05:06Z: any minute will do.
const WALL_SECS: f64 = 1_709_993_106.0;

/// A window under test, with what stands behind it.
pub struct Rig {
    pub harness: Harness<'static, Option<Window>>,
    pub behind: Pretend,
    pub clock: ManualClock,
    pub painter: SoftPainter,
}

/// How a window is to be built.
#[derive(Clone, Copy)]
pub struct Build {
    pub scene: Scene,
    pub size: (f32, f32),
    pub scale: f32,
    pub theme: Theme,
}

impl Build {
    pub fn of(scene: Scene) -> Self {
        Self {
            scene,
            size: (1280.0, 800.0),
            scale: 1.0,
            theme: Theme::Dark,
        }
    }

    pub fn rig(self) -> Rig {
        self.remembering(Memory::default())
    }

    /// A window with a memory.
    pub fn remembering(self, memory: Memory) -> Rig {
        self.with(move |ctx, window| window.remembering(ctx, memory.clone()))
    }

    /// A window at its first start.
    pub fn at_the_start(self) -> Rig {
        self.with(|_, window| window.at_the_start())
    }

    /// A window that speaks a language.
    pub fn speaking(self, language: Language) -> Rig {
        words::speak(language);
        self.rig()
    }

    fn with(self, change: impl Fn(&Context, Window) -> Window + 'static) -> Rig {
        // What is drawn must not depend on where it is drawn.
        words::tell_times_in(TimeZone::UTC);
        let behind = Pretend::new(self.scene);
        let clock = ManualClock::new(WALL_SECS);
        let (twin, hands) = (behind.twin(), clock.clone());
        let painter = SoftPainter::default();
        let harness = Harness::builder()
            .with_size(Vec2::from(self.size))
            .with_pixels_per_point(self.scale)
            .with_theme(self.theme)
            .with_max_steps(12)
            .renderer(painter.clone())
            .build_ui_state(
                move |ui, window: &mut Option<Window>| {
                    let window = window.get_or_insert_with(|| {
                        let clock: Arc<dyn Clock> = Arc::new(hands.clone());
                        let sound = Arc::new(SoundSwitch::default());
                        let window = Window::new(ui.ctx(), Box::new(twin.twin()), clock, sound);
                        change(ui.ctx(), window)
                    });
                    // The harness leaves a margin; the real window has none.
                    let whole = ui.ctx().content_rect();
                    let mut all = ui.new_child(UiBuilder::new().max_rect(whole));
                    all.set_clip_rect(whole);
                    window.show(&mut all);
                },
                None,
            );
        let mut rig = Rig {
            harness,
            behind,
            clock,
            painter,
        };
        rig.harness.run();
        rig
    }
}

impl Rig {
    pub fn window(&self) -> &Window {
        self.harness.state().as_ref().unwrap()
    }

    /// Moves the clock on and draws until nothing changes.
    pub fn after(&mut self, secs: f64) {
        self.clock.advance(secs);
        self.harness.run();
    }
}
