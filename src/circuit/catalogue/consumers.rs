//! Rows of the parts that do something one can see or hear.

use super::{
    FieldDefault::{Absent, Flag, Number, Required, Text as Word},
    FieldKind as K, KindId, KindSpec, ModeSpec, f, fraction, m, n,
};

pub(super) const LAMP: KindSpec = KindSpec {
    id: KindId::Lamp,
    name: "Lamp",
    purpose: "Annunciator of one or more filament bulbs in parallel behind one legend.",
    formula: "Current follows volts to the power 0.54 and light volts to the power 3.4 (common lamp exponents, from memory); cold resistance a tenth of hot (Jones and Langmuir 1927 give 1 to 10 through 15, from memory).",
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
        m("bulb-missing", 1.0, "assumption", "has a bulb missing"),
    ],
};

pub(super) const HORN: KindSpec = KindSpec {
    id: KindId::Horn,
    name: "Horn",
    purpose: "Horn or bell.",
    formula: "I = V / R; sounds from a fraction of its rated volts.",
    replace_minutes: 15.0,
    fields: &[
        f("a", K::Net, Required, "supply side"),
        f("b", K::Net, Word("GND"), "return side"),
        f("volts", n("V"), Number(28.0), "rated volts"),
        f("amps", n("A"), Number(0.5), "rated current"),
        f("sounds_above", fraction(), Number(0.6), "fraction of rated volts from which it sounds"),
    ],
    modes: &[
        m("open", 0.5, "assumption", "is open inside"),
        m("silent", 0.5, "assumption", "draws its current and gives no sound"),
    ],
};

pub(super) const MOTOR: KindSpec = KindSpec {
    id: KindId::Motor,
    name: "Motor",
    purpose: "Direct-current motor.",
    formula: "Constant resistance from its rated current while it runs, a fraction of it with the rotor standing (locked-rotor current); starts and stops by its volts.",
    replace_minutes: 40.0,
    fields: &[
        f("a", K::Net, Required, "supply side"),
        f("b", K::Net, Word("GND"), "return side"),
        f("volts", n("V"), Number(27.5), "rated volts"),
        f("amps", n("A"), Required, "rated current"),
        f("locked_ratio", n(""), Number(5.0), "locked-rotor over rated current (assumption)"),
        f("start_volts", n("V"), Absent, "volts to start; left out: half of rated"),
        f("run_volts", n("V"), Absent, "volts below which it stops; left out: a quarter of rated"),
        f("slow_volts", n("V"), Absent, "volts below which it runs slow; left out: 0.8 of rated"),
        f("shows", K::Text, Word(""), "what one sees or hears of it; left out: nothing"),
    ],
    modes: &[
        m(
            "open",
            1.5,
            "338B motor winding 0.31 (from memory); rate an assumption",
            "has an open winding or brush",
        ),
        m(
            "seized",
            1.4,
            "338B motor bearing 0.28 (from memory); rate an assumption",
            "has seized: it draws its standing current",
        ),
    ],
};

pub(super) const SOLENOID: KindSpec = KindSpec {
    id: KindId::Solenoid,
    name: "Solenoid",
    purpose: "Solenoid that pulls something in.",
    formula: "Pulls in at its pull volts, lets go below its drop volts, stays as it was between them.",
    replace_minutes: 30.0,
    fields: &[
        f("x1", K::Net, Required, "coil"),
        f("x2", K::Net, Word("GND"), "coil, other end"),
        f("pull_volts", n("V"), Number(16.0), "pulls in at and above"),
        f("drop_volts", n("V"), Number(6.0), "lets go below"),
        f("coil_ohms", n("ohm"), Number(20.0), "coil resistance"),
        f("shows", K::Text, Word(""), "what one sees of it; left out: nothing"),
    ],
    modes: &[
        m("coil-open", 0.5, "assumption", "has an open coil"),
        m("jammed-released", 0.4, "assumption", "is jammed: it does not pull in"),
        m("jammed-pulled", 0.1, "assumption", "is jammed pulled in"),
    ],
};

pub(super) const LOAD: KindSpec = KindSpec {
    id: KindId::Load,
    name: "Load",
    purpose: "Single-phase or direct-current load; with `shows` it is an instrument or a consumer one can see.",
    formula: "Constant impedance from its rating: |Z| = V^2 / VA at the power factor.",
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
};

pub(super) const LOAD3: KindSpec = KindSpec {
    id: KindId::Load3,
    name: "Load3",
    purpose: "Three-phase load of three equal star legs without neutral.",
    formula: "Each leg |Z| = V^2 / VA with V line to line, at the power factor.",
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
};

pub(super) const GYRO: KindSpec = KindSpec {
    id: KindId::Gyro,
    name: "Gyro",
    purpose: "Three-phase induction motor that spins a gyro.",
    formula: "Positive- and negative-sequence admittance (symmetrical components, Fortescue 1918). Torque follows |V1|^2 - |V2|^2; a running rotor on two lines holds up the third by back-feed; with two lines exchanged it runs backwards.",
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
        m(
            "phases-crossed",
            0.05,
            "assumption: leads exchanged at a change",
            "has its leads A and C exchanged",
        ),
    ],
};

pub(super) const METER: KindSpec = KindSpec {
    id: KindId::Meter,
    name: "Meter",
    purpose: "Voltmeter: a pointer on a scale.",
    formula: "Its own resistance loads the circuit, its scale turns volts into an angle, its class bounds the error in percent of the full arc.",
    replace_minutes: 25.0,
    fields: &[
        f("plus", K::Net, Required, "one terminal"),
        f("minus", K::Net, Word("GND"), "the other terminal"),
        f("senses", K::Choice(&["ac", "dc"]), Word("ac"), "what it responds to"),
        f("burden_ohms", n("ohm"), Number(30_000.0), "its own resistance"),
        f("unit", K::Text, Word("V"), "unit on its face"),
        f(
            "scale",
            K::Scale,
            Required,
            "(value, fraction of arc), both rising from the left stop at fraction 0",
        ),
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
};

/// How an instrument of direct current fails.
const DC_METER_MODES: &[ModeSpec] = &[
    m(
        "movement-open",
        0.57,
        "217F DC panel meter 2.5; 338B meter: unable to adjust 0.23",
        "has an open movement: it does not answer",
    ),
    m("reads-low", 1.3, "217F DC panel meter 2.5; 338B meter: faulty 0.51", "reads a fifth low"),
];

pub(super) const AMMETER: KindSpec = KindSpec {
    id: KindId::Ammeter,
    name: "Ammeter",
    purpose: "Ammeter: a millivoltmeter across a shunt, with a scale in amperes; a scale that starts below zero has its zero within.",
    formula: "A = V amperes / millivolts.",
    replace_minutes: 25.0,
    fields: &[
        f("plus", K::Net, Required, "the shunt end that is positive for a positive reading"),
        f("minus", K::Net, Required, "the other shunt end"),
        f("amps", n("A"), Required, "amperes of the shunt at its millivolts"),
        f("millivolts", n("mV"), Number(50.0), "rated millivolts of the shunt"),
        f("burden_ohms", n("ohm"), Number(10.0), "its own resistance"),
        f("unit", K::Text, Word("A"), "unit on its face"),
        f(
            "scale",
            K::Scale,
            Required,
            "(value, fraction of arc), both rising from the left stop at fraction 0",
        ),
        f("divisions", K::Numbers, Required, "values with a division mark"),
        f("figures", K::Numbers, Absent, "values with a figure; left out: all divisions"),
        f(
            "class_percent",
            K::Number { unit: "%", above: 0.0, most: 20.0 },
            Number(2.0),
            "accuracy class, percent of full arc",
        ),
    ],
    modes: DC_METER_MODES,
};

pub(super) const LOADMETER: KindSpec = KindSpec {
    id: KindId::Loadmeter,
    name: "Loadmeter",
    purpose: "Loadmeter: an ammeter with a scale in fractions of a generator's rating.",
    formula: "Load = V / rated millivolts.",
    replace_minutes: 25.0,
    fields: &[
        f("plus", K::Net, Required, "the shunt end that is positive for a positive reading"),
        f("minus", K::Net, Required, "the other shunt end"),
        f("millivolts", n("mV"), Number(50.0), "millivolts of the shunt at the generator's rating"),
        f("burden_ohms", n("ohm"), Number(10.0), "its own resistance"),
        f("unit", K::Text, Word("load"), "unit on its face"),
        f(
            "scale",
            K::Scale,
            Required,
            "(value, fraction of arc), both rising from the left stop at fraction 0",
        ),
        f("divisions", K::Numbers, Required, "values with a division mark"),
        f("figures", K::Numbers, Absent, "values with a figure; left out: all divisions"),
        f(
            "class_percent",
            K::Number { unit: "%", above: 0.0, most: 20.0 },
            Number(2.0),
            "accuracy class, percent of full arc",
        ),
    ],
    modes: DC_METER_MODES,
};

pub(super) const FREQUENCY_METER: KindSpec = KindSpec {
    id: KindId::FrequencyMeter,
    name: "FrequencyMeter",
    purpose: "Frequency meter, with a scale of its own range.",
    formula: "Hertz of the strongest alternating source across it, from `least_volts` up; its pointer rests on the left stop below.",
    replace_minutes: 25.0,
    fields: &[
        f("plus", K::Net, Required, "one terminal"),
        f("minus", K::Net, Word("GND"), "the other terminal"),
        f("burden_ohms", n("ohm"), Number(20000.0), "its own resistance"),
        f("least_volts", n("V"), Number(60.0), "volts from which it answers"),
        f("unit", K::Text, Word("Hz"), "unit on its face"),
        f(
            "scale",
            K::Scale,
            Required,
            "(value, fraction of arc), both rising from the left stop at fraction 0",
        ),
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
            "has an open movement: it does not answer",
        ),
        m(
            "reads-low",
            2.2,
            "217F AC panel meter 4.3; 338B meter: faulty 0.51",
            "reads low by a twentieth",
        ),
    ],
};
