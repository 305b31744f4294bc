//! Usual values: what test points carry and instruments show on a sound aircraft.

use super::Session;
use crate::circuit::{AIRFRAME, StationId, TestPointId};
use crate::observation::{Percept, Showing, What};
use crate::units::quantity;

/// What the values hold for.
pub const USUAL_VALUES: &str = "On a sound aircraft, controls as the crew had them, points against \
the airframe. Hand meter within 1 % of the reading, and its last figure.";

/// Volts below which a value counts as nought: less than the last figure of the hand meter.
const NOUGHT_VOLTS: f64 = 0.05;

/// What one thing shows on a sound aircraft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Usual {
    /// A test point's id, or a label.
    pub name: String,
    /// What it carries against the airframe, or shows.
    pub value: String,
}

/// What a station's test points carry and its instruments and lamps show on a sound aircraft
/// with the controls as the crew had them: the values that maintenance data would list.
pub fn usual_values(session: &Session, station: StationId) -> Vec<Usual> {
    let circuit = session.circuit();
    let faces = session.normal().faces(station).filter_map(|(part, showing)| {
        let percept = match showing {
            Showing::Look(look) => Percept::Look(look),
            Showing::Dial(dial) => Percept::Reading(dial.reading(0.0)),
            Showing::Position(_) => return None,
        };
        let what = What::Face(part);
        Some(Usual { name: what.told(circuit), value: percept.told(what, circuit) })
    });
    let points = circuit.test_points_with_ids().filter(|(_, point)| point.station == station);
    let points =
        points.map(|(id, point)| Usual { name: point.id.clone(), value: volts_told(session, id) });
    faces.chain(points).collect()
}

/// The volts of a test point against the airframe, alternating and direct where it has both.
fn volts_told(session: &Session, point: TestPointId) -> String {
    let net = session.circuit().test_point(point).net;
    let solution = &session.normal().settled().solution;
    let direct = solution.dc_between(net, AIRFRAME).abs();
    let alternating = solution.ac_between(net, AIRFRAME);
    let told: Vec<String> = [(alternating, "V AC"), (direct, "V DC")]
        .into_iter()
        .filter(|(volts, _)| *volts >= NOUGHT_VOLTS)
        .map(|(volts, unit)| quantity(volts, unit))
        .collect();
    if told.is_empty() { "0 V".to_owned() } else { told.join(", ") }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{faults, library};

    #[test]
    fn values_are_those_of_the_sound_aircraft_whatever_is_hidden() {
        let circuit = Arc::new(library::load("t4-dc").expect("it comes with the program"));
        let told = |code: &str| {
            let (fault, _) = faults::parse(&circuit, code).expect("a fault");
            let session = Session::planted(Arc::clone(&circuit), fault, 1).expect("it settles");
            let stations = circuit.stations_with_ids().map(|(id, _)| id);
            stations.flat_map(|at| usual_values(&session, at)).collect::<Vec<_>>()
        };
        let (one, other) = (told("GEN1:brushes-worn"), told("BAT:flat"));
        assert_eq!(one, other);
        let live = one.iter().filter(|usual| usual.value.contains("V DC")).count();
        assert!(live > 5, "{one:?}");
    }
}
