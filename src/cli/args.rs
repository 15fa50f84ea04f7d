//! The command line: what can be asked, and the words of `--help`.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use super::telling::HowMuch;
use crate::base::{Band, FeedNumber, Span};
use crate::run::outlines::Presets;

const EXIT_CODES: &str = "\
Exit codes:
  0  done
  1  something could not be read or done; a sentence on stderr says what, why, and what to do
     (a clip that is damaged part-way: what was counted before is printed all the same)
  2  the command line makes no sense

Environment:
  BEADTALLY_LOG  how much is told on stderr, in the words of --log-level, when neither it nor -v
                 is given
  XDG_DATA_HOME  where the logbook is kept on Linux: beadtally/logbook.sqlite3 in this folder

Sight glasses are hot and under pressure and can burst. This program is an aid to watching, never a
safety device.";

/// Counts the oil beads that rise through the sight glasses of a steam-cylinder lubricator.
///
/// Without a command the window opens.
#[derive(Debug, Parser)]
#[command(name = "beadtally", version, after_help = EXIT_CODES)]
pub struct Arguments {
    #[command(subcommand)]
    pub(super) verb: Option<Verb>,
    #[command(flatten)]
    pub(super) window: WindowArgs,
    /// The logbook to use instead of the usual one
    #[arg(long, global = true, value_name = "FILE")]
    pub(super) logbook: Option<PathBuf>,
    /// How much to tell on stderr: off, error, warn, info, debug or trace, or levels for single
    /// parts, such as `beadtally::run=debug,warn`
    #[arg(long, global = true, value_name = "LEVEL")]
    pub(super) log_level: Option<HowMuch>,
    /// Tell more on stderr: -v is --log-level info, -vv debug, -vvv trace
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    pub(super) verbose: u8,
}

/// Arguments of the window.
#[derive(Args, Clone, Debug, Default, PartialEq, Eq)]
pub struct WindowArgs {
    /// What the window watches first: camera, camera:NAME, demo, or a clip
    #[arg(long, value_name = "SOURCE")]
    pub(super) source: Option<String>,
    /// The calibration the window starts with
    #[arg(long, value_name = "FILE.toml")]
    pub(super) calibration: Option<PathBuf>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// List the cameras and what each can do
    Cameras(CamerasArgs),
    /// Find the sight glasses and write a calibration
    Find(FindArgs),
    /// Count a recorded clip
    Tally(TallyArgs),
    /// Count live, without a window
    Watch(WatchArgs),
    /// List the runs in the logbook
    Runs(RunsArgs),
    /// Write a run of the logbook as CSV files
    Export(ExportArgs),
    /// Write a run of the logbook as a report: a page with plots, a sheet, tables
    Report(super::report::ReportArgs),
    /// Write a practice clip of the demo, with its truth beside it
    Draw(super::draw::DrawArgs),
    /// Show by simulation what readings, silences and changes of rate are worth
    Tables(super::tables::TablesArgs),
    /// Write the manual page
    Man(ManArgs),
    /// Write the completions of a shell
    Completions(CompletionsArgs),
    /// Write the desktop entry and the icon
    Desktop(DesktopArgs),
}

/// Arguments of `man`.
#[derive(Args, Clone, Debug)]
pub struct ManArgs {
    /// Folder for one page a command; without it the main page goes to stdout
    #[arg(value_name = "DIR")]
    pub(super) folder: Option<PathBuf>,
}

/// Arguments of `completions`.
#[derive(Args, Clone, Debug)]
pub struct CompletionsArgs {
    /// Which shell
    #[arg(value_enum)]
    pub(super) shell: clap_complete::Shell,
}

/// Arguments of `desktop`.
#[derive(Args, Clone, Debug)]
pub struct DesktopArgs {
    /// Data folder to write into, such as ~/.local/share
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,
}

/// What a person knows of the glasses.
#[derive(Args, Clone, Debug)]
pub struct GlassArgs {
    /// Outside diameter of the glass in millimetres (of a port: the diameter one sees); gives the
    /// scale, so that sizes and speeds come in millimetres
    #[arg(long, value_name = "MM", value_parser = positive)]
    pub(super) glass_mm: Option<f64>,
    /// Target of every feed in drops a minute, as LOW-HIGH
    #[arg(long, value_name = "LOW-HIGH", default_value = "2-3", value_parser = band)]
    pub(super) band: Band,
}

impl GlassArgs {
    /// As the finder's results want it.
    #[must_use]
    pub fn presets(&self) -> Presets {
        Presets {
            band: self.band,
            glass_mm: self.glass_mm,
        }
    }
}

/// Arguments of `cameras`.
#[derive(Args, Clone, Debug)]
pub struct CamerasArgs {
    /// Print one JSON array instead of text
    #[arg(long)]
    pub(super) json: bool,
}

/// Arguments of `find`.
#[derive(Args, Clone, Debug)]
pub struct FindArgs {
    /// camera, camera:NAME, demo, or the path of a clip
    pub(super) source: String,
    /// Where to write the calibration
    #[arg(long, value_name = "FILE.toml")]
    pub(super) write: Option<PathBuf>,
    /// Where to write a picture with the outlines drawn on it
    #[arg(long, value_name = "FILE.png")]
    pub(super) picture: Option<PathBuf>,
    #[command(flatten)]
    pub(super) glass: GlassArgs,
    /// Print one JSON object instead of text
    #[arg(long)]
    pub(super) json: bool,
}

/// Arguments of `tally`.
#[derive(Args, Clone, Debug)]
pub struct TallyArgs {
    /// A video, a .y4m, or a folder of pictures (with frames.csv: `file,time_s`); several are
    /// counted side by side and printed in this order
    #[arg(required = true, value_name = "CLIP")]
    pub(super) clips: Vec<String>,
    /// Outlines, scale and bands; without it the glasses are found in the clip
    #[arg(long, value_name = "FILE.toml")]
    pub(super) calibration: Option<PathBuf>,
    #[command(flatten)]
    pub(super) glass: GlassArgs,
    /// End after so many seconds of the clip; needed for the demo, which has no end
    #[arg(long = "for", value_name = "SECONDS", value_parser = positive)]
    pub(super) for_secs: Option<f64>,
    /// Set a mark at a time of the clip, such as "600: valve 1 a quarter turn open"; may be repeated
    #[arg(long = "mark", value_name = "SECONDS:WORDS", value_parser = mark)]
    pub(super) marks: Vec<(f64, String)>,
    /// A hand check: times at which a person saw a drop, a line each, in seconds of the clip (CSV)
    #[arg(long, value_name = "FILE.csv")]
    pub(super) taps: Option<PathBuf>,
    /// The feed the person watched; without it all together
    #[arg(long, value_name = "N", requires = "taps", value_parser = feed)]
    pub(super) taps_feed: Option<FeedNumber>,
    /// From when to when the person watched, seconds of the clip; without it all of the clip
    #[arg(long, value_name = "FROM-TO", requires = "taps", value_parser = span)]
    pub(super) taps_from_to: Option<Span>,
    /// Record a run in the logbook
    #[arg(long)]
    pub(super) record: bool,
    /// What the run is called in the logbook
    #[arg(long, value_name = "WORDS", default_value = "", requires = "record")]
    pub(super) title: String,
    /// Print JSON instead of text: one object, or of several clips an array with one for each
    #[arg(long)]
    pub(super) json: bool,
}

/// Arguments of `watch`.
#[derive(Args, Clone, Debug)]
pub struct WatchArgs {
    /// camera, camera:NAME, demo, or the path of a clip (played in real time)
    pub(super) source: String,
    /// Outlines, scale and bands; without it the glasses are found in the first seconds
    #[arg(long, value_name = "FILE.toml")]
    pub(super) calibration: Option<PathBuf>,
    #[command(flatten)]
    pub(super) glass: GlassArgs,
    /// End after so many seconds of the source's time; else at the end of the clip or on Ctrl-C
    #[arg(long = "for", value_name = "SECONDS", value_parser = positive)]
    pub(super) for_secs: Option<f64>,
    /// Print one JSON object a line, each as soon as it is settled
    #[arg(long)]
    pub(super) json_lines: bool,
    /// A hand check from the start: press Enter at each drop you see, `e` and Enter to end it
    #[arg(long)]
    pub(super) hand_check: bool,
    /// The feed you watch for the hand check; without it all together
    #[arg(long, value_name = "N", requires = "hand_check", value_parser = feed)]
    pub(super) taps_feed: Option<FeedNumber>,
    /// Record no run in the logbook
    #[arg(long)]
    pub(super) no_run: bool,
    /// What the run is called in the logbook
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub(super) title: String,
}

/// Arguments of `runs`.
#[derive(Args, Clone, Debug)]
pub struct RunsArgs {
    /// Print one JSON array instead of text
    #[arg(long, conflicts_with = "repair")]
    pub(super) json: bool,
    /// Check the logbook; when it is damaged, save what can be read into a new one and keep the
    /// damaged one beside it
    #[arg(long)]
    pub(super) repair: bool,
}

/// Arguments of `export`.
#[derive(Args, Clone, Debug)]
pub struct ExportArgs {
    /// The number of the run as `beadtally runs` shows it, or `last`
    pub(super) run: String,
    /// The folder to write drops.csv, readings.csv and the others into; made when missing
    #[arg(long, value_name = "DIR")]
    pub(super) csv: PathBuf,
}

fn positive(words: &str) -> Result<f64, String> {
    let value: f64 = words
        .parse()
        .map_err(|_| "a number is wanted, such as 16.5".to_owned())?;
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err("a number above 0 is wanted".to_owned())
    }
}

fn feed(words: &str) -> Result<FeedNumber, String> {
    match words.parse() {
        Ok(number) if number > 0 => Ok(FeedNumber(number)),
        _ => Err("the number of a feed is wanted, counted from the left, such as 1".to_owned()),
    }
}

fn span(words: &str) -> Result<Span, String> {
    let wanted = || "two times in seconds are wanted, the earlier first, such as 60-360".to_owned();
    let (from, to) = words.split_once('-').ok_or_else(wanted)?;
    let secs = |words: &str| words.trim().parse::<f64>().map_err(|_| wanted());
    let (from_secs, to_secs) = (secs(from)?, secs(to)?);
    if from_secs >= 0.0 && to_secs > from_secs && to_secs.is_finite() {
        Ok(Span { from_secs, to_secs })
    } else {
        Err(wanted())
    }
}

fn mark(words: &str) -> Result<(f64, String), String> {
    let wanted = || "seconds and words are wanted, such as \"600: valve 1 half a turn open\"";
    let (secs, mark) = words.split_once(':').ok_or_else(wanted)?;
    let secs: f64 = secs.trim().parse().map_err(|_| wanted())?;
    let mark = mark.trim();
    if secs.is_finite() && secs >= 0.0 && !mark.is_empty() {
        Ok((secs, mark.to_owned()))
    } else {
        Err(wanted().to_owned())
    }
}

fn band(words: &str) -> Result<Band, String> {
    let wanted = || "two numbers of drops a minute are wanted, such as 2-3".to_owned();
    let (low, high) = words.split_once('-').ok_or_else(wanted)?;
    let low_per_minute = positive(low.trim()).map_err(|_| wanted())?;
    let high_per_minute = positive(high.trim()).map_err(|_| wanted())?;
    if low_per_minute < high_per_minute {
        Ok(Band {
            low_per_minute,
            high_per_minute,
        })
    } else {
        Err("the low limit must be below the high one".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn a_feed_is_counted_from_one_and_a_span_has_an_order() {
        assert_eq!(feed("2").unwrap(), FeedNumber(2));
        assert_eq!(span("60-360.5").unwrap().to_secs, 360.5);
        for wrong in ["", "0", "-1", "x", "1.5"] {
            assert!(feed(wrong).is_err(), "{wrong}");
        }
        for wrong in ["", "60", "9-3", "3-3", "nan-3", "2-inf", "a-b"] {
            assert!(span(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_band_is_two_numbers_the_lower_first() {
        assert_eq!(band("2-3").unwrap(), Band::default());
        assert_eq!(band("0.5 - 1.25").unwrap().high_per_minute, 1.25);
        for wrong in ["", "2", "3-2", "2-2", "-2-3", "nan-3", "2-inf", "a-b"] {
            assert!(band(wrong).is_err(), "{wrong}");
        }
    }
}
