//! A drill: an aircraft with a hidden fault, worked step by step to a call.
//!
//! [`Session::apply`] is the single entry for the full screen, plain lines and tests:
//! state changes only through an [`Action`].

mod advisor;
mod baseline;
pub mod command;
mod reader;
mod reading;
mod renew;
mod replay;
mod session;
mod terms;
mod thoughts;
mod values;
mod view;
mod write_up;

pub use advisor::{Advisor, Best, Outlook, Rests};
pub use baseline::{Baseline, Baselines};
pub use reading::{Help, Rules, Said};
pub use renew::Renewed;
pub use session::{
    Action, Advice, Call, Deed, Entry, Mark, Noted, Outcome, PROVEN, Session, advise,
};
pub use terms::{Telling, Terms};
pub use thoughts::Thoughts;
pub use values::{USUAL_VALUES, Usual, usual_values};
pub use view::{
    Annunciator, BreakerFace, Control, FuseHolder, LifeSign, Needle, Tick, View, needle_at, view,
};
pub use write_up::WriteUp;
