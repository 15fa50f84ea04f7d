//! Pseudo-text: the first language with marks on its letters and a third more of them, so that a
//! word that was cut, or that never came from the words' files, is seen at once. What stands in
//! braces stays as it is.

use super::Words;

/// Pseudo-text of some words. It is made once and kept for as long as the program runs.
pub(super) fn of(words: &Words) -> Words {
    words.mapped(|text| Box::leak(changed(text).into_boxed_str()))
}

/// Letters that look alike but are not the same.
const MARKED: [(char, char); 10] = [
    ('a', 'á'),
    ('e', 'ë'),
    ('i', 'ï'),
    ('o', 'ö'),
    ('u', 'ü'),
    ('n', 'ñ'),
    ('c', 'ç'),
    ('A', 'Å'),
    ('S', 'Š'),
    ('y', 'ý'),
];

fn changed(text: &str) -> String {
    let letters = text.chars().filter(|letter| letter.is_alphabetic()).count();
    if letters < 2 {
        return text.to_owned();
    }
    let mut out = String::with_capacity(text.len() * 2);
    let mut in_hole = false;
    for letter in text.chars() {
        match letter {
            '{' => in_hole = true,
            '}' => in_hole = false,
            _ => {}
        }
        let marked = MARKED.iter().find(|(plain, _)| *plain == letter);
        match marked {
            Some((_, marked)) if !in_hole => out.push(*marked),
            _ => out.push(letter),
        }
    }
    // A third more, as German and Finnish need.
    for i in 0..letters.div_ceil(3) {
        out.push(if i % 5 == 0 { 'ø' } else { '~' });
    }
    out
}
