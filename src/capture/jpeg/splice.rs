//! A small JPEG picture made of those parts of a large one that are looked at. Coded pixels begin
//! anew at each restart marker, so stretches between markers may be laid together under a smaller
//! size; without markers the picture can at least end after the last row that is looked at. It
//! decodes nothing.

use crate::base::PixelBox;

use super::header::{self, Grid, Header};
use super::tables;

/// How far the decoder reads ahead, bytes: its bit buffer.
const READ_AHEAD_BYTES: usize = 8;

/// Memory for splicing that is kept from picture to picture.
#[derive(Clone, Debug, Default)]
pub(super) struct Splicer {
    /// The small picture.
    pub(super) bytes: Vec<u8>,
    stretches: Vec<(usize, usize)>,
    /// The parts of a row that are taken.
    columns: Vec<usize>,
}

/// Where the small picture lies in the large one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Laid {
    /// First row of the large picture.
    pub(super) top: usize,
    /// Columns of the small picture.
    pub(super) width: usize,
    /// Rows of the small picture.
    pub(super) height: usize,
    /// Columns of one part.
    part_width: usize,
    /// Whether the parts are not all of the row.
    is_parted: bool,
}

impl Laid {
    /// The large picture itself (width, height).
    pub(super) fn whole((width, height): (usize, usize)) -> Self {
        Self {
            top: 0,
            width,
            height,
            part_width: width,
            is_parted: false,
        }
    }
}

impl Splicer {
    /// The whole picture, with what is missing put in.
    pub(super) fn whole(&mut self, bytes: &[u8], header: &Header, end: usize) {
        self.begin(bytes, header);
        if header.is_one_scan {
            self.end(bytes.get(header.scan_at..end));
        } else {
            // With its end marker.
            let rest = bytes.get(header.scan_at..end + 2);
            self.bytes.extend_from_slice(rest.unwrap_or_default());
        }
    }

    /// The parts round these boxes; none when the picture is of a kind that cannot be taken apart,
    /// or nothing would be saved.
    pub(super) fn parts(
        &mut self,
        bytes: &[u8],
        header: &Header,
        end: usize,
        boxes: &[PixelBox],
    ) -> Option<Laid> {
        let grid = header.grid?;
        let rows = PixelBox::round(boxes)?;
        let (top, bottom) = (rows.top as usize, (rows.bottom as usize).min(grid.height));
        if top >= bottom {
            return None;
        }
        let (across, restart) = (grid.across(), grid.restart);
        // Parts of a row; rows of units in one stretch.
        let (parts, deep) = if restart == 0 {
            (1, 1)
        } else if restart % across == 0 {
            (1, restart / across)
        } else if across % restart == 0 {
            (across / restart, 1)
        } else {
            return self.upper(bytes, header, end, bottom);
        };
        if restart == 0 || !header::stretches(bytes, header, end, &mut self.stretches) {
            return self.upper(bytes, header, end, bottom);
        }
        let part_width = if parts == 1 {
            grid.width
        } else {
            restart * grid.unit_width
        };
        self.columns.clear();
        self.columns.extend((0..parts).filter(|part| {
            let (left, right) = (part * part_width, (part + 1) * part_width);
            let is_seen = |b: &PixelBox| (b.left as usize) < right && (b.right as usize) > left;
            boxes.iter().any(is_seen)
        }));
        let rows_px = deep * grid.unit_height;
        let (first, last) = (top / rows_px, bottom.div_ceil(rows_px));
        let height = (last * rows_px).min(grid.height) - first * rows_px;
        let is_parted = self.columns.len() < parts;
        let width = if is_parted {
            self.columns.len() * part_width
        } else {
            grid.width
        };
        if width == 0 {
            return None;
        }
        self.begin(bytes, header);
        self.resize(&grid, width, height)?;
        self.bytes
            .extend_from_slice(bytes.get(header.scan_at..header.data_at)?);
        let mut laid = 0_u8;
        for row in first..last {
            for part in &self.columns {
                let (from, to) = *self.stretches.get(row * parts + part)?;
                if laid > 0 {
                    self.bytes
                        .extend_from_slice(&[0xFF, 0xD0 | ((laid - 1) & 7)]);
                }
                // Only its last three bits matter.
                laid = if laid == 16 { 9 } else { laid + 1 };
                self.bytes.extend_from_slice(bytes.get(from..to)?);
            }
        }
        self.end(None);
        Some(Laid {
            top: first * rows_px,
            width,
            height,
            part_width,
            is_parted,
        })
    }

    /// The picture down to this row.
    fn upper(&mut self, bytes: &[u8], header: &Header, end: usize, bottom: usize) -> Option<Laid> {
        let grid = header.grid?;
        let height = (bottom.div_ceil(grid.unit_height) * grid.unit_height).min(grid.height);
        self.begin(bytes, header);
        self.resize(&grid, grid.width, height)?;
        self.end(bytes.get(header.scan_at..end));
        Some(Laid::whole((grid.width, height)))
    }

    /// Where column `x` of the large picture is in the small one, and how many columns on from
    /// there lie together; none when it was not taken.
    pub(super) fn column(&self, laid: &Laid, x: usize) -> Option<(usize, usize)> {
        if !laid.is_parted {
            return (x < laid.width).then(|| (x, laid.width - x));
        }
        let (part, within) = (x / laid.part_width, x % laid.part_width);
        let at = self.columns.iter().position(|column| *column == part)?;
        Some((at * laid.part_width + within, laid.part_width - within))
    }

    /// Everything before the scan.
    fn begin(&mut self, bytes: &[u8], header: &Header) {
        self.bytes.clear();
        let before = bytes.get(..header.scan_at);
        self.bytes.extend_from_slice(before.unwrap_or_default());
        if !header.has_tables {
            tables::append(&mut self.bytes);
        }
    }

    fn resize(&mut self, grid: &Grid, width: usize, height: usize) -> Option<()> {
        let (width, height) = (u16::try_from(width).ok()?, u16::try_from(height).ok()?);
        let at = grid.size_at + 5;
        self.bytes
            .get_mut(at..at + 2)?
            .copy_from_slice(&height.to_be_bytes());
        self.bytes
            .get_mut(at + 2..at + 4)?
            .copy_from_slice(&width.to_be_bytes());
        Some(())
    }

    /// The coded pixels. The decoder makes up what is missing before an end marker, but refuses rows
    /// that lie behind the end of the bytes. So it gets room for its reading ahead instead of the
    /// marker.
    fn end(&mut self, data: Option<&[u8]>) {
        self.bytes.extend_from_slice(data.unwrap_or_default());
        self.bytes.extend_from_slice(&[0; READ_AHEAD_BYTES]);
    }
}
