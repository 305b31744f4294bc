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

/// The kinds of part, in the order of [`CATALOGUE`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "each kind's purpose stands in its catalogue row")]
pub enum KindId {
    Supply,
    Wire,
    Resistor,
    Ground,
    Breaker,
    Fuse,
    Switch,
    Relay,
    Lamp,
    Converter,
    Vibrator,
    Transformer,
    Load,
    Load3,
    Gyro,
    Meter,
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
    /// What it stands for and the formula it follows.
    pub purpose: &'static str,
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

use FieldDefault::{Absent, Flag, Number, Required, Text as Word};
use FieldKind as K;

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
pub static CATALOGUE: [KindSpec; 16] = [
    KindSpec {
        id: KindId::Supply,
        name: "Supply",
        purpose: "Direct-current supply: volts behind an internal resistance.",
        replace_minutes: 60.0,
        fields: &[
            f("plus", K::Net, Required, "positive terminal"),
            f("minus", K::Net, Word("GND"), "negative terminal"),
            f("volts", n("V"), Number(27.5), "open-circuit volts"),
            f("ohms", n("ohm"), Number(0.005), "internal resistance"),
        ],
        modes: &[m("dead", 2.0, "assumption", "gives no voltage")],
    },
    KindSpec {
        id: KindId::Wire,
        name: "Wire",
        purpose: "A run of wire with its terminations. Ohms from gauge and length by FAA \
                  AC 43.13-1B Table 11-9, or given outright.",
        replace_minutes: 20.0,
        fields: &[
            f("a", K::Net, Required, "one end"),
            f("b", K::Net, Required, "the other end"),
            f("gauge", K::Count { least: 4, most: 24 }, Number(20.0), "AWG, even, 4 to 24"),
            f("feet", n("ft"), Number(10.0), "length"),
            f("ohms", n("ohm"), Absent, "ohms end to end, instead of gauge and feet"),
        ],
        modes: &[
            m(
                "open",
                0.142,
                "217F connector 0.058, four terminations a run (assumption); 338B connector open 0.61",
                "is broken",
            ),
            m(
                "chafed",
                0.037,
                "217F connector 0.058, four terminations a run (assumption); 338B connector short 0.16",
                "has chafed through to the airframe",
            ),
            m(
                "high-resistance",
                0.053,
                "217F connector 0.058, four terminations a run (assumption); 338B connector \
                 intermittent 0.23, taken as a poor joint (assumption)",
                "has a high-resistance joint",
            ),
        ],
    },
    KindSpec {
        id: KindId::Resistor,
        name: "Resistor",
        purpose: "A fixed resistor.",
        replace_minutes: 15.0,
        fields: &[
            f("a", K::Net, Required, "one end"),
            f("b", K::Net, Required, "the other end"),
            f("ohms", n("ohm"), Required, "resistance"),
        ],
        modes: &[m("open", 0.05, "assumption", "is open")],
    },
    KindSpec {
        id: KindId::Ground,
        name: "Ground",
        purpose: "A stud that bonds a net to the airframe.",
        replace_minutes: 15.0,
        fields: &[
            f("net", K::Net, Required, "the net bonded"),
            f(
                "ohms",
                n("ohm"),
                Number(0.0025),
                "ohms of the bond; the default is common \
                 practice for a bonding joint, no published source",
            ),
        ],
        modes: &[
            m("open", 0.05, "assumption", "has come off"),
            m("high-resistance", 0.1, "assumption", "is corroded"),
        ],
    },
    KindSpec {
        id: KindId::Breaker,
        name: "Breaker",
        purpose: "Single-pole thermal breaker. Opens after t = -T ln(1 - (1.15 / x)^2) at x \
                  times its rating (first-order heating), T set so that 200 % opens in 10 s.",
        replace_minutes: 30.0,
        fields: &[
            f("line", K::Net, Required, "supply side"),
            f("load", K::Net, Required, "load side"),
            f("amps", n("A"), Required, "rating"),
            f("ohms", n("ohm"), Absent, "ohms from side to side; left out: 0.1 V at rated amps"),
        ],
        modes: &[m(
            "trips-early",
            0.41,
            "217F thermal breaker 0.80; opens without stimulus 0.51 (from memory)",
            "opens without overload and does not latch again",
        )],
    },
    KindSpec {
        id: KindId::Fuse,
        name: "Fuse",
        purpose: "Cartridge fuse in its holder. Opens after t = -T ln(1 - (1.1 / x)^2) at x \
                  times its rating, T = 30 s: within an hour at 135 % and two minutes at \
                  200 % as UL 248-14 asks.",
        replace_minutes: 1.0,
        fields: &[
            f("line", K::Net, Required, "supply side"),
            f("load", K::Net, Required, "load side"),
            f("amps", n("A"), Required, "rating"),
            f("ohms", n("ohm"), Absent, "ohms of the element; left out: 0.1 V at rated amps"),
        ],
        modes: &[m(
            "open",
            0.9,
            "assumption: ten times the 217F part rate of 0.09, since most fuses are opened by \
             inrush and age and not by a part failure",
            "is blown",
        )],
    },
    KindSpec {
        id: KindId::Switch,
        name: "Switch",
        purpose: "A hand-operated switch or selector of any poles and positions.",
        replace_minutes: 30.0,
        fields: &[
            f("positions", K::Positions, Required, "engraved positions in order"),
            f("start", K::Text, Absent, "position in the normal setup; left out: the first"),
            f("springs_back", K::Flag, Flag(false), "returns to `start` when let go"),
            f("closes", K::Closures, Required, "position to the pairs of nets joined in it"),
            f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
        ],
        modes: &[m(
            "open",
            0.66,
            "217F rotary switch 3.3, a fifth of it (assumption); 338B toggle switch open 0.65",
            "does not make contact",
        )],
    },
    KindSpec {
        id: KindId::Relay,
        name: "Relay",
        purpose: "Relay or contactor: operates at its pickup volts, releases below its dropout \
                  volts, stays as it was between them.",
        replace_minutes: 25.0,
        fields: &[
            f("x1", K::Net, Required, "coil"),
            f("x2", K::Net, Word("GND"), "coil, other end"),
            f("senses", K::Choice(&["dc", "ac"]), Word("dc"), "what the coil answers to"),
            f("pickup_volts", n("V"), Number(18.0), "operates at and above"),
            f("dropout_volts", n("V"), Number(7.0), "releases below"),
            f("coil_ohms", n("ohm"), Number(290.0), "coil resistance"),
            f("contacts", K::Contacts, Required, "contact sets (com:, nc:, no:)"),
            f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
        ],
        modes: &[
            m(
                "coil-open",
                0.3,
                "217F general relay 1.1; 338B fails to trip 0.55, half of it (assumption)",
                "has an open coil",
            ),
            m(
                "stuck-released",
                0.3,
                "217F general relay 1.1; 338B fails to trip 0.55, half of it (assumption)",
                "stays released",
            ),
            m(
                "stuck-operated",
                0.29,
                "217F general relay 1.1; 338B spurious trip 0.26",
                "stays operated",
            ),
            m("contact-open", 0.2, "assumption", "has a contact that does not make"),
        ],
    },
    KindSpec {
        id: KindId::Lamp,
        name: "Lamp",
        purpose: "Annunciator of one or more filament bulbs in parallel. Current follows volts \
                  to the power 0.54 and light to the power 3.4 (common lamp exponents, from \
                  memory); cold resistance a tenth of hot.",
        replace_minutes: 3.0,
        fields: &[
            f("a", K::Net, Required, "supply side"),
            f("b", K::Net, Word("GND"), "return side"),
            f("volts", n("V"), Number(28.0), "rated volts"),
            f("bulb_amps", n("A"), Number(0.04), "rated amperes of one bulb"),
            f("bulbs", K::Count { least: 1, most: 8 }, Number(2.0), "bulbs behind the legend"),
            f(
                "colour",
                K::Choice(&["amber", "red", "green", "blue", "white"]),
                Word("amber"),
                "colour of the legend",
            ),
        ],
        modes: &[
            m(
                "one-bulb-out",
                34.0,
                "217F incandescent lamp, DC 51; 338B no output 0.67",
                "has one bulb out",
            ),
            m(
                "bulbs-out",
                1.0,
                "assumption: a common cause, such as the holder",
                "has no bulb that burns",
            ),
        ],
    },
    KindSpec {
        id: KindId::Converter,
        name: "Converter",
        purpose: "Rotary converter: a DC motor drawing idle watts + output / efficiency, driving \
                  a three-phase alternator (three EMFs behind R + jX) whose regulator holds \
                  phase A to the airframe at its set volts, up to a ceiling.",
        replace_minutes: 90.0,
        fields: &[
            f("dc", K::Net, Required, "motor supply"),
            f("ret", K::Net, Word("GND"), "motor return"),
            f("a", K::Net, Required, "phase A"),
            f("b", K::Net, Required, "phase B"),
            f("c", K::Net, Required, "phase C"),
            f("volts", n("V"), Number(115.0), "regulated volts, A to airframe"),
            f("hertz", n("Hz"), Number(400.0), "rated frequency"),
            f("volt_amps", n("VA"), Required, "rating"),
            f("efficiency", fraction(), Number(0.6), "output over shaft input"),
            f("idle_watts", n("W"), Absent, "draw at no load; left out: 0.2 of the rating"),
            f("start_volts", n("V"), Number(18.0), "motor volts to start"),
            f("run_volts", n("V"), Number(12.0), "motor volts below which it stops"),
            f("governed_volts", n("V"), Number(24.0), "motor volts below which speed falls"),
            f(
                "ceiling_volts",
                n("V"),
                Absent,
                "highest no-load line volts; left out: 1.35 of rated",
            ),
        ],
        modes: &[
            m("motor-open", 1.6, "assumption", "has an open motor circuit: it does not turn"),
            m("brush-worn", 1.2, "assumption", "has worn brushes: it runs slow"),
            m("field-lost", 0.8, "assumption", "has lost its field: it turns but gives nothing"),
            m("phase-open", 0.6, "assumption", "has an open output phase"),
            m("regulator-low", 0.5, "assumption", "has a regulator that holds too low a voltage"),
            m("regulator-high", 0.3, "assumption", "has a regulator that holds too high a voltage"),
        ],
    },
    KindSpec {
        id: KindId::Vibrator,
        name: "Vibrator",
        purpose: "Vibrator converter: single-phase output in proportion to its supply.",
        replace_minutes: 20.0,
        fields: &[
            f("dc", K::Net, Required, "supply"),
            f("ret", K::Net, Word("GND"), "supply return"),
            f("out", K::Net, Required, "live output"),
            f("neutral", K::Net, Word("GND"), "neutral output"),
            f("volts", n("V"), Number(110.0), "output volts at `rated_dc_volts`, no load"),
            f("hertz", n("Hz"), Number(60.0), "output frequency"),
            f("volt_amps", n("VA"), Number(80.0), "rating"),
            f("rated_dc_volts", n("V"), Number(27.5), "supply that gives the rated output"),
            f("efficiency", fraction(), Number(0.65), "output over input"),
            f("idle_watts", n("W"), Number(8.0), "draw at no load"),
            f("start_volts", n("V"), Number(18.0), "supply volts to start"),
        ],
        modes: &[
            m("dead", 2.0, "assumption", "does not vibrate"),
            m("weak", 1.0, "assumption", "gives half its voltage"),
        ],
    },
    KindSpec {
        id: KindId::Transformer,
        name: "Transformer",
        purpose: "Single-phase transformer: ideal ratio, series impedance, iron loss and \
                  magnetising branch (the usual equivalent circuit). Two make an open-delta bank.",
        replace_minutes: 30.0,
        fields: &[
            f("p1", K::Net, Required, "primary"),
            f("p2", K::Net, Word("GND"), "primary, other end"),
            f("s1", K::Net, Required, "secondary, in phase with p1"),
            f("s2", K::Net, Word("GND"), "secondary, other end"),
            f("primary_volts", n("V"), Number(115.0), "rated primary volts"),
            f("secondary_volts", n("V"), Number(26.0), "secondary volts at no load"),
            f("volt_amps", n("VA"), Required, "rating"),
            f("series_percent", n("%"), Number(3.0), "winding resistance, percent of rating"),
            f("leakage_percent", n("%"), Number(2.0), "leakage reactance, percent of rating"),
            f("magnetising_percent", n("%"), Number(8.0), "magnetising current, percent of rated"),
            f("core_percent", n("%"), Number(3.0), "iron loss, percent of rating"),
            f("hertz", n("Hz"), Number(400.0), "rated frequency"),
        ],
        modes: &[
            m(
                "primary-open",
                0.06,
                "217F power transformer 0.21; 338B open 0.42, primary two thirds (assumption)",
                "has an open primary winding",
            ),
            m(
                "secondary-open",
                0.03,
                "217F power transformer 0.21; 338B open 0.42, secondary one third (assumption)",
                "has an open secondary winding",
            ),
            m(
                "shorted-turns",
                0.09,
                "217F power transformer 0.21; 338B short 0.42",
                "has shorted turns",
            ),
        ],
    },
    KindSpec {
        id: KindId::Load,
        name: "Load",
        purpose: "Single-phase or DC load: constant impedance from its rating, \
                  Z = V^2 / VA at the power factor. With `shows` it is an instrument.",
        replace_minutes: 25.0,
        fields: &[
            f("a", K::Net, Required, "supply side"),
            f("b", K::Net, Word("GND"), "return side"),
            f("volts", n("V"), Number(115.0), "rated volts"),
            f("volt_amps", n("VA"), Required, "rating (watts for DC)"),
            f("power_factor", fraction(), Number(1.0), "lagging"),
            f("hertz", n("Hz"), Number(400.0), "rated frequency"),
            f("shows", K::Text, Word(""), "what one sees of it; left out: nothing"),
            f("flag", K::Flag, Flag(false), "has a warning flag"),
            f("needs", K::Needs, Absent, "further (net, net, volts) it works only with"),
            f("works_above", fraction(), Number(0.85), "fraction of rated volts to work"),
            f("moves_above", fraction(), Number(0.55), "fraction to be sluggish"),
        ],
        modes: &[
            m("open", 0.4, "assumption", "is open inside: it draws nothing"),
            m("shorted", 0.15, "assumption", "is shorted inside"),
            m("movement-failed", 0.45, "assumption", "draws its current but does not work"),
        ],
    },
    KindSpec {
        id: KindId::Load3,
        name: "Load3",
        purpose: "Three-phase load of three equal star legs without neutral.",
        replace_minutes: 40.0,
        fields: &[
            f("a", K::Net, Required, "phase A"),
            f("b", K::Net, Required, "phase B"),
            f("c", K::Net, Required, "phase C"),
            f("volts", n("V"), Number(115.0), "rated volts line to line"),
            f("volt_amps", n("VA"), Required, "rating, all phases"),
            f("power_factor", fraction(), Number(1.0), "lagging"),
            f("hertz", n("Hz"), Number(400.0), "rated frequency"),
            f("shows", K::Text, Word(""), "what one sees of it; left out: nothing"),
            f("works_above", fraction(), Number(0.85), "fraction of rated volts to work"),
            f("moves_above", fraction(), Number(0.55), "fraction to be sluggish"),
        ],
        modes: &[
            m("leg-open", 0.5, "assumption", "has an open phase inside"),
            m("shorted", 0.15, "assumption", "is shorted inside between A and C"),
        ],
    },
    KindSpec {
        id: KindId::Gyro,
        name: "Gyro",
        purpose: "Three-phase induction motor spinning a gyro, known by its positive- and \
                  negative-sequence admittance (symmetrical components). Net torque follows \
                  |V1|^2 - |V2|^2 at standstill; a running rotor on two lines holds up the \
                  third by back-feed.",
        replace_minutes: 30.0,
        fields: &[
            f("a", K::Net, Required, "phase A"),
            f("b", K::Net, Required, "phase B"),
            f("c", K::Net, Required, "phase C"),
            f("volts", n("V"), Number(115.0), "rated volts line to line"),
            f("amps", n("A"), Required, "amperes a line, running"),
            f("power_factor", fraction(), Number(0.6), "running, lagging"),
            f("locked_ratio", n(""), Number(4.0), "locked-rotor over running amperes"),
            f("locked_power_factor", fraction(), Number(0.5), "rotor locked, lagging"),
            f("hertz", n("Hz"), Number(400.0), "rated frequency"),
            f("start_torque", fraction(), Number(0.35), "fraction of rated torque to start"),
            f("stall_torque", fraction(), Number(0.15), "fraction below which it runs down"),
            f("shows", K::Text, Word(""), "what one sees of it; left out: nothing"),
            f("flag", K::Flag, Flag(true), "has a warning flag"),
        ],
        modes: &[
            m("winding-open", 0.9, "assumption", "has an open winding"),
            m("seized", 1.1, "assumption", "has a seized bearing"),
        ],
    },
    KindSpec {
        id: KindId::Meter,
        name: "Meter",
        purpose: "Pointer instrument: its own resistance loads the circuit, its scale turns \
                  volts into an angle, its class bounds the error.",
        replace_minutes: 25.0,
        fields: &[
            f("plus", K::Net, Required, "one terminal"),
            f("minus", K::Net, Word("GND"), "the other terminal"),
            f("senses", K::Choice(&["ac", "dc"]), Word("ac"), "what it responds to"),
            f("burden_ohms", n("ohm"), Number(30_000.0), "its own resistance"),
            f("unit", K::Text, Word("V"), "unit on its face"),
            f("scale", K::Scale, Required, "(value, fraction of arc), both rising from (0, 0)"),
            f("divisions", K::Numbers, Required, "values with a division mark"),
            f("figures", K::Numbers, Absent, "values with a figure; left out: all divisions"),
            f(
                "class_percent",
                K::Number { unit: "%", above: 0.0, most: 20.0 },
                Number(2.0),
                "accuracy class, percent of full arc",
            ),
        ],
        modes: &[
            m(
                "movement-open",
                0.99,
                "217F AC panel meter 4.3; 338B meter: unable to adjust 0.23",
                "has an open movement: it reads zero",
            ),
            m(
                "reads-low",
                2.2,
                "217F AC panel meter 4.3; 338B meter: faulty 0.51",
                "reads a fifth low",
            ),
        ],
    },
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
