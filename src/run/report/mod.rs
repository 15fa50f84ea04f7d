//! The report of a run on paper: one HTML page that needs nothing beside it, an as-found / as-left
//! sheet, tables. It reads the logbook, draws, and judges nothing anew.
//!
//! - `gather`: what is told, brought together; `words`: numbers and times in words;
//! - `markup`, `style`: HTML that escapes everything, and every colour; `scale`, `figure`: axes;
//! - `rate_plot`, `steady_plots`, `response_plot`: the figures;
//! - `oil`, `hand`: oil, and a person's count beside the tool's;
//! - `page`, `feed_section`, `story`, `tables`, `sheet`: the pages;
//! - `figures`: the statistics as rows for a spreadsheet.

mod feed_section;
mod figure;
pub mod figures;
mod gather;
mod hand;
pub mod markup;
mod oil;
mod page;
mod rate_plot;
mod response_plot;
mod scale;
mod sheet;
mod steady_plots;
mod story;
mod style;
mod tables;
pub mod words;

pub use gather::{FeedReport, Report, Setting, Standing};
pub use oil::{FeedOil, reservoir};
pub use page::page;
pub use sheet::{sheet, sheet_lines};
pub use story::{Told, story};
