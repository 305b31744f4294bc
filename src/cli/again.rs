//! A drill that is made anew when its files are saved.

use std::path::PathBuf;

use anyhow::Result;

use super::watch::Watch;
use crate::drill::{Renewed, Session};

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

    /// The file that was saved since this was last asked, if one was.
    pub(super) fn saved(&mut self) -> Option<PathBuf> {
        self.watch.changed()
    }

    /// The drill from the files as they are now.
    ///
    /// # Errors
    /// What is wrong with them; the drill of before is good as it was.
    pub(super) fn renew(&mut self, old: &Session) -> Result<Renewed> {
        Ok(old.continued_in((self.make)(Some(old))?))
    }
}
