//! Finds a system by name or path: the systems that come with the program, and
//! files of the user's own.
//!
//! Besides the command line this is the only place that touches the file system.
//! A file is taken to be anything at all until it has been read: too large, not
//! text, or a device that never ends.

use std::borrow::Cow;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::circuit::{Circuit, check_builds, read_build};
use crate::diagnostic::{Diagnostic, Severity, did_you_mean, plain};

/// A system that comes with the program.
#[derive(Debug)]
pub struct Embedded {
    /// Its name on the command line.
    pub id: &'static str,
    /// What its findings call it.
    pub file_name: &'static str,
    /// The text of its file.
    pub text: &'static str,
}

static EMBEDDED: [Embedded; 3] = [
    Embedded {
        id: "t4-ac",
        file_name: "scenarios/t4-ac/system.ron",
        text: include_str!("../scenarios/t4-ac/system.ron"),
    },
    Embedded {
        id: "t4-dc",
        file_name: "scenarios/t4-dc/system.ron",
        text: include_str!("../scenarios/t4-dc/system.ron"),
    },
    Embedded {
        id: "bench",
        file_name: "scenarios/bench/system.ron",
        text: include_str!("../scenarios/bench/system.ron"),
    },
];

/// The names of the systems that come with the program.
pub const NAMES: [&str; 3] = ["t4-ac", "t4-dc", "bench"];

/// The system of this name that comes with the program.
pub fn embedded(id: &str) -> Option<&'static Embedded> {
    EMBEDDED.iter().find(|system| system.id == id)
}

/// The file that stands for a folder.
const SYSTEM_FILE: &str = "system.ron";

/// Largest file that is read, in bytes: far above any system, far below what
/// would hurt.
pub const SIZE_LIMIT: u64 = 8 << 20;

/// Why a system could not be had.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LoadError {
    /// Neither a system of that name nor such a file.
    #[error("there is no system or file `{}`{}", plain(name), hint(suggestion.as_deref()))]
    NotFound {
        /// What was asked for.
        name: String,
        /// What may have been meant.
        suggestion: Option<String>,
    },
    /// The file is larger than any system.
    #[error("{} is too large: {bytes} bytes, at most {limit} are read", plain(&path.to_string_lossy()))]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size in bytes.
        bytes: u64,
        /// The most that is read, in bytes.
        limit: u64,
    },
    /// The file is there and cannot be read.
    #[error("{} cannot be read: {}", plain(&path.to_string_lossy()), plain(reason))]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// The file is not text in UTF-8.
    #[error("{} is not a text file (UTF-8)", plain(&path.to_string_lossy()))]
    NotText {
        /// The file.
        path: PathBuf,
    },
    /// The file was read and has errors; warnings are among the findings.
    #[error("{}", lines(.0))]
    Findings(Vec<Diagnostic>),
}

fn hint(suggestion: Option<&str>) -> String {
    suggestion.map_or_else(String::new, |text| format!(" ({})", plain(text)))
}

fn lines(findings: &[Diagnostic]) -> String {
    let lines: Vec<_> = findings.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

/// The system of this name, or the one in this file or folder.
///
/// A name goes before a file of the same name; write `./name` for the file. A
/// folder stands for the file `system.ron` in it.
///
/// # Errors
///
/// [`LoadError`] when there is no such system, when the file cannot be read, or
/// when it has errors in it.
pub fn load(name_or_path: &str) -> Result<Circuit, LoadError> {
    load_build(name_or_path, &[])
}

/// As [`load`], with these mods fitted, in whatever order they are named.
///
/// # Errors
///
/// As [`load`]; a mod that the system does not offer counts as an error in its file.
pub fn load_build(name_or_path: &str, mods: &[String]) -> Result<Circuit, LoadError> {
    let mods: Vec<&str> = mods.iter().map(String::as_str).collect();
    let (file_name, text) = source(name_or_path)?;
    match read_build(&file_name, &text, &mods) {
        (Some(circuit), _) => Ok(circuit),
        (None, findings) => Err(LoadError::Findings(findings)),
    }
}

/// As [`load`], with everything found in the plain build, with each mod alone and with
/// all of them, warnings too.
///
/// # Errors
///
/// [`LoadError`] when there is no such system or the file cannot be read; what is
/// wrong inside the file is among the findings instead.
pub fn check(name_or_path: &str) -> Result<(Option<Circuit>, Vec<Diagnostic>), LoadError> {
    let (file_name, text) = source(name_or_path)?;
    Ok(check_builds(&file_name, &text))
}

/// What findings call a system's file, and its text.
fn source(name_or_path: &str) -> Result<(String, Cow<'static, str>), LoadError> {
    if let Some(system) = embedded(name_or_path) {
        return Ok((system.file_name.to_owned(), system.text.into()));
    }
    let path = Path::new(name_or_path);
    let path = if path.is_dir() { path.join(SYSTEM_FILE) } else { path.to_owned() };
    let text = read_text(&path, name_or_path)?;
    Ok((plain(&path.to_string_lossy()), text.into()))
}

/// The text of a file of the user's own that is no system.
///
/// # Errors
///
/// [`LoadError`] when there is no such file or it cannot be read.
pub fn read_file(path: &str) -> Result<String, LoadError> {
    read_text(Path::new(path), path)
}

fn read_text(path: &Path, name: &str) -> Result<String, LoadError> {
    let unreadable = |reason: String| LoadError::Unreadable { path: path.to_owned(), reason };
    let metadata = std::fs::metadata(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => {
            LoadError::NotFound { name: name.to_owned(), suggestion: did_you_mean(name, NAMES) }
        }
        _ => unreadable(error.to_string()),
    })?;
    if !metadata.is_file() {
        return Err(unreadable("it is not an ordinary file".to_owned()));
    }
    let too_large = |bytes| LoadError::TooLarge { path: path.to_owned(), bytes, limit: SIZE_LIMIT };
    if metadata.len() > SIZE_LIMIT {
        return Err(too_large(metadata.len()));
    }
    let file = File::open(path).map_err(|error| unreadable(error.to_string()))?;
    let mut bytes = Vec::new();
    // The file may have grown since its size was asked for.
    file.take(SIZE_LIMIT + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unreadable(error.to_string()))?;
    if bytes.len() as u64 > SIZE_LIMIT {
        return Err(too_large(bytes.len() as u64));
    }
    String::from_utf8(bytes).map_err(|_| LoadError::NotText { path: path.to_owned() })
}

/// Whether the findings hold an error.
pub fn has_errors(findings: &[Diagnostic]) -> bool {
    findings.iter().any(|finding| finding.severity == Severity::Error)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_system_that_comes_along_reads_clean() {
        for name in NAMES {
            let (circuit, findings) = check(name).unwrap();
            assert!(findings.is_empty(), "{}", lines(&findings));
            assert_eq!(circuit.unwrap().id, name);
        }
        assert!(EMBEDDED.iter().map(|system| system.id).eq(NAMES));
    }

    #[test]
    fn a_name_not_known_is_answered_with_a_near_one() {
        let error = load("bunch").unwrap_err();
        assert_eq!(error.to_string(), "there is no system or file `bunch` (did you mean `bench`?)");
        let error = load("no-such-thing-\u{1b}[31m").unwrap_err();
        assert_eq!(error.to_string(), "there is no system or file `no-such-thing-\u{FFFD}[31m`");
    }
}
