//! Turns the checked fields of one part into what it is: each kind's struct, with
//! the values that follow from its rating.
//!
//! Here stands how a rating becomes ohms, and which fields must agree with one
//! another. What one field alone must satisfy is in [`super::values`].

mod consumers;
mod controls;
mod sources;
mod wiring;

use std::collections::BTreeMap;

use super::catalogue::{FieldKind, KindId};
use super::file::{Findings, quoted};
use super::kind::{Kind, Senses};
use super::values::{Value, Values};
use super::{NetId, PartId};
use crate::diagnostic::Place;
use crate::units::significant;

/// The parts that others may name, by name.
pub(super) type Known<'a> = BTreeMap<&'a str, (PartId, &'a Kind)>;

/// The kind that these values describe; `None` after a finding. `known` are the parts
/// built before it, which it may name.
pub(super) fn build(
    kind: KindId,
    v: &Values,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<Kind> {
    match kind {
        KindId::Supply => sources::supply(v).map(Kind::Supply),
        KindId::Battery => sources::battery(v, findings).map(Kind::Battery),
        KindId::Generator => sources::generator(v, known, findings).map(Kind::Generator),
        KindId::Receptacle => sources::receptacle(v).map(Kind::Receptacle),
        KindId::Converter => sources::converter(v, findings).map(Kind::Converter),
        KindId::Vibrator => sources::vibrator(v).map(Kind::Vibrator),
        KindId::Alternator => sources::alternator(v, known, findings).map(Kind::Alternator),
        KindId::TransformerRectifier => {
            sources::transformer_rectifier(v).map(Kind::TransformerRectifier)
        }
        KindId::Wire => wiring::wire(v, findings).map(Kind::Wire),
        KindId::Feeder => wiring::feeder(v, findings).map(Kind::Feeder),
        KindId::Resistor => wiring::resistor(v).map(Kind::Resistor),
        KindId::Diode => wiring::diode(v).map(Kind::Diode),
        KindId::Shunt => wiring::shunt(v).map(Kind::Shunt),
        KindId::Splice => wiring::splice(v, findings).map(Kind::Splice),
        KindId::Connector => wiring::connector(v, findings).map(Kind::Connector),
        KindId::Ground => wiring::ground(v).map(Kind::Ground),
        KindId::GroundStud => wiring::ground_stud(v, findings).map(Kind::GroundStud),
        KindId::Breaker => wiring::breaker(v).map(Kind::Breaker),
        KindId::Fuse => wiring::fuse(v).map(Kind::Fuse),
        KindId::Transformer => wiring::transformer(v).map(Kind::Transformer),
        KindId::Switch => controls::switch(v, findings).map(Kind::Switch),
        KindId::PushSwitch => controls::push_switch(v, findings).map(Kind::PushSwitch),
        KindId::ChangeoverSwitch => {
            controls::changeover_switch(v, findings).map(Kind::ChangeoverSwitch)
        }
        KindId::Mechanism => controls::mechanism(v, findings).map(Kind::Mechanism),
        KindId::Microswitch => controls::microswitch(v, known, findings).map(Kind::Microswitch),
        KindId::Relay => controls::relay(v, findings).map(Kind::Relay),
        KindId::Contactor => controls::contactor(v, findings).map(Kind::Contactor),
        KindId::ReverseCurrentRelay => {
            controls::reverse_current_relay(v).map(Kind::ReverseCurrentRelay)
        }
        KindId::PhaseRelay => controls::phase_relay(v, findings).map(Kind::PhaseRelay),
        KindId::Flasher => controls::flasher(v).map(Kind::Flasher),
        KindId::Lamp => consumers::lamp(v).map(Kind::Lamp),
        KindId::Horn => consumers::horn(v).map(Kind::Horn),
        KindId::Motor => consumers::motor(v, findings).map(Kind::Motor),
        KindId::Solenoid => consumers::solenoid(v, findings).map(Kind::Solenoid),
        KindId::Load => consumers::load(v, findings).map(Kind::Load),
        KindId::Load3 => consumers::load3(v, findings).map(Kind::Load3),
        KindId::Gyro => consumers::gyro(v, findings).map(Kind::Gyro),
        KindId::Meter => consumers::meter(v, findings).map(Kind::Meter),
        KindId::Ammeter => consumers::ammeter(v, findings).map(Kind::Ammeter),
        KindId::Loadmeter => consumers::loadmeter(v, findings).map(Kind::Loadmeter),
        KindId::FrequencyMeter => consumers::frequency_meter(v, findings).map(Kind::FrequencyMeter),
    }
}

/// Fields that are the two ends of one thing.
const ENDS: [(&str, &str); 9] = [
    ("a", "b"),
    ("b", "c"),
    ("line", "load"),
    ("plus", "minus"),
    ("x1", "x2"),
    ("anode", "cathode"),
    ("p1", "p2"),
    ("s1", "s2"),
    ("dc", "ret"),
];

/// Warns of a part with both ends on one net: nothing ever flows through it.
pub(super) fn warn_of_same_ends(v: &Values, net_names: &[String], findings: &mut Findings) {
    let mut warn = |place, what: String, net: NetId| {
        let name = net_names.get(net.index()).map_or("", String::as_str);
        let message = format!("{what} of {} are both on the net {}", v.who, quoted(name));
        let hint = Some("nothing flows between them".to_owned());
        findings.warning("ends-on-one-net", place, message, hint);
    };
    for (one, other) in ENDS {
        if let (Some(net), Some(same)) = (v.net(one), v.net(other))
            && net == same
        {
            let place = if v.is_given(other) { v.place_of(other) } else { v.place_of(one) };
            warn(place, format!("{} and {}", quoted(one), quoted(other)), net);
        }
    }
    if let Some(Value::Pins(pins)) = v.get("pins") {
        for (name, net, _) in pins.iter().filter(|(_, a, b)| a == b) {
            warn(v.place_of("pins"), format!("the two sides of pin {}", quoted(name)), *net);
        }
    }
}

/// Whether a kind names another part, so that it has to be built after that.
pub(super) fn names_another(kind: KindId) -> bool {
    kind.spec().fields.iter().any(|field| matches!(field.kind, FieldKind::Part(_)))
}

/// The part that a field names, of a kind that the field allows.
fn part_named<'k>(
    v: &Values,
    field: &'static str,
    known: &Known<'k>,
    findings: &mut Findings,
) -> Option<(PartId, &'k Kind)> {
    let Value::Part(name) = v.get(field)? else {
        return None;
    };
    let allowed = v.fields.iter().find_map(|spec| match spec.kind {
        FieldKind::Part(allowed) if spec.name == field => Some(allowed),
        _ => None,
    })?;
    let fits = |kind: &Kind| allowed.contains(&kind.id());
    let found = known.get(name.as_str());
    if let Some((id, kind)) = found
        && fits(kind)
    {
        return Some((*id, kind));
    }
    let wanted: Vec<&str> = allowed.iter().map(|id| id.spec().name).collect();
    let message = match found {
        Some((_, kind)) => format!(
            "{} of {} must name a {}, but {} is a {}",
            quoted(field),
            v.who,
            wanted.join(" or "),
            quoted(name),
            kind.id().spec().name
        ),
        None => format!("{} of {} names no part: {}", quoted(field), v.who, quoted(name)),
    };
    let near = known.iter().filter(|(_, (_, kind))| fits(kind)).map(|(name, _)| *name);
    let hint =
        findings.suggest(name, near).or_else(|| Some(format!("name a {}", wanted.join(" or "))));
    findings.error("unknown-part", v.place_of(field), message, hint);
    None
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
    use crate::diagnostic::Severity;

    fn try_read(parts: &str) -> (Option<Circuit>, Vec<String>) {
        let text = format!(
            r#"System(id: "x", title: "x", stations: [Station(id: "s", title: "s")],
               nets: ["N"], parts: [{parts}])"#
        );
        let (circuit, findings) = read_system("x", &text);
        let errors = findings.iter().filter(|d| d.severity == Severity::Error);
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
            FieldKind::Numbers if field.name == "rpm" => "[0, 2400]".to_owned(),
            FieldKind::Numbers if field.name == "move_minutes" => "[5, 0.1]".to_owned(),
            FieldKind::Numbers if field.name.ends_with("ohms") => "[3, 3, 3, 1, 1, 1]".to_owned(),
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
            FieldKind::Part(_) => r#""ENGINE""#.to_owned(),
            FieldKind::Nets => r#"["N", "GND"]"#.to_owned(),
            FieldKind::Pairs => r#"[("N", "GND")]"#.to_owned(),
            FieldKind::Poles => r#"[["N", "GND", ""]]"#.to_owned(),
            FieldKind::Pins => r#"[("1", "N", "GND")]"#.to_owned(),
        }
    }

    #[test]
    fn every_kind_can_be_written_with_few_fields_and_with_all() {
        for spec in &CATALOGUE {
            for all in [false, true] {
                let fields: Vec<_> = spec
                    .fields
                    .iter()
                    .filter(|field| {
                        let needed = spec.id == KindId::PushSwitch && field.name == "pressed";
                        all || needed || field.default == FieldDefault::Required
                    })
                    // Released at 1 V and operated at 1 V would not do.
                    .filter(|field| !field.name.starts_with("dropout"))
                    .map(|field| format!(", {}: {}", field.name, sample(field)))
                    .collect();
                let fields = fields.concat();
                let dropout = spec.fields.iter().find(|field| field.name.starts_with("dropout"));
                let dropout = dropout.filter(|_| all);
                let dropout = dropout.map_or(String::new(), |f| format!(", {}: 0.5", f.name));
                let engine =
                    r#"Mechanism(id: "ENGINE", at: "s", positions: ["OFF", "ON"], rpm: [0, 9])"#;
                let part = format!(r#"{engine}, {}(id: "P", at: "s"{fields}{dropout})"#, spec.name);
                let (circuit, errors) = try_read(&part);
                assert!(errors.is_empty(), "{part}: {errors:?}");
                assert_eq!(circuit.unwrap().parts.len(), 2);
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
