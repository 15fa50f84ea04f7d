//! A person's taps on the command line: a file of times for a clip, or the Enter key while
//! watching. What they come to is not decided here.

use std::io::BufRead;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};

use crate::base::{FeedNumber, Span};
use crate::run::hand_check::MOST_TAPS;
use crate::run::taps::Taps;
use crate::run::{Intent, Runner};

/// What a line is that ends the hand check (with Enter).
const END_WORDS: &[&str] = &["e", "q", "end"];

/// Reads a file of taps: a line a tap, its time in seconds of the clip in the first column. A first
/// line that is no number is the head; empty lines and what follows a `#` are passed over.
///
/// # Errors
/// A sentence naming the file and the line.
pub fn read(path: &Path, feed: Option<FeedNumber>, watched: Option<Span>) -> anyhow::Result<Taps> {
    let words = std::fs::read_to_string(path).with_context(|| {
        format!(
            "the taps {} cannot be read; name a file with one time in seconds a line",
            path.display()
        )
    })?;
    let at_secs =
        times(&words).with_context(|| format!("the taps {} cannot be used", path.display()))?;
    Ok(Taps::new(feed, watched, at_secs))
}

fn times(words: &str) -> anyhow::Result<Vec<f64>> {
    let mut at_secs = Vec::new();
    for (index, line) in words.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.split('#').next().unwrap_or_default();
        let cell = line.split([',', ';', '\t']).next().unwrap_or_default();
        let cell = cell.trim().trim_matches('"');
        if cell.is_empty() {
            continue;
        }
        match cell.parse::<f64>() {
            Ok(secs) if secs.is_finite() && secs >= 0.0 => at_secs.push(secs),
            Err(_) if at_secs.is_empty() && index == 0 => {}
            _ => bail!(
                "line {} holds {cell:?}, which is no time in seconds; write one such as 12.34",
                index + 1
            ),
        }
        if at_secs.len() > MOST_TAPS {
            bail!("it holds more than {MOST_TAPS} taps; take a shorter stretch of the clip");
        }
    }
    if at_secs.is_empty() {
        bail!("it holds no time; write one in seconds a line");
    }
    Ok(at_secs)
}

/// Begins a hand check at which each Enter on standard input is a tap. It ends with the word `e`
/// and Enter, or when the input does.
///
/// # Errors
/// The system gives no thread.
pub fn listen(runner: &Arc<Runner>) -> std::io::Result<()> {
    let runner = Arc::clone(runner);
    // It waits for the keyboard as long as the program lives, and goes with it.
    std::thread::Builder::new()
        .name("taps".to_owned())
        .spawn(move || take_lines(std::io::stdin().lock(), &|intent| runner.send(intent)))?;
    Ok(())
}

fn take_lines(mut input: impl BufRead, send: &dyn Fn(Intent)) {
    let mut line = String::new();
    loop {
        line.clear();
        match input.read_line(&mut line) {
            Ok(read) if read > 0 && !END_WORDS.contains(&line.trim()) => send(Intent::Tap),
            _ => {
                send(Intent::EndHandCheck);
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn a_file_of_taps_is_a_column_of_seconds() {
        let plain = times("1.5\n2.25\n\n3\n").unwrap();
        assert_eq!(plain, [1.5, 2.25, 3.0]);
        let table = times("\u{feff}time_s,note\r\n1.5,first\r\n2,\"second\" # late\r\n").unwrap();
        assert_eq!(table, [1.5, 2.0]);
        for (words, told) in [
            ("", "no time"),
            ("time_s\n", "no time"),
            ("1\nx\n", "line 2"),
            ("-1\n", "line 1"),
            ("nan\n", "line 1"),
        ] {
            let error = times(words).unwrap_err().to_string();
            assert!(error.contains(told), "{words:?}: {error}");
        }
        let many = "1\n".repeat(MOST_TAPS + 1);
        assert!(times(&many).unwrap_err().to_string().contains("more than"));
    }

    #[test]
    fn each_enter_is_a_tap_until_the_end() {
        let heard = Mutex::new(Vec::new());
        let send = |intent: Intent| heard.lock().unwrap().push(format!("{intent:?}"));
        take_lines("\n\n\ne\n\n".as_bytes(), &send);
        assert_eq!(
            *heard.lock().unwrap(),
            ["Tap", "Tap", "Tap", "EndHandCheck"]
        );
    }
}
