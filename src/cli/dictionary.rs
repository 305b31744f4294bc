//! `halfsplit dictionary`: what every fault shows in every setup.
//!
//! Entries are worked out a batch at a time by all jobs and written in order, so the
//! bytes are the same for any number of jobs and memory holds one batch.

use std::io::{IsTerminal, Write};
use std::sync::Arc;

use anyhow::{Context, Result, anyhow};
use rayon::prelude::*;
use serde_json::{Map, Value, json};

use super::{Ended, args, testability};
use crate::diagnostic::plain;
use crate::dictionary::{Case, Dictionary, Entry, Fingerprint, Groups, Page, Setup, read_setups};
use crate::library;
use crate::network::SolveError;

/// Entries that are worked out before they are written.
const BATCH: usize = 512;

/// Groups that are listed in full; the rest are counted.
const LISTED: usize = 200;

/// Prints the dictionary, or a summary of it.
pub(super) fn run(arguments: &args::Dictionary) -> Result<Ended> {
    let circuit = Arc::new(arguments.build.load()?);
    let usual = if arguments.groups || arguments.matrix { "single" } else { "normal" };
    let setups = match arguments.setups.as_deref().unwrap_or(usual) {
        "normal" => vec![Setup::normal()],
        "single" => Setup::single(&circuit),
        file => {
            let text = library::read_file(file)?;
            let name = plain(file);
            let (setups, findings) = read_setups(&circuit, &name, &text);
            if !findings.is_empty() {
                let lines: Vec<String> = findings.iter().map(ToString::to_string).collect();
                return Err(anyhow!(lines.join("\n")));
            }
            setups
        }
    };
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(arguments.jobs.map_or(0, usize::from))
        .build()
        .context("no threads to work with")?;
    let dictionary = Dictionary::new(circuit)?;
    if arguments.groups || arguments.matrix {
        let mut out = std::io::BufWriter::new(std::io::stdout());
        let told = if arguments.groups { testability::groups } else { testability::matrix };
        let ended = pool.install(|| told(&dictionary, &setups, &mut out))?;
        out.flush()?;
        return Ok(ended);
    }
    let mut cases = dictionary.singles();
    if arguments.pairs {
        cases.extend(dictionary.pairs());
    }
    let mut out = std::io::BufWriter::new(std::io::stdout());
    let work = Work { dictionary: &dictionary, setups: &setups, cases: &cases };
    let unsolved = if arguments.csv {
        writeln!(out, "setup,fault,observation,perceived,value")?;
        pool.install(|| work.write(&mut out, csv))?
    } else if arguments.json {
        pool.install(|| work.write(&mut out, json_line))?
    } else {
        pool.install(|| work.summarize(&mut out))?
    };
    out.flush()?;
    Ok(unsolved.told())
}

/// States that have no solution: they are left out, and said at the end.
#[derive(Default)]
struct Unsolved {
    told: Vec<String>,
    more: usize,
}

/// States without a solution that are named.
const NAMED: usize = 20;

impl Unsolved {
    fn add(&mut self, what: &str, why: &SolveError) {
        if self.told.len() < NAMED {
            self.told.push(format!("{what}: {}", plain(&why.to_string())));
        } else {
            self.more += 1;
        }
    }

    /// Says on standard error which states were left out.
    fn told(self) -> Ended {
        if self.told.is_empty() {
            return Ended::Well;
        }
        let more =
            if self.more > 0 { format!("  and {} more\n", self.more) } else { String::new() };
        let text = format!("left out, having no solution:\n  {}\n{more}", self.told.join("\n  "));
        // What cannot be shown is no reason to fail.
        let _ = std::io::stderr().write_all(text.as_bytes());
        Ended::WithFinding
    }
}

struct Work<'a> {
    dictionary: &'a Dictionary,
    setups: &'a [Setup],
    cases: &'a [Case],
}

/// Turns one entry into text.
type Render = fn(&mut Vec<u8>, &Dictionary, &Setup, Case, &Entry<'_>) -> Result<()>;

impl Work<'_> {
    /// Works through setups and cases in order.
    fn write(&self, out: &mut (impl Write + Send), render: Render) -> Result<Unsolved> {
        let dictionary = self.dictionary;
        let mut progress = Progress::new(self.setups.len() * self.cases.len());
        let mut unsolved = Unsolved::default();
        for setup in self.setups {
            let Some(page) = self.page(setup, &mut unsolved) else { continue };
            for batch in self.cases.chunks(BATCH) {
                let texts: Vec<Result<Result<Vec<u8>, SolveError>>> = batch
                    .par_iter()
                    .map(|case| {
                        let mut text = Vec::new();
                        Ok(match dictionary.entry(&page, *case) {
                            Ok(entry) => {
                                render(&mut text, dictionary, setup, *case, &entry)?;
                                Ok(text)
                            }
                            Err(why) => Err(why),
                        })
                    })
                    .collect();
                for (case, text) in batch.iter().zip(texts) {
                    match text? {
                        Ok(text) => out.write_all(&text)?,
                        Err(why) => unsolved.add(&about(dictionary, setup, *case), &why),
                    }
                }
                progress.advance(batch.len());
            }
        }
        Ok(unsolved)
    }

    fn page(&self, setup: &Setup, unsolved: &mut Unsolved) -> Option<Page> {
        match self.dictionary.settle(setup) {
            Ok(page) => Some(page),
            Err(why) => {
                unsolved.add(&format!("setup {} as a whole", plain(&setup.name)), &why);
                None
            }
        }
    }

    fn summarize(&self, out: &mut (impl Write + Send)) -> Result<Unsolved> {
        let (dictionary, cases) = (self.dictionary, self.cases);
        let mut progress = Progress::new(self.setups.len() * cases.len());
        let mut prints = vec![Fingerprint::default(); cases.len()];
        let (mut states, mut untouched, mut unsolved) = (0, 0, Unsolved::default());
        for setup in self.setups {
            let Some(page) = self.page(setup, &mut unsolved) else { continue };
            for (cases, prints) in cases.chunks(BATCH * 8).zip(prints.chunks_mut(BATCH * 8)) {
                let found: Vec<Result<bool, SolveError>> = cases
                    .par_iter()
                    .zip(prints)
                    .map(|(case, print)| {
                        let entry = dictionary.entry(&page, *case);
                        *print = match &entry {
                            Ok(entry) => print.with(entry),
                            Err(_) => print.with_no_solution(),
                        };
                        entry.map(|entry| entry.touched())
                    })
                    .collect();
                for (case, touched) in cases.iter().zip(found) {
                    match touched {
                        Ok(touched) => {
                            states += 1;
                            untouched += usize::from(!touched);
                        }
                        Err(why) => unsolved.add(&about(dictionary, setup, *case), &why),
                    }
                }
                progress.advance(cases.len());
            }
        }
        drop(progress);
        let sound = prints[0];
        let (single, double) = (dictionary.faults().len(), cases.len() - 1);
        writeln!(out, "{}", plain(&dictionary.circuit().title_with_mods()))?;
        let setups = if self.setups.len() == 1 { "setup" } else { "setups" };
        writeln!(out, "{:>9} {setups}", self.setups.len())?;
        writeln!(out, "{single:>9} single faults")?;
        if double > single {
            writeln!(out, "{:>9} pairs of faults of two parts", double - single)?;
        }
        writeln!(out, "{:>9} observations in each setup", dictionary.observations().len())?;
        writeln!(
            out,
            "{states:>9} states, of which {untouched} differ in nothing electrical from the sound one",
        )?;
        let (ones, twos) = (single + 1, &cases[single + 1..]);
        let singles = Groups::of(&cases[..ones], &prints[..ones], sound);
        self.told(out, "single faults", &singles, true)?;
        if !twos.is_empty() {
            self.told(out, "pairs", &Groups::of(twos, &prints[ones..], sound), false)?;
            let all = Groups::of(cases, &prints, sound);
            self.told(out, "single faults and pairs together", &all, false)?;
        }
        Ok(unsolved)
    }

    fn told(&self, out: &mut impl Write, what: &str, groups: &Groups, list: bool) -> Result<()> {
        writeln!(out, "\n{what}, by what is perceived with instruments that read true:")?;
        writeln!(out, "{:>9} show nothing in any of these setups", groups.nothing.len())?;
        writeln!(out, "{:>9} are told apart from all others", groups.apart)?;
        let within: usize = groups.alike.iter().map(Vec::len).sum();
        writeln!(out, "{within:>9} look like others, in {} groups", groups.alike.len())?;
        if !list {
            return Ok(());
        }
        let names = |cases: &[Case]| {
            let names: Vec<String> =
                cases.iter().map(|case| plain(&self.dictionary.name(*case))).collect();
            names.join(", ")
        };
        if !groups.nothing.is_empty() {
            writeln!(out, "\nshow nothing: {}", names(&groups.nothing))?;
        }
        for (at, group) in groups.alike.iter().take(LISTED).enumerate() {
            writeln!(out, "\ngroup {}: {}", at + 1, names(group))?;
        }
        if groups.alike.len() > LISTED {
            writeln!(out, "\nand {} more groups", groups.alike.len() - LISTED)?;
        }
        Ok(())
    }
}

fn about(dictionary: &Dictionary, setup: &Setup, case: Case) -> String {
    format!("{} in setup {}", plain(&dictionary.name(case)), plain(&setup.name))
}

fn csv(
    text: &mut Vec<u8>,
    dictionary: &Dictionary,
    setup: &Setup,
    case: Case,
    entry: &Entry<'_>,
) -> Result<()> {
    let (setup, fault) = (field(&setup.name), field(&dictionary.name(case)));
    for row in dictionary.told(entry) {
        let (observation, perceived) = (field(&row.observation), field(&row.perceived));
        write!(text, "{setup},{fault},{observation},{perceived},")?;
        if let Some(value) = row.value {
            write!(text, "{value}")?;
        }
        text.push(b'\n');
    }
    Ok(())
}

/// A field of a comma-separated line, quoted where it has to be (RFC 4180).
pub(super) fn field(text: &str) -> String {
    let text = plain(text);
    if text.contains([',', '"']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}

fn json_line(
    text: &mut Vec<u8>,
    dictionary: &Dictionary,
    setup: &Setup,
    case: Case,
    entry: &Entry<'_>,
) -> Result<()> {
    let observations: Map<String, Value> = dictionary
        .told(entry)
        .map(|row| {
            let seen = match row.value {
                Some(value) => json!({ "perceived": row.perceived, "value": value }),
                None => json!({ "perceived": row.perceived }),
            };
            (row.observation, seen)
        })
        .collect();
    let fault = match case {
        Case::Sound => Value::Null,
        Case::One(_) | Case::Two(..) => dictionary.name(case).into(),
    };
    let line = json!({ "setup": setup.name, "fault": fault, "observations": observations });
    writeln!(text, "{line}")?;
    Ok(())
}

/// How far the work is, on standard error when that is a terminal.
struct Progress {
    all: usize,
    done: usize,
    shown: Option<usize>,
}

impl Progress {
    fn new(all: usize) -> Self {
        let shown = std::io::stderr().is_terminal().then_some(0);
        Self { all: all.max(1), done: 0, shown }
    }

    fn advance(&mut self, by: usize) {
        self.done += by;
        let percent = 100 * self.done / self.all;
        if self.shown.is_some_and(|shown| percent > shown) {
            self.shown = Some(percent);
            let bar = "#".repeat(percent * 40 / 100);
            // What cannot be shown is no reason to stop.
            let _ = write!(std::io::stderr(), "\r[{bar:<40}] {percent:>3} %");
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if self.shown.is_some() {
            let _ = write!(std::io::stderr(), "\r{:<50}\r", "");
        }
    }
}
