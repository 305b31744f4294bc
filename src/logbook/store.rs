//! The file that attempts are kept in: `SQLite`, one transaction a call, written through to the
//! disk before the call returns.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::ffi::{self, ErrorCode};
use rusqlite::{Connection, MAIN_DB, OpenFlags, OptionalExtension, TransactionBehavior, params};
use thiserror::Error;

use super::{Attempt, Move, Recipe};
use crate::diagnostic::shortened;

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

/// How long one waits for another program that is writing, where nobody waits for the screen.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// Letters of a text out of the file that are told when it is damaged.
const TOLD: usize = 160;

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
    /// Another program is writing in it, and has been for as long as one waits.
    #[error("the logbook {path} is being used by another program")]
    Busy {
        /// Which file.
        path: PathBuf,
    },
    /// It is there and may not be written.
    #[error("the logbook {path} can only be read")]
    OnlyRead {
        /// Which file.
        path: PathBuf,
    },
    /// Another program has gone on with the same attempt.
    #[error("another program has gone on with attempt {0} since it was opened here")]
    GoneOn(i64),
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

impl Upshot {
    /// Whether the right part was called and proven, in a few words.
    pub fn told(&self) -> &'static str {
        match (self.found, self.proven) {
            (true, true) => "proven",
            (true, false) => "right, not proven",
            (false, _) => "the wrong part",
        }
    }
}

/// A logbook that is open.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    connection: Connection,
    /// Why nothing can be kept in it.
    only_read: Option<String>,
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
        Self::open_within(path, PATIENCE)
    }

    /// The same, waiting no longer than this for another program, then and later on.
    ///
    /// # Errors
    /// As [`Store::open`]; [`StoreError::Busy`] when the time is over.
    pub fn open_within(path: &Path, patience: Duration) -> Result<Self, StoreError> {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|error| StoreError::File {
                path: path.to_owned(),
                reason: error.to_string(),
            })?;
        }
        let refused = |error: rusqlite::Error| failed(path, &error);
        let mut connection = Connection::open(path).map_err(refused)?;
        if connection.is_readonly(MAIN_DB).map_err(refused)? {
            return Err(StoreError::OnlyRead { path: path.to_owned() });
        }
        connection.busy_timeout(patience).map_err(refused)?;
        // Readers and one writer do not wait for each other; a move is on the disk when its
        // transaction is over, even if the power goes.
        let mode: String = connection
            .query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))
            .map_err(refused)?;
        debug_assert!(mode == "wal" || mode == "memory", "{mode}");
        connection.pragma_update(None, "synchronous", "FULL").map_err(refused)?;
        connection.pragma_update(None, "foreign_keys", true).map_err(refused)?;
        let found = known_version(&connection, path)?;
        if found < MIGRATIONS.len() {
            migrate(&mut connection).map_err(refused)?;
        }
        Ok(Self { path: path.to_owned(), connection, only_read: None })
    }

    /// Opens a logbook for reading: as it is, where it may not be written, and empty where there
    /// is none. Nothing is made or changed where it may not be written; [`Store::only_read`]
    /// tells.
    ///
    /// # Errors
    /// [`StoreError`] when there is a file that cannot be read, is no logbook, or is of a later
    /// version.
    pub fn open_to_read(path: &Path, patience: Duration) -> Result<Self, StoreError> {
        let refused = |error: rusqlite::Error| failed(path, &error);
        if !path.try_exists().unwrap_or(true) {
            let mut connection = Connection::open_in_memory().map_err(refused)?;
            migrate(&mut connection).map_err(refused)?;
            let only_read = Some("there is none yet".to_owned());
            return Ok(Self { path: path.to_owned(), connection, only_read });
        }
        let why = match Self::open_within(path, patience) {
            Err(why @ (StoreError::File { .. } | StoreError::OnlyRead { .. })) => why,
            other => return other,
        };
        // A reader wants to note in a file beside it that it is reading. Where it cannot, the file
        // is taken for one that nobody changes; what stands beside it is not seen then.
        let read = reading(path, "mode=ro", patience);
        let (connection, beside) = match read {
            Ok(connection) => (connection, false),
            // What it is that cannot be read has been said by whoever wanted to write it.
            Err(_) => match reading(path, "mode=ro&immutable=1", patience) {
                Ok(connection) => (connection, has_some_beside(path)),
                Err(_) => return Err(why),
            },
        };
        let found = known_version(&connection, path)?;
        connection.pragma_update(None, "temp_store", "MEMORY").map_err(refused)?;
        for step in MIGRATIONS.iter().skip(found) {
            // Tables that an older program has not made are empty, and nobody else sees them.
            let step = step
                .replace("CREATE TABLE", "CREATE TEMP TABLE")
                .replace("CREATE INDEX ", "CREATE INDEX temp.");
            connection.execute_batch(&step).map_err(refused)?;
        }
        let mut only_read = "it can only be read".to_owned();
        if beside {
            only_read.push_str(
                "; what was done last stands in a file beside it, and cannot be seen before it \
                 has been opened where it can be written",
            );
        }
        Ok(Self { path: path.to_owned(), connection, only_read: Some(only_read) })
    }

    /// Why nothing can be kept in it, in words; `None` where it can.
    pub fn only_read(&self) -> Option<&str> {
        self.only_read.as_deref()
    }

    /// Waits no longer than this for another program from now on.
    ///
    /// # Errors
    /// [`StoreError`] when the file has been closed.
    pub fn wait_for(&self, patience: Duration) -> Result<(), StoreError> {
        self.connection.busy_timeout(patience).map_err(|error| self.failed(&error))
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
        done.map_err(|error| match error.sqlite_error() {
            // The next move is there already.
            Some(of) if of.extended_code == ffi::SQLITE_CONSTRAINT_PRIMARYKEY => {
                StoreError::GoneOn(number)
            }
            _ => failed(&path, &error),
        })
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
        let refused = |error: rusqlite::Error| match &error {
            // A value of another sort than the program has ever written.
            rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::Utf8Error(..) => damaged(number, &error),
            _ => self.failed(&error),
        };
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
        let recipe: Recipe =
            serde_json::from_str(&recipe).map_err(|error| damaged(number, &error))?;
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
    let path = path.to_owned();
    match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreError::Busy { path },
        Some(ErrorCode::ReadOnly) => StoreError::OnlyRead { path },
        _ => StoreError::File { path, reason: shortened(&error.to_string(), TOLD) },
    }
}

fn damaged(number: i64, error: &impl ToString) -> StoreError {
    StoreError::Damaged { number, reason: shortened(&error.to_string(), TOLD) }
}

/// Opens a file that is only to be read, and looks whether it can be.
fn reading(path: &Path, how: &str, patience: Duration) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_URI
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut uri = "file:".to_owned();
    for byte in path.as_os_str().as_encoded_bytes() {
        // What means something in an URI is written as its number (RFC 3986, section 2.1).
        match byte {
            b'/' | b'.' | b'-' | b'_' | b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' => {
                uri.push(char::from(*byte));
            }
            _ => {
                let _ = write!(uri, "%{byte:02X}");
            }
        }
    }
    let connection = Connection::open_with_flags(format!("{uri}?{how}"), flags)?;
    connection.busy_timeout(patience)?;
    version(&connection)?;
    // The version stands on the first page; whether there is a table is asked of the whole.
    connection.query_row("SELECT count(*) FROM sqlite_master", [], |_| Ok(()))?;
    Ok(connection)
}

/// Whether moves stand beside the file that have not been taken into it.
fn has_some_beside(path: &Path) -> bool {
    let mut beside = path.as_os_str().to_owned();
    beside.push("-wal");
    std::fs::metadata(beside).is_ok_and(|file| file.len() > 0)
}

/// The version of the file, if this program knows it.
fn known_version(connection: &Connection, path: &Path) -> Result<usize, StoreError> {
    let found = version(connection).map_err(|error| failed(path, &error))?;
    let known = MIGRATIONS.len();
    if found > known {
        return Err(StoreError::Newer { path: path.to_owned(), found, known });
    }
    Ok(found)
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
