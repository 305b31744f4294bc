//! Keeping what is done in the logbook, every move before the next prompt.

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;

use jiff::Timestamp;

use crate::drill::Session;
use crate::logbook::{Attempt, Kept, Recipe, Store, StoreError, Upshot, deeds_as_moves};
use crate::score::Debrief;

/// Where the logbook stands (XDG Base Directory Specification 0.8): in `halfsplit` under
/// `$XDG_DATA_HOME`, or under `$HOME/.local/share` where that is not set or not absolute.
fn folder_from(variable: impl Fn(&str) -> Option<String>) -> Option<PathBuf> {
    let absolute = |path: &PathBuf| path.is_absolute();
    let own = variable("XDG_DATA_HOME").map(PathBuf::from).filter(absolute);
    let home = || {
        variable("HOME").map(PathBuf::from).filter(absolute).map(|home| home.join(".local/share"))
    };
    Some(own.or_else(home)?.join("halfsplit"))
}

/// The folder of the logbook and of the trainee's key.
pub(super) fn folder() -> Option<PathBuf> {
    folder_from(|name| std::env::var(name).ok())
}

/// Opens the logbook of this user.
///
/// # Errors
/// When there is no place for it, or it cannot be opened.
pub(super) fn open() -> anyhow::Result<Store> {
    let folder = folder().ok_or_else(|| {
        anyhow::anyhow!("there is no place for a logbook: neither XDG_DATA_HOME nor HOME is set")
    })?;
    Ok(Store::open(&folder.join("logbook.sqlite3"))?)
}

/// The time now, to the second, as RFC 3339 text in UTC.
pub(super) fn now() -> String {
    let now = Timestamp::now();
    Timestamp::from_second(now.as_second()).unwrap_or(now).to_string()
}

/// So many bytes that nobody can foresee, as hexadecimal digits.
///
/// # Errors
/// When the system gives none.
pub(super) fn random_hex(bytes: usize) -> anyhow::Result<String> {
    use std::fmt::Write as _;
    let mut drawn = vec![0; bytes];
    getrandom::fill(&mut drawn).map_err(|error| anyhow::anyhow!("no random numbers: {error}"))?;
    let mut text = String::new();
    for byte in drawn {
        let _ = write!(text, "{byte:02x}");
    }
    Ok(text)
}

/// A recorder that the screen and the menu share.
pub(super) type Shared = Rc<RefCell<Recorder>>;

/// Keeps one attempt after the other.
#[derive(Default)]
pub(super) struct Recorder {
    /// Whether anything is kept at all.
    wanted: bool,
    store: Option<Store>,
    /// The attempt that is being worked, and its number once something of it is kept.
    attempt: Option<(Attempt, Option<i64>)>,
    /// How many moves are kept, and what they come to.
    kept: usize,
    seal: String,
    /// Whether it has been said that nothing can be kept.
    troubled: bool,
}

impl Recorder {
    /// One that keeps nothing where that is not wanted.
    pub(super) fn new(wanted: bool) -> Self {
        Self { wanted, ..Self::default() }
    }

    /// Whether anything is kept at all.
    pub(super) fn is_wanted(&self) -> bool {
        self.wanted
    }

    /// An attempt begins. Nothing is kept of it before the first move.
    pub(super) fn begin(&mut self, recipe: Recipe) {
        self.attempt = None;
        if self.wanted
            && let Ok(id) = random_hex(16)
        {
            let attempt = Attempt::new(id, now(), recipe);
            self.seal = attempt.first_seal();
            self.kept = 0;
            self.attempt = Some((attempt, None));
        }
    }

    /// An attempt that is in the logbook goes on.
    pub(super) fn go_on(&mut self, kept: Kept) {
        self.seal = kept.attempt.last_seal();
        self.kept = kept.attempt.moves.len();
        self.attempt = self.wanted.then_some((kept.attempt, Some(kept.number)));
    }

    /// Keeps what the debrief came to, for lists. That it cannot be kept is no loss: it can be
    /// worked out at any time.
    pub(super) fn upshot(&mut self, debrief: &Debrief) {
        let Some((_, Some(number))) = &self.attempt else { return };
        if self.store.is_none() {
            self.store = open().ok();
        }
        let upshot = Upshot {
            program: env!("CARGO_PKG_VERSION").to_owned(),
            found: debrief.verdict.right_part,
            proven: debrief.verdict.proven,
            minutes: debrief.minutes,
            points: debrief.score.total,
        };
        if let Some(store) = &mut self.store {
            let _ = store.keep_upshot(*number, &upshot);
        }
    }

    /// Keeps what has been done since. Where that fails, says so once; what could not be kept
    /// is tried again with the next move.
    pub(super) fn catch_up(&mut self, session: &Session) -> Option<String> {
        let fresh = session.deeds().len() > self.kept;
        let (attempt, number) = self.attempt.as_mut().filter(|_| fresh)?;
        let moves = deeds_as_moves(session, self.kept, &self.seal, &now());
        let result = (|| -> Result<i64, anyhow::Error> {
            if self.store.is_none() {
                self.store = Some(open()?);
            }
            let Some(store) = &mut self.store else { unreachable!("it has just been opened") };
            if let Some(number) = *number {
                store.add(number, self.kept, &moves)?;
                return Ok(number);
            }
            let first = Attempt { moves: moves.clone(), ..attempt.clone() };
            Ok(store.begin(&first)?)
        })();
        match result {
            Ok(known) => {
                *number = Some(known);
                self.kept += moves.len();
                if let Some(last) = moves.last() {
                    self.seal.clone_from(&last.seal);
                }
                self.troubled = false;
                None
            }
            Err(_) if self.troubled => None,
            Err(error) => {
                self.troubled = true;
                // A later program's file is not touched again.
                if error
                    .downcast_ref::<StoreError>()
                    .is_some_and(|e| matches!(e, StoreError::Newer { .. }))
                {
                    self.attempt = None;
                }
                Some(format!("Not kept: {error:#}. The drill goes on."))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logbook_stands_where_data_belongs() {
        let with = |own: Option<&str>, home: Option<&str>| {
            folder_from(|name| match name {
                "XDG_DATA_HOME" => own.map(str::to_owned),
                "HOME" => home.map(str::to_owned),
                _ => None,
            })
        };
        let at = |path: &str| Some(PathBuf::from(path));
        assert_eq!(with(Some("/x"), Some("/h")), at("/x/halfsplit"));
        assert_eq!(with(Some("x"), Some("/h")), at("/h/.local/share/halfsplit"));
        assert_eq!(with(None, None), None);
    }

    #[test]
    fn the_time_is_told_to_the_second_in_utc() {
        let now = now();
        assert!(now.len() == 20 && now.ends_with('Z'), "{now}");
    }
}
