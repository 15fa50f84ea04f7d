//! Papers: the as-found / as-left sheet as a page that any browser opens and prints, with nothing
//! loaded from elsewhere.

use super::{Language, fine_rate, get, put, short_rate, spoken, state, zone};
use crate::ui::fitter::sheet::{Noted, Sheet};

/// A moment in the time zone in force, in a form.
fn in_zone(wall_secs: f64, form: &str) -> String {
    jiff::Timestamp::from_second(wall_secs.floor() as i64)
        .map(|at| at.to_zoned_datetime(zone()))
        .map(|zoned| zoned.strftime(form).to_string())
        .unwrap_or_default()
}

/// A time of day with its date, as ISO 8601 to the second, in the time zone of this computer.
#[must_use]
pub fn moment(wall_secs: f64) -> String {
    in_zone(wall_secs, "%Y-%m-%dT%H:%M:%S%:z")
}

/// The date and the time of day, to the minute.
#[must_use]
pub fn short_date(wall_secs: f64) -> String {
    in_zone(wall_secs, "%Y-%m-%d %H:%M")
}

/// The same, short: hours and minutes.
#[must_use]
pub fn time_of_day(wall_secs: f64) -> String {
    in_zone(wall_secs, "%H:%M")
}

/// What was noted of a feed, in a line.
#[must_use]
pub fn noted(noted: Option<&Noted>) -> String {
    let Some(noted) = noted else {
        return get().sheet_nothing.to_owned();
    };
    let settled = if noted.is_settled {
        get().settled
    } else {
        get().sheet_unsettled
    };
    put!(
        sheet_noted,
        rate = fine_rate(noted.reading.drops_per_minute),
        low = fine_rate(noted.reading.low),
        high = fine_rate(noted.reading.high),
        drops = noted.reading.drops,
        state = state(noted.state),
        settled = settled
    )
}

/// Text that may stand in a page.
fn safe(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

/// The sheet as a page.
#[must_use]
pub fn sheet_page(sheet: &Sheet, wall_secs: f64) -> String {
    let words = get();
    let mut rows = String::new();
    for (feed, row) in sheet.rows() {
        let cells = [
            super::number_and_name(*feed, &row.name),
            format!(
                "{} – {}",
                short_rate(row.band.low_per_minute),
                short_rate(row.band.high_per_minute)
            ),
            noted(row.found.as_ref()),
            noted(row.left.as_ref()),
        ];
        rows.push_str("<tr>");
        for cell in cells {
            rows.push_str("<td>");
            rows.push_str(&safe(&cell));
            rows.push_str("</td>");
        }
        rows.push_str("</tr>\n");
    }
    let mut done = String::new();
    for mark in sheet.done() {
        for part in [
            "<li>",
            &moment(mark.wall_secs),
            " ",
            &safe(&mark.words),
            "</li>
",
        ] {
            done.push_str(part);
        }
    }
    if sheet.done().is_empty() {
        done = format!("<li>{}</li>\n", safe(words.sheet_no_marks));
    }
    let language = match spoken() {
        Language::German => "de",
        Language::English | Language::Pseudo => "en",
    };
    let mut headings = String::new();
    for heading in [
        words.sheet_feed,
        words.sheet_band,
        words.sheet_found,
        words.sheet_left,
    ] {
        headings.push_str("<th scope=\"col\">");
        headings.push_str(&safe(heading));
        headings.push_str("</th>");
    }
    format!(
        "<!DOCTYPE html>\n<html lang=\"{language}\"><head><meta charset=\"utf-8\">\
         <title>{title}</title><style>body{{font-family:sans-serif;margin:2em;max-width:60em}}\
         table{{border-collapse:collapse}}td,th{{border:1px solid;padding:.4em .7em;\
         text-align:left;vertical-align:top;font-variant-numeric:tabular-nums}}</style></head>\n\
         <body><h1>{title}</h1><p>{about}</p>\n<table><thead><tr>{headings}</tr></thead><tbody>\n\
         {rows}</tbody></table>\n<h2>{marks}</h2><ul>\n{done}</ul>\n<p>{limits}</p><p>{caution}</p>\
         </body></html>\n",
        title = safe(words.sheet_heading),
        about = safe(&put!(
            sheet_about,
            source = sheet.source(),
            time = moment(wall_secs)
        )),
        marks = safe(words.sheet_marks),
        limits = safe(words.sheet_limits),
        caution = safe(words.valve_caution),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FeedNumber;
    use crate::ui::backend::Backend;
    use crate::ui::pretend::{Pretend, Scene};

    #[test]
    fn the_page_has_all_feeds_and_marks_and_nothing_of_a_name_is_taken_for_a_tag() {
        let mut sheet = Sheet::default();
        let behind = Pretend::new(Scene::Well);
        behind.change(|snapshot| snapshot.feeds[1].calibration.name = "<b>&\"".to_owned());
        sheet.take(&behind.snapshot(), 0.0);
        sheet.mark(Some(FeedNumber(1)), "valve 1 a quarter turn open", 60.0);
        let page = sheet_page(&sheet, 60.0);
        assert!(
            page.contains("left cylinder") && page.contains("2.27"),
            "{page}"
        );
        assert!(page.contains("&lt;b&gt;&amp;&quot;") && !page.contains("<b>"));
        assert!(page.contains("valve 1 a quarter turn open"));
        assert!(!page.contains("http"), "nothing is loaded from elsewhere");
    }
}
