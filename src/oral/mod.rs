//! Questions for an oral: made from the model, answered by the model.
//!
//! [`Examiner`] makes questions about one build of a system. Every right answer and every wrong
//! one is worked out: the aircraft is taken into a setup, something fails, and what every
//! lamp, needle and test point then shows is looked up. Wrong choices are true answers of other
//! faults, setups and parts, so that they are as plausible and as long as the right one
//! (Regulation (EU) No 1321/2014, Annex III, Appendix II 1 and VIII, as retained in the United
//! Kingdom).
//!
//! A [`Card`](Question::card) is a kind of question about parts of a system; asked again it
//! takes other values.

mod authored;
mod examiner;
mod memory;
mod paper;
mod qti;
mod question;

pub use authored::{Own, read_questions};
pub use examiner::{ALTERNATIVES, Examiner, Limit, limits};
pub use memory::{Deck, Memory, Rating};
pub use paper::{Paper, Terms};
pub use question::{Answer, Asked, Claim, Given, Look, Question};
