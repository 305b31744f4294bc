//! The whole fault dictionary of the flagship on one core: every single fault in every
//! single setup, and every pair of faults in the normal setup (a hundredth of them, as
//! the throughput, which counts states, shows what all would take).

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use halfsplit::dictionary::{Case, Dictionary, Setup};
use halfsplit::library;

fn dictionary(c: &mut Criterion) {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("the flagship settles");
    let setups = Setup::single(&circuit);
    let singles = dictionary.singles();
    let mut group = c.benchmark_group("dictionary");
    group.sample_size(10);
    group.throughput(Throughput::Elements((setups.len() * singles.len()) as u64));
    group.bench_function("single faults, all setups", |b| {
        b.iter(|| {
            for setup in &setups {
                let page = dictionary.settle(setup).expect("it settles");
                for case in &singles {
                    black_box(dictionary.entry(&page, *case).expect("it settles"));
                }
            }
        });
    });
    let pairs: Vec<Case> = dictionary.pairs().into_iter().step_by(100).collect();
    let page = dictionary.settle(&Setup::normal()).expect("it settles");
    group.throughput(Throughput::Elements(pairs.len() as u64));
    group.bench_function("pairs, normal setup", |b| {
        b.iter(|| {
            for case in &pairs {
                black_box(dictionary.entry(&page, *case).expect("it settles"));
            }
        });
    });
    group.finish();
}

criterion_group!(benches, dictionary);
criterion_main!(benches);
