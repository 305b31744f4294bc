//! The logbook: drills kept as their inputs, so that each can be done again.
//!
//! An [`Attempt`] is a [`Recipe`] (what the drill was made of) and the [`Move`]s of the
//! trainee with what each displayed. Scores and debriefs are never kept: [`Attempt::replay`]
//! makes the drill anew, does every move again, and whatever is told of it is worked out from
//! that ([`Figures`] only spare working the same out again). The [`Store`] keeps attempts in a file, every move before the next prompt;
//! [`handin`] passes them on, and [`class`] sums up what many trainees have handed in.
//!
//! Clocks and randomness come in as arguments.

mod attempt;
pub mod class;
mod figures;
pub mod handin;
mod next;
mod recipe;
mod store;
mod xapi;

pub use attempt::{Attempt, Difference, Move, Replayed, deeds_as_moves};
pub use figures::{Figures, Key, key_of};
pub use next::{Practice, habit_to_work_on, practise_next};
pub use recipe::{Ground, Recipe, RecipeError, always_there, hash_of, with_conditions, words_of};
pub use store::{Filter, Grade, Kept, PATIENCE, Store, StoreError, Upshot};
pub use xapi::statement_of;

use sha2::{Digest, Sha256};

/// The first 32 hexadecimal digits of the SHA-256 of some texts (FIPS 180-4), each with its
/// length before it so that none runs into the next.
fn digest(texts: &[&str]) -> String {
    use std::fmt::Write as _;
    let mut hash = Sha256::new();
    for text in texts {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    }
    let mut hex = String::new();
    for byte in &hash.finalize()[..16] {
        let _ = write!(hex, "{byte:02x}");
    }
    hex
}
