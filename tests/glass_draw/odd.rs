//! Invented pictures that show no lubricator.
