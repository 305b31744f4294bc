//! Rows of wires and what joins, protects and transforms along the way.

use super::{
    FieldDefault::{Absent, Number, Required, Text as Word},
    FieldKind as K, KindId, KindSpec, f, m, n,
};

pub(super) const WIRE: KindSpec = KindSpec {
    id: KindId::Wire,
    name: "Wire",
    purpose: "A run of wire with its terminations.",
    formula: "Ohms from gauge and length by FAA AC 43.13-1B Table 11-9 (tin-plated copper, 20 degrees C), or given outright.",
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
};

pub(super) const FEEDER: KindSpec = KindSpec {
    id: KindId::Feeder,
    name: "Feeder",
    purpose: "Three-phase feeder with mutual coupling between its conductors.",
    formula: "V = (R + jX) I with symmetric three-by-three R and X (Carson 1926; IEEE 4-node test feeder data have this form).",
    replace_minutes: 120.0,
    fields: &[
        f("a1", K::Net, Required, "phase A, sending end"),
        f("b1", K::Net, Required, "phase B, sending end"),
        f("c1", K::Net, Required, "phase C, sending end"),
        f("a2", K::Net, Required, "phase A, receiving end"),
        f("b2", K::Net, Required, "phase B, receiving end"),
        f("c2", K::Net, Required, "phase C, receiving end"),
        f("ohms", K::Numbers, Required, "six resistances in ohms: AA, BB, CC, AB, BC, CA"),
        f(
            "reactance_ohms",
            K::Numbers,
            Required,
            "six reactances at `hertz`, in ohms, in the same order",
        ),
        f("hertz", n("Hz"), Number(400.0), "frequency of the reactances"),
    ],
    modes: &[m("open", 0.4, "assumption", "has an open conductor")],
};

pub(super) const RESISTOR: KindSpec = KindSpec {
    id: KindId::Resistor,
    name: "Resistor",
    purpose: "A fixed resistor.",
    formula: "I = V / R (Ohm).",
    replace_minutes: 15.0,
    fields: &[
        f("a", K::Net, Required, "one end"),
        f("b", K::Net, Required, "the other end"),
        f("ohms", n("ohm"), Required, "resistance"),
    ],
    modes: &[m("open", 0.05, "assumption", "is open")],
};

pub(super) const DIODE: KindSpec = KindSpec {
    id: KindId::Diode,
    name: "Diode",
    purpose: "Diode: conducts one way.",
    formula: "Conducts as V = Vd + R I from its drop up, else blocks (piecewise linear).",
    replace_minutes: 15.0,
    fields: &[
        f("anode", K::Net, Required, "where current enters"),
        f("cathode", K::Net, Required, "where current leaves"),
        f(
            "drop_volts",
            n("V"),
            Number(0.7),
            "volts across it while it conducts (silicon, common practice)",
        ),
        f("ohms", n("ohm"), Number(0.02), "ohms while it conducts"),
    ],
    modes: &[
        m("open", 0.06, "assumption", "is open"),
        m("shorted", 0.1, "assumption", "is shorted: it conducts both ways"),
    ],
};

pub(super) const SHUNT: KindSpec = KindSpec {
    id: KindId::Shunt,
    name: "Shunt",
    purpose: "Shunt of an ammeter.",
    formula: "R = millivolts / amperes.",
    replace_minutes: 30.0,
    fields: &[
        f("a", K::Net, Required, "one end"),
        f("b", K::Net, Required, "the other end"),
        f("amps", n("A"), Required, "amperes at its rated millivolts"),
        f("millivolts", n("mV"), Number(50.0), "rated millivolts"),
    ],
    modes: &[m("open", 0.05, "assumption", "is open")],
};

pub(super) const SPLICE: KindSpec = KindSpec {
    id: KindId::Splice,
    name: "Splice",
    purpose: "Several wires joined in one place.",
    formula: "Each joint a small resistance to the common point.",
    replace_minutes: 15.0,
    fields: &[
        f("nets", K::Nets, Required, "the nets joined, two or more"),
        f("joint_ohms", n("ohm"), Number(0.001), "ohms of a sound joint"),
    ],
    modes: &[
        m("pulled-out", 0.08, "assumption", "has a wire pulled out"),
        m("high-resistance", 0.08, "assumption", "has a high-resistance joint"),
    ],
};

pub(super) const CONNECTOR: KindSpec = KindSpec {
    id: KindId::Connector,
    name: "Connector",
    purpose: "Connector of several pins.",
    formula: "Each pin a small resistance between its two sides.",
    replace_minutes: 25.0,
    fields: &[
        f("pins", K::Pins, Required, "list of (pin, net, net)"),
        f("pin_ohms", n("ohm"), Number(0.002), "ohms of a sound contact"),
    ],
    modes: &[
        m(
            "pin-open",
            0.035,
            "217F circular connector 0.058; 338B connector open 0.61",
            "has an open pin",
        ),
        m(
            "pin-high-resistance",
            0.013,
            "217F circular connector 0.058; 338B connector intermittent 0.23, taken as a poor contact (assumption)",
            "has a high-resistance pin",
        ),
        m(
            "pins-touching",
            0.009,
            "217F circular connector 0.058; 338B connector short 0.16",
            "has two pins that touch",
        ),
        m("wires-crossed", 0.01, "assumption: a mistake at a change", "has two wires crossed"),
    ],
};

pub(super) const GROUND: KindSpec = KindSpec {
    id: KindId::Ground,
    name: "Ground",
    purpose: "A stud that bonds one net to the airframe.",
    formula: "I = V / R.",
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
};

pub(super) const GROUND_STUD: KindSpec = KindSpec {
    id: KindId::GroundStud,
    name: "GroundStud",
    purpose: "A stud that several returns share on their way to the airframe.",
    formula: "Each lead a small resistance to the stud, the stud a small resistance to the airframe. When the stud is loose the returns still meet there: current of one finds its way through another.",
    replace_minutes: 15.0,
    fields: &[
        f("nets", K::Nets, Required, "the nets whose leads are on it"),
        f(
            "ohms",
            n("ohm"),
            Number(0.0025),
            "ohms of the bond; common practice, no published source",
        ),
        f("lead_ohms", n("ohm"), Number(0.0005), "ohms of a lead on the stud"),
    ],
    modes: &[
        m("loose", 0.05, "assumption", "has come loose from the airframe"),
        m("high-resistance", 0.1, "assumption", "is corroded"),
        m("lead-off", 0.05, "assumption", "has a lead off"),
    ],
};

pub(super) const BREAKER: KindSpec = KindSpec {
    id: KindId::Breaker,
    name: "Breaker",
    purpose: "Single-pole thermal circuit breaker.",
    formula: "Opens after t = -T ln(1 - (1.15 / x)^2) at x times its rating (thermal image, IEC 60255-149, cold start, from memory), T = 24.9 s so that 200 % opens in 10 s (condensed guide to MS3320 breakers); 115 % held is from memory.",
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
};

pub(super) const FUSE: KindSpec = KindSpec {
    id: KindId::Fuse,
    name: "Fuse",
    purpose: "Cartridge fuse in its holder.",
    formula: "Opens after t = -T ln(1 - (1.1 / x)^2) at x times its rating, T = 30 s: within an hour at 135 % and two minutes at 200 % as UL 248-14 asks; 110 % held is from memory.",
    replace_minutes: 1.0,
    fields: &[
        f("line", K::Net, Required, "supply side"),
        f("load", K::Net, Required, "load side"),
        f("amps", n("A"), Required, "rating"),
        f("ohms", n("ohm"), Absent, "ohms of the element; left out: 0.1 V at rated amps"),
    ],
    modes: &[
        m(
            "open",
            0.9,
            "assumption: ten times the 217F part rate of 0.09, since most fuses are opened by \
         inrush and age and not by a part failure",
            "is blown",
        ),
        m("under-rated", 0.04, "assumption: a wrong rating fitted", "is of too low a rating"),
        m("over-rated", 0.04, "assumption: a wrong rating fitted", "is of too high a rating"),
    ],
};

pub(super) const TRANSFORMER: KindSpec = KindSpec {
    id: KindId::Transformer,
    name: "Transformer",
    purpose: "Single-phase transformer. Two make an open-delta bank, three a closed one.",
    formula: "Ideal ratio, series impedance, iron loss and magnetising branch (the usual equivalent circuit of any text on machines).",
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
};
