//! The fault modes of a part, from its kind.
//!
//! Names and rates stand in the catalogue of kinds; here stands what each mode does
//! to the part's values.

use super::cause::Left;
use super::planted::Exposure;
use crate::circuit::{Kind, KindId, KindSpec, Meter, Part, Relay, Switch};
use crate::units::quantity;

/// One way in which one part fails.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultMode {
    /// Name, unique for the part.
    pub name: String,
    /// What has happened, to follow the part's name in a sentence.
    pub text: String,
    /// Relative rate per million hours.
    pub rate: f64,
    /// Where the rate is from.
    pub source: &'static str,
    /// What the part is like then.
    pub faulted: Kind,
    /// The ohms it can have, for a mode that is a resistance.
    pub range: Option<OhmsRange>,
    /// How the part stands, for one that is sound and was left in the wrong place.
    pub left: Option<Left>,
    /// What the aircraft has to be exposed to for it to be there; `None` for one that always
    /// is.
    pub under: Option<Exposure>,
}

/// The ohms of a fault that is a resistance: a poor joint, a chafe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OhmsRange {
    /// The least that is still a fault.
    pub least: f64,
    /// The usual ones, of a fault about which nothing more is said.
    pub usual: f64,
    /// The most; beyond them another mode says it better.
    pub most: f64,
}

/// Ohms through a chafe to the airframe, an assumption: usually a solid contact, at
/// most a wet or dirty one.
const CHAFE: OhmsRange = OhmsRange { least: 0.01, usual: 0.05, most: 1000.0 };
/// Ohms of a poor joint, an assumption: usually enough to starve a load, too little to
/// show at no load.
const POOR_JOINT: OhmsRange = OhmsRange { least: 0.1, usual: 15.0, most: 1000.0 };
/// The modes that are a resistance, by kind and name in the catalogue.
const RANGES: [(KindId, &str, OhmsRange); 7] = [
    (KindId::Wire, "chafed", CHAFE),
    (KindId::Wire, "high-resistance", POOR_JOINT),
    (KindId::Ground, "high-resistance", POOR_JOINT),
    (KindId::GroundStud, "high-resistance", POOR_JOINT),
    (KindId::Splice, "high-resistance", POOR_JOINT),
    (KindId::Connector, "pin-high-resistance", POOR_JOINT),
    (KindId::Connector, "pins-touching", CHAFE),
];

/// The ohms that a mode of a kind can have; `None` for one that is no resistance.
pub fn ohms_range(kind: KindId, mode: &str) -> Option<OhmsRange> {
    RANGES.iter().find(|(id, name, _)| *id == kind && *name == mode).map(|(.., range)| *range)
}

/// A short inside a load, as a fraction of its sound resistance, an assumption.
const LOAD_SHORT: f64 = 0.01;
/// Shorted turns draw through this many times the winding resistance, an assumption:
/// several times the rated current.
const SHORTED_TURNS: f64 = 5.0;
/// Speed with worn brushes over normal speed, an assumption.
const WORN_BRUSH_SPEED: f64 = 0.75;
/// What a failed regulator holds over what it should hold, assumptions.
const REGULATOR_LOW: f64 = 0.78;
const REGULATOR_HIGH: f64 = 1.18;
/// What a weak vibrator gives over what it should, an assumption.
const WEAK_VIBRATOR: f64 = 0.5;
/// What a meter with a weak magnet shows over what it should, an assumption.
const WEAK_MAGNET: f64 = 0.8;

/// The same of a frequency meter: its tongue or spring a twentieth off.
const LOW_FREQUENCY_METER: f64 = 0.95;
/// A flat battery: its volts and its ohms over what they should be, assumptions.
const FLAT_VOLTS: f64 = 0.8;
const FLAT_OHMS: f64 = 30.0;
/// Ohms of a generator with worn brushes over what they should be, an assumption.
const WORN_BRUSH_OHMS: f64 = 8.0;
/// What a failed generator regulator holds over what it should hold, assumptions.
const GENERATOR_LOW: f64 = 0.86;
const GENERATOR_HIGH: f64 = 1.12;
/// What an alternator with a weak magnet gives over what it should, an assumption.
const WEAK_ALTERNATOR: f64 = 0.7;
/// A wrong fuse: its rating over the right one, assumptions.
const UNDER_RATED_BY: f64 = 0.25;
const OVER_RATED_BY: f64 = 5.0;
/// The mode of a fuse that is marked below its placard.
pub const UNDER_RATED: &str = "under-rated";
/// The mode of a fuse that is marked above its placard.
pub const OVER_RATED: &str = "over-rated";

const PHASES: [&str; 3] = ["A", "B", "C"];

/// Collects the modes of one part.
struct Modes<'a> {
    spec: &'static KindSpec,
    kind: &'a Kind,
    /// Ohms of modes that are a resistance, instead of their usual ones.
    ohms: Option<f64>,
    found: Vec<FaultMode>,
}

impl Modes<'_> {
    /// Adds a mode that exists once.
    fn one<T: Clone>(&mut self, name: &str, sound: &T, wrap: fn(T) -> Kind, fail: impl Fn(&mut T)) {
        self.each(name, sound, wrap, &[(String::new(), String::new())], |part, _| fail(part));
    }

    /// Adds a mode that is a resistance.
    fn ranged<T: Clone>(
        &mut self,
        name: &str,
        sound: &T,
        wrap: fn(T) -> Kind,
        fail: impl Fn(&mut T, f64),
    ) {
        let once = [(String::new(), String::new())];
        self.ranged_each(name, sound, wrap, &once, |part, _, ohms| fail(part, ohms));
    }

    /// Adds a mode that is a resistance once for every instance.
    fn ranged_each<T: Clone>(
        &mut self,
        name: &str,
        sound: &T,
        wrap: fn(T) -> Kind,
        instances: &[(String, String)],
        fail: impl Fn(&mut T, usize, f64),
    ) {
        let range = ohms_range(self.spec.id, name).expect("a mode with ohms is in the table");
        let (ohms, before) = (self.ohms, self.found.len());
        let used = ohms.unwrap_or(range.usual);
        self.each(name, sound, wrap, instances, |part, at| fail(part, at, used));
        for mode in &mut self.found[before..] {
            mode.range = Some(range);
            if let Some(ohms) = ohms {
                mode.text = format!("{}, {}", mode.text, quantity(ohms, "ohm"));
            }
        }
    }

    /// Adds a mode once for every instance, given as (name suffix, words to add);
    /// the instances share the mode's rate.
    fn each<T: Clone>(
        &mut self,
        name: &str,
        sound: &T,
        wrap: fn(T) -> Kind,
        instances: &[(String, String)],
        fail: impl Fn(&mut T, usize),
    ) {
        let mode = self
            .spec
            .modes
            .iter()
            .find(|mode| mode.name == name)
            .expect("every mode named here stands in the catalogue");
        for (index, (suffix, words)) in instances.iter().enumerate() {
            let mut failed = sound.clone();
            fail(&mut failed, index);
            let faulted = wrap(failed);
            // Crossed wires that are on one net anyhow, for one: nothing has failed.
            if faulted == *self.kind {
                continue;
            }
            self.found.push(FaultMode {
                name: if suffix.is_empty() { name.to_owned() } else { format!("{name}-{suffix}") },
                text: if words.is_empty() {
                    mode.text.to_owned()
                } else {
                    format!("{} {words}", mode.text)
                },
                rate: mode.rate / instances.len() as f64,
                source: mode.source,
                faulted,
                range: None,
                left: None,
                under: None,
            });
        }
    }
}

fn phases() -> Vec<(String, String)> {
    PHASES.iter().map(|p| ((*p).to_owned(), format!("({p})"))).collect()
}

/// Every mode in which a part can fail, in catalogue order.
pub fn modes(part: &Part) -> Vec<FaultMode> {
    modes_with(part, None)
}

/// The mode of this name with other ohms than its usual ones; `None` where the part has
/// no such mode or the mode is not a resistance.
pub fn mode_at(part: &Part, name: &str, ohms: f64) -> Option<FaultMode> {
    modes_with(part, Some(ohms)).into_iter().find(|mode| mode.name == name && mode.range.is_some())
}

fn modes_with(part: &Part, ohms: Option<f64>) -> Vec<FaultMode> {
    let kind = &part.kind;
    let mut m = Modes { spec: kind.id().spec(), kind, ohms, found: Vec::new() };
    match kind {
        Kind::Supply(s) => m.one("dead", s, Kind::Supply, |s| s.volts = 0.0),
        Kind::Battery(b) => {
            m.one("flat", b, Kind::Battery, |b| {
                b.volts *= FLAT_VOLTS;
                b.charge_volts *= FLAT_VOLTS;
                b.ohms *= FLAT_OHMS;
            });
            if b.cells > 1 {
                m.one("cell-shorted", b, Kind::Battery, |b| {
                    let left = f64::from(b.cells - 1) / f64::from(b.cells);
                    b.volts *= left;
                    b.charge_volts *= left;
                });
            }
            m.one("link-open", b, Kind::Battery, |b| {
                b.ohms = f64::INFINITY;
                b.charge_ohms = f64::INFINITY;
            });
        }
        Kind::Generator(g) => {
            m.one("no-output", g, Kind::Generator, |g| g.volts = 0.0);
            m.one("brushes-worn", g, Kind::Generator, |g| g.ohms *= WORN_BRUSH_OHMS);
            m.one("regulator-low", g, Kind::Generator, |g| g.volts *= GENERATOR_LOW);
            m.one("regulator-high", g, Kind::Generator, |g| g.volts *= GENERATOR_HIGH);
        }
        Kind::Receptacle(r) => {
            m.one("unit-dead", r, Kind::Receptacle, |r| r.volts = 0.0);
            // A diode in the lead of the small pin keeps the contactor from closing on a unit of
            // the wrong polarity (common practice, no published source).
            m.one("unit-reversed", r, Kind::Receptacle, |r| {
                r.volts = -r.volts;
                r.interlock_ohms = f64::INFINITY;
            });
            m.one("main-pin-open", r, Kind::Receptacle, |r| r.pin_ohms = f64::INFINITY);
            m.one("interlock-pin-open", r, Kind::Receptacle, |r| r.interlock_ohms = f64::INFINITY);
        }
        Kind::Alternator(a) => {
            m.one("drive-sheared", a, Kind::Alternator, |a| a.drive_sound = false);
            m.one("weak", a, Kind::Alternator, |a| a.volts *= WEAK_ALTERNATOR);
            m.each("phase-open", a, Kind::Alternator, &phases(), |a, at| a.phase_sound[at] = false);
            m.one("phases-crossed", a, Kind::Alternator, |a| a.phases.swap(0, 2));
        }
        Kind::TransformerRectifier(t) => {
            m.one("no-output", t, Kind::TransformerRectifier, |t| t.ohms = f64::INFINITY);
            m.each("phase-open", t, Kind::TransformerRectifier, &phases(), |t, at| {
                t.phase_sound[at] = false;
            });
        }
        Kind::Feeder(f) => {
            m.each("open", f, Kind::Feeder, &phases(), |f, at| f.sound[at] = false);
        }
        Kind::Diode(d) => {
            m.one("open", d, Kind::Diode, |d| d.ohms = f64::INFINITY);
            m.one("shorted", d, Kind::Diode, |d| {
                d.blocks = false;
                d.drop_volts = 0.0;
            });
        }
        Kind::Shunt(s) => m.one("open", s, Kind::Shunt, |s| s.ohms = f64::INFINITY),
        Kind::Splice(s) => {
            let wires = numbered(s.nets.len(), "wire");
            m.each("pulled-out", s, Kind::Splice, &wires, |s, at| s.joint_ohms[at] = f64::INFINITY);
            m.ranged_each("high-resistance", s, Kind::Splice, &wires, |s, at, ohms| {
                s.joint_ohms[at] += ohms;
            });
        }
        Kind::GroundStud(g) => {
            m.one("loose", g, Kind::GroundStud, |g| g.ohms = f64::INFINITY);
            m.ranged("high-resistance", g, Kind::GroundStud, |g, ohms| g.ohms += ohms);
            let leads = numbered(g.nets.len(), "lead");
            m.each("lead-off", g, Kind::GroundStud, &leads, |g, at| {
                g.lead_ohms[at] = f64::INFINITY;
            });
        }
        Kind::Connector(c) => {
            let pins: Vec<(String, String)> =
                c.pins.iter().map(|p| (p.name.clone(), format!("({})", p.name))).collect();
            m.each("pin-open", c, Kind::Connector, &pins, |c, at| c.pins[at].ohms = f64::INFINITY);
            let poor = "pin-high-resistance";
            m.ranged_each(poor, c, Kind::Connector, &pins, |c, at, ohms| {
                c.pins[at].ohms += ohms;
            });
            // Only neighbours touch, and only neighbours are mistaken for each other.
            let neighbours: Vec<(String, String)> = c
                .pins
                .windows(2)
                .map(|p| {
                    let (one, other) = (&p[0].name, &p[1].name);
                    (format!("{one}-{other}"), format!("({one} and {other})"))
                })
                .collect();
            if !neighbours.is_empty() {
                let touching = "pins-touching";
                m.ranged_each(touching, c, Kind::Connector, &neighbours, |c, at, ohms| {
                    c.touching = Some((at, at + 1, ohms));
                });
                m.each("wires-crossed", c, Kind::Connector, &neighbours, |c, at| {
                    let (one, other) = (c.pins[at].b, c.pins[at + 1].b);
                    (c.pins[at].b, c.pins[at + 1].b) = (other, one);
                });
            }
        }
        Kind::Wire(w) => {
            m.one("open", w, Kind::Wire, |w| w.ohms = f64::INFINITY);
            m.ranged("chafed", w, Kind::Wire, |w, ohms| w.chafed_ohms = Some(ohms));
            m.ranged("high-resistance", w, Kind::Wire, |w, ohms| w.ohms += ohms);
        }
        Kind::Resistor(r) => m.one("open", r, Kind::Resistor, |r| r.ohms = f64::INFINITY),
        Kind::Ground(g) => {
            m.one("open", g, Kind::Ground, |g| g.ohms = f64::INFINITY);
            m.ranged("high-resistance", g, Kind::Ground, |g, ohms| g.ohms += ohms);
        }
        Kind::Breaker(b) => m.one("trips-early", b, Kind::Breaker, |b| b.latches = false),
        Kind::Fuse(f) => {
            m.one("open", f, Kind::Fuse, |f| f.intact = false);
            m.one(UNDER_RATED, f, Kind::Fuse, |f| f.amps *= UNDER_RATED_BY);
            m.one(OVER_RATED, f, Kind::Fuse, |f| f.amps *= OVER_RATED_BY);
        }
        Kind::Switch(s) => switch_modes(&mut m, s, Kind::Switch),
        Kind::PushSwitch(s) => switch_modes(&mut m, s, Kind::PushSwitch),
        Kind::ChangeoverSwitch(s) => switch_modes(&mut m, s, Kind::ChangeoverSwitch),
        Kind::Mechanism(_) => {}
        Kind::Microswitch(s) => {
            let named: Vec<(String, String)> = (1..=s.closures.len())
                .map(|pole| (pole.to_string(), format!("(contact {pole})")))
                .collect();
            m.each("open", s, Kind::Microswitch, &named, |s, at| {
                s.closures[at].ohms = f64::INFINITY;
            });
            m.one("out-of-adjustment", s, Kind::Microswitch, |s| s.stays_at = Some(s.start));
        }
        Kind::Relay(r) => relay_modes(&mut m, r, Kind::Relay),
        Kind::Contactor(r) => relay_modes(&mut m, r, Kind::Contactor),
        Kind::ReverseCurrentRelay(r) => {
            m.one("coil-open", r, Kind::ReverseCurrentRelay, |r| r.coil_ohms = f64::INFINITY);
            m.one("stuck-released", r, Kind::ReverseCurrentRelay, |r| r.stuck = Some(false));
            m.one("welded", r, Kind::ReverseCurrentRelay, |r| r.stuck = Some(true));
        }
        Kind::PhaseRelay(r) => {
            m.each("coil-open", r, Kind::PhaseRelay, &phases(), |r, at| {
                r.leg_ohms[at] = f64::INFINITY;
            });
            m.one("stuck-released", r, Kind::PhaseRelay, |r| r.stuck = Some(false));
            m.one("stuck-operated", r, Kind::PhaseRelay, |r| r.stuck = Some(true));
            m.one("phases-crossed", r, Kind::PhaseRelay, |r| r.phases.swap(0, 2));
        }
        Kind::Flasher(f) => {
            m.one("open", f, Kind::Flasher, |f| f.ohms = f64::INFINITY);
            m.one("stays-closed", f, Kind::Flasher, |f| f.works = false);
        }
        Kind::Lamp(l) => {
            if l.bulbs > 1 {
                m.one("one-bulb-out", l, Kind::Lamp, |l| l.bulbs_good = l.bulbs - 1);
            }
            m.one("bulbs-out", l, Kind::Lamp, |l| l.bulbs_good = 0);
            m.one("bulb-missing", l, Kind::Lamp, |l| l.bulbs_good = l.bulbs - 1);
        }
        Kind::Horn(h) => {
            m.one("open", h, Kind::Horn, |h| h.ohms = f64::INFINITY);
            m.one("silent", h, Kind::Horn, |h| h.sounds = false);
        }
        Kind::Motor(motor) => {
            m.one("open", motor, Kind::Motor, |m| {
                m.running_ohms = f64::INFINITY;
                m.standing_ohms = f64::INFINITY;
            });
            m.one("seized", motor, Kind::Motor, |m| m.seized = true);
        }
        Kind::Solenoid(s) => {
            m.one("coil-open", s, Kind::Solenoid, |s| s.coil_ohms = f64::INFINITY);
            m.one("jammed-released", s, Kind::Solenoid, |s| s.stuck = Some(false));
            m.one("jammed-pulled", s, Kind::Solenoid, |s| s.stuck = Some(true));
        }
        Kind::Converter(c) => {
            m.one("motor-open", c, Kind::Converter, |c| c.motor_sound = false);
            m.one("brush-worn", c, Kind::Converter, |c| c.speed_factor = WORN_BRUSH_SPEED);
            m.one("field-lost", c, Kind::Converter, |c| c.field_sound = false);
            m.each("phase-open", c, Kind::Converter, &phases(), |c, at| c.phase_sound[at] = false);
            m.one("regulator-low", c, Kind::Converter, |c| c.volts *= REGULATOR_LOW);
            m.one("regulator-high", c, Kind::Converter, |c| c.volts *= REGULATOR_HIGH);
            m.one("phases-crossed", c, Kind::Converter, |c| c.phases.swap(0, 2));
        }
        Kind::Vibrator(v) => {
            m.one("dead", v, Kind::Vibrator, |v| v.reed_sound = false);
            m.one("weak", v, Kind::Vibrator, |v| v.volts *= WEAK_VIBRATOR);
        }
        Kind::Transformer(t) => {
            m.one("primary-open", t, Kind::Transformer, |t| t.primary_sound = false);
            m.one("secondary-open", t, Kind::Transformer, |t| t.secondary_sound = false);
            m.one("shorted-turns", t, Kind::Transformer, |t| {
                t.shorted_turns_ohms = SHORTED_TURNS * t.series_ohms;
            });
        }
        Kind::Load(l) => {
            m.one("open", l, Kind::Load, |l| l.ohms = f64::INFINITY);
            m.one("shorted", l, Kind::Load, |l| {
                l.ohms *= LOAD_SHORT;
                l.reactance_ohms = 0.0;
            });
            if !l.shows.is_empty() {
                m.one("movement-failed", l, Kind::Load, |l| l.movement_sound = false);
            }
        }
        Kind::Load3(l) => {
            m.each("leg-open", l, Kind::Load3, &phases(), |l, at| l.leg_ohms[at] = f64::INFINITY);
            m.one("shorted", l, Kind::Load3, |l| {
                l.leg_ohms[0] *= LOAD_SHORT;
                l.leg_ohms[2] *= LOAD_SHORT;
                l.leg_reactance_ohms = 0.0;
            });
        }
        Kind::Gyro(g) => {
            m.each("winding-open", g, Kind::Gyro, &phases(), |g, at| g.winding_sound[at] = false);
            m.one("seized", g, Kind::Gyro, |g| g.seized = true);
            m.one("phases-crossed", g, Kind::Gyro, |g| g.phases.swap(0, 2));
        }
        Kind::Meter(meter) => meter_modes(&mut m, meter, Kind::Meter, WEAK_MAGNET),
        Kind::Ammeter(meter) => meter_modes(&mut m, meter, Kind::Ammeter, WEAK_MAGNET),
        Kind::Loadmeter(meter) => meter_modes(&mut m, meter, Kind::Loadmeter, WEAK_MAGNET),
        Kind::FrequencyMeter(meter) => {
            meter_modes(&mut m, meter, Kind::FrequencyMeter, LOW_FREQUENCY_METER);
        }
    }
    m.found
}

/// A suffix and words for each of so many wires or leads.
fn numbered(count: usize, what: &str) -> Vec<(String, String)> {
    (1..=count).map(|n| (n.to_string(), format!("({what} {n})"))).collect()
}

/// The modes of a hand-operated switch: each contact by its position and pole.
fn switch_modes(m: &mut Modes<'_>, s: &Switch, wrap: fn(Switch) -> Kind) {
    let mut named: Vec<(String, String)> = Vec::new();
    for closure in &s.closures {
        let position = &s.positions[usize::from(closure.position)];
        let word = position.replace(' ', "-");
        let before = named
            .iter()
            .filter(|(n, _)| *n == word || n.strip_prefix(&word).is_some_and(is_count))
            .count();
        let suffix = if before == 0 { word } else { format!("{word}-{}", before + 1) };
        let pole = if before == 0 { String::new() } else { format!(", pole {}", before + 1) };
        named.push((suffix, format!("in {position}{pole}")));
    }
    m.each("open", s, wrap, &named, |s, at| s.closures[at].ohms = f64::INFINITY);
}

/// The modes of a relay or contactor.
fn relay_modes(m: &mut Modes<'_>, r: &Relay, wrap: fn(Relay) -> Kind) {
    m.one("coil-open", r, wrap, |r| r.coil_ohms = f64::INFINITY);
    m.one("stuck-released", r, wrap, |r| r.stuck = Some(false));
    m.one("stuck-operated", r, wrap, |r| r.stuck = Some(true));
    let throws: Vec<(usize, bool)> = r
        .contacts
        .iter()
        .enumerate()
        .flat_map(|(set, c)| {
            let released = c.released.map(|_| (set, false));
            released.into_iter().chain(c.operated.map(|_| (set, true)))
        })
        .collect();
    let named: Vec<(String, String)> = throws
        .iter()
        .map(|(set, operated)| {
            let throw = if *operated { "no" } else { "nc" };
            let side = if *operated { "operated" } else { "released" };
            (format!("{}{throw}", set + 1), format!("(set {}, {side})", set + 1))
        })
        .collect();
    m.each("contact-open", r, wrap, &named, |r, at| {
        let (set, operated) = throws[at];
        let contact = &mut r.contacts[set];
        if operated {
            contact.operated_ohms = f64::INFINITY;
        } else {
            contact.released_ohms = f64::INFINITY;
        }
    });
}

/// The modes of a pointer instrument; one that reads low shows this much of the value.
fn meter_modes(m: &mut Modes<'_>, meter: &Meter, wrap: fn(Meter) -> Kind, low: f64) {
    m.one("movement-open", meter, wrap, |m| m.burden_ohms = f64::INFINITY);
    m.one("reads-low", meter, wrap, |m| m.gain = low);
}

/// Whether a text is a dash and a number, as the second pole of a position has.
fn is_count(tail: &str) -> bool {
    tail.strip_prefix('-').is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()))
}
