//! Numbers of a camera's frames: what its driver lost shows as a hole. It knows no pictures.

/// How many frames may lie in a stretch of time, as a multiple of the announced rate: real rates
/// and stamps waver.
const TIME_SLACK: f64 = 1.5;

/// Number and time of frames: holes in the driver's count become holes in the frame numbers, as
/// far as there was time for so many frames (some drivers first hand out an old picture).
#[derive(Default)]
pub(super) struct Numbering {
    /// The number of the next frame, if none is lost.
    next: u64,
    last: Option<(u32, f64)>,
}

impl Numbering {
    /// The number of a picture with the driver's count `sequence`.
    pub(super) fn number(
        &mut self,
        sequence: Option<u32>,
        at_secs: f64,
        frames_per_second: f64,
    ) -> u64 {
        let step = match (self.last, sequence) {
            (Some((last, last_secs)), Some(new)) => {
                let room = ((at_secs - last_secs) * frames_per_second * TIME_SLACK).ceil() as u64;
                // Past the middle of its range the count went backwards: it began anew.
                match new.wrapping_sub(last) {
                    step if step > u32::MAX / 2 => 1,
                    step => u64::from(step).clamp(1, room.max(1)),
                }
            }
            _ => 1,
        };
        self.last = sequence.map(|s| (s, at_secs));
        let number = self.next + (step - 1);
        self.next = number + 1;
        number
    }

    /// The driver's count begins anew.
    pub(super) fn begin_anew(&mut self) {
        self.last = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hole_is_no_longer_than_there_was_time_for() {
        let mut numbering = Numbering::default();
        let mut number = |sequence, at_secs| numbering.number(Some(sequence), at_secs, 30.0);
        assert_eq!(number(0, 0.0), 0);
        // An old picture came first: 28 frames cannot lie in 40 ms.
        assert_eq!(number(29, 0.04), 2);
        assert_eq!(number(30, 0.08), 3);
        // Ten frames lost in a third of a second; then the count begins anew, wraps, stands.
        assert_eq!(number(41, 0.45), 14);
        assert_eq!(number(u32::MAX, 0.48), 15);
        assert_eq!(number(1, 0.55), 17);
        assert_eq!(number(1, 0.58), 18);
        assert_eq!(number(0, 0.61), 19);
        assert_eq!(numbering.number(None, 0.65, 30.0), 20);
        numbering.begin_anew();
        assert_eq!(numbering.number(Some(500), 9.0, 30.0), 21);
    }
}
