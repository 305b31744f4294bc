//! Small circuits written in Rust, solved and checked.
//!
//! [`Bench`] wires parts between nets that are named as they are first used;
//! [`Bench::settle`] lets the circuit come to rest and checks Kirchhoff's current law
//! on the result, so every test that uses it checks that too.
//!
//! Nets have no insulation leakage here unless a test asks for it, so that textbook
//! values come out as printed; each piece of a circuit must then reach `GND`.

use std::sync::Arc;

use halfsplit::circuit::{
    AIRFRAME_NAME, Breaker, Circuit, Closure, ContactSet, Converter, Fuse, Gyro, Kind, Lamp, Load,
    Load3, Meter, NetId, Part, PartId, Relay, Resistor, Senses, Station, StationId, Supply, Switch,
    Transformer, Vibrator, Wire,
};
use halfsplit::network::{Event, Network, PartState, Settled, SolveError, State, StopReason};
use num_complex::Complex64;

/// Ohms that are nothing beside what the tests measure. Where currents are small the
/// last bit of a voltage across so few ohms is a current of its own, and tests choose
/// more.
pub(crate) const TINY: f64 = 1e-4;

/// A circuit being wired.
pub(crate) struct Bench {
    circuit: Circuit,
}

impl Bench {
    pub(crate) fn new() -> Self {
        let station = Station {
            id: "bench".to_owned(),
            title: "BENCH".to_owned(),
            reach_minutes: 0.0,
            open_minutes: 0.0,
            crew: true,
            cautions: Vec::new(),
            panels: Vec::new(),
        };
        Self {
            circuit: Circuit {
                conditions: None,
                id: "bench".to_owned(),
                title: "Bench".to_owned(),
                brief: String::new(),
                nets: vec![AIRFRAME_NAME.to_owned()],
                parts: Vec::new(),
                stations: vec![station],
                test_points: Vec::new(),
                insulation_ohms: f64::INFINITY,
                spare_fuses: Vec::new(),
                mods: Vec::new(),
                fitted: Vec::new(),
            },
        }
    }

    /// Gives every net this insulation to the airframe.
    pub(crate) fn insulation(mut self, ohms: f64) -> Self {
        self.circuit.insulation_ohms = ohms;
        self
    }

    /// The net of this name, declared if it is new; names are compared without case.
    pub(crate) fn net(&mut self, name: &str) -> NetId {
        self.circuit.find_net(name).unwrap_or_else(|| {
            self.circuit.nets.push(name.to_owned());
            NetId(self.circuit.nets.len() as u32 - 1)
        })
    }

    /// Adds a part whose kind is made from nets.
    pub(crate) fn part(mut self, id: &str, kind: impl FnOnce(&mut Self) -> Kind) -> Self {
        let kind = kind(&mut self);
        self.circuit.parts.push(Part {
            id: id.to_owned(),
            label: id.to_owned(),
            station: StationId(0),
            seen_at: StationId(0),
            panel: None,
            group: id.to_owned(),
            replace_minutes: 1.0,
            stock: String::new(),
            kind,
        });
        self
    }

    pub(crate) fn supply(self, id: &str, plus: &str, volts: f64, ohms: f64) -> Self {
        self.part(id, |b| {
            Kind::Supply(Supply { plus: b.net(plus), minus: b.net("GND"), volts, ohms })
        })
    }

    pub(crate) fn resistor(self, id: &str, a: &str, b: &str, ohms: f64) -> Self {
        self.part(id, |bench| Kind::Resistor(Resistor { a: bench.net(a), b: bench.net(b), ohms }))
    }

    pub(crate) fn wire(self, id: &str, a: &str, b: &str, ohms: f64) -> Self {
        self.part(id, |bench| {
            Kind::Wire(Wire { a: bench.net(a), b: bench.net(b), ohms, chafed_ohms: None })
        })
    }

    pub(crate) fn breaker(self, id: &str, line: &str, load: &str, amps: f64) -> Self {
        self.part(id, |b| {
            let (line, load) = (b.net(line), b.net(load));
            Kind::Breaker(Breaker { line, load, amps, ohms: 0.1 / amps, latches: true })
        })
    }

    pub(crate) fn fuse(self, id: &str, line: &str, load: &str, amps: f64) -> Self {
        self.part(id, |b| {
            let (line, load) = (b.net(line), b.net(load));
            Kind::Fuse(Fuse { line, load, amps, ohms: 0.1 / amps, intact: true })
        })
    }

    /// A switch of two positions, `OFF` (where it starts) and `ON`.
    pub(crate) fn switch(self, id: &str, a: &str, b: &str) -> Self {
        self.part(id, |bench| {
            let closure = Closure { position: 1, a: bench.net(a), b: bench.net(b), ohms: 0.005 };
            Kind::Switch(Switch {
                positions: vec!["OFF".to_owned(), "ON".to_owned()],
                start: 0,
                springs_back: false,
                guard: false,
                closures: vec![closure],
            })
        })
    }

    /// A relay; contact sets are common, released and operated, `""` for none.
    pub(crate) fn relay(
        self,
        id: &str,
        coil: [&str; 2],
        senses: Senses,
        [pickup_volts, dropout_volts]: [f64; 2],
        coil_ohms: f64,
        contacts: &[[&str; 3]],
    ) -> Self {
        self.part(id, |b| {
            let contacts = contacts
                .iter()
                .map(|[common, released, operated]| ContactSet {
                    common: b.net(common),
                    released: (!released.is_empty()).then(|| b.net(released)),
                    operated: (!operated.is_empty()).then(|| b.net(operated)),
                    released_ohms: 0.005,
                    operated_ohms: 0.005,
                })
                .collect();
            Kind::Relay(Relay {
                x1: b.net(coil[0]),
                x2: b.net(coil[1]),
                senses,
                pickup_volts,
                dropout_volts,
                coil_ohms,
                contacts,
                stuck: None,
            })
        })
    }

    pub(crate) fn lamp(self, id: &str, a: &str, b: &str, volts: f64, bulb_amps: f64) -> Self {
        self.part(id, |bench| {
            Kind::Lamp(Lamp {
                a: bench.net(a),
                b: bench.net(b),
                volts,
                bulb_amps,
                bulbs: 1,
                bulbs_good: 1,
                colour: "amber".to_owned(),
            })
        })
    }

    pub(crate) fn meter(
        self,
        id: &str,
        plus: &str,
        minus: &str,
        senses: Senses,
        burden_ohms: f64,
    ) -> Self {
        self.part(id, |b| {
            Kind::Meter(Meter {
                plus: b.net(plus),
                minus: b.net(minus),
                senses,
                burden_ohms,
                unit: "V".to_owned(),
                scale: vec![(0.0, 0.0), (250.0, 1.0)],
                divisions: vec![0.0, 250.0],
                figures: vec![0.0, 250.0],
                class_percent: 2.0,
                per_volt: 1.0,
                least_volts: 0.0,
                gain: 1.0,
            })
        })
    }

    /// A single-phase impedance `ohms + j reactance_ohms` at `hertz`.
    pub(crate) fn load(self, id: &str, nets: [&str; 2], z: Complex64, hertz: f64) -> Self {
        self.part(id, |b| {
            Kind::Load(Load {
                a: b.net(nets[0]),
                b: b.net(nets[1]),
                volts: 115.0,
                ohms: z.re,
                reactance_ohms: z.im,
                hertz,
                shows: String::new(),
                flag: false,
                needs: Vec::new(),
                works_above: 0.85,
                moves_above: 0.55,
                movement_sound: true,
            })
        })
    }

    /// Three equal legs in star without neutral.
    pub(crate) fn load3(self, id: &str, nets: [&str; 3], leg: Complex64, hertz: f64) -> Self {
        self.part(id, |b| {
            Kind::Load3(Load3 {
                phases: nets.map(|net| b.net(net)),
                volts: 115.0,
                leg_ohms: [leg.re; 3],
                leg_reactance_ohms: leg.im,
                hertz,
                shows: String::new(),
                works_above: 0.85,
                moves_above: 0.55,
            })
        })
    }

    /// A rotary converter of 1000 VA with the usual values, changed by `change`.
    pub(crate) fn converter(
        self,
        id: &str,
        dc: &str,
        phases: [&str; 3],
        change: impl FnOnce(&mut Converter),
    ) -> Self {
        self.part(id, |b| {
            let mut converter = Converter {
                dc: b.net(dc),
                ret: b.net("GND"),
                phases: phases.map(|net| b.net(net)),
                volts: 115.0,
                hertz: 400.0,
                volt_amps: 1000.0,
                efficiency: 0.6,
                idle_watts: 200.0,
                start_volts: 18.0,
                run_volts: 12.0,
                governed_volts: 24.0,
                phase_ohms: 0.03 * 13.225,
                phase_reactance_ohms: 0.1 * 13.225,
                ceiling_volts: 1.35 * 115.0,
                motor_sound: true,
                field_sound: true,
                speed_factor: 1.0,
                phase_sound: [true; 3],
            };
            change(&mut converter);
            Kind::Converter(converter)
        })
    }

    /// A stiff three-phase source of these volts line to line, with these ohms a phase:
    /// a converter whose field stands at its ceiling, on a supply of its own. The caller
    /// decides which net is grounded.
    pub(crate) fn three_phase(
        self,
        id: &str,
        phases: [&str; 3],
        [volts, hertz, ohms]: [f64; 3],
    ) -> Self {
        let dc = format!("{id} dc");
        self.supply(&format!("{id} supply"), &dc, 28.0, TINY).converter(id, &dc, phases, |c| {
            c.hertz = hertz;
            c.volts = 1e9;
            c.ceiling_volts = volts;
            c.phase_ohms = ohms;
            c.phase_reactance_ohms = 0.0;
            c.idle_watts = 1.0;
        })
    }

    /// A vibrator converter of 110 V 60 Hz, changed by `change`.
    pub(crate) fn vibrator(
        self,
        id: &str,
        dc: &str,
        out: [&str; 2],
        change: impl FnOnce(&mut Vibrator),
    ) -> Self {
        self.part(id, |b| {
            let mut vibrator = Vibrator {
                dc: b.net(dc),
                ret: b.net("GND"),
                out: b.net(out[0]),
                neutral: b.net(out[1]),
                volts: 110.0,
                hertz: 60.0,
                volt_amps: 80.0,
                rated_dc_volts: 27.5,
                efficiency: 0.65,
                idle_watts: 8.0,
                start_volts: 18.0,
                ohms: 7.5,
                reed_sound: true,
            };
            change(&mut vibrator);
            Kind::Vibrator(vibrator)
        })
    }

    /// A transformer with next to no loss, leakage or magnetising current at 400 Hz.
    pub(crate) fn transformer(
        self,
        id: &str,
        primary: [&str; 2],
        secondary: [&str; 2],
        volts: [f64; 2],
    ) -> Self {
        self.part(id, |b| {
            Kind::Transformer(Transformer {
                primary: primary.map(|net| b.net(net)),
                secondary: secondary.map(|net| b.net(net)),
                primary_volts: volts[0],
                secondary_volts: volts[1],
                series_ohms: TINY,
                leakage_reactance_ohms: TINY,
                magnetising_reactance_ohms: 1e9,
                core_ohms: 1e9,
                hertz: 400.0,
                primary_sound: true,
                secondary_sound: true,
                shorted_turns_ohms: f64::INFINITY,
            })
        })
    }

    /// A gyro motor with the usual power factors and torques.
    pub(crate) fn gyro(self, id: &str, nets: [&str; 3], volts: f64, amps: f64) -> Self {
        self.part(id, |b| {
            Kind::Gyro(Gyro {
                phases: nets.map(|net| b.net(net)),
                volts,
                amps,
                power_factor: 0.6,
                locked_ratio: 4.0,
                locked_power_factor: 0.5,
                hertz: 400.0,
                start_torque: 0.35,
                stall_torque: 0.15,
                shows: String::new(),
                flag: true,
                winding_sound: [true; 3],
                seized: false,
            })
        })
    }

    /// Changes the part added last.
    pub(crate) fn but(mut self, change: impl FnOnce(&mut Kind)) -> Self {
        change(&mut self.circuit.parts.last_mut().expect("a part was added before").kind);
        self
    }

    /// What has been wired.
    pub(crate) fn circuit(self) -> Circuit {
        self.circuit
    }

    /// Lets the circuit come to rest from rest.
    pub(crate) fn settle(self) -> Solved {
        self.try_settle().expect("the circuit has a solution")
    }

    /// The same, with one part's memory not as at rest.
    pub(crate) fn settle_with(self, part: &str, memory: PartState) -> Solved {
        let network = Network::new(Arc::new(self.circuit));
        let mut state = State::at_rest(network.circuit());
        state.set(network.circuit().find_part(part).expect("the part exists"), memory);
        Solved::settle(network, state).expect("the circuit has a solution")
    }

    /// The same, where it may have no solution.
    pub(crate) fn try_settle(self) -> Result<Solved, SolveError> {
        let network = Network::new(Arc::new(self.circuit));
        let state = State::at_rest(network.circuit());
        Solved::settle(network, state)
    }
}

/// A circuit that has settled.
pub(crate) struct Solved {
    pub(crate) network: Network,
    pub(crate) settled: Settled,
}

impl Solved {
    /// Settles and checks that currents balance at every net.
    pub(crate) fn settle(network: Network, state: State) -> Result<Self, SolveError> {
        let settled = network.settle(state)?;
        let residual = network.kirchhoff_residual(&settled.state, &settled.solution);
        assert!(residual < 1e-9, "currents miss balance by {residual:e} of the largest");
        Ok(Self { network, settled })
    }

    /// Changes the memory of one part, as a hand does, and settles again.
    pub(crate) fn then(self, part: &str, state: PartState) -> Self {
        let id = self.id(part);
        let mut next = self.settled.state;
        next.set(id, state);
        Self::settle(self.network, next).expect("the circuit has a solution")
    }

    /// Turns a two-position switch on or off.
    pub(crate) fn turn(self, switch: &str, on: bool) -> Self {
        self.then(switch, PartState::Position(u8::from(on)))
    }

    /// Pulls a fuse out of its holder.
    pub(crate) fn pull(self, fuse: &str) -> Self {
        self.then(fuse, PartState::Fuse { seated: false, blown: false })
    }

    /// Settles again with one part's kind changed, as a fault does.
    pub(crate) fn with(self, part: &str, change: impl FnOnce(&mut Kind)) -> Self {
        let id = self.id(part);
        let mut kind = self.network.circuit().part(id).kind.clone();
        change(&mut kind);
        let circuit = Arc::new(self.network.circuit().with_kind(id, kind));
        let network = Network::like(circuit, &self.network);
        let mut state = self.settled.state;
        state.adopt(network.circuit(), id);
        Self::settle(network, state).expect("the circuit has a solution")
    }

    pub(crate) fn id(&self, part: &str) -> PartId {
        self.network.circuit().find_part(part).unwrap_or_else(|| panic!("no part {part}"))
    }

    /// A net by name, those inside parts included.
    pub(crate) fn net(&self, name: &str) -> NetId {
        (0..self.network.nets() as u32)
            .map(NetId)
            .find(|net| self.network.net_name(*net) == name)
            .unwrap_or_else(|| panic!("no net {name}"))
    }

    /// Direct volts of `a` above `b`.
    pub(crate) fn dc(&self, a: &str, b: &str) -> f64 {
        self.settled.solution.dc_between(self.net(a), self.net(b))
    }

    /// Alternating volts between two nets.
    pub(crate) fn ac(&self, a: &str, b: &str) -> f64 {
        self.settled.solution.ac_between(self.net(a), self.net(b))
    }

    /// The phasor of `a` above `b` in a circuit with one alternating source.
    pub(crate) fn phasor(&self, a: &str, b: &str) -> Complex64 {
        let [group] = self.settled.solution.ac.as_slice() else {
            panic!("the circuit has {} alternating sources", self.settled.solution.ac.len());
        };
        group.volts[self.net(a).index()] - group.volts[self.net(b).index()]
    }

    /// The alternating current through a resistor from its `a` to its `b`.
    pub(crate) fn amps(&self, resistor: &str) -> Complex64 {
        let Kind::Resistor(r) = &self.network.circuit().part(self.id(resistor)).kind else {
            panic!("{resistor} is no resistor");
        };
        let name = |net| self.network.net_name(net).to_owned();
        self.phasor(&name(r.a), &name(r.b)) / r.ohms
    }

    /// The direct current through a resistor from its `a` to its `b`.
    pub(crate) fn dc_amps(&self, resistor: &str) -> f64 {
        let Kind::Resistor(r) = &self.network.circuit().part(self.id(resistor)).kind else {
            panic!("{resistor} is no resistor");
        };
        self.settled.solution.dc_between(r.a, r.b) / r.ohms
    }

    pub(crate) fn operated(&self, relay: &str) -> bool {
        self.settled.state.operated(self.id(relay))
    }

    pub(crate) fn running(&self, machine: &str) -> bool {
        self.settled.state.running(self.id(machine))
    }

    pub(crate) fn steady(&self) -> bool {
        self.settled.stop == StopReason::Steady
    }

    /// The events in words.
    pub(crate) fn story(&self) -> Vec<String> {
        self.settled.events.iter().map(|e| e.told(self.network.circuit())).collect()
    }

    /// The breakers and fuses that opened, in order.
    pub(crate) fn opened(&self) -> Vec<&str> {
        self.settled
            .events
            .iter()
            .filter_map(|event| match event {
                Event::Opens { part, .. } => Some(self.network.circuit().part(*part).id.as_str()),
                _ => None,
            })
            .collect()
    }
}

/// Checks a value within a relative tolerance.
#[track_caller]
pub(crate) fn near(got: f64, expected: f64, relative: f64) {
    let off = (got - expected).abs();
    assert!(
        off <= relative * expected.abs(),
        "got {got}, expected {expected} within {relative:e} of it, off by {off:e}"
    );
}
