//! A small JPEG encoder for tests and benches: any sampling, any restart interval, any tables, as
//! ITU-T T.81 describes baseline pictures. It shares nothing with what decodes.
#![allow(dead_code, reason = "not every test writes every kind")]

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// How coarse the colours are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampling {
    /// No colour.
    Grey,
    /// As fine as luma.
    Full,
    /// Half the columns.
    Half,
    /// Half the columns and rows.
    Quarter,
}

impl Sampling {
    /// Blocks of luma in a unit: across, down.
    pub fn blocks(self) -> (usize, usize) {
        match self {
            Self::Grey | Self::Full => (1, 1),
            Self::Half => (2, 1),
            Self::Quarter => (2, 2),
        }
    }

    fn components(self) -> usize {
        if self == Self::Grey { 1 } else { 3 }
    }
}

/// How a picture is written.
#[derive(Clone, Debug)]
pub struct How {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// How coarse the colours are.
    pub sampling: Sampling,
    /// Units between two restart markers; 0 for none.
    pub restart: usize,
    /// What luma and colour are divided by, in zigzag order.
    pub quantum: [[u8; 64]; 2],
    /// Tables for luma and colour.
    pub tables: [Tables; 2],
}

/// Huffman tables for DC and AC.
#[derive(Clone, Debug)]
pub struct Tables {
    dc: Table,
    ac: Table,
}

#[derive(Clone, Debug)]
struct Table {
    counts: [u8; 16],
    values: Vec<u8>,
    /// Code and its length of each value.
    codes: Vec<(u16, u8)>,
}

impl Table {
    fn new(counts: [u8; 16], values: Vec<u8>) -> Self {
        let mut codes = vec![(0, 0); 256];
        let (mut code, mut next) = (0_u16, values.iter());
        for (length, count) in counts.iter().enumerate() {
            for _ in 0..*count {
                if let Some(value) = next.next() {
                    codes[usize::from(*value)] = (code, length as u8 + 1);
                }
                code += 1;
            }
            code <<= 1;
        }
        Self {
            counts,
            values,
            codes,
        }
    }
}

impl Tables {
    /// Tables of the lengths of ITU-T T.81, Annex K, the shortest codes for what is commonest; or
    /// shuffled.
    pub fn new(shuffle: Option<&mut ChaCha8Rng>) -> Self {
        let mut dc: Vec<u8> = (0..12).collect();
        let mut ac: Vec<u8> = (0..16)
            .flat_map(|run: u8| (1..=10).map(move |size| run << 4 | size))
            .chain([0x00, 0xF0])
            .collect();
        // The end of a block is commonest, then short runs of small values.
        ac.sort_by_key(|v| match v {
            0 => 2,
            0xF0 => 20,
            v => (v >> 4) * 2 + (v & 15) * 2,
        });
        if let Some(rng) = shuffle {
            dc.shuffle(rng);
            ac.shuffle(rng);
        }
        Self {
            // Tables K.3 and K.5.
            dc: Table::new([0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0], dc),
            ac: Table::new([0, 2, 1, 3, 3, 2, 4, 3, 5, 5, 4, 4, 0, 0, 1, 0x7D], ac),
        }
    }
}

/// Row and column of each place in zigzag order.
fn zigzag() -> Vec<(usize, usize)> {
    let mut places: Vec<(usize, usize)> = (0..64).map(|n| (n / 8, n % 8)).collect();
    places.sort_by_key(|(row, col)| {
        let sum = row + col;
        (sum, if sum % 2 == 0 { *col } else { *row })
    });
    places
}

struct Bits {
    out: Vec<u8>,
    held: u32,
    count: u8,
}

impl Bits {
    fn put(&mut self, value: u16, length: u8) {
        for n in (0..length).rev() {
            self.held = self.held << 1 | u32::from(value >> n & 1);
            self.count += 1;
            if self.count == 8 {
                self.byte();
            }
        }
    }

    fn byte(&mut self) {
        let byte = self.held as u8;
        self.out.push(byte);
        if byte == 0xFF {
            self.out.push(0);
        }
        (self.held, self.count) = (0, 0);
    }

    fn flush(&mut self) {
        while self.count != 0 {
            self.put(1, 1);
        }
    }

    fn size(value: i32) -> u8 {
        (32 - value.unsigned_abs().leading_zeros()) as u8
    }

    fn rest(&mut self, value: i32, size: u8) {
        let bits = if value < 0 { value - 1 } else { value };
        self.put(bits as u16 & ((1_u32 << size) - 1) as u16, size);
    }
}

fn segment(out: &mut Vec<u8>, marker: u8, body: &[u8]) {
    out.extend_from_slice(&[0xFF, marker]);
    out.extend_from_slice(&(body.len() as u16 + 2).to_be_bytes());
    out.extend_from_slice(body);
}

/// Writes a picture. `level` gives the grey level of a component (0 luma, 1 and 2 colours) at a
/// column and row of the whole picture.
pub fn encode(how: &How, level: &dyn Fn(usize, usize, usize) -> u8) -> Vec<u8> {
    let mut out = vec![0xFF, 0xD8];
    for (place, quantum) in how.quantum.iter().enumerate() {
        let mut body = vec![place as u8];
        body.extend_from_slice(quantum);
        segment(&mut out, 0xDB, &body);
    }
    let (h, v) = how.sampling.blocks();
    let components = how.sampling.components();
    let mut body = vec![8];
    body.extend_from_slice(&(how.height as u16).to_be_bytes());
    body.extend_from_slice(&(how.width as u16).to_be_bytes());
    body.push(components as u8);
    for component in 0..components {
        let sampling = if component == 0 { h << 4 | v } else { 0x11 };
        body.extend_from_slice(&[component as u8 + 1, sampling as u8, u8::from(component > 0)]);
    }
    segment(&mut out, 0xC0, &body);
    for (place, tables) in how.tables.iter().enumerate() {
        for (class, table) in [(0_u8, &tables.dc), (1, &tables.ac)] {
            let mut body = vec![class << 4 | place as u8];
            body.extend_from_slice(&table.counts);
            body.extend_from_slice(&table.values);
            segment(&mut out, 0xC4, &body);
        }
    }
    if how.restart > 0 {
        segment(&mut out, 0xDD, &(how.restart as u16).to_be_bytes());
    }
    let mut body = vec![components as u8];
    for component in 0..components {
        let tables = if component == 0 { 0x00 } else { 0x11 };
        body.extend_from_slice(&[component as u8 + 1, tables]);
    }
    body.extend_from_slice(&[0, 63, 0]);
    segment(&mut out, 0xDA, &body);
    let mut bits = Bits {
        out,
        held: 0,
        count: 0,
    };
    let across = how.width.div_ceil(8 * h);
    let down = how.height.div_ceil(8 * v);
    let mut before = [0_i32; 3];
    let places = zigzag();
    let waves = waves();
    for unit in 0..across * down {
        if how.restart > 0 && unit > 0 && unit % how.restart == 0 {
            bits.flush();
            let number = (unit / how.restart - 1) % 8;
            bits.out.extend_from_slice(&[0xFF, 0xD0 | number as u8]);
            before = [0; 3];
        }
        let (left, top) = (unit % across * 8 * h, unit / across * 8 * v);
        for (component, before) in before.iter_mut().enumerate().take(components) {
            let (blocks_h, blocks_v) = if component == 0 { (h, v) } else { (1, 1) };
            // Pixels of the picture to one of the component.
            let (step_x, step_y) = if component == 0 { (1, 1) } else { (h, v) };
            for block in 0..blocks_h * blocks_v {
                let (x0, y0) = (
                    left + block % blocks_h * 8 * step_x,
                    top + block / blocks_h * 8 * step_y,
                );
                let at = |row: usize, col: usize| {
                    let x = (x0 + col * step_x).min(how.width - 1);
                    let y = (y0 + row * step_y).min(how.height - 1);
                    f32::from(level(component, x, y)) - 128.0
                };
                let place = usize::from(component > 0);
                let values = transform(&at, &waves, &places, &how.quantum[place]);
                write_block(&mut bits, &values, before, &how.tables[place]);
            }
        }
    }
    bits.flush();
    bits.out.extend_from_slice(&[0xFF, 0xD9]);
    bits.out
}

fn waves() -> [[f32; 8]; 8] {
    std::array::from_fn(|u| {
        std::array::from_fn(|x| {
            let scale = if u == 0 { 0.125_f32.sqrt() } else { 0.5 };
            scale * ((2 * x + 1) as f32 * u as f32 * std::f32::consts::PI / 16.0).cos()
        })
    })
}

fn transform(
    at: &dyn Fn(usize, usize) -> f32,
    waves: &[[f32; 8]; 8],
    places: &[(usize, usize)],
    quantum: &[u8; 64],
) -> [i32; 64] {
    let mut across = [[0.0_f32; 8]; 8];
    for (y, row) in across.iter_mut().enumerate() {
        let levels: [f32; 8] = std::array::from_fn(|x| at(y, x));
        for (u, value) in row.iter_mut().enumerate() {
            *value = levels.iter().zip(&waves[u]).map(|(l, w)| l * w).sum();
        }
    }
    std::array::from_fn(|n| {
        let (v, u) = places[n];
        let sum: f32 = (0..8).map(|y| across[y][u] * waves[v][y]).sum();
        (sum / f32::from(quantum[n])).round() as i32
    })
}

fn write_block(bits: &mut Bits, values: &[i32; 64], before: &mut i32, tables: &Tables) {
    let step = values[0] - *before;
    *before = values[0];
    let size = Bits::size(step);
    let (code, length) = tables.dc.codes[usize::from(size)];
    bits.put(code, length);
    bits.rest(step, size);
    let mut run = 0_u8;
    let last = values.iter().rposition(|v| *v != 0).unwrap_or(0);
    for value in values.iter().take(last + 1).skip(1) {
        if *value == 0 {
            run += 1;
            continue;
        }
        while run >= 16 {
            let (code, length) = tables.ac.codes[0xF0];
            bits.put(code, length);
            run -= 16;
        }
        // Ten bits are the most that baseline pictures hold.
        let value = (*value).clamp(-1023, 1023);
        let size = Bits::size(value);
        let (code, length) = tables.ac.codes[usize::from(run << 4 | size)];
        bits.put(code, length);
        bits.rest(value, size);
        run = 0;
    }
    if last < 63 {
        let (code, length) = tables.ac.codes[0];
        bits.put(code, length);
    }
}
