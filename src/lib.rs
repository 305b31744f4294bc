//! A fault-isolation trainer for aircraft electrical systems.

pub mod chance;
pub mod circuit;
pub mod diagnostic;
pub mod library;
pub mod network;
pub mod units;
