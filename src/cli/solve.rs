//! `halfsplit solve`: a system in a given setup and with given faults, as numbers.

use std::io::Write;

use anyhow::Result;
use serde_json::{Map, Value, json};

use super::setup::{self, Stands, Struck};
use super::{Ended, args};
use crate::circuit::{AIRFRAME, Circuit, Kind, NetId};
use crate::limits;
use crate::network::{Flow, Network, PartState, Settled, Solution, StopReason, Turning};
use crate::observation::{light_word, meter_dial, meter_value, relative_light};
use crate::units::significant;

/// Solves and prints.
pub(super) fn run(arguments: &args::Solve) -> Result<Ended> {
    let circuit = arguments.build.load()?;
    let struck = setup::faults(&circuit, &arguments.setup)?;
    let Stands { network, settled, switching_on } = setup::settle(circuit, &arguments.setup)?;
    let mut out = std::io::stdout().lock();
    if arguments.json {
        writeln!(out, "{}", as_json(&network, &settled, &struck))?;
    } else {
        as_text(&mut out, &network, &settled, (&struck, switching_on))?;
    }
    Ok(Ended::Well)
}

fn stop_word(stop: &StopReason) -> &'static str {
    match stop {
        StopReason::Steady => "steady",
        StopReason::Chattering { .. } => "chattering",
        StopReason::StepLimit(_) => "step-limit",
    }
}

fn state_word(circuit: &Circuit, part: usize, state: PartState) -> Option<String> {
    Some(match state {
        PartState::Plain => return None,
        PartState::Position(at) => {
            circuit.parts[part].kind.control()?.positions[usize::from(at)].to_owned()
        }
        PartState::Breaker { closed: true, .. } => "closed".to_owned(),
        PartState::Breaker { tripped: true, .. } => "tripped".to_owned(),
        PartState::Breaker { .. } | PartState::Fuse { seated: false, .. } => "pulled".to_owned(),
        PartState::Fuse { blown: true, .. } => "blown".to_owned(),
        PartState::Fuse { .. } => "whole".to_owned(),
        PartState::Relay { operated } => match (operated, &circuit.parts[part].kind) {
            (true, Kind::Flasher(_)) => "open",
            (false, Kind::Flasher(_)) => "closed",
            (true, Kind::Solenoid(_)) => "pulled in",
            (true, _) => "operated",
            (false, _) => "released",
        }
        .to_owned(),
        PartState::Machine { running: true } | PartState::Rotor(Turning::Forward) => {
            "running".to_owned()
        }
        PartState::Rotor(Turning::Backward) => "running backwards".to_owned(),
        PartState::Flow(flow) => match (flow, &circuit.parts[part].kind) {
            (Flow::Out, Kind::Battery(_)) => "discharging",
            (Flow::In, _) => "charging",
            (Flow::Neither, Kind::Battery(_)) => "idle",
            (Flow::Out, _) => "conducting",
            (Flow::Neither, _) => "blocking",
        }
        .to_owned(),
        PartState::Machine { .. } | PartState::Rotor(Turning::Stands) => "stopped".to_owned(),
    })
}

fn as_json(network: &Network, settled: &Settled, struck: &[Struck]) -> Value {
    let circuit = network.circuit();
    let solution = &settled.solution;
    let mut nets = Map::new();
    for (index, name) in circuit.nets.iter().enumerate() {
        let ac: Vec<Value> = solution
            .ac
            .iter()
            .map(|group| {
                json!({
                    "source": circuit.part(group.source).id,
                    "hertz": group.hertz,
                    "re": group.volts[index].re,
                    "im": group.volts[index].im,
                })
            })
            .collect();
        let net = NetId(index as u32);
        nets.insert(
            name.clone(),
            json!({
                "dc": solution.dc[index],
                "ac": ac,
                "ac_rms": solution.ac_between(net, AIRFRAME),
                "dc_band": dc_word(solution, net),
                "ac_band": ac_word(solution, net),
            }),
        );
    }
    let (mut lamps, mut meters, mut parts) = (Map::new(), Map::new(), Map::new());
    for (index, part) in circuit.parts.iter().enumerate() {
        match &part.kind {
            Kind::Lamp(lamp) => {
                let light = relative_light(lamp, solution.rms_between(lamp.a, lamp.b));
                lamps.insert(
                    part.id.clone(),
                    json!({ "relative_light": light, "seen": light_word(light).word() }),
                );
            }
            Kind::Meter(meter)
            | Kind::Ammeter(meter)
            | Kind::Loadmeter(meter)
            | Kind::FrequencyMeter(meter) => {
                meters.insert(
                    part.id.clone(),
                    json!({
                        "value": meter_value(meter, solution),
                        "angle_fraction": meter_dial(meter, solution).exact,
                    }),
                );
            }
            _ => {}
        }
        if let Some(word) = state_word(circuit, index, settled.state.parts[index]) {
            parts.insert(part.id.clone(), json!({ "state": word }));
        }
    }
    let events: Vec<String> = settled.events.iter().map(|e| e.told(circuit)).collect();
    let faults: Vec<Value> = struck
        .iter()
        .map(|struck| {
            let planted = &struck.planted;
            json!({
                "fault": planted.code(circuit),
                "text": planted.told(circuit),
                "present": struck.present,
            })
        })
        .collect();
    json!({
        "mods": circuit.fitted,
        "faults": faults,
        "stop": stop_word(&settled.stop),
        "nets": nets,
        "lamps": lamps,
        "meters": meters,
        "parts": parts,
        "events": events,
    })
}

fn as_text(
    out: &mut impl Write,
    network: &Network,
    settled: &Settled,
    (struck, switching_on): (&[Struck], usize),
) -> Result<()> {
    let circuit = network.circuit();
    let solution = &settled.solution;
    writeln!(out, "{}: {}", circuit.title_with_mods(), stop_word(&settled.stop))?;
    for event in &settled.events[..switching_on] {
        writeln!(out, "  {}", event.told(circuit))?;
    }
    if !struck.is_empty() {
        writeln!(out, "then:")?;
    }
    for Struck { planted, present } in struck {
        let now = match (planted.is_intermittent(), present) {
            (false, _) => "",
            (true, true) => ": now it is",
            (true, false) => ": now it is not",
        };
        writeln!(out, "  {}{now}", planted.told(circuit))?;
    }
    for event in &settled.events[switching_on..] {
        writeln!(out, "  {}", event.told(circuit))?;
    }
    writeln!(out, "nets, volts to {}:", crate::circuit::AIRFRAME_NAME)?;
    for (index, name) in circuit.nets.iter().enumerate().skip(1) {
        let net = NetId(index as u32);
        write!(
            out,
            "  {name:<20} {:>8} DC  {:>8} AC",
            significant(rounded(solution.dc[index]), 4),
            significant(rounded(solution.ac_between(net, AIRFRAME)), 4)
        )?;
        for word in [dc_word(solution, net), ac_word(solution, net)].into_iter().flatten() {
            write!(out, "  {word}")?;
        }
        writeln!(out)?;
    }
    writeln!(out, "parts:")?;
    for (index, part) in circuit.parts.iter().enumerate() {
        let shown = match &part.kind {
            Kind::Lamp(lamp) => {
                let light = relative_light(lamp, solution.rms_between(lamp.a, lamp.b));
                Some(light_word(light).word().to_owned())
            }
            Kind::Meter(meter)
            | Kind::Ammeter(meter)
            | Kind::Loadmeter(meter)
            | Kind::FrequencyMeter(meter) => {
                Some(format!("{} {}", significant(meter_value(meter, solution), 4), meter.unit))
            }
            _ => state_word(circuit, index, settled.state.parts[index]),
        };
        if let Some(shown) = shown {
            writeln!(out, "  {:<20} {shown}", part.id)?;
        }
    }
    Ok(())
}

/// Where a net's direct volts stand in their band, if one applies.
fn dc_word(solution: &Solution, net: NetId) -> Option<&'static str> {
    let volts = solution.dc_between(net, AIRFRAME);
    limits::dc_band(volts).map(|band| band.word(volts))
}

/// Where a net's alternating volts stand in their band, if one applies.
fn ac_word(solution: &Solution, net: NetId) -> Option<&'static str> {
    let volts = solution.ac_between(net, AIRFRAME);
    let hertz = solution.hertz_between(net, AIRFRAME);
    limits::ac_band(volts, hertz).map(|band| band.word(volts))
}

/// What insulation leakage leaves on a dead net is nothing to print.
fn rounded(volts: f64) -> f64 {
    if volts.abs() < 1e-6 { 0.0 } else { volts }
}
