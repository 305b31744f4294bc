//! Settled states a second on one core: every single fault of the flagship, each
//! striking in the normal setup while everything runs.
//!
//! `every fault` is the whole round of them, `quiet faults` those that set nothing
//! off, both from the base case; `afresh` are the same by fresh solutions. The
//! throughput that is printed counts states.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use halfsplit::circuit::PartId;
use halfsplit::network::{BaseCase, Network, Settled, State};
use halfsplit::{faults, library};

fn states(c: &mut Criterion) {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let sound = Network::new(Arc::clone(&circuit));
    let normal = sound.settle(State::at_rest(&circuit)).expect("the flagship settles");
    let base = BaseCase::new(&sound, normal.clone()).expect("it has been settled");
    let all = faults::all(&circuit);
    let failed: Vec<(PartId, Network)> = all
        .iter()
        .map(|(fault, mode)| (fault.part, sound.with_parts(&[(fault.part, mode.faulted.clone())])))
        .collect();
    let afresh = |(part, network): &(PartId, Network)| -> Option<Settled> {
        network.struck(&sound, &normal, &[*part]).expect("a fault leaves a solution")
    };
    let struck = |(part, network): &(PartId, Network)| -> Option<Settled> {
        network.struck_from(&base, &[*part]).expect("a fault leaves a solution")
    };
    let quiet: Vec<&(PartId, Network)> = failed
        .iter()
        .filter(|one| struck(one).is_none_or(|settled| settled.events.is_empty()))
        .collect();

    let mut group = c.benchmark_group("states");
    group.throughput(Throughput::Elements(failed.len() as u64));
    group.bench_function("every fault", |b| {
        b.iter(|| failed.iter().for_each(|one| drop(black_box(struck(one)))));
    });
    group.throughput(Throughput::Elements(quiet.len() as u64));
    group.bench_function("quiet faults", |b| {
        b.iter(|| quiet.iter().for_each(|one| drop(black_box(struck(one)))));
    });
    group.throughput(Throughput::Elements(failed.len() as u64));
    group.bench_function("every fault afresh", |b| {
        b.iter(|| failed.iter().for_each(|one| drop(black_box(afresh(one)))));
    });
    group.throughput(Throughput::Elements(quiet.len() as u64));
    group.bench_function("quiet faults afresh", |b| {
        b.iter(|| quiet.iter().for_each(|one| drop(black_box(afresh(one)))));
    });
    group.throughput(Throughput::Elements(all.len() as u64));
    group.bench_function("prepare a fault", |b| {
        b.iter(|| {
            for (fault, mode) in &all {
                black_box(sound.with_parts(&[(fault.part, mode.faulted.clone())]));
            }
        });
    });
    group.finish();
}

criterion_group!(benches, states);
criterion_main!(benches);
