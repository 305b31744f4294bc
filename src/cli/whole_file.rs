//! Files that are there whole or not at all.

use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, anyhow, bail};

use crate::diagnostic::plain;

/// How many names are tried for the file on the way.
const TRIES: u32 = 100;

/// Writes a file so that whoever looks at its name sees the old text or the whole new
/// one: into a file of another name beside it, which then takes its place.
///
/// What is no file (a terminal, a pipe, `/dev/stdout`) is written directly, and a link
/// stays a link to what it led to.
///
/// # Errors
/// When the folder or the file cannot be written; nothing is left behind then.
pub(super) fn write(path: &Path, text: &str) -> Result<()> {
    is_no_logbook(path)?;
    let told = || format!("{} cannot be written", plain(&path.to_string_lossy()));
    let there = fs::metadata(path);
    if there.as_ref().is_ok_and(|there| !there.is_file() && !there.is_dir()) {
        return fs::write(path, text).with_context(told);
    }
    let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let (mut file, beside) = beside(&path).with_context(told)?;
    let written = (|| {
        if let Ok(there) = &there {
            file.set_permissions(there.permissions())?;
        }
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        drop(file);
        fs::rename(&beside, &path)
    })();
    if written.is_err() {
        // What went wrong is told; that the rest of it could not be cleared away is not.
        let _ = fs::remove_file(&beside);
    }
    written.with_context(told)
}

/// Refuses the folder that holds the logbook and the trainee's key: whoever names a file there
/// would put the text in their place.
///
/// # Errors
/// When the file would stand in that folder.
pub(super) fn is_no_logbook(path: &Path) -> Result<()> {
    let home = super::recorder::folder().and_then(|folder| fs::canonicalize(folder).ok());
    let parent = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    // A link counts for what it leads to.
    let there = fs::canonicalize(path).ok().and_then(|path| path.parent().map(Path::to_owned));
    let there = there.or_else(|| fs::canonicalize(parent).ok());
    if home.is_some() && home == there {
        bail!(
            "{} stands beside the logbook: choose another folder",
            plain(&path.to_string_lossy())
        );
    }
    Ok(())
}

/// Reads a whole text file of no more than so many bytes.
///
/// # Errors
/// When it cannot be read, is no ordinary file or no text, or is longer.
pub(super) fn read(path: &Path, most: u64) -> Result<String> {
    let told = || format!("cannot read {}", plain(&path.to_string_lossy()));
    let there = fs::metadata(path).with_context(told)?;
    if !there.is_file() {
        return Err(anyhow!("it is not an ordinary file")).with_context(told);
    }
    if there.len() > most {
        return Err(anyhow!("it is longer than {most} bytes")).with_context(told);
    }
    fs::read_to_string(path).with_context(told)
}

/// A new file in the folder of another, and its path.
fn beside(path: &Path) -> io::Result<(fs::File, PathBuf)> {
    let name = path.file_name().ok_or_else(|| io::Error::from(io::ErrorKind::IsADirectory))?;
    for number in 0..TRIES {
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}-{number}", std::process::id()));
        let beside = path.with_file_name(hidden);
        match OpenOptions::new().write(true).create_new(true).open(&beside) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            opened => return opened.map(|file| (file, beside)),
        }
    }
    Err(io::Error::from(io::ErrorKind::AlreadyExists))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_nothing_is_left_beside_it() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.svg");
        write(&path, "one").expect("it can be written");
        write(&path, "two").expect("it can be written");
        assert_eq!(fs::read_to_string(&path).expect("it is there"), "two");
        assert_eq!(fs::read_dir(folder.path()).expect("it is there").count(), 1);
    }

    #[test]
    fn what_cannot_be_written_leaves_nothing_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let taken = folder.path().join("taken");
        fs::create_dir(&taken).expect("it can be made");
        let refused = write(&taken, "text").expect_err("a folder is no file");
        assert!(format!("{refused:#}").contains("cannot be written"), "{refused:#}");
        assert_eq!(fs::read_dir(folder.path()).expect("it is there").count(), 1);
    }
}
