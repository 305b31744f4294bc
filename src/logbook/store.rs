//! The file that attempts are kept in: `SQLite`, one transaction a call, written through to the
//! disk before the call returns.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use thiserror::Error;

use super::{Attempt, Move, Recipe};

/// What brings the file from one version to the next: the first makes version 1 of an empty
/// file, and so on. Only ever added to.
const MIGRATIONS: [&str; 3] = [
    "CREATE TABLE attempt (
         number INTEGER PRIMARY KEY AUTOINCREMENT,
         id TEXT NOT NULL UNIQUE,
         begun TEXT NOT NULL,
         system TEXT NOT NULL,
         recipe TEXT NOT NULL
     );
     CREATE TABLE move (
         attempt INTEGER NOT NULL REFERENCES attempt (number),
         number INTEGER NOT NULL,
         at TEXT NOT NULL,
         line TEXT NOT NULL,
         shown TEXT NOT NULL,
         seal TEXT NOT NULL,
         PRIMARY KEY (attempt, number)
     ) WITHOUT ROWID;
     CREATE TABLE setting (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;",
    "CREATE TABLE grade (
         number INTEGER PRIMARY KEY AUTOINCREMENT,
         card TEXT NOT NULL,
         at TEXT NOT NULL,
         day INTEGER NOT NULL,
         rating INTEGER NOT NULL CHECK (rating BETWEEN 1 AND 4)
     );
     CREATE INDEX grade_by_card ON grade (card, number);",
    "CREATE TABLE upshot (
         attempt INTEGER PRIMARY KEY REFERENCES attempt (number),
         program TEXT NOT NULL,
         found INTEGER NOT NULL,
         proven INTEGER NOT NULL,
         minutes REAL NOT NULL,
         points REAL NOT NULL
     );",
];

/// How long one waits for another program that is writing.
const PATIENCE: Duration = Duration::from_secs(10);

/// Why the logbook cannot be used.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The file cannot be opened, read or written.
    #[error("the logbook {path} cannot be used: {reason}")]
    File {
        /// Which file.
        path: PathBuf,
        /// What stands against it.
        reason: String,
    },
    /// A newer program has written it.
    #[error(
        "the logbook {path} is of version {found}; this program knows versions up to {known}: use a newer program"
    )]
    Newer {
        /// Which file.
        path: PathBuf,
        /// Its version.
        found: usize,
        /// The last version that is known.
        known: usize,
    },
    /// An attempt is there and cannot be read.
    #[error("attempt {number} of the logbook is damaged: {reason}")]
    Damaged {
        /// Its number.
        number: i64,
        /// What stands against it.
        reason: String,
    },
    /// There is no attempt of this number.
    #[error("there is no attempt {0} in the logbook; `halfsplit log` lists them")]
    NoAttempt(i64),
}

/// Which attempts are listed.
#[derive(Clone, Debug, Default)]
pub struct Filter {
    /// Of this system only.
    pub system: Option<String>,
    /// Begun on or after this date, `YYYY-MM-DD`.
    pub since: Option<String>,
    /// Only those whose call has not been made.
    pub open: bool,
}

/// An attempt with its number in this logbook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Its number here.
    pub number: i64,
    /// The attempt.
    pub attempt: Attempt,
}

/// What the last debrief of an attempt came to. It is there so that a list can tell it at a
/// glance; what counts is worked out of the moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Upshot {
    /// The version of the program that worked it out.
    pub program: String,
    /// Whether the right part was called.
    pub found: bool,
    /// Whether the call was proven.
    pub proven: bool,
    /// Minutes at the aircraft.
    pub minutes: f64,
    /// Points out of 100.
    pub points: f64,
}

/// A logbook that is open.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    connection: Connection,
}

/// A grade that somebody gave to what they remembered of a card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grade {
    /// The card, by its name.
    pub card: String,
    /// When, as RFC 3339 text in UTC.
    pub at: String,
    /// The day, counted from 1970-01-01.
    pub day: i64,
    /// 1 forgotten, 2 hard, 3 good, 4 easy.
    pub rating: u8,
}

impl Store {
    /// Opens a logbook, making it where it is not there and bringing it to the present version.
    ///
    /// # Errors
    /// [`StoreError`] when the file or its folder cannot be made, read or written, is no
    /// logbook, or is of a later version.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|error| StoreError::File {
                path: path.to_owned(),
                reason: error.to_string(),
            })?;
        }
        let refused = |error: rusqlite::Error| failed(path, &error);
        let mut connection = Connection::open(path).map_err(refused)?;
        connection.busy_timeout(PATIENCE).map_err(refused)?;
        // Readers and one writer do not wait for each other; a move is on the disk when its
        // transaction is over, even if the power goes.
        let mode: String = connection
            .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
            .map_err(refused)?;
        debug_assert!(mode == "wal" || mode == "memory", "{mode}");
        connection.pragma_update(None, "synchronous", "FULL").map_err(refused)?;
        connection.pragma_update(None, "foreign_keys", true).map_err(refused)?;
        let found = version(&connection).map_err(refused)?;
        if found > MIGRATIONS.len() {
            let (path, known) = (path.to_owned(), MIGRATIONS.len());
            return Err(StoreError::Newer { path, found, known });
        }
        if found < MIGRATIONS.len() {
            migrate(&mut connection).map_err(refused)?;
        }
        Ok(Self { path: path.to_owned(), connection })
    }

    fn failed(&self, error: &rusqlite::Error) -> StoreError {
        failed(&self.path, error)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Keeps the beginning of an attempt and its first moves; gives its number.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be written; nothing is kept then.
    pub fn begin(&mut self, attempt: &Attempt) -> Result<i64, StoreError> {
        let path = self.path.clone();
        let kept = (|| {
            let writing =
                self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            writing.execute(
                "INSERT INTO attempt (id, begun, system, recipe) VALUES (?1, ?2, ?3, ?4)",
                params![
                    attempt.id,
                    attempt.begun,
                    attempt.recipe.system,
                    serde_json::to_string(&attempt.recipe).unwrap_or_default()
                ],
            )?;
            let number = writing.last_insert_rowid();
            insert(&writing, number, 0, &attempt.moves)?;
            writing.commit()?;
            Ok(number)
        })();
        kept.map_err(|error| failed(&path, &error))
    }

    /// Keeps further moves of an attempt, of which there are `kept` already.
    ///
    /// # Errors
    /// [`StoreError`] when they cannot be written, or another program has gone on with the same
    /// attempt; nothing is kept then.
    pub fn add(&mut self, number: i64, kept: usize, moves: &[Move]) -> Result<(), StoreError> {
        let path = self.path.clone();
        let done = (|| {
            let writing =
                self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            insert(&writing, number, kept, moves)?;
            writing.commit()
        })();
        done.map_err(|error| failed(&path, &error))
    }

    /// The attempts, the latest first; those that are damaged are left out.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn attempts(&self, filter: &Filter) -> Result<Vec<Kept>, StoreError> {
        let read = (|| {
            let mut wanted = self.connection.prepare(
                "SELECT number FROM attempt
                 WHERE (?1 IS NULL OR system = ?1) AND (?2 IS NULL OR begun >= ?2)
                 ORDER BY number DESC",
            )?;
            let numbers =
                wanted.query_map(params![filter.system, filter.since], |row| row.get(0))?;
            numbers.collect::<Result<Vec<i64>, _>>()
        })();
        let numbers = read.map_err(|error| self.failed(&error))?;
        let wanted = |kept: &Kept| !filter.open || !kept.attempt.is_closed();
        let mut all = Vec::with_capacity(numbers.len());
        for number in numbers {
            match self.attempt(number) {
                // One that is damaged does not take the others with it.
                Err(StoreError::Damaged { .. }) => {}
                kept => all.extend(Some(kept?).filter(wanted)),
            }
        }
        Ok(all)
    }

    /// The attempt of this number.
    ///
    /// # Errors
    /// [`StoreError`] when there is none, or it cannot be read.
    pub fn attempt(&self, number: i64) -> Result<Kept, StoreError> {
        let refused = |error: rusqlite::Error| self.failed(&error);
        let beginning: Option<(String, String, String)> = self
            .connection
            .query_row("SELECT id, begun, recipe FROM attempt WHERE number = ?1", [number], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            })
            .optional()
            .map_err(refused)?;
        let Some((id, begun, recipe)) = beginning else {
            return Err(StoreError::NoAttempt(number));
        };
        let recipe: Recipe = serde_json::from_str(&recipe)
            .map_err(|error| StoreError::Damaged { number, reason: error.to_string() })?;
        let mut wanted = self
            .connection
            .prepare_cached(
                "SELECT at, line, shown, seal FROM move WHERE attempt = ?1 ORDER BY number",
            )
            .map_err(refused)?;
        let moves = wanted
            .query_map([number], |row| {
                let shown: String = row.get(2)?;
                Ok(Move {
                    at: row.get(0)?,
                    line: row.get(1)?,
                    shown: serde_json::from_str(&shown).unwrap_or_default(),
                    seal: row.get(3)?,
                })
            })
            .and_then(Iterator::collect)
            .map_err(refused)?;
        Ok(Kept { number, attempt: Attempt { id, begun, recipe, moves } })
    }

    /// The value of a setting, such as the trainee's name.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn setting(&self, name: &str) -> Result<Option<String>, StoreError> {
        self.connection
            .query_row("SELECT value FROM setting WHERE name = ?1", [name], |row| row.get(0))
            .optional()
            .map_err(|error| self.failed(&error))
    }

    /// Keeps the value of a setting.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be written.
    pub fn set(&mut self, name: &str, value: &str) -> Result<(), StoreError> {
        let done = self.connection.execute(
            "INSERT INTO setting (name, value) VALUES (?1, ?2)
             ON CONFLICT (name) DO UPDATE SET value = ?2",
            [name, value],
        );
        done.map(|_| ()).map_err(|error| self.failed(&error))
    }

    /// Keeps what a debrief came to.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be written.
    pub fn keep_upshot(&mut self, number: i64, upshot: &Upshot) -> Result<(), StoreError> {
        let Upshot { program, found, proven, minutes, points } = upshot;
        let done = self.connection.execute(
            "INSERT OR REPLACE INTO upshot (attempt, program, found, proven, minutes, points)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![number, program, found, proven, minutes, points],
        );
        done.map(|_| ()).map_err(|error| self.failed(&error))
    }

    /// What debriefs came to, by the number of the attempt.
    ///
    /// # Errors
    /// [`StoreError`] when they cannot be read.
    pub fn upshots(&self) -> Result<BTreeMap<i64, Upshot>, StoreError> {
        let read = (|| {
            let mut wanted = self
                .connection
                .prepare("SELECT attempt, program, found, proven, minutes, points FROM upshot")?;
            let upshots = wanted.query_map([], |row| {
                let upshot = Upshot {
                    program: row.get(1)?,
                    found: row.get(2)?,
                    proven: row.get(3)?,
                    minutes: row.get(4)?,
                    points: row.get(5)?,
                };
                Ok((row.get(0)?, upshot))
            })?;
            upshots.collect::<Result<_, _>>()
        })();
        read.map_err(|error| self.failed(&error))
    }

    /// Keeps a grade.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be written.
    pub fn grade(&mut self, grade: &Grade) -> Result<(), StoreError> {
        let done = self.connection.execute(
            "INSERT INTO grade (card, at, day, rating) VALUES (?1, ?2, ?3, ?4)",
            params![grade.card, grade.at, grade.day, grade.rating],
        );
        done.map(|_| ()).map_err(|error| self.failed(&error))
    }

    /// Takes the last grade back; gives it, where there was one.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be written.
    pub fn take_back(&mut self) -> Result<Option<Grade>, StoreError> {
        let last = self
            .connection
            .query_row(
                "DELETE FROM grade WHERE number = (SELECT max(number) FROM grade)
                 RETURNING card, at, day, rating",
                [],
                grade_of,
            )
            .optional();
        last.map_err(|error| self.failed(&error))
    }

    /// Every grade, in the order in which they were given.
    ///
    /// # Errors
    /// [`StoreError`] when they cannot be read.
    pub fn grades(&self) -> Result<Vec<Grade>, StoreError> {
        let read = (|| {
            let mut wanted = self
                .connection
                .prepare("SELECT card, at, day, rating FROM grade ORDER BY number")?;
            let grades = wanted.query_map([], grade_of)?;
            grades.collect::<Result<Vec<_>, _>>()
        })();
        read.map_err(|error| self.failed(&error))
    }

    /// What `SQLite` finds wrong with the file; nothing where it is whole.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn damage(&self) -> Result<Option<String>, StoreError> {
        let told: String = self
            .connection
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .map_err(|error| self.failed(&error))?;
        Ok((told != "ok").then_some(told))
    }
}

fn grade_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Grade> {
    Ok(Grade { card: row.get(0)?, at: row.get(1)?, day: row.get(2)?, rating: row.get(3)? })
}

fn failed(path: &Path, error: &rusqlite::Error) -> StoreError {
    StoreError::File { path: path.to_owned(), reason: error.to_string() }
}

/// The version of the file.
fn version(connection: &Connection) -> rusqlite::Result<usize> {
    let found: u32 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    Ok(found as usize)
}

/// Brings a file to the present version; what another program has done in the meantime is not
/// done again.
fn migrate(connection: &mut Connection) -> rusqlite::Result<()> {
    let writing = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = version(&writing)?;
    for step in MIGRATIONS.iter().skip(found) {
        writing.execute_batch(step)?;
    }
    writing.pragma_update(
        None,
        "user_version",
        u32::try_from(MIGRATIONS.len()).unwrap_or(u32::MAX),
    )?;
    writing.commit()
}

fn insert(
    writing: &rusqlite::Transaction<'_>,
    attempt: i64,
    kept: usize,
    moves: &[Move],
) -> rusqlite::Result<()> {
    let mut keep = writing.prepare_cached(
        "INSERT INTO move (attempt, number, at, line, shown, seal) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (at, done) in moves.iter().enumerate() {
        let shown = serde_json::to_string(&done.shown).unwrap_or_default();
        let number = i64::try_from(kept + at + 1).unwrap_or(i64::MAX);
        keep.execute(params![attempt, number, done.at, done.line, shown, done.seal])?;
    }
    Ok(())
}
