//! Walks the segments of a JPEG picture: where its size and its pixels are, how its blocks lie, and
//! where its restart markers are. It decodes nothing.

/// What the segments before the pixels say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Header {
    /// Where the marker of the first scan begins.
    pub(super) scan_at: usize,
    /// Where its coded pixels begin.
    pub(super) data_at: usize,
    /// Whether a Huffman table came before it.
    pub(super) has_tables: bool,
    /// Whether that scan holds the whole picture (sequential, all its components) in one of the
    /// usual samplings.
    pub(super) is_one_scan: bool,
    /// How its blocks lie, when it is such a picture.
    pub(super) grid: Option<Grid>,
}

/// How the blocks of a sequential picture lie. A unit is what is coded together: one block of each
/// component, or several where colour is coarser.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Grid {
    /// Where the marker of the segment with the size begins.
    pub(super) size_at: usize,
    /// Columns of the picture.
    pub(super) width: usize,
    /// Rows of the picture.
    pub(super) height: usize,
    /// Columns of a unit.
    pub(super) unit_width: usize,
    /// Rows of a unit.
    pub(super) unit_height: usize,
    /// Units between two restart markers; 0 for none.
    pub(super) restart: usize,
}

impl Grid {
    /// Units in one row.
    pub(super) fn across(&self) -> usize {
        self.width.div_ceil(self.unit_width)
    }

    /// Rows of units.
    pub(super) fn down(&self) -> usize {
        self.height.div_ceil(self.unit_height)
    }
}

/// Walks the segments up to the first scan; none when there is no scan to be reached.
pub(super) fn walk(bytes: &[u8]) -> Option<Header> {
    if bytes.get(..2) != Some(&[0xFF, 0xD8]) {
        return None;
    }
    let mut at = 2;
    let mut has_tables = false;
    let mut sequential_components = None;
    let mut grid = None;
    let mut restart = 0;
    loop {
        // Stray bytes between segments are passed over, as decoders do.
        while *bytes.get(at)? != 0xFF {
            at += 1;
        }
        let marker = *bytes.get(at + 1)?;
        match marker {
            // A fill byte, or an escaped one outside of a scan.
            0xFF => at += 1,
            0x00 | 0x01 | 0xD0..=0xD8 => at += 2,
            0xD9 => return None,
            0xDA => {
                let in_scan = *bytes.get(at + 4)?;
                let length = pair(bytes, at + 2)?;
                let is_one_scan = sequential_components == Some(in_scan);
                return Some(Header {
                    scan_at: at,
                    data_at: at + 2 + length.max(2),
                    has_tables,
                    is_one_scan,
                    grid: grid
                        .filter(|_| is_one_scan)
                        .map(|grid| Grid { restart, ..grid }),
                });
            }
            _ => {
                has_tables |= marker == 0xC4;
                if matches!(marker, 0xC0 | 0xC1) {
                    // Upright chroma (1 × 2) makes the decoder read past the end of whole
                    // pictures; no camera is known to send it.
                    let is_usual = matches!(bytes.get(at + 11), Some(0x11 | 0x21 | 0x22));
                    sequential_components = bytes.get(at + 9).copied().filter(|_| is_usual);
                    // A second size makes it no picture whose blocks are known.
                    grid = match grid {
                        None => grid_of(bytes, at),
                        Some(_) => None,
                    };
                }
                if marker == 0xDD {
                    restart = pair(bytes, at + 4)?;
                }
                at += 2 + pair(bytes, at + 2)?.max(2);
            }
        }
    }
}

fn pair(bytes: &[u8], at: usize) -> Option<usize> {
    let two = bytes.get(at..at + 2)?;
    Some(usize::from(u16::from_be_bytes([
        *two.first()?,
        *two.get(1)?,
    ])))
}

/// From the segment that begins at `at`: 8-bit grey, or luma and two colours of one block each.
fn grid_of(bytes: &[u8], at: usize) -> Option<Grid> {
    let (height, width) = (pair(bytes, at + 5)?, pair(bytes, at + 7)?);
    let sampling = |component: usize| bytes.get(at + 11 + 3 * component).copied();
    let (unit_width, unit_height) = match (bytes.get(at + 9)?, sampling(0)?) {
        // One component alone is coded block by block, whatever its sampling says.
        (1, _) => (8, 8),
        (3, luma) if (sampling(1)?, sampling(2)?) == (0x11, 0x11) => {
            (8 * usize::from(luma >> 4), 8 * usize::from(luma & 15))
        }
        _ => return None,
    };
    let is_usual = *bytes.get(at + 4)? == 8 && width > 0 && height > 0;
    (is_usual && unit_width > 0 && unit_height > 0).then_some(Grid {
        size_at: at,
        width,
        height,
        unit_width,
        unit_height,
        restart: 0,
    })
}

/// Where the picture ends (before its end marker); none when it does not. Within a scan 0xFF is
/// always followed by 0, so the marker cannot be mistaken.
pub(super) fn find_end(bytes: &[u8], scan_at: usize) -> Option<usize> {
    let mut at = scan_at + 2;
    while let Some(found) = bytes.get(at..)?.iter().position(|b| *b == 0xFF) {
        at += found;
        if bytes.get(at + 1) == Some(&0xD9) {
            return Some(at);
        }
        at += 1;
    }
    None
}

/// Where each stretch between restart markers begins and ends, into `into`; false when the markers
/// are not all there in their order, or others are among them. `end` is where the picture ends.
pub(super) fn stretches(
    bytes: &[u8],
    header: &Header,
    end: usize,
    into: &mut Vec<(usize, usize)>,
) -> bool {
    into.clear();
    let Some(grid) = header.grid.filter(|grid| grid.restart > 0) else {
        return false;
    };
    let wanted = (grid.across() * grid.down()).div_ceil(grid.restart);
    let mut from = header.data_at;
    let mut at = from;
    while let Some(found) = bytes
        .get(at..end)
        .and_then(|rest| rest.iter().position(|b| *b == 0xFF))
    {
        at += found;
        match bytes.get(at + 1) {
            Some(0x00) => at += 2,
            // A fill byte.
            Some(0xFF) => at += 1,
            Some(marker @ 0xD0..=0xD7) => {
                if into.len() >= wanted || usize::from(marker & 7) != into.len() % 8 {
                    return false;
                }
                into.push((from, at));
                at += 2;
                from = at;
            }
            _ => return false,
        }
    }
    if from > end {
        return false;
    }
    into.push((from, end));
    into.len() == wanted
}
