//! Integration tests.

mod bad_files;
mod diagram;
mod dictionary;
mod drill;
mod faults;
mod flagship;
mod guide;
mod habits;
mod harness;
mod kinds;
mod layers;
mod looks;
mod marks;
mod mods;
mod ngspice;
mod parts;
mod physics;
mod planning;
mod program;
mod properties;
mod pty;
mod reading;
mod reasoning;
mod report;
mod scenarios;
mod screens;
