//! Glasses in the picture: their outlines, how to find them, optics, and the calibration file
//! that keeps them. It looks at pictures, never at a camera, and counts nothing.

pub mod calibration;
pub mod find;
pub mod geometry;
pub mod optics;
pub mod register;

pub use calibration::{
    Calibration, CalibrationError, CalibrationFault, FeedCalibration, OilData, ScaleFrom,
};
pub use find::{Finder, Found, FoundGlass};
pub use geometry::{Outline, UprightBox};
pub use register::register;
