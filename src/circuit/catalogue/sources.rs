//! Rows of the parts that feed a system.

use super::{
    FieldDefault::{Absent, Flag, Number, Required, Text as Word},
    FieldKind as K, KindId, KindSpec, TURNS, f, fraction, m, n,
};

pub(super) const SUPPLY: KindSpec = KindSpec {
    id: KindId::Supply,
    name: "Supply",
    purpose: "Direct-current supply, such as a mains-fed bench supply or a bus whose generators are not modelled.",
    formula: "I = (E - V) / R: volts behind an internal resistance.",
    replace_minutes: 60.0,
    fields: &[
        f("plus", K::Net, Required, "positive terminal"),
        f("minus", K::Net, Word("GND"), "negative terminal"),
        f("volts", n("V"), Number(27.5), "open-circuit volts"),
        f("ohms", n("ohm"), Number(0.005), "internal resistance"),
    ],
    modes: &[m("dead", 2.0, "assumption", "gives no voltage")],
};

pub(super) const BATTERY: KindSpec = KindSpec {
    id: KindId::Battery,
    name: "Battery",
    purpose: "Storage battery.",
    formula: "Gives I = (E - V) / R while V is below E; takes I = (V - Ec) / Rc above its charging volts Ec; nothing flows between. E is cells times cell volts. The resistances are assumptions.",
    replace_minutes: 30.0,
    fields: &[
        f("plus", K::Net, Required, "positive terminal"),
        f("minus", K::Net, Word("GND"), "negative terminal"),
        f("cells", K::Count { least: 1, most: 48 }, Number(12.0), "cells in series"),
        f(
            "cell_volts",
            n("V"),
            Number(2.1),
            "open-circuit volts of a cell, lead-acid (common practice)",
        ),
        f("ohms", n("ohm"), Number(0.012), "ohms while it gives"),
        f(
            "charge_volts",
            n("V"),
            Absent,
            "volts above which it takes charge; left out: 1.08 times its open-circuit volts",
        ),
        f("charge_ohms", n("ohm"), Number(0.08), "ohms to a charging current"),
    ],
    modes: &[
        m("flat", 6.0, "assumption", "is flat"),
        m("cell-shorted", 2.0, "assumption", "has a shorted cell"),
        m("link-open", 0.5, "assumption", "has an open cell link"),
    ],
};

pub(super) const GENERATOR: KindSpec = KindSpec {
    id: KindId::Generator,
    name: "Generator",
    purpose: "Regulated direct-current generator, turned by a mechanism with revolutions.",
    formula: "I = (E - V) / R; E is held by the regulator from `least_rpm` up and in proportion to speed below; R is the droop. Taken off its bus by a reverse-current relay.",
    replace_minutes: 120.0,
    fields: &[
        f("plus", K::Net, Required, "positive terminal"),
        f("minus", K::Net, Word("GND"), "negative terminal"),
        f("driven_by", K::Part(TURNS), Required, "the mechanism that turns it"),
        f("volts", n("V"), Number(28.0), "regulated volts at no load"),
        f("amps", n("A"), Required, "rating"),
        f(
            "droop_percent",
            K::Number { unit: "%", above: 0.0, most: 50.0 },
            Number(2.0),
            "fall of volts at rated amperes",
        ),
        f("least_rpm", n("rpm"), Required, "speed from which the regulator holds"),
    ],
    modes: &[
        m(
            "no-output",
            2.0,
            "338B generator no output 0.40 (from memory); rate an assumption",
            "has lost its field: it gives no voltage",
        ),
        m("brushes-worn", 1.5, "assumption", "has worn brushes: its voltage sags under load"),
        m("regulator-low", 1.0, "assumption", "is regulated too low"),
        m("regulator-high", 0.5, "assumption", "is regulated too high"),
    ],
};

pub(super) const RECEPTACLE: KindSpec = KindSpec {
    id: KindId::Receptacle,
    name: "Receptacle",
    purpose: "Receptacle for a ground power unit and the unit that can be plugged into it; a control with the positions OUT and IN.",
    formula: "I = (E - V) / R while the plug is in. The small pin is live only then, so that a contactor fed from it cannot close on a dead or half-seated plug; a diode in its lead keeps it dead with a unit of the wrong polarity.",
    replace_minutes: 30.0,
    fields: &[
        f("plus", K::Net, Required, "main positive pin"),
        f("minus", K::Net, Word("GND"), "main negative pin"),
        f("interlock", K::Net, Required, "the small positive pin"),
        f("plugged", K::Flag, Flag(false), "whether the plug is in at the start"),
        f(
            "volts",
            n("V"),
            Number(28.0),
            "open-circuit volts of the unit (MIL-STD-704F 4.3 has 24 to 29 V at the receptacle)",
        ),
        f("ohms", n("ohm"), Number(0.01), "internal ohms of the unit and its cable"),
        f("pin_ohms", n("ohm"), Number(0.001), "ohms of a pin"),
    ],
    modes: &[
        m("unit-dead", 1.0, "assumption", "has a dead ground unit"),
        m("unit-reversed", 0.1, "assumption", "has a ground unit of the wrong polarity"),
        m("main-pin-open", 0.3, "assumption", "has a main pin that does not touch"),
        m("interlock-pin-open", 0.4, "assumption", "has a small pin that does not touch"),
    ],
};

pub(super) const CONVERTER: KindSpec = KindSpec {
    id: KindId::Converter,
    name: "Converter",
    purpose: "Rotary converter: a direct-current motor that drives a three-phase alternator.",
    formula: "Draws idle watts + output / efficiency. Three electromotive forces behind R + jX, whose common size the regulator sets so that phase A stands at its volts to the airframe, up to a ceiling. Speed and hertz fall with volts below the governed range.",
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
        f("ceiling_volts", n("V"), Absent, "highest no-load line volts; left out: 1.35 of rated"),
    ],
    modes: &[
        m("motor-open", 1.6, "assumption", "has an open motor circuit: it does not turn"),
        m("brush-worn", 1.2, "assumption", "has worn brushes: it runs slow"),
        m("field-lost", 0.8, "assumption", "has lost its field: it turns but gives nothing"),
        m("phase-open", 0.6, "assumption", "has an open output phase"),
        m("regulator-low", 0.5, "assumption", "has a regulator that holds too low a voltage"),
        m("regulator-high", 0.3, "assumption", "has a regulator that holds too high a voltage"),
        m(
            "phases-crossed",
            0.05,
            "assumption: leads exchanged at a change",
            "has its leads A and C exchanged",
        ),
    ],
};

pub(super) const VIBRATOR: KindSpec = KindSpec {
    id: KindId::Vibrator,
    name: "Vibrator",
    purpose: "Vibrator converter: single-phase output from direct current by a vibrating reed.",
    formula: "Output in proportion to its supply behind an internal resistance; draws idle watts + output / efficiency.",
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
};

pub(super) const ALTERNATOR: KindSpec = KindSpec {
    id: KindId::Alternator,
    name: "Alternator",
    purpose: "Engine-driven three-phase alternator without a regulator.",
    formula: "Volts and hertz in proportion to speed behind R + jX per phase (common practice, no published source: about 100 VA at 2400 rpm).",
    replace_minutes: 90.0,
    fields: &[
        f("a", K::Net, Required, "phase A"),
        f("b", K::Net, Required, "phase B"),
        f("c", K::Net, Required, "phase C"),
        f("driven_by", K::Part(TURNS), Required, "the mechanism that turns it"),
        f("rpm", n("rpm"), Number(2400.0), "rated speed"),
        f("volts", n("V"), Number(115.0), "volts line to line at rated speed, no load"),
        f("hertz", n("Hz"), Number(400.0), "frequency at rated speed"),
        f("volt_amps", n("VA"), Number(100.0), "rating"),
        f("resistance_percent", n("%"), Number(3.0), "resistance of a phase, percent of rating"),
        f("reactance_percent", n("%"), Number(10.0), "reactance of a phase, percent of rating"),
    ],
    modes: &[
        m("drive-sheared", 0.6, "assumption", "has a sheared drive: it does not turn"),
        m("weak", 0.6, "assumption", "has a weak magnet"),
        m("phase-open", 0.6, "assumption", "has an open output phase"),
        m(
            "phases-crossed",
            0.05,
            "assumption: leads exchanged at a change",
            "has its leads A and C exchanged",
        ),
    ],
};

pub(super) const TRANSFORMER_RECTIFIER: KindSpec = KindSpec {
    id: KindId::TransformerRectifier,
    name: "TransformerRectifier",
    purpose: "Transformer-rectifier: three-phase lines in, direct current out.",
    formula: "E in proportion to the mean of the three line voltages (three-phase bridge 1.35 V, single-phase bridge 0.90 V, exact for both), I = (E - V) / R out and never in; draws idle watts + output / efficiency as three equal star legs.",
    replace_minutes: 45.0,
    fields: &[
        f("a", K::Net, Required, "phase A"),
        f("b", K::Net, Required, "phase B"),
        f("c", K::Net, Required, "phase C"),
        f("plus", K::Net, Required, "positive output"),
        f("minus", K::Net, Word("GND"), "negative output"),
        f("line_volts", n("V"), Number(115.0), "rated line-to-line volts in"),
        f("volts", n("V"), Number(29.0), "volts out at rated input, no load"),
        f("amps", n("A"), Required, "rating"),
        f(
            "droop_percent",
            K::Number { unit: "%", above: 0.0, most: 50.0 },
            Number(8.0),
            "fall of volts at rated amperes",
        ),
        f("efficiency", fraction(), Number(0.8), "output over input"),
        f("idle_watts", n("W"), Number(20.0), "draw at rated input, no load"),
    ],
    modes: &[
        m("no-output", 1.0, "assumption", "gives no output"),
        m("phase-open", 0.9, "assumption", "has an open input phase inside"),
    ],
};
