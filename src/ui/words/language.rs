//! Which language is spoken. Each window says so before it draws, in its own thread, so that two
//! windows could speak two languages; other threads speak the first one.

use std::cell::{Cell, RefCell};
use std::sync::OnceLock;

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::{Words, english, german, pseudo};

/// A language of the window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Language {
    /// English.
    #[default]
    English,
    /// German.
    German,
    /// No language: English with longer words and marks on its letters, to see what a layout does
    /// with a longer tongue.
    Pseudo,
}

static ENGLISH: Words = english::WORDS;
static GERMAN: Words = german::WORDS;
static PSEUDO: OnceLock<Words> = OnceLock::new();

thread_local! {
    static SPOKEN: Cell<Language> = const { Cell::new(Language::English) };
    static ZONE: RefCell<Option<TimeZone>> = const { RefCell::new(None) };
}

impl Language {
    /// Those a person may choose.
    pub const CHOICE: [Self; 2] = [Self::English, Self::German];

    /// Its words.
    #[must_use]
    pub fn words(self) -> &'static Words {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
            Self::Pseudo => PSEUDO.get_or_init(|| pseudo::of(&ENGLISH)),
        }
    }

    /// The language of a system, from what its environment says (`de_DE.UTF-8`): English unless
    /// it is one we have.
    #[must_use]
    pub fn of_locale(locale: &str) -> Self {
        if locale.to_ascii_lowercase().starts_with("de") {
            Self::German
        } else {
            Self::English
        }
    }
}

/// From now on this thread speaks a language.
pub fn speak(language: Language) {
    SPOKEN.set(language);
}

/// The language this thread speaks, to hand it on to another thread.
#[must_use]
pub fn spoken() -> Language {
    SPOKEN.get()
}

/// From now on this thread tells times in a zone rather than in that of this computer.
pub fn tell_times_in(zone: TimeZone) {
    ZONE.replace(Some(zone));
}

/// The time zone in which this thread tells times.
#[must_use]
pub fn zone() -> TimeZone {
    ZONE.with_borrow(|zone| zone.clone().unwrap_or_else(TimeZone::system))
}

/// Words in the first language, whatever is spoken: what the logbook and others read.
pub fn in_english<T>(words: impl FnOnce() -> T) -> T {
    let spoken = spoken();
    speak(Language::English);
    let said = words();
    speak(spoken);
    said
}

/// The words of the language this thread speaks.
#[must_use]
pub fn get() -> &'static Words {
    SPOKEN.get().words()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::BlindWhy;
    use crate::judge::FeedState;
    use crate::ui::words;

    /// The names in braces, in order of the alphabet.
    fn holes(text: &str) -> Vec<&str> {
        let mut found: Vec<&str> = text
            .split('{')
            .skip(1)
            .filter_map(|part| part.split_once('}').map(|(name, _)| name))
            .collect();
        found.sort_unstable();
        found
    }

    #[test]
    fn every_language_fills_in_the_same_figures_and_leaves_nothing_empty() {
        for other in [Language::German, Language::Pseudo] {
            for ((name, english), (_, word)) in ENGLISH.all().into_iter().zip(other.words().all()) {
                assert_eq!(holes(english), holes(word), "{other:?}, {name}");
                assert_eq!(english.trim().is_empty(), word.trim().is_empty(), "{name}");
            }
        }
    }

    #[test]
    fn german_is_really_german() {
        let all = ENGLISH.all();
        let same = all
            .iter()
            .zip(GERMAN.all())
            .filter(|((_, english), (_, german))| english == german)
            .count();
        // Names of keys, units, patterns of figures and a few words are alike in both.
        assert!(same * 6 < all.len(), "{same} of {} are alike", all.len());
    }

    #[test]
    fn pseudo_text_is_longer_by_a_third_and_still_to_be_read() {
        let pseudo = Language::Pseudo.words();
        let before = ENGLISH.setup.chars().count();
        assert!(pseudo.setup.chars().count() >= before + before / 3);
        assert_ne!(pseudo.watch, ENGLISH.watch);
    }

    #[test]
    fn a_system_s_language_is_understood() {
        assert_eq!(Language::of_locale("de_AT.UTF-8"), Language::German);
        assert_eq!(Language::of_locale("fr_FR"), Language::English);
        assert_eq!(Language::of_locale(""), Language::English);
    }

    #[test]
    fn the_first_language_says_what_the_instrument_says() {
        for verdict in [
            FeedState::InBand,
            FeedState::Low,
            FeedState::High,
            FeedState::FarHigh,
            FeedState::Stopped,
            FeedState::CannotSee,
            FeedState::NoReadingYet,
        ] {
            assert_eq!(words::state(verdict), verdict.words());
        }
        for why in [
            BlindWhy::Starting,
            BlindWhy::NoFrames,
            BlindWhy::CameraLost,
            BlindWhy::Frozen,
            BlindWhy::Dark,
            BlindWhy::LightChanged,
            BlindWhy::Moved,
            BlindWhy::Covered,
            BlindWhy::Flooded,
        ] {
            assert_eq!(words::blind(why), why.words());
        }
    }
}
