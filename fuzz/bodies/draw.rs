//! Numbers and words out of made-up bytes. Every byte that is missing is a zero, so that each input
//! means something and a shorter one means less.

/// Bytes, taken from the front.
pub struct Draw<'a> {
    bytes: &'a [u8],
}

impl<'a> Draw<'a> {
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { bytes }
    }

    pub fn is_over(&self) -> bool {
        self.bytes.is_empty()
    }

    pub fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.bytes.split_first() else {
            return 0;
        };
        self.bytes = rest;
        *first
    }

    pub fn u32(&mut self) -> u32 {
        u32::from_le_bytes([self.byte(), self.byte(), self.byte(), self.byte()])
    }

    pub fn u64(&mut self) -> u64 {
        u64::from(self.u32()) | u64::from(self.u32()) << 32
    }

    /// One of the choices.
    pub fn of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[usize::from(self.byte()) % choices.len()]
    }

    /// A number as a person, a driver or a mistake may give it.
    pub fn number(&mut self) -> f64 {
        match self.byte() % 8 {
            0 => 0.0,
            1 => f64::from(self.byte()),
            2 => -f64::from(self.byte()),
            3 => f64::from(self.byte()) / 255.0,
            4 => f64::from(self.u32()) / 65536.0,
            5 => self.of(&[
                f64::NAN,
                f64::INFINITY,
                f64::NEG_INFINITY,
                f64::MAX,
                f64::MIN,
                f64::MIN_POSITIVE,
                -0.0,
                1e300,
                -1e300,
                9.0e15,
                253_402_300_800.0, // the year 10000
            ]),
            _ => f64::from_bits(self.u64()),
        }
    }

    /// Up to 64 bytes, as text.
    pub fn words(&mut self) -> String {
        let length = usize::from(self.byte() % 65).min(self.bytes.len());
        let (words, rest) = self.bytes.split_at(length);
        self.bytes = rest;
        String::from_utf8_lossy(words).into_owned()
    }

    pub fn rest(self) -> &'a [u8] {
        self.bytes
    }
}
