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

use crate::circuit::{Circuit, FILE_LIMIT, Sources, read_sources};
use crate::diagnostic::{Diagnostic, Severity, did_you_mean, plain};
use crate::scenario::{self, Ready, Scenario, read_drills};
use crate::survey::{self, Effort};

/// A system that comes with the program.
#[derive(Debug)]
pub struct Embedded {
    /// Its name on the command line.
    pub id: &'static str,
    /// What its findings call it.
    pub file_name: &'static str,
    /// The text of its file.
    pub text: &'static str,
    /// What findings call the file of its drills.
    pub drills_name: &'static str,
    /// The text of that file.
    pub drills: &'static str,
    /// What findings call the file of its author's questions, and its text, if it has any.
    pub oral: Option<(&'static str, &'static str)>,
}

/// One of them, from its folder.
macro_rules! embedded {
    ($id:literal) => {
        Embedded {
            id: $id,
            file_name: concat!("scenarios/", $id, "/system.ron"),
            text: include_str!(concat!("../scenarios/", $id, "/system.ron")),
            drills_name: concat!("scenarios/", $id, "/drills.ron"),
            drills: include_str!(concat!("../scenarios/", $id, "/drills.ron")),
            oral: None,
        }
    };
    ($id:literal, oral) => {
        Embedded {
            oral: Some((
                concat!("scenarios/", $id, "/oral.ron"),
                include_str!(concat!("../scenarios/", $id, "/oral.ron")),
            )),
            ..embedded!($id)
        }
    };
}

static EMBEDDED: [Embedded; 5] = [
    embedded!("t4-ac"),
    embedded!("t4-dc"),
    embedded!("bench", oral),
    embedded!("t4-surfaces"),
    embedded!("power-cart"),
];

/// The names of the systems that come with the program.
pub const NAMES: [&str; 5] = ["t4-ac", "t4-dc", "bench", "t4-surfaces", "power-cart"];

/// The system of this name that comes with the program.
pub fn embedded(id: &str) -> Option<&'static Embedded> {
    EMBEDDED.iter().find(|system| system.id == id)
}

/// What each drill that comes along asks, as a test works it out.
static LADDER: &str = include_str!("../scenarios/ladder.md");

/// What a drill that comes along asks of whoever works it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asks {
    /// Expected minutes of the best strategy known.
    pub par_minutes: f64,
    /// Minutes of a middling trainee over those of the best steps.
    pub over_best: f64,
    /// How often a middling trainee calls the wrong thing, in percent.
    pub wrong_percent: f64,
}

/// What a drill that comes along asks; `None` for any other.
pub fn asks(system: &str, drill: &str) -> Option<Asks> {
    let name = format!("{system}/{drill}");
    let row = LADDER.lines().find_map(|line| {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        (cells.get(1) == Some(&name.as_str())).then_some(cells)
    })?;
    // How closely a figure is known may stand behind it.
    let number = |at: usize| row.get(at)?.split(' ').next()?.parse().ok();
    Some(Asks { par_minutes: number(3)?, over_best: number(5)?, wrong_percent: number(6)? })
}

/// The file that stands for a folder.
const SYSTEM_FILE: &str = "system.ron";

/// The file of its drills beside it.
const DRILLS_FILE: &str = "drills.ron";

/// The file of its author's questions beside it.
const ORAL_FILE: &str = "oral.ron";

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
    /// The system has no drill of that name.
    #[error("{} has no drill `{}`{}", plain(system), plain(drill), hint(suggestion.as_deref()))]
    NoDrill {
        /// The system.
        system: String,
        /// What was asked for.
        drill: String,
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
    match read_sources(&sources(name_or_path)?, &mods) {
        (Some(circuit), _) => Ok(circuit),
        (None, findings) => Err(LoadError::Findings(findings)),
    }
}

/// As [`load`], with everything found in the plain build, with each mod alone and with
/// all of them, warnings and advice too, in the text and in the model.
///
/// # Errors
///
/// [`LoadError`] when there is no such system or the file cannot be read; what is
/// wrong inside the file is among the findings instead.
pub fn check(
    name_or_path: &str,
    effort: Effort,
) -> Result<(Option<Circuit>, Vec<Diagnostic>), LoadError> {
    Ok(survey::check_sources(&sources(name_or_path)?, effort))
}

/// The texts of a system, of its drills and of its author's questions, each with what findings
/// call it.
///
/// # Errors
///
/// [`LoadError`] when there is no such system or a file cannot be read.
pub fn texts(name_or_path: &str) -> Result<Vec<(String, String)>, LoadError> {
    let sources = sources(name_or_path)?;
    let system = sources.texts().map(|(name, text)| (name.to_owned(), text.to_owned()));
    let drills = drills_source(name_or_path)?.map(|(name, text)| (name, text.into_owned()));
    let oral = oral_source(name_or_path)?.map(|(name, text)| (name, text.into_owned()));
    Ok(system.chain(drills).chain(oral).collect())
}

/// The files that a system of the user's own is read from with all beside it, there or not;
/// none for one that comes with the program.
pub fn files(name_or_path: &str) -> Vec<PathBuf> {
    if embedded(name_or_path).is_some() {
        return Vec::new();
    }
    let path = Path::new(name_or_path);
    let path = if path.is_dir() { path.join(SYSTEM_FILE) } else { path.to_owned() };
    let beside = path.file_name().is_some_and(|name| name == SYSTEM_FILE);
    let names = [DRILLS_FILE, ORAL_FILE].into_iter().filter(|_| beside);
    let others: Vec<PathBuf> = names.map(|name| path.with_file_name(name)).collect();
    let system = gather(name_or_path).map_or_else(|_| vec![path], |(_, paths)| paths);
    system.into_iter().chain(others).collect()
}

/// A drill of a system, ready to begin.
#[derive(Debug)]
pub struct Loaded {
    /// As its author wrote it.
    pub scenario: Scenario,
    /// Held against its system.
    pub ready: Ready,
}

/// The drills that go with a system, by its name, its file or its folder; none where there
/// is no such file. What is wrong with single drills is for [`scenario()`] to tell.
///
/// # Errors
///
/// [`LoadError`] when there is no such system, or the file of its drills cannot be read or
/// has errors in it.
pub fn drills(name_or_path: &str) -> Result<Vec<Scenario>, LoadError> {
    let Some((file_name, text)) = drills_source(name_or_path)? else { return Ok(Vec::new()) };
    match read_drills(&file_name, &text) {
        (drills, findings) if findings.is_empty() => Ok(drills),
        (_, findings) => Err(LoadError::Findings(findings)),
    }
}

/// A system's name and the drill that is meant by `SYSTEM/DRILL`, if it names one.
pub fn split_drill(typed: &str) -> (&str, Option<&str>) {
    if embedded(typed).is_some() || Path::new(typed).exists() {
        return (typed, None);
    }
    match typed.rsplit_once('/') {
        Some((system, drill))
            if !drill.is_empty() && (embedded(system).is_some() || Path::new(system).exists()) =>
        {
            (system, Some(drill))
        }
        _ => (typed, None),
    }
}

/// The drill of this id.
///
/// # Errors
///
/// [`LoadError`] when there is no such drill, or it does not fit its system.
pub fn scenario(system: &str, id: &str) -> Result<Loaded, LoadError> {
    let drills = drills(system)?;
    let Some(scenario) = drills.iter().find(|drill| drill.id.eq_ignore_ascii_case(id)) else {
        return Err(LoadError::NoDrill {
            system: system.to_owned(),
            drill: id.to_owned(),
            suggestion: did_you_mean(id, drills.iter().map(|drill| drill.id.as_str())),
        });
    };
    let circuit = load_build(system, &scenario.mods)?;
    let ready = scenario.ready(&circuit).map_err(LoadError::Findings)?;
    Ok(Loaded { scenario: scenario.clone(), ready })
}

/// The drills of a system with everything found in them: in the file, against the build
/// that each is for, and by working each out.
///
/// # Errors
///
/// [`LoadError`] when there is no such system or a file cannot be read; what is wrong
/// inside the file of drills is among the findings instead.
pub fn check_drills(name_or_path: &str) -> Result<(Vec<Scenario>, Vec<Diagnostic>), LoadError> {
    let Some((file_name, text)) = drills_source(name_or_path)? else {
        return Ok((Vec::new(), Vec::new()));
    };
    let (drills, mut findings) = read_drills(&file_name, &text);
    if has_errors(&findings) {
        return Ok((drills, findings));
    }
    for drill in &drills {
        match load_build(name_or_path, &drill.mods) {
            Ok(circuit) => match drill.ready(&circuit) {
                Ok(ready) => findings.extend(scenario::advice(drill, &ready)),
                Err(found) => findings.extend(found),
            },
            // What is wrong with the system itself is told of the system.
            Err(LoadError::Findings(_)) if drill.mods.is_empty() => {}
            Err(LoadError::Findings(_)) => findings.push(drill.unfit()),
            Err(error) => return Err(error),
        }
    }
    findings.sort_by_key(|finding| finding.place);
    Ok((drills, findings))
}

/// What findings call the file of a system's drills, and its text; `None` where the system
/// has none.
///
/// # Errors
///
/// [`LoadError`] when the file is there and cannot be read.
pub fn drills_source(name_or_path: &str) -> Result<Option<(String, Cow<'static, str>)>, LoadError> {
    if let Some(system) = embedded(name_or_path) {
        return Ok(Some((system.drills_name.to_owned(), system.drills.into())));
    }
    beside(name_or_path, DRILLS_FILE)
}

/// The same for the questions of its author.
///
/// # Errors
///
/// [`LoadError`] when the file is there and cannot be read.
pub fn oral_source(name_or_path: &str) -> Result<Option<(String, Cow<'static, str>)>, LoadError> {
    if let Some(system) = embedded(name_or_path) {
        return Ok(system.oral.map(|(name, text)| (name.to_owned(), text.into())));
    }
    beside(name_or_path, ORAL_FILE)
}

/// What stands beside the file of a user's own system, if it does.
fn beside(
    name_or_path: &str,
    file: &str,
) -> Result<Option<(String, Cow<'static, str>)>, LoadError> {
    let path = Path::new(name_or_path);
    let path = match path.parent() {
        _ if path.is_dir() => path.join(file),
        Some(folder) if path.file_name().is_some_and(|name| name == SYSTEM_FILE) => {
            folder.join(file)
        }
        _ => return Ok(None),
    };
    if !path.exists() {
        return Ok(None);
    }
    let name = path.to_string_lossy();
    let text = read_text(&path, &name)?;
    Ok(Some((plain(&name), text.into())))
}

/// A system's file with those that it includes.
fn sources(name_or_path: &str) -> Result<Sources, LoadError> {
    if let Some(system) = embedded(name_or_path) {
        return Ok(Sources::single(system.file_name, system.text));
    }
    gather(name_or_path).map(|(sources, _)| sources)
}

/// The same for a system of the user's own, with the paths of its files.
fn gather(name_or_path: &str) -> Result<(Sources, Vec<PathBuf>), LoadError> {
    let path = Path::new(name_or_path);
    let path = if path.is_dir() { path.join(SYSTEM_FILE) } else { path.to_owned() };
    let text = read_text(&path, name_or_path)?;
    let mut sources = Sources::in_folder(&plain(&path.to_string_lossy()), &text);
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let mut read = vec![Opened { canonical: path.canonicalize().ok(), path, by: None }];
    let mut at = 0;
    while at < read.len() {
        for wanted in sources.wanted(at) {
            match open_included(&folder, &wanted.path, at, &read) {
                Ok((text, next)) => {
                    sources.include(&plain(&next.path.to_string_lossy()), &text);
                    read.push(next);
                }
                Err(why) => {
                    let message = format!("`{}` cannot be included: {why}", plain(&wanted.path));
                    sources.refuse(at, wanted.place, message);
                }
            }
        }
        at += 1;
    }
    Ok((sources, read.into_iter().map(|file| file.path).collect()))
}

/// A file of a system that has been read.
struct Opened {
    path: PathBuf,
    /// Where it really lies, links followed.
    canonical: Option<PathBuf>,
    /// The file that includes it, by its place in the list.
    by: Option<usize>,
}

/// Opens a file that another one includes, or says why not. Links are followed, so that none
/// can lead out of the folder of the system.
fn open_included(
    folder: &Path,
    name: &str,
    by: usize,
    read: &[Opened],
) -> Result<(String, Opened), String> {
    if read.len() >= FILE_LIMIT {
        return Err(format!("a system has {FILE_LIMIT} files at most"));
    }
    let path = folder.join(name);
    let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let Ok(home) = here.canonicalize() else {
        return Err("the folder of the system cannot be read".to_owned());
    };
    let Ok(canonical) = path.canonicalize() else {
        return Err("there is no such file in the folder of the system".to_owned());
    };
    if !canonical.starts_with(&home) {
        return Err("it is a link that leads out of the folder of the system".to_owned());
    }
    if let Some(known) = read.iter().position(|file| file.canonical.as_ref() == Some(&canonical)) {
        let mut above = Some(by);
        while let Some(at) = above {
            if at == known {
                return Err("it would include itself".to_owned());
            }
            above = read[at].by;
        }
        return Err("it is included already".to_owned());
    }
    let text = read_text(&path, name).map_err(|error| error.to_string())?;
    Ok((text, Opened { path, canonical: Some(canonical), by: Some(by) }))
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
            let (circuit, mut findings) = check(name, Effort::Thorough).unwrap();
            // What a trainee cannot find is for an author to know; it keeps nobody from
            // using the system.
            findings.retain(|finding| finding.severity > Severity::Advice);
            assert!(findings.is_empty(), "{}", lines(&findings));
            assert_eq!(circuit.unwrap().id, name);
        }
        assert!(EMBEDDED.iter().map(|system| system.id).eq(NAMES));
    }

    #[test]
    fn every_drill_that_comes_along_has_its_figures() {
        for name in NAMES {
            for drill in drills(name).unwrap() {
                let asks = asks(name, &drill.id).unwrap_or_else(|| panic!("{name}/{}", drill.id));
                assert!(asks.par_minutes > 0.0 && asks.wrong_percent <= 100.0, "{}", drill.id);
            }
        }
        assert_eq!(asks("t4-ac", "no-such-drill"), None);
    }

    #[test]
    fn a_name_not_known_is_answered_with_a_near_one() {
        let error = load("bunch").unwrap_err();
        assert_eq!(error.to_string(), "there is no system or file `bunch` (did you mean `bench`?)");
        let error = load("no-such-thing-\u{1b}[31m").unwrap_err();
        assert_eq!(error.to_string(), "there is no system or file `no-such-thing-\u{FFFD}[31m`");
    }
}
