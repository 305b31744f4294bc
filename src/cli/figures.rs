//! Where figures that have been worked out before are kept, and by which build of the program.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;

use sha2::{Digest, Sha256};

use crate::diagnostic::plain;
use crate::logbook::class::Found;
use crate::logbook::{Figures, Key};

/// Where caches stand (XDG Base Directory Specification 0.8): in `halfsplit` under
/// `$XDG_CACHE_HOME`, or under `$HOME/.cache` where that is not set or not absolute.
fn folder_from(variable: impl Fn(&str) -> Option<String>) -> Option<PathBuf> {
    let absolute = |path: &PathBuf| path.is_absolute();
    let own = variable("XDG_CACHE_HOME").map(PathBuf::from).filter(absolute);
    let home =
        || variable("HOME").map(PathBuf::from).filter(absolute).map(|home| home.join(".cache"));
    Some(own.or_else(home)?.join("halfsplit"))
}

/// What the file of this very program comes to: a SHA-256 (FIPS 180-4).
fn build() -> std::io::Result<[u8; 32]> {
    let mut file = BufReader::with_capacity(1 << 20, File::open(std::env::current_exe()?)?);
    let mut hash = Sha256::new();
    loop {
        let bytes = file.fill_buf()?;
        if bytes.is_empty() {
            return Ok(hash.finalize().into());
        }
        hash.update(bytes);
        let read = bytes.len();
        file.consume(read);
    }
}

/// The figures of this build; none where there is no folder for them.
fn opened() -> Result<Option<Figures>, String> {
    let Some(folder) = folder_from(|name| std::env::var(name).ok()) else { return Ok(None) };
    let build = build().map_err(|error| error.to_string())?;
    Figures::open(&folder.join("figures.sqlite3"), &build).map(Some)
}

/// Figures as they are found again and kept; none where there is no place for them.
pub(super) struct Known(Option<Figures>);

impl Known {
    /// Opens them; `anew` leaves aside whatever there is. That there is no place for them is
    /// told on standard error, and the work goes on.
    pub(super) fn open(anew: bool) -> Self {
        if anew {
            return Self(None);
        }
        match opened() {
            Ok(figures) => Self(figures),
            Err(why) => {
                // What cannot be told is no reason to stop.
                let told = plain(&why);
                let _ = writeln!(
                    std::io::stderr(),
                    "notice: figures cannot be kept for the next time: {told}"
                );
                Self(None)
            }
        }
    }

    /// The same where so little is worked out that nobody wants to hear of it.
    pub(super) fn open_quietly() -> Self {
        Self(opened().unwrap_or_default())
    }

    /// What is known of these.
    pub(super) fn of(&self, keys: &[Key]) -> BTreeMap<Key, Found> {
        self.0.as_ref().map(|figures| figures.known(keys)).unwrap_or_default()
    }

    /// Keeps what has been worked out.
    pub(super) fn keep<'a>(&mut self, worked: impl Iterator<Item = (&'a Key, &'a Found)>) {
        if let Some(figures) = &mut self.0 {
            figures.keep(worked);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_folder_is_that_of_the_base_directory_specification() {
        let set = |own: &'static str, home: &'static str| {
            folder_from(move |name| {
                let value = if name == "HOME" { home } else { own };
                (!value.is_empty()).then(|| value.to_owned())
            })
        };
        assert_eq!(set("/c", "/h"), Some(PathBuf::from("/c/halfsplit")));
        assert_eq!(set("relative", "/h"), Some(PathBuf::from("/h/.cache/halfsplit")));
        assert_eq!(set("", ""), None);
    }
}
