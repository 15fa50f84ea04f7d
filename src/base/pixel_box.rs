//! An upright box of whole pixels in a picture. What lies in it is others' affair.

/// An upright box of whole pixels: `left` and `top` belong to it, `right` and `bottom` do not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PixelBox {
    /// First column.
    pub left: u32,
    /// First row.
    pub top: u32,
    /// Column behind the last.
    pub right: u32,
    /// Row behind the last.
    pub bottom: u32,
}

impl PixelBox {
    /// The part of it within a picture of this size; may be empty.
    #[must_use]
    pub fn within(self, width: u32, height: u32) -> Self {
        let (right, bottom) = (self.right.min(width), self.bottom.min(height));
        Self {
            left: self.left.min(right),
            top: self.top.min(bottom),
            right,
            bottom,
        }
    }

    /// The smallest box round all of these; none round none.
    ///
    /// ```
    /// use beadtally::base::PixelBox;
    /// let of = |left, top, right, bottom| PixelBox { left, top, right, bottom };
    /// let round = PixelBox::round(&[of(2, 3, 5, 9), of(4, 1, 8, 4)]);
    /// assert_eq!(round, Some(of(2, 1, 8, 9)));
    /// assert_eq!(PixelBox::round(&[]), None);
    /// ```
    #[must_use]
    pub fn round(boxes: &[Self]) -> Option<Self> {
        boxes.iter().copied().reduce(|a, b| Self {
            left: a.left.min(b.left),
            top: a.top.min(b.top),
            right: a.right.max(b.right),
            bottom: a.bottom.max(b.bottom),
        })
    }

    /// Whether all of `other` lies in it.
    #[must_use]
    pub fn holds(self, other: Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && self.right >= other.right
            && self.bottom >= other.bottom
    }

    /// Pixels in it.
    #[must_use]
    pub fn area(self) -> u64 {
        let (w, h) = (
            self.right.saturating_sub(self.left),
            self.bottom.saturating_sub(self.top),
        );
        u64::from(w) * u64::from(h)
    }
}
