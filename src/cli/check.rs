//! `halfsplit check`: every finding of every file in one run, as lines or as JSON.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Result;
use serde_json::{Value, json};

use super::watch::Watch;
use super::{Ended, args};
use crate::circuit::Circuit;
use crate::diagnostic::{Diagnostic, Severity, plain};
use crate::library::{self, LoadError};
use crate::oral;
use crate::survey::Effort;
use crate::units::counted;

/// Checks the files; errors in any of them make the run fail with exit code 2. With `--watch`
/// checks again whenever one of them is saved, until it is stopped.
pub(super) fn run(arguments: &args::Check) -> Result<Ended> {
    if !arguments.watch {
        return once(arguments);
    }
    let mut watch = Watch::new(files_of(arguments));
    loop {
        if let Err(error) = once(arguments) {
            if super::is_broken_pipe(&error) {
                return Err(error);
            }
            writeln!(std::io::stderr(), "{}", plain(&format!("{error:#}")))?;
        }
        watch.also(files_of(arguments));
        let changed = watch.wait();
        let mut out = std::io::stdout().lock();
        writeln!(out, "\n-- {} saved", plain(&changed.to_string_lossy()))?;
    }
}

/// The files that a change of findings can come from.
fn files_of(arguments: &args::Check) -> Vec<PathBuf> {
    arguments.files.iter().flat_map(|path| library::files(&path.to_string_lossy())).collect()
}

/// What was found in one system and its drills.
struct Checked {
    name: String,
    circuit: Option<Circuit>,
    drills: usize,
    /// Questions by the author.
    questions: usize,
    findings: Vec<Diagnostic>,
    /// Each file by its name in findings, for excerpts.
    texts: Vec<(String, String)>,
    unreadable: Option<LoadError>,
}

impl Checked {
    fn new(name: &str, effort: Effort) -> Self {
        let mut checked = Self {
            name: plain(name),
            circuit: None,
            drills: 0,
            questions: 0,
            findings: Vec::new(),
            texts: Vec::new(),
            unreadable: None,
        };
        checked.unreadable = checked.read(name, effort).err();
        checked
    }

    fn read(&mut self, name: &str, effort: Effort) -> Result<(), LoadError> {
        self.texts = library::texts(name)?;
        (self.circuit, self.findings) = library::check(name, effort)?;
        if let Some(circuit) = &self.circuit {
            let (drills, found) = library::check_drills(name)?;
            self.drills = drills.len();
            self.findings.extend(found);
            if let Some((file, text)) = library::oral_source(name)? {
                let (own, found) = oral::read_questions(circuit, &file, &text);
                self.questions = own.len();
                self.findings.extend(found);
            }
        }
        Ok(())
    }

    fn is_unusable(&self) -> bool {
        self.unreadable.is_some() || library::has_errors(&self.findings)
    }

    fn has_warnings(&self) -> bool {
        self.findings.iter().any(|finding| finding.severity >= Severity::Warning)
    }

    /// The findings with their excerpts, and a line that counts what there is.
    fn write(&self, out: &mut impl Write) -> Result<()> {
        for finding in &self.findings {
            writeln!(out, "{finding}")?;
            let text = self.texts.iter().find(|(file, _)| *file == finding.file);
            if let Some(excerpt) = text.and_then(|(_, text)| finding.excerpt(text)) {
                writeln!(out, "{excerpt}")?;
            }
        }
        let Some(circuit) = &self.circuit else { return Ok(()) };
        let mods = match circuit.mods.len() {
            0 => String::new(),
            count => format!(", {}", counted(count, "mod")),
        };
        let drills = match self.drills {
            0 => String::new(),
            count => format!(", {}", counted(count, "drill")),
        };
        let questions = match self.questions {
            0 => String::new(),
            count => format!(", {}", counted(count, "question")),
        };
        let (parts, nets, modes, points, stations) = counts(circuit);
        writeln!(
            out,
            "{}: {}, {}, {}, {}, {}{mods}{drills}{questions}",
            self.name,
            counted(parts, "part"),
            counted(nets, "net"),
            counted(modes, "fault mode"),
            counted(points, "test point"),
            counted(stations, "station")
        )?;
        Ok(())
    }

    fn json(&self) -> Value {
        let findings: Vec<Value> = self
            .findings
            .iter()
            .map(|finding| {
                json!({
                    "file": finding.file,
                    "line": finding.place.line,
                    "column": finding.place.column,
                    "severity": finding.severity.word(),
                    "code": finding.code,
                    "message": plain(&finding.message),
                    "hint": finding.hint.as_deref().map(plain),
                })
            })
            .collect();
        let counts = self.circuit.as_ref().map(|circuit| {
            let (parts, nets, modes, points, stations) = counts(circuit);
            json!({
                "parts": parts, "nets": nets, "fault_modes": modes, "test_points": points,
                "stations": stations, "mods": circuit.mods.len(), "drills": self.drills,
                "questions": self.questions,
            })
        });
        json!({
            "system": self.name,
            "usable": !self.is_unusable(),
            "unreadable": self.unreadable.as_ref().map(|error| plain(&error.to_string())),
            "counts": counts,
            "findings": findings,
        })
    }
}

/// Parts, nets, fault modes, test points, stations.
fn counts(circuit: &Circuit) -> (usize, usize, usize, usize, usize) {
    let modes = crate::faults::all(circuit).len();
    let (points, stations) = (circuit.test_points.len(), circuit.stations.len());
    (circuit.parts.len(), circuit.nets.len(), modes, points, stations)
}

fn once(arguments: &args::Check) -> Result<Ended> {
    let effort = if arguments.thorough { Effort::Thorough } else { Effort::Quick };
    let mut out = std::io::stdout().lock();
    let mut all = Vec::new();
    for path in &arguments.files {
        let checked = Checked::new(&path.to_string_lossy(), effort);
        if !arguments.json {
            checked.write(&mut out)?;
            out.flush()?;
            if let Some(error) = &checked.unreadable {
                writeln!(std::io::stderr(), "{}", plain(&error.to_string()))?;
            }
        }
        all.push(checked);
    }
    if arguments.json {
        let systems: Vec<Value> = all.iter().map(Checked::json).collect();
        writeln!(out, "{}", serde_json::to_string_pretty(&json!({ "systems": systems }))?)?;
    }
    let wrong = all.iter().filter(|checked| checked.is_unusable()).count();
    if wrong > 0 {
        anyhow::bail!("{wrong} of {} not usable as they stand", arguments.files.len());
    }
    let warned = all.iter().any(Checked::has_warnings);
    Ok(if warned { Ended::WithFinding } else { Ended::Well })
}
