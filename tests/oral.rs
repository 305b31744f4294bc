//! Questions for an oral, checked by solving the aircraft without the generator's means; and
//! the memory of cards against published vectors.

mod asking;
mod authored;
mod memory;
mod papers;
mod questions;
