//! Keeping what is done in the logbook, every move before the next prompt.

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;

use jiff::Timestamp;

use crate::diagnostic::{plain, shortened};
use crate::drill::Session;
use crate::logbook::{
    Attempt, Grade, Kept, Move, PATIENCE, Recipe, Store, StoreError, Upshot, deeds_as_moves,
};
use crate::score::Debrief;
use crate::units::counted;

/// How long the screen, or a prompt that has waited once already, waits for another program
/// that is writing: shorter than anybody notices.
const MOMENT: Duration = Duration::from_millis(50);

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

/// A variable for folders that is set and left aside, in words: the rule has relative paths
/// ignored, and whoever set one should know where things are kept instead.
fn ignored_from(name: &str, variable: impl Fn(&str) -> Option<String>) -> Option<String> {
    let set = variable(name).filter(|path| !path.is_empty())?;
    PathBuf::from(&set).is_relative().then(|| {
        let set = shortened(&plain(&set), 80);
        format!("{name} is `{set}`, which is not an absolute path: it is ignored.")
    })
}

/// The variables for folders that are left aside, a sentence each.
pub(super) fn ignored() -> Vec<String> {
    let variable = |name: &str| std::env::var(name).ok();
    let names = ["XDG_DATA_HOME", "XDG_CONFIG_HOME"];
    names.into_iter().filter_map(|name| ignored_from(name, variable)).collect()
}

fn path() -> anyhow::Result<PathBuf> {
    let folder = folder().ok_or_else(|| {
        anyhow::anyhow!("there is no place for a logbook: neither XDG_DATA_HOME nor HOME is set")
    })?;
    Ok(folder.join("logbook.sqlite3"))
}

/// Opens the logbook of this user, waiting so long for another program.
///
/// # Errors
/// When there is no place for it, or it cannot be opened.
fn open_within(patience: Duration) -> anyhow::Result<Store> {
    Ok(Store::open_within(&path()?, patience)?)
}

/// Opens the logbook of this user, to keep something in it.
///
/// # Errors
/// When there is no place for it, or it cannot be opened.
pub(super) fn open() -> anyhow::Result<Store> {
    open_within(PATIENCE)
}

/// Opens the logbook of this user for reading; it can be written too where that may be done.
///
/// # Errors
/// When there is no place for it, or it cannot be read.
pub(super) fn open_to_read() -> anyhow::Result<Store> {
    Ok(Store::open_to_read(&path()?, PATIENCE)?)
}

/// The same from the screen, which does not wait.
///
/// # Errors
/// When there is no place for it, or it cannot be read now.
pub(super) fn open_on_screen() -> anyhow::Result<Store> {
    Ok(Store::open_to_read(&path()?, MOMENT)?)
}

/// What is to be said where nothing can be kept in a logbook that is there.
pub(super) fn only_read(store: &Store) -> Option<String> {
    let why = store.only_read().filter(|_| store.path().exists())?;
    let path = store.path().to_string_lossy();
    Some(format!("Nothing is kept in the logbook {}: {why}.", plain(&path)))
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

/// An attempt, and how much of it is in the logbook.
struct Work {
    attempt: Attempt,
    /// Its number once something of it is kept.
    number: Option<i64>,
    /// How many moves are kept.
    kept: usize,
    /// What has been done and is not kept yet, in order.
    waiting: Vec<Move>,
    /// What everything done comes to, what waits included.
    seal: String,
    /// What its debrief came to, while that is not kept.
    upshot: Option<Upshot>,
    /// Why nothing more of it can ever be kept.
    lost: Option<String>,
}

impl Work {
    fn is_kept(&self) -> bool {
        self.waiting.is_empty() && self.upshot.is_none()
    }

    /// Writes what waits.
    fn write(&mut self, store: &mut Store) -> Result<(), StoreError> {
        if !self.waiting.is_empty() {
            if let Some(number) = self.number {
                store.add(number, self.kept, &self.waiting)?;
            } else {
                let first = Attempt { moves: self.waiting.clone(), ..self.attempt.clone() };
                self.number = Some(store.begin(&first)?);
            }
            self.kept += self.waiting.len();
            self.waiting.clear();
        }
        if let (Some(number), Some(upshot)) = (self.number, &self.upshot) {
            store.keep_upshot(number, upshot)?;
        }
        self.upshot = None;
        Ok(())
    }
}

/// Keeps one attempt after the other, and the grades of orals.
///
/// What cannot be kept waits here, and is written as soon as it can be: with what comes next,
/// when the screen has nothing to do, and at the latest when the program ends.
#[derive(Default)]
pub(super) struct Recorder {
    /// Whether anything is kept at all.
    wanted: bool,
    /// Whether somebody looks at a screen that must not stand still.
    on_screen: bool,
    store: Option<Store>,
    /// The attempt that is being worked.
    work: Option<Work>,
    /// Those before it of which something waits.
    before: Vec<Work>,
    /// Grades that wait.
    grades: Vec<Grade>,
    /// Whether the last time something could not be kept.
    troubled: bool,
    /// What is to be said when the screen opens.
    pub(super) notice: Option<String>,
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

    /// From now on somebody looks at a screen.
    pub(super) fn on_screen(&mut self) {
        self.on_screen = true;
    }

    /// Puts the attempt so far aside; what waits of it stays.
    fn put_aside(&mut self) {
        self.before.extend(self.work.take().filter(|work| !work.is_kept()));
    }

    /// An attempt begins. Nothing is kept of it before the first move.
    pub(super) fn begin(&mut self, recipe: Recipe) {
        self.put_aside();
        if self.wanted
            && let Ok(id) = random_hex(16)
        {
            let attempt = Attempt::new(id, now(), recipe);
            let seal = attempt.first_seal();
            self.work = Some(Work {
                attempt,
                number: None,
                kept: 0,
                waiting: Vec::new(),
                seal,
                upshot: None,
                lost: None,
            });
        }
    }

    /// An attempt that is in the logbook goes on.
    pub(super) fn go_on(&mut self, kept: Kept) {
        self.put_aside();
        self.work = self.wanted.then(|| Work {
            number: Some(kept.number),
            kept: kept.attempt.moves.len(),
            waiting: Vec::new(),
            seal: kept.attempt.last_seal(),
            upshot: None,
            lost: None,
            attempt: kept.attempt,
        });
    }

    /// Keeps what the debrief came to, for lists. That it cannot be kept is no loss: it can be
    /// worked out at any time.
    pub(super) fn upshot(&mut self, debrief: &Debrief) {
        let Some(work) = &mut self.work else { return };
        work.upshot = Some(Upshot {
            program: env!("CARGO_PKG_VERSION").to_owned(),
            found: debrief.verdict.right_part,
            proven: debrief.verdict.proven,
            minutes: debrief.minutes,
            points: debrief.score.total,
        });
        let _ = self.write_all();
    }

    /// Keeps what has been done since.
    ///
    /// # Errors
    /// In words, while something of it is not kept.
    pub(super) fn catch_up(&mut self, session: &Session) -> Result<(), String> {
        let Some(work) = &mut self.work else { return Ok(()) };
        let known = work.kept + work.waiting.len();
        if session.deeds().len() > known && work.lost.is_none() {
            let fresh = deeds_as_moves(session, known, &work.seal, &now());
            if let Some(last) = fresh.last() {
                work.seal.clone_from(&last.seal);
            }
            work.waiting.extend(fresh);
        }
        self.write_all()
    }

    /// Keeps a grade.
    ///
    /// # Errors
    /// In words, while it is not kept.
    pub(super) fn grade(&mut self, grade: Grade) -> Result<(), String> {
        self.grades.push(grade);
        self.write_all()
    }

    /// Takes the last grade back.
    ///
    /// # Errors
    /// In words, why it stays.
    pub(super) fn take_back(&mut self) -> Result<(), String> {
        if self.grades.pop().is_some() {
            return Ok(());
        }
        let store = self.opened().map_err(|error| format!("{error:#}"))?;
        store.take_back().map(|_| ()).map_err(|error| error.to_string())
    }

    /// How many grades wait.
    pub(super) fn grades_waiting(&self) -> usize {
        self.grades.len()
    }

    /// The logbook, opened, with the patience that there is now.
    fn opened(&mut self) -> anyhow::Result<&mut Store> {
        // Whoever has waited once is not made to wait at every step.
        let patience = if self.on_screen || self.troubled { MOMENT } else { PATIENCE };
        match &mut self.store {
            Some(store) => store.wait_for(patience)?,
            none => *none = Some(open_within(patience)?),
        }
        self.store.as_mut().ok_or_else(|| anyhow::anyhow!("the logbook is not open"))
    }

    /// Makes sure that an attempt is in the logbook with everything that was done in it here.
    ///
    /// # Errors
    /// In words, why it is not.
    pub(super) fn settle(&mut self, number: i64) -> Result<(), String> {
        let result = self.write_all();
        let mut works = self.before.iter().chain(&self.work);
        if works.any(|work| work.number == Some(number) && !work.waiting.is_empty()) {
            return result;
        }
        Ok(())
    }

    /// Writes what waits, if anything does.
    ///
    /// # Errors
    /// In words, while something is not kept.
    pub(super) fn try_again(&mut self) -> Result<(), String> {
        self.write_all()
    }

    /// Whether something waits that can still be kept.
    fn waits(&self) -> bool {
        let mut works = self.before.iter().chain(&self.work);
        !self.grades.is_empty() || works.any(|work| !work.is_kept() && work.lost.is_none())
    }

    /// Writes everything that waits, the oldest first.
    fn write_all(&mut self) -> Result<(), String> {
        if self.waits() {
            let (mut before, mut work) = (std::mem::take(&mut self.before), self.work.take());
            let grades = std::mem::take(&mut self.grades);
            let (result, left) = self.write_these((&mut before, work.as_mut()), grades);
            before.retain(|work| !work.is_kept() && work.lost.is_none());
            (self.before, self.work, self.grades) = (before, work, left);
            self.troubled = result.is_err();
            result?;
        }
        self.work.as_ref().and_then(|work| work.lost.clone()).map_or(Ok(()), Err)
    }

    /// Writes these; gives the grades that are still to be kept.
    fn write_these(
        &mut self,
        (before, work): (&mut [Work], Option<&mut Work>),
        grades: Vec<Grade>,
    ) -> (Result<(), String>, Vec<Grade>) {
        let works = before.iter_mut().chain(work).filter(|work| work.lost.is_none());
        let store = match self.opened() {
            Ok(store) => store,
            Err(error) => {
                // A later program's file is not touched again.
                if matches!(error.downcast_ref(), Some(StoreError::Newer { .. })) {
                    works.for_each(|work| work.lost = Some(format!("{error:#}")));
                }
                return (Err(format!("{error:#}")), grades);
            }
        };
        for work in works {
            if let Err(error) = work.write(store) {
                let told = error.to_string();
                if matches!(error, StoreError::GoneOn(_)) {
                    // What the other program has done stays; the two cannot be one attempt.
                    work.lost = Some(told.clone());
                }
                return (Err(told), grades);
            }
        }
        let mut left = grades.into_iter();
        while let Some(grade) = left.next() {
            if let Err(error) = store.grade(&grade) {
                let left = std::iter::once(grade).chain(left).collect();
                return (Err(error.to_string()), left);
            }
        }
        (Ok(()), Vec::new())
    }

    /// Writes what still waits, with all patience, when nobody looks at the screen any more; in
    /// words what is lost.
    pub(super) fn finish(&mut self) -> Option<String> {
        self.on_screen = false;
        self.troubled = false;
        let why = self.waits().then(|| self.write_all().err()).flatten()?;
        let works = self.before.iter().chain(&self.work);
        let moves = works.map(|work| work.waiting.len()).sum();
        let lost = [(moves, "move"), (self.grades.len(), "grade")];
        let lost = lost.into_iter().filter(|(count, _)| *count > 0);
        let lost = lost.map(|(count, what)| counted(count, what)).collect::<Vec<_>>().join(", ");
        (!lost.is_empty()).then(|| format!("Lost, as it could not be kept: {lost} ({why})."))
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

    #[test]
    fn a_relative_folder_is_left_aside_and_told_of() {
        let with = |set: &str| {
            let set = set.to_owned();
            ignored_from("XDG_DATA_HOME", move |_| Some(set.clone()))
        };
        assert_eq!((with("/x"), with("")), (None, None));
        assert_eq!(
            with("data\u{1b}").as_deref(),
            Some("XDG_DATA_HOME is `data\u{FFFD}`, which is not an absolute path: it is ignored.")
        );
        assert!(with(&"x".repeat(4000)).expect("told").chars().count() < 200);
    }
}
