//! A history of fixed length: the newest values are kept, the oldest go. Nothing in the program
//! that runs for hours may grow, so every history is one of these.

use std::collections::VecDeque;

/// Keeps the newest `capacity` values.
///
/// ```
/// let mut ring = beadtally::base::Ring::new(2);
/// ring.push(1);
/// ring.push(2);
/// ring.push(3);
/// assert_eq!(ring.iter().copied().collect::<Vec<_>>(), [2, 3]);
/// ```
#[derive(Clone, Debug)]
pub struct Ring<T> {
    values: VecDeque<T>,
    capacity: usize,
}

impl<T> Ring<T> {
    /// An empty history of at most `capacity` values (at least one).
    #[must_use]
    pub fn new(capacity: usize) -> Self {
        let capacity = capacity.max(1);
        Self {
            values: VecDeque::with_capacity(capacity),
            capacity,
        }
    }

    /// Adds the newest value; the oldest goes, and comes back, when the history is full.
    pub fn push(&mut self, value: T) -> Option<T> {
        let gone = if self.values.len() == self.capacity {
            self.values.pop_front()
        } else {
            None
        };
        self.values.push_back(value);
        gone
    }

    /// From the oldest to the newest.
    #[must_use]
    pub fn iter(&self) -> std::collections::vec_deque::Iter<'_, T> {
        self.values.iter()
    }

    /// The newest value.
    #[must_use]
    pub fn newest(&self) -> Option<&T> {
        self.values.back()
    }

    /// The oldest value still kept.
    #[must_use]
    pub fn oldest(&self) -> Option<&T> {
        self.values.front()
    }

    /// How many values are kept now.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether nothing is kept.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.values.clear();
    }
}

impl<'a, T> IntoIterator for &'a Ring<T> {
    type Item = &'a T;
    type IntoIter = std::collections::vec_deque::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}
