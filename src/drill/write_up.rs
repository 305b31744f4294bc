//! The crew's report: what they would have noticed, in their words.

use super::reader::Reader;
use super::terms::{Telling, Terms};
use crate::circuit::StationId;
use crate::diagnosis::{Belief, Observation};
use crate::faults::{Cause, Scope};
use crate::isolation::crew_stations;
use crate::network::SolveError;
use crate::observation::{Percept, Rig, Sight, Step, What};

/// What the crew wrote, and the observations that stand behind it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WriteUp {
    /// One line per thing that was not as usual, or the crew's own words.
    pub lines: Vec<String>,
    /// What the crew have told, normal or not, and what is seen from where one begins: what
    /// the reasoner starts from.
    pub observations: Vec<Observation>,
    /// Stations where something was not as usual.
    pub symptoms: Vec<StationId>,
}

/// Something that the crew can see.
struct Noticed {
    what: What,
    seen: Percept,
    /// Whether it is not as usual.
    odd: bool,
}

/// Writes the report from what the crew see now against what they see normally.
///
/// # Errors
/// [`SolveError`] when some cause of the scope leaves the circuit without a solution; only
/// a report that misleads weighs them.
pub(super) fn compose(
    (normal, aircraft): (&Rig, &Rig),
    reader: &Reader,
    (planted, scope): (&Cause, Scope),
    terms: &Terms,
    begins_at: StationId,
) -> Result<WriteUp, SolveError> {
    let circuit = normal.circuit();
    let mut report = WriteUp::default();
    let all: Vec<(StationId, Vec<Noticed>)> = crew_stations(circuit)
        .map(|station| (station, look(normal, aircraft, reader, station)))
        .collect();
    for (station, noticed) in &all {
        if noticed.iter().any(|one| one.odd) {
            report.symptoms.push(*station);
        }
    }
    let only = match &terms.telling {
        Telling::Complete => None,
        Telling::Partial(parts) => Some(parts.iter().map(|part| What::Face(*part)).collect()),
        Telling::Misleading => Some(least_telling(normal, &all, planted, scope)?),
    };
    let told = |what: What| only.as_ref().is_none_or(|only: &Vec<What>| only.contains(&what));
    for (station, noticed) in &all {
        let told: Vec<&Noticed> = noticed.iter().filter(|one| told(one.what)).collect();
        for one in &told {
            // What was asked for by name is told though it may be as usual.
            let by_name = matches!(terms.telling, Telling::Partial(_));
            if one.odd || by_name {
                let seen = one.seen.told(one.what, circuit);
                report.lines.push(format!("{}: {seen}", one.what.told(circuit)));
            }
        }
        if !told.is_empty() {
            let percepts = told.into_iter().map(|one| (one.what, one.seen)).collect();
            let station = *station;
            report.observations.push(Observation { step: Step::LookAround, station, percepts });
        }
    }
    // One stands there and sees it, whatever the crew have said of it.
    let percepts: Vec<(What, Percept)> = look(normal, aircraft, reader, begins_at)
        .into_iter()
        .map(|one| (one.what, one.seen))
        .collect();
    let known =
        report.observations.iter().any(|o| o.station == begins_at && o.percepts == percepts);
    if !known && !percepts.is_empty() {
        let (step, station) = (Step::LookAround, begins_at);
        report.observations.push(Observation { step, station, percepts });
    }
    if !terms.words.is_empty() {
        report.lines = vec![terms.words.clone()];
    }
    if report.lines.is_empty() {
        report.lines.push("Nothing unusual noticed; function check asked for.".to_owned());
    }
    Ok(report)
}

/// What can be seen from a station.
fn look(normal: &Rig, aircraft: &Rig, reader: &Reader, station: StationId) -> Vec<Noticed> {
    let mut noticed = Vec::new();
    for ((part, now), (_, usual)) in aircraft.faces(station).zip(normal.faces(station)) {
        let what = What::Face(part);
        let seen = reader.read(Sight { what, showing: now });
        let odd = seen != reader.read(Sight { what, showing: usual });
        noticed.push(Noticed { what, seen, odd });
    }
    for (control, showing) in aircraft.standing(station) {
        let what = What::Standing(control);
        let seen = reader.read(Sight { what, showing });
        noticed.push(Noticed { what, seen, odd: false });
    }
    noticed
}

/// The one thing not as usual after which what is really wrong is least likely; nothing
/// where all is as usual.
fn least_telling(
    normal: &Rig,
    all: &[(StationId, Vec<Noticed>)],
    planted: &Cause,
    scope: Scope,
) -> Result<Vec<What>, SolveError> {
    let mut least: Option<(f64, What)> = None;
    for (station, noticed) in all {
        for one in noticed.iter().filter(|one| one.odd) {
            let told = Observation {
                step: Step::LookAround,
                station: *station,
                percepts: vec![(one.what, one.seen)],
            };
            let belief = Belief::after(normal, scope, &[told])?;
            let likely = belief.group_probability(normal.circuit(), planted);
            if least.is_none_or(|(lowest, _)| likely < lowest) {
                least = Some((likely, one.what));
            }
        }
    }
    Ok(least.map(|(_, what)| what).into_iter().collect())
}
