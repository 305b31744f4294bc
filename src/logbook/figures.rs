//! What has been worked out of attempts before, so that a class that has grown by a few
//! hand-ins is not worked out as a whole.
//!
//! Nothing here is true by itself. A figure is found again only by everything that it hangs on:
//! the very program, the systems, the name, the key and every letter of the attempt. Whoever
//! takes the file away, or asks for everything anew, gets the same and waits longer.

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, params};
use sha2::{Digest, Sha256};

use super::class::Found;
use super::handin::{Header, Sheet};
use crate::diagnostic::plain;

/// The form of the file; one of another form is begun anew.
const FORM: i64 = 1;

/// Figures that are kept; beyond this the oldest go. Some hundred megabytes.
const MOST: i64 = 200_000;

/// How long one waits for another program that is writing.
const PATIENCE: Duration = Duration::from_secs(2);

/// What everything that a figure hangs on comes to: a SHA-256 (FIPS 180-4).
pub type Key = [u8; 32];

/// The key of an attempt that was handed in. `ground` names the systems that it may be of.
pub fn key_of(ground: &str, header: &Header, sheet: &Sheet) -> Key {
    let mut hash = Sha256::new();
    let (header, sheet) = (serde_json::to_string(header), serde_json::to_string(sheet));
    for text in [ground, &header.unwrap_or_default(), &sheet.unwrap_or_default()] {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    }
    hash.finalize().into()
}

/// A file of figures that is open.
#[derive(Debug)]
pub struct Figures {
    connection: Connection,
}

impl Figures {
    /// Opens a file of figures that this build of the program has worked out, making it where
    /// it is not there. Those of another build are let go.
    ///
    /// # Errors
    /// In words, when the file or its folder cannot be made, read or written.
    pub fn open(path: &Path, build: &[u8]) -> Result<Self, String> {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|error| format!("{}: {error}", plain(&folder.to_string_lossy())))?;
        }
        prepared(path, build)
            .map(|connection| Self { connection })
            .map_err(|error| format!("{}: {}", plain(&path.to_string_lossy()), told(&error)))
    }

    /// What is known of these, as far as it can be read.
    pub fn known(&self, keys: &[Key]) -> BTreeMap<Key, Found> {
        let Ok(mut asking) =
            self.connection.prepare_cached("SELECT found FROM figure WHERE key = ?1")
        else {
            return BTreeMap::new();
        };
        let mut known = BTreeMap::new();
        for key in keys {
            let text = asking.query_row([key.as_slice()], |row| row.get::<_, String>(0));
            if let Some(found) = text.ok().and_then(|text| serde_json::from_str(&text).ok()) {
                known.insert(*key, found);
            }
        }
        known
    }

    /// Keeps what has been worked out. What cannot be kept will be worked out again.
    pub fn keep<'a>(&mut self, worked: impl Iterator<Item = (&'a Key, &'a Found)>) {
        // A cache that cannot be written is none, and nothing is lost by it.
        let _ = self.write(worked);
    }

    fn write<'a>(
        &mut self,
        worked: impl Iterator<Item = (&'a Key, &'a Found)>,
    ) -> rusqlite::Result<()> {
        let writing = self.connection.transaction()?;
        {
            let mut keeping = writing
                .prepare_cached("INSERT OR REPLACE INTO figure (key, found) VALUES (?1, ?2)")?;
            for (key, found) in worked {
                if let Ok(text) = serde_json::to_string(found) {
                    keeping.execute(params![key.as_slice(), text])?;
                }
            }
            writing.execute(
                "DELETE FROM figure WHERE number <= (SELECT max(number) FROM figure) - ?1",
                [MOST],
            )?;
        }
        writing.commit()
    }
}

/// Opens the file and makes it fit.
fn prepared(path: &Path, build: &[u8]) -> rusqlite::Result<Connection> {
    let mut connection = Connection::open(path)?;
    connection.busy_timeout(PATIENCE)?;
    connection.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
    // A power cut may take the last figures with it; they are worked out again.
    connection.pragma_update(None, "synchronous", "NORMAL")?;
    let fits = |connection: &Connection| -> rusqlite::Result<bool> {
        let form: i64 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
        if form != FORM {
            return Ok(false);
        }
        let kept: Vec<u8> =
            connection.query_row("SELECT build FROM made_by", [], |row| row.get(0))?;
        Ok(kept == build)
    };
    if !fits(&connection)? {
        let writing =
            connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        // Another program may have made it fit meanwhile.
        if fits(&writing)? {
            drop(writing);
            return Ok(connection);
        }
        writing.execute_batch(
            "DROP TABLE IF EXISTS figure;
             DROP TABLE IF EXISTS made_by;
             CREATE TABLE made_by (build BLOB NOT NULL);
             CREATE TABLE figure (
                 number INTEGER PRIMARY KEY AUTOINCREMENT,
                 key BLOB NOT NULL UNIQUE,
                 found TEXT NOT NULL
             );",
        )?;
        writing.execute("INSERT INTO made_by (build) VALUES (?1)", [build])?;
        writing.pragma_update(None, "user_version", FORM)?;
        writing.commit()?;
    }
    Ok(connection)
}

fn told(error: &rusqlite::Error) -> String {
    match error.sqlite_error_code() {
        Some(rusqlite::ErrorCode::NotADatabase | rusqlite::ErrorCode::DatabaseCorrupt) => {
            "it is damaged; take it away".to_owned()
        }
        _ => error.to_string(),
    }
}
