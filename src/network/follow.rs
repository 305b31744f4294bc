//! Lamps and machines: what they draw follows from their own voltage.
//!
//! Each is a conductance that has to agree with the voltage it leads to. Starting from
//! the last state, the conductances are stepped towards what their voltages ask,
//! with the step stretched or shortened by the slope seen over the last two rounds
//! (the secant method in Wegstein's form, one conductance at a time; Wegstein 1958,
//! from memory). A plain step would do for a lamp on a stiff supply; a motor behind
//! a poor joint would swing for ever.

use super::solution::Solution;
use super::state::{Flow, State};
use crate::circuit::{Converter, Kind, Lamp, NetId, PartId, TransformerRectifier, Vibrator};

/// Draw of a motor held at standstill over its rated draw, an assumption.
const LOCKED_DRAW: f64 = 5.0;
/// Relative change of a conductance at which a balance is found: above what rounding
/// leaves where a net hangs on insulation alone, far below anything that can be read.
pub(super) const BALANCED: f64 = 1e-11;
/// The same after the last round, when the search has to end.
const NEARLY_BALANCED: f64 = 1e-6;
/// Relative change below which a slope is mostly rounding.
const ROUNDING: f64 = 1e-9;
/// Alternating amperes through a follower that do not count: some last bits of a
/// voltage across a milliohm contact.
pub(super) const UNHEARD: f64 = 1e-12;
/// Change of a conductance over that of a speed below which the speed is let go on.
const TERMS: f64 = 0.1;
/// Part of a gap left by a step that has closed it fast.
const FAST: f64 = 0.2;
/// Rounds after which the search for a balance is given up.
const ROUNDS: u32 = 300;
/// Rounds after which steps are no longer stretched.
const CALM_AFTER: u32 = 40;

/// A part whose conductance follows its own voltage.
#[derive(Clone, Debug)]
pub(super) struct Follower {
    /// The part.
    pub part: PartId,
    law: Law,
}

#[derive(Clone, Debug)]
enum Law {
    Lamp(Lamp),
    Converter(Converter),
    Vibrator(Vibrator),
    /// With the nets behind its input terminals.
    Rectifier(TransformerRectifier, [NetId; 3]),
}

/// Where the search for a balance stands.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Balance {
    /// Found.
    Found,
    /// Not yet.
    Sought(Due),
    /// Given up; the part that still changes most.
    Lost(PartId),
}

/// Which alternating voltages have to be worked out again.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Due {
    /// Those of every machine: something has changed in what they feed.
    All,
    /// Those of these machines, whose speed has changed.
    Speeds(Vec<PartId>),
}

impl Due {
    /// Whether nothing is due.
    pub(super) fn is_nothing(&self) -> bool {
        match self {
            Self::All => false,
            Self::Speeds(parts) => parts.is_empty(),
        }
    }
}

/// The search for a balance: what the last round did to each follower.
pub(super) struct Search {
    round: u32,
    trail: Vec<Trail>,
    /// The same for shaft speeds, which are stepped less often.
    speeds: Vec<Trail>,
}

/// What a follower had and was asked for in the last round, and how much of the way it
/// then went.
#[derive(Clone, Copy)]
struct Trail {
    had: f64,
    asked: f64,
    step: f64,
}

impl Search {
    /// A new search among this many followers.
    pub(super) fn new(followers: usize) -> Self {
        let trail = Trail { had: f64::NAN, asked: f64::NAN, step: 1.0 };
        Self { round: 0, trail: vec![trail; followers], speeds: vec![trail; followers] }
    }

    /// Lets every follower answer to its voltage; `watts` are what the machines among
    /// them deliver. The state is left alone when the balance is found, so that it is
    /// the one that was solved for.
    pub(super) fn round(
        &mut self,
        followers: &[Follower],
        solution: &Solution,
        watts: impl Fn(PartId) -> f64,
        state: &mut State,
    ) -> Balance {
        let mut largest = (0.0, None);
        let (mut speeds, mut slip) = (Vec::new(), 0.0_f64);
        for (at, (trail, follower)) in self.trail.iter_mut().zip(followers).enumerate() {
            let index = follower.part.index();
            let had = state.conductance[index];
            let asked = follower.asked(solution, &watts, state);
            let change = ((asked - had) / asked.max(1e-12)).abs();
            if change > largest.0 {
                largest = (change, Some(follower.part));
            }
            trail.step = trail.next_step(had, asked, self.round);
            (trail.had, trail.asked) = (had, asked);
            if let Some(speed) = follower.speed(solution, state) {
                let change = (speed - state.speed[index]).abs();
                if change > BALANCED {
                    speeds.push((at, speed));
                    slip = change.max(slip);
                }
            }
        }
        let last = self.round + 1 >= ROUNDS;
        let enough = if last { NEARLY_BALANCED } else { BALANCED };
        if largest.0 <= enough && (speeds.is_empty() || last) {
            return Balance::Found;
        }
        if let (true, Some(part)) = (last, largest.1) {
            return Balance::Lost(part);
        }
        let mut all_due = false;
        for (trail, follower) in self.trail.iter().zip(followers) {
            let next = trail.had + trail.step * (trail.asked - trail.had);
            let next = if next > 0.0 { next } else { trail.asked };
            if next != trail.had {
                state.conductance[follower.part.index()] = next;
                let (a, b) = follower.nets();
                all_due |= solution.ac_between(a, b) * (next - trail.had).abs() > UNHEARD;
            }
        }
        // A speed brings a frequency of its own, for which everything has to be worked
        // out; that waits until the conductances have come to terms with the last one.
        if self.round < CALM_AFTER && largest.0 > TERMS * slip {
            speeds.clear();
        }
        let mut due = Vec::with_capacity(speeds.len());
        for (at, asked) in speeds {
            let (part, trail) = (followers[at].part, &mut self.speeds[at]);
            let had = &mut state.speed[part.index()];
            trail.step = trail.next_step(*had, asked, self.round);
            (trail.had, trail.asked) = (*had, asked);
            let next = *had + trail.step * (asked - *had);
            *had = if next > 0.0 { next } else { asked };
            due.push(part);
        }
        self.round += 1;
        Balance::Sought(if all_due { Due::All } else { Due::Speeds(due) })
    }
}

impl Trail {
    /// How far to go from `had` towards `asked`, the last values being still in `self`.
    ///
    /// A plain step is left alone while it closes the gap fast; the slope it would be
    /// corrected by also holds what the other followers have done meanwhile.
    fn next_step(&self, had: f64, asked: f64, round: u32) -> f64 {
        let (gap, before) = (asked - had, self.asked - self.had);
        let moved = had - self.had;
        // Too small a move has no slope to speak of; the first has none at all.
        let sloped = moved.abs() > ROUNDING * had.abs() && gap.abs() > FAST * before.abs();
        let step =
            if sloped { (1.0 / (1.0 - (asked - self.asked) / moved)).clamp(0.1, 4.0) } else { 1.0 };
        if round > CALM_AFTER { step.min(0.5) } else { step }
    }
}

impl Follower {
    /// The follower that a part is, if it is one; `inside` are the nets behind its
    /// terminals where it has such.
    pub(super) fn of(part: PartId, kind: &Kind, inside: Option<[NetId; 3]>) -> Option<Self> {
        let law = match kind {
            Kind::Lamp(lamp) => Law::Lamp(lamp.clone()),
            Kind::Converter(converter) => Law::Converter(converter.clone()),
            Kind::Vibrator(vibrator) => Law::Vibrator(vibrator.clone()),
            Kind::TransformerRectifier(rectifier) => Law::Rectifier(rectifier.clone(), inside?),
            Kind::Supply(_)
            | Kind::Battery(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Alternator(_)
            | Kind::Wire(_)
            | Kind::Feeder(_)
            | Kind::Resistor(_)
            | Kind::Diode(_)
            | Kind::Shunt(_)
            | Kind::Splice(_)
            | Kind::Connector(_)
            | Kind::Ground(_)
            | Kind::GroundStud(_)
            | Kind::Breaker(_)
            | Kind::Fuse(_)
            | Kind::Transformer(_)
            | Kind::Switch(_)
            | Kind::PushSwitch(_)
            | Kind::ChangeoverSwitch(_)
            | Kind::Mechanism(_)
            | Kind::Microswitch(_)
            | Kind::Relay(_)
            | Kind::Contactor(_)
            | Kind::ReverseCurrentRelay(_)
            | Kind::PhaseRelay(_)
            | Kind::Flasher(_)
            | Kind::Horn(_)
            | Kind::Motor(_)
            | Kind::Solenoid(_)
            | Kind::Load(_)
            | Kind::Load3(_)
            | Kind::Gyro(_)
            | Kind::Meter(_)
            | Kind::Ammeter(_)
            | Kind::Loadmeter(_)
            | Kind::FrequencyMeter(_) => return None,
        };
        Some(Self { part, law })
    }

    /// A conductance to start from, where none is known from before.
    pub(super) fn first_guess(&self) -> f64 {
        match &self.law {
            Law::Lamp(lamp) => lamp_conductance(lamp, lamp.volts),
            Law::Converter(_) | Law::Vibrator(_) | Law::Rectifier(..) => self.at_rest(),
        }
    }

    /// Conductance with nothing on it: a cold filament, a motor that stands.
    pub(super) fn at_rest(&self) -> f64 {
        match &self.law {
            Law::Lamp(lamp) => lamp_conductance(lamp, 0.0),
            Law::Converter(c) => converter_conductance(c, false, 0.0, 0.0),
            Law::Vibrator(v) => vibrator_conductance(v, false, 0.0, 0.0),
            Law::Rectifier(t, _) => t.idle_watts / (t.line_volts * t.line_volts),
        }
    }

    /// The nets it conducts between.
    pub(super) fn nets(&self) -> (NetId, NetId) {
        match &self.law {
            Law::Lamp(lamp) => (lamp.a, lamp.b),
            Law::Converter(c) => (c.dc, c.ret),
            Law::Vibrator(v) => (v.dc, v.ret),
            Law::Rectifier(_, [a, _, c]) => (*a, *c),
        }
    }

    /// The nets on whose direct voltages its conductance depends.
    pub(super) fn watched(&self) -> [NetId; 2] {
        match &self.law {
            Law::Rectifier(t, _) => [t.plus, t.minus],
            Law::Lamp(_) | Law::Converter(_) | Law::Vibrator(_) => {
                let (a, b) = self.nets();
                [a, b]
            }
        }
    }

    /// Whether nothing but its own voltage and what it delivers makes its conductance.
    pub(super) fn stands_alone(&self) -> bool {
        match &self.law {
            Law::Lamp(_) | Law::Converter(_) | Law::Vibrator(_) => true,
            Law::Rectifier(..) => false,
        }
    }

    /// The conductance that its own direct and alternating volts ask for, and how that
    /// changes with the direct volts; for a follower that stands alone.
    pub(super) fn asked_at(
        &self,
        (dc, ac): (f64, f64),
        watts: impl Fn(PartId) -> f64,
        state: &State,
    ) -> (f64, f64) {
        let running = state.running(self.part);
        let volts = dc.abs();
        match &self.law {
            Law::Lamp(lamp) => {
                let squares = dc * dc + ac * ac;
                let asked = lamp_conductance(lamp, squares.sqrt());
                let cold = lamp_conductance(lamp, 0.0);
                let slope = if asked < cold { -0.46 * asked * dc / squares } else { 0.0 };
                (asked, slope)
            }
            Law::Converter(c) => {
                let asked = converter_conductance(c, running, watts(self.part), volts);
                let falls = running && volts > c.governed_volts;
                (asked, if falls { -2.0 * asked / dc } else { 0.0 })
            }
            Law::Vibrator(v) => {
                let watts = vibrator_watts(v, watts(self.part), volts, state.speed(self.part));
                let asked = vibrator_conductance(v, running, watts, volts);
                let falls = running && volts > v.start_volts;
                (asked, if falls { -2.0 * v.idle_watts / (volts * volts * dc) } else { 0.0 })
            }
            Law::Rectifier(..) => (f64::NAN, 0.0),
        }
    }

    /// The shaft speed of a machine that runs at these direct volts, for a follower that
    /// stands alone.
    pub(super) fn speed_at(&self, dc: f64, state: &State) -> Option<f64> {
        match &self.law {
            Law::Converter(c) if state.running(self.part) => {
                Some(c.speed_factor * (dc.abs() / c.governed_volts).min(1.0))
            }
            Law::Vibrator(v) if state.running(self.part) => Some(dc.abs() / v.rated_dc_volts),
            Law::Rectifier(..) | Law::Lamp(_) | Law::Converter(_) | Law::Vibrator(_) => None,
        }
    }

    /// The conductance that its voltage asks for.
    fn asked(&self, solution: &Solution, watts: impl Fn(PartId) -> f64, state: &State) -> f64 {
        let (a, b) = self.nets();
        match &self.law {
            Law::Lamp(_) | Law::Converter(_) | Law::Vibrator(_) => {
                let across = (solution.dc_between(a, b), solution.ac_between(a, b));
                self.asked_at(across, watts, state).0
            }
            Law::Rectifier(t, nets) => {
                let gives = state.flow(self.part) == Flow::Out && t.ohms.is_finite();
                let volts = solution.dc_between(t.plus, t.minus);
                // The current that flowed in the solution at hand, so with the line volts
                // that it was worked out for.
                let open = t.volts * state.speed[self.part.index()];
                let watts = if gives { volts * ((open - volts) / t.ohms).max(0.0) } else { 0.0 };
                rectifier_conductance(t, watts.max(0.0), line_squares(solution, *nets))
            }
        }
    }

    /// The shaft speed of a machine that runs, as a fraction of rated; of a
    /// transformer-rectifier its mean line volts.
    fn speed(&self, solution: &Solution, state: &State) -> Option<f64> {
        let (a, b) = self.nets();
        match &self.law {
            Law::Rectifier(t, nets) => Some(mean_line_volts(solution, *nets) / t.line_volts),
            Law::Lamp(_) | Law::Converter(_) | Law::Vibrator(_) => {
                self.speed_at(solution.dc_between(a, b), state)
            }
        }
    }
}

/// Filament conductance at a voltage: current follows volts to the power 0.54
/// (common lamp exponent, from memory), and cold resistance is a tenth of hot.
fn lamp_conductance(lamp: &Lamp, volts: f64) -> f64 {
    let hot = lamp.bulb_amps / lamp.volts;
    let relative = volts / lamp.volts;
    let each = if relative <= 0.0 {
        10.0 * hot
    } else {
        (hot * libm::pow(relative, -0.46)).min(10.0 * hot)
    };
    each * f64::from(lamp.bulbs_good)
}

/// Motor conductance of a converter: its power over the square of its volts while
/// governed, constant below that so that a starved motor cannot draw without bound.
fn converter_conductance(
    converter: &Converter,
    running: bool,
    delivered_watts: f64,
    volts: f64,
) -> f64 {
    if !running {
        let rated = converter.idle_watts + converter.volt_amps / converter.efficiency;
        return LOCKED_DRAW * rated / (converter.governed_volts * converter.governed_volts);
    }
    let at = volts.max(converter.governed_volts);
    (converter.idle_watts + delivered_watts / converter.efficiency) / (at * at)
}

/// What a vibrator delivers at these volts when it delivered so many watts at the speed
/// it was solved for: its output follows its volts at once and in proportion.
fn vibrator_watts(vibrator: &Vibrator, watts: f64, volts: f64, solved_speed: f64) -> f64 {
    let now = volts / vibrator.rated_dc_volts;
    if solved_speed > 0.0 { watts * (now / solved_speed) * (now / solved_speed) } else { 0.0 }
}

/// The same as for a converter; a reed that stands draws next to nothing.
fn vibrator_conductance(
    vibrator: &Vibrator,
    running: bool,
    delivered_watts: f64,
    volts: f64,
) -> f64 {
    if !running {
        return vibrator.idle_watts / (vibrator.rated_dc_volts * vibrator.rated_dc_volts);
    }
    let at = volts.max(vibrator.start_volts);
    (vibrator.idle_watts + delivered_watts / vibrator.efficiency) / (at * at)
}

/// The three line-to-line voltages, squared.
fn line_squares(solution: &Solution, [a, b, c]: [NetId; 3]) -> [f64; 3] {
    [(a, b), (b, c), (c, a)].map(|(x, y)| {
        let volts = solution.ac_between(x, y);
        volts * volts
    })
}

fn mean_line_volts(solution: &Solution, nets: [NetId; 3]) -> f64 {
    line_squares(solution, nets).iter().map(|square| square.sqrt()).sum::<f64>() / 3.0
}

/// Conductance of each star leg of a transformer-rectifier that gives so many watts:
/// three legs `g` between lines whose voltages have the squares `s` draw `g (s1 + s2 +
/// s3) / 3`, since the squares to the star point sum to a third of those between lines.
fn rectifier_conductance(t: &TransformerRectifier, watts: f64, squares: [f64; 3]) -> f64 {
    let rated = t.line_volts * t.line_volts;
    let idle = t.idle_watts / rated;
    // A starved rectifier cannot draw without bound: below a tenth of its rated volts
    // it counts as a constant conductance.
    let sum = squares.iter().sum::<f64>().max(0.03 * rated);
    idle + watts / t.efficiency * 3.0 / sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Steps until `asked(had)` is `had`, for as many rounds as that takes.
    fn rounds(start: f64, asked: impl Fn(f64) -> f64) -> u32 {
        let mut trail = Trail { had: f64::NAN, asked: f64::NAN, step: 1.0 };
        let mut had = start;
        for round in 0..ROUNDS {
            let wanted = asked(had);
            if ((wanted - had) / wanted).abs() <= BALANCED {
                return round;
            }
            trail.step = trail.next_step(had, wanted, round);
            (trail.had, trail.asked) = (had, wanted);
            had += trail.step * (wanted - had);
        }
        ROUNDS
    }

    #[test]
    fn one_that_would_swing_for_ever_is_found_in_a_few_rounds() {
        // Fixed point at 1, slopes from well below -1 to just under 1.
        for slope in [-8.0, -2.0, -1.0, -0.3, 0.0, 0.3, 0.46, 0.7] {
            let taken = rounds(3.0, |had| 1.0 + slope * (had - 1.0));
            assert!(taken <= 8, "slope {slope}: {taken} rounds");
        }
    }

    #[test]
    fn a_lamp_behind_any_resistance_is_found_in_a_few_rounds() {
        // Conductance of a filament in units of hot, on a supply of rated volts.
        for ohms in [1e-4, 0.1, 1.0, 10.0, 1e3] {
            let asked = |g: f64| libm::pow(1.0 / (1.0 + g * ohms), -0.46).min(10.0);
            let taken = rounds(1.0, asked);
            assert!(taken <= 15, "{ohms}: {taken} rounds");
        }
    }
}
