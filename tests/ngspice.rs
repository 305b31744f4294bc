//! Net voltages against ngspice, a general-purpose circuit simulator.
//!
//! The netlists are those of `halfsplit::spice`, written from the parts themselves and
//! not from the solver's own elements: an independent reading of what each kind of part
//! is. States with memory (which relay is operated, what runs) are taken from the
//! settled circuit; what is compared is every net voltage of the linear network that
//! remains.
//!
//! With `HALFSPLIT_NGSPICE` set (as `tests/ngspice/live.sh` does) ngspice is run on every
//! single fault of every system. Without it the values it gave before for some cases are
//! read from `tests/ngspice/`, so that a machine without it checks them too; `UPDATE=1`
//! with ngspice rewrites them.

mod batch;
mod every;

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::Arc;

use halfsplit::circuit::Circuit;
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{Network, PartState, Settled, State};
use halfsplit::spice::{Group, groups, netlist, sheet};
use halfsplit::units::phasor;

/// A system, controls moved, and a fault.
struct Case {
    name: &'static str,
    system: &'static str,
    sets: &'static [(&'static str, u8)],
    fault: Option<&'static str>,
}

const fn case(
    name: &'static str,
    system: &'static str,
    sets: &'static [(&'static str, u8)],
    fault: Option<&'static str>,
) -> Case {
    Case { name, system, sets, fault }
}

const CASES: [Case; 18] = [
    case("bench", "bench", &[], None),
    case("normal", "t4-ac", &[], None),
    case("flight-bus-on-two", "t4-ac", &[("BUSSEL", 1)], None),
    case("standby", "t4-ac", &[("BUSSEL", 2)], None),
    case("source-1-off", "t4-ac", &[("SOURCE1", 0)], None),
    case("fuse-open-with-back-feed", "t4-ac", &[], Some("F-FLT-A:open")),
    case("phase-breaker-open", "t4-ac", &[], Some("CB2A:trips-early")),
    case("primary-open", "t4-ac", &[], Some("T-FLT-A:primary-open")),
    case("shorted-turns", "t4-ac", &[], Some("T-SVY-C:shorted-turns")),
    case("chafed", "t4-ac", &[], Some("W2-A:chafed")),
    case("poor-ground", "t4-ac", &[], Some("GB-CV1:high-resistance")),
    case("winding-open", "t4-ac", &[("VSEL", 1)], Some("G-ATT:winding-open-C")),
    case("gyro-backwards", "t4-ac", &[("BUSSEL", 1)], Some("CV2:phases-crossed")),
    case("dc-normal", "t4-dc", &[], None),
    case("dc-on-the-battery", "t4-dc", &[("ENG1", 0)], Some("RCR2:stuck-released")),
    case("dc-right-engine-idle", "t4-dc", &[("ENG2", 1)], None),
    case("dc-feeder-open", "t4-dc", &[], Some("FD:open-A")),
    case("dc-stud-loose", "t4-dc", &[("STRUT", 1)], Some("GS21:loose")),
];

fn settled(case: &Case) -> (Network, Settled) {
    let circuit = Arc::new(library::load(case.system).expect("it comes with the program"));
    let mut state = State::at_rest(&circuit);
    for (control, at) in case.sets {
        state.set(circuit.find_part(control).expect("a control"), PartState::Position(*at));
    }
    let network = Network::new(Arc::clone(&circuit));
    let settled = network.settle(state).expect("it settles");
    let Some(code) = case.fault else { return (network, settled) };
    let (fault, mode) = faults::parse(&circuit, code).expect("a fault of the system");
    let faulted = Arc::new(faults::apply(&circuit, &fault, &mode));
    let network = Network::new(Arc::clone(&faulted));
    let mut state = settled.state;
    state.adopt(&faulted, fault.part);
    let settled = network.settle(state).expect("it settles");
    (network, settled)
}

/// Relative difference allowed, and the floor below which a voltage counts as none.
const RELATIVE: f64 = 1e-6;
const FLOOR_VOLTS: f64 = 1e-6;

/// How ngspice is to be asked; `None` when it is not.
fn live() -> Option<String> {
    std::env::var("HALFSPLIT_NGSPICE").ok()
}

/// A difference over what is allowed.
fn off(own: (f64, f64), other: (f64, f64)) -> f64 {
    let size = (other.0 * other.0 + other.1 * other.1).sqrt();
    let off = ((own.0 - other.0).powi(2) + (own.1 - other.1).powi(2)).sqrt();
    // What is no number is as far off as can be.
    let share = off / (RELATIVE * size + FLOOR_VOLTS);
    if share.is_nan() { f64::INFINITY } else { share }
}

/// The solver's volts of every net but the airframe.
fn ours(settled: &Settled, circuit: &Circuit, group: Group) -> Vec<(f64, f64)> {
    let solution = &settled.solution;
    let nets = 1..circuit.nets.len();
    match group {
        Group::Direct => nets.map(|net| (solution.dc[net], 0.0)).collect(),
        Group::Machine(part) => {
            let given = solution.ac.iter().find(|g| g.source == part).expect("it gives");
            nets.map(|net| (given.volts[net].re, given.volts[net].im)).collect()
        }
    }
}

fn compare(name: &str, circuit: &Circuit, ours: &[(f64, f64)], theirs: &[(f64, f64)]) {
    assert_eq!(ours.len(), theirs.len(), "{name}: one value a net");
    for (index, (own, other)) in ours.iter().zip(theirs).enumerate() {
        let net = &circuit.nets[index + 1];
        assert!(off(*own, *other) <= 1.0, "{name}: net {net} is {own:?}, ngspice has {other:?}");
    }
}

fn reference(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("tests/ngspice/{name}.txt"))
}

#[test]
fn every_net_voltage_agrees_with_ngspice() {
    let update = live().is_some() && std::env::var_os("UPDATE").is_some();
    for case in &CASES {
        let (network, settled) = settled(case);
        let circuit = network.circuit();
        let mut written =
            String::from("# volts by net: real and imaginary part, from ngspice 39\n");
        let kept = std::fs::read_to_string(reference(case.name)).unwrap_or_default();
        let mut kept = kept.lines().filter(|line| !line.starts_with('#')).map(|line| {
            let (re, im) = line.split_once(' ').expect("two numbers");
            (re.parse().expect("a number"), im.parse().expect("a number"))
        });
        for group in groups(&settled) {
            let ours = ours(&settled, circuit, group);
            let theirs = if live().is_some() {
                batch::solve(&[&sheet(&network, &settled, group)]).remove(0)
            } else {
                kept.by_ref().take(ours.len()).collect()
            };
            compare(&format!("{}, {group:?}", case.name), circuit, &ours, &theirs);
            for (re, im) in theirs {
                writeln!(written, "{re:.12e} {im:.12e}").expect("a string grows");
            }
        }
        if update {
            std::fs::write(reference(case.name), written).expect("it can be written");
        }
    }
}

#[test]
fn a_difference_of_two_millionths_is_too_much() {
    assert!(off((115.0, 0.0), (115.000_05, 0.0)) < 1.0);
    assert!(off((115.0, 0.0), (115.000_25, 0.0)) > 1.0);
    assert!(off((0.0, 0.0), (0.0, 5e-7)) < 1.0);
    assert!(off((0.0, 2e-6), (0.0, 0.0)) > 1.0);
    assert!(off((f64::NAN, 0.0), (0.0, 0.0)) > 1.0);
}

/// Runs a netlist as a user would and returns the numbers it prints.
fn printed(netlist: &str) -> Vec<f64> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("case.cir");
    std::fs::write(&path, netlist).expect("it can be written");
    let mut command = Command::new("ngspice");
    let output = command.arg("-b").arg(&path).stdin(Stdio::null()).output().expect("ngspice runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .filter(|line| ["v(", "mag(", "ph("].iter().any(|head| line.starts_with(head)))
        .filter_map(|line| line.split('=').nth(1))
        .map(|number| number.trim().parse().expect("a number"))
        .collect()
}

#[test]
#[ignore = "needs ngspice: run tests/ngspice/live.sh"]
fn ngspice_runs_what_is_written_unchanged() {
    if live().is_none() {
        return;
    }
    for case in &CASES {
        let (network, settled) = settled(case);
        let circuit = network.circuit();
        for group in groups(&settled) {
            let numbers = printed(&netlist(&network, &settled, group));
            let theirs: Vec<(f64, f64)> = match group {
                Group::Direct => numbers.into_iter().map(|volts| (volts, 0.0)).collect(),
                Group::Machine(_) => numbers
                    .chunks(2)
                    .map(|polar| phasor(polar[0], polar[1]))
                    .map(|volts| (volts.re, volts.im))
                    .collect(),
            };
            let name = format!("{}, {group:?}", case.name);
            compare(&name, circuit, &ours(&settled, circuit, group), &theirs);
        }
    }
}
