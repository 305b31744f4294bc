//! How the fields of parts that switch become values.

use super::{Findings, Known, Place, Value, Values, part_named, quoted};
use crate::circuit::kind::{
    Closure, ContactSet, Flasher, Kind, Mechanism, Microswitch, PhaseRelay, Relay,
    ReverseCurrentRelay, Senses, Switch,
};
use crate::circuit::values::ContactNets;
use crate::units::significant;

/// The place of a position among those there are; a finding where there is none.
fn position(
    v: &Values,
    positions: &[String],
    name: &str,
    place: Place,
    findings: &mut Findings,
) -> Option<u8> {
    let found = positions.iter().position(|known| known == name);
    if found.is_none() {
        let message = format!("{} has no position {}", v.who, quoted(name));
        let hint = findings.suggest(name, positions.iter().map(String::as_str));
        findings.error("unknown-position", place, message, hint);
    }
    found.and_then(|index| u8::try_from(index).ok())
}

/// The position of the normal setup: the first where none is given.
fn start(v: &Values, positions: &[String], findings: &mut Findings) -> Option<u8> {
    match v.text("start") {
        Some(name) => position(v, positions, name, v.place_of("start"), findings),
        None => Some(0),
    }
}

/// What is joined in which position.
fn closures(v: &Values, positions: &[String], findings: &mut Findings) -> Option<Vec<Closure>> {
    let Value::Closures(lists) = v.get("closes")? else {
        return None;
    };
    let ohms = v.number("contact_ohms");
    let mut closures = Some(Vec::new());
    for list in lists {
        let Some(position) = position(v, positions, &list.position, list.place, findings) else {
            closures = None;
            continue;
        };
        if let (Some(closures), Some(ohms)) = (&mut closures, ohms) {
            closures.extend(list.pairs.iter().map(|&(a, b)| Closure { position, a, b, ohms }));
        }
    }
    ohms?;
    closures
}

pub(super) fn switch(v: &Values, findings: &mut Findings) -> Option<Switch> {
    let Value::Positions(positions) = v.get("positions")? else {
        return None;
    };
    let start = start(v, positions, findings);
    let closures = closures(v, positions, findings);
    Some(Switch {
        positions: positions.clone(),
        start: start?,
        springs_back: v.flag("springs_back")?,
        guard: v.flag("guard")?,
        closures: closures?,
    })
}

/// The positions of a push switch.
const PUSH_POSITIONS: [&str; 2] = ["RELEASED", "PRESSED"];

pub(super) fn push_switch(v: &Values, findings: &mut Findings) -> Option<Switch> {
    let ohms = v.number("contact_ohms")?;
    let pairs = |field| match v.get(field) {
        Some(Value::Pairs(pairs)) => pairs.clone(),
        Some(_) | None => Vec::new(),
    };
    let closures: Vec<Closure> = [("released", 0), ("pressed", 1)]
        .into_iter()
        .flat_map(|(field, position)| {
            pairs(field).into_iter().map(move |(a, b)| Closure { position, a, b, ohms })
        })
        .collect();
    if closures.is_empty() {
        let message = format!("{} needs `pressed` or `released`", v.who);
        findings.error("missing-field", v.place, message, None);
        return None;
    }
    let positions = PUSH_POSITIONS.map(str::to_owned).to_vec();
    Some(Switch { positions, start: 0, springs_back: true, guard: v.flag("guard")?, closures })
}

pub(super) fn changeover_switch(v: &Values, findings: &mut Findings) -> Option<Switch> {
    let (Value::Positions(positions), Value::Poles(poles)) = (v.get("positions")?, v.get("poles")?)
    else {
        return None;
    };
    let ohms = v.number("contact_ohms")?;
    let start = start(v, positions, findings)?;
    let mut closures = Vec::new();
    for (common, throws) in poles {
        if throws.len() != positions.len() {
            let message = format!(
                "a pole of {} must have a common net and {} throws, one for each position",
                v.who,
                positions.len()
            );
            findings.error("out-of-range", v.place_of("poles"), message, None);
            return None;
        }
        for (position, throw) in (0..).zip(throws) {
            closures.extend(throw.map(|throw| Closure { position, a: *common, b: throw, ohms }));
        }
    }
    Some(Switch {
        positions: positions.clone(),
        start,
        springs_back: false,
        guard: v.flag("guard")?,
        closures,
    })
}

pub(super) fn mechanism(v: &Values, findings: &mut Findings) -> Option<Mechanism> {
    let Value::Positions(positions) = v.get("positions")? else {
        return None;
    };
    let start = start(v, positions, findings)?;
    let rpm = one_each(v, "rpm", positions.len(), f64::MAX, findings);
    let move_minutes = one_each(v, "move_minutes", positions.len(), MOST_MINUTES, findings);
    Some(Mechanism { positions: positions.clone(), start, rpm: rpm?, move_minutes: move_minutes? })
}

/// The most minutes that a position may take: more than a shift is a slip of the pen.
const MOST_MINUTES: f64 = 600.0;

/// Numbers from nought to a largest one, one for each position; empty where none are given.
fn one_each(
    v: &Values,
    field: &str,
    positions: usize,
    most: f64,
    findings: &mut Findings,
) -> Option<Vec<f64>> {
    let numbers = match v.get(field) {
        Some(Value::Numbers(numbers)) => numbers.clone(),
        Some(_) | None => return Some(Vec::new()),
    };
    let sound = numbers.len() == positions && numbers.iter().all(|n| (0.0..=most).contains(n));
    if sound || numbers.is_empty() {
        return Some(numbers);
    }
    let range = if most < f64::MAX {
        format!("from 0 to {}", significant(most, 6))
    } else {
        "from 0 up".to_owned()
    };
    let message = format!(
        "`{field}` of {} must hold {positions} numbers {range}, one for each position",
        v.who
    );
    findings.error("out-of-range", v.place_of(field), message, None);
    None
}

pub(super) fn microswitch(
    v: &Values,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<Microswitch> {
    let (follows, kind) = part_named(v, "follows", known, findings)?;
    let (positions, start) = match kind {
        Kind::Mechanism(mechanism) => (mechanism.positions.clone(), mechanism.start),
        Kind::Solenoid(_) => (["RELEASED", "PULLED"].map(str::to_owned).to_vec(), 0),
        _ => (["STANDING", "RUNNING"].map(str::to_owned).to_vec(), 0),
    };
    let closures = closures(v, &positions, findings)?;
    Some(Microswitch { follows, closures, stays_at: None, start })
}

/// Contact sets of a few milliohms each.
fn contact_sets(sets: &[ContactNets], ohms: f64) -> impl Iterator<Item = ContactSet> + '_ {
    sets.iter().map(move |set| ContactSet {
        common: set.common,
        released: set.released,
        operated: set.operated,
        released_ohms: ohms,
        operated_ohms: ohms,
    })
}

/// The field that must be below another, both given.
fn below(
    v: &Values,
    low: &str,
    high: &str,
    unit: &str,
    findings: &mut Findings,
) -> Option<(f64, f64)> {
    let (dropout, pickup) = (v.number(low)?, v.number(high)?);
    if dropout < pickup {
        return Some((dropout, pickup));
    }
    let message = format!(
        "{} would release at {}{unit}, which is not below the {}{unit} at which it operates",
        v.who,
        significant(dropout, 6),
        significant(pickup, 6)
    );
    findings.error("dropout-over-pickup", v.place_of(low), message, None);
    None
}

/// The contact sets of a relay, of which it needs at least one.
fn contacts(v: &Values, findings: &mut Findings) -> Option<Vec<ContactSet>> {
    let Value::Contacts(sets) = v.get("contacts")? else {
        return None;
    };
    if sets.is_empty() {
        let message = format!("{} needs at least one contact set", v.who);
        findings.error("out-of-range", v.place_of("contacts"), message, None);
        return None;
    }
    Some(contact_sets(sets, v.number("contact_ohms")?).collect())
}

pub(super) fn relay(v: &Values, findings: &mut Findings) -> Option<Relay> {
    let (dropout_volts, pickup_volts) = below(v, "dropout_volts", "pickup_volts", " V", findings)?;
    let contacts = contacts(v, findings)?;
    Some(Relay {
        x1: v.net("x1")?,
        x2: v.net("x2")?,
        senses: v.senses()?,
        pickup_volts,
        dropout_volts,
        coil_ohms: v.number("coil_ohms")?,
        contacts,
        stuck: None,
    })
}

pub(super) fn contactor(v: &Values, findings: &mut Findings) -> Option<Relay> {
    let (dropout_volts, pickup_volts) = below(v, "dropout_volts", "pickup_volts", " V", findings)?;
    let ohms = v.number("contact_ohms")?;
    let main = ContactSet {
        common: v.net("line")?,
        released: None,
        operated: Some(v.net("load")?),
        released_ohms: ohms,
        operated_ohms: ohms,
    };
    let mut contacts = vec![main];
    if let Some(Value::Contacts(sets)) = v.get("auxiliary") {
        contacts.extend(contact_sets(sets, AUXILIARY_OHMS));
    }
    Some(Relay {
        x1: v.net("x1")?,
        x2: v.net("x2")?,
        senses: Senses::Dc,
        pickup_volts,
        dropout_volts,
        coil_ohms: v.number("coil_ohms")?,
        contacts,
        stuck: None,
    })
}

/// Ohms of a closed auxiliary contact of a contactor (assumption).
const AUXILIARY_OHMS: f64 = 0.005;

pub(super) fn reverse_current_relay(v: &Values) -> Option<ReverseCurrentRelay> {
    Some(ReverseCurrentRelay {
        generator: v.net("generator")?,
        bus: v.net("bus")?,
        enable: v.net("enable")?,
        enable_volts: v.number("enable_volts")?,
        coil_ohms: v.number("coil_ohms")?,
        close_volts: v.number("close_volts")?,
        reverse_amps: v.number("reverse_amps")?,
        ohms: v.number("contact_ohms")?,
        stuck: None,
    })
}

pub(super) fn phase_relay(v: &Values, findings: &mut Findings) -> Option<PhaseRelay> {
    let (dropout, pickup) = below(v, "dropout", "pickup", " of rated", findings)?;
    Some(PhaseRelay {
        phases: v.phases()?,
        volts: v.number("volts")?,
        pickup,
        dropout,
        unbalance: v.number("unbalance")?,
        leg_ohms: [v.number("leg_ohms")?; 3],
        contacts: contacts(v, findings)?,
        stuck: None,
    })
}

pub(super) fn flasher(v: &Values) -> Option<Flasher> {
    Some(Flasher {
        line: v.net("line")?,
        load: v.net("load")?,
        least_amps: v.number("least_amps")?,
        ohms: v.number("ohms")?,
        works: true,
    })
}
