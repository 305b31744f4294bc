//! Whether what uses power gets it, and how much of it is lost on the way.

use super::Found;
use super::joints::{Joint, Sort, at_nets, ever_live, joints};
use super::states::States;
use crate::circuit::{AIRFRAME, Circuit, Kind, NetId, PartId, Senses, Spot};
use crate::diagnostic::Severity;
use crate::limits::{AC_115_VOLTS, Band, DC_28_VOLTS, ac_band, dc_band};
use crate::network::Solution;
use crate::observation::meter_value;
use crate::units::quantity;

/// The largest drop between the bus and the equipment at one nominal voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DropLimit {
    /// Nominal volts.
    pub volts: f64,
    /// Largest drop in volts with a continuous load.
    pub continuous_volts: f64,
}

/// FAA AC 43.13-1B, Table 11-6, continuous operation. From memory; the same limits head the
/// worked examples of Table 11-7, which were read.
pub const DROP_LIMITS: [DropLimit; 4] = [
    DropLimit { volts: 14.0, continuous_volts: 0.5 },
    DropLimit { volts: 28.0, continuous_volts: 1.0 },
    DropLimit { volts: 115.0, continuous_volts: 4.0 },
    DropLimit { volts: 200.0, continuous_volts: 7.0 },
];

/// How far a rating may stand from a nominal voltage and still belong to it.
const NOMINAL_WITHIN: f64 = 0.12;

fn is_nominal(rated: f64, nominal: f64) -> bool {
    (rated - nominal).abs() <= NOMINAL_WITHIN * nominal
}

/// Two nets between which a part takes power, and its volts there: rated ones, or those from
/// which it works.
type Port = (NetId, NetId, f64);

fn ports(kind: &Kind) -> Vec<Port> {
    let lines = |p: &[NetId; 3], volts: f64| {
        vec![(p[0], p[1], volts), (p[1], p[2], volts), (p[2], p[0], volts)]
    };
    match kind {
        Kind::Converter(c) => vec![(c.dc, c.ret, c.start_volts)],
        Kind::Vibrator(v) => vec![(v.dc, v.ret, v.start_volts)],
        Kind::TransformerRectifier(t) => lines(&t.phases, t.line_volts),
        Kind::Relay(r) | Kind::Contactor(r) => vec![(r.x1, r.x2, r.pickup_volts)],
        Kind::PhaseRelay(r) => lines(&r.phases, r.volts),
        Kind::Lamp(l) => vec![(l.a, l.b, l.volts)],
        Kind::Horn(h) => vec![(h.a, h.b, h.volts)],
        Kind::Motor(m) => vec![(m.a, m.b, m.start_volts)],
        Kind::Solenoid(s) => vec![(s.x1, s.x2, s.pull_volts)],
        Kind::Load(l) => vec![(l.a, l.b, l.volts)],
        Kind::Load3(l) => lines(&l.phases, l.volts),
        Kind::Gyro(g) => lines(&g.phases, g.volts),
        Kind::Supply(_)
        | Kind::Battery(_)
        | Kind::Generator(_)
        | Kind::Receptacle(_)
        | Kind::Alternator(_)
        | Kind::Wire(_)
        | Kind::Feeder(_)
        | Kind::Resistor(_)
        | Kind::Diode(_)
        | Kind::Shunt(_)
        | Kind::Splice(_)
        | Kind::Connector(_)
        | Kind::Ground(_)
        | Kind::GroundStud(_)
        | Kind::Breaker(_)
        | Kind::Fuse(_)
        | Kind::Transformer(_)
        | Kind::Switch(_)
        | Kind::PushSwitch(_)
        | Kind::ChangeoverSwitch(_)
        | Kind::Mechanism(_)
        | Kind::Microswitch(_)
        | Kind::ReverseCurrentRelay(_)
        | Kind::Flasher(_)
        | Kind::Meter(_)
        | Kind::Ammeter(_)
        | Kind::Loadmeter(_)
        | Kind::FrequencyMeter(_) => Vec::new(),
    }
}

/// The fraction of its volts from which a part counts as powered.
const POWERED: f64 = 0.25;

pub(super) fn look(circuit: &Circuit, states: &States, found: &mut Found<'_>) {
    dead(circuit, states, found);
    let drops = Drops::new(circuit, &states.normal.solution);
    for (part, p) in circuit.parts_with_ids() {
        if let Kind::Load(_) | Kind::Load3(_) | Kind::Gyro(_) | Kind::Converter(_) = p.kind {
            let ports = ports(&p.kind);
            out_of_band(part, &p.kind, &ports, &states.normal.solution, found);
            too_much_lost(circuit, part, &ports, &drops, found);
        }
        off_scale(part, &p.kind, &states.normal.solution, found);
    }
}

/// Finds parts that are never powered.
fn dead(circuit: &Circuit, states: &States, found: &mut Found<'_>) {
    let live = ever_live(circuit);
    for (part, p) in circuit.parts_with_ids() {
        // One on a single net has been told of by then.
        let ports: Vec<Port> = ports(&p.kind).into_iter().filter(|(a, b, _)| a != b).collect();
        let powered = |solution: &Solution| {
            ports.iter().any(|(a, b, volts)| solution.rms_between(*a, *b) >= POWERED * volts)
        };
        let is_powered =
            states.settled().any(|s| powered(&s.solution) || s.cycle.iter().any(&powered));
        if ports.is_empty() || is_powered {
            continue;
        }
        let (who, spot) = (found.who(part), Spot::Part(part, "id"));
        if !ports.iter().any(|(a, b, _)| live[a.index()] || live[b.index()]) {
            let message = format!("{who} is never powered: no source can reach it");
            found.warn("never-powered", spot, message, None);
        } else if states.all {
            let message =
                format!("{who} has no power in the normal setup, nor with any one control moved");
            found.add(Severity::Advice, "seldom-powered", spot, message, None);
        }
    }
}

/// Finds a load whose supply is out of its band in the normal setup.
fn out_of_band(
    part: PartId,
    kind: &Kind,
    ports: &[Port],
    solution: &Solution,
    found: &mut Found<'_>,
) {
    for (a, b, rated) in ports {
        // A converter's volts here are those at which it starts, not its rating.
        let rated = if matches!(kind, Kind::Converter(_)) { DC_RATED_VOLTS } else { *rated };
        let (dc, ac) = (solution.dc_between(*a, *b).abs(), solution.ac_between(*a, *b));
        let band: Option<(f64, Band)> = if dc >= ac {
            let band = dc_band(dc).filter(|_| is_nominal(rated, DC_RATED_VOLTS));
            band.map(|band| (dc, band))
        } else {
            let hertz = solution.hertz_between(*a, *b);
            let band = ac_band(ac, hertz).filter(|_| is_nominal(rated, AC_RATED_VOLTS));
            band.map(|band| (ac, band))
        };
        let Some((volts, band)) = band else { continue };
        let word = band.word(volts);
        if word == "normal" {
            continue;
        }
        let message = format!(
            "{} has {} in the normal setup, which is {word}: {} to {} is normal",
            found.who(part),
            quantity(volts, "V"),
            quantity(band.low, "V"),
            quantity(band.high, "V"),
        );
        found.warn("out-of-band", Spot::Part(part, "volts"), message, None);
        return;
    }
}

/// The nominal volts to which the bands belong.
const DC_RATED_VOLTS: f64 = 28.0;
const AC_RATED_VOLTS: f64 = 115.0;
const _: () = assert!(AC_115_VOLTS.low < AC_RATED_VOLTS && DC_28_VOLTS.low < DC_RATED_VOLTS);

/// Where power comes from, net by net, in the normal setup.
struct Drops<'a> {
    solution: &'a Solution,
    joints: Vec<Joint>,
    at: Vec<Vec<u32>>,
}

/// What a contact or a protector can lose at most while it is closed, in volts: beyond that
/// it is open.
const CLOSED_VOLTS: f64 = 0.5;

/// What is lost in the wires of one line.
struct Lost {
    volts: f64,
    /// The wire that loses most, and what it loses.
    most: Option<(PartId, f64)>,
}

impl<'a> Drops<'a> {
    fn new(circuit: &Circuit, solution: &'a Solution) -> Self {
        let joints = joints(circuit);
        let at = at_nets(circuit, &joints);
        Self { solution, joints, at }
    }

    /// Follows current from a net up to the breaker or fuse that feeds it, or on to the
    /// source, and adds up what the wires lose. `rises` tells by how much one net stands
    /// above another.
    fn up(&self, from: NetId, rises: impl Fn(NetId, NetId) -> f64) -> Lost {
        let mut lost = Lost { volts: 0.0, most: None };
        let mut net = from;
        // Each step leads to a higher net, so it ends; the bound keeps rounding from a round.
        for _ in 0..self.at.len() {
            let step = self.at[net.index()]
                .iter()
                .map(|at| &self.joints[*at as usize])
                .map(|joint| (joint, if joint.a == net { joint.b } else { joint.a }))
                .map(|(joint, other)| (joint, other, rises(other, net)))
                .filter(|(joint, _, rise)| {
                    *rise > 0.0 && (joint.sort == Sort::Wire || *rise < CLOSED_VOLTS)
                })
                .max_by(|x, y| x.2.total_cmp(&y.2));
            let Some((joint, other, rise)) = step else { break };
            match joint.sort {
                Sort::Wire => {
                    lost.volts += rise;
                    if lost.most.is_none_or(|(_, most)| rise > most) {
                        lost.most = Some((joint.part, rise));
                    }
                }
                Sort::Protector => break,
                Sort::Contact | Sort::OneWay => {}
            }
            net = other;
        }
        lost
    }

    /// What the wires of both lines of a port lose, of direct or of alternating voltage.
    fn at_port(&self, a: NetId, b: NetId) -> Lost {
        let s = self.solution;
        let (dc, ac) = (s.dc_between(a, b), s.ac_between(a, b));
        let (first, second) = if dc.abs() >= ac {
            let (high, low) = if dc >= 0.0 { (a, b) } else { (b, a) };
            let above = |x: NetId, y: NetId| s.dc_between(x, y);
            (self.up(high, above), self.up(low, |x, y| above(y, x)))
        } else {
            // A line rises towards its source; one on the airframe does not rise at all.
            let above = |x: NetId, y: NetId| {
                let (up, down) = (s.ac_between(x, AIRFRAME), s.ac_between(y, AIRFRAME));
                if up > down { s.ac_between(x, y) } else { 0.0 }
            };
            (self.up(a, above), self.up(b, above))
        };
        let most = [first.most, second.most].into_iter().flatten();
        Lost { volts: first.volts + second.volts, most: most.max_by(|x, y| x.1.total_cmp(&y.1)) }
    }
}

/// Finds loads whose wires lose more than they may in the normal setup.
fn too_much_lost(
    circuit: &Circuit,
    part: PartId,
    ports: &[Port],
    drops: &Drops<'_>,
    found: &mut Found<'_>,
) {
    let is_converter = matches!(circuit.part(part).kind, Kind::Converter(_));
    let worst = ports
        .iter()
        .filter_map(|(a, b, rated)| {
            let rated = if is_converter { DC_RATED_VOLTS } else { *rated };
            let limit = DROP_LIMITS.iter().find(|limit| is_nominal(rated, limit.volts))?;
            let lost = drops.at_port(*a, *b);
            (lost.volts > limit.continuous_volts).then_some((lost, limit))
        })
        .max_by(|x, y| x.0.volts.total_cmp(&y.0.volts));
    let Some((Lost { volts, most: Some((wire, of)) }, limit)) = worst else { return };
    let message = format!(
        "the wires to and from {} lose {}, {} of it in {}; with {} no more than {} is allowed \
         (AC 43.13-1B, Table 11-6)",
        found.who(part),
        quantity(volts, "V"),
        quantity(of, "V"),
        found.who(wire),
        quantity(limit.volts, "V"),
        quantity(limit.continuous_volts, "V"),
    );
    let hint = "take a thicker or a shorter wire";
    found.warn("voltage-drop", Spot::Part(wire, "gauge"), message, Some(hint));
}

/// Finds a meter whose pointer would have to leave its scale in the normal setup.
fn off_scale(part: PartId, kind: &Kind, solution: &Solution, found: &mut Found<'_>) {
    let Some(meter) = kind.meter() else { return };
    let (Some((least, _)), Some((most, _))) = (meter.scale.first(), meter.scale.last()) else {
        return;
    };
    let value = meter_value(meter, solution);
    // A pointer without power rests on its stop, wherever its scale begins.
    let rests = match meter.senses {
        Senses::Hertz => value == 0.0,
        Senses::Ac | Senses::Dc => value.abs() < f64::EPSILON.max(most.abs() * DEAD),
    };
    if rests || (*least..=*most).contains(&value) {
        return;
    }
    let end = if value < *least { least } else { most };
    let message = format!(
        "{} would show {} in the normal setup, and its scale ends at {}",
        found.who(part),
        quantity(value, &meter.unit),
        quantity(*end, &meter.unit),
    );
    found.warn("off-scale", Spot::Part(part, "scale"), message, None);
}

/// The fraction of full scale below which a meter counts as without power.
const DEAD: f64 = 0.01;
