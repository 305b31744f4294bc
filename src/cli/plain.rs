//! The drill as plain lines: one step a line in, what it showed a line out.
//!
//! No box-drawing, no colour, nothing that moves: a screen reader can speak it and a
//! script can drive it. It goes through the same [`Session::apply`] as the screen.

use std::collections::BTreeMap;
use std::io::{BufRead, Read, Write};
use std::path::Path;

use anyhow::Result;

use super::again::Again;
use super::{Ended, debrief as told};
use crate::circuit::{Circuit, Meter, PartId, StationId};
use crate::diagnostic::plain;
use crate::drill::command::{COMMANDS, Request, Topic, line_for, parse, steps_here};
use crate::drill::{Action, Advice, Entry, Mark, Outcome, Session, USUAL_VALUES, usual_values};
use crate::faults;
use crate::observation::{Act, Percept, Reading, Step, What, pointer_fraction, scale_fraction};
use crate::score::{Debrief, debrief, help_told, told_with_walk};
use crate::units::{bits, minutes, significant};

/// What every drill begins with.
pub(super) const TRAINING_ONLY: &str = "Training model only. On an aircraft follow the approved \
maintenance data, local rules and licensed staff. 115 V 400 Hz kills: power off and proven dead \
before hands go in; capacitors and machines keep energy; reset a breaker once at most and only \
when its cause is known.";

/// Keeps what has been done in a drill; says so once where it cannot.
pub(super) type Keep<'a> = dyn FnMut(&Session) -> Option<String> + 'a;

/// Takes what the debrief came to.
pub(super) type Judged<'a> = dyn FnMut(&Debrief) + 'a;

/// Works a drill from lines of text; `prompt` is for a person at a keyboard, `report` the
/// file that the debrief is to be written to, `again` the files that make the drill anew when
/// they are saved, `keep` keeps what was done and `judged` what came of it.
///
/// # Errors
/// When the input cannot be read, the output not written, or the model not solved.
pub(super) fn work(
    mut session: Session,
    mut input: impl BufRead,
    mut out: impl Write,
    (prompt, report): (bool, Option<&Path>),
    (mut again, keep, judged): (Option<&mut Again<'_>>, &mut Keep<'_>, &mut Judged<'_>),
) -> Result<Ended> {
    let mut circuit = std::sync::Arc::clone(session.circuit());
    let mut seen = Seen::default();
    writeln!(out, "{}", plain(&circuit.title_with_mods()))?;
    writeln!(out, "{TRAINING_ONLY}")?;
    writeln!(out, "Seed {}.", session.seed())?;
    for line in terms_told(&session) {
        writeln!(out, "{}", plain(&line))?;
    }
    tell(&mut out, &session, Topic::WriteUp)?;
    arrive(&mut out, &session, &mut seen)?;
    writeln!(out, "Type `help` for the commands.")?;
    ask(&mut out, prompt)?;
    let mut bytes = Vec::new();
    while next_line(&mut input, &mut bytes)? {
        if let Some(again) = &mut again
            && let Some(fresh) = renewed(&mut out, again, &session)?
        {
            circuit = std::sync::Arc::clone(fresh.circuit());
            session = fresh;
            seen.clear();
            arrive(&mut out, &session, &mut seen)?;
        }
        let line = String::from_utf8_lossy(&bytes);
        let line = line.trim();
        if !line.is_empty() && !line.starts_with('#') {
            match parse(&circuit, line) {
                Err(message) => writeln!(out, "{}", plain(&message))?,
                Ok(Request::Quit) => {
                    writeln!(out, "Left the drill after {}.", minutes(session.minutes()))?;
                    no_report(&mut out, report)?;
                    return Ok(Ended::Well);
                }
                Ok(Request::Tell(topic)) => tell(&mut out, &session, topic)?,
                Ok(Request::Do(action)) => {
                    act(&mut out, &mut session, action, (&mut seen, keep))?;
                    if session.call().is_some() {
                        return close(&mut out, &session, (report, judged));
                    }
                }
            }
        }
        ask(&mut out, prompt)?;
    }
    writeln!(out, "Input ended after {}; no call was made.", minutes(session.minutes()))?;
    no_report(&mut out, report)?;
    Ok(Ended::Well)
}

/// The drill made anew if its files have been saved, with what came of that in words; `None`
/// where nothing was saved, or what was saved cannot be used.
fn renewed(
    out: &mut impl Write,
    again: &mut Again<'_>,
    session: &Session,
) -> Result<Option<Session>> {
    let Some(made) = again.told(session) else { return Ok(None) };
    let (fresh, told) = match made {
        Ok((fresh, told)) => (Some(fresh), told),
        Err(why) => (None, why),
    };
    for line in told {
        writeln!(out, "{line}")?;
    }
    Ok(fresh)
}

fn no_report(out: &mut impl Write, report: Option<&Path>) -> Result<()> {
    if report.is_some() {
        writeln!(out, "No report was written: there is no debrief without a call.")?;
    }
    Ok(())
}

/// Bytes in the longest line that is read: far above any command.
const LONGEST_LINE: u64 = 4096;

/// Reads the next line; false at the end of the input.
///
/// # Errors
/// When it cannot be read, or is longer than any command.
fn next_line(input: &mut impl BufRead, bytes: &mut Vec<u8>) -> Result<bool> {
    bytes.clear();
    let read = input.by_ref().take(LONGEST_LINE).read_until(b'\n', bytes)?;
    if read as u64 == LONGEST_LINE && bytes.last() != Some(&b'\n') {
        anyhow::bail!("a line of over {LONGEST_LINE} bytes is no command; the drill ends here");
    }
    Ok(read > 0)
}

/// The terms of a drill that somebody has written, a sentence a line.
fn terms_told(session: &Session) -> Vec<String> {
    let terms = session.terms();
    let mut lines = Vec::new();
    if !terms.title.is_empty() {
        lines.push(format!("Drill: {}.", terms.title));
    }
    if !terms.brief.is_empty() {
        lines.push(terms.brief.clone());
    }
    let barred = terms.barred.told(session.circuit());
    if !barred.is_empty() {
        lines.push(barred);
    }
    if let Some(most) = terms.most_minutes {
        lines.push(format!("There are {} for it.", minutes(most)));
    }
    lines
}

/// What was last seen of each face, so that only news is told.
type Seen = BTreeMap<PartId, Percept>;

fn ask(out: &mut impl Write, prompt: bool) -> Result<()> {
    if prompt {
        write!(out, "> ")?;
        out.flush()?;
    }
    Ok(())
}

fn act(
    out: &mut impl Write,
    session: &mut Session,
    action: Action,
    (seen, keep): (&mut Seen, &mut Keep<'_>),
) -> Result<()> {
    let circuit = std::sync::Arc::clone(session.circuit());
    let outcome = session.apply(action);
    // Whatever is acknowledged has been kept before.
    if let Some(trouble) = keep(session) {
        writeln!(out, "{}", plain(&trouble))?;
    }
    match outcome {
        Outcome::Refused(why) => writeln!(out, "Not done: {}.", plain(&why))?,
        Outcome::Noted => writeln!(out, "Noted.")?,
        Outcome::Called => {}
        Outcome::Helped(help) => {
            for line in help_told(session, help)? {
                writeln!(out, "{}", plain(&line))?;
            }
        }
        Outcome::Advised(advice) => {
            writeln!(out, "{}", advice_words(&circuit, &advice))?;
            if let Advice::Do { prospect, .. } = &advice {
                for caution in prospect.path().into_iter().flat_map(|s| session.cautions_against(s))
                {
                    writeln!(out, "  as things stand, against a caution: {}", plain(&caution))?;
                }
            }
        }
        Outcome::Done(index) => {
            let entry = session.log()[index].clone();
            writeln!(
                out,
                "[{}] {}: {}.",
                minutes(entry.clock),
                plain(&entry.observation.step.told(&circuit)),
                minutes(entry.minutes)
            )?;
            for breach in &entry.breaches {
                writeln!(out, "Caution: {}.", plain(breach))?;
            }
            match entry.observation.step {
                Step::Go(_) => arrive(out, session, seen)?,
                Step::LookAround => faces(out, session, &entry, seen, true)?,
                Step::Act(_) | Step::Probe(_) => faces(out, session, &entry, seen, false)?,
            }
        }
    }
    Ok(())
}

/// Tells one thing that was seen.
fn sighting(
    out: &mut impl Write,
    indent: &str,
    session: &Session,
    what: What,
    percept: Percept,
) -> Result<()> {
    let circuit = session.circuit();
    let entry = session.log().len().saturating_sub(1);
    let mut seen = session.told(entry, what, percept);
    if let (What::Face(part), Percept::Reading(reading)) = (what, percept)
        && session.to_read().is_some_and(|(waiting, _)| waiting == what)
        && let Some(meter) = circuit.part(part).kind.meter()
    {
        seen = pointer_unread(meter, reading);
    }
    let what_words = what.told(circuit);
    writeln!(out, "{indent}{}: {}", plain(&what_words), plain(&seen))?;
    Ok(())
}

/// A pointer as it stands, for somebody who is to read it and cannot see it: the way along
/// its arc, and where the figures stand.
fn pointer_unread(meter: &Meter, reading: Reading) -> String {
    let percent = |fraction: f64| significant(100.0 * fraction, 3);
    let figures: Vec<String> = meter
        .divisions
        .iter()
        .map(|value| {
            let at = percent(scale_fraction(&meter.scale, *value));
            format!("{} {} at {at} %", significant(*value, 4), meter.unit)
        })
        .collect();
    format!(
        "the pointer stands at {} % of its arc; type: read VALUE (marks: {})",
        percent(pointer_fraction(meter, reading)),
        figures.join(", ")
    )
}

/// Tells what a step showed: its own result always, faces all or only the news.
fn faces(
    out: &mut impl Write,
    session: &Session,
    entry: &Entry,
    seen: &mut Seen,
    all: bool,
) -> Result<()> {
    let mut told = false;
    for &(what, percept) in &entry.observation.percepts {
        let news = match what {
            What::Face(part) => {
                // A breaker that does not stay in looks as before, and that is the news.
                let pushed = entry.observation.step == Step::Act(Act::PushIn(part));
                seen.insert(part, percept) != Some(percept) || all || pushed
            }
            What::WhileHeld(part) => seen.get(&part) != Some(&percept),
            What::InHand(_) | What::Display(_) => true,
            // Told with the station.
            What::Standing(_) => false,
        };
        if news {
            told = true;
            sighting(out, "  ", session, what, percept)?;
        }
    }
    if !told {
        writeln!(out, "  nothing changes here")?;
    }
    Ok(())
}

/// Tells a station one has come to: cautions, then everything it shows.
fn arrive(out: &mut impl Write, session: &Session, seen: &mut Seen) -> Result<()> {
    let circuit = session.circuit();
    let station = circuit.station(session.place().station);
    writeln!(out, "At {}.", plain(&station.title))?;
    for caution in &station.cautions {
        writeln!(out, "Caution: {}", plain(caution))?;
    }
    for (part, percept) in session.faces() {
        let what = What::Face(part);
        seen.insert(part, percept);
        sighting(out, "  ", session, what, percept)?;
    }
    for control in crate::drill::view(session).controls {
        writeln!(
            out,
            "  {} ({}): {}{}",
            plain(&control.label),
            plain(&circuit.part(control.part).id),
            plain(&control.positions[control.at]),
            plain(&unusual(circuit, &control))
        )?;
    }
    Ok(())
}

/// Where a control usually stands, when it does not.
fn unusual(circuit: &Circuit, control: &crate::drill::Control) -> String {
    let usual = circuit.part(control.part).kind.control().map(|known| usize::from(known.start));
    match usual.and_then(|at| control.positions.get(at)) {
        Some(name) if *name != control.positions[control.at] => format!(", usually {name}"),
        _ => String::new(),
    }
}

fn advice_words(circuit: &Circuit, advice: &Advice) -> String {
    match advice {
        Advice::Nothing => "Nothing that may be wrong here explains what was seen.".to_owned(),
        Advice::Call { cause, group_probability } => format!(
            "Best: make the call. The observations give {} {} %.\n  type: call {}",
            plain(&cause.repair_group(circuit)),
            significant(100.0 * group_probability, 3),
            plain(&cause.code(circuit))
        ),
        Advice::Do { prospect, candidates, groups, rests } => {
            let mut text = format!(
                "{candidates} faults in {groups} repair groups are left. Best: {}, worth {} \
                 for {}. {}",
                plain(&told_with_walk(circuit, prospect)),
                bits(prospect.bits),
                minutes(prospect.minutes),
                rests.told()
            );
            for step in prospect.path() {
                text.push_str("\n  type: ");
                text.push_str(&plain(&line_for(circuit, step)));
            }
            text
        }
    }
}

fn tell(out: &mut impl Write, session: &Session, topic: Topic) -> Result<()> {
    let circuit = session.circuit();
    let place = session.place();
    match topic {
        Topic::Help => {
            for command in &COMMANDS {
                writeln!(out, "  {:<24} {}", command.form, command.help)?;
            }
        }
        Topic::WriteUp => {
            writeln!(out, "The crew wrote:")?;
            for line in &session.write_up().lines {
                writeln!(out, "  {}", plain(line))?;
            }
        }
        Topic::Stations => {
            for (id, station) in circuit.stations_with_ids() {
                let away = if id == place.station {
                    "you are here".to_owned()
                } else {
                    minutes(place.minutes_to(circuit, id))
                };
                writeln!(out, "  {:<16} {} ({away})", plain(&station.id), plain(&station.title))?;
            }
        }
        Topic::Steps => steps(out, session)?,
        Topic::Notebook => {
            for entry in session.log() {
                writeln!(
                    out,
                    "  [{}] {}",
                    minutes(entry.clock),
                    plain(&entry.observation.step.told(circuit))
                )?;
                for &(what, percept) in &entry.observation.percepts {
                    if !matches!(what, What::Face(_) | What::WhileHeld(_)) {
                        sighting(out, "      ", session, what, percept)?;
                    }
                }
            }
        }
        Topic::Board => {
            for (part, mark) in session.marks() {
                let word = match mark {
                    Mark::Suspect => "suspect",
                    Mark::Cleared => "cleared",
                };
                writeln!(out, "  {}: {word}", plain(&circuit.part(*part).id))?;
            }
            if session.marks().is_empty() {
                writeln!(out, "  no marks yet")?;
            }
        }
        Topic::Modes(part) => {
            for mode in faults::modes(circuit.part(part)) {
                let id = plain(&circuit.part(part).id);
                writeln!(out, "  {id}:{} - {id} {}", plain(&mode.name), plain(&mode.text))?;
            }
        }
        Topic::Values => {
            writeln!(out, "  {USUAL_VALUES}")?;
            for usual in usual_values(session, session.place().station) {
                writeln!(out, "  {}: {}", plain(&usual.name), plain(&usual.value))?;
            }
        }
        Topic::WiringList => {
            for (id, part) in circuit.parts_with_ids() {
                let nets: Vec<String> = circuit
                    .connections(id)
                    .into_iter()
                    .map(|net| plain(&circuit.net_with_points(net)))
                    .collect();
                writeln!(out, "  {}: {}", plain(&part.id), nets.join(" - "))?;
            }
        }
        Topic::Wiring(part) => {
            for net in circuit.connections(part) {
                let others: Vec<String> = circuit
                    .parts_with_ids()
                    .filter(|(id, _)| *id != part && circuit.connections(*id).contains(&net))
                    .map(|(_, other)| plain(&other.id))
                    .collect();
                writeln!(
                    out,
                    "  {}: {}",
                    plain(&circuit.net_with_points(net)),
                    if net == crate::circuit::AIRFRAME {
                        "airframe".to_owned()
                    } else {
                        others.join(", ")
                    }
                )?;
            }
        }
        Topic::Place(part) => {
            let part = circuit.part(part);
            writeln!(
                out,
                "  {} ({}) is at {}; to replace it takes {}",
                plain(&part.id),
                plain(&part.label),
                plain(&circuit.station(part.station).title),
                minutes(part.replace_minutes)
            )?;
        }
    }
    Ok(())
}

fn steps(out: &mut impl Write, session: &Session) -> Result<()> {
    let circuit = session.circuit();
    let here: StationId = session.place().station;
    for (step, cost) in steps_here(session) {
        writeln!(out, "  {:<32} {}", plain(&line_for(circuit, step)), minutes(cost))?;
    }
    let points: Vec<String> =
        circuit.test_points.iter().filter(|t| t.station == here).map(|t| plain(&t.id)).collect();
    if !points.is_empty() {
        writeln!(out, "  test points for ac, dc, ohms: {}", points.join(", "))?;
    }
    let parts: Vec<String> = circuit
        .parts
        .iter()
        .filter(|p| p.station == here)
        .map(|p| format!("{} ({})", plain(&p.id), minutes(p.replace_minutes)))
        .collect();
    writeln!(out, "  parts that can be replaced here: {}", parts.join(", "))?;
    Ok(())
}

/// Prints the debrief, and then writes it to a file where that is asked for.
fn close(
    out: &mut impl Write,
    session: &Session,
    (report, judged): (Option<&Path>, &mut Judged<'_>),
) -> Result<Ended> {
    let debrief = debrief(session)?;
    judged(&debrief);
    told::write(out, &debrief)?;
    for point in &session.terms().learn {
        writeln!(out, "To take away: {}", plain(point))?;
    }
    if let Some(path) = report {
        // What has been worked is on the page by now; a file that fails loses nothing.
        writeln!(out, "{}", told::write_report(path, session, &debrief)?)?;
    }
    Ok(if debrief.verdict.right_part { Ended::Well } else { Ended::WithFinding })
}
