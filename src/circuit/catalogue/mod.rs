//! The table of part kinds: purpose, fields with units and defaults, fault modes
//! with relative rates and their source.
//!
//! Written once here; the file reader, the checks, the fault library and the
//! reference all read it. A kind's numbers are relative failure rates per million
//! hours, airborne inhabited cargo environment where the source has one.
//!
//! Sources, as short names used below:
//! * `217F` is MIL-HDBK-217F Notice 2, Appendix A part-count rates, read in a secondary
//!   transcription of the handbook;
//! * `338B` is the mode split printed in MIL-HDBK-338B (from FMD-91), read in a
//!   secondary transcription;
//! * `assumption` marks a rate without a published source.

mod consumers;
mod controls;
mod sources;
mod wiring;

/// The kinds of part, in the order of [`CATALOGUE`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "each kind's purpose stands in its catalogue row")]
pub enum KindId {
    Supply,
    Battery,
    Generator,
    Receptacle,
    Converter,
    Vibrator,
    Alternator,
    TransformerRectifier,
    Wire,
    Feeder,
    Resistor,
    Diode,
    Shunt,
    Splice,
    Connector,
    Ground,
    GroundStud,
    Breaker,
    Fuse,
    Transformer,
    Switch,
    PushSwitch,
    ChangeoverSwitch,
    Mechanism,
    Microswitch,
    Relay,
    Contactor,
    ReverseCurrentRelay,
    PhaseRelay,
    Flasher,
    Lamp,
    Horn,
    Motor,
    Solenoid,
    Load,
    Load3,
    Gyro,
    Meter,
    Ammeter,
    Loadmeter,
    FrequencyMeter,
}

impl KindId {
    /// The catalogue row of this kind.
    pub fn spec(self) -> &'static KindSpec {
        &CATALOGUE[self as usize]
    }
}

/// One kind of part.
#[derive(Debug)]
pub struct KindSpec {
    /// Which kind.
    pub id: KindId,
    /// Its name in files.
    pub name: &'static str,
    /// What it stands for.
    pub purpose: &'static str,
    /// The formula it follows and where that is from.
    pub formula: &'static str,
    /// Minutes to replace one, unless the file says otherwise. Common practice, no
    /// published source.
    pub replace_minutes: f64,
    /// Its fields besides those every part has.
    pub fields: &'static [FieldSpec],
    /// How it fails.
    pub modes: &'static [ModeSpec],
}

/// One field of a kind.
#[derive(Debug)]
pub struct FieldSpec {
    /// Its name in files.
    pub name: &'static str,
    /// What it holds.
    pub kind: FieldKind,
    /// What happens when it is left out.
    pub default: FieldDefault,
    /// What it means.
    pub doc: &'static str,
}

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FieldKind {
    /// The name of a net.
    Net,
    /// A number in a unit, above `above` (exclusive) and not over `most`.
    Number {
        /// The unit, as written in the guide; empty for a bare number.
        unit: &'static str,
        /// Exclusive lower limit.
        above: f64,
        /// Inclusive upper limit.
        most: f64,
    },
    /// A whole number between two inclusive limits.
    Count {
        /// Lowest.
        least: u32,
        /// Highest.
        most: u32,
    },
    /// Text on one line.
    Text,
    /// `true` or `false`.
    Flag,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// A list of position names.
    Positions,
    /// Position name to the pairs of nets closed in it.
    Closures,
    /// A list of contact sets `(com:, nc:, no:)`.
    Contacts,
    /// A list of `(value, fraction of arc)`.
    Scale,
    /// A list of numbers.
    Numbers,
    /// A list of `(net, net, volts)`.
    Needs,
    /// The name of a part of one of these kinds, which may stand anywhere in the file.
    Part(&'static [KindId]),
    /// A list of nets.
    Nets,
    /// A list of pairs of nets.
    Pairs,
    /// A list of poles, each a list of nets of which the first is common.
    Poles,
    /// A list of `(pin, net, net)`.
    Pins,
}

/// What happens when a field is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FieldDefault {
    /// It must be given.
    Required,
    /// It may be left out; the guide says what that means.
    Absent,
    /// This number.
    Number(f64),
    /// This text, net or word.
    Text(&'static str),
    /// This flag.
    Flag(bool),
}

/// One way a kind fails.
#[derive(Debug)]
pub struct ModeSpec {
    /// Its name after the colon in `PART:MODE`. A mode that exists once per contact,
    /// phase or position carries that after a dash.
    pub name: &'static str,
    /// Relative rate per million hours, shared by all instances of the mode on one part.
    pub rate: f64,
    /// Where the rate is from.
    pub source: &'static str,
    /// What has happened, for a sentence about the part.
    pub text: &'static str,
}

/// What can turn a generator.
const TURNS: &[KindId] = &[KindId::Mechanism];

/// What can work a microswitch.
const MOVES: &[KindId] = &[KindId::Mechanism, KindId::Solenoid, KindId::Motor];

const fn f(
    name: &'static str,
    kind: FieldKind,
    default: FieldDefault,
    doc: &'static str,
) -> FieldSpec {
    FieldSpec { name, kind, default, doc }
}

const fn m(name: &'static str, rate: f64, source: &'static str, text: &'static str) -> ModeSpec {
    ModeSpec { name, rate, source, text }
}

const fn n(unit: &'static str) -> FieldKind {
    FieldKind::Number { unit, above: 0.0, most: 1e9 }
}

const fn fraction() -> FieldKind {
    FieldKind::Number { unit: "", above: 0.0, most: 1.0 }
}

/// Every kind of part, in the order of [`KindId`].
pub static CATALOGUE: [KindSpec; 41] = [
    sources::SUPPLY,
    sources::BATTERY,
    sources::GENERATOR,
    sources::RECEPTACLE,
    sources::CONVERTER,
    sources::VIBRATOR,
    sources::ALTERNATOR,
    sources::TRANSFORMER_RECTIFIER,
    wiring::WIRE,
    wiring::FEEDER,
    wiring::RESISTOR,
    wiring::DIODE,
    wiring::SHUNT,
    wiring::SPLICE,
    wiring::CONNECTOR,
    wiring::GROUND,
    wiring::GROUND_STUD,
    wiring::BREAKER,
    wiring::FUSE,
    wiring::TRANSFORMER,
    controls::SWITCH,
    controls::PUSH_SWITCH,
    controls::CHANGEOVER_SWITCH,
    controls::MECHANISM,
    controls::MICROSWITCH,
    controls::RELAY,
    controls::CONTACTOR,
    controls::REVERSE_CURRENT_RELAY,
    controls::PHASE_RELAY,
    controls::FLASHER,
    consumers::LAMP,
    consumers::HORN,
    consumers::MOTOR,
    consumers::SOLENOID,
    consumers::LOAD,
    consumers::LOAD3,
    consumers::GYRO,
    consumers::METER,
    consumers::AMMETER,
    consumers::LOADMETER,
    consumers::FREQUENCY_METER,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_ids_and_names_nothing_twice() {
        for (index, spec) in CATALOGUE.iter().enumerate() {
            assert_eq!(spec.id as usize, index, "{}", spec.name);
            let mut names: Vec<_> = spec.fields.iter().map(|field| field.name).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), spec.fields.len(), "{}", spec.name);
            assert!(spec.modes.iter().all(|mode| mode.rate > 0.0 && !mode.source.is_empty()));
        }
    }
}
