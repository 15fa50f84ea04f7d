//! Other languages in the same places: no word is cut in the languages we ship, none is lost, and
//! longer words than ours push nothing out of the window.

use beadtally::ui::pretend::Scene;
use beadtally::ui::words::{self, Language};
use eframe::egui::epaint::Shape;
use eframe::egui::{Key, Rect, pos2};
use egui_kittest::kittest::{NodeT, Queryable};

use crate::kit::{Build, Rig};

/// Keys that lead to every view and dialog.
const PLACES: [Option<Key>; 11] = [
    Some(Key::H),
    None,
    Some(Key::F1),
    Some(Key::F3),
    Some(Key::F4),
    Some(Key::F5),
    Some(Key::F6),
    Some(Key::F7),
    Some(Key::F8),
    Some(Key::M),
    Some(Key::S),
];

fn cut_words(rig: &Rig) -> Vec<String> {
    fn of(shape: &Shape, found: &mut Vec<String>) {
        match shape {
            Shape::Text(text) if text.galley.elided => {
                found.push(text.galley.text().to_owned());
            }
            Shape::Vec(shapes) => shapes.iter().for_each(|shape| of(shape, found)),
            _ => {}
        }
    }
    let mut found = Vec::new();
    for clipped in &rig.harness.output().shapes {
        of(&clipped.shape, &mut found);
    }
    found
}

fn at(language: Language, size: (f32, f32), scene: Scene, place: Option<Key>) -> Rig {
    let mut rig = Build {
        size,
        ..Build::of(scene)
    }
    .speaking(language);
    if let Some(key) = place {
        rig.harness.key_press(key);
        rig.harness.run();
    }
    rig
}

#[test]
fn no_word_is_cut_in_a_window_of_usual_size() {
    for language in Language::CHOICE {
        for size in [(1280.0, 800.0), (1920.0, 1080.0)] {
            for scene in [Scene::Well, Scene::Trouble] {
                for place in PLACES {
                    let rig = at(language, size, scene, place);
                    let cut = cut_words(&rig);
                    assert!(
                        cut.is_empty(),
                        "{language:?} {size:?} {scene:?} {place:?}: {cut:?}"
                    );
                }
            }
        }
    }
    words::speak(Language::English);
}

#[test]
fn longer_words_push_nothing_out_of_the_window() {
    for size in [(1280.0, 800.0), (1024.0, 600.0), (512.0, 300.0)] {
        for place in PLACES {
            let rig = at(Language::Pseudo, size, Scene::Well, place);
            let whole = Rect::from_min_max(pos2(0.0, 0.0), size.into()).expand(1.0);
            let root = rig.harness.root();
            for node in root.children_recursive() {
                let node = node.accesskit_node();
                let is_key = node
                    .label()
                    .is_some_and(|label| label == words::get().help || label == words::get().watch);
                if let (true, Some(bounds)) = (is_key, node.raw_bounds()) {
                    let right_foot = pos2(bounds.x1 as f32, bounds.y1 as f32);
                    assert!(whole.contains(right_foot), "{size:?} {place:?}");
                }
            }
            assert!(
                rig.harness.query_all_by_label(words::get().help).count() > 0,
                "{size:?} {place:?}"
            );
        }
    }
    words::speak(Language::English);
}

#[test]
fn what_stands_on_the_screen_comes_from_the_words_files() {
    // In pseudo-text every word of ours ends in marks; a plain one came from elsewhere.
    let rig = at(
        Language::Pseudo,
        (1280.0, 800.0),
        Scene::Well,
        Some(Key::F1),
    );
    let pseudo = Language::Pseudo.words().all();
    let plain: Vec<String> = rig
        .harness
        .root()
        .children_recursive()
        .filter_map(|node| node.accesskit_node().label())
        .filter(|label| label.split(' ').count() > 3)
        .filter(|label| !label.contains('~') && !label.contains('ø'))
        .collect();
    assert!(plain.is_empty(), "{plain:?}");
    assert!(pseudo.len() > 300);
    words::speak(Language::English);
}
