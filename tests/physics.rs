//! The electrical engine against values from outside the project.
//!
//! Each value names its source: a book or manual whose figure was read, "computed"
//! for a closed form worked out beside the test, "from memory" for a figure nobody
//! looked up, and "common practice, no published source" for what the trade knows.
//! "LIEC" is T. R. Kuphaldt, *Lessons In Electric Circuits*, an open book.

mod direct;
mod feeder;
mod lamps;
mod machines;
mod motors;
mod settling;
mod sources;
mod three_phase;
mod wires;
