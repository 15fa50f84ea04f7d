//! No sentence of the window stands outside its file of words.

use std::fs;
use std::path::{Path, PathBuf};

/// Files in which words stand that no user meets: a scripted instrument, names of colour pairs,
/// tests.
const EXEMPT: [&str; 4] = ["pretend.rs", "theme.rs", "edit_tests.rs", "kept.rs"];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

/// The string literals of a source up to its tests, comments left out.
fn literals(text: &str) -> Vec<String> {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    let mut found = Vec::new();
    for line in code.lines() {
        let line = line.trim();
        if line.starts_with("//")
            || line.starts_with("#[")
            || line.contains("reason = ")
            || line.starts_with("tracing::")
        {
            continue;
        }
        // Odd pieces between quotes are inside.
        for piece in line.replace("'\"'", "").split('"').skip(1).step_by(2) {
            found.push(piece.to_owned());
        }
    }
    found
}

/// Whether a literal is a sentence or a word for people, rather than a name inside the program.
fn is_for_people(literal: &str) -> bool {
    let letters = |part: &str| part.chars().filter(|c| c.is_alphabetic()).count();
    let words = literal.split(' ').filter(|part| letters(part) > 0).count();
    let starts_large = literal.chars().next().is_some_and(char::is_uppercase);
    // `LIKE_THIS` is the name of a variable of the environment.
    let is_variable = literal.chars().all(|c| c.is_ascii_uppercase() || c == '_');
    words > 1 || (starts_large && letters(literal) > 3 && !is_variable)
}

#[test]
fn no_sentence_stands_outside_the_words() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/ui");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 20, "{files:?}");
    let mut breaches = Vec::new();
    for file in files {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let in_words = file.components().any(|part| part.as_os_str() == "words");
        if in_words || EXEMPT.contains(&name.as_str()) {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        breaches.extend(
            literals(&text)
                .into_iter()
                .filter(|literal| is_for_people(literal))
                .map(|literal| format!("{}: {literal:?}", file.display())),
        );
    }
    assert!(breaches.is_empty(), "{}", breaches.join("\n"));
}

#[test]
fn the_check_can_fail() {
    let text = "fn f() { ui.label(\"Hello there\"); ui.button(\"Cancel\"); id(\"a-name\"); }";
    let found: Vec<bool> = literals(text).iter().map(|l| is_for_people(l)).collect();
    assert_eq!(found, [true, true, false]);
}
