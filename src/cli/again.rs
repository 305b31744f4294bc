//! A drill that is made anew when its files are saved.

use std::path::PathBuf;

use anyhow::Result;

use super::watch::Watch;
use crate::diagnostic::plain;
use crate::drill::Session;
use crate::screen::MadeAnew;
use crate::units::counted;

/// Makes the drill from its files as they are now; told the drill so far.
type Make<'a> = Box<dyn FnMut(Option<&Session>) -> Result<Session> + 'a>;

/// The files of a drill, and how it is made from them.
pub(super) struct Again<'a> {
    watch: Watch,
    make: Make<'a>,
}

impl<'a> Again<'a> {
    pub(super) fn new(
        files: Vec<PathBuf>,
        make: impl FnMut(Option<&Session>) -> Result<Session> + 'a,
    ) -> Self {
        Self { watch: Watch::new(files), make: Box::new(make) }
    }

    /// The drill from the files as they are now, if one was saved since this was last asked:
    /// the drill and what came of it in words, or why it goes on as it was.
    pub(super) fn told(&mut self, old: &Session) -> Option<MadeAnew> {
        let file = self.watch.changed()?;
        let mut told = vec![format!("{} was saved.", plain(&file.to_string_lossy()))];
        let fresh = match (self.make)(Some(old)) {
            Ok(fresh) => fresh,
            Err(error) => {
                told.extend(format!("{error:#}").lines().map(|line| format!("  {}", plain(line))));
                told.push("The drill goes on as it was.".to_owned());
                return Some(Err(told));
            }
        };
        let renewed = old.continued_in(fresh);
        told.push(format!(
            "The drill is made anew with the same seed; {} done again, {} dropped.",
            counted(renewed.done, "step"),
            renewed.dropped.len()
        ));
        told.extend(renewed.dropped.iter().map(|line| format!("  dropped: {}", plain(line))));
        if renewed.other_cause {
            told.push(
                "What was hidden is not possible any more: something else is hidden now."
                    .to_owned(),
            );
        }
        Some(Ok((renewed.session, told)))
    }
}
