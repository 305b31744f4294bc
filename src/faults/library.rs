//! The fault modes of a part, from its kind.
//!
//! Names and rates stand in the catalogue of kinds; here stands what each mode does
//! to the part's values.

use crate::circuit::{Kind, KindSpec, Part};
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
        range: OhmsRange,
        sound: &T,
        wrap: fn(T) -> Kind,
        fail: impl Fn(&mut T, f64),
    ) {
        let ohms = self.ohms;
        self.one(name, sound, wrap, |part| fail(part, ohms.unwrap_or(range.usual)));
        if let Some(mode) = self.found.last_mut() {
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
            debug_assert_ne!(&faulted, self.kind, "a fault mode changes the part");
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
        Kind::Wire(w) => {
            m.one("open", w, Kind::Wire, |w| w.ohms = f64::INFINITY);
            m.ranged("chafed", CHAFE, w, Kind::Wire, |w, ohms| w.chafed_ohms = Some(ohms));
            m.ranged("high-resistance", POOR_JOINT, w, Kind::Wire, |w, ohms| w.ohms += ohms);
        }
        Kind::Resistor(r) => m.one("open", r, Kind::Resistor, |r| r.ohms = f64::INFINITY),
        Kind::Ground(g) => {
            m.one("open", g, Kind::Ground, |g| g.ohms = f64::INFINITY);
            m.ranged("high-resistance", POOR_JOINT, g, Kind::Ground, |g, ohms| g.ohms += ohms);
        }
        Kind::Breaker(b) => m.one("trips-early", b, Kind::Breaker, |b| b.latches = false),
        Kind::Fuse(f) => m.one("open", f, Kind::Fuse, |f| f.intact = false),
        Kind::Switch(s) => {
            let mut named: Vec<(String, String)> = Vec::new();
            for closure in &s.closures {
                let position = &s.positions[usize::from(closure.position)];
                let word = position.replace(' ', "-");
                let before = named
                    .iter()
                    .filter(|(n, _)| *n == word || n.strip_prefix(&word).is_some_and(is_count))
                    .count();
                let suffix = if before == 0 { word } else { format!("{word}-{}", before + 1) };
                let pole =
                    if before == 0 { String::new() } else { format!(", pole {}", before + 1) };
                named.push((suffix, format!("in {position}{pole}")));
            }
            m.each("open", s, Kind::Switch, &named, |s, at| s.closures[at].ohms = f64::INFINITY);
        }
        Kind::Relay(r) => {
            m.one("coil-open", r, Kind::Relay, |r| r.coil_ohms = f64::INFINITY);
            m.one("stuck-released", r, Kind::Relay, |r| r.stuck = Some(false));
            m.one("stuck-operated", r, Kind::Relay, |r| r.stuck = Some(true));
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
            m.each("contact-open", r, Kind::Relay, &named, |r, at| {
                let (set, operated) = throws[at];
                let contact = &mut r.contacts[set];
                if operated {
                    contact.operated_ohms = f64::INFINITY;
                } else {
                    contact.released_ohms = f64::INFINITY;
                }
            });
        }
        Kind::Lamp(l) => {
            if l.bulbs > 1 {
                m.one("one-bulb-out", l, Kind::Lamp, |l| l.bulbs_good = l.bulbs - 1);
            }
            m.one("bulbs-out", l, Kind::Lamp, |l| l.bulbs_good = 0);
        }
        Kind::Converter(c) => {
            m.one("motor-open", c, Kind::Converter, |c| c.motor_sound = false);
            m.one("brush-worn", c, Kind::Converter, |c| c.speed_factor = WORN_BRUSH_SPEED);
            m.one("field-lost", c, Kind::Converter, |c| c.field_sound = false);
            m.each("phase-open", c, Kind::Converter, &phases(), |c, at| c.phase_sound[at] = false);
            m.one("regulator-low", c, Kind::Converter, |c| c.volts *= REGULATOR_LOW);
            m.one("regulator-high", c, Kind::Converter, |c| c.volts *= REGULATOR_HIGH);
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
        }
        Kind::Meter(meter) => {
            m.one("movement-open", meter, Kind::Meter, |m| m.burden_ohms = f64::INFINITY);
            m.one("reads-low", meter, Kind::Meter, |m| m.gain = WEAK_MAGNET);
        }
    }
    m.found
}

/// Whether a text is a dash and a number, as the second pole of a position has.
fn is_count(tail: &str) -> bool {
    tail.strip_prefix('-').is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()))
}
