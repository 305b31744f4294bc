//! A fault-isolation trainer for aircraft electrical systems.

pub mod chance;
pub mod circuit;
pub mod cli;
pub mod diagnosis;
pub mod diagnostic;
pub mod diagram;
pub mod dictionary;
pub mod drill;
pub mod faults;
pub mod handout;
pub mod isolation;
pub mod library;
pub mod limits;
pub mod logbook;
pub mod network;
pub mod observation;
pub mod oral;
pub mod planning;
pub mod rehearsal;
pub mod report;
pub mod scenario;
pub mod score;
pub mod screen;
pub mod spice;
pub mod survey;
pub mod units;
