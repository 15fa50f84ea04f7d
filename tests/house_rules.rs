//! Keeps the house rules a compiler does not know: heads, lengths, no test that is switched off,
//! colours in one file, one word for one thing, and a map of the folders that is true. Who may
//! import whom is left to `floors.rs`.

mod house_source;

use std::collections::BTreeSet;
use std::fs;

use house_source::{Kind, Source, from_top, sources_under, top};

/// Lines: a file that passes this usually wants to be two.
const LONGEST_FILE_LINES: usize = 600;

/// The one file of the window that may make colours.
const HOME_OF_COLOURS: &str = "src/ui/theme.rs";

/// Words that would be a second name for a thing that has one, and the name it has. An `s` at the
/// end is the same word; so is `two_words` or `TwoWords` for `two words`.
const SECOND_NAMES: [(&str, &str); 19] = [
    ("droplet", "bead (seen) or drop (counted)"),
    ("drip", "drop"),
    ("oil bubble", "bead"),
    ("gauge glass", "sight glass"),
    ("viewing glass", "sight glass"),
    ("sight gauge", "sight glass"),
    ("needle valve", "regulating valve"),
    ("control valve", "regulating valve"),
    ("feed valve", "regulating valve"),
    ("oil tank", "reservoir"),
    ("setpoint", "band"),
    ("set point", "band"),
    ("region of interest", "outline"),
    ("roi", "outline"),
    ("kymograph", "strip"),
    ("kymogram", "strip"),
    ("blind period", "blind spell"),
    ("log book", "logbook"),
    ("bookmark", "mark"),
];

/// The file that holds the list above, and so the words in it.
const HOME_OF_SECOND_NAMES: &str = "tests/house_rules.rs";

/// The heading in DEVELOPERS.md under which every folder of `src` stands, as `src/…/` in
/// backticks.
const HEADING_OF_THE_MAP: &str = "## Map of the folders";

fn headless(source: &Source) -> Vec<String> {
    if source.text.starts_with("//!") {
        Vec::new()
    } else {
        vec![format!(
            "{}: the first line does not say (`//!`) what the file is for and what it leaves to others",
            source.path
        )]
    }
}

fn too_long(source: &Source) -> Vec<String> {
    let lines = source.text.lines().count();
    if lines <= LONGEST_FILE_LINES {
        Vec::new()
    } else {
        vec![format!(
            "{}: {lines} lines, more than {LONGEST_FILE_LINES}; make two files of it",
            source.path
        )]
    }
}

/// Tests that are switched off, or that pass by dying.
fn weak_tests(source: &Source) -> Vec<String> {
    let tokens = source.tokens();
    let mut breaches = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        if token.kind != Kind::Punct('#')
            || tokens.get(at + 1).map(|token| &token.kind) != Some(&Kind::Open('['))
        {
            continue;
        }
        let attribute = tokens[at + 1..]
            .iter()
            .take_while(|token| token.kind != Kind::Close('['));
        for name in attribute.filter_map(|token| token.ident()) {
            if matches!(name, "ignore" | "should_panic") {
                breaches.push(format!("{}:{}: #[{name}]", source.path, token.line));
            }
        }
    }
    breaches
}

/// Colours made in the window outside their one home. No colour at all is no colour, and a test
/// may say which colour it expects.
fn stray_colours(source: &Source) -> Vec<String> {
    if !source.path.starts_with("src/ui/") || source.path == HOME_OF_COLOURS {
        return Vec::new();
    }
    let mut breaches = Vec::new();
    for path in source.paths().into_iter().filter(|path| !path.in_tests) {
        for pair in path.parts.windows(2) {
            if matches!(pair[0].as_str(), "Color32" | "Rgba" | "Hsva" | "HsvaGamma")
                && !matches!(pair[1].as_str(), "TRANSPARENT" | "PLACEHOLDER")
            {
                breaches.push(format!(
                    "{}:{}: `{}::{}` makes a colour outside {HOME_OF_COLOURS}",
                    source.path, path.line, pair[0], pair[1]
                ));
            }
        }
    }
    for token in source.tokens() {
        if token.ident() == Some("hex_color") {
            breaches.push(format!(
                "{}:{}: `hex_color` makes a colour outside {HOME_OF_COLOURS}",
                source.path, token.line
            ));
        }
    }
    breaches
}

/// The words of a line in small letters; names of several words are taken apart. A sign between
/// two words stands as an empty word, so that only words side by side make a name.
fn words_of(line: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut goes_on = false;
    let mut small_before = false;
    for letter in line.chars() {
        if letter.is_alphabetic() {
            if !goes_on || (small_before && letter.is_uppercase()) {
                words.push(String::new());
            }
            if let Some(word) = words.last_mut() {
                word.extend(letter.to_lowercase());
            }
        } else if !matches!(letter, ' ' | '_' | '-') {
            words.push(String::new());
        }
        goes_on = letter.is_alphabetic();
        small_before = letter.is_lowercase();
    }
    words
}

fn is_same_word(word: &str, name: &str) -> bool {
    word == name || word.strip_suffix('s') == Some(name)
}

fn second_names(path: &str, text: &str) -> Vec<String> {
    let mut breaches = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let words = words_of(line);
        for (second, first) in SECOND_NAMES {
            let second_words: Vec<&str> = second.split(' ').collect();
            let found = words.windows(second_words.len()).any(|window| {
                window
                    .iter()
                    .zip(&second_words)
                    .all(|(word, name)| is_same_word(word, name))
            });
            if found {
                breaches.push(format!("{path}:{}: '{second}': say {first}", number + 1));
            }
        }
    }
    breaches
}

/// Where the map and the folders differ.
fn false_map(developers: &str, folders: &BTreeSet<String>) -> Vec<String> {
    let mut lines = developers.lines();
    if !lines.any(|line| line.trim_end() == HEADING_OF_THE_MAP) {
        return vec![format!(
            "DEVELOPERS.md has no heading '{HEADING_OF_THE_MAP}'"
        )];
    }
    let mapped: BTreeSet<String> = lines
        .take_while(|line| !line.starts_with("## "))
        .flat_map(|line| line.split('`').skip(1).step_by(2))
        .filter(|words| words.starts_with("src/") && words.ends_with('/'))
        .map(str::to_owned)
        .collect();
    let missing = folders
        .difference(&mapped)
        .map(|folder| format!("{folder} is not on the map in DEVELOPERS.md"));
    let gone = mapped
        .difference(folders)
        .map(|folder| format!("{folder} is on the map in DEVELOPERS.md and does not exist"));
    missing.chain(gone).collect()
}

/// All our `.rs` files, tests and all.
fn all_sources() -> Vec<Source> {
    let sources = sources_under("");
    let in_src = sources
        .iter()
        .filter(|source| source.path.starts_with("src/"));
    assert!(in_src.count() >= 10, "the sources were not found");
    assert!(
        sources
            .iter()
            .any(|source| source.path == HOME_OF_SECOND_NAMES)
    );
    sources
}

fn assert_none(breaches: &[String]) {
    assert!(breaches.is_empty(), "\n{}\n", breaches.join("\n"));
}

fn assert_all(check: fn(&Source) -> Vec<String>) {
    let breaches: Vec<String> = all_sources().iter().flat_map(check).collect();
    assert_none(&breaches);
}

#[test]
fn every_file_says_what_it_is_for() {
    assert_all(headless);
}

#[test]
fn no_file_is_too_long() {
    assert_all(too_long);
}

#[test]
fn no_test_is_switched_off_or_passes_by_dying() {
    assert_all(weak_tests);
}

#[test]
fn the_window_makes_colours_in_one_file() {
    assert_all(stray_colours);
}

#[test]
fn one_thing_has_one_name() {
    let mut breaches: Vec<String> = all_sources()
        .iter()
        .filter(|source| source.path != HOME_OF_SECOND_NAMES)
        .flat_map(|source| second_names(&source.path, &source.text))
        .collect();
    for paper in ["README.md", "DEVELOPERS.md"] {
        let text = fs::read_to_string(top().join(paper)).unwrap();
        breaches.extend(second_names(paper, &text));
    }
    assert_none(&breaches);
}

#[test]
fn the_map_of_the_folders_is_true() {
    let folders: BTreeSet<String> = sources_under("src")
        .iter()
        .filter_map(|source| {
            let folder = top().join(&source.path).parent()?.to_owned();
            Some(format!("{}/", from_top(&folder)))
        })
        .filter(|folder| folder != "src/")
        .collect();
    let developers = fs::read_to_string(top().join("DEVELOPERS.md")).unwrap();
    assert_none(&false_map(&developers, &folders));
}

#[test]
fn the_checks_of_single_files_can_fail() {
    let source = |text: &str| Source::literal("src/ui/a.rs", text);
    assert_eq!(headless(&source("// A comment.\nfn f() {}")).len(), 1);
    assert_eq!(headless(&source("\n//! Late.")).len(), 1);
    assert_eq!(headless(&source("//! Head.\nfn f() {}")).len(), 0);

    assert_eq!(
        too_long(&source(&"\n".repeat(LONGEST_FILE_LINES + 1))).len(),
        1
    );
    assert_eq!(too_long(&source(&"\n".repeat(LONGEST_FILE_LINES))).len(), 0);

    assert_eq!(
        weak_tests(&source("#[test]\n#[ignore]\nfn f() {}")).len(),
        1
    );
    assert_eq!(
        weak_tests(&source("#[ignore = \"slow\"]\nfn f() {}")).len(),
        1
    );
    assert_eq!(
        weak_tests(&source("#[cfg_attr(unix, ignore)]\nfn f() {}")).len(),
        1
    );
    assert_eq!(
        weak_tests(&source("#[should_panic(expected = \"x\")]\nfn f() {}")).len(),
        1
    );
    assert_eq!(
        weak_tests(&source("#[test]\n// #[ignore]\nfn ignore() {}")).len(),
        0
    );
}

#[test]
fn the_check_of_colours_can_fail() {
    let count = |path: &str, text: &str| stray_colours(&Source::literal(path, text)).len();
    let breaking = [
        "fn f() { Color32::from_rgb(1, 2, 3); }",
        "fn f() { egui::Color32::from_gray(1); }",
        "fn f() { ui.painter().line(a, Stroke::new(1.0, Color32::RED)); }",
        "fn f() { vec![egui::Color32::WHITE] }",
        "fn f() { egui::hex_color!(\"#102030\") }",
        "fn f() { egui::ecolor::Hsva::new(0.1, 0.2, 0.3, 1.0); }",
    ];
    for text in breaking {
        assert_eq!(count("src/ui/a.rs", text), 1, "{text}");
        assert_eq!(count(HOME_OF_COLOURS, text), 0, "{text}");
    }
    let good = [
        "use egui::Color32;\nfn f(colour: Color32) { theme::word(colour); }",
        "fn f() { Color32::TRANSPARENT; }",
        "// Color32::RED\nconst S: &str = \"Color32::RED\";",
    ];
    for text in good {
        assert_eq!(count("src/ui/a.rs", text), 0, "{text}");
    }
}

#[test]
fn the_check_of_names_can_fail() {
    let count = |text: &str| second_names("src/bead/a.rs", text).len();
    for text in [
        "// A droplet rises.",
        "// Droplets rise.",
        "struct OilDroplet;",
        "let droplet_px = 1;",
        "let set_point = 1;",
        "//! The needle valve.",
        "fn roi() {}",
        "const REGION_OF_INTEREST: u8 = 1;",
    ] {
        assert_eq!(count(text), 1, "{text}");
    }
    for text in [
        "// A drop of oil; a bead; heroic.",
        "let points = set(point);",
        "fn drops_per_minute() {}",
    ] {
        assert_eq!(count(text), 0, "{text}");
    }
}

#[test]
fn the_check_of_the_map_can_fail() {
    let folders: BTreeSet<String> = ["src/base/", "src/bead/"].map(str::to_owned).into();
    let map =
        |lines: &str| format!("# Title\n\n{HEADING_OF_THE_MAP}\n{lines}\n## Next\n`src/late/`\n");
    assert_eq!(
        false_map(&map("- `src/base/`: a\n- `src/bead/`: b"), &folders).len(),
        0
    );
    assert_eq!(false_map(&map("- `src/base/`: a"), &folders).len(), 1);
    assert_eq!(
        false_map(&map("- `src/base/` `src/bead/` `src/gone/`"), &folders).len(),
        1
    );
    assert_eq!(false_map("- `src/base/` `src/bead/`", &folders).len(), 1);
}
