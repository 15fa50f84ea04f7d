//! Repair.
