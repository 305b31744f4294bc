//! The drill on the full screen.
//!
//! A screen is a function of state: [`draw`] looks at an [`App`] and changes nothing. A
//! key becomes a [`Command`], [`App::update`] takes it, and what it does to the aircraft
//! goes through [`crate::drill::Session::apply`]. What takes long is worked out by
//! [`App::work`] after the screen has said so.
//!
//! Only this module knows ratatui and crossterm.

mod aim;
mod app;
mod ascii;
mod asking;
mod command;
mod debriefing;
mod diagram;
mod dots;
mod drilling;
mod frame;
mod hand_meter;
mod leaf;
mod lesson;
mod list;
mod menu;
mod mouse;
mod notebook;
mod offer;
mod picker;
mod sheet;
mod side;
mod station;
mod swing;
mod terminal;
mod text;
mod theme;

pub use app::{
    Anew, App, Beginning, Begun, Entry, Keep, Kept, Load, MadeAnew, Make, Record, Start,
};
pub use asking::{Ledger, Oral};
pub use command::{Command, Keys, command_for};
pub use frame::draw;
pub use station::dial;
pub use swing::SETTLES;
pub use terminal::{ExitSummary, columns, run};
pub use text::wrap;
pub use theme::{Background, Colours, Theme, Wishes};
