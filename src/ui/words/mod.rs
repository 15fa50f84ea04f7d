//! Every sentence and word of the window: one file a language, all with the same names (a missing
//! one does not compile). Which language is spoken is chosen by each window before it draws.
//! Figures are put into sentences in `sentences` and nowhere else.

mod english;
mod german;
mod hand;
mod language;
mod more;
mod panel;
pub mod paper;
mod pseudo;
mod says;
mod sentences;

pub use english::Words;
pub use hand::*;
pub use language::{Language, get, in_english, speak, spoken, tell_times_in, zone};
pub use more::*;
pub use panel::*;
pub use says::instrument;
pub use sentences::*;

/// Says which words there are, and what they are in the first language.
macro_rules! first_language {
    ($($name:ident = $text:literal;)*) => {
        /// The words of one language.
        #[derive(Clone, Debug)]
        pub struct Words {
            $(
                #[doc = concat!("```text\n", $text, "\n```")]
                pub $name: &'static str,
            )*
        }

        /// The words of this language.
        pub(super) const WORDS: Words = Words { $($name: $text,)* };

        impl Words {
            /// All words with their names.
            #[must_use]
            pub fn all(&self) -> Vec<(&'static str, &'static str)> {
                vec![$((stringify!($name), self.$name),)*]
            }

            /// The same words, each changed.
            #[must_use]
            pub(super) fn mapped(&self, mut change: impl FnMut(&'static str) -> &'static str) -> Self {
                Self { $($name: change(self.$name),)* }
            }
        }
    };
}

/// The words of another language.
macro_rules! another_language {
    ($($name:ident = $text:literal;)*) => {
        /// The words of this language.
        pub(super) const WORDS: super::Words = super::Words { $($name: $text,)* };
    };
}

use {another_language, first_language};

/// Puts values into a template: each `{name}` gives way to the value of that name.
#[must_use]
pub(super) fn fill(template: &str, values: &[(&str, &str)]) -> String {
    let mut text = String::with_capacity(template.len() + 16);
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        let (before, from) = rest.split_at(open);
        text.push_str(before);
        let Some(close) = from.find('}') else {
            text.push_str(from);
            return text;
        };
        let name = &from[1..close];
        match values.iter().find(|(known, _)| *known == name) {
            Some((_, value)) => text.push_str(value),
            // A name that nothing is known of stays to be seen.
            None => text.push_str(&from[..=close]),
        }
        rest = &from[close + 1..];
    }
    text.push_str(rest);
    text
}

/// The words of the language in force under this name, with values put in.
macro_rules! put {
    ($template:ident $(, $name:ident = $value:expr)* $(,)?) => {
        $crate::ui::words::fill(
            $crate::ui::words::get().$template,
            &[$((stringify!($name), &$value.to_string())),*],
        )
    };
}

pub(crate) use put;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn templates_are_filled_and_what_is_unknown_stays() {
        assert_eq!(fill("a {b} c", &[("b", "x")]), "a x c");
        assert_eq!(fill("{b}{b}", &[("b", "x")]), "xx");
        assert_eq!(fill("a {b", &[("b", "x")]), "a {b");
        assert_eq!(fill("{other}", &[("b", "x")]), "{other}");
    }
}
