//! Cost of a settled state against the size of a system: generated systems of 100 to
//! 6400 nets, 64 faults spread over each.
//!
//! A generated system is a tree of feeders: a supply, trunks of wire, and on each trunk
//! branches of a breaker, two runs of wire and a load, every fourth branch a lamp and
//! every eighth a relay that switches another load. The throughput counts states.

use std::fmt::Write;
use std::hint::black_box;
use std::sync::Arc;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use halfsplit::circuit::{Circuit, PartId, read_system};
use halfsplit::faults;
use halfsplit::network::{BaseCase, Network, State};

/// A system of about this many nets.
fn generated(nets: usize) -> Circuit {
    let (mut names, mut parts) = (String::from("\"MAIN\""), String::new());
    parts.push_str("Supply(id: \"E\", at: \"s\", plus: \"MAIN\", volts: 28, ohms: 0.0002),");
    let (mut count, mut branch, mut trunk) = (1, 0, String::from("MAIN"));
    while count < nets {
        if branch % 10 == 0 {
            // A trunk starts at the main bus and goes on from branch to branch.
            "MAIN".clone_into(&mut trunk);
        }
        let b = branch;
        write!(names, ", \"T{b}\", \"A{b}\", \"B{b}\", \"C{b}\"").expect("text grows");
        write!(
            parts,
            "Wire(id: \"WT{b}\", at: \"s\", a: \"{trunk}\", b: \"T{b}\", ohms: 0.002),\
             Breaker(id: \"CB{b}\", at: \"s\", line: \"T{b}\", load: \"A{b}\", amps: 5),\
             Wire(id: \"WA{b}\", at: \"s\", a: \"A{b}\", b: \"B{b}\", ohms: 0.05),\
             Wire(id: \"WB{b}\", at: \"s\", a: \"B{b}\", b: \"C{b}\", ohms: 0.05),\
             Resistor(id: \"R{b}\", at: \"s\", a: \"C{b}\", b: \"GND\", ohms: 40),"
        )
        .expect("text grows");
        count += 4;
        if branch % 4 == 1 {
            write!(parts, "Lamp(id: \"L{b}\", at: \"s\", a: \"C{b}\"),").expect("text grows");
        }
        if branch % 8 == 3 {
            write!(names, ", \"D{b}\"").expect("text grows");
            write!(
                parts,
                "Relay(id: \"K{b}\", at: \"s\", x1: \"C{b}\", \
                 contacts: [(com: \"T{b}\", no: \"D{b}\")]),\
                 Resistor(id: \"S{b}\", at: \"s\", a: \"D{b}\", b: \"GND\", ohms: 30),"
            )
            .expect("text grows");
            count += 1;
        }
        trunk = format!("T{b}");
        branch += 1;
    }
    let text = format!(
        "System(id: \"g\", title: \"Generated\", stations: [Station(id: \"s\", title: \"S\")], \
         nets: [{names}], parts: [{parts}])"
    );
    let (circuit, findings) = read_system("generated", &text);
    circuit.unwrap_or_else(|| panic!("it does not read: {:?}", findings.first()))
}

fn scaling(c: &mut Criterion) {
    let mut group = c.benchmark_group("scaling");
    group.sample_size(10);
    for nets in [100, 400, 1600, 6400] {
        let circuit = Arc::new(generated(nets));
        let sound = Network::new(Arc::clone(&circuit));
        let normal = sound.settle(State::at_rest(&circuit)).expect("it settles");
        let all = faults::all(&circuit);
        let failed: Vec<(PartId, Network)> = (0..64)
            .map(|at| {
                // One further on in every stretch, so that all modes come up alike at every
                // size.
                let (fault, mode) = &all[(at * all.len() / 64 + at) % all.len()];
                (fault.part, sound.with_parts(&[(fault.part, mode.faulted.clone())]))
            })
            .collect();
        let base = BaseCase::new(&sound, normal.clone()).expect("it has been settled");
        group.throughput(Throughput::Elements(failed.len() as u64));
        group.bench_with_input(BenchmarkId::from_parameter(nets), &failed, |b, failed| {
            b.iter(|| {
                for (part, network) in failed {
                    drop(black_box(network.struck_from(&base, &[*part])));
                }
            });
        });
    }
    group.finish();
}

criterion_group!(benches, scaling);
criterion_main!(benches);
