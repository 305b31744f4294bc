//! A class: every hand-in of a folder, done again and summed up.
//!
//! The files are gone through twice. First every attempt is read and looked up among those that
//! have been worked out before; then those that are new are read again, drill by drill, since
//! attempts at the same drill begin with the same question. What is held meanwhile is a few
//! numbers of each attempt, never the attempts.

use std::fs::{self, File};
use std::io::{BufReader, IsTerminal, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use anyhow::{Context, Result, bail};
use rayon::prelude::*;

use super::args;
use super::debrief;
use super::figures::Known;
use super::logbook::opened;
use super::{Ended, whole_file};
use crate::diagnostic::{plain, shortened};
use crate::logbook::class::{Found, Refusal, Register, found};
use crate::logbook::handin::{self, HandinError, Header, Sheet, Systems};
use crate::logbook::{Key, key_of, statement_of};

/// Attempts that are read before they are worked out side by side.
const AT_ONCE: usize = 64;

/// Sums up a folder of hand-ins.
pub(super) fn class(arguments: &args::Class) -> Result<Ended> {
    for path in arguments.html.iter().chain(&arguments.xapi) {
        debrief::can_be_written(path)?;
    }
    if arguments.html.is_some() && arguments.html == arguments.xapi {
        bail!("the page and the statements cannot be written to the same file");
    }
    let systems = Systems::with(&arguments.with)?;
    let (files, passed_over) = hand_ins(&arguments.folder)?;
    for out in arguments.html.iter().chain(&arguments.xapi) {
        is_no_hand_in(out, &files)?;
    }
    if let Some(told) = passed_over_told(&passed_over) {
        writeln!(std::io::stderr(), "{told}")?;
    }
    let mut known = Known::open(arguments.anew);
    let mut folder = Folder::default();
    let ground = systems.ground();
    for path in &files {
        folder.read(path, &ground, &known);
    }
    folder.work_out(&systems, &ground, &mut known);
    let mut register = Register::default();
    for found in folder.lines.into_iter().filter_map(|line| line.found) {
        register.take(found);
    }
    let class = register.class();
    let mut out = std::io::stdout().lock();
    if arguments.json {
        writeln!(out, "{}", serde_json::to_string(&class)?)?;
    } else if arguments.csv {
        write!(out, "{}", class.csv())?;
    } else {
        write!(out, "{}", class.text())?;
    }
    if let Some(path) = &arguments.html {
        whole_file::write(path, &class.html())?;
    }
    if let Some(path) = &arguments.xapi {
        let statements = register.counted().into_iter().filter_map(statement_of).collect();
        let statements = serde_json::Value::Array(statements);
        whole_file::write(path, &format!("{}\n", serde_json::to_string_pretty(&statements)?))?;
    }
    Ok(if class.refused.is_empty() { Ended::Well } else { Ended::WithFinding })
}

/// Refuses to write over a hand-in: what a trainee has handed in is there once.
fn is_no_hand_in(out: &Path, files: &[PathBuf]) -> Result<()> {
    // A link counts for what it leads to.
    let there = fs::canonicalize(out).ok();
    if there.is_some() && files.iter().any(|file| fs::canonicalize(file).ok() == there) {
        bail!("{} is one of the hand-ins: name another file", plain(&out.to_string_lossy()));
    }
    Ok(())
}

/// The hand-ins of a folder, by name, and what else lies in it and why that is no hand-in.
fn hand_ins(folder: &Path) -> Result<(Vec<PathBuf>, Vec<String>)> {
    let told = || plain(&folder.to_string_lossy());
    let mut files = Vec::new();
    let mut passed_over = Vec::new();
    for entry in fs::read_dir(folder).with_context(told)? {
        let path = entry.with_context(told)?.path();
        let is_named = path.extension().is_some_and(|extension| extension == "jsonl");
        let why = match fs::metadata(&path) {
            Ok(there) if there.is_dir() => "a folder",
            Ok(_) if !is_named => "not .jsonl",
            Ok(there) if !there.is_file() => "not an ordinary file",
            Err(_) => "cannot be looked at",
            Ok(_) => {
                files.push(path);
                continue;
            }
        };
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        passed_over.push(format!("{} ({why})", shortened(&plain(&name), NAME_TOLD)));
    }
    files.sort();
    passed_over.sort();
    if files.is_empty() {
        bail!("{}: no hand-ins in it (files that end in .jsonl)", told());
    }
    Ok((files, passed_over))
}

/// Letters of a name of a file that are told, and names at most.
const NAME_TOLD: usize = 40;
const NAMES_TOLD: usize = 10;

/// What was passed over, in a line; `None` where nothing was.
fn passed_over_told(passed_over: &[String]) -> Option<String> {
    let named = passed_over.iter().take(NAMES_TOLD).cloned().collect::<Vec<_>>().join(", ");
    match passed_over.len() {
        0 => None,
        count if count > NAMES_TOLD => {
            Some(format!("Passed over: {named} and {} more.", count - NAMES_TOLD))
        }
        _ => Some(format!("Passed over: {named}.")),
    }
}

/// A file with its first line.
struct HandIn {
    path: PathBuf,
    /// As it is named in what is told.
    name: String,
    header: Header,
}

/// A line with an attempt, or one that cannot be read.
struct Line {
    /// Its file, as an index, and its number.
    at: (usize, u64),
    found: Option<Found>,
    /// Where it begins, and what it hangs on; nothing for one that cannot be read.
    place: Option<(u64, Key)>,
    /// The drill, so that the same are worked out one after the other.
    drill: u32,
}

/// What has been read of a folder, in order.
#[derive(Default)]
struct Folder {
    files: Vec<HandIn>,
    lines: Vec<Line>,
    /// Drills, by what they are flown on.
    drills: std::collections::BTreeMap<String, u32>,
}

impl Folder {
    /// Reads a file and looks up what is known of it.
    fn read(&mut self, path: &Path, ground: &str, known: &Known) {
        let name = path.file_name().map_or_else(String::new, |name| plain(&name.to_string_lossy()));
        let at = self.files.len();
        let unread = |line: u64, why: String| {
            let refusal = Refusal { file: name.as_str().into(), line, trainee: None, why };
            Line { at: (at, line), found: Some(Found::Refused(refusal)), place: None, drill: 0 }
        };
        let mut reader = match opened(path) {
            Ok(reader) => reader,
            Err(error) => return self.lines.push(unread(1, format!("{error:#}"))),
        };
        let header = reader.header.clone();
        let mut over = false;
        while !over {
            let mut sheets: Vec<(u64, u64, Sheet)> = Vec::new();
            let mut torn = Vec::new();
            while sheets.len() < AT_ONCE && !over {
                let begins = reader.bytes();
                match reader.next_sheet() {
                    Ok(Some((line, sheet))) => sheets.push((begins, line, sheet)),
                    Ok(None) => over = true,
                    Err(error) => {
                        over = !matches!(error, HandinError::Line(..));
                        let line = match &error {
                            HandinError::Line(line, ..) | HandinError::Long(line) => *line,
                            HandinError::Read(_) => 0,
                        };
                        torn.push(unread(line, error.to_string()));
                    }
                }
            }
            let keys: Vec<Key> =
                sheets.par_iter().map(|(.., sheet)| key_of(ground, &header, sheet)).collect();
            let found = known.of(&keys);
            let from = self.lines.len();
            for ((begins, line, sheet), key) in sheets.into_iter().zip(keys) {
                let found = found.get(&key).map(|found| found.clone().at(&name, line));
                let drill = self.drill(&sheet);
                self.lines.push(Line { at: (at, line), found, place: Some((begins, key)), drill });
            }
            self.lines.extend(torn);
            self.lines[from..].sort_by_key(|line| line.at);
        }
        self.files.push(HandIn { path: path.to_owned(), name, header });
    }

    /// The number of the drill of an attempt.
    fn drill(&mut self, sheet: &Sheet) -> u32 {
        let next = self.drills.len() as u32;
        *self.drills.entry(sheet.attempt.recipe.build()).or_insert(next)
    }

    /// Works out what is not known yet, drill by drill, many at once.
    fn work_out(&mut self, systems: &Systems, ground: &str, known: &mut Known) {
        let mut new: Vec<usize> =
            (0..self.lines.len()).filter(|at| self.lines[*at].found.is_none()).collect();
        new.sort_by_key(|at| self.lines[*at].drill);
        let progress = Progress::new(self.lines.len(), self.lines.len() - new.len());
        for some in new.chunks(AT_ONCE) {
            let worked: Vec<Option<(Key, Found)>> = some
                .par_iter()
                .map(|at| {
                    let line = &self.lines[*at];
                    let (begins, key) = line.place?;
                    let found =
                        self.files[line.at.0].found((begins, line.at.1), key, systems, ground);
                    progress.one_done();
                    Some((key, found))
                })
                .collect();
            known.keep(worked.iter().flatten().map(|(key, found)| (key, found)));
            for (at, worked) in some.iter().zip(worked) {
                self.lines[*at].found = worked.map(|(_, found)| found);
            }
        }
        progress.over();
    }
}

impl HandIn {
    /// Reads one attempt again and works it out.
    fn found(
        &self,
        (begins, line): (u64, u64),
        key: Key,
        systems: &Systems,
        ground: &str,
    ) -> Found {
        let refused = |why: String| {
            let trainee = Some(self.header.trainee.as_str().into());
            Found::Refused(Refusal { file: self.name.as_str().into(), line, trainee, why })
        };
        match self.sheet(begins, line) {
            Ok(sheet) if key_of(ground, &self.header, &sheet) == key => {
                found(&self.name, line, &self.header, &sheet, systems)
            }
            Ok(_) => refused("the file was changed while it was read".to_owned()),
            Err(error) => refused(error.to_string()),
        }
    }

    fn sheet(&self, begins: u64, line: u64) -> Result<Sheet, HandinError> {
        let mut file = File::open(&self.path)?;
        file.seek(SeekFrom::Start(begins))?;
        handin::sheet_at(BufReader::new(file), line)
    }
}

/// How far the work has got, on standard error while that is a terminal.
struct Progress {
    all: usize,
    done: AtomicUsize,
    shown: bool,
}

impl Progress {
    /// So many attempts, of which some are known already.
    fn new(all: usize, known: usize) -> Self {
        let shown = std::io::stderr().is_terminal();
        let progress = Self { all: all.max(1), done: AtomicUsize::new(known), shown };
        progress.tell();
        progress
    }

    fn tell(&self) {
        if self.shown {
            let done = self.done.load(Ordering::Relaxed).min(self.all);
            let bar = "#".repeat(done * 40 / self.all);
            let percent = 100 * done / self.all;
            // What cannot be shown is no reason to stop.
            let _ = write!(
                std::io::stderr(),
                "\r[{bar:<40}] {percent:>3} %, {done} of {} attempts",
                self.all
            );
        }
    }

    fn one_done(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.tell();
    }

    fn over(&self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r{:<80}\r", "");
        }
    }
}
