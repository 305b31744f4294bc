//! Reads a system file in one of its builds, or checks it in those that matter.
//!
//! A system without mods has one build. With mods it has as many as there are sets of
//! them; an author looks at the plain one, each mod alone and all together.

use std::collections::BTreeMap;

use super::Circuit;
use super::file::{Findings, quoted};
use super::mods::{self, MOD_LIMIT};
use super::origins::{Origins, Remark};
use super::resolve::resolve;
use super::sources::Sources;
use crate::diagnostic::{Diagnostic, Place};

/// Reads a system file.
///
/// `file_name` is used in findings only. The circuit is there unless one of the
/// findings is an error; the findings come in the order of their places.
///
/// ```
/// let text = r#"System(
///     id: "lamp", title: "A lamp",
///     stations: [Station(id: "desk", title: "DESK")],
///     nets: ["BAT"],
///     parts: [
///         Supply(id: "B1", at: "desk", plus: "BAT"),
///         Lamp(id: "L1", at: "desk", a: "BAT"),
///     ],
/// )"#;
/// let (circuit, findings) = halfsplit::circuit::read_system("lamp.ron", text);
/// assert!(findings.is_empty());
/// assert_eq!(circuit.expect("no error was found").parts.len(), 2);
/// ```
pub fn read_system(file_name: &str, text: &str) -> (Option<Circuit>, Vec<Diagnostic>) {
    read_build(file_name, text, &[])
}

/// As [`read_system`], with these mods fitted.
///
/// Mods are named by their ids, without regard to case; they apply in the order of
/// the file whatever the order here. A mod that the file does not offer is among the
/// findings.
///
/// ```
/// let text = r#"System(
///     id: "lamp", title: "A lamp",
///     stations: [Station(id: "desk", title: "DESK")],
///     nets: ["BAT"],
///     parts: [
///         Supply(id: "B1", at: "desk", plus: "BAT"),
///         Lamp(id: "L1", at: "desk", a: "BAT"),
///     ],
///     mods: [Mod(id: "7", title: "One bulb", change: [Lamp(id: "L1", bulbs: 1)])],
/// )"#;
/// let (circuit, findings) = halfsplit::circuit::read_build("lamp.ron", text, &["7"]);
/// assert!(findings.is_empty());
/// assert_eq!(circuit.expect("no error was found").title_with_mods(), "A lamp, mod 7");
/// ```
pub fn read_build(
    file_name: &str,
    text: &str,
    mods: &[&str],
) -> (Option<Circuit>, Vec<Diagnostic>) {
    read_sources(&Sources::single(file_name, text), mods)
}

/// As [`read_build`], of a system in one file or several.
pub fn read_sources(sources: &Sources, mods: &[&str]) -> (Option<Circuit>, Vec<Diagnostic>) {
    let mut findings = Findings::over(sources.lines());
    let circuit = sources.join(&mut findings).and_then(|(file, root)| {
        let which = mods::chosen(&file, &root, mods, &mut findings);
        resolve(&file, &root, &which, &mut findings).map(|(circuit, _)| circuit)
    });
    (circuit, findings.into_sorted())
}

/// Reads a system in every build an author should look at: plain, with each mod
/// alone, and with all of them.
///
/// A finding is reported once; where it does not arise in all of these builds, its
/// message begins with those in which it does. The circuit is the plain build, there
/// unless one of the findings is an error.
pub fn check_builds(file_name: &str, text: &str) -> (Option<Circuit>, Vec<Diagnostic>) {
    check_builds_with(&Sources::single(file_name, text), |_, _| Vec::new())
}

/// As [`check_builds`], with what `look` finds in the circuit of each of these builds. A
/// remark that is an error keeps the system from being used, as one in its text does.
pub fn check_builds_with(
    sources: &Sources,
    look: impl Fn(&Circuit, &Origins) -> Vec<Remark>,
) -> (Option<Circuit>, Vec<Diagnostic>) {
    let mut found = Findings::over(sources.lines());
    let Some((file, root)) = sources.join(&mut found) else {
        return (None, found.into_sorted());
    };
    // What has been found by now is so in every build.
    let mut findings = found.clone();
    let read = |which: &[usize], findings: &mut Findings| {
        let (circuit, origins) = resolve(&file, &root, which, findings)?;
        for remark in look(&circuit, &origins) {
            let place = origins.place(remark.spot);
            findings.remark(remark, place);
        }
        (!findings.has_errors()).then_some(circuit)
    };
    let mut plain = read(&[], &mut findings);
    let mut builds = vec![Build { name: "without mods".to_owned(), found: findings.into_sorted() }];
    // Too many mods have been reported by now; none of them is worth a reading.
    let count = if file.mods.len() > MOD_LIMIT { 0 } else { file.mods.len() };
    let alone = (0..count).map(|at| (format!("with mod {}", quoted(&file.mods[at].id)), vec![at]));
    let all = (count > 1).then(|| (ALL_MODS.to_owned(), (0..count).collect()));
    for (name, which) in alone.chain(all) {
        let mut findings = found.clone();
        if read(&which, &mut findings).is_none() {
            plain = None;
        }
        builds.push(Build { name, found: findings.into_sorted() });
        if builds.iter().map(|build| build.found.len()).sum::<usize>() > ENOUGH {
            break;
        }
    }
    let files: Vec<&str> = sources.texts().map(|(name, _)| name).collect();
    (plain, told_once(&builds, &files))
}

/// Once so many findings have been made no further builds are read.
const ENOUGH: usize = 300;

/// At most this many builds are named before a finding.
const NAMED: usize = 4;

/// The name of the build with everything.
const ALL_MODS: &str = "with all mods";

/// One way of building the system, and what was found in it.
struct Build {
    name: String,
    found: Vec<Diagnostic>,
}

/// The findings of all builds by place, each once, with the builds in which it arises
/// unless it arises in all.
fn told_once(builds: &[Build], files: &[&str]) -> Vec<Diagnostic> {
    let mut told: Vec<(&Diagnostic, Vec<&str>)> = Vec::new();
    let mut known: BTreeMap<(&str, Place, &str, &str), usize> = BTreeMap::new();
    for build in builds {
        for finding in &build.found {
            let (file, message) = (finding.file.as_str(), finding.message.as_str());
            let key = (file, finding.place, finding.code, message);
            let at = *known.entry(key).or_insert(told.len());
            if at == told.len() {
                told.push((finding, Vec::new()));
            }
            told[at].1.push(&build.name);
        }
    }
    let mut told: Vec<Diagnostic> = told
        .into_iter()
        .map(|(finding, arises)| match builds_of(arises, builds.len()) {
            None => finding.clone(),
            Some(names) => {
                Diagnostic { message: format!("{names}: {}", finding.message), ..finding.clone() }
            }
        })
        .collect();
    let of = |finding: &Diagnostic| files.iter().position(|file| *file == finding.file);
    told.sort_by_key(|finding| (of(finding), finding.place));
    told
}

/// The builds in which a finding arises as words, unless it arises in all of them.
fn builds_of(mut arises: Vec<&str>, count: usize) -> Option<String> {
    if arises.len() == count {
        return None;
    }
    // What one mod does by itself it also does among all of them.
    if arises.len() > 1 {
        arises.retain(|name| *name != ALL_MODS);
    }
    let more = if arises.len() > NAMED { ", …" } else { "" };
    arises.truncate(NAMED);
    Some(arises.join(", ") + more)
}
