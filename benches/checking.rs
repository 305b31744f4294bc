//! Time to read, resolve and survey a system: those that come along, and a generated one of
//! some 5 000 parts with 500 switches.

use std::fmt::Write;
use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use halfsplit::diagnostic::Severity;
use halfsplit::library;
use halfsplit::survey::{Effort, check};

/// A bus with branches of a breaker, wires by gauge, a switch, a lamp, a relay and a load.
fn generated(branches: usize) -> String {
    let (mut names, mut parts) = (String::new(), String::new());
    for b in 0..branches {
        write!(names, "\"{{A,B,C,D,E,F}}{b}\", ").expect("text grows");
        write!(
            parts,
            "Breaker(id: \"CB{b}\", at: \"s\", line: \"BUS\", load: \"A{b}\", amps: 5),\n\
             Wire(id: \"W1-{b}\", at: \"s\", a: \"A{b}\", b: \"B{b}\", gauge: 20, feet: 10),\n\
             Switch(id: \"S{b}\", at: \"s\", positions: [\"OFF\", \"ON\"], start: \"ON\", \
             closes: {{\"ON\": [(\"B{b}\", \"C{b}\")]}}),\n\
             Wire(id: \"W2-{b}\", at: \"s\", a: \"C{b}\", b: \"D{b}\", gauge: 20, feet: 10),\n\
             Lamp(id: \"DS{b}\", at: \"s\", a: \"D{b}\"),\n\
             Relay(id: \"K{b}\", at: \"s\", x1: \"D{b}\", contacts: [(com: \"B{b}\", no: \"E{b}\")]),\n\
             Wire(id: \"W3-{b}\", at: \"s\", a: \"E{b}\", b: \"F{b}\", gauge: 20, feet: 10),\n\
             Load(id: \"R{b}\", at: \"s\", a: \"F{b}\", volts: 28, volt_amps: 20),\n\
             Resistor(id: \"X{b}\", at: \"s\", a: \"F{b}\", b: \"GND\", ohms: 1000),\n\
             Ground(id: \"E{b}\", at: \"s\", net: \"GND\"),\n"
        )
        .expect("text grows");
    }
    format!(
        "System(id: \"g\", title: \"Generated\", stations: [Station(id: \"s\", title: \"S\")], \
         nets: [{names}\"BUS\"], parts: [\nSupply(id: \"E\", at: \"s\", plus: \"BUS\", volts: 28, \
         ohms: 0.0001),\n{parts}])"
    )
}

fn checking(c: &mut Criterion) {
    let mut group = c.benchmark_group("checking");
    group.sample_size(10);
    for name in library::NAMES {
        let system = library::embedded(name).expect("it comes along");
        group.bench_function(name, |b| {
            b.iter(|| black_box(check(system.file_name, system.text, Effort::Quick)));
        });
    }
    let text = generated(500);
    let (circuit, findings) = check("generated", &text, Effort::Quick);
    let circuit = circuit.unwrap_or_else(|| panic!("it does not read: {:?}", findings.first()));
    assert!(findings.iter().all(|finding| finding.severity < Severity::Error));
    group.bench_function(format!("{}_parts", circuit.parts.len()), |b| {
        b.iter(|| black_box(check("generated", &text, Effort::Quick)));
    });
    group.finish();
}

criterion_group!(benches, checking);
criterion_main!(benches);
