//! Rows of the parts that switch.

use super::{
    FieldDefault::{Absent, Flag, Number, Required, Text as Word},
    FieldKind as K, KindId, KindSpec, MOVES, f, fraction, m, n,
};

pub(super) const SWITCH: KindSpec = KindSpec {
    id: KindId::Switch,
    name: "Switch",
    purpose: "A hand-operated switch or selector of any poles and positions.",
    formula: "In each position the named pairs of nets are joined by a few milliohms.",
    replace_minutes: 30.0,
    fields: &[
        f("positions", K::Positions, Required, "engraved positions in order"),
        f("start", K::Text, Absent, "position in the normal setup; left out: the first"),
        f("springs_back", K::Flag, Flag(false), "returns to `start` when let go"),
        f("guard", K::Flag, Flag(false), "has a guard that is lifted first"),
        f("closes", K::Closures, Required, "position to the pairs of nets joined in it"),
        f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
    ],
    modes: &[m(
        "open",
        0.66,
        "217F rotary switch 3.3, a fifth of it (assumption); 338B toggle switch open 0.65",
        "does not make contact",
    )],
};

pub(super) const PUSH_SWITCH: KindSpec = KindSpec {
    id: KindId::PushSwitch,
    name: "PushSwitch",
    purpose: "A push switch that returns when let go.",
    formula: "While pressed the pairs of `pressed` are joined, else those of `released`, by a few milliohms.",
    replace_minutes: 20.0,
    fields: &[
        f("guard", K::Flag, Flag(false), "has a guard that is lifted first"),
        f("pressed", K::Pairs, Absent, "pairs of nets joined while it is pressed"),
        f("released", K::Pairs, Absent, "pairs of nets joined while it is not"),
        f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
    ],
    modes: &[m(
        "open",
        0.006,
        "217F toggle or push switch 0.010; 338B toggle switch open 0.65",
        "does not make contact",
    )],
};

pub(super) const CHANGEOVER_SWITCH: KindSpec = KindSpec {
    id: KindId::ChangeoverSwitch,
    name: "ChangeoverSwitch",
    purpose: "A changeover switch: each pole joins its common to one of two or three throws.",
    formula: "One throw of each pole is closed in each position, by a few milliohms.",
    replace_minutes: 30.0,
    fields: &[
        f("guard", K::Flag, Flag(false), "has a guard that is lifted first"),
        f("positions", K::Positions, Required, "engraved positions, one for each throw"),
        f("start", K::Text, Absent, "position in the normal setup; left out: the first"),
        f(
            "poles",
            K::Poles,
            Required,
            "list of [common, throw, throw ...]; an empty text is a throw with nothing on it",
        ),
        f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
    ],
    modes: &[m(
        "open",
        0.006,
        "217F toggle or push switch 0.010; 338B toggle switch open 0.65",
        "does not make contact",
    )],
};

pub(super) const MECHANISM: KindSpec = KindSpec {
    id: KindId::Mechanism,
    name: "Mechanism",
    purpose: "Something mechanical that is set from a station: a door, a lever, an engine with its throttle. Microswitches follow it; with `rpm` it turns generators.",
    formula: "None: its position is a control. It is not an electrical part and has no electrical fault modes.",
    replace_minutes: 60.0,
    fields: &[
        f("positions", K::Positions, Required, "its positions in order"),
        f("start", K::Text, Absent, "position in the normal setup; left out: the first"),
        f("rpm", K::Numbers, Absent, "revolutions per minute in each position"),
        f(
            "move_minutes",
            K::Numbers,
            Absent,
            "minutes to bring it to each position or out of it again, of which a move takes the longer; left out: moved like a switch",
        ),
    ],
    modes: &[],
};

pub(super) const MICROSWITCH: KindSpec = KindSpec {
    id: KindId::Microswitch,
    name: "Microswitch",
    purpose: "A switch worked by a mechanism, a solenoid or a motor.",
    formula: "In each position of what works it the named pairs are joined, by a few milliohms. A solenoid has the positions RELEASED and PULLED, a motor STANDING and RUNNING.",
    replace_minutes: 40.0,
    fields: &[
        f("follows", K::Part(MOVES), Required, "what works it"),
        f(
            "closes",
            K::Closures,
            Required,
            "position of what works it to the pairs of nets joined in it",
        ),
        f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
    ],
    modes: &[
        m("open", 0.2, "assumption", "does not make contact"),
        m("out-of-adjustment", 0.6, "assumption", "is out of adjustment: it does not follow"),
    ],
};

pub(super) const RELAY: KindSpec = KindSpec {
    id: KindId::Relay,
    name: "Relay",
    purpose: "Relay: a coil that moves contact sets.",
    formula: "Operates at its pickup volts, releases below its dropout volts, stays as it was between them.",
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
};

pub(super) const CONTACTOR: KindSpec = KindSpec {
    id: KindId::Contactor,
    name: "Contactor",
    purpose: "Contactor or bus-tie contactor: a coil, one heavy pole, perhaps auxiliary contacts.",
    formula: "As a relay: operates at its pickup volts, releases below its dropout volts.",
    replace_minutes: 45.0,
    fields: &[
        f("x1", K::Net, Required, "coil"),
        f("x2", K::Net, Word("GND"), "coil, other end"),
        f("line", K::Net, Required, "main pole"),
        f("load", K::Net, Required, "main pole, other side"),
        f("pickup_volts", n("V"), Number(18.0), "operates at and above"),
        f("dropout_volts", n("V"), Number(7.0), "releases below"),
        f("coil_ohms", n("ohm"), Number(60.0), "coil resistance"),
        f("contact_ohms", n("ohm"), Number(0.0005), "ohms of the closed main pole"),
        f("auxiliary", K::Contacts, Absent, "auxiliary contact sets (com:, nc:, no:)"),
    ],
    modes: &[
        m(
            "coil-open",
            0.9,
            "217F contactor 3.4; 338B relay fails to trip 0.55, half of it (assumption)",
            "has an open coil",
        ),
        m(
            "stuck-released",
            0.9,
            "217F contactor 3.4; 338B relay fails to trip 0.55, half of it (assumption)",
            "stays released",
        ),
        m(
            "stuck-operated",
            0.88,
            "217F contactor 3.4; 338B relay spurious trip 0.26",
            "is welded: it stays operated",
        ),
        m("contact-open", 0.4, "assumption", "has a contact that does not make"),
    ],
};

pub(super) const REVERSE_CURRENT_RELAY: KindSpec = KindSpec {
    id: KindId::ReverseCurrentRelay,
    name: "ReverseCurrentRelay",
    purpose: "Reverse-current relay: puts a generator on its bus and takes it off when the bus would drive it.",
    formula: "Closes while enabled when the generator side stands `close_volts` above the bus side; opens when `reverse_amps` flow back or the enable is lost. Usual settings, common practice, no published source.",
    replace_minutes: 45.0,
    fields: &[
        f("generator", K::Net, Required, "generator side"),
        f("bus", K::Net, Required, "bus side"),
        f("enable", K::Net, Required, "the net that must be live for it to close"),
        f(
            "enable_volts",
            n("V"),
            Number(18.0),
            "volts at `enable` from which it may close; it is lost below 0.4 of this",
        ),
        f("coil_ohms", n("ohm"), Number(120.0), "coil resistance at `enable`"),
        f("close_volts", n("V"), Number(0.5), "generator above bus to close"),
        f("reverse_amps", n("A"), Number(20.0), "reverse current to open"),
        f("contact_ohms", n("ohm"), Number(0.0005), "ohms of the closed contact"),
    ],
    modes: &[
        m(
            "coil-open",
            0.7,
            "217F contactor 3.4; 338B relay fails to trip 0.55 (part of it)",
            "has an open coil",
        ),
        m(
            "stuck-released",
            1.1,
            "217F contactor 3.4; 338B relay fails to trip 0.55 (part of it)",
            "does not close",
        ),
        m("welded", 0.88, "217F contactor 3.4; 338B relay spurious trip 0.26", "is welded closed"),
    ],
};

pub(super) const PHASE_RELAY: KindSpec = KindSpec {
    id: KindId::PhaseRelay,
    name: "PhaseRelay",
    purpose: "Phase-sequence relay: operates on three phases in the right order.",
    formula: "Operates when |V1| reaches `pickup` of rated and |V2| is at most `unbalance` of rated; releases when |V1| falls below `dropout` or |V2| rises above (symmetrical components, Fortescue 1918).",
    replace_minutes: 25.0,
    fields: &[
        f("a", K::Net, Required, "line A"),
        f("b", K::Net, Required, "line B"),
        f("c", K::Net, Required, "line C"),
        f("volts", n("V"), Number(115.0), "rated volts line to line"),
        f("pickup", fraction(), Number(0.85), "fraction of rated to operate"),
        f("dropout", fraction(), Number(0.7), "fraction below which it releases"),
        f(
            "unbalance",
            fraction(),
            Number(0.2),
            "negative sequence, fraction of rated, above which it releases",
        ),
        f("leg_ohms", n("ohm"), Number(5000.0), "ohms of each of its star legs"),
        f("contacts", K::Contacts, Required, "contact sets (com:, nc:, no:)"),
        f("contact_ohms", n("ohm"), Number(0.005), "ohms of a closed contact"),
    ],
    modes: &[
        m(
            "coil-open",
            0.3,
            "217F general relay 1.1; 338B fails to trip 0.55, half of it (assumption)",
            "has an open leg",
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
        m(
            "phases-crossed",
            0.05,
            "assumption: leads exchanged at a change",
            "has its leads A and C exchanged",
        ),
    ],
};

pub(super) const FLASHER: KindSpec = KindSpec {
    id: KindId::Flasher,
    name: "Flasher",
    purpose: "Flasher: interrupts the current through it in a steady rhythm.",
    formula: "Opens and closes in turn while at least `least_amps` flow; with less, as with a bulb out, it stays closed.",
    replace_minutes: 20.0,
    fields: &[
        f("line", K::Net, Required, "supply side"),
        f("load", K::Net, Required, "load side"),
        f("least_amps", n("A"), Required, "current from which it works"),
        f("ohms", n("ohm"), Number(0.05), "ohms while closed"),
    ],
    modes: &[
        m("open", 0.8, "217F thermal relay 2.3, a third of it (assumption)", "is open"),
        m(
            "stays-closed",
            0.8,
            "217F thermal relay 2.3, a third of it (assumption)",
            "does not flash: it stays closed",
        ),
    ],
};
