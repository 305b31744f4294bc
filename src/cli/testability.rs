//! `halfsplit dictionary --groups` and `--matrix`: what can be told apart, and which test
//! shows what.

use std::collections::BTreeSet;
use std::io::Write;

use anyhow::Result;

use super::Ended;
use super::dictionary::field;
use crate::diagnostic::plain;
use crate::dictionary::{Case, Dictionary, Setup, Survey, Testability};
use crate::observation::What;
use crate::units::{bits, counted, minutes, significant};

/// Groups and tests that are listed; the rest are counted.
const LISTED: usize = 200;

/// The largest group that FFI is given for.
const LARGEST: usize = 5;

/// What the names of the figures stand for.
const TERMS: &str = "A test is an observation in a setup. FFD: rate of faults that some test \
shows, over the rate of all. FFI(L): rate of those in ambiguity groups of at most L, over the \
rate of all shown. Both weighted by failure rate; MIL-STD-2165 and IEEE 1522 in style, \
definitions from memory.";

/// Prints ambiguity groups, figures, idle tests and the test point that would help most.
pub(super) fn groups(
    dictionary: &Dictionary,
    setups: &[Setup],
    out: &mut impl Write,
) -> Result<Ended> {
    let survey = dictionary.survey(setups)?;
    let circuit = dictionary.circuit();
    let names: Vec<String> =
        dictionary.singles()[1..].iter().map(|c| dictionary.name(*c)).collect();
    let unit = |at: &usize| circuit.part(dictionary.faults()[*at].0.part).group.as_str();
    let units = |group: &[usize]| group.iter().map(unit).collect::<BTreeSet<_>>().len();
    let faults = |group: &[usize]| group.len();
    writeln!(out, "{}", plain(&circuit.title_with_mods()))?;
    writeln!(out, "{TERMS}")?;
    writeln!(
        out,
        "\n{}, {}, {}",
        counted(setups.len(), "setup"),
        counted(names.len(), "single fault"),
        counted(setups.len() * dictionary.observations().len(), "test")
    )?;
    let now = &survey.now;
    writeln!(out, "{:<34} {:>9} {:>9}", "", "by fault", "by unit")?;
    writeln!(out, "{:<34} {:>7} %", "FFD", percent(now.detected_fraction()))?;
    for most in 1..=LARGEST {
        writeln!(
            out,
            "{:<34} {:>7} % {:>7} %",
            format!("FFI({most})"),
            percent(now.isolated_fraction(most, faults)),
            percent(now.isolated_fraction(most, units)),
        )?;
    }
    let (by_fault, by_unit) = (now.mean_sizes(faults), now.mean_sizes(units));
    let sizes = |name: &str, a: f64, b: f64| {
        format!("{name:<34} {:>9} {:>9}", significant(a, 3), significant(b, 3))
    };
    writeln!(out, "{}", sizes("mean group, weighted by rate", by_fault.0, by_unit.0))?;
    writeln!(out, "{}", sizes("mean group, plain", by_fault.1, by_unit.1))?;
    writeln!(out, "{:<34} {:>9}", "doubt left when all is looked at", bits(now.doubt_bits()))?;

    let listed =
        |group: &[usize]| group.iter().map(|at| plain(&names[*at])).collect::<Vec<_>>().join(", ");
    if !now.missed.is_empty() {
        writeln!(
            out,
            "\nno test shows {}: {}",
            counted(now.missed.len(), "fault"),
            listed(&now.missed)
        )?;
    }
    let alike: Vec<&Vec<usize>> = now.groups.iter().filter(|group| group.len() > 1).collect();
    let apart = now.groups.len() - alike.len();
    writeln!(
        out,
        "\n{} told apart from all others; {} of more, most frequent first:",
        counted(apart, "fault"),
        counted(alike.len(), "group")
    )?;
    for group in alike.iter().take(LISTED) {
        writeln!(out, "  {} in {}: {}", group.len(), counted(units(group), "unit"), listed(group))?;
    }
    more(out, alike.len())?;
    idle(dictionary, &survey, out)?;
    best(dictionary, &survey, units, out)?;
    Ok(if survey.depends.iter().any(Option::is_none) { Ended::WithFinding } else { Ended::Well })
}

fn percent(fraction: f64) -> String {
    format!("{:.1}", 100.0 * fraction)
}

fn more(out: &mut impl Write, count: usize) -> Result<()> {
    if count > LISTED {
        writeln!(out, "  and {} more", count - LISTED)?;
    }
    Ok(())
}

/// Observations that show the same whatever has failed, in every setup.
fn idle(dictionary: &Dictionary, survey: &Survey, out: &mut impl Write) -> Result<()> {
    let circuit = dictionary.circuit();
    let helps =
        |at: usize| survey.depends.iter().flatten().any(|rows| rows.iter().any(|row| row[at]));
    // By what one does: a look, or volts of one kind.
    let mut idle: Vec<(String, Vec<&str>)> = Vec::new();
    for (_, what) in dictionary.observations().iter().enumerate().filter(|(at, _)| !helps(*at)) {
        let (how, name) = match what {
            What::Display(probe) => {
                (format!("{} at", probe.function.name()), probe.red.name(circuit))
            }
            What::Face(part)
            | What::Standing(part)
            | What::InHand(part)
            | What::WhileHeld(part) => ("the face of".to_owned(), circuit.part(*part).id.as_str()),
        };
        match idle.iter_mut().find(|(of, _)| *of == how) {
            Some((_, names)) => names.push(name),
            None => idle.push((how, vec![name])),
        }
    }
    if idle.is_empty() {
        writeln!(out, "\nevery observation shows some fault")?;
        return Ok(());
    }
    let count = idle.iter().map(|(_, names)| names.len()).sum();
    writeln!(out, "\n{} that never show anything, whatever fails:", counted(count, "observation"))?;
    for (how, names) in idle {
        writeln!(out, "  {how} {}", plain(&names.join(", ")))?;
    }
    Ok(())
}

/// The one test point that would help most.
fn best(
    dictionary: &Dictionary,
    survey: &Survey,
    units: impl Fn(&[usize]) -> usize,
    out: &mut impl Write,
) -> Result<()> {
    let Some(best) = &survey.best else {
        writeln!(out, "\nno further test point would tell faults apart")?;
        return Ok(());
    };
    let circuit = dictionary.circuit();
    writeln!(
        out,
        "\nthe one test point that would help most: net {} at {} ({} from the first station)",
        plain(circuit.net_name(best.net)),
        plain(&circuit.station(best.station).title),
        minutes(best.minutes)
    )?;
    let told = |of: &Testability| {
        format!(
            "FFD {} %, FFI(1) {} % by fault and {} % by unit, {} of doubt",
            percent(of.detected_fraction()),
            percent(of.isolated_fraction(1, <[usize]>::len)),
            percent(of.isolated_fraction(1, &units)),
            bits(of.doubt_bits())
        )
    };
    writeln!(out, "  now:     {}", told(&survey.now))?;
    writeln!(out, "  with it: {}", told(&best.with))?;
    Ok(())
}

/// What is observed, in words.
fn observations(dictionary: &Dictionary) -> Result<Vec<String>> {
    let page = dictionary.settle(&Setup::normal())?;
    let entry = dictionary.entry(&page, Case::Sound)?;
    Ok(dictionary.told(&entry).map(|row| row.observation).collect())
}

/// Prints a line for each fault and a column for each test: 1 where the fault shows, which is
/// where the test depends on what has failed.
pub(super) fn matrix(
    dictionary: &Dictionary,
    setups: &[Setup],
    out: &mut impl Write,
) -> Result<Ended> {
    let survey = dictionary.survey(setups)?;
    let circuit = dictionary.circuit();
    let titles = observations(dictionary)?;
    write!(out, "fault,rate,unit")?;
    for (setup, _) in setups.iter().zip(&survey.depends).filter(|(_, rows)| rows.is_some()) {
        for title in &titles {
            write!(out, ",{}", field(&format!("{}: {title}", setup.name)))?;
        }
    }
    writeln!(out)?;
    for (at, (fault, mode)) in dictionary.faults().iter().enumerate() {
        let unit = &circuit.part(fault.part).group;
        write!(out, "{},{},{}", field(&fault.code(circuit)), mode.rate, field(unit))?;
        for rows in survey.depends.iter().flatten() {
            for shows in &rows[at] {
                write!(out, ",{}", u8::from(*shows))?;
            }
        }
        writeln!(out)?;
    }
    Ok(if survey.depends.iter().any(Option::is_none) { Ended::WithFinding } else { Ended::Well })
}
