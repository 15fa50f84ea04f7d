//! Our own sources as the tests of the house rules read them: the files, their tokens with line
//! numbers, and every path written in them, resolved to where it points. It knows no rules.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test that cannot read the sources must fail"
)]

use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};

use proc_macro2::{Delimiter, Spacing, TokenStream, TokenTree};

/// One `.rs` file.
#[derive(Clone, Debug)]
pub struct Source {
    /// Its path from the top of the repository, with `/` between the parts.
    pub path: String,
    /// All of it.
    pub text: String,
}

/// What a token is. Comments are no tokens; doc comments are attributes with a literal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A name or keyword.
    Ident(String),
    /// `::`.
    PathSep,
    /// Any other single sign.
    Punct(char),
    /// `(`, `[`, `{`, each as itself.
    Open(char),
    /// The end of one, told by its opening sign.
    Close(char),
    /// A string, number or character; what is in it does not matter here.
    Literal,
}

/// A token.
#[derive(Clone, Debug)]
pub struct Token {
    pub kind: Kind,
    /// The line it starts on, from 1.
    pub line: usize,
    /// Whether it stands in an item under `#[cfg(test)]`, or in a file `tests.rs` or `…_tests.rs`.
    pub in_tests: bool,
}

impl Token {
    fn new(kind: Kind, line: usize) -> Self {
        Self {
            kind,
            line,
            in_tests: false,
        }
    }

    /// The name, when it is one.
    pub fn ident(&self) -> Option<&str> {
        match &self.kind {
            Kind::Ident(name) => Some(name),
            _ => None,
        }
    }
}

/// A path written in a source.
#[derive(Clone, Debug)]
pub struct Written {
    /// Its parts. `self` and `super` are resolved, so that a path within the crate starts with
    /// `crate`; a glob ends in `*`.
    pub parts: Vec<String>,
    /// The line of its last part.
    pub line: usize,
    /// As for its tokens.
    pub in_tests: bool,
}

/// The top of the repository.
pub fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every `.rs` file under a folder of the repository, sorted by path.
pub fn sources_under(folder: &str) -> Vec<Source> {
    let mut files = Vec::new();
    walk(&top().join(folder), &mut files);
    files.sort();
    files
        .into_iter()
        .filter(|file| file.extension().is_some_and(|ending| ending == "rs"))
        .map(|file| Source {
            path: from_top(&file),
            text: fs::read_to_string(&file).unwrap(),
        })
        .collect()
}

/// A path inside the repository, from its top, with `/` between the parts.
pub fn from_top(file: &Path) -> String {
    let parts: Vec<_> = file
        .strip_prefix(top())
        .unwrap()
        .iter()
        .map(|part| part.to_string_lossy())
        .collect();
    parts.join("/")
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            // Built things and the tools' own folders are not our sources.
            if name != "target" && !name.starts_with('.') {
                walk(&path, files);
            }
        } else {
            files.push(path);
        }
    }
}

impl Source {
    /// A source written in a test.
    pub fn literal(path: &str, text: &str) -> Self {
        Self {
            path: path.to_owned(),
            text: text.to_owned(),
        }
    }

    /// The module this file is, from `crate`: `src/bead/mod.rs` is `crate`, `bead`.
    pub fn module(&self) -> Vec<String> {
        let inside = self.path.strip_prefix("src/").unwrap_or(&self.path);
        let inside = inside.strip_suffix(".rs").unwrap_or(inside);
        let mut parts: Vec<String> = vec!["crate".to_owned()];
        parts.extend(inside.split('/').map(str::to_owned));
        let last = parts.last().map(String::as_str);
        if matches!(last, Some("mod")) || (parts.len() == 2 && matches!(last, Some("lib" | "main")))
        {
            parts.pop();
        }
        parts
    }

    /// The tokens, groups laid flat.
    pub fn tokens(&self) -> Vec<Token> {
        let stream: TokenStream = self
            .text
            .parse()
            .unwrap_or_else(|error| panic!("{} cannot be read as Rust: {error}", self.path));
        let mut tokens = Vec::new();
        flatten(stream, &mut tokens);
        let mut ranges = test_ranges(&tokens);
        if self.path.ends_with("/tests.rs") || self.path.ends_with("_tests.rs") {
            ranges.push(0..tokens.len());
        }
        for range in ranges {
            for token in &mut tokens[range] {
                token.in_tests = true;
            }
        }
        tokens
    }

    /// Every path with `::` in it: in `use`, in expressions, in types and inside macros.
    pub fn paths(&self) -> Vec<Written> {
        let tokens = self.tokens();
        let mut module = self.module();
        let mut inline_depths: Vec<usize> = Vec::new();
        let mut depth = 0_usize;
        let mut written = Vec::new();
        let mut at = 0;
        while let Some(token) = tokens.get(at) {
            match &token.kind {
                Kind::Open('{') => {
                    depth += 1;
                    let before = |back: usize| at.checked_sub(back).and_then(|i| tokens[i].ident());
                    if before(2) == Some("mod")
                        && let Some(name) = before(1)
                    {
                        module.push(name.to_owned());
                        inline_depths.push(depth);
                    }
                }
                Kind::Close('{') => {
                    if inline_depths.last() == Some(&depth) {
                        inline_depths.pop();
                        module.pop();
                    }
                    depth -= 1;
                }
                Kind::Ident(_) if starts_path(&tokens, at) => {
                    let mut leaves = Vec::new();
                    let end = path_tree(&tokens, at, &[], &mut leaves);
                    let in_tests = token.in_tests;
                    written.extend(leaves.into_iter().map(|(parts, line)| Written {
                        parts: resolve(parts, &module),
                        line,
                        in_tests,
                    }));
                    at = end;
                    continue;
                }
                _ => {}
            }
            at += 1;
        }
        written
    }
}

fn flatten(stream: TokenStream, tokens: &mut Vec<Token>) {
    let mut colon_before = false;
    for tree in stream {
        let line = tree.span().start().line;
        let mut joint_colon = false;
        match tree {
            TokenTree::Group(group) => {
                let sign = match group.delimiter() {
                    Delimiter::Parenthesis => '(',
                    Delimiter::Brace => '{',
                    Delimiter::Bracket => '[',
                    Delimiter::None => ' ',
                };
                let end_line = group.span_close().start().line;
                tokens.push(Token::new(Kind::Open(sign), line));
                flatten(group.stream(), tokens);
                tokens.push(Token::new(Kind::Close(sign), end_line));
            }
            TokenTree::Ident(ident) => {
                tokens.push(Token::new(Kind::Ident(ident.to_string()), line));
            }
            TokenTree::Punct(punct) if punct.as_char() == ':' => {
                if colon_before {
                    tokens.pop();
                    tokens.push(Token::new(Kind::PathSep, line));
                } else {
                    joint_colon = punct.spacing() == Spacing::Joint;
                    tokens.push(Token::new(Kind::Punct(':'), line));
                }
            }
            TokenTree::Punct(punct) => tokens.push(Token::new(Kind::Punct(punct.as_char()), line)),
            TokenTree::Literal(_) => tokens.push(Token::new(Kind::Literal, line)),
        }
        colon_before = joint_colon;
    }
}

/// Whether the name at `at` is the first part of a path of several parts.
fn starts_path(tokens: &[Token], at: usize) -> bool {
    let kind = |i: usize| tokens.get(i).map(|token| &token.kind);
    if kind(at + 1) != Some(&Kind::PathSep) {
        // `use crate as everything` would hide all that follows.
        let is = |i: usize, name: &str| tokens.get(i).and_then(Token::ident) == Some(name);
        return is(at, "crate") && is(at + 1, "as");
    }
    let Some(before) = at.checked_sub(1) else {
        return true;
    };
    if kind(before) != Some(&Kind::PathSep) {
        return true;
    }
    // `use ::std::fs` starts a path; `base::clock::X` goes on with one.
    match before.checked_sub(1).and_then(kind) {
        Some(Kind::Ident(name)) => matches!(
            name.as_str(),
            "use" | "return" | "in" | "as" | "mut" | "dyn" | "impl" | "for" | "match" | "if"
        ),
        Some(Kind::Punct('>')) => false,
        _ => true,
    }
}

/// Reads the path at `at` with its groups; gives each full path with its line, and where it ends.
fn path_tree(
    tokens: &[Token],
    mut at: usize,
    prefix: &[String],
    leaves: &mut Vec<(Vec<String>, usize)>,
) -> usize {
    let mut parts = prefix.to_vec();
    let mut line = tokens.get(at).map_or(0, |token| token.line);
    while let Some(token) = tokens.get(at) {
        match &token.kind {
            Kind::Ident(name) => {
                line = token.line;
                // `a::{self, b}` names `a` itself.
                if name != "self" || parts.is_empty() {
                    parts.push(name.clone());
                }
                at += 1;
            }
            Kind::Punct('*') => {
                line = token.line;
                parts.push("*".to_owned());
                at += 1;
            }
            Kind::Open('{') => {
                at += 1;
                while let Some(inner) = tokens.get(at) {
                    match inner.kind {
                        Kind::Close('{') => return at + 1,
                        Kind::Ident(_) => at = path_tree(tokens, at, &parts, leaves),
                        Kind::Punct('*') => {
                            let mut all = parts.clone();
                            all.push("*".to_owned());
                            leaves.push((all, inner.line));
                            at += 1;
                        }
                        _ => at += 1,
                    }
                }
                return at;
            }
            // A turbofish: what stands in it is read as paths of its own.
            _ => break,
        }
        if tokens.get(at).map(|token| &token.kind) == Some(&Kind::PathSep) {
            at += 1;
            continue;
        }
        if tokens.get(at).and_then(Token::ident) == Some("as") && !prefix.is_empty() {
            at += 2;
        }
        break;
    }
    leaves.push((parts, line));
    at
}

/// Turns `self::` and `super::` into paths from `crate`.
fn resolve(parts: Vec<String>, module: &[String]) -> Vec<String> {
    match parts.first().map(String::as_str) {
        Some("self") => [module, &parts[1..]].concat(),
        Some("super") => {
            let ups = parts.iter().take_while(|part| *part == "super").count();
            let keep = module.len().saturating_sub(ups).max(1);
            [&module[..keep], &parts[ups..]].concat()
        }
        _ => parts,
    }
}

fn test_ranges(tokens: &[Token]) -> Vec<Range<usize>> {
    let attribute = [
        Kind::Punct('#'),
        Kind::Open('['),
        Kind::Ident("cfg".to_owned()),
        Kind::Open('('),
        Kind::Ident("test".to_owned()),
        Kind::Close('('),
        Kind::Close('['),
    ];
    let mut ranges: Vec<Range<usize>> = Vec::new();
    for start in 0..tokens.len() {
        let is_attribute = tokens[start..]
            .iter()
            .map(|token| &token.kind)
            .take(attribute.len())
            .eq(attribute.iter());
        if !is_attribute || ranges.last().is_some_and(|range| range.contains(&start)) {
            continue;
        }
        // The item ends with its first block, or with a semicolon outside all brackets.
        let mut depth = 0_usize;
        let mut end = tokens.len();
        for (at, token) in tokens.iter().enumerate().skip(start + attribute.len()) {
            match token.kind {
                Kind::Open(_) => depth += 1,
                Kind::Close(sign) => {
                    depth = depth.saturating_sub(1);
                    if depth == 0 && sign == '{' {
                        end = at + 1;
                        break;
                    }
                }
                Kind::Punct(';') if depth == 0 => {
                    end = at + 1;
                    break;
                }
                _ => {}
            }
        }
        ranges.push(start..end);
    }
    ranges
}
