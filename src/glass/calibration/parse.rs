//! From TOML text to a calibration, keeping the place of each value for the sentences about it.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::oil::{FILLED_EXAMPLE, FILLED_KEY, KEYS, NUMBERS};
use super::{
    Calibration, CalibrationError, CalibrationFault, FORMAT, FeedCalibration, OilData, ScaleFrom,
};
use crate::base::{Band, GlassKind};
use crate::glass::Outline;

/// Keys of the file itself.
const TOP_KEYS: &[&str] = &["format", "picture", "oil", "feed"];
/// Keys of `[picture]`.
const PICTURE_KEYS: &[&str] = &["width_px", "height_px", "camera"];
/// Keys of `[[feed]]`.
const FEED_KEYS: &[&str] = &[
    "name",
    "kind",
    "centre_px",
    "size_px",
    "angle_deg",
    "band_per_minute",
    "px_per_mm",
    "outside_diameter_mm",
    "scale_points",
];
/// Keys of `scale_points`.
const POINT_KEYS: &[&str] = &["from_px", "to_px", "apart_mm"];

type Fault = CalibrationFault;

/// The text with its name, for errors.
#[derive(Clone, Copy)]
struct Source<'t> {
    file: &'t str,
    text: &'t str,
}

impl Source<'_> {
    /// Line of a place in the text, counted from 1.
    fn line(self, offset: usize) -> usize {
        let before = self.text.as_bytes().iter().take(offset);
        1 + before.filter(|&&byte| byte == b'\n').count()
    }

    fn at(self, span: &Range<usize>, fault: Fault) -> CalibrationError {
        CalibrationError::content(self.file, Some(self.line(span.start)), fault)
    }

    fn whole(self, fault: Fault) -> CalibrationError {
        CalibrationError::content(self.file, None, fault)
    }
}

/// One table of the file.
struct Part<'t> {
    source: Source<'t>,
    table: &'t DeTable<'t>,
    span: Range<usize>,
    place: String,
}

impl<'t> Part<'t> {
    /// A table in which only `known` keys may stand.
    fn new(
        source: Source<'t>,
        table: &'t DeTable<'t>,
        span: Range<usize>,
        place: String,
        known: &[&str],
    ) -> Result<Self, CalibrationError> {
        let stranger = table
            .keys()
            .filter(|key| !known.contains(&key.get_ref().as_ref()))
            .min_by_key(|key| key.span().start);
        if let Some(key) = stranger {
            let name = key.get_ref().to_string();
            let hint = match nearest(&name, known) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("the keys there are {}", known.join(", ")),
            };
            return Err(source.at(
                &key.span(),
                Fault::UnknownKey {
                    key: name,
                    place,
                    hint,
                },
            ));
        }
        Ok(Self {
            source,
            table,
            span,
            place,
        })
    }

    fn get(&self, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.table.get(key)
    }

    fn need(
        &self,
        key: &'static str,
        example: &'static str,
    ) -> Result<&'t Spanned<DeValue<'t>>, CalibrationError> {
        self.get(key).ok_or_else(|| {
            let fault = Fault::MissingKey {
                key,
                place: self.place.clone(),
                example,
            };
            if self.span.is_empty() {
                self.source.whole(fault)
            } else {
                self.source.at(&self.span, fault)
            }
        })
    }

    fn wrong(
        &self,
        value: &Spanned<DeValue<'_>>,
        key: &'static str,
        wanted: &'static str,
        example: &'static str,
    ) -> CalibrationError {
        self.source.at(
            &value.span(),
            Fault::WrongType {
                key,
                found: kind_words(value.get_ref()),
                wanted,
                example,
            },
        )
    }

    fn number(
        &self,
        value: &Spanned<DeValue<'_>>,
        key: &'static str,
        example: &'static str,
    ) -> Result<f64, CalibrationError> {
        let wrong = || self.wrong(value, key, "a number", example);
        let number: f64 = match value.get_ref() {
            DeValue::Integer(whole) => {
                i64::from_str_radix(whole.as_str(), whole.radix()).map_err(|_| wrong())? as f64
            }
            DeValue::Float(text) => text.as_str().parse().map_err(|_| wrong())?,
            _ => return Err(wrong()),
        };
        if number.is_finite() {
            Ok(number)
        } else {
            Err(self
                .source
                .at(&value.span(), Fault::not_finite(key, number)))
        }
    }

    fn pair(
        &self,
        value: &Spanned<DeValue<'_>>,
        key: &'static str,
        example: &'static str,
    ) -> Result<[f64; 2], CalibrationError> {
        let wrong = || self.wrong(value, key, "two numbers in brackets", example);
        let list = value.get_ref().as_array().ok_or_else(wrong)?;
        let [first, second] = list.as_ref() else {
            return Err(wrong());
        };
        Ok([
            self.number(first, key, example)?,
            self.number(second, key, example)?,
        ])
    }

    fn words(
        &self,
        value: &Spanned<DeValue<'_>>,
        key: &'static str,
        example: &'static str,
    ) -> Result<String, CalibrationError> {
        value
            .get_ref()
            .as_str()
            .map(str::to_owned)
            .ok_or_else(|| self.wrong(value, key, "text in quotes", example))
    }

    fn pixels(&self, key: &'static str, example: &'static str) -> Result<u32, CalibrationError> {
        let value = self.need(key, example)?;
        let number = self.number(value, key, example)?;
        if number.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&number) {
            Ok(number as u32)
        } else {
            Err(self.wrong(value, key, "a whole number of pixels", example))
        }
    }

    /// A length above 0.
    fn length(
        &self,
        value: &Spanned<DeValue<'_>>,
        key: &'static str,
        example: &'static str,
    ) -> Result<f64, CalibrationError> {
        let number = self.number(value, key, example)?;
        if number > 0.0 {
            Ok(number)
        } else {
            Err(self
                .source
                .at(&value.span(), Fault::NotALength { key, value: number }))
        }
    }
}

pub(super) fn parse(text: &str, file: &str) -> Result<Calibration, CalibrationError> {
    let source = Source { file, text };
    if text.len() as u64 > super::LARGEST_FILE_BYTES {
        return Err(source.whole(Fault::TooLarge));
    }
    if text.trim_start_matches('\u{feff}').trim().is_empty() {
        return Err(source.whole(Fault::Empty));
    }
    let document = DeTable::parse(text).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        let why = error
            .message()
            .lines()
            .next()
            .unwrap_or_default()
            .to_owned();
        source.at(&span, Fault::NotToml { why })
    })?;
    let top = Part::new(
        source,
        document.get_ref(),
        0..0,
        "the file".to_owned(),
        TOP_KEYS,
    )?;
    let format = top.need("format", "format = 1")?;
    let version = top.number(format, "format", "format = 1")?;
    if version != FORMAT as f64 {
        return Err(source.at(
            &format.span(),
            Fault::Format {
                found: version as i64,
                known: FORMAT,
            },
        ));
    }
    let picture_value = top.need("picture", "[picture]")?;
    let picture_table = picture_value
        .get_ref()
        .as_table()
        .ok_or_else(|| top.wrong(picture_value, "picture", "a table", "[picture]"))?;
    let picture = Part::new(
        source,
        picture_table,
        picture_value.span(),
        "[picture]".to_owned(),
        PICTURE_KEYS,
    )?;
    let picture_width_px = picture.pixels("width_px", "width_px = 640")?;
    let picture_height_px = picture.pixels("height_px", "height_px = 480")?;
    let camera_identity = picture
        .get("camera")
        .map(|value| picture.words(value, "camera", "camera = \"...\""))
        .transpose()?
        .filter(|identity| !identity.is_empty());
    let oil = match top.get("oil") {
        Some(value) => {
            let wrong = || top.wrong(value, "oil", "a table", "[oil]");
            let table = value.get_ref().as_table().ok_or_else(wrong)?;
            let part = Part::new(source, table, value.span(), "[oil]".to_owned(), &KEYS)?;
            oil_data(&part)?
        }
        None => OilData::default(),
    };
    let mut feeds: Vec<(Range<usize>, FeedCalibration)> = Vec::new();
    if let Some(value) = top.get("feed") {
        let wrong = || top.wrong(value, "feed", "a list of tables", "[[feed]]");
        let list = value.get_ref().as_array().ok_or_else(wrong)?;
        for (index, item) in list.iter().enumerate() {
            let table = item.get_ref().as_table().ok_or_else(wrong)?;
            let place = format!("[[feed]] number {}", index + 1);
            let part = Part::new(source, table, item.span(), place, FEED_KEYS)?;
            feeds.push((item.span(), feed(&part)?));
        }
    }
    let mut calibration = Calibration {
        picture_width_px,
        picture_height_px,
        camera_identity,
        oil,
        feeds: feeds.iter().map(|(_, feed)| feed.clone()).collect(),
    };
    calibration.check().map_err(|(index, fault)| {
        let blamed = match (index.and_then(|i| feeds.get(i)), &fault) {
            (Some((span, _)), fault) => Some(key_place(&document, index, fault, span)),
            (None, Fault::PictureSize { .. }) => Some(picture_value.span()),
            _ => None,
        };
        match blamed {
            Some(span) => source.at(&span, fault),
            None => source.whole(fault),
        }
    })?;
    calibration
        .feeds
        .sort_by(|a, b| a.outline.centre_x_px.total_cmp(&b.outline.centre_x_px));
    Ok(calibration)
}

/// The table `[oil]`; each fault at the line of its key.
fn oil_data(part: &Part<'_>) -> Result<OilData, CalibrationError> {
    let mut values = [None; NUMBERS.len()];
    for (place, (key, example, _, _)) in values.iter_mut().zip(NUMBERS) {
        let Some(value) = part.get(key) else { continue };
        *place = Some(part.number(value, key, example)?);
        let alone = OilData::of_values(
            std::array::from_fn(|i| (NUMBERS[i].0 == key).then_some(*place).flatten()),
            None,
        );
        alone
            .check()
            .map_err(|fault| part.source.at(&value.span(), fault))?;
    }
    let filled = part
        .get(FILLED_KEY)
        .map(|value| {
            let wrong = || {
                let fault = Fault::NotATime {
                    key: FILLED_KEY,
                    example: FILLED_EXAMPLE,
                };
                part.source.at(&value.span(), fault)
            };
            let at = match value.get_ref() {
                DeValue::Datetime(at) => *at,
                DeValue::String(words) => words.parse().map_err(|_| wrong())?,
                _ => return Err(wrong()),
            };
            OilData::of_values([None; NUMBERS.len()], Some(at))
                .check()
                .map_err(|_| wrong())?;
            Ok(at)
        })
        .transpose()?;
    let oil = OilData::of_values(values, filled);
    oil.check()
        .map_err(|fault| part.source.at(&part.span, fault))?;
    Ok(oil)
}

/// Where in a feed the blamed value stands, or the feed itself.
fn key_place(
    document: &Spanned<DeTable<'_>>,
    index: Option<usize>,
    fault: &Fault,
    feed: &Range<usize>,
) -> Range<usize> {
    let keys: &[&str] = match fault {
        Fault::NoSize { .. } => &["size_px"],
        Fault::TooSteep { .. } => &["angle_deg"],
        Fault::OutsidePicture { .. } | Fault::Overlap { .. } => &["centre_px"],
        Fault::BandNegative { .. } | Fault::BandUpsideDown { .. } | Fault::BandTooHigh { .. } => {
            &["band_per_minute"]
        }
        Fault::Name { .. } => &["name"],
        Fault::ScaleAbsurd { .. } => &["px_per_mm", "outside_diameter_mm", "scale_points"],
        _ => &[],
    };
    let table = index.and_then(|i| {
        document
            .get_ref()
            .get("feed")?
            .get_ref()
            .as_array()?
            .get(i)?
            .get_ref()
            .as_table()
    });
    keys.iter()
        .find_map(|key| Some(table?.get(*key)?.span()))
        .unwrap_or_else(|| feed.clone())
}

fn feed(part: &Part<'_>) -> Result<FeedCalibration, CalibrationError> {
    let name = match part.get("name") {
        Some(value) => part.words(value, "name", "name = \"left cylinder\"")?,
        None => String::new(),
    };
    let kind_value = part.need("kind", "kind = \"tube\"")?;
    let kind = match part.words(kind_value, "kind", "kind = \"tube\"")?.as_str() {
        "tube" => GlassKind::Tube,
        "port" => GlassKind::Port,
        other => {
            return Err(part.source.at(
                &kind_value.span(),
                Fault::Kind {
                    found: other.chars().take(40).collect(),
                },
            ));
        }
    };
    let example = "centre_px = [140, 240]";
    let centre = part.pair(part.need("centre_px", example)?, "centre_px", example)?;
    let example = "size_px = [68, 232]";
    let size = part.pair(part.need("size_px", example)?, "size_px", example)?;
    let angle_deg = match part.get("angle_deg") {
        Some(value) => part.number(value, "angle_deg", "angle_deg = 0")?,
        None => 0.0,
    };
    let band = match part.get("band_per_minute") {
        Some(value) => {
            let [low, high] = part.pair(value, "band_per_minute", "band_per_minute = [2, 3]")?;
            Band {
                low_per_minute: low,
                high_per_minute: high,
            }
        }
        None => Band::default(),
    };
    let outline = Outline {
        kind,
        centre_x_px: centre[0],
        centre_y_px: centre[1],
        width_px: size[0],
        height_px: size[1],
        angle_deg,
    };
    if size[0] <= 0.0 || size[1] <= 0.0 {
        // Said here, before a scale is divided by it.
        let span = part.get("size_px").map_or(part.span.clone(), Spanned::span);
        return Err(part.source.at(
            &span,
            Fault::NoSize {
                width: size[0],
                height: size[1],
            },
        ));
    }
    let (typed, scale_from) = scale(part)?;
    Ok(FeedCalibration {
        name,
        outline,
        band,
        px_per_mm: typed.or_else(|| scale_from.px_per_mm(&outline)),
        scale_from,
    })
}

/// The scale as typed, or how it was measured.
fn scale(part: &Part<'_>) -> Result<(Option<f64>, ScaleFrom), CalibrationError> {
    let given: Vec<&'static str> = ["px_per_mm", "outside_diameter_mm", "scale_points"]
        .into_iter()
        .filter(|key| part.get(key).is_some())
        .collect();
    if let [first, second, ..] = given[..] {
        let span = part.get(second).map_or(part.span.clone(), Spanned::span);
        return Err(part.source.at(&span, Fault::TwoScales { first, second }));
    }
    if let Some(value) = part.get("px_per_mm") {
        let scale = part.length(value, "px_per_mm", "px_per_mm = 4.0")?;
        return Ok((Some(scale), ScaleFrom::Typed));
    }
    if let Some(value) = part.get("outside_diameter_mm") {
        let example = "outside_diameter_mm = 17";
        let mm = part.length(value, "outside_diameter_mm", example)?;
        return Ok((None, ScaleFrom::OutsideDiameter { mm }));
    }
    let Some(value) = part.get("scale_points") else {
        return Ok((None, ScaleFrom::Typed));
    };
    let example = "scale_points = { from_px = [106, 124], to_px = [106, 356], apart_mm = 58 }";
    let table = value
        .get_ref()
        .as_table()
        .ok_or_else(|| part.wrong(value, "scale_points", "a table in braces", example))?;
    let points = Part::new(
        part.source,
        table,
        value.span(),
        "scale_points".to_owned(),
        POINT_KEYS,
    )?;
    let from_px = points.pair(points.need("from_px", example)?, "from_px", example)?;
    let to_px = points.pair(points.need("to_px", example)?, "to_px", example)?;
    let apart_mm = points.length(points.need("apart_mm", example)?, "apart_mm", example)?;
    if from_px == to_px {
        return Err(part.source.at(&value.span(), Fault::SamePoints));
    }
    Ok((
        None,
        ScaleFrom::Points {
            from_px,
            to_px,
            apart_mm,
        },
    ))
}

fn kind_words(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// The known key nearest in spelling, when it is near enough to be meant: up to three letters
/// off, and at most half of the key.
fn nearest<'k>(key: &str, known: &[&'k str]) -> Option<&'k str> {
    known
        .iter()
        .map(|candidate| (distance(key, candidate), *candidate))
        .min()
        .filter(|(steps, candidate)| *steps <= 3 && *steps * 2 <= candidate.len())
        .map(|(_, candidate)| candidate)
}

/// How many letters must be added, removed or changed to make one word the other (Levenshtein).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    // A key of hundreds of letters is near to nothing; do not compare it at length.
    let a: Vec<char> = a.chars().take(64).collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let change = diagonal + usize::from(x != y);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}
