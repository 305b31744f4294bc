//! Pointers stand where they are read, and nothing else tells what they cannot.

use halfsplit::circuit::{Circuit, Kind, PartId};
use halfsplit::drill::{Needle, needle_at};
use halfsplit::observation::{readable_step, scale_fraction};
use halfsplit::screen::{Theme, dial};
use ratatui::buffer::Buffer;
use ratatui::style::Modifier;

use super::{drill, picture, press, system};

/// Degrees from upright to either end of a dial.
const HALF_SWEEP: f64 = 78.0;

const SYSTEMS: [&str; 3] = ["t4-ac", "t4-dc", "bench"];

/// Rows of the dials of every layout.
const ROWS: [u16; 6] = [9, 11, 13, 15, 17, 24];

fn meters(circuit: &Circuit) -> Vec<PartId> {
    let parts = circuit.parts_with_ids();
    parts.filter(|(_, part)| part.kind.meter().is_some()).map(|(id, _)| id).collect()
}

/// Cells of the pointer, as columns and rows in units of half a column: the pointer is
/// what is bold on the dial.
fn pointer(drawn: &Buffer) -> Vec<(f64, f64)> {
    let dial_rows = drawn.area.height - 2;
    let mut cells = Vec::new();
    for y in 0..dial_rows {
        for x in 0..drawn.area.width {
            let cell = &drawn[(x, y)];
            let stroke = cell.symbol().chars().next().unwrap_or(' ');
            let drawn = ('\u{2801}'..='\u{28ff}').contains(&stroke) || "/|\\-".contains(stroke);
            if drawn && cell.modifier.contains(Modifier::BOLD) {
                // A cell is twice as high as wide.
                cells.push((f64::from(x) + 0.5, 2.0 * f64::from(y) + 1.0));
            }
        }
    }
    cells
}

/// The angle of the pointer from upright, and the angle that one cell takes at its tip,
/// both in degrees; the pivot is in the middle of the lowest row of the dial.
fn angle(drawn: &Buffer) -> (f64, f64) {
    let pivot = (f64::from(drawn.area.width) / 2.0, 2.0 * f64::from(drawn.area.height - 2) - 1.0);
    let away = |(x, y): (f64, f64)| libm::hypot(x - pivot.0, y - pivot.1);
    let tip = pointer(drawn)
        .into_iter()
        .max_by(|a, b| away(*a).total_cmp(&away(*b)))
        .expect("there is a pointer");
    let angle = libm::atan2(tip.0 - pivot.0, pivot.1 - tip.1).to_degrees();
    (angle, (2.0 / away(tip)).to_degrees())
}

#[test]
fn a_pointer_stands_within_a_cell_of_its_exact_place() {
    let mut meters_met = 0;
    for name in SYSTEMS {
        let circuit = system(name);
        for part in meters(&circuit) {
            meters_met += 1;
            let meter = circuit.part(part).kind.meter().expect("it is a meter").clone();
            let (first, last) = (meter.scale[0].0, meter.scale[meter.scale.len() - 1].0);
            for step in 0..=20 {
                let value = first + (last - first) * f64::from(step) / 20.0;
                let needle = needle_at(&circuit, part, value).expect("it is a meter");
                // It is read to a quarter of the smallest division, and drawn there.
                let off = (needle.fraction - scale_fraction(&meter.scale, value)).abs();
                assert!(off <= readable_step(&meter) / 2.0 + 1e-9, "{value} is read {off} off");
                let exact = (needle.fraction * 2.0 - 1.0) * HALF_SWEEP;
                for rows in ROWS {
                    for ascii in [false, true] {
                        let drawn = dial(&needle, rows, Theme::new(true).with_ascii(ascii));
                        let (seen, cell) = angle(&drawn);
                        assert!(
                            (seen - exact).abs() <= cell,
                            "{name} {} at {value}, {rows} rows, ascii {ascii}: \
                             {seen:.1} for {exact:.1} degrees, a cell is {cell:.1}",
                            circuit.part(part).id
                        );
                    }
                }
            }
        }
    }
    assert!(meters_met >= 6, "only {meters_met} meters");
}

#[test]
fn values_that_cannot_be_told_apart_look_alike() {
    for name in SYSTEMS {
        let circuit = system(name);
        for part in meters(&circuit) {
            let meter = circuit.part(part).kind.meter().expect("it is a meter").clone();
            let (first, last) = (meter.scale[0].0, meter.scale[meter.scale.len() - 1].0);
            let at = |way: f64| {
                let value = first + (last - first) * way;
                needle_at(&circuit, part, value).expect("it is a meter")
            };
            let (one, other) = (at(0.5), at(0.5005));
            if one.fraction == other.fraction {
                assert_eq!(one, other);
            }
            let drawn = |needle: &Needle| dial(needle, 13, Theme::new(true));
            assert_eq!(drawn(&one) == drawn(&other), one.fraction == other.fraction);
            assert_ne!(drawn(&at(0.2)), drawn(&at(0.9)));
        }
    }
}

/// The flagship of direct current with its generators and battery a little off.
fn volts_changed_by(factor: f64) -> Circuit {
    let mut circuit = system("t4-dc");
    for part in &mut circuit.parts {
        if let Kind::Generator(generator) = &mut part.kind {
            generator.volts *= factor;
        }
    }
    circuit
}

#[test]
fn nothing_on_the_screen_gives_a_small_difference_away() {
    let screens = |factor: f64| {
        let mut app = drill(volts_changed_by(factor), "BEACON:bulbs-out", Theme::new(true));
        let mut screens = Vec::new();
        for keys in ["Enter", "n", "Esc Enter", "Esc /"] {
            press(&mut app, keys);
            screens.push(picture(&mut app, (120, 36)));
        }
        screens
    };
    let usual = screens(1.0);
    // 2 millivolts in 28 V; a quarter of the smallest division is 250 and more.
    assert!(usual == screens(1.000_07), "something tells 28.000 from 28.002 V");
    assert!(usual != screens(0.9), "the meters show what can be seen");
}
