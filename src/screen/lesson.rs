//! The guided drill: what to do next, told from what has been done so far.
//!
//! The guide knows the keys and the state of the drill and nothing of the system, so any
//! system can be worked with it.

use super::command::{Command, Keys, key_name};
use super::drilling::Overlay;
use crate::drill::{PROVEN, Session};
use crate::observation::{Act, Step};
use crate::units::counted;

/// What the guide keeps in mind.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lesson {
    /// Whether the pointer has been moved over the station.
    pub(super) moved: bool,
    /// Faults and repair groups left.
    left: (usize, usize),
    /// Whether one repair group is proved.
    proven: bool,
}

impl Lesson {
    /// Takes in what the steps so far prove.
    pub(super) fn follow(&mut self, session: &mut Session) {
        let Ok(belief) = session.belief() else { return };
        let groups = belief.group_posterior();
        self.left = (belief.alive().count(), groups.iter().filter(|p| **p > 0.0).count());
        self.proven = groups.iter().any(|p| *p >= PROVEN);
    }

    /// What to do next, in one line.
    pub(super) fn told(&self, session: &Session, overlay: Option<&Overlay>, keys: &Keys) -> String {
        let key = |command: Command| {
            let row = keys.rows().find(|(_, row)| row.command == command);
            row.map_or_else(String::new, |(letter, _)| key_name(letter))
        };
        let log = session.log();
        let done = |counts: fn(Step) -> bool| log.iter().any(|e| counts(e.observation.step));
        let thrown = done(|step| matches!(step, Step::Act(Act::Set { .. } | Act::Hold { .. })));
        let measured = done(|step| matches!(step, Step::Probe(_)));
        match overlay {
            Some(Overlay::Meter(_)) => {
                "Guide: ←→ go between function, red lead and black lead, ↑↓ choose, Enter measures."
                    .to_owned()
            }
            Some(Overlay::Picker(_)) => {
                "Guide: ↑↓ or letters find a row, Enter takes it, Esc goes back.".to_owned()
            }
            Some(Overlay::Sheet(..) | Overlay::Diagram(_)) => {
                "Guide: read on with ↑↓; Esc brings you back to the station.".to_owned()
            }
            None if self.proven && !log.is_empty() => format!(
                "Guide: what you saw proves one part. Press {} and call it, with how it failed.",
                key(Command::Call)
            ),
            None if !self.moved => {
                "Guide: the arrows move ▸ over the panel. The line below tells the price of Enter."
                    .to_owned()
            }
            None if !thrown => {
                "Guide: put ▸ on a control and press Enter: what it changes tells something."
                    .to_owned()
            }
            None if !measured => format!(
                "Guide: now measure. {} takes the hand meter; choose DC or AC volts and a point.",
                key(Command::Meter)
            ),
            None if session.marks().is_empty() => format!(
                "Guide: {} lists all parts: Enter marks one suspect or cleared, for you alone.",
                key(Command::Suspects)
            ),
            None => format!(
                "Guide: {} in {} left. Halve them with the next step; {} reminds, {} advises.",
                counted(self.left.0, "fault"),
                counted(self.left.1, "repair group"),
                key(Command::Remind),
                key(Command::Advise)
            ),
        }
    }
}
