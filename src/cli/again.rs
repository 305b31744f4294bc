//! A drill made anew because its files were saved: the same seed, and every action of before
//! that can still be done.

use std::path::PathBuf;

use anyhow::Result;

use super::watch::Watch;
use crate::drill::command::{Request, line_for, parse};
use crate::drill::{Action, Outcome, Session};

/// Makes the drill from its files as they are now; told what was hidden so far.
type Make<'a> = Box<dyn FnMut(Option<&str>) -> Result<Session> + 'a>;

/// The files of a drill, and how it is made from them.
pub(super) struct Again<'a> {
    watch: Watch,
    make: Make<'a>,
}

/// A drill made anew.
pub(super) struct Renewed {
    pub(super) session: Session,
    /// Steps that were done again.
    pub(super) done: usize,
    /// What can no longer be done, each with the reason.
    pub(super) dropped: Vec<String>,
    /// Whether something else is hidden now.
    pub(super) other_cause: bool,
}

impl<'a> Again<'a> {
    pub(super) fn new(
        files: Vec<PathBuf>,
        make: impl FnMut(Option<&str>) -> Result<Session> + 'a,
    ) -> Self {
        Self { watch: Watch::new(files), make: Box::new(make) }
    }

    /// The file that was saved since this was last asked, if one was.
    pub(super) fn saved(&mut self) -> Option<PathBuf> {
        self.watch.changed()
    }

    /// The drill from the files as they are now.
    ///
    /// # Errors
    /// What is wrong with them; the drill of before is good as it was.
    pub(super) fn renew(&mut self, old: &Session) -> Result<Renewed> {
        let before = old.truth().code(old.circuit());
        let mut session = (self.make)(Some(&before))?;
        let circuit = session.circuit().clone();
        let other_cause = !session.truth().code(&circuit).eq_ignore_ascii_case(&before);
        let (mut done, mut dropped) = (0, Vec::new());
        // A drill begins with what is seen where one stands, which is a step of its own.
        for (at, entry) in old.log().iter().enumerate().skip(session.log().len()) {
            let line = line_for(old.circuit(), entry.observation.step);
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
                for said in old.said().iter().filter(|said| said.entry == at) {
                    session.apply(Action::Read(said.value));
                }
                continue;
            };
            dropped.push(format!("{line}: {why}"));
        }
        for (part, mark) in old.marks() {
            let id = &old.circuit().part(*part).id;
            match circuit.find_part(id) {
                Some(part) => {
                    session.apply(Action::Mark { part, mark: Some(*mark) });
                }
                None => dropped.push(format!("mark {id}: no such part any more")),
            }
        }
        Ok(Renewed { session, done, dropped, other_cause })
    }
}
