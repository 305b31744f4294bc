//! Every single fault of every system, in many setups, against ngspice.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;

use halfsplit::circuit::{Circuit, PartId};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{Network, PartState, Settled, State};
use halfsplit::spice::{Group, Netlist, groups, sheet};
use num_complex::Complex64;

use super::batch::{self, Volts};
use super::{live, off, ours};

/// A circuit at rest, and how one gets there.
struct Stand {
    name: String,
    network: Network,
    settled: Settled,
}

/// One thing done to the normal setup by hand.
#[derive(Clone)]
struct Setup {
    name: String,
    moved: Option<(PartId, PartState)>,
}

/// The normal setup, each control in each other position, each fuse and breaker pulled.
fn setups(circuit: &Circuit) -> Vec<Setup> {
    let mut found = vec![Setup { name: "normal".to_owned(), moved: None }];
    let mut add = |name: String, part, state| {
        found.push(Setup { name, moved: Some((part, state)) });
    };
    let rest = State::at_rest(circuit);
    for (id, part) in circuit.parts_with_ids() {
        match (&part.kind, rest.of(id)) {
            (kind, PartState::Position(start)) => {
                let control = kind.control().expect("what has a position is a control");
                let others = (0..).zip(control.positions).filter(|(at, _)| *at != start);
                for (at, position) in others {
                    add(format!("{} {position}", part.id), id, PartState::Position(at));
                }
            }
            (_, PartState::Breaker { .. }) => {
                let state = PartState::Breaker { closed: false, tripped: false };
                add(format!("{} pulled", part.id), id, state);
            }
            (_, PartState::Fuse { blown, .. }) => {
                add(format!("{} pulled", part.id), id, PartState::Fuse { seated: false, blown });
            }
            _ => {}
        }
    }
    found
}

fn stand(network: &Network, normal: &Settled, setup: &Setup) -> Stand {
    let mut state = normal.state.clone();
    if let Some((part, moved)) = setup.moved {
        state.set(part, moved);
    }
    let settled = network.settle(state).expect("it settles");
    Stand { name: setup.name.clone(), network: network.clone(), settled }
}

/// What a comparison has found.
#[derive(Default)]
struct Tally {
    states: usize,
    netlists: usize,
    solved: usize,
    values: usize,
    /// Largest difference over what is allowed, and where.
    worst: f64,
    place: String,
    wrong: Vec<String>,
}

impl Tally {
    fn add(&mut self, other: Self) {
        self.states += other.states;
        self.netlists += other.netlists;
        self.solved += other.solved;
        self.values += other.values;
        if other.worst > self.worst {
            (self.worst, self.place) = (other.worst, other.place);
        }
        self.wrong.extend(other.wrong);
    }
}

/// What floats: nets that nothing but their insulation holds to the airframe. Their volts to
/// one another are as sure as any; all of them together drift by what rounding leaves of
/// megohms beside milliohms, in either solver.
struct Drift {
    /// Differences that several nets share to a tenth of a microvolt.
    shared: Vec<Complex64>,
    /// The most they may be: a millionth of the highest volts of the group.
    most: f64,
}

/// Nets that have to share a drift, and how closely.
const SHARED_BY: usize = 3;
const SHARED_TO_VOLTS: f64 = 1e-7;

fn volts((re, im): (f64, f64)) -> Complex64 {
    Complex64::new(re, im)
}

impl Drift {
    fn of(own: &[(f64, f64)], other: &[(f64, f64)]) -> Self {
        let highest = own.iter().map(|v| volts(*v).norm_sqr().sqrt()).fold(0.0, f64::max);
        let differences: Vec<Complex64> =
            own.iter().zip(other).map(|(own, other)| volts(*other) - volts(*own)).collect();
        let like = |a: &Complex64, b: &Complex64| (a - b).norm_sqr().sqrt() < SHARED_TO_VOLTS;
        let shared = differences
            .iter()
            .filter(|d| differences.iter().filter(|other| like(d, other)).count() >= SHARED_BY)
            .copied()
            .collect();
        Self { shared, most: 1e-6 * highest }
    }

    fn explains(&self, own: (f64, f64), other: (f64, f64)) -> bool {
        let difference = volts(other) - volts(own);
        difference.norm_sqr().sqrt() <= self.most
            && self
                .shared
                .iter()
                .any(|shift| (difference - shift).norm_sqr().sqrt() < SHARED_TO_VOLTS)
    }
}

/// Compares states of one circuit with what ngspice makes of them. Netlists that are
/// alike in every digit are solved once and compared with each state they are of.
fn compare(system: &str, stands: &[Stand], spoil: impl Fn(&mut Netlist, usize)) -> Tally {
    let mut tally = Tally { states: stands.len(), ..Tally::default() };
    let mut by_kind: BTreeMap<Option<Group>, Vec<(usize, Group, Netlist)>> = BTreeMap::new();
    for (at, stand) in stands.iter().enumerate() {
        for group in groups(&stand.settled) {
            let mut netlist = sheet(&stand.network, &stand.settled, group);
            spoil(&mut netlist, at);
            by_kind.entry(Some(group)).or_default().push((at, group, netlist));
        }
    }
    for entries in by_kind.values() {
        let mut unlike: Vec<&Netlist> = Vec::new();
        let mut known: BTreeMap<String, usize> = BTreeMap::new();
        let of: Vec<usize> = entries
            .iter()
            .map(|(_, _, netlist)| {
                *known.entry(netlist.to_string()).or_insert_with(|| {
                    unlike.push(netlist);
                    unlike.len() - 1
                })
            })
            .collect();
        tally.netlists += entries.len();
        tally.solved += unlike.len();
        let solved: Vec<Volts> = batch::solve(&unlike);
        for ((at, group, _), which) in entries.iter().zip(of) {
            let stand = &stands[*at];
            let circuit = stand.network.circuit();
            let own = ours(&stand.settled, circuit, *group);
            tally.values += own.len();
            let drift = Drift::of(&own, &solved[which]);
            for (net, (own, other)) in own.iter().zip(&solved[which]).enumerate() {
                let off = if drift.explains(*own, *other) { 0.0 } else { off(*own, *other) };
                let place = || {
                    let source = match group {
                        Group::Direct => "direct current",
                        Group::Machine(part) => &circuit.part(*part).id,
                    };
                    format!("{system}, {}, {source}, net {}", stand.name, circuit.nets[net + 1])
                };
                if off > tally.worst {
                    (tally.worst, tally.place) = (off, place());
                }
                if off > 1.0 && tally.wrong.len() < 20 {
                    tally.wrong.push(format!("{}: {own:?}, ngspice has {other:?}", place()));
                }
            }
        }
    }
    tally
}

/// States compared in one run of ngspice.
const CHUNK: usize = 100;
/// Of the setups with something pulled, one in this many is combined with every fault;
/// `HALFSPLIT_NGSPICE=all` combines all of them, and the name of a system leaves out the
/// others.
const PULLED_SHARE: usize = 8;

struct Work {
    system: &'static str,
    network: Network,
    normal: Settled,
    /// Setups without a fault, or one setup with these faults.
    setups: Vec<Setup>,
    faults: Vec<(faults::Fault, faults::FaultMode)>,
}

impl Work {
    fn stands(&self) -> Vec<Stand> {
        let sound = self.setups.iter().map(|setup| stand(&self.network, &self.normal, setup));
        if self.faults.is_empty() {
            return sound.collect();
        }
        sound
            .flat_map(|sound| {
                self.faults.iter().map(move |(fault, mode)| {
                    let circuit = sound.network.circuit();
                    let faulted = Arc::new(faults::apply(circuit, fault, mode));
                    let name = format!("{} with {}", sound.name, fault.code(circuit));
                    let network = Network::like(Arc::clone(&faulted), &sound.network);
                    let mut state = sound.settled.state.clone();
                    state.adopt(&faulted, fault.part);
                    let settled = network.settle(state).expect("it settles");
                    Stand { name, network, settled }
                })
            })
            .collect()
    }
}

fn work(how: &str) -> Vec<Work> {
    let mut list = Vec::new();
    let all = how == "all";
    let named = |system: &&str| !library::NAMES.contains(&how) || **system == *how;
    for system in library::NAMES.into_iter().filter(named) {
        let circuit = Arc::new(library::load(system).expect("it comes with the program"));
        let network = Network::new(Arc::clone(&circuit));
        let normal = network.settle(State::at_rest(&circuit)).expect("it settles");
        let mut add = |setups: &[Setup], faults: &[(faults::Fault, faults::FaultMode)]| {
            list.push(Work {
                system,
                network: network.clone(),
                normal: normal.clone(),
                setups: setups.to_vec(),
                faults: faults.to_vec(),
            });
        };
        let setups = setups(&circuit);
        for chunk in setups.chunks(CHUNK) {
            add(chunk, &[]);
        }
        let every = faults::all(&circuit);
        let mut pulled = 0;
        for setup in &setups {
            if matches!(setup.moved, Some((_, PartState::Breaker { .. } | PartState::Fuse { .. })))
            {
                pulled += 1;
                if !all && pulled % PULLED_SHARE != 1 {
                    continue;
                }
            }
            for chunk in every.chunks(CHUNK) {
                add(std::slice::from_ref(setup), chunk);
            }
        }
    }
    list
}

#[test]
#[ignore = "needs ngspice: run tests/ngspice/live.sh"]
fn every_fault_in_many_setups_agrees_with_ngspice() {
    let Some(how) = live() else { return };
    let begun = Instant::now();
    let list = work(&how);
    let (next, total) = (AtomicUsize::new(0), Mutex::new(Tally::default()));
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                while let Some(work) = list.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let tally = compare(work.system, &work.stands(), |_, _| {});
                    total.lock().expect("no comparison panics").add(tally);
                }
            });
        }
    });
    let total = total.into_inner().expect("no comparison panics");
    println!(
        "{} states: {} netlists, {} of them unlike and solved by ngspice, {} net voltages",
        total.states, total.netlists, total.solved, total.values
    );
    println!("worst difference {:.3} of the allowed 1e-6 and 1 uV: {}", total.worst, total.place);
    println!("{:.0} s on {workers} cores", begun.elapsed().as_secs_f64());
    assert!(total.wrong.is_empty(), "{}", total.wrong.join("\n"));
    let whole = !library::NAMES.contains(&how.as_str());
    assert!(!whole || total.states > 5000 && total.values > 1_000_000, "too few to mean anything");
}

#[test]
#[ignore = "needs ngspice: run tests/ngspice/live.sh"]
fn one_wrong_value_in_one_netlist_is_found() {
    if live().is_none() {
        return;
    }
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let network = Network::new(Arc::clone(&circuit));
    let normal = network.settle(State::at_rest(&circuit)).expect("it settles");
    let stands: Vec<Stand> =
        setups(&circuit).iter().take(6).map(|setup| stand(&network, &normal, setup)).collect();
    let sound = compare("t4-ac", &stands, |_, _| {});
    assert!(sound.wrong.is_empty(), "{:?}", sound.wrong);
    // One percent more in one wire of the fourth state.
    let wire = circuit.find_part("W-FLT-A").expect("a wire").index();
    let spoiled = compare("t4-ac", &stands, |netlist, at| {
        if at == 3
            && let Some(card) = netlist.parts[wire].first_mut()
            && let halfsplit::spice::Value::Ohms(ohms) = &mut card.value
        {
            *ohms *= 1.01;
        }
    });
    assert!(!spoiled.wrong.is_empty(), "worst {}", spoiled.worst);
    assert!(spoiled.wrong.iter().all(|w| w.contains(&stands[3].name)), "{:?}", spoiled.wrong);
}
