//! Whether what protects a wire opens before the wire is hurt.

use std::collections::BinaryHeap;

use super::Found;
use super::joints::{Sort, at_nets, feeds_direct, joints};
use crate::circuit::{AIRFRAME, Circuit, Kind, PartId, Spot};
use crate::units::quantity;

/// The largest protector of one gauge of wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProtectorLimit {
    /// American wire gauge; 0 is the largest.
    pub gauge_awg: u8,
    /// Largest breaker in amperes, where the chart has one.
    pub breaker_amps: Option<f64>,
    /// Largest fuse in amperes.
    pub fuse_amps: f64,
}

const fn row(gauge_awg: u8, breaker_amps: f64, fuse_amps: f64) -> ProtectorLimit {
    let breaker_amps = if breaker_amps > 0.0 { Some(breaker_amps) } else { None };
    ProtectorLimit { gauge_awg, breaker_amps, fuse_amps }
}

/// FAA AC 43.13-1B (8 September 1998), Table 11-3, page 11-15: direct-current wire and
/// circuit protector chart, copper.
pub const WIRE_PROTECTION: [ProtectorLimit; 13] = [
    row(22, 5.0, 5.0),
    row(20, 7.5, 5.0),
    row(18, 10.0, 10.0),
    row(16, 15.0, 10.0),
    row(14, 20.0, 15.0),
    row(12, 30.0, 20.0),
    row(10, 40.0, 30.0),
    row(8, 50.0, 50.0),
    row(6, 80.0, 70.0),
    row(4, 100.0, 70.0),
    row(2, 125.0, 100.0),
    row(1, 0.0, 150.0),
    row(0, 0.0, 150.0),
];

/// The rating of a breaker or fuse in amperes, and the largest one a gauge allows.
fn rating(kind: &Kind, gauge_awg: u8) -> Option<(f64, f64)> {
    let row = WIRE_PROTECTION.iter().find(|row| row.gauge_awg == gauge_awg)?;
    match kind {
        Kind::Breaker(b) => Some((b.amps, row.breaker_amps?)),
        Kind::Fuse(f) => Some((f.amps, row.fuse_amps)),
        _ => None,
    }
}

/// The most that can reach a net without anything opening: amperes, and the protector that
/// lets that much through.
#[derive(Clone, Copy, PartialEq)]
struct Reach {
    amps: f64,
    by: Option<PartId>,
}

/// A net still to be looked at, the largest current first.
#[derive(PartialEq)]
struct Next {
    reach: Reach,
    net: u32,
}

impl Eq for Next {}

impl Ord for Next {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.reach.amps.total_cmp(&other.reach.amps).then(other.net.cmp(&self.net))
    }
}

impl PartialOrd for Next {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// Finds breakers and fuses that are larger than a wire behind them allows.
///
/// A wire is protected by the smallest of the protectors on the way from a source to it; with
/// several ways the one that lets most through counts. The chart is for direct current, so
/// only what direct sources feed is held against it.
pub(super) fn look(circuit: &Circuit, found: &mut Found<'_>) {
    let joints = joints(circuit);
    let at = at_nets(circuit, &joints);
    let mut reaches: Vec<Option<Reach>> = vec![None; circuit.nets.len()];
    let mut todo = BinaryHeap::new();
    for part in &circuit.parts {
        for net in feeds_direct(&part.kind) {
            todo.push(Next { reach: Reach { amps: f64::INFINITY, by: None }, net: net.0 });
        }
    }
    while let Some(Next { reach, net }) = todo.pop() {
        if net == AIRFRAME.0 || reaches[net as usize].is_some() {
            continue;
        }
        reaches[net as usize] = Some(reach);
        for joint in at[net as usize].iter().map(|at| &joints[*at as usize]) {
            let other = if joint.a.0 == net { joint.b } else { joint.a };
            if joint.sort == Sort::OneWay && joint.b.0 == net {
                continue;
            }
            let mut next = reach;
            if joint.sort == Sort::Protector {
                let amps = match &circuit.part(joint.part).kind {
                    Kind::Breaker(b) => b.amps,
                    Kind::Fuse(f) => f.amps,
                    _ => f64::INFINITY,
                };
                if amps < reach.amps {
                    next = Reach { amps, by: Some(joint.part) };
                }
            }
            todo.push(Next { reach: next, net: other.0 });
        }
    }
    // One finding a protector: the thinnest wire behind it.
    let mut worst: Vec<Option<(f64, f64, PartId, u8)>> = vec![None; circuit.parts.len()];
    for joint in joints.iter().filter(|joint| joint.sort == Sort::Wire) {
        let Some(gauge) = found.origins.gauge_awg(joint.part) else { continue };
        for net in [joint.a, joint.b] {
            let Some(Reach { by: Some(by), .. }) = reaches[net.index()] else { continue };
            let Some((amps, most)) = rating(&circuit.part(by).kind, gauge) else { continue };
            let now = &mut worst[by.index()];
            if amps > most && now.is_none_or(|(_, before, ..)| most < before) {
                *now = Some((amps, most, joint.part, gauge));
            }
        }
    }
    for (protector, part) in circuit.parts_with_ids() {
        let Some((amps, most, wire, gauge)) = worst[protector.index()] else { continue };
        let kind = if matches!(part.kind, Kind::Fuse(_)) { "fuse" } else { "breaker" };
        let message = format!(
            "{} of {} is too large for {}: gauge {gauge} allows a {kind} of {} at most (AC \
             43.13-1B, Table 11-3)",
            found.who(protector),
            quantity(amps, "A"),
            found.who(wire),
            quantity(most, "A"),
        );
        let spot = Spot::Part(protector, "amps");
        let hint = "take a smaller one or a thicker wire";
        found.warn("protector-too-large", spot, message, Some(hint));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::{Effort, check};

    #[test]
    fn the_chart_rises_with_the_wire() {
        let rises = |pair: &[ProtectorLimit]| {
            pair[0].gauge_awg > pair[1].gauge_awg
                && pair[0].fuse_amps <= pair[1].fuse_amps
                && pair[1].breaker_amps.is_none_or(|b| pair[0].breaker_amps.unwrap_or(b) <= b)
        };
        assert!(WIRE_PROTECTION.windows(2).all(rises));
    }

    /// A source, a protector, a wire and a load.
    fn codes(protector: &str, gauge: u8, upstream: f64) -> Vec<&'static str> {
        let text = format!(
            r#"System(id: "x", title: "X", stations: [Station(id: "s", title: "S")],
            nets: ["E", "M", "P", "L"], parts: [
                Supply(id: "E1", at: "s", plus: "E"),
                Breaker(id: "CB0", at: "s", line: "E", load: "M", amps: {upstream}),
                {protector},
                Wire(id: "W1", at: "s", a: "P", b: "L", gauge: {gauge}, feet: 1),
                Lamp(id: "L1", at: "s", a: "L"),
            ])"#
        );
        let (_, findings) = check("x", &text, Effort::Quick);
        findings
            .iter()
            .map(|finding| finding.code)
            .filter(|c| *c == "protector-too-large")
            .collect()
    }

    #[test]
    fn each_gauge_has_the_protector_of_the_chart() {
        // AC 43.13-1B, Table 11-3, for the gauges that the wire table of the language has.
        let chart = [(22, 5.0, 5.0), (20, 7.5, 5.0), (16, 15.0, 10.0), (10, 40.0, 30.0)];
        for (gauge, breaker, fuse) in chart {
            for (kind, most) in [("Breaker", breaker), ("Fuse", fuse)] {
                let part = |amps: f64| {
                    format!(r#"{kind}(id: "P1", at: "s", line: "M", load: "P", amps: {amps})"#)
                };
                assert!(codes(&part(most), gauge, 200.0).is_empty(), "{gauge} {kind}");
                assert_eq!(codes(&part(most + 0.5), gauge, 200.0).len(), 1, "{gauge} {kind}");
            }
        }
    }

    #[test]
    fn a_smaller_protector_before_it_protects_the_wire_too() {
        let large = r#"Breaker(id: "P1", at: "s", line: "M", load: "P", amps: 50)"#;
        assert_eq!(codes(large, 20, 200.0).len(), 1);
        assert!(codes(large, 20, 5.0).is_empty());
    }
}
