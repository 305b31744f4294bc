//! Whether every station is worth going to, and warns of what is live there.

use super::Found;
use super::states::States;
use crate::circuit::{AIRFRAME, Circuit, Kind, Spot, StationId};
use crate::units::quantity;

/// Volts to the airframe from which a touch is dangerous in dry places: alternating and
/// direct (IEC 60364-4-41, from memory).
const TOUCH_AC_VOLTS: f64 = 50.0;
const TOUCH_DC_VOLTS: f64 = 120.0;

/// Finds stations that hold nothing.
pub(super) fn empty_stations(circuit: &Circuit, found: &mut Found<'_>) {
    let mut used = vec![false; circuit.stations.len()];
    for part in &circuit.parts {
        used[part.station.index()] = true;
        used[part.seen_at.index()] = true;
    }
    for point in &circuit.test_points {
        used[point.station.index()] = true;
    }
    for (id, station) in circuit.stations_with_ids() {
        if !used[id.index()] {
            let message = format!("the station `{}` holds nothing", station.id);
            let hint = "a part is there by `at` or `seen_at`, a test point by `at`";
            found.warn("empty-station", Spot::Station(id), message, Some(hint));
        }
    }
}

/// Finds stations without a caution where hands come near dangerous volts.
///
/// What is within reach of hands are the test points, and the fuses in their holders.
pub(super) fn cautions(circuit: &Circuit, states: &States, found: &mut Found<'_>) {
    for (id, station) in circuit.stations_with_ids() {
        if !station.cautions.is_empty() {
            continue;
        }
        let mut worst: Option<(f64, &str, String)> = None;
        for (net, at) in within_reach(circuit, id) {
            for settled in states.settled() {
                let ac = settled.solution.ac_between(net, AIRFRAME);
                let dc = settled.solution.dc_between(net, AIRFRAME).abs();
                let dangerous = [(ac, TOUCH_AC_VOLTS, "AC"), (dc, TOUCH_DC_VOLTS, "DC")];
                for (volts, limit, kind) in dangerous {
                    if volts > limit && worst.as_ref().is_none_or(|(most, ..)| volts > *most) {
                        worst = Some((volts, kind, at.clone()));
                    }
                }
            }
        }
        if let Some((volts, kind, at)) = worst {
            let message = format!(
                "the station `{}` has no caution, and {} {kind} is within reach at {at}",
                station.id,
                quantity(volts, "V"),
            );
            let hint = "tell in `cautions` what is live there and what makes it safe";
            found.warn("no-caution", Spot::Station(id), message, Some(hint));
        }
    }
}

/// The nets that hands come near at a station, and at what.
fn within_reach(
    circuit: &Circuit,
    station: StationId,
) -> impl Iterator<Item = (crate::circuit::NetId, String)> + '_ {
    let points = circuit.test_points.iter().filter(move |point| point.station == station);
    let points = points.map(|point| (point.net, format!("`{}`", point.id)));
    let parts = circuit.parts.iter().filter(move |part| part.station == station);
    let fuses = parts.flat_map(|part| match &part.kind {
        Kind::Fuse(fuse) => {
            [fuse.line, fuse.load].map(|net| (net, format!("`{}`", part.id))).to_vec()
        }
        _ => Vec::new(),
    });
    points.chain(fuses)
}
