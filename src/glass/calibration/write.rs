//! From a calibration to a file with comments, written so that a power cut spoils nothing.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

use super::oil::{FILLED_EXAMPLE, FILLED_KEY, NUMBERS};
use super::{Calibration, CalibrationError, FORMAT, FeedCalibration, OilData, ScaleFrom};

/// The head of every file.
const HEAD: &str = "\
# Calibration for beadtally: where the sight glasses are in the picture, how large a pixel is, and
# what each feed should give. It may be edited; beadtally says which line it does not understand.
";

/// What the keys of a feed mean, said once.
const FEED_HEAD: &str = "
# One [[feed]] for each glass, from the left. Places and sizes are in pixels from the upper left
# corner of the picture. The outline is the visible glass between its fittings.
#   kind            \"tube\" (a round tube) or \"port\" (a flat round window)
#   centre_px       middle of the outline: right, down
#   size_px         across the axis, along the axis
#   angle_deg       clockwise turn; 0 stands upright
#   band_per_minute lowest and highest drops a minute wanted
# The scale of a feed is one of these, or none (then no millimetres are given):
#   outside_diameter_mm = 17     the glass itself (for a port: the visible window)
#   scale_points = { from_px = [106, 124], to_px = [106, 356], apart_mm = 58 }
#   px_per_mm = 4.0
";

/// What the keys of the oil are for.
const OIL_HEAD: &str = "
# The oil, if you want its use reckoned; every line may be left out. With bore, tension and both
# densities the volume of a drop follows from the nozzle where its size cannot be seen; with the
# capacity and the time of filling (or a mark 'reservoir filled') the time until it is empty.
";

pub(super) fn to_toml(calibration: &Calibration) -> String {
    let mut out = String::from(HEAD);
    // Writing to a String cannot fail.
    let _ = compose(calibration, &mut out);
    out
}

fn compose(calibration: &Calibration, out: &mut String) -> std::fmt::Result {
    writeln!(out, "format = {FORMAT}\n")?;
    writeln!(out, "[picture]")?;
    writeln!(
        out,
        "# Size of the pictures on which the outlines were drawn."
    )?;
    writeln!(out, "width_px = {}", calibration.picture_width_px)?;
    writeln!(out, "height_px = {}", calibration.picture_height_px)?;
    if let Some(identity) = &calibration.camera_identity {
        writeln!(out, "# The camera they were drawn for.")?;
        writeln!(out, "camera = {}", quoted(identity))?;
    }
    compose_oil(&calibration.oil, out)?;
    out.push_str(FEED_HEAD);
    for (index, feed) in calibration.feeds.iter().enumerate() {
        compose_feed(index + 1, feed, out)?;
    }
    Ok(())
}

/// What is known of the oil; the keys that are not used stand there as comments.
fn compose_oil(oil: &OilData, out: &mut String) -> std::fmt::Result {
    out.push_str(OIL_HEAD);
    if oil.is_empty() {
        writeln!(out, "# [oil]")?;
    } else {
        writeln!(out, "[oil]")?;
    }
    for ((key, example, what, _), value) in NUMBERS.into_iter().zip(oil.values()) {
        match value {
            Some(value) => writeln!(out, "{key} = {value:?} # {what}")?,
            None => writeln!(out, "# {example} # {what}")?,
        }
    }
    match oil.reservoir_filled {
        Some(at) => writeln!(out, "{FILLED_KEY} = {at}"),
        None => writeln!(out, "# {FILLED_EXAMPLE}"),
    }
}

fn compose_feed(number: usize, feed: &FeedCalibration, out: &mut String) -> std::fmt::Result {
    let outline = &feed.outline;
    writeln!(out, "\n[[feed]] # {number}")?;
    writeln!(out, "name = {}", quoted(&feed.name))?;
    writeln!(out, "kind = \"{}\"", outline.kind.word())?;
    writeln!(
        out,
        "centre_px = [{:?}, {:?}]",
        outline.centre_x_px, outline.centre_y_px
    )?;
    writeln!(
        out,
        "size_px = [{:?}, {:?}]",
        outline.width_px, outline.height_px
    )?;
    writeln!(out, "angle_deg = {:?}", outline.angle_deg)?;
    writeln!(
        out,
        "band_per_minute = [{:?}, {:?}]",
        feed.band.low_per_minute, feed.band.high_per_minute
    )?;
    match feed.scale_from {
        ScaleFrom::Typed => match feed.px_per_mm {
            Some(scale) => writeln!(out, "px_per_mm = {scale:?}"),
            None => writeln!(out, "# no scale yet"),
        },
        ScaleFrom::OutsideDiameter { mm } => {
            write!(out, "outside_diameter_mm = {mm:?}")?;
            scale_note(feed, out)
        }
        ScaleFrom::Points {
            from_px: [x0, y0],
            to_px: [x1, y1],
            apart_mm,
        } => {
            write!(
                out,
                "scale_points = {{ from_px = [{x0:?}, {y0:?}], to_px = [{x1:?}, {y1:?}], \
                 apart_mm = {apart_mm:?} }}"
            )?;
            scale_note(feed, out)
        }
    }
}

fn scale_note(feed: &FeedCalibration, out: &mut String) -> std::fmt::Result {
    match feed.scale_from.px_per_mm(&feed.outline) {
        Some(scale) => writeln!(out, " # {scale:.3} px/mm"),
        None => writeln!(out),
    }
}

/// Text as a TOML basic string.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

pub(super) fn write(calibration: &Calibration, path: &Path) -> Result<(), CalibrationError> {
    let file = path.display().to_string();
    calibration
        .check()
        .map_err(|(_, fault)| CalibrationError::content(&file, None, fault))?;
    if std::fs::symlink_metadata(path).is_ok_and(|meta| meta.file_type().is_symlink()) {
        return Err(CalibrationError::SymbolicLink { file });
    }
    let unwritable = |source| CalibrationError::Unwritable {
        file: file.clone(),
        source,
    };
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".calibration-").suffix(".tmp");
    #[cfg(unix)]
    let everybody = std::os::unix::fs::PermissionsExt::from_mode(0o666);
    #[cfg(unix)]
    builder.permissions(everybody); // less the person's own umask
    let mut temporary = builder.tempfile_in(folder).map_err(unwritable)?;
    temporary
        .write_all(to_toml(calibration).as_bytes())
        .map_err(unwritable)?;
    temporary.as_file().sync_all().map_err(unwritable)?;
    temporary
        .persist(path)
        .map_err(|error| unwritable(error.error))?;
    Ok(())
}
