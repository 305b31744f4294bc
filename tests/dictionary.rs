//! The fault dictionary, and the short way by which the engine settles a faulted
//! circuit: it must lead to where the long way leads.

use std::sync::Arc;

use halfsplit::circuit::{Circuit, Kind, PartId};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{Network, PartState, Settled, State};
use num_complex::Complex64;

/// The normal state and that of every control moved, each of them settled.
fn setups(circuit: &Circuit, network: &Network) -> Vec<Settled> {
    let normal = network.settle(State::at_rest(circuit)).expect("the sound circuit settles");
    let mut setups = vec![normal.clone()];
    for (control, part) in circuit.parts_with_ids() {
        let Kind::Switch(switch) = &part.kind else { continue };
        let mut state = normal.state.clone();
        state.set(control, PartState::Position((switch.start + 1) % switch.positions.len() as u8));
        setups.push(network.settle(state).expect("the sound circuit settles"));
    }
    setups
}

/// Settles a fault that strikes in a state.
fn struck(network: &Network, state: &State, part: PartId) -> Settled {
    let mut state = state.clone();
    state.adopt_kind(part, network.kind(part));
    network.settle(state).expect("a fault leaves a solution")
}

/// Whether all voltages agree to a thousand-millionth, or a microvolt.
fn near(a: &Settled, b: &Settled) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() <= (1e-9 * a.abs()).max(1e-6);
    let (a, b) = (&a.solution, &b.solution);
    a.dc.iter().zip(&b.dc).all(|(a, b)| close(*a, *b))
        && a.ac.len() == b.ac.len()
        && a.ac.iter().zip(&b.ac).all(|(a, b)| {
            let close = |(a, b): (&Complex64, &Complex64)| close(a.re, b.re) && close(a.im, b.im);
            a.source == b.source && a.volts.iter().zip(&b.volts).all(close)
        })
}

#[test]
fn the_short_way_to_a_fault_leads_where_the_long_one_does() {
    // To the last bit, which is far inside a thousand-millionth: every entry of every
    // matrix is summed in the same order either way.
    for id in library::NAMES {
        let circuit = Arc::new(library::load(id).expect("it comes with the program"));
        let sound = Network::new(Arc::clone(&circuit));
        let (mut akin, mut untouched) = (0, 0);
        for setup in setups(&circuit, &sound) {
            for (fault, mode) in faults::all(&circuit) {
                let code = fault.code(&circuit);
                let short = sound.with_parts(&[(fault.part, mode.faulted.clone())]);
                akin += usize::from(short.is_akin(&sound));
                let long = Network::new(Arc::new(faults::apply(&circuit, &fault, &mode)));
                let long = struck(&long, &setup.state, fault.part);
                let unmoved = Settled { events: Vec::new(), ..setup.clone() };
                if let Ok(None) = short.struck(&sound, &setup, &[fault.part]) {
                    // It was not even looked at: the rest of it is where it was.
                    assert!(near(&unmoved, &long), "{id} {code}");
                    assert!(long.events.is_empty(), "{id} {code}");
                    assert_eq!(unmoved.state.parts, long.state.parts, "{id} {code}");
                    untouched += 1;
                }
                let short = struck(&short, &setup.state, fault.part);
                assert_eq!(short.solution, long.solution, "{id} {code}");
                assert_eq!(short.cycle, long.cycle, "{id} {code}");
                assert_eq!(short.state.parts, long.state.parts, "{id} {code}");
                assert_eq!(short.events, long.events, "{id} {code}");
                assert_eq!(short.stop, long.stop, "{id} {code}");
            }
        }
        assert!(akin > 20, "{id}: {akin} faults keep the structure");
        assert!(untouched > 0 || id == "bench", "some faults change nothing electrical");
    }
}

#[test]
fn a_fault_taken_out_again_leaves_the_sound_circuit() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let sound = Network::new(Arc::clone(&circuit));
    let normal = sound.settle(State::at_rest(&circuit)).expect("it settles");
    for (fault, mode) in faults::all(&circuit) {
        let failed = sound.with_parts(&[(fault.part, mode.faulted.clone())]);
        let mended = failed.with_parts(&[(fault.part, circuit.part(fault.part).kind.clone())]);
        assert_eq!(mended.circuit().part(fault.part), circuit.part(fault.part));
        let again = mended.settle(State::at_rest(&circuit)).expect("it settles");
        assert_eq!(again.solution, normal.solution, "{}", fault.code(&circuit));
        assert_eq!(again.state.parts, normal.state.parts, "{}", fault.code(&circuit));
    }
}
