//! Diagnostics: which of them are told, and that they go to standard error and nowhere else. What
//! is told, and how loudly, is said where it happens.

use tracing::level_filters::LevelFilter;
use tracing_subscriber::EnvFilter;

/// The variable that says how much is told when the command line does not.
pub const VARIABLE: &str = "BEADTALLY_LOG";
/// Our own part of what is told; other parts are told from warnings up.
const OURS: &str = "beadtally";

/// How much is told, checked: a level (`off`, `error`, `warn`, `info`, `debug`, `trace`), or levels
/// for single parts (`beadtally::run=debug,warn`).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HowMuch(String);

impl std::str::FromStr for HowMuch {
    type Err = String;

    /// ```
    /// use beadtally::cli::telling::HowMuch;
    /// assert!("debug".parse::<HowMuch>().is_ok());
    /// assert!("beadtally::run=trace,warn".parse::<HowMuch>().is_ok());
    /// assert!("loudly".parse::<HowMuch>().is_err());
    /// ```
    fn from_str(words: &str) -> Result<Self, Self::Err> {
        let parts: Vec<String> = words
            .split(',')
            .map(str::trim)
            .filter(|part| !part.is_empty())
            .map(part_of)
            .collect::<Result<_, _>>()?;
        let whole = parts.join(",");
        if whole.is_empty() {
            return Err("no level is named".to_owned());
        }
        EnvFilter::try_new(&whole).map_err(|error| error.to_string())?;
        Ok(Self(whole))
    }
}

/// One level, for us or for a part that is named.
fn part_of(part: &str) -> Result<String, String> {
    let (target, level) = match part.rsplit_once('=') {
        Some((target, level)) => (Some(target), level),
        None => (None, part),
    };
    let known: LevelFilter = level.parse().map_err(|_| {
        format!("`{level}` is no level; write off, error, warn, info, debug or trace")
    })?;
    Ok(match target {
        Some(target) => format!("{target}={known}"),
        // What other parts say in detail would drown our own words.
        None => format!("{},{OURS}={known}", known.min(LevelFilter::WARN)),
    })
}

/// How much is told: what the command line says, else what the variable says, else nothing,
/// because everything a person must know is said in plain words elsewhere.
///
/// # Errors
/// A sentence about a variable that makes no sense; then nothing is told.
fn wanted(
    level: Option<&HowMuch>,
    verbose: u8,
    variable: Option<&str>,
) -> Result<Option<HowMuch>, String> {
    let of_verbose = match verbose {
        0 => None,
        1 => Some("info"),
        2 => Some("debug"),
        _ => Some("trace"),
    };
    if let Some(level) = level {
        return Ok(Some(level.clone()));
    }
    match (of_verbose, variable.filter(|words| !words.is_empty())) {
        (Some(words), _) => words.parse().map(Some),
        (None, Some(words)) => words
            .parse()
            .map(Some)
            .map_err(|why| format!("{VARIABLE}: {why}; nothing is told")),
        (None, None) => Ok(None),
    }
}

/// Starts to tell, on standard error; gives a sentence when the variable makes no sense.
pub(super) fn start(level: Option<&HowMuch>, verbose: u8) -> Option<String> {
    let variable = std::env::var(VARIABLE).ok();
    let how_much = match wanted(level, verbose, variable.as_deref()) {
        Ok(Some(how_much)) => how_much,
        Ok(None) => return None,
        Err(why) => return Some(why),
    };
    // A second call in one process (tests) keeps the first.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::new(&how_much.0))
        .with_writer(std::io::stderr)
        .try_init();
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(words: &str) -> HowMuch {
        words.parse().unwrap()
    }

    #[test]
    fn the_command_line_goes_before_the_variable() {
        let info = of("info");
        assert_eq!(
            wanted(Some(&info), 2, Some("trace")),
            Ok(Some(info.clone()))
        );
        assert_eq!(wanted(None, 1, Some("trace")), Ok(Some(info)));
        assert_eq!(wanted(None, 0, Some("trace")), Ok(Some(of("trace"))));
        assert_eq!(wanted(None, 0, Some("")), Ok(None));
        assert_eq!(wanted(None, 0, None), Ok(None));
        let refused = wanted(None, 0, Some("loudly")).unwrap_err();
        assert!(refused.contains("BEADTALLY_LOG") && refused.contains("loudly"));
    }

    #[test]
    fn one_level_is_ours_and_others_are_told_from_warnings_up() {
        assert_eq!(of("debug").0, "warn,beadtally=debug");
        assert_eq!(of("error").0, "error,beadtally=error");
        assert_eq!(of("off").0, "off,beadtally=off");
        assert_eq!(of("beadtally::run=trace").0, "beadtally::run=trace");
        assert!("".parse::<HowMuch>().is_err());
        assert!("beadtally=loud".parse::<HowMuch>().is_err());
    }
}
