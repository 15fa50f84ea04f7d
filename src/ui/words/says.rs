//! What the instrument says, in the language in force: its sentences come in the first language
//! (the logbook and the commands speak that one), are known again by their patterns, and said with
//! the same figures in another. A sentence that is not known stays as it came.

use super::{Language, Words, fill, get, spoken};

/// A sentence of the instrument, as a word of a language.
type Pattern = fn(&Words) -> &'static str;

/// The sentences that are known.
const PATTERNS: [Pattern; 30] = [
    |w| w.says_few_drops,
    |w| w.says_regularity,
    |w| w.says_irregular,
    |w| w.says_blind_share,
    |w| w.says_changed,
    |w| w.says_overdue,
    |w| w.says_unsure,
    |w| w.says_missed,
    |w| w.says_surround,
    |w| w.says_looking,
    |w| w.says_looking_again,
    |w| w.says_found_with_doubts,
    |w| w.says_none_found_yet,
    |w| w.says_none_found_over,
    |w| w.says_none_found_kept,
    |w| w.says_other_camera,
    |w| w.says_clip_over,
    |w| w.says_no_logbook,
    |w| w.says_run_waits,
    |w| w.says_not_taken,
    |w| w.says_busy,
    |w| w.says_fault_not_taken,
    |w| w.says_other_size,
    |w| w.says_no_picture_seen,
    |w| w.says_too_small,
    |w| w.says_no_edges,
    |w| w.says_see_each_glass,
    |w| w.says_faint,
    |w| w.says_search_failed,
    |w| w.says_does_not_answer,
];

/// What stands in the holes of a pattern, when a sentence is made by it.
fn holes<'a>(pattern: &'static str, sentence: &'a str) -> Option<Vec<(&'static str, &'a str)>> {
    let (first, mut rest_of_pattern) = pattern.split_once('{').unwrap_or((pattern, ""));
    let mut rest = sentence.strip_prefix(first)?;
    let mut found = Vec::new();
    while !rest_of_pattern.is_empty() {
        let (name, after) = rest_of_pattern.split_once('}')?;
        let (literal, next) = after.split_once('{').unwrap_or((after, ""));
        let until = if next.is_empty() {
            rest.ends_with(literal).then(|| rest.len() - literal.len())
        } else {
            rest.find(literal)
        }?;
        let (value, tail) = rest.split_at(until);
        if value.is_empty() {
            return None;
        }
        found.push((name, value));
        rest = &tail[literal.len()..];
        rest_of_pattern = next;
    }
    rest.is_empty().then_some(found)
}

/// A figure as the language writes it; sentences within a sentence are said as well.
fn value_said(value: &str) -> String {
    let is_figure = value.contains('.') && value.parse::<f64>().is_ok();
    if is_figure {
        return value.replace('.', get().decimal_point);
    }
    // Sentences stand behind one another with a semicolon, which may stand within one as well.
    let parts: Vec<&str> = value.split("; ").collect();
    let mut said = Vec::new();
    let mut from = 0;
    while from < parts.len() {
        let longest = (from + 1..=parts.len())
            .rev()
            .find_map(|to| Some((to, known(&parts[from..to].join("; "))?)));
        let (to, words) = longest.unwrap_or((from + 1, parts[from].to_owned()));
        said.push(words);
        from = to;
    }
    said.join("; ")
}

/// A sentence in the language in force, when it is known.
fn known(sentence: &str) -> Option<String> {
    PATTERNS.into_iter().find_map(|pattern| {
        let found = holes(pattern(Language::English.words()), sentence)?;
        let said: Vec<(&str, String)> = found
            .into_iter()
            .map(|(name, value)| (name, value_said(value)))
            .collect();
        let values: Vec<(&str, &str)> = said.iter().map(|(name, v)| (*name, v.as_str())).collect();
        Some(fill(pattern(get()), &values))
    })
}

/// A sentence of the instrument in the language in force.
#[must_use]
pub fn instrument(sentence: &str) -> String {
    if spoken() == Language::English {
        return sentence.to_owned();
    }
    known(sentence).unwrap_or_else(|| sentence.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rate::{Change, Doubt};
    use crate::run::LIKELY_MISSED;
    use crate::run::search::no_glass_words;
    use crate::ui::words::speak;

    fn in_german(sentence: &str) -> String {
        speak(Language::German);
        let said = instrument(sentence);
        speak(Language::English);
        said
    }

    #[test]
    fn every_doubt_of_a_reading_is_said_in_german() {
        let change = Change {
            at_secs: 1.0,
            before_per_minute: 2.5,
            after_per_minute: 3.5,
            ln_ratio: 9.0,
        };
        for (doubt, said) in [
            (Doubt::FewDrops { drops: 3 }, "erst 3 Tropfen bisher"),
            (
                Doubt::RegularityUnknown { drops: 7 },
                "7 Tropfen sind zu wenige",
            ),
            (Doubt::Irregular { scatter: 0.5 }, "streuen um 50 %"),
            (Doubt::Blind { share: 0.2 }, "20 % der Zeit"),
            (Doubt::Changed(change), "von etwa 2,5 auf etwa 3,5"),
            (Doubt::Overdue { intervals: 1.8 }, "seit 1,8 erwarteten"),
        ] {
            let german = in_german(&doubt.words());
            assert!(german.contains(said), "{german}");
            assert_eq!(instrument(&doubt.words()), doubt.words());
        }
        assert!(in_german(LIKELY_MISSED).starts_with("Perlen werden wahrscheinlich übersehen: "));
    }

    #[test]
    fn sentences_within_sentences_are_said_and_unknown_ones_stay() {
        let faint = "glass 2 from the left is faint and was found by its neighbours; look at its \
                     outline and correct it if need be";
        let german = in_german(&format!("Found the glasses, with doubts: {faint}."));
        assert!(german.starts_with("Die Gläser sind gefunden"), "{german}");
        assert!(german.contains("Glas 2"), "{german}");
        let german = in_german(&format!(
            "{}. Or give the outlines yourself. The search goes on.",
            no_glass_words(&[])
        ));
        assert!(
            german.contains("aufrecht") && german.contains("Suche"),
            "{german}"
        );
        let long = Language::English.words().says_no_edges;
        let german = in_german(&format!(
            "{long}. Or give the outlines yourself. The search goes on."
        ));
        assert!(
            german.contains("Düse am Fuß") && !german.contains("nozzle"),
            "{german}"
        );
        assert_eq!(in_german("The moon is full."), "The moon is full.");
        assert_eq!(in_german(""), "");
    }

    #[test]
    fn each_pattern_knows_its_own_sentence() {
        for pattern in PATTERNS {
            let english = pattern(Language::English.words());
            let sentence = english.replace(['{', '}'], "");
            let german = in_german(&sentence);
            assert_ne!(german, sentence, "{english}");
        }
    }
}
