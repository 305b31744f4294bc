//! Turns the checked fields of one part into what it is: each kind's struct, with
//! the values that follow from its rating.
//!
//! Here stands how a rating becomes ohms, and which fields must agree with one
//! another. What one field alone must satisfy is in [`super::values`].

use super::NetId;
use super::catalogue::KindId;
use super::file::{Findings, quoted};
use super::kind::{
    Breaker, Closure, ContactSet, Converter, Fuse, Ground, Gyro, Kind, Lamp, Load, Load3, Meter,
    Relay, Resistor, Senses, Supply, Switch, Transformer, Vibrator, Wire,
};
use super::values::{Value, Values};
use super::wire::{AIRCRAFT_WIRE, aircraft_wire};
use crate::units::significant;

/// Volts across a closed breaker or a sound fuse at its rated current. Common
/// practice, no published source.
const PROTECTION_DROP_VOLTS: f64 = 0.1;

/// Draw of a rotary converter at no load, as a fraction of its rating (assumption).
const CONVERTER_IDLE: f64 = 0.2;

/// Highest no-load line voltage of a rotary converter over its rated one (assumption).
const CONVERTER_CEILING: f64 = 1.35;

/// Resistance of one alternator phase over its rated impedance (assumption).
const CONVERTER_RESISTANCE: f64 = 0.03;

/// Reactance of one alternator phase over its rated impedance (assumption; a
/// regulated machine seen at its terminals).
const CONVERTER_REACTANCE: f64 = 0.10;

/// Output resistance of a vibrator converter over its rated impedance (assumption).
const VIBRATOR_RESISTANCE: f64 = 0.05;

/// The kind that these values describe; `None` after a finding.
pub(super) fn build(kind: KindId, values: &Values, findings: &mut Findings) -> Option<Kind> {
    match kind {
        KindId::Supply => supply(values).map(Kind::Supply),
        KindId::Wire => wire(values, findings).map(Kind::Wire),
        KindId::Resistor => resistor(values).map(Kind::Resistor),
        KindId::Ground => ground(values).map(Kind::Ground),
        KindId::Breaker => breaker(values).map(Kind::Breaker),
        KindId::Fuse => fuse(values).map(Kind::Fuse),
        KindId::Switch => switch(values, findings).map(Kind::Switch),
        KindId::Relay => relay(values, findings).map(Kind::Relay),
        KindId::Lamp => lamp(values).map(Kind::Lamp),
        KindId::Converter => converter(values, findings).map(Kind::Converter),
        KindId::Vibrator => vibrator(values).map(Kind::Vibrator),
        KindId::Transformer => transformer(values).map(Kind::Transformer),
        KindId::Load => load(values, findings).map(Kind::Load),
        KindId::Load3 => load3(values, findings).map(Kind::Load3),
        KindId::Gyro => gyro(values, findings).map(Kind::Gyro),
        KindId::Meter => meter(values, findings).map(Kind::Meter),
    }
}

impl Values {
    fn net(&self, field: &str) -> Option<NetId> {
        match self.get(field)? {
            Value::Net(net) => Some(*net),
            _ => None,
        }
    }

    /// A number, whole or not.
    pub(super) fn number(&self, field: &str) -> Option<f64> {
        match self.get(field)? {
            Value::Number(number) => Some(*number),
            Value::Count(count) => Some(f64::from(*count)),
            _ => None,
        }
    }

    /// A whole number that the catalogue keeps below 256.
    fn small(&self, field: &str) -> Option<u8> {
        match self.get(field)? {
            Value::Count(count) => u8::try_from(*count).ok(),
            _ => None,
        }
    }

    /// A text or a word of a choice.
    pub(super) fn text(&self, field: &str) -> Option<&str> {
        match self.get(field)? {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }

    fn flag(&self, field: &str) -> Option<bool> {
        match self.get(field)? {
            Value::Flag(flag) => Some(*flag),
            _ => None,
        }
    }

    fn senses(&self) -> Option<Senses> {
        match self.text("senses")? {
            "ac" => Some(Senses::Ac),
            "dc" => Some(Senses::Dc),
            _ => None,
        }
    }

    fn phases(&self) -> Option<[NetId; 3]> {
        Some([self.net("a")?, self.net("b")?, self.net("c")?])
    }

    /// Ohms of one leg at rated volts and volt-amperes, split by the power factor
    /// into resistance and reactance: `Z = V^2 / S`, `R = Z cos`, `X = Z sin`. For
    /// three equal star legs `V` is line to line and the formula is the same, since
    /// each leg has `V / sqrt(3)` and a third of the volt-amperes.
    fn impedance(&self) -> Option<(f64, f64)> {
        let volts = self.number("volts")?;
        let ohms = volts * volts / self.number("volt_amps")?;
        let cosine = self.number("power_factor")?;
        Some((ohms * cosine, ohms * (1.0 - cosine * cosine).sqrt()))
    }
}

fn supply(v: &Values) -> Option<Supply> {
    Some(Supply {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        volts: v.number("volts")?,
        ohms: v.number("ohms")?,
    })
}

fn wire(v: &Values, findings: &mut Findings) -> Option<Wire> {
    let ohms = if let Some(ohms) = v.number("ohms") {
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

fn resistor(v: &Values) -> Option<Resistor> {
    Some(Resistor { a: v.net("a")?, b: v.net("b")?, ohms: v.number("ohms")? })
}

fn ground(v: &Values) -> Option<Ground> {
    Some(Ground { net: v.net("net")?, ohms: v.number("ohms")? })
}

/// Ohms as given, or from the drop at rated current.
fn protection_ohms(v: &Values) -> Option<f64> {
    match v.number("ohms") {
        Some(ohms) => Some(ohms),
        None => Some(PROTECTION_DROP_VOLTS / v.number("amps")?),
    }
}

fn breaker(v: &Values) -> Option<Breaker> {
    Some(Breaker {
        line: v.net("line")?,
        load: v.net("load")?,
        amps: v.number("amps")?,
        ohms: protection_ohms(v)?,
        latches: true,
    })
}

fn fuse(v: &Values) -> Option<Fuse> {
    Some(Fuse {
        line: v.net("line")?,
        load: v.net("load")?,
        amps: v.number("amps")?,
        ohms: protection_ohms(v)?,
        intact: true,
    })
}

fn switch(v: &Values, findings: &mut Findings) -> Option<Switch> {
    let Value::Positions(positions) = v.get("positions")? else {
        return None;
    };
    let mut position = |name: &str, place| {
        let found = positions.iter().position(|known| known == name);
        if found.is_none() {
            let message = format!("{} has no position {}", v.who, quoted(name));
            let hint = findings.suggest(name, positions.iter().map(String::as_str));
            findings.error("unknown-position", place, message, hint);
        }
        found.and_then(|index| u8::try_from(index).ok())
    };
    let start = match v.text("start") {
        Some(name) => position(name, v.place_of("start")),
        None => Some(0),
    };
    let ohms = v.number("contact_ohms");
    let mut closures = Some(Vec::new());
    if let Value::Closures(lists) = v.get("closes")? {
        for list in lists {
            let Some(position) = position(&list.position, list.place) else {
                closures = None;
                continue;
            };
            if let (Some(closures), Some(ohms)) = (&mut closures, ohms) {
                closures.extend(list.pairs.iter().map(|&(a, b)| Closure { position, a, b, ohms }));
            }
        }
    }
    ohms?;
    Some(Switch {
        positions: positions.clone(),
        start: start?,
        springs_back: v.flag("springs_back")?,
        closures: closures?,
    })
}

fn relay(v: &Values, findings: &mut Findings) -> Option<Relay> {
    let pickup_volts = v.number("pickup_volts")?;
    let dropout_volts = v.number("dropout_volts")?;
    if dropout_volts >= pickup_volts {
        let message = format!(
            "{} would release at {} V, which is not below the {} V at which it operates",
            v.who,
            significant(dropout_volts, 6),
            significant(pickup_volts, 6)
        );
        let place = v.place_of("dropout_volts");
        findings.error("dropout-over-pickup", place, message, None);
        return None;
    }
    let Value::Contacts(sets) = v.get("contacts")? else {
        return None;
    };
    if sets.is_empty() {
        let message = format!("{} needs at least one contact set", v.who);
        findings.error("out-of-range", v.place_of("contacts"), message, None);
        return None;
    }
    let ohms = v.number("contact_ohms")?;
    Some(Relay {
        x1: v.net("x1")?,
        x2: v.net("x2")?,
        senses: v.senses()?,
        pickup_volts,
        dropout_volts,
        coil_ohms: v.number("coil_ohms")?,
        contacts: sets
            .iter()
            .map(|set| ContactSet {
                common: set.common,
                released: set.released,
                operated: set.operated,
                released_ohms: ohms,
                operated_ohms: ohms,
            })
            .collect(),
        stuck: None,
    })
}

fn lamp(v: &Values) -> Option<Lamp> {
    let bulbs = v.small("bulbs")?;
    Some(Lamp {
        a: v.net("a")?,
        b: v.net("b")?,
        volts: v.number("volts")?,
        bulb_amps: v.number("bulb_amps")?,
        bulbs,
        bulbs_good: bulbs,
        colour: v.text("colour")?.to_owned(),
    })
}

fn converter(v: &Values, findings: &mut Findings) -> Option<Converter> {
    let volts = v.number("volts")?;
    let volt_amps = v.number("volt_amps")?;
    let base_ohms = volts * volts / volt_amps;
    let ceiling_volts = v.number("ceiling_volts").unwrap_or(CONVERTER_CEILING * volts);
    if ceiling_volts < volts {
        let message = format!(
            "`ceiling_volts` of {} must not be below its `volts`, {} V, but it is {} V",
            v.who,
            significant(volts, 6),
            significant(ceiling_volts, 6)
        );
        findings.error("out-of-range", v.place_of("ceiling_volts"), message, None);
        return None;
    }
    in_order(v, "run_volts", "start_volts", findings)?;
    Some(Converter {
        dc: v.net("dc")?,
        ret: v.net("ret")?,
        phases: v.phases()?,
        volts,
        hertz: v.number("hertz")?,
        volt_amps,
        efficiency: v.number("efficiency")?,
        idle_watts: v.number("idle_watts").unwrap_or(CONVERTER_IDLE * volt_amps),
        start_volts: v.number("start_volts")?,
        run_volts: v.number("run_volts")?,
        governed_volts: v.number("governed_volts")?,
        phase_ohms: CONVERTER_RESISTANCE * base_ohms,
        phase_reactance_ohms: CONVERTER_REACTANCE * base_ohms,
        ceiling_volts,
        motor_sound: true,
        field_sound: true,
        speed_factor: 1.0,
        phase_sound: [true; 3],
    })
}

fn vibrator(v: &Values) -> Option<Vibrator> {
    let volts = v.number("volts")?;
    let volt_amps = v.number("volt_amps")?;
    Some(Vibrator {
        dc: v.net("dc")?,
        ret: v.net("ret")?,
        out: v.net("out")?,
        neutral: v.net("neutral")?,
        volts,
        hertz: v.number("hertz")?,
        volt_amps,
        rated_dc_volts: v.number("rated_dc_volts")?,
        efficiency: v.number("efficiency")?,
        idle_watts: v.number("idle_watts")?,
        start_volts: v.number("start_volts")?,
        ohms: VIBRATOR_RESISTANCE * volts * volts / volt_amps,
        reed_sound: true,
    })
}

fn transformer(v: &Values) -> Option<Transformer> {
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

fn load(v: &Values, findings: &mut Findings) -> Option<Load> {
    in_order(v, "moves_above", "works_above", findings)?;
    let (ohms, reactance_ohms) = v.impedance()?;
    Some(Load {
        a: v.net("a")?,
        b: v.net("b")?,
        volts: v.number("volts")?,
        ohms,
        reactance_ohms,
        hertz: v.number("hertz")?,
        shows: v.text("shows")?.to_owned(),
        flag: v.flag("flag")?,
        needs: match v.get("needs") {
            Some(Value::Needs(needs)) => needs.clone(),
            Some(_) | None => Vec::new(),
        },
        works_above: v.number("works_above")?,
        moves_above: v.number("moves_above")?,
        movement_sound: true,
    })
}

fn load3(v: &Values, findings: &mut Findings) -> Option<Load3> {
    in_order(v, "moves_above", "works_above", findings)?;
    let (ohms, reactance_ohms) = v.impedance()?;
    Some(Load3 {
        phases: v.phases()?,
        volts: v.number("volts")?,
        leg_ohms: [ohms; 3],
        leg_reactance_ohms: reactance_ohms,
        hertz: v.number("hertz")?,
        shows: v.text("shows")?.to_owned(),
        works_above: v.number("works_above")?,
        moves_above: v.number("moves_above")?,
    })
}

fn gyro(v: &Values, findings: &mut Findings) -> Option<Gyro> {
    in_order(v, "stall_torque", "start_torque", findings)?;
    Some(Gyro {
        phases: v.phases()?,
        volts: v.number("volts")?,
        amps: v.number("amps")?,
        power_factor: v.number("power_factor")?,
        locked_ratio: v.number("locked_ratio")?,
        locked_power_factor: v.number("locked_power_factor")?,
        hertz: v.number("hertz")?,
        start_torque: v.number("start_torque")?,
        stall_torque: v.number("stall_torque")?,
        shows: v.text("shows")?.to_owned(),
        flag: v.flag("flag")?,
        winding_sound: [true; 3],
        seized: false,
    })
}

fn meter(v: &Values, findings: &mut Findings) -> Option<Meter> {
    let Value::Scale(scale) = v.get("scale")? else {
        return None;
    };
    let starts_right = scale.first() == Some(&(0.0, 0.0));
    let rises = scale.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1);
    let full = match scale.last() {
        Some(&(full, fraction)) if scale.len() > 1 && starts_right && rises && fraction <= 1.0 => {
            full
        }
        Some(_) | None => {
            let message = format!(
                "the scale of {} must start at (0, 0) and rise in both, to at most 1 of the arc",
                v.who
            );
            findings.error("scale-not-rising", v.place_of("scale"), message, None);
            return None;
        }
    };
    let mut marks = |field: &'static str| {
        let Value::Numbers(numbers) = v.get(field)? else {
            return None;
        };
        let off = numbers.iter().find(|number| !(0.0..=full).contains(*number));
        if let Some(off) = off {
            let message = format!(
                "{} of {} holds {}, which is off its scale of 0 to {}",
                quoted(field),
                v.who,
                significant(*off, 6),
                significant(full, 6)
            );
            findings.error("division-off-scale", v.place_of(field), message, None);
            return None;
        }
        if !numbers.windows(2).all(|pair| pair[0] < pair[1]) {
            let message = format!("{} of {} must rise", quoted(field), v.who);
            findings.error("scale-not-rising", v.place_of(field), message, None);
            return None;
        }
        Some(numbers.clone())
    };
    let divisions = marks("divisions");
    let figures = match v.get("figures") {
        Some(_) => marks("figures"),
        None => divisions.clone(),
    };
    Some(Meter {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        senses: v.senses()?,
        burden_ohms: v.number("burden_ohms")?,
        unit: v.text("unit")?.to_owned(),
        scale: scale.clone(),
        divisions: divisions?,
        figures: figures?,
        class_percent: v.number("class_percent")?,
        gain: 1.0,
    })
}

/// Two fields of which the first must not be above the second.
fn in_order(v: &Values, low: &str, high: &str, findings: &mut Findings) -> Option<()> {
    let (below, above) = (v.number(low)?, v.number(high)?);
    if below <= above {
        return Some(());
    }
    let message = format!(
        "{} of {} must not be above its {}, {}, but it is {}",
        quoted(low),
        v.who,
        quoted(high),
        significant(above, 6),
        significant(below, 6)
    );
    findings.error("out-of-range", v.place_of(low), message, None);
    None
}

#[cfg(test)]
mod tests {
    use super::super::catalogue::{CATALOGUE, FieldDefault, FieldKind, FieldSpec};
    use super::super::{Circuit, read_system};
    use super::*;

    fn try_read(parts: &str) -> (Option<Circuit>, Vec<String>) {
        let text = format!(
            r#"System(id: "x", title: "x", stations: [Station(id: "s", title: "s")],
               nets: ["N"], parts: [{parts}])"#
        );
        let (circuit, findings) = read_system("x", &text);
        let errors = findings.iter().filter(|d| d.code != "net-with-one-end");
        (circuit, errors.map(ToString::to_string).collect())
    }

    /// The kind that one line of a parts list gives.
    fn kind(part: &str) -> Kind {
        let (circuit, errors) = try_read(part);
        circuit.unwrap_or_else(|| panic!("{errors:?}")).parts[0].kind.clone()
    }

    /// A sound value for a field, as an author writes it.
    fn sample(field: &FieldSpec) -> String {
        match field.kind {
            FieldKind::Net => r#""N""#.to_owned(),
            FieldKind::Number { most, .. } => most.min(1.0).to_string(),
            FieldKind::Count { least, .. } => least.to_string(),
            FieldKind::Text => r#""ON""#.to_owned(),
            FieldKind::Flag => "true".to_owned(),
            FieldKind::Choice(words) => format!("{:?}", words[0]),
            FieldKind::Positions => r#"["OFF", "ON"]"#.to_owned(),
            FieldKind::Closures => r#"{"ON": [("N", "GND")]}"#.to_owned(),
            FieldKind::Contacts => r#"[(com: "N", no: "GND")]"#.to_owned(),
            FieldKind::Scale => "[(0, 0), (10, 1)]".to_owned(),
            FieldKind::Numbers => "[0, 5, 10]".to_owned(),
            FieldKind::Needs => r#"[("N", "GND", 26)]"#.to_owned(),
        }
    }

    #[test]
    fn every_kind_can_be_written_with_few_fields_and_with_all() {
        for spec in &CATALOGUE {
            for all in [false, true] {
                let fields: Vec<_> = spec
                    .fields
                    .iter()
                    .filter(|field| all || field.default == FieldDefault::Required)
                    // Released at 1 V and operated at 1 V would not do.
                    .filter(|field| field.name != "dropout_volts")
                    .map(|field| format!(", {}: {}", field.name, sample(field)))
                    .collect();
                let fields = fields.concat();
                let dropout =
                    if all && spec.id == KindId::Relay { ", dropout_volts: 0.5" } else { "" };
                let part = format!(r#"{}(id: "P", at: "s"{fields}{dropout})"#, spec.name);
                let (circuit, errors) = try_read(&part);
                assert!(errors.is_empty(), "{part}: {errors:?}");
                assert_eq!(circuit.unwrap().parts.len(), 1);
            }
        }
    }

    #[test]
    fn a_wire_has_the_ohms_of_its_gauge_and_length() {
        // FAA AC 43.13-1B Change 1, Table 11-9: 16 AWG, 4.81 ohms per 1000 ft.
        let Kind::Wire(wire) =
            kind(r#"Wire(id: "W", at: "s", a: "N", b: "GND", gauge: 16, feet: 20)"#)
        else {
            panic!("not a wire")
        };
        assert!((wire.ohms - 0.0962).abs() < 1e-12, "{}", wire.ohms);
        let Kind::Wire(wire) = kind(r#"Wire(id: "W", at: "s", a: "N", b: "GND", ohms: 0.3)"#)
        else {
            panic!("not a wire")
        };
        assert_eq!(wire.ohms, 0.3);
    }

    #[test]
    fn a_rating_and_power_factor_become_resistance_and_reactance() {
        // 115 V, 100 VA: |Z| = 132.25 ohms; at 0.6 lagging 79.35 + j105.8.
        let fields = "volts: 115, volt_amps: 100, power_factor: 0.6";
        let Kind::Load(load) = kind(&format!(r#"Load(id: "L", at: "s", a: "N", {fields})"#)) else {
            panic!("not a load")
        };
        assert!((load.ohms - 79.35).abs() < 1e-9, "{}", load.ohms);
        assert!((load.reactance_ohms - 105.8).abs() < 1e-9, "{}", load.reactance_ohms);
        let part = format!(r#"Load3(id: "L", at: "s", a: "N", b: "GND", c: "N", {fields})"#);
        let Kind::Load3(load) = kind(&part) else { panic!("not a three-phase load") };
        // Three star legs of V^2 / S at V / sqrt(3) take S together.
        let leg = (load.leg_ohms[0].powi(2) + load.leg_reactance_ohms.powi(2)).sqrt();
        assert!((3.0 * (115.0_f64.powi(2) / 3.0) / leg - 100.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_left_out_follows_from_the_rating() {
        let Kind::Breaker(breaker) =
            kind(r#"Breaker(id: "B", at: "s", line: "N", load: "GND", amps: 5)"#)
        else {
            panic!("not a breaker")
        };
        assert_eq!(breaker.ohms, 0.02);
        let Kind::Converter(converter) = kind(
            r#"Converter(id: "C", at: "s", dc: "N", a: "N", b: "GND", c: "N", volts: 100, volt_amps: 1000)"#,
        ) else {
            panic!("not a converter")
        };
        assert_eq!(converter.idle_watts, 200.0);
        assert_eq!(converter.ceiling_volts, 135.0);
        assert!((converter.phase_ohms - 0.3).abs() < 1e-12);
        assert!((converter.phase_reactance_ohms - 1.0).abs() < 1e-12);
        let Kind::Transformer(transformer) = kind(
            r#"Transformer(id: "T", at: "s", p1: "N", s1: "N", primary_volts: 100, volt_amps: 100,
               series_percent: 3, leakage_percent: 2, magnetising_percent: 8, core_percent: 4)"#,
        ) else {
            panic!("not a transformer")
        };
        assert!((transformer.series_ohms - 3.0).abs() < 1e-12);
        assert!((transformer.leakage_reactance_ohms - 2.0).abs() < 1e-12);
        assert!((transformer.magnetising_reactance_ohms - 1250.0).abs() < 1e-9);
        assert!((transformer.core_ohms - 2500.0).abs() < 1e-9);
        let Kind::Meter(meter) = kind(
            r#"Meter(id: "M", at: "s", plus: "N", scale: [(0, 0), (10, 1)], divisions: [0, 10])"#,
        ) else {
            panic!("not a meter")
        };
        assert_eq!(meter.figures, [0.0, 10.0]);
    }
}
