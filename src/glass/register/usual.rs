//! How much of a kept picture's texture agrees in other pictures of the same place: noise and coding
//! spoil some of it, and no more can be asked for when the picture is sought again.

/// What agrees of a picture in another of the same place, parts.
#[derive(Clone, Debug)]
pub(super) struct Usual {
    pub whole: f64,
    pub glasses: Vec<f64>,
}

impl Usual {
    /// Least that is believed of it: chance finds agree to an eighth, at most a quarter.
    const LEAST: f64 = 0.55;

    pub fn follow(usual: &mut f64, agreeing: f64) {
        // Down slowly: somebody may stand in the view.
        let step = if agreeing > *usual { 1.0 } else { 0.5 };
        *usual = (*usual + step * (agreeing - *usual)).max(Self::LEAST);
    }
}
