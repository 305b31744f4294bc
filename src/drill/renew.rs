//! A drill on an aircraft that has been written anew: every action of before that can still
//! be done is done again.

use super::command::{Request, line_for, parse};
use super::session::{Action, Outcome, Session};
use crate::circuit::Circuit;
use crate::faults::{self, Cause};

/// A drill made anew.
#[derive(Debug)]
pub struct Renewed {
    /// The drill as it stands now.
    pub session: Session,
    /// Steps that were done again.
    pub done: usize,
    /// What can no longer be done, each with the reason.
    pub dropped: Vec<String>,
    /// Whether something else is hidden now.
    pub other_cause: bool,
}

impl Session {
    /// What this drill hides, on another aircraft; `None` where that has no such fault.
    pub fn hidden_on(&self, circuit: &Circuit) -> Option<Cause> {
        faults::parse_cause(circuit, &self.truth().code(self.circuit())).ok()
    }

    /// Goes on in a fresh drill: does again what was done in this one, by the names of things.
    /// Help that was had is not had again.
    pub fn continued_in(&self, mut session: Session) -> Renewed {
        let circuit = session.circuit().clone();
        let code = |of: &Session| of.truth().code(of.circuit());
        let other_cause = !code(self).eq_ignore_ascii_case(&code(&session));
        let (mut done, mut dropped) = (0, Vec::new());
        // What a fresh drill has in its log is what one sees on beginning.
        for (at, entry) in self.log().iter().enumerate().skip(session.log().len()) {
            let line = line_for(self.circuit(), entry.observation.step);
            let refused = match parse(&circuit, &line) {
                Ok(Request::Do(action)) => match session.apply(action) {
                    Outcome::Refused(why) => Some(why),
                    _ => None,
                },
                Ok(_) => None,
                Err(why) => Some(why),
            };
            let Some(why) = refused else {
                done += 1;
                for said in self.said().iter().filter(|said| said.entry == at) {
                    session.apply(Action::Read(said.value));
                }
                continue;
            };
            dropped.push(format!("{line}: {why}"));
        }
        for (part, mark) in self.marks() {
            let id = &self.circuit().part(*part).id;
            match circuit.find_part(id) {
                Some(part) => {
                    session.apply(Action::Mark { part, mark: Some(*mark) });
                }
                None => dropped.push(format!("mark {id}: there is no such part any more")),
            }
        }
        Renewed { session, done, dropped, other_cause }
    }
}
