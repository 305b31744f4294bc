//! The crew's report: what they would have noticed, in their words.

use super::reader::Reader;
use crate::circuit::StationId;
use crate::diagnosis::Observation;
use crate::isolation::crew_stations;
use crate::observation::{Rig, Sight, Step, What};

/// What the crew wrote, and the observations that stand behind it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WriteUp {
    /// One line per thing that was not as usual.
    pub lines: Vec<String>,
    /// Everything visible to the crew, normal or not: what the reasoner starts from.
    pub observations: Vec<Observation>,
    /// Stations where something was not as usual.
    pub symptoms: Vec<StationId>,
}

/// Writes the report from what the crew see now against what they see normally.
pub(super) fn compose(normal: &Rig, aircraft: &Rig, reader: &Reader) -> WriteUp {
    let circuit = normal.circuit();
    let mut report = WriteUp::default();
    for station in crew_stations(circuit) {
        let mut percepts = Vec::new();
        for ((part, now), (_, usual)) in aircraft.faces(station).zip(normal.faces(station)) {
            let what = What::Face(part);
            let seen = reader.read(Sight { what, showing: now });
            if seen != reader.read(Sight { what, showing: usual }) {
                if report.symptoms.last() != Some(&station) {
                    report.symptoms.push(station);
                }
                report.lines.push(format!("{}: {}", what.told(circuit), seen.told(what, circuit)));
            }
            percepts.push((what, seen));
        }
        for (control, showing) in aircraft.standing(station) {
            let what = What::Standing(control);
            percepts.push((what, reader.read(Sight { what, showing })));
        }
        report.observations.push(Observation { step: Step::LookAround, station, percepts });
    }
    if report.lines.is_empty() {
        report.lines.push("Nothing unusual noticed; function check asked for.".to_owned());
    }
    report
}
