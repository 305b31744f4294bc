//! The crew's report: what they would have noticed, in their words.

use super::baseline::Baseline;
use super::reader::Reader;
use super::terms::{Telling, Terms};
use crate::circuit::{Circuit, StationId};
use crate::diagnosis::Observation;
use crate::faults::{Cause, Exposure, Scope, mode_of};
use crate::isolation::crew_stations;
use crate::network::SolveError;
use crate::observation::{Act, Percept, Rig, Sight, Step, What};

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

impl WriteUp {
    /// Takes an aircraft through what the crew did with it.
    pub(super) fn undergo(&self, rig: &mut Rig) -> Result<(), SolveError> {
        for told in &self.observations {
            if let Step::Act(_) = told.step {
                rig.perform(told.step, told.station, &mut Vec::new())?;
            }
        }
        Ok(())
    }
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
    (baseline, aircraft): (&Baseline, &Rig),
    reader: &Reader,
    (planted, scope): (&Cause, Scope),
    terms: &Terms,
    begins_at: StationId,
) -> Result<WriteUp, SolveError> {
    let normal = baseline.normal();
    let circuit = normal.circuit();
    let mut report = WriteUp::default();
    // What comes and goes was there in flight and is gone on the ground.
    let flown = exposed(normal, aircraft, (planted, circuit))?;
    let in_flight = flown.as_ref().map_or((normal, aircraft), |flown| (&flown.normal, &flown.now));
    let all: Vec<(StationId, Vec<Noticed>)> =
        crew_stations(circuit).map(|station| (station, look(in_flight, reader, station))).collect();
    if let Some(flown) = &flown {
        report.observations.push(flown.told(flown.act));
    }
    for (station, noticed) in &all {
        if noticed.iter().any(|one| one.odd) {
            report.symptoms.push(*station);
        }
    }
    let only = match &terms.telling {
        Telling::Complete => None,
        Telling::Partial(parts) => Some(parts.iter().map(|part| What::Face(*part)).collect()),
        Telling::Misleading => {
            let before = report.observations.clone();
            Some(least_telling(baseline, (&all, &before), planted, scope)?)
        }
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
    if let Some(flown) = &flown {
        for line in &mut report.lines {
            *line = format!("with {}, {line}", flown.under.name());
        }
        report.observations.push(flown.told(flown.back));
    }
    // One stands there and sees it, whatever the crew have said of it.
    let landed = flown.as_ref().map_or(aircraft, |flown| &flown.after);
    let percepts: Vec<(What, Percept)> = look((normal, landed), reader, begins_at)
        .into_iter()
        .map(|one| (one.what, one.seen))
        .collect();
    let known = flown.is_none()
        && report.observations.iter().any(|o| o.station == begins_at && o.percepts == percepts);
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

/// An aircraft with a failure that comes and goes, in flight and after it.
struct Flown {
    under: Exposure,
    act: Act,
    back: Act,
    station: StationId,
    normal: Rig,
    now: Rig,
    after: Rig,
}

impl Flown {
    /// That the crew had it so, or have it at rest again.
    fn told(&self, act: Act) -> Observation {
        Observation { step: Step::Act(act), station: self.station, percepts: Vec::new() }
    }
}

/// The aircraft exposed to what lets the failure show; `None` where it always shows.
fn exposed(
    normal: &Rig,
    aircraft: &Rig,
    (planted, circuit): (&Cause, &Circuit),
) -> Result<Option<Flown>, SolveError> {
    let under = planted
        .faults()
        .iter()
        .find_map(|fault| mode_of(circuit.part(fault.part), &fault.mode)?.under);
    let (Some(under), Some(control)) = (under, circuit.conditions) else { return Ok(None) };
    let act = Act::Set { control, position: under.position() };
    let back = Act::Set { control, position: 0 };
    let station = circuit.part(control).station;
    let (mut flown, mut now) = (normal.clone(), aircraft.clone());
    flown.perform(Step::Act(act), station, &mut Vec::new())?;
    now.perform(Step::Act(act), station, &mut Vec::new())?;
    let mut after = now.clone();
    after.perform(Step::Act(back), station, &mut Vec::new())?;
    Ok(Some(Flown { under, act, back, station, normal: flown, now, after }))
}

/// What can be seen from a station.
fn look((normal, aircraft): (&Rig, &Rig), reader: &Reader, station: StationId) -> Vec<Noticed> {
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
    baseline: &Baseline,
    (all, before): (&[(StationId, Vec<Noticed>)], &[Observation]),
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
            let told: Vec<Observation> = before.iter().cloned().chain([told]).collect();
            let belief = baseline.knowing(scope, &told)?;
            let likely = belief.group_probability(baseline.normal().circuit(), planted);
            if least.is_none_or(|(lowest, _)| likely < lowest) {
                least = Some((likely, one.what));
            }
        }
    }
    Ok(least.map(|(_, what)| what).into_iter().collect())
}
