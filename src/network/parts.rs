//! From parts to the few electrical elements that the solver stamps.
//!
//! A part becomes one or more elements between nets; some parts need nets of
//! their own (the star point of an alternator). This is the one place that knows
//! how each kind of part behaves electrically.

use num_complex::Complex64;

use super::element::{Element, Form, Gate, Impedance, LEAST_OHMS};
use super::state::Flow;
use crate::circuit::{AIRFRAME, Circuit, ContactSet, Gyro, Kind, NetId, Part, PartId, Relay};
use crate::units::phasor;

/// The elements of a circuit and the nets the parts brought themselves.
pub(super) struct Elements {
    /// All elements, grouped by part in part order.
    pub list: Vec<Element>,
    /// Nets in total, those of the circuit first.
    pub nets: usize,
    /// Name of each net beyond the circuit's own.
    pub inner_names: Vec<String>,
    /// The three nets behind the terminals of a gyro, transformer-rectifier or phase
    /// relay, by part: where an open winding or line leaves its end in the air they
    /// stand off from the terminals.
    pub inside: Vec<(PartId, [NetId; 3])>,
}

/// Star equivalent impedances of a gyro motor, per phase.
///
/// `Z = V / (sqrt 3 I)` at the power factor; with the rotor standing the current
/// is `locked_ratio` times as large.
pub fn gyro_impedances(gyro: &Gyro) -> (Impedance, Impedance) {
    let phase_volts = gyro.volts / 3.0_f64.sqrt();
    let of = |amps: f64, power_factor: f64| Impedance {
        ohms: phase_volts / amps * power_factor,
        reactance_ohms: phase_volts / amps * (1.0 - power_factor * power_factor).sqrt(),
        hertz: gyro.hertz,
    };
    (of(gyro.amps, gyro.power_factor), of(gyro.amps * gyro.locked_ratio, gyro.locked_power_factor))
}

struct Builder {
    elements: Vec<Element>,
    nets: usize,
    inner_names: Vec<String>,
    inside: Vec<(PartId, [NetId; 3])>,
}

impl Builder {
    fn inner_net(&mut self, name: String) -> NetId {
        let net = NetId(self.nets as u32);
        self.nets += 1;
        self.inner_names.push(name);
        net
    }

    fn two(&mut self, part: PartId, a: NetId, b: NetId, form: Form) {
        self.push(part, &[a, b], form);
    }

    fn push(&mut self, part: PartId, terminals: &[NetId], form: Form) {
        let mut nets = [AIRFRAME; 6];
        nets[..terminals.len()].copy_from_slice(terminals);
        self.elements.push(Element { part, nets, terminals: terminals.len() as u8, form });
    }

    /// The same, or nothing in its place.
    fn two_if(&mut self, there: bool, part: PartId, a: NetId, b: NetId, form: Form) {
        self.two(part, a, b, if there { form } else { Form::Absent });
    }

    /// A resistance, infinite when open.
    fn branch(&mut self, part: PartId, a: NetId, b: NetId, ohms: f64) {
        let form = Form::Branch(Impedance::resistance(ohms));
        self.two_if(ohms.is_finite(), part, a, b, form);
    }

    /// A contact, of infinite ohms when it never makes.
    fn contact(&mut self, part: PartId, gate: Gate, a: NetId, b: NetId, ohms: f64) {
        self.two_if(ohms.is_finite(), part, a, b, Form::Contact { gate, ohms });
    }

    /// A supply behind ohms, infinite when it gives nothing.
    fn gated_supply(
        &mut self,
        part: PartId,
        gate: Gate,
        [plus, minus]: [NetId; 2],
        [volts, ohms]: [f64; 2],
        follows: bool,
    ) {
        let form = Form::GatedSupply { gate, volts, ohms, follows };
        self.two_if(ohms.is_finite(), part, plus, minus, form);
    }

    /// Where the three lines of a part arrive inside it: at its terminals, or in the air
    /// where one is open.
    fn inside(
        &mut self,
        part: PartId,
        id: &str,
        phases: [NetId; 3],
        sound: [bool; 3],
    ) -> [NetId; 3] {
        let mut nets = phases;
        for phase in 0..3 {
            if !sound[phase] {
                nets[phase] = self.inner_net(format!("{id} inside, phase {}", PHASES[phase]));
            }
        }
        self.inside.push((part, nets));
        nets
    }

    /// Three electromotive forces that meet in a star point.
    fn alternator(
        &mut self,
        part: PartId,
        id: &str,
        phases: [NetId; 3],
        inner: Impedance,
        sound: [bool; 3],
    ) {
        let star = self.inner_net(format!("{id} star point"));
        for phase in 0..3 {
            let form = Form::Phase { unit: unit_phase(phase), inner };
            self.two_if(sound[phase], part, phases[phase], star, form);
        }
    }

    fn relay(&mut self, part: PartId, relay: &Relay) {
        self.branch(part, relay.x1, relay.x2, relay.coil_ohms);
        for set in &relay.contacts {
            self.contact_set(part, set);
        }
    }

    fn contact_set(&mut self, part: PartId, set: &ContactSet) {
        if let Some(net) = set.released {
            self.contact(part, Gate::Relay(false), set.common, net, set.released_ohms);
        }
        if let Some(net) = set.operated {
            self.contact(part, Gate::Relay(true), set.common, net, set.operated_ohms);
        }
    }
}

const PHASES: [&str; 3] = ["A", "B", "C"];

/// Unit phasor of phase `index` of a set whose line-to-line volts are one.
fn unit_phase(index: usize) -> Complex64 {
    phasor(1.0 / 3.0_f64.sqrt(), -120.0 * index as f64)
}

/// Writes a circuit out as elements.
pub(super) fn elements(circuit: &Circuit) -> Elements {
    elements_of(circuit.parts_with_ids(), circuit.nets.len())
}

/// Writes some parts out as elements, where `nets` are there already.
pub(super) fn elements_of<'a>(
    parts: impl Iterator<Item = (PartId, &'a Part)>,
    nets: usize,
) -> Elements {
    let mut b = Builder { elements: Vec::new(), nets, inner_names: Vec::new(), inside: Vec::new() };
    for (id, part) in parts {
        match &part.kind {
            Kind::Supply(supply) => {
                let form = Form::Supply { volts: supply.volts, ohms: supply.ohms };
                b.two(id, supply.plus, supply.minus, form);
            }
            Kind::Wire(wire) => match wire.chafed_ohms {
                None => {
                    b.branch(id, wire.a, wire.b, wire.ohms);
                    b.branch(id, wire.a, AIRFRAME, f64::INFINITY);
                    b.branch(id, wire.b, AIRFRAME, f64::INFINITY);
                }
                Some(ohms) => {
                    // The star of two halves and the chafe, as the delta that does the
                    // same without a net in its middle.
                    let (half, chafe) = ((wire.ohms / 2.0).max(LEAST_OHMS), ohms.max(LEAST_OHMS));
                    let delta = |opposite: f64| (half * half + 2.0 * half * chafe) / opposite;
                    let ohms = |of| if wire.ohms.is_finite() { delta(of) } else { f64::INFINITY };
                    b.branch(id, wire.a, wire.b, ohms(chafe));
                    b.branch(id, wire.a, AIRFRAME, ohms(half));
                    b.branch(id, wire.b, AIRFRAME, ohms(half));
                }
            },
            Kind::Resistor(resistor) => {
                b.branch(id, resistor.a, resistor.b, resistor.ohms);
            }
            Kind::Ground(ground) => b.branch(id, ground.net, AIRFRAME, ground.ohms),
            Kind::Breaker(breaker) => {
                b.contact(id, Gate::Protector, breaker.line, breaker.load, breaker.ohms);
            }
            Kind::Fuse(fuse) => b.contact(id, Gate::Protector, fuse.line, fuse.load, fuse.ohms),
            Kind::Switch(switch) | Kind::PushSwitch(switch) | Kind::ChangeoverSwitch(switch) => {
                for closure in &switch.closures {
                    let gate = Gate::Position(closure.position);
                    b.contact(id, gate, closure.a, closure.b, closure.ohms);
                }
            }
            Kind::Relay(relay) | Kind::Contactor(relay) => b.relay(id, relay),
            Kind::Lamp(lamp) => {
                b.two_if(lamp.bulbs_good > 0, id, lamp.a, lamp.b, Form::Filament);
            }
            Kind::Converter(converter) => {
                b.two_if(converter.motor_sound, id, converter.dc, converter.ret, Form::Filament);
                let inner = Impedance {
                    ohms: converter.phase_ohms,
                    reactance_ohms: converter.phase_reactance_ohms,
                    hertz: converter.hertz,
                };
                b.alternator(id, &part.id, converter.phases, inner, converter.phase_sound);
            }
            Kind::Vibrator(vibrator) => {
                b.two(id, vibrator.dc, vibrator.ret, Form::Filament);
                let inner = Impedance::resistance(vibrator.ohms);
                let form = Form::Phase { unit: Complex64::ONE, inner };
                b.two(id, vibrator.out, vibrator.neutral, form);
            }
            Kind::Transformer(t) => {
                // The core sits behind half the winding resistance, so that it is
                // still there for a voltage that comes in from the secondary when
                // the primary winding is open.
                let core = b.inner_net(format!("{} core", part.id));
                let half = Form::Branch(Impedance::resistance(t.series_ohms / 2.0));
                b.two_if(t.primary_sound, id, t.primary[0], core, half);
                b.branch(id, core, t.primary[1], t.core_ohms);
                b.branch(id, core, t.primary[1], t.shorted_turns_ohms);
                // A magnetising coil passes direct current; what resistance the primary
                // has stands ahead of it already.
                let magnetising = Impedance {
                    ohms: t.series_ohms / 100.0,
                    reactance_ohms: t.magnetising_reactance_ohms,
                    hertz: t.hertz,
                };
                b.two(id, core, t.primary[1], Form::Branch(magnetising));
                let coupling = Form::Coupling {
                    ratio: t.secondary_volts / t.primary_volts,
                    inner: Impedance {
                        ohms: t.series_ohms / 2.0,
                        reactance_ohms: t.leakage_reactance_ohms,
                        hertz: t.hertz,
                    },
                };
                let nets = [core, t.primary[1], t.secondary[0], t.secondary[1]];
                b.push(id, &nets, if t.secondary_sound { coupling } else { Form::Absent });
            }
            Kind::Load(load) => {
                let form = Form::Branch(Impedance {
                    ohms: load.ohms,
                    reactance_ohms: load.reactance_ohms,
                    hertz: load.hertz,
                });
                b.two_if(load.ohms.is_finite(), id, load.a, load.b, form);
            }
            Kind::Load3(load) => {
                let star = b.inner_net(format!("{} star point", part.id));
                for phase in 0..3 {
                    let form = Form::Branch(Impedance {
                        ohms: load.leg_ohms[phase],
                        reactance_ohms: load.leg_reactance_ohms,
                        hertz: load.hertz,
                    });
                    let whole = load.leg_ohms[phase].is_finite();
                    b.two_if(whole, id, load.phases[phase], star, form);
                }
            }
            Kind::Gyro(gyro) => {
                let (running, standing) = gyro_impedances(gyro);
                // A winding that is open leaves its end inside the machine in the air.
                let nets = b.inside(id, &part.id, gyro.phases, gyro.winding_sound);
                b.push(id, &nets, Form::Rotor { running, standing });
            }
            Kind::Battery(battery) => {
                let nets = [battery.plus, battery.minus];
                let gives = [battery.volts, battery.ohms];
                b.gated_supply(id, Gate::Flow(Flow::Out), nets, gives, false);
                let takes = [battery.charge_volts, battery.charge_ohms];
                b.gated_supply(id, Gate::Flow(Flow::In), nets, takes, false);
            }
            Kind::Generator(generator) => {
                for position in 0..generator.rpm.len() as u8 {
                    let gate = Gate::Other(generator.driven_by, position);
                    let nets = [generator.plus, generator.minus];
                    let values = [generator.emf_volts(position), generator.ohms];
                    b.gated_supply(id, gate, nets, values, false);
                }
            }
            Kind::Receptacle(receptacle) => {
                let unit = b.inner_net(format!("{} ground unit", part.id));
                let form = Form::Supply { volts: receptacle.volts, ohms: receptacle.ohms };
                b.two(id, unit, receptacle.minus, form);
                b.contact(id, Gate::Position(1), unit, receptacle.plus, receptacle.pin_ohms);
                let ohms = receptacle.interlock_ohms;
                b.contact(id, Gate::Position(1), unit, receptacle.interlock, ohms);
            }
            Kind::Alternator(a) => {
                let inner = Impedance {
                    ohms: a.phase_ohms,
                    reactance_ohms: a.phase_reactance_ohms,
                    hertz: a.hertz,
                };
                b.alternator(id, &part.id, a.phases, inner, a.phase_sound);
            }
            Kind::TransformerRectifier(t) => {
                let star = b.inner_net(format!("{} star point", part.id));
                for net in b.inside(id, &part.id, t.phases, t.phase_sound) {
                    b.two(id, net, star, Form::Filament);
                }
                let gate = Gate::Flow(Flow::Out);
                b.gated_supply(id, gate, [t.plus, t.minus], [t.volts, t.ohms], true);
            }
            Kind::Feeder(feeder) => {
                let [a1, b1, c1] = feeder.from;
                let [a2, b2, c2] = feeder.to;
                b.push(id, &[a1, b1, c1, a2, b2, c2], Form::Coupled(Box::new(feeder.clone())));
            }
            Kind::Diode(diode) => {
                // One that is shorted is a plain resistance.
                if diode.blocks {
                    let nets = [diode.anode, diode.cathode];
                    let values = [diode.drop_volts, diode.ohms];
                    b.gated_supply(id, Gate::Flow(Flow::Out), nets, values, false);
                } else {
                    b.branch(id, diode.anode, diode.cathode, diode.ohms);
                }
            }
            Kind::Shunt(shunt) => b.branch(id, shunt.a, shunt.b, shunt.ohms),
            Kind::Splice(splice) => {
                let joint = b.inner_net(format!("{} joint", part.id));
                for (net, ohms) in splice.nets.iter().zip(&splice.joint_ohms) {
                    b.branch(id, *net, joint, *ohms);
                }
            }
            Kind::Connector(connector) => {
                for pin in &connector.pins {
                    b.branch(id, pin.a, pin.b, pin.ohms);
                }
                if let Some((one, other, ohms)) = connector.touching {
                    b.branch(id, connector.pins[one].a, connector.pins[other].a, ohms);
                }
            }
            Kind::GroundStud(stud) => {
                let bolt = b.inner_net(format!("{} bolt", part.id));
                for (net, ohms) in stud.nets.iter().zip(&stud.lead_ohms) {
                    b.branch(id, *net, bolt, *ohms);
                }
                b.branch(id, bolt, AIRFRAME, stud.ohms);
            }
            // It is not electrical; others follow it.
            Kind::Mechanism(_) => {}
            Kind::Microswitch(switch) => {
                for closure in &switch.closures {
                    let (a, net, ohms) = (closure.a, closure.b, closure.ohms);
                    match switch.stays_at {
                        None => {
                            let gate = Gate::Other(switch.follows, closure.position);
                            b.contact(id, gate, a, net, ohms);
                        }
                        Some(at) if at == closure.position => b.branch(id, a, net, ohms),
                        Some(_) => b.two(id, a, net, Form::Absent),
                    }
                }
            }
            Kind::ReverseCurrentRelay(relay) => {
                b.branch(id, relay.enable, AIRFRAME, relay.coil_ohms);
                b.contact(id, Gate::Relay(true), relay.generator, relay.bus, relay.ohms);
            }
            Kind::PhaseRelay(relay) => {
                let star = b.inner_net(format!("{} star point", part.id));
                let sound = relay.leg_ohms.map(f64::is_finite);
                let nets = b.inside(id, &part.id, relay.phases, sound);
                for (net, ohms) in nets.into_iter().zip(relay.leg_ohms) {
                    b.branch(id, net, star, ohms);
                }
                for set in &relay.contacts {
                    b.contact_set(id, set);
                }
            }
            Kind::Flasher(flasher) => {
                b.contact(id, Gate::Relay(false), flasher.line, flasher.load, flasher.ohms);
            }
            Kind::Horn(horn) => b.branch(id, horn.a, horn.b, horn.ohms),
            Kind::Motor(motor) => {
                b.contact(id, Gate::Running(true), motor.a, motor.b, motor.running_ohms);
                b.contact(id, Gate::Running(false), motor.a, motor.b, motor.standing_ohms);
            }
            Kind::Solenoid(solenoid) => b.branch(id, solenoid.x1, solenoid.x2, solenoid.coil_ohms),
            Kind::Meter(meter)
            | Kind::Ammeter(meter)
            | Kind::Loadmeter(meter)
            | Kind::FrequencyMeter(meter) => {
                b.branch(id, meter.plus, meter.minus, meter.burden_ohms);
            }
        }
    }
    let Builder { elements: list, nets, inner_names, inside } = b;
    Elements { list, nets, inner_names, inside }
}
