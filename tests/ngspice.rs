//! Net voltages against ngspice, a general-purpose circuit simulator.
//!
//! The netlists are written here from the parts themselves, not from the solver's own
//! elements: an independent reading of what each kind of part is. States with memory
//! (which relay is operated, what runs) are taken from the settled circuit; what is
//! compared is every net voltage of the linear network that remains.
//!
//! With `HALFSPLIT_NGSPICE` set (as `tests/ngspice/live.sh` does) ngspice is run on all
//! cases. Without it the values it gave before are read from `tests/ngspice/`, so that a
//! machine without it checks them too; `UPDATE=1` with ngspice rewrites them.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Arc;

use halfsplit::circuit::{Circuit, Kind, NetId};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{Network, PartState, Settled, State};

/// A system, controls moved, and a fault.
struct Case {
    name: &'static str,
    system: &'static str,
    sets: &'static [(&'static str, u8)],
    fault: Option<&'static str>,
}

const fn case(
    name: &'static str,
    system: &'static str,
    sets: &'static [(&'static str, u8)],
    fault: Option<&'static str>,
) -> Case {
    Case { name, system, sets, fault }
}

const CASES: [Case; 12] = [
    case("bench", "bench", &[], None),
    case("normal", "t4-ac", &[], None),
    case("flight-bus-on-two", "t4-ac", &[("BUSSEL", 1)], None),
    case("standby", "t4-ac", &[("BUSSEL", 2)], None),
    case("source-1-off", "t4-ac", &[("SOURCE1", 0)], None),
    case("fuse-open-with-back-feed", "t4-ac", &[], Some("F-FLT-A:open")),
    case("phase-breaker-open", "t4-ac", &[], Some("CB2A:trips-early")),
    case("primary-open", "t4-ac", &[], Some("T-FLT-A:primary-open")),
    case("shorted-turns", "t4-ac", &[], Some("T-SVY-C:shorted-turns")),
    case("chafed", "t4-ac", &[], Some("W2-A:chafed")),
    case("poor-ground", "t4-ac", &[], Some("GB-CV1:high-resistance")),
    case("winding-open", "t4-ac", &[("VSEL", 1)], Some("G-ATT:winding-open-C")),
];

fn settled(case: &Case) -> (Network, Settled) {
    let circuit = Arc::new(library::load(case.system).expect("it comes with the program"));
    let mut state = State::at_rest(&circuit);
    for (control, at) in case.sets {
        state.set(circuit.find_part(control).expect("a control"), PartState::Position(*at));
    }
    let network = Network::new(Arc::clone(&circuit));
    let settled = network.settle(state).expect("it settles");
    let Some(code) = case.fault else { return (network, settled) };
    let (fault, mode) = faults::parse(&circuit, code).expect("a fault of the system");
    let faulted = Arc::new(faults::apply(&circuit, &fault, &mode));
    let network = Network::new(Arc::clone(&faulted));
    let mut state = settled.state;
    state.adopt(&faulted, fault.part);
    let settled = network.settle(state).expect("it settles");
    (network, settled)
}

/// Writes cards for one group: direct current, or one machine at its frequency.
struct Cards<'a> {
    circuit: &'a Circuit,
    settled: &'a Settled,
    /// Index of the machine's group; `None` for direct current.
    group: Option<usize>,
    text: String,
    count: usize,
}

/// Node name of a net; the airframe is ground.
fn node(net: NetId) -> String {
    if net.0 == 0 { "0".to_owned() } else { format!("n{}", net.0) }
}

impl Cards<'_> {
    fn next(&mut self) -> usize {
        self.count += 1;
        self.count
    }

    fn inner(&mut self) -> String {
        format!("x{}", self.next())
    }

    fn hertz(&self) -> f64 {
        self.group.map_or(0.0, |g| self.settled.solution.ac[g].hertz)
    }

    fn resistor(&mut self, a: &str, b: &str, ohms: f64) {
        if ohms.is_finite() {
            let k = self.next();
            writeln!(self.text, "R{k} {a} {b} {ohms:e}").expect("a string grows");
        }
    }

    /// Resistance and reactance in series; the reactance holds at `hertz`.
    fn impedance(&mut self, a: &str, b: &str, ohms: f64, reactance: f64, hertz: f64) {
        if reactance == 0.0 || self.group.is_none() {
            self.resistor(a, b, ohms.max(1e-6));
            return;
        }
        let middle = self.inner();
        self.resistor(a, &middle, ohms);
        let k = self.next();
        let henries = reactance / (std::f64::consts::TAU * hertz);
        writeln!(self.text, "L{k} {middle} {b} {henries:e}").expect("a string grows");
    }

    /// A three-terminal machine by sequence impedance: `I = Y V`, each complex
    /// admittance as a real transconductance of the voltage and one of the voltage
    /// turned by 90 degrees (a one-ohm reactance fed with it).
    fn rotor(&mut self, terminals: &[String; 3], first: (f64, f64), second: (f64, f64)) {
        let turned: Vec<String> = terminals
            .iter()
            .map(|terminal| {
                let (k, turned) = (self.next(), self.inner());
                let henries = 1.0 / (std::f64::consts::TAU * self.hertz());
                writeln!(self.text, "G{k} 0 {turned} {terminal} 0 1").expect("a string grows");
                writeln!(self.text, "L{k} {turned} 0 {henries:e}").expect("a string grows");
                turned
            })
            .collect();
        let root = 3.0_f64.sqrt() / 2.0;
        // a = -1/2 + j root, a^2 = -1/2 - j root; Y_ab = (a Y1 + a^2 Y2) / 3 and so round.
        let times =
            |(ar, ai): (f64, f64), (br, bi): (f64, f64)| (ar * br - ai * bi, ar * bi + ai * br);
        let sum = |x: (f64, f64), y: (f64, f64)| ((x.0 + y.0) / 3.0, (x.1 + y.1) / 3.0);
        let (a, a2) = ((-0.5, root), (-0.5, -root));
        let circle = [
            sum(first, second),
            sum(times(a, first), times(a2, second)),
            sum(times(a2, first), times(a, second)),
        ];
        for row in 0..3 {
            for column in 0..3 {
                let (g, b) = circle[(column + 3 - row) % 3];
                let (k, m) = (self.next(), self.next());
                writeln!(self.text, "G{k} {} 0 {} 0 {g:e}", terminals[row], terminals[column])
                    .expect("a string grows");
                writeln!(self.text, "G{m} {} 0 {} 0 {b:e}", terminals[row], turned[column])
                    .expect("a string grows");
            }
        }
    }

    fn part(&mut self, index: usize, watts: &BTreeMap<usize, f64>) {
        let part = &self.circuit.parts[index];
        let state = self.settled.state.parts[index];
        let (settled, group) = (self.settled, self.group);
        let solution = &settled.solution;
        match &part.kind {
            Kind::Supply(s) => {
                let middle = self.inner();
                let k = self.next();
                let volts = if group.is_none() { s.volts } else { 0.0 };
                writeln!(self.text, "V{k} {middle} {} DC {volts:e} AC 0", node(s.minus))
                    .expect("a string grows");
                self.resistor(&node(s.plus), &middle, s.ohms);
            }
            Kind::Wire(w) => match w.chafed_ohms {
                None => self.resistor(&node(w.a), &node(w.b), w.ohms),
                Some(chafe) => {
                    let middle = self.inner();
                    self.resistor(&node(w.a), &middle, w.ohms / 2.0);
                    self.resistor(&middle, &node(w.b), w.ohms / 2.0);
                    self.resistor(&middle, "0", chafe);
                    self.resistor(&middle, "0", self.circuit.insulation_ohms);
                }
            },
            Kind::Resistor(r) => self.resistor(&node(r.a), &node(r.b), r.ohms),
            Kind::Ground(g) => self.resistor(&node(g.net), "0", g.ohms),
            Kind::Breaker(b) => {
                if matches!(state, PartState::Breaker { closed: true, .. }) {
                    self.resistor(&node(b.line), &node(b.load), b.ohms);
                }
            }
            Kind::Fuse(f) => {
                if state == (PartState::Fuse { seated: true, blown: false }) {
                    self.resistor(&node(f.line), &node(f.load), f.ohms);
                }
            }
            Kind::Switch(s) => {
                for closure in &s.closures {
                    if state == PartState::Position(closure.position) {
                        self.resistor(&node(closure.a), &node(closure.b), closure.ohms);
                    }
                }
            }
            Kind::Relay(r) => {
                self.resistor(&node(r.x1), &node(r.x2), r.coil_ohms);
                for set in &r.contacts {
                    let operated = state == (PartState::Relay { operated: true });
                    let (to, ohms) = if operated {
                        (set.operated, set.operated_ohms)
                    } else {
                        (set.released, set.released_ohms)
                    };
                    if let Some(to) = to {
                        self.resistor(&node(set.common), &node(to), ohms);
                    }
                }
            }
            Kind::Lamp(l) => {
                // Current goes with volts to the power 0.54; cold a tenth of hot.
                let volts = solution.rms_between(l.a, l.b) / l.volts;
                let hot = l.volts / l.bulb_amps;
                let factor = if volts > 0.0 { libm_pow(volts, 0.46) } else { 0.0 };
                let each = hot * factor.max(0.1);
                if l.bulbs_good > 0 {
                    self.resistor(&node(l.a), &node(l.b), each / f64::from(l.bulbs_good));
                }
            }
            Kind::Converter(c) => {
                let running = state == (PartState::Machine { running: true });
                if c.motor_sound {
                    // As a motor it is the resistance that draws its power.
                    let volts = solution.dc_between(c.dc, c.ret).abs();
                    let ohms = if running {
                        let at = volts.max(c.governed_volts);
                        at * at / (c.idle_watts + watts[&index] / c.efficiency)
                    } else {
                        let rated = c.idle_watts + c.volt_amps / c.efficiency;
                        c.governed_volts * c.governed_volts / (5.0 * rated)
                    };
                    self.resistor(&node(c.dc), &node(c.ret), ohms);
                }
                let star = self.inner();
                self.resistor(&star, "0", self.circuit.insulation_ohms);
                for phase in (0..3).filter(|phase| c.phase_sound[*phase]) {
                    let force = self.inner();
                    let own = group.filter(|g| solution.ac[*g].source.index() == index);
                    let volts = own.map_or(0.0, |g| solution.ac[g].emf_volts / 3.0_f64.sqrt());
                    let k = self.next();
                    writeln!(
                        self.text,
                        "V{k} {force} {star} DC 0 AC {volts:e} {}",
                        -120.0 * phase as f64
                    )
                    .expect("a string grows");
                    let terminal = node(c.phases[phase]);
                    let (r, x) = (c.phase_ohms, c.phase_reactance_ohms);
                    self.impedance(&force, &terminal, r, x, c.hertz);
                }
            }
            Kind::Vibrator(v) => {
                let running = state == (PartState::Machine { running: true });
                let volts = solution.dc_between(v.dc, v.ret).abs();
                let ohms = if running {
                    let at = volts.max(v.start_volts);
                    at * at / (v.idle_watts + watts[&index] / v.efficiency)
                } else {
                    v.rated_dc_volts * v.rated_dc_volts / v.idle_watts
                };
                self.resistor(&node(v.dc), &node(v.ret), ohms);
                let force = self.inner();
                let own = group.filter(|g| solution.ac[*g].source.index() == index);
                let volts = own.map_or(0.0, |g| solution.ac[g].emf_volts);
                let k = self.next();
                writeln!(self.text, "V{k} {force} {} DC 0 AC {volts:e} 0", node(v.neutral))
                    .expect("a string grows");
                self.resistor(&force, &node(v.out), v.ohms);
            }
            Kind::Transformer(t) => {
                let core = self.inner();
                let low = node(t.primary[1]);
                self.resistor(&core, "0", self.circuit.insulation_ohms);
                if t.primary_sound {
                    self.resistor(&node(t.primary[0]), &core, t.series_ohms / 2.0);
                }
                self.resistor(&core, &low, t.core_ohms);
                self.resistor(&core, &low, t.shorted_turns_ohms);
                let x = t.magnetising_reactance_ohms;
                self.impedance(&core, &low, t.series_ohms / 100.0, x, t.hertz);
                if t.secondary_sound {
                    let ratio = t.secondary_volts / t.primary_volts;
                    let (s1, s2) = (node(t.secondary[0]), node(t.secondary[1]));
                    if group.is_none() {
                        self.resistor(&s1, &s2, t.series_ohms / 2.0 * ratio * ratio);
                    } else {
                        let (before, after) = (self.inner(), self.inner());
                        let half = t.series_ohms / 2.0;
                        self.impedance(&core, &before, half, t.leakage_reactance_ohms, t.hertz);
                        let k = self.next();
                        let back = 1.0 / ratio;
                        writeln!(self.text, "V{k} {before} {after} DC 0 AC 0")
                            .expect("a string grows");
                        writeln!(self.text, "E{k} {after} {low} {s1} {s2} {back:e}")
                            .expect("a string grows");
                        writeln!(self.text, "F{k} {s2} {s1} V{k} {back:e}")
                            .expect("a string grows");
                    }
                }
            }
            Kind::Load(l) => {
                if l.ohms.is_finite() {
                    self.impedance(&node(l.a), &node(l.b), l.ohms, l.reactance_ohms, l.hertz);
                }
            }
            Kind::Load3(l) => {
                let star = self.inner();
                self.resistor(&star, "0", self.circuit.insulation_ohms);
                for phase in (0..3).filter(|phase| l.leg_ohms[*phase].is_finite()) {
                    let (r, x) = (l.leg_ohms[phase], l.leg_reactance_ohms);
                    self.impedance(&node(l.phases[phase]), &star, r, x, l.hertz);
                }
            }
            Kind::Gyro(g) => {
                let terminals = [0, 1, 2].map(|phase| {
                    if g.winding_sound[phase] {
                        node(g.phases[phase])
                    } else {
                        let open = self.inner();
                        self.resistor(&open, "0", self.circuit.insulation_ohms);
                        open
                    }
                });
                let hertz = self.hertz();
                let sequence = |amps: f64, power_factor: f64| {
                    let ohms = g.volts / 3.0_f64.sqrt() / amps;
                    let (r, x) = (
                        ohms * power_factor,
                        ohms * (1.0 - power_factor * power_factor).sqrt() * hertz / g.hertz,
                    );
                    let square = r * r + x * x;
                    (r / square, -x / square)
                };
                let second = sequence(g.amps * g.locked_ratio, g.locked_power_factor);
                if group.is_none() {
                    let star = self.inner();
                    let ohms = g.volts / 3.0_f64.sqrt() / (g.amps * g.locked_ratio)
                        * g.locked_power_factor;
                    for terminal in &terminals {
                        self.resistor(terminal, &star, ohms);
                    }
                } else {
                    let running = state == (PartState::Machine { running: true });
                    let first = if running { sequence(g.amps, g.power_factor) } else { second };
                    self.rotor(&terminals, first, second);
                }
            }
            Kind::Meter(m) => self.resistor(&node(m.plus), &node(m.minus), m.burden_ohms),
            other => panic!("no cards for {other:?}"),
        }
    }
}

#[allow(clippy::disallowed_methods, reason = "the comparison allows for the last bits")]
fn libm_pow(x: f64, y: f64) -> f64 {
    x.powf(y)
}

/// Watts that each machine's electromotive forces deliver, from its terminal voltages.
fn delivered(network: &Network, settled: &Settled) -> BTreeMap<usize, f64> {
    let circuit = network.circuit();
    let mut watts = BTreeMap::new();
    for (index, part) in circuit.parts.iter().enumerate() {
        let Some(group) = settled.solution.ac.iter().find(|g| g.source.index() == index) else {
            watts.insert(index, 0.0);
            continue;
        };
        let total: f64 = match &part.kind {
            Kind::Converter(c) => {
                let star_name = format!("{} star point", part.id);
                let star = (0..network.nets() as u32)
                    .map(NetId)
                    .find(|net| network.net_name(*net) == star_name)
                    .expect("an alternator has a star point");
                (0..3)
                    .filter(|phase| c.phase_sound[*phase])
                    .map(|phase| {
                        let force = halfsplit::units::phasor(
                            group.emf_volts / 3.0_f64.sqrt(),
                            -120.0 * phase as f64,
                        );
                        let across =
                            group.volts[c.phases[phase].index()] - group.volts[star.index()];
                        let impedance = num_complex::Complex64::new(
                            c.phase_ohms,
                            c.phase_reactance_ohms * group.hertz / c.hertz,
                        );
                        (force * ((force - across) / impedance).conj()).re
                    })
                    .sum()
            }
            Kind::Vibrator(v) => {
                let across = group.volts[v.out.index()] - group.volts[v.neutral.index()];
                (group.emf_volts * ((group.emf_volts - across) / v.ohms).conj()).re
            }
            _ => 0.0,
        };
        watts.insert(index, total);
    }
    watts
}

/// The netlist of one group, with a print of every net.
fn netlist(network: &Network, settled: &Settled, group: Option<usize>) -> String {
    let circuit = network.circuit();
    let watts = delivered(network, settled);
    let mut cards = Cards { circuit, settled, group, text: "* halfsplit\n".to_owned(), count: 0 };
    for net in 1..circuit.nets.len() as u32 {
        cards.resistor(&node(NetId(net)), "0", circuit.insulation_ohms);
    }
    for index in 0..circuit.parts.len() {
        cards.part(index, &watts);
    }
    let hertz = cards.hertz();
    let mut text = cards.text;
    text.push_str(".options reltol=1e-9 abstol=1e-15 vntol=1e-12 gmin=1e-20\n.control\n");
    text.push_str("set numdgt=15\nset width=200\n");
    match group {
        None => text.push_str("op\n"),
        Some(_) => writeln!(text, "ac lin 1 {hertz:e} {hertz:e}").expect("a string grows"),
    }
    for net in 1..circuit.nets.len() {
        let shown = if group.is_some() {
            format!("print real(v(n{net})) imag(v(n{net}))\n")
        } else {
            format!("print v(n{net})\n")
        };
        text.push_str(&shown);
    }
    text.push_str("quit\n.endc\n.end\n");
    text
}

/// Runs ngspice and returns what it printed, a complex value per net.
fn ngspice(netlist: &str, complex: bool) -> Vec<(f64, f64)> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("case.cir");
    std::fs::write(&path, netlist).expect("it can be written");
    let output = Command::new("ngspice").arg("-b").arg(&path).output().expect("ngspice runs");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let numbers: Vec<f64> = text
        .lines()
        .filter(|line| {
            line.starts_with("real(v(") || line.starts_with("imag(v(") || line.starts_with("v(")
        })
        .filter_map(|line| line.split('=').nth(1))
        .filter_map(|number| number.split(',').next())
        .map(|number| number.trim().parse().expect("a number"))
        .collect();
    if complex {
        numbers.chunks(2).map(|pair| (pair[0], pair[1])).collect()
    } else {
        numbers.into_iter().map(|number| (number, 0.0)).collect()
    }
}

/// Relative difference allowed, and the floor below which a voltage counts as none.
const RELATIVE: f64 = 1e-6;
const FLOOR_VOLTS: f64 = 1e-6;

fn compare(name: &str, circuit: &Circuit, ours: &[(f64, f64)], theirs: &[(f64, f64)]) {
    assert_eq!(ours.len(), theirs.len(), "{name}: one value a net");
    for (index, (own, other)) in ours.iter().zip(theirs).enumerate() {
        let size = (other.0 * other.0 + other.1 * other.1).sqrt();
        let off = ((own.0 - other.0).powi(2) + (own.1 - other.1).powi(2)).sqrt();
        assert!(
            off <= RELATIVE * size + FLOOR_VOLTS,
            "{name}: net {} is {own:?}, ngspice has {other:?}",
            circuit.nets[index + 1]
        );
    }
}

fn reference(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("tests/ngspice/{name}.txt"))
}

#[test]
fn every_net_voltage_agrees_with_ngspice() {
    let live = std::env::var_os("HALFSPLIT_NGSPICE").is_some();
    let update = live && std::env::var_os("UPDATE").is_some();
    for case in &CASES {
        let (network, settled) = settled(case);
        let circuit = network.circuit();
        let solution = &settled.solution;
        let groups: Vec<Option<usize>> =
            [None].into_iter().chain((0..solution.ac.len()).map(Some)).collect();
        let mut written =
            String::from("# volts by net: real and imaginary part, from ngspice 39\n");
        let kept = std::fs::read_to_string(reference(case.name)).unwrap_or_default();
        let mut kept = kept.lines().filter(|line| !line.starts_with('#')).map(|line| {
            let (re, im) = line.split_once(' ').expect("two numbers");
            (re.parse().expect("a number"), im.parse().expect("a number"))
        });
        for group in groups {
            let ours: Vec<(f64, f64)> = (1..circuit.nets.len())
                .map(|net| match group {
                    None => (solution.dc[net], 0.0),
                    Some(g) => (solution.ac[g].volts[net].re, solution.ac[g].volts[net].im),
                })
                .collect();
            let theirs = if live {
                ngspice(&netlist(&network, &settled, group), group.is_some())
            } else {
                kept.by_ref().take(ours.len()).collect()
            };
            let source =
                group.map_or("direct current", |g| circuit.part(solution.ac[g].source).id.as_str());
            compare(&format!("{}, {source}", case.name), circuit, &ours, &theirs);
            for (re, im) in theirs {
                writeln!(written, "{re:e} {im:e}").expect("a string grows");
            }
        }
        if update {
            std::fs::write(reference(case.name), written).expect("it can be written");
        }
    }
}
