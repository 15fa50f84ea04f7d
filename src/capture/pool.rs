//! Pictures whose memory is used again once nobody looks at them any more: setting aside and
//! clearing two megabytes for every picture costs more than reading them. It knows nothing of what
//! is in them.

use std::sync::Arc;

use image::{GrayImage, Luma};

use crate::base::PixelBox;

/// Most pictures kept: those that may wait in the queue before measuring, and some.
const MOST: usize = 48;

/// Most pictures kept that nobody looks at: a hiccup's worth. What a busy moment needed is given
/// back.
const SPARE: usize = 4;

/// What stands where a picture was not decoded: mid-grey, no edge and no bead.
pub const BLANK: u8 = 128;

/// Pictures in use and at rest.
#[derive(Debug, Default)]
pub struct Pool {
    kept: Vec<Kept>,
}

#[derive(Debug)]
struct Kept {
    picture: Arc<GrayImage>,
    /// The boxes outside of which it is blank.
    boxes: Option<Arc<[PixelBox]>>,
}

impl Pool {
    /// A picture of this size with something in it, all of which is to be written over.
    pub fn whole(&mut self, width: u32, height: u32) -> Arc<GrayImage> {
        self.take(width, height)
            .map_or_else(|| Arc::new(GrayImage::new(width, height)), |k| k.picture)
    }

    /// A picture of this size that is [`BLANK`] outside of these boxes; they are to be written over.
    pub fn outside_blank(
        &mut self,
        width: u32,
        height: u32,
        boxes: &Arc<[PixelBox]>,
    ) -> Arc<GrayImage> {
        // One that was used so before, if there is one.
        let at = self
            .kept
            .iter_mut()
            .position(|kept| kept.boxes.as_ref() == Some(boxes) && is_free(kept, width, height));
        if let Some(at) = at {
            return self.kept.swap_remove(at).picture;
        }
        let Some(kept) = self.take(width, height) else {
            return Arc::new(GrayImage::from_pixel(width, height, Luma([BLANK])));
        };
        let mut picture = kept.picture;
        if let Some(picture) = Arc::get_mut(&mut picture) {
            picture.fill(BLANK);
        }
        picture
    }

    /// Keeps a picture that is handed out, to use its memory again later. `boxes` are those outside
    /// of which it is blank; none for a whole picture.
    pub fn keep(&mut self, picture: &Arc<GrayImage>, boxes: Option<Arc<[PixelBox]>>) {
        if self.kept.len() < MOST {
            self.kept.push(Kept {
                picture: Arc::clone(picture),
                boxes,
            });
        }
    }

    fn take(&mut self, width: u32, height: u32) -> Option<Kept> {
        let mut spare = 0;
        self.kept.retain_mut(|kept| {
            // Another size is never wanted again.
            kept.picture.dimensions() == (width, height)
                && (Arc::get_mut(&mut kept.picture).is_none() || {
                    spare += 1;
                    spare <= SPARE
                })
        });
        let at = self
            .kept
            .iter_mut()
            .position(|kept| is_free(kept, width, height))?;
        Some(self.kept.swap_remove(at))
    }
}

fn is_free(kept: &mut Kept, width: u32, height: u32) -> bool {
    kept.picture.dimensions() == (width, height) && Arc::get_mut(&mut kept.picture).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boxes(left: u32) -> Arc<[PixelBox]> {
        Arc::from([PixelBox {
            left,
            top: 0,
            right: left + 1,
            bottom: 1,
        }])
    }

    #[test]
    fn memory_is_used_again_only_when_nobody_looks() {
        let mut pool = Pool::default();
        let first = pool.whole(4, 3);
        pool.keep(&first, None);
        let second = pool.whole(4, 3);
        assert!(!Arc::ptr_eq(&first, &second));
        let address = Arc::as_ptr(&first);
        drop(first);
        assert_eq!(Arc::as_ptr(&pool.whole(4, 3)), address);
        assert_eq!(pool.whole(5, 3).dimensions(), (5, 3));
    }

    #[test]
    fn what_is_not_decoded_is_blank_whatever_was_there_before() {
        let mut pool = Pool::default();
        let mut picture = pool.whole(4, 3);
        Arc::get_mut(&mut picture).unwrap().fill(7);
        pool.keep(&picture, None);
        drop(picture);
        let mut picture = pool.outside_blank(4, 3, &boxes(0));
        assert!(picture.iter().all(|v| *v == BLANK));
        Arc::get_mut(&mut picture).unwrap()[(0, 0)] = Luma([9]);
        pool.keep(&picture, Some(boxes(0)));
        drop(picture);
        // The same boxes: nothing else can have been written.
        let picture = pool.outside_blank(4, 3, &boxes(0));
        assert_eq!(picture.get_pixel(0, 0).0[0], 9);
        pool.keep(&picture, Some(boxes(0)));
        drop(picture);
        let picture = pool.outside_blank(4, 3, &boxes(1));
        assert!(picture.iter().all(|v| *v == BLANK));
    }

    #[test]
    fn no_more_than_so_many_are_kept() {
        let mut pool = Pool::default();
        for _ in 0..2 * MOST {
            pool.keep(&Arc::new(GrayImage::new(1, 1)), None);
        }
        assert_eq!(pool.kept.len(), MOST);
        let first = pool.whole(1, 1);
        assert_eq!(pool.kept.len(), SPARE - 1);
        drop(first);
    }
}
