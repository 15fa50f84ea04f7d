//! Lessons on the demo: a scene, a fault that the instructor lets happen, a question to the
//! trainees, and only then the answer. What is said stands in the words; what happens is the
//! demo's.

use eframe::egui::{Button, Rect, RichText, Ui, vec2};

use crate::ui::paint::InSight;
use crate::ui::setup::steps::side;
use crate::ui::theme::Palette;
use crate::ui::words;

/// How many lessons there are.
pub const LESSONS: usize = 6;

/// What a lesson lets happen, in the demo's own words, on a demo with so many feeds. Carbon and
/// carried-over water are not to be seen in any glass, and that is their lesson: what happens is
/// what a glass shows of them.
#[must_use]
pub fn faults(lesson: usize, feeds: usize) -> Vec<String> {
    match lesson % LESSONS {
        0 => vec!["stop 1".to_owned()],
        1 => vec![format!("flood {} 25", feeds.clamp(1, 2))],
        2 => vec!["fast 1 5".to_owned()],
        3 => vec!["steam 0.8".to_owned()],
        // Stiff oil is shared by all feeds.
        4 => all_feeds_at(0.35, feeds),
        _ => vec!["passer 5".to_owned()],
    }
}

/// All feeds so many times as fast as they were set.
fn all_feeds_at(factor: f64, feeds: usize) -> Vec<String> {
    (1..=feeds.max(1))
        .map(|feed| ["fast", &feed.to_string(), &factor.to_string()].join(" "))
        .collect()
}

/// What the answer of a lesson lets happen.
#[must_use]
pub fn afterwards(lesson: usize, feeds: usize) -> Vec<String> {
    match lesson % LESSONS {
        // The valves were opened on cold oil, and now it is warm: 1/0.35 of what they gave before.
        4 => all_feeds_at(2.9, feeds),
        _ => Vec::new(),
    }
}

/// What puts everything right again.
pub const CLEAR: &str = "clear";

/// How far a lesson has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stage {
    /// Nothing has happened yet.
    #[default]
    Scene,
    /// It happens; the trainees are asked.
    Question,
    /// The answer is told.
    Answer,
}

/// The lesson that is open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lesson {
    /// Which, from 0.
    pub index: usize,
    /// How far.
    pub stage: Stage,
}

/// What was asked for in a lesson.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LessonAsk {
    /// Open the demo.
    OpenDemo,
    /// Let these faults happen.
    Faults(Vec<String>),
    /// Put everything right.
    Clear,
    /// No more lessons.
    Over,
}

/// Whether the demo is watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnDemo {
    /// It is, with so many feeds.
    Yes {
        /// How many.
        feeds: usize,
    },
    /// Something else is.
    No,
}

impl Lesson {
    fn go(&mut self, index: usize) {
        *self = Self {
            index: index % LESSONS,
            stage: Stage::Scene,
        };
    }

    /// Draws the lesson; gives what was asked.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        on_demo: OnDemo,
        palette: &Palette,
    ) -> Vec<LessonAsk> {
        let mut asks = Vec::new();
        let all = words::lessons();
        let lesson = all[self.index % all.len()];
        let large = (rect.height() * 0.034).clamp(15.0, 26.0);
        side(ui, rect, "lesson", palette, |ui| {
            let heading = words::lesson_heading(self.index + 1, all.len(), lesson.title);
            let text = |words: &str| RichText::new(words).size(large).color(palette.ink);
            ui.label(text(&heading).strong());
            if let OnDemo::Yes { feeds } = on_demo {
                ui.label(text(lesson.scene));
                match self.stage {
                    Stage::Scene => {
                        if tall(ui, words::get().lesson_start, large) {
                            self.stage = Stage::Question;
                            asks.push(LessonAsk::Faults(faults(self.index, feeds)));
                        }
                    }
                    Stage::Question | Stage::Answer => {
                        ui.separator();
                        ui.label(text(words::get().lesson_ask));
                        ui.label(text(lesson.question).strong());
                    }
                }
                if self.stage == Stage::Question && tall(ui, words::get().lesson_answer, large) {
                    self.stage = Stage::Answer;
                    asks.push(LessonAsk::Faults(afterwards(self.index, feeds)));
                }
                if self.stage == Stage::Answer {
                    ui.separator();
                    ui.label(text(lesson.answer));
                    if tall(ui, words::get().lesson_clear, large) {
                        asks.push(LessonAsk::Clear);
                    }
                }
            } else {
                ui.label(text(words::get().lesson_needs_demo));
                if tall(ui, words::get().lesson_open_demo, large) {
                    asks.push(LessonAsk::OpenDemo);
                }
            }
            ui.horizontal_wrapped(|ui| {
                if ui.button(words::get().lesson_before).in_sight().clicked() {
                    self.leave(&mut asks);
                    self.go(self.index + LESSONS - 1);
                }
                if ui.button(words::get().lesson_next).in_sight().clicked() {
                    self.leave(&mut asks);
                    self.go(self.index + 1);
                }
                if ui.button(words::get().lesson_over).in_sight().clicked() {
                    self.leave(&mut asks);
                    asks.push(LessonAsk::Over);
                }
            });
            ui.separator();
            ui.colored_label(palette.ink, words::get().caution);
        });
        asks
    }

    /// What was let happen is put right before another lesson begins.
    fn leave(&self, asks: &mut Vec<LessonAsk>) {
        if self.stage != Stage::Scene {
            asks.push(LessonAsk::Clear);
        }
    }
}

fn tall(ui: &mut Ui, words: &str, size: f32) -> bool {
    let width = ui.available_width().min(420.0);
    let face = Button::new(RichText::new(words).size(size)).min_size(vec2(width, size * 2.4));
    ui.add(face).in_sight().clicked()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::demo::DemoSource;

    #[test]
    fn a_demo_of_any_size_takes_every_fault_of_every_lesson() {
        for feeds in 1..=4 {
            let mut demo = DemoSource::from_words(&format!("feeds={feeds}")).unwrap();
            for lesson in 0..LESSONS {
                let happens = faults(lesson, feeds);
                assert!(!happens.is_empty());
                for fault in happens.into_iter().chain(afterwards(lesson, feeds)) {
                    demo.switch(&fault).unwrap();
                }
                demo.switch(CLEAR).unwrap();
            }
        }
        assert_eq!(words::lessons().len(), LESSONS);
    }
}
