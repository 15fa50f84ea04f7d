//! CSV.
