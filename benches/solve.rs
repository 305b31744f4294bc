//! How long one solution and one settling of the flagship system take.
//!
//! `balance` is one electrical solution with the memory of every part held still;
//! `settle` lets the system come to rest after a hand has moved one control, from the
//! state it was in before. Advice in a drill settles thousands of times.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use halfsplit::circuit::{Kind, read_system};
use halfsplit::network::{Network, PartState, State};

const FLAGSHIP: &str = include_str!("../scenarios/t4-ac/system.ron");

fn flagship() -> Network {
    let (circuit, findings) = read_system("t4-ac/system.ron", FLAGSHIP);
    Network::new(Arc::new(circuit.unwrap_or_else(|| panic!("it does not read: {findings:?}"))))
}

/// The settled state with one switch moved.
fn moved(network: &Network, from: &State, switch: &str, position: u8) -> State {
    let part = network.circuit().find_part(switch).expect("the switch exists");
    let mut state = from.clone();
    state.set(part, PartState::Position(position));
    state
}

fn solve(c: &mut Criterion) {
    let network = flagship();
    let rest = State::at_rest(network.circuit());
    let normal = network.settle(rest.clone()).expect("the flagship settles").state;

    c.bench_function("prepare", |b| {
        b.iter(|| Network::new(black_box(network.circuit().clone())));
    });
    let (wire, kind) = network
        .circuit()
        .parts_with_ids()
        .find_map(|(id, part)| match &part.kind {
            Kind::Wire(wire) => {
                let mut broken = wire.clone();
                broken.ohms = f64::INFINITY;
                Some((id, Kind::Wire(broken)))
            }
            _ => None,
        })
        .expect("the flagship has wires");
    let broken = Arc::new(network.circuit().with_kind(wire, kind));
    c.bench_function("prepare a fault", |b| {
        b.iter(|| Network::like(black_box(broken.clone()), &network));
    });
    c.bench_function("balance", |b| {
        b.iter(|| network.balance(&mut black_box(normal.clone())));
    });
    c.bench_function("settle from rest", |b| {
        b.iter(|| network.settle(black_box(rest.clone())));
    });
    for (name, switch, position) in [
        ("settle nothing changed", "SOURCE1", 1),
        ("settle SOURCE 1 off", "SOURCE1", 0),
        ("settle SOURCE 2 off", "SOURCE2", 0),
        ("settle BUS SELECT to STBY", "BUSSEL", 2),
        ("settle AC VOLTS SELECT", "VSEL", 6),
        ("settle press to test", "TEST", 1),
    ] {
        let state = moved(&network, &normal, switch, position);
        c.bench_function(name, |b| b.iter(|| network.settle(black_box(state.clone()))));
    }
}

criterion_group!(benches, solve);
criterion_main!(benches);
