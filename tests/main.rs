//! Integration tests.

mod bad_files;
mod drill;
mod flagship;
mod guide;
mod layers;
mod ngspice;
mod pty;
mod reasoning;
mod screens;
