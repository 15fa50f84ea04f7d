//! What the words of a mark say of a valve: which feed's, and by how many turns it was moved. The
//! words stay as they are; what they cannot tell without doubt is not guessed.

use crate::base::FeedNumber;

/// Words by which a person names a feed, before its number.
const FEED_WORDS: [&str; 3] = ["valve", "feed", "glass"];
/// More turns at once than any regulating valve has.
const MOST_TURNS: f64 = 50.0;
/// Degrees in a turn.
const TURN_DEG: f64 = 360.0;

/// How a regulating valve was moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Moved {
    /// By so many turns; above 0 opens.
    Turns(f64),
    /// Until it was shut.
    Shut,
}

impl Moved {
    /// The turns, when it is told in turns; above 0 opens.
    #[must_use]
    pub fn turns(self) -> Option<f64> {
        match self {
            Self::Turns(turns) => Some(turns),
            Self::Shut => None,
        }
    }
}

/// What a mark says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MarkWords {
    /// The feed it names, if it names one.
    pub feed: Option<FeedNumber>,
    /// How the valve was moved, if it says so.
    pub moved: Option<Moved>,
}

/// Which way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Open,
    Shut,
}

/// Reads the words of a mark: a feed after `valve`, `feed` or `glass`; a movement as a number of
/// turns (in words, as a fraction, as a decimal, or in degrees) and a way (open, shut, closed), as
/// a number with a sign, or `shut` alone. Words that deny (`not`) or that say two things (`open`
/// and `shut`) tell no movement.
///
/// ```
/// use beadtally::run::moved::{Moved, read};
/// let turns = |words| read(words).moved.and_then(Moved::turns);
/// assert_eq!(turns("valve 1 a quarter turn open"), Some(0.25));
/// assert_eq!(turns("half turn shut"), Some(-0.5));
/// assert_eq!(turns("+0.25"), Some(0.25));
/// assert_eq!(read("valve 2 shut").moved, Some(Moved::Shut));
/// assert_eq!(read("steam opened").moved, None);
/// ```
#[must_use]
pub fn read(words: &str) -> MarkWords {
    let mut tokens = tokens(words);
    let feed = take_feed(&mut tokens);
    MarkWords {
        feed,
        moved: movement(&tokens, feed),
    }
}

/// Small letters, fractions as `1/4`, signs that only part words left out.
fn tokens(words: &str) -> Vec<String> {
    let mut plain = String::with_capacity(words.len());
    for letter in words.chars() {
        match letter {
            '¼' => plain.push_str(" 1/4 "),
            '½' => plain.push_str(" 1/2 "),
            '¾' => plain.push_str(" 3/4 "),
            '⅓' => plain.push_str(" 1/3 "),
            '⅔' => plain.push_str(" 2/3 "),
            '⅛' => plain.push_str(" 1/8 "),
            '−' => plain.push('-'),
            '°' => plain.push_str(" degrees "),
            '’' => plain.push('\''),
            ':' | ';' | '(' | ')' | '"' | '!' => plain.push(' '),
            other => plain.extend(other.to_lowercase()),
        }
    }
    // A hyphen between letters parts two words (`quarter-turn`); before a figure it is a sign.
    let letters: Vec<char> = plain.chars().collect();
    let mut parted = String::with_capacity(plain.len());
    for (at, letter) in letters.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|at| letters.get(at));
        let after = letters.get(at + 1);
        let hyphen = *letter == '-'
            && before.is_some_and(|l| l.is_alphabetic())
            && after.is_some_and(|l| l.is_alphabetic());
        parted.push(if hyphen { ' ' } else { *letter });
    }
    parted
        .split_whitespace()
        .map(|token| token.trim_matches([',', '.']).to_owned())
        .filter(|token| !token.is_empty())
        .collect()
}

/// Takes `valve 1` out of the words.
fn take_feed(tokens: &mut Vec<String>) -> Option<FeedNumber> {
    let at = tokens.windows(2).position(|pair| match pair {
        [word, number] => {
            FEED_WORDS.contains(&word.as_str()) && number.parse::<u16>().is_ok_and(|n| n > 0)
        }
        _ => false,
    })?;
    let number = tokens.get(at + 1)?.parse().ok()?;
    tokens.drain(at..at + 2);
    Some(FeedNumber(number))
}

fn movement(tokens: &[String], feed: Option<FeedNumber>) -> Option<Moved> {
    let says = |word: &str| tokens.iter().any(|token| token == word);
    if ["not", "no", "never"].into_iter().any(says) || tokens.iter().any(|t| t.ends_with("n't")) {
        return None;
    }
    let mut ways = tokens.iter().filter_map(|token| way(token));
    let first = ways.next();
    if ways.any(|other| Some(other) != first) {
        return None;
    }
    let names_turns = tokens.iter().any(|token| is_turns(token));
    let degrees = tokens
        .iter()
        .any(|token| matches!(token.as_str(), "deg" | "degree" | "degrees"));
    let signed = tokens.iter().find_map(|token| signed(token));
    // What is left when everything that is understood is taken away.
    let is_bare = tokens.iter().all(|token| {
        self::signed(token).is_some() || is_turns(token) || matches!(token.as_str(), "valve" | "a")
    });
    let size = match (signed, first) {
        (Some(value), None) if names_turns || degrees || is_bare => value,
        (None, Some(way)) if names_turns || degrees => {
            let size = size(tokens)?;
            match way {
                Way::Open => size,
                Way::Shut => -size,
            }
        }
        // 'valve 2 shut', 'valve shut'; but not 'steam shut off'.
        (None, Some(Way::Shut)) => {
            let all_known = tokens.iter().all(|t| {
                way(t).is_some() || matches!(t.as_str(), "valve" | "is" | "was" | "fully")
            });
            let names_valve = feed.is_some() || says("valve");
            return (all_known && names_valve).then_some(Moved::Shut);
        }
        _ => return None,
    };
    let turns = if degrees { size / TURN_DEG } else { size };
    (turns != 0.0 && turns.abs() <= MOST_TURNS).then_some(Moved::Turns(turns))
}

fn way(token: &str) -> Option<Way> {
    match token {
        "open" | "opened" | "opening" | "opens" => Some(Way::Open),
        "shut" | "shutting" | "close" | "closed" | "closing" | "closes" => Some(Way::Shut),
        _ => None,
    }
}

fn is_turns(token: &str) -> bool {
    matches!(token, "turn" | "turns")
}

/// `+0.25`, `-1/4`.
fn signed(token: &str) -> Option<f64> {
    if token.starts_with(['+', '-']) {
        let (sign, rest) = token.split_at(1);
        let value = number(rest)?;
        Some(if sign == "-" { -value } else { value })
    } else {
        None
    }
}

/// `0.25`, `0,25`, `1/4`, without a sign.
fn number(token: &str) -> Option<f64> {
    if !token.starts_with(|letter: char| letter.is_ascii_digit() || letter == '.') {
        return None;
    }
    let value = match token.split_once('/') {
        Some((over, under)) => over.parse::<f64>().ok()? / under.parse::<f64>().ok()?,
        None => token.replace(',', ".").parse().ok()?,
    };
    value.is_finite().then_some(value)
}

/// Whole numbers in words.
fn whole(token: &str) -> Option<f64> {
    let value = match token {
        "one" => 1.0,
        "two" => 2.0,
        "three" => 3.0,
        "four" => 4.0,
        "five" => 5.0,
        "six" => 6.0,
        _ => return None,
    };
    Some(value)
}

/// Parts of a turn in words.
fn part(token: &str) -> Option<f64> {
    let value = match token {
        "half" | "halves" => 0.5,
        "third" | "thirds" => 1.0 / 3.0,
        "quarter" | "quarters" => 0.25,
        "eighth" | "eighths" => 0.125,
        _ => return None,
    };
    Some(value)
}

/// How many turns (or degrees) the words say: `a quarter`, `three quarters of a`, `one and a half`,
/// `a turn and a half`, `1 1/2`, `1/2 a`; a bare `a turn` is one. None when they say nothing, or
/// two sizes that do not belong together.
fn size(tokens: &[String]) -> Option<f64> {
    let mut sum = 0.0;
    let mut pieces = 0;
    let mut count: Option<f64> = None;
    let mut is_whole_turn = false;
    for token in tokens {
        if let Some(part) = part(token) {
            // 'three quarters' multiplies, 'one and a half' adds up below.
            sum += count.take().unwrap_or(1.0) * part;
            pieces += 1;
        } else if let Some(value) = number(token).or_else(|| whole(token)) {
            if let Some(before) = count.replace(value) {
                sum += before;
                pieces += 1;
            }
        } else if token.starts_with(|letter: char| letter.is_ascii_digit()) {
            return None; // A number that cannot be.
        } else if token == "and" {
            if let Some(before) = count.take() {
                sum += before;
                pieces += 1;
            }
        } else if is_turns(token) {
            if let Some(before) = count.take() {
                sum += before;
                pieces += 1;
            } else if pieces == 0 {
                is_whole_turn = true;
            }
        }
    }
    if let Some(before) = count {
        sum += before;
        pieces += 1;
    }
    match (pieces, is_whole_turn) {
        (0, true) => Some(1.0),
        (1, true) => Some(1.0 + sum),
        (1 | 2, false) => Some(sum),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turns(words: &str) -> Option<f64> {
        read(words).moved.and_then(Moved::turns)
    }

    #[test]
    fn plain_words_are_turns() {
        for (words, wanted) in [
            ("valve 1 a quarter turn open", 0.25),
            ("valve 1 a quarter turn closed", -0.25),
            ("valve 2 half a turn open", 0.5),
            ("half turn shut", -0.5),
            ("Valve 3: three quarters of a turn, opened", 0.75),
            ("opened a quarter-turn", 0.25),
            ("one turn open", 1.0),
            ("a turn open", 1.0),
            ("a turn and a half shut", -1.5),
            ("one and a half turns open", 1.5),
            ("1 1/2 turns open", 1.5),
            ("1½ turns open", 1.5),
            ("¼ turn open", 0.25),
            ("1/8 turn shut", -0.125),
            ("an eighth of a turn open", 0.125),
            ("two turns closed", -2.0),
            ("0.25 turn open", 0.25),
            ("0,25 turns open", 0.25),
            ("+0.25", 0.25),
            ("-0.5 turns", -0.5),
            ("valve 1 −1/4", -0.25),
            ("closed by 90°", -0.25),
            ("opened 45 degrees", 0.125),
        ] {
            let found = turns(words);
            assert!(
                found.is_some_and(|found| (found - wanted).abs() < 1e-12),
                "{words}: {found:?}, wanted {wanted}"
            );
        }
    }

    #[test]
    fn what_says_no_movement_is_none() {
        for words in [
            "",
            "nozzle cleaned",
            "steam opened",
            "steam shut off",
            "glass 2 wiped",
            "counted by eye",
            "reservoir filled",
            "valve 1 not opened a quarter turn",
            "valve 1 didn't turn, open",
            "valve 1 a quarter turn open, then shut",
            "+0.25 bar",
            "it is our turn",
            "valve 1 opened",
            "valve 2 open",
            "1e400 turns open",
            "1/0 turns open",
            "0 turns open",
            "900 turns open",
            "a quarter turn and half a turn and one turn open",
        ] {
            assert_eq!(read(words).moved, None, "{words}");
        }
    }

    #[test]
    fn a_feed_is_named_by_its_number() {
        assert_eq!(read("valve 2 shut").feed, Some(FeedNumber(2)));
        assert_eq!(read("at feed 12 a drop stuck").feed, Some(FeedNumber(12)));
        for words in [
            "valve shut",
            "valve 0 shut",
            "valve -1",
            "2 valves",
            "valve 99999",
        ] {
            assert_eq!(read(words).feed, None, "{words}");
        }
        assert_eq!(read("valve shut").moved, Some(Moved::Shut));
        assert_eq!(read("valve 2 closed").moved, Some(Moved::Shut));
    }
}
