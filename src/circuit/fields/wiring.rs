//! How the fields of wires and of what joins, protects and transforms become values.

use super::{Findings, Value, Values, quoted};
use crate::circuit::NetId;
use crate::circuit::kind::{
    Breaker, Connector, Diode, Feeder, Fuse, Ground, GroundStud, Pin, Resistor, Shunt, Splice,
    Transformer, Wire,
};
use crate::circuit::wire::{AIRCRAFT_WIRE, aircraft_wire};

/// Volts across a closed breaker or a sound fuse at its rated current. Common
/// practice, no published source.
const PROTECTION_DROP_VOLTS: f64 = 0.1;

pub(super) fn wire(v: &Values, findings: &mut Findings) -> Option<Wire> {
    let ohms = if let Some(ohms) = v.number("ohms") {
        if let Some(idle) = ["gauge", "feet"].into_iter().find(|field| v.is_given(field)) {
            let message = format!(
                "{} has {} and {}: its ohms count, and the other does nothing",
                v.who,
                quoted("ohms"),
                quoted(idle)
            );
            let hint = Some(format!("leave out {} or {}", quoted("ohms"), quoted(idle)));
            findings.warning("given-twice", v.place_of(idle), message, hint);
        }
        ohms
    } else {
        let gauge = v.small("gauge")?;
        let Some(row) = aircraft_wire(gauge) else {
            let message = format!("{} has gauge {gauge}, which the wire table lacks", v.who);
            let sizes: Vec<_> = AIRCRAFT_WIRE.iter().map(|row| row.gauge_awg.to_string()).collect();
            let hint = Some(format!("it has {}", sizes.join(", ")));
            findings.error("out-of-range", v.place_of("gauge"), message, hint);
            return None;
        };
        row.ohms_per_1000_feet * v.number("feet")? / 1000.0
    };
    Some(Wire { a: v.net("a")?, b: v.net("b")?, ohms, chafed_ohms: None })
}

pub(super) fn resistor(v: &Values) -> Option<Resistor> {
    Some(Resistor { a: v.net("a")?, b: v.net("b")?, ohms: v.number("ohms")? })
}

pub(super) fn ground(v: &Values) -> Option<Ground> {
    Some(Ground { net: v.net("net")?, ohms: v.number("ohms")? })
}

/// Ohms as given, or from the drop at rated current.
fn protection_ohms(v: &Values) -> Option<f64> {
    match v.number("ohms") {
        Some(ohms) => Some(ohms),
        None => Some(PROTECTION_DROP_VOLTS / v.number("amps")?),
    }
}

pub(super) fn breaker(v: &Values) -> Option<Breaker> {
    Some(Breaker {
        line: v.net("line")?,
        load: v.net("load")?,
        amps: v.number("amps")?,
        ohms: protection_ohms(v)?,
        latches: true,
    })
}

pub(super) fn fuse(v: &Values) -> Option<Fuse> {
    Some(Fuse {
        line: v.net("line")?,
        load: v.net("load")?,
        amps: v.number("amps")?,
        ohms: protection_ohms(v)?,
        intact: true,
    })
}

pub(super) fn transformer(v: &Values) -> Option<Transformer> {
    let primary_volts = v.number("primary_volts")?;
    let base_ohms = primary_volts * primary_volts / v.number("volt_amps")?;
    let part = |field| v.number(field).map(|percent| percent / 100.0);
    Some(Transformer {
        primary: [v.net("p1")?, v.net("p2")?],
        secondary: [v.net("s1")?, v.net("s2")?],
        primary_volts,
        secondary_volts: v.number("secondary_volts")?,
        series_ohms: base_ohms * part("series_percent")?,
        leakage_reactance_ohms: base_ohms * part("leakage_percent")?,
        magnetising_reactance_ohms: base_ohms / part("magnetising_percent")?,
        core_ohms: base_ohms / part("core_percent")?,
        hertz: v.number("hertz")?,
        primary_sound: true,
        secondary_sound: true,
        shorted_turns_ohms: f64::INFINITY,
    })
}

pub(super) fn diode(v: &Values) -> Option<Diode> {
    Some(Diode {
        anode: v.net("anode")?,
        cathode: v.net("cathode")?,
        drop_volts: v.number("drop_volts")?,
        ohms: v.number("ohms")?,
        blocks: true,
    })
}

pub(super) fn shunt(v: &Values) -> Option<Shunt> {
    let ohms = v.number("millivolts")? / 1000.0 / v.number("amps")?;
    Some(Shunt { a: v.net("a")?, b: v.net("b")?, ohms })
}

/// The nets of a splice or stud, of which there must be so many.
fn several(v: &Values, least: usize, findings: &mut Findings) -> Option<Vec<NetId>> {
    let Value::Nets(nets) = v.get("nets")? else {
        return None;
    };
    if nets.len() < least {
        let message = format!("{} needs at least {least} nets", v.who);
        findings.error("out-of-range", v.place_of("nets"), message, None);
        return None;
    }
    let twice = nets.iter().enumerate().any(|(at, net)| nets[..at].contains(net));
    if twice {
        let message = format!("{} of {} names a net twice", quoted("nets"), v.who);
        findings.error("duplicate-id", v.place_of("nets"), message, None);
        return None;
    }
    Some(nets.clone())
}

pub(super) fn splice(v: &Values, findings: &mut Findings) -> Option<Splice> {
    let nets = several(v, 2, findings)?;
    let joint_ohms = vec![v.number("joint_ohms")?; nets.len()];
    Some(Splice { nets, joint_ohms })
}

pub(super) fn ground_stud(v: &Values, findings: &mut Findings) -> Option<GroundStud> {
    let nets = several(v, 1, findings)?;
    let lead_ohms = vec![v.number("lead_ohms")?; nets.len()];
    Some(GroundStud { nets, lead_ohms, ohms: v.number("ohms")? })
}

pub(super) fn connector(v: &Values, findings: &mut Findings) -> Option<Connector> {
    let ohms = v.number("pin_ohms")?;
    let Value::Pins(pins) = v.get("pins")? else {
        return None;
    };
    if pins.is_empty() {
        let message = format!("{} needs at least one pin", v.who);
        findings.error("out-of-range", v.place_of("pins"), message, None);
        return None;
    }
    let pins = pins.iter().map(|(name, a, b)| Pin { name: name.clone(), a: *a, b: *b, ohms });
    Some(Connector { pins: pins.collect(), touching: None })
}

pub(super) fn feeder(v: &Values, findings: &mut Findings) -> Option<Feeder> {
    let mut six = |field: &'static str| {
        let Value::Numbers(numbers) = v.get(field)? else {
            return None;
        };
        let six: Option<[f64; 6]> = numbers.as_slice().try_into().ok();
        if six.is_none() {
            let message = format!(
                "{} of {} must hold six numbers: AA, BB, CC, AB, BC, CA",
                quoted(field),
                v.who
            );
            findings.error("out-of-range", v.place_of(field), message, None);
        }
        six
    };
    let (ohms, reactance_ohms) = (six("ohms"), six("reactance_ohms"));
    let ohms = ohms?;
    // A resistance matrix that could give power has no place on an aircraft: each
    // conductor's own resistance must be above zero and above what it shares.
    let [aa, bb, cc, ab, bc, ca] = ohms;
    let passive = aa > ab.abs() + ca.abs() && bb > ab.abs() + bc.abs() && cc > bc.abs() + ca.abs();
    if !passive {
        let message = format!(
            "each conductor's own resistance in {} of {} must be above the sum of the two it \
             shares",
            quoted("ohms"),
            v.who
        );
        findings.error("out-of-range", v.place_of("ohms"), message, None);
        return None;
    }
    Some(Feeder {
        from: [v.net("a1")?, v.net("b1")?, v.net("c1")?],
        to: [v.net("a2")?, v.net("b2")?, v.net("c2")?],
        ohms,
        reactance_ohms: reactance_ohms?,
        hertz: v.number("hertz")?,
        sound: [true; 3],
    })
}
