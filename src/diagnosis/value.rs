//! What each possible next step could tell, and at what price.
//!
//! The value of a step is its expected information gain about the repair group: the
//! entropy now less the expected entropy after its outcome. The price is minutes,
//! walking and opening included.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::belief::{Belief, Candidate, entropy_bits};
use crate::circuit::{AIRFRAME, Circuit, Kind, PartId, StationId};
use crate::network::PartState;
use crate::observation::{
    Act, ErrorSpan, Function, Instrument, Probe, Showing, Sight, Step, Touch, Whereabouts,
    walking_minutes,
};

/// A step one could take next, walking there included.
#[derive(Clone, Debug, PartialEq)]
pub struct Prospect {
    /// What to do once there.
    pub step: Step,
    /// Where it is done.
    pub station: StationId,
    /// Whether one has to walk there first.
    pub walk: bool,
    /// Minutes in all.
    pub minutes: f64,
    /// Expected information about which repair group has failed, in bits.
    pub bits: f64,
    /// Expected information about which fault it is, in bits.
    pub fault_bits: f64,
    /// What has to follow for the step to tell anything: a look, a push on a breaker,
    /// a measurement. Its minutes are counted in.
    pub then: Vec<Step>,
}

/// Nothing is quicker than this, so that a free look does not beat everything.
const LEAST_MINUTES: f64 = 0.05;

impl Prospect {
    /// Bits a minute, about the repair group and about the fault: what steps are
    /// ranked by, in this order.
    pub fn rate(&self) -> (f64, f64) {
        let minutes = self.minutes.max(LEAST_MINUTES);
        (self.bits / minutes, self.fault_bits / minutes)
    }

    /// All its steps in order, the walk to it included.
    pub fn path(&self) -> Vec<Step> {
        let walk = self.walk && !matches!(self.step, Step::Go(_));
        let go = walk.then_some(Step::Go(self.station));
        go.into_iter().chain([self.step]).chain(self.then.iter().copied()).collect()
    }

    fn beats(&self, other: &Self) -> bool {
        let ((group, fault), (other_group, other_fault)) = (self.rate(), other.rate());
        group > other_group || (group == other_group && fault > other_fault)
    }
}

/// Information below this is none: it is what rounding leaves.
pub const NO_BITS: f64 = 1e-9;

/// Branches of one candidate's outcome kept apart; beyond this only the most probable
/// reading of a further dial is followed. This bounds advice on a panel full of
/// needles; the posterior is exact all the same.
const BRANCHES: usize = 256;

/// Candidates that are weighed when the best step is looked for. More than single faults
/// ever are; pairs can be.
const WEIGHED: usize = 600;

/// Where a plan exists already: candidates that steps which move something are first weighed
/// by, and how many of those steps are then weighed in full. Each takes every candidate's
/// aircraft through relays and machines, which is most of the time that advice takes.
const SAMPLED: usize = 8;
const TRIED: usize = 6;

/// All steps worth considering, best first: most bits a minute, the quicker of equals,
/// then the order in which they are listed. Steps that can tell nothing are left out.
pub fn prospects(belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Vec<Prospect> {
    let question = Question::new(belief, circuit, place);
    let mut found: Vec<Prospect> = question
        .plans()
        .into_par_iter()
        .map(|plan| question.weigh(&plan))
        .filter(|p| p.bits > NO_BITS || p.fault_bits > NO_BITS)
        .collect();
    found.sort_by(|a, b| {
        let ((ga, fa), (gb, fb)) = (a.rate(), b.rate());
        gb.total_cmp(&ga).then(fb.total_cmp(&fa))
    });
    found
}

/// The first of [`prospects`] as far as repair groups are concerned, without weighing
/// those that cannot come first: no step can tell more than the whole uncertainty, so
/// a slow step is out as soon as a quick one beats that over its minutes. When no
/// single step tells anything, the best pair of steps.
pub fn best_prospect(belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Option<Prospect> {
    if belief.group_entropy_bits() <= NO_BITS {
        return None;
    }
    best_single(belief, circuit, place).or_else(|| {
        let narrowed = narrowed(belief);
        Question::new(narrowed.as_ref().unwrap_or(belief), circuit, place).best_pair()
    })
}

/// The likeliest candidates alone where there are very many: the unlikely ones hardly move
/// a step's value.
fn narrowed(belief: &Belief) -> Option<Belief> {
    belief.alive().nth(WEIGHED).map(|_| belief.likeliest_only(WEIGHED))
}

/// The same without looking two steps ahead.
fn best_single(belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Option<Prospect> {
    let narrowed = narrowed(belief);
    let belief = narrowed.as_ref().unwrap_or(belief);
    let question = Question::new(belief, circuit, place);
    question.best_of(&question.plans())
}

/// The same among the steps that count: a condition on step, station and minutes in all. Of
/// those that move something only a few are weighed in full, chosen by what they tell about
/// the likeliest candidates.
pub fn best_single_among(
    belief: &Belief,
    circuit: &Circuit,
    place: &Whereabouts,
    counts: impl Fn(Step, StationId, f64) -> bool,
) -> Option<Prospect> {
    let question = Question::new(belief, circuit, place);
    let (acts, mut plans): (Vec<Plan>, Vec<Plan>) = question
        .plans()
        .into_iter()
        .filter(|plan| counts(plan.step, plan.station, plan.minutes))
        .partition(|plan| matches!(plan.step, Step::Act(_)));
    let few = belief.alive().nth(SAMPLED).map(|_| belief.likeliest_only(SAMPLED));
    match &few {
        Some(few) if acts.len() > TRIED => {
            let question = Question::new(few, circuit, place);
            let mut rated: Vec<(f64, Plan)> =
                acts.into_par_iter().map(|plan| (question.weigh(&plan).rate().0, plan)).collect();
            // A stable sort: equals stay in their order.
            rated.sort_by(|a, b| b.0.total_cmp(&a.0));
            plans.extend(rated.into_iter().take(TRIED).map(|(_, plan)| plan));
        }
        _ => plans.extend(acts),
    }
    plans.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
    question.best_of(&plans)
}

/// The value of one step taken here and now. A repair is weighed together with the
/// look at the flight deck that shows whether it has helped.
pub fn value_of(belief: &Belief, circuit: &Circuit, place: &Whereabouts, step: Step) -> Prospect {
    let question = Question::new(belief, circuit, place);
    let mut prospect = question.weigh(&question.plan(place.station, step));
    prospect.station = place.done_at(circuit, step);
    prospect.walk = false;
    prospect.minutes = place.minutes(circuit, step);
    prospect
}

/// Plans weighed side by side before the best so far is brought up to date.
const AT_ONCE: usize = 16;

/// A step with the walk to it and what has to follow.
pub(super) struct Plan {
    pub(super) step: Step,
    station: StationId,
    pub(super) minutes: f64,
    /// The walk, the step and what follows.
    pub(super) path: Vec<Step>,
}

impl Plan {
    fn then(&self) -> Vec<Step> {
        self.path.iter().copied().skip_while(|s| *s != self.step).skip(1).collect()
    }
}

/// A state of knowledge at a place, made ready for weighing steps.
pub(super) struct Question<'a> {
    belief: &'a Belief,
    circuit: &'a Circuit,
    place: &'a Whereabouts,
    pub(super) alive: Vec<&'a Candidate>,
    pub(super) weights: Vec<(f64, usize)>,
    /// Uncertainty about the repair group and about the fault, in bits.
    pub(super) doubt: (f64, f64),
}

impl<'a> Question<'a> {
    pub(super) fn new(belief: &'a Belief, circuit: &'a Circuit, place: &'a Whereabouts) -> Self {
        let posterior = belief.posterior();
        let doubt = (entropy_bits(&belief.by_group(&posterior)), entropy_bits(&posterior));
        let weights = posterior
            .into_iter()
            .zip(belief.group_of())
            .zip(belief.candidates())
            .filter(|(_, c)| c.excluded.is_none())
            .map(|((p, group), _)| (p, *group))
            .collect();
        Self { belief, circuit, place, alive: belief.alive().collect(), weights, doubt }
    }

    /// Every plan, quickest first.
    pub(super) fn plans(&self) -> Vec<Plan> {
        let mut plans: Vec<Plan> = Vec::new();
        for (station, _) in self.circuit.stations_with_ids() {
            if self.place.barred.stations.contains(&station) {
                continue;
            }
            if station != self.place.station {
                plans.push(self.plan(station, Step::Go(station)));
            }
            plans.extend(self.steps_at(station).into_iter().map(|step| self.plan(station, step)));
        }
        plans.sort_by(|a, b| a.minutes.total_cmp(&b.minutes));
        plans
    }

    pub(super) fn plan(&self, station: StationId, step: Step) -> Plan {
        let (circuit, place) = (self.circuit, self.place);
        let mut path = Vec::new();
        let mut minutes = 0.0;
        if station != place.station && !matches!(step, Step::Go(_)) {
            path.push(Step::Go(station));
            minutes += place.minutes_to(circuit, station);
        }
        path.push(step);
        minutes += place.minutes(circuit, step);
        if let Step::Act(act @ (Act::Replace(_) | Act::FitSpare(_) | Act::PushIn(_))) = step {
            if let Act::Replace(part) = act {
                // A repaired short shows nothing until its breaker is in again; a breaker
                // that is exchanged goes in with that.
                for breaker in self.tripped_at(station).into_iter().filter(|it| *it != part) {
                    let push = Step::Act(Act::PushIn(breaker));
                    path.push(push);
                    minutes += place.minutes(circuit, push);
                }
            }
            let deck = circuit.stations_with_ids().find(|(_, s)| s.crew).map(|(id, _)| id);
            if let Some(deck) = deck.filter(|deck| *deck != station) {
                path.push(Step::Go(deck));
                minutes += walking_minutes(circuit, station, deck);
            }
        }
        Plan { step, station, minutes, path }
    }

    fn weigh(&self, plan: &Plan) -> Prospect {
        let from = self.place.station;
        let (bits, fault_bits) = self.gain(|candidate| sights_after(candidate, from, &plan.path));
        Prospect {
            step: plan.step,
            station: plan.station,
            walk: plan.station != from && !matches!(plan.step, Step::Go(_)),
            minutes: plan.minutes,
            bits,
            fault_bits,
            then: plan.then(),
        }
    }

    /// Expected gain in bits, about the group and about the fault.
    pub(super) fn gain(&self, sights: impl Fn(&Candidate) -> Option<Vec<Sight>>) -> (f64, f64) {
        // (outcome, group, candidate, weight)
        let mut table: Vec<(u64, usize, usize, f64)> = Vec::with_capacity(self.alive.len());
        for (index, (candidate, (weight, group))) in
            self.alive.iter().zip(&self.weights).enumerate()
        {
            match sights(candidate) {
                Some(sights) => {
                    for (outcome, p) in distribution(&sights, &candidate.known) {
                        table.push((outcome, *group, index, weight * p));
                    }
                }
                None => table.push((u64::MAX, *group, index, *weight)),
            }
        }
        table.sort_unstable_by_key(|(outcome, group, index, _)| (*outcome, *group, *index));
        let (mut groups_after, mut faults_after) = (0.0, 0.0);
        let (mut by_group, mut by_fault) = (Vec::new(), Vec::new());
        for same in table.chunk_by(|a, b| a.0 == b.0) {
            let total: f64 = same.iter().map(|row| row.3).sum();
            if total <= 0.0 {
                continue;
            }
            by_group.clear();
            by_group.extend(
                same.chunk_by(|a, b| a.1 == b.1)
                    .map(|rows| rows.iter().map(|row| row.3).sum::<f64>() / total),
            );
            by_fault.clear();
            by_fault.extend(same.iter().map(|row| row.3 / total));
            groups_after += total * entropy_bits(&by_group);
            faults_after += total * entropy_bits(&by_fault);
        }
        let positive = |bits: f64| if bits > NO_BITS { bits } else { 0.0 };
        (positive(self.doubt.0 - groups_after), positive(self.doubt.1 - faults_after))
    }

    /// The best of some plans, the quickest of them first.
    fn best_of(&self, plans: &[Plan]) -> Option<Prospect> {
        let most = self.doubt.0;
        if most <= NO_BITS {
            return None;
        }
        let mut best: Option<Prospect> = None;
        for plans in plans.chunks(AT_ONCE) {
            let to_beat = best.as_ref().map_or(0.0, |p| p.rate().0);
            let weighed: Vec<Prospect> = plans
                .par_iter()
                .filter(|plan| most / plan.minutes.max(LEAST_MINUTES) > to_beat)
                .map(|plan| self.weigh(plan))
                .collect();
            for prospect in weighed {
                if prospect.bits > NO_BITS && best.as_ref().is_none_or(|b| prospect.beats(b)) {
                    best = Some(prospect);
                }
            }
        }
        best
    }

    /// The best pair of steps, for when no single step tells anything: something that
    /// changes the aircraft, then a look, a measurement or a push on a breaker that
    /// shows a difference.
    fn best_pair(&self) -> Option<Prospect> {
        let first: Vec<Plan> =
            self.plans().into_iter().filter(|plan| matches!(plan.step, Step::Act(_))).collect();
        first
            .into_par_iter()
            .filter_map(|plan| self.best_after(&plan))
            .collect::<Vec<_>>()
            .into_iter()
            .reduce(|best, next| if next.beats(&best) { next } else { best })
    }

    /// The best that can follow one first step.
    fn best_after(&self, first: &Plan) -> Option<Prospect> {
        let mut place = self.place.clone();
        let mut belief = self.belief.clone();
        for step in &first.path {
            belief.undergo(*step, place.station);
            place.after(self.circuit, *step);
        }
        let after = Question::new(&belief, self.circuit, &place);
        let mut best: Option<Prospect> = None;
        for second in after.plans() {
            let quick =
                matches!(second.step, Step::Probe(_) | Step::Go(_) | Step::Act(Act::PushIn(_)));
            if !quick {
                continue;
            }
            let weighed = after.weigh(&second);
            let mut then = first.then();
            then.extend(second.path);
            let prospect = Prospect {
                step: first.step,
                station: first.station,
                walk: first.station != self.place.station,
                minutes: first.minutes + second.minutes,
                then,
                ..weighed
            };
            if prospect.bits > NO_BITS && best.as_ref().is_none_or(|b| prospect.beats(b)) {
                best = Some(prospect);
            }
        }
        best
    }

    /// Breakers at a station that are out in every aircraft that is still possible.
    fn tripped_at(&self, station: StationId) -> Vec<PartId> {
        self.circuit
            .parts_with_ids()
            .filter(|(_, p)| p.station == station && matches!(p.kind, Kind::Breaker(_)))
            .map(|(id, _)| id)
            .filter(|id| self.out_everywhere(*id))
            .collect()
    }

    fn out_everywhere(&self, breaker: PartId) -> bool {
        self.alive.iter().all(|c| {
            let state = c.rig().map(|rig| rig.settled().state.of(breaker));
            matches!(state, Some(PartState::Breaker { closed: false, .. }))
        })
    }

    /// The steps one could take at a station, in a fixed order.
    fn steps_at(&self, station: StationId) -> Vec<Step> {
        let (circuit, place) = (self.circuit, self.place);
        let mut steps = Vec::new();
        let mut suspected: Vec<PartId> =
            self.alive.iter().flat_map(|c| c.cause.failed_parts(circuit)).collect();
        suspected.sort_unstable();
        suspected.dedup();
        for (id, part) in circuit.parts_with_ids().filter(|(_, p)| p.station == station) {
            match (&part.kind, place.hands.of(id)) {
                (kind, PartState::Position(now)) => {
                    let Some(control) = kind.control() else { continue };
                    for position in (0..control.positions.len() as u8).filter(|p| *p != now) {
                        let act = if control.springs_back {
                            Act::Hold { control: id, position }
                        } else {
                            Act::Set { control: id, position }
                        };
                        steps.push(Step::Act(act));
                    }
                }
                (Kind::Breaker(_), _) => {
                    let out = self.out_everywhere(id);
                    steps.push(Step::Act(if out { Act::PushIn(id) } else { Act::Pull(id) }));
                }
                (Kind::Fuse(fuse), PartState::Fuse { seated, .. }) => {
                    if seated {
                        steps.push(Step::Act(Act::Pull(id)));
                    } else if place.spares_of(fuse.amps) > 0 {
                        steps.push(Step::Act(Act::FitSpare(id)));
                    }
                }
                _ => {}
            }
            // Exchanging a part tells something only while it is in doubt.
            if suspected.contains(&id) && !matches!(part.kind, Kind::Supply(_) | Kind::Fuse(_)) {
                steps.push(Step::Act(Act::Replace(id)));
            }
        }
        for (red, black) in probe_pairs(circuit, station) {
            steps.push(Step::Probe(Probe { function: Function::AcVolts, red, black }));
            steps.push(Step::Probe(Probe { function: Function::DcVolts, red, black }));
            if self.dead_everywhere(red) && self.dead_everywhere(black) {
                steps.push(Step::Probe(Probe { function: Function::Ohms, red, black }));
            }
        }
        if !place.barred.is_empty() {
            steps.retain(|step| place.bars(circuit, *step).is_none());
        }
        steps
    }

    /// Whether a point is dead in every aircraft that is still possible, so that ohms
    /// may be measured there.
    fn dead_everywhere(&self, touch: Touch) -> bool {
        let net = touch.net(self.circuit);
        self.alive
            .iter()
            .filter_map(|c| c.rig())
            .all(|rig| rig.settled().solution.rms_between(net, AIRFRAME) < DEAD_BELOW_VOLTS)
    }
}

/// Volts below which advice takes a point for dead; well under what the hand meter
/// refuses.
const DEAD_BELOW_VOLTS: f64 = 0.1;

/// Pairs of test points worth a measurement: each to the airframe, and the two sides
/// of a part that both can be reached.
fn probe_pairs(circuit: &Circuit, station: StationId) -> Vec<(Touch, Touch)> {
    let here: Vec<_> =
        circuit.test_points_with_ids().filter(|(_, t)| t.station == station).collect();
    let mut pairs: Vec<(Touch, Touch)> =
        here.iter().map(|(id, _)| (Touch::Point(*id), Touch::Airframe)).collect();
    for part in &circuit.parts {
        let sides = match &part.kind {
            Kind::Breaker(b) => (b.line, b.load),
            Kind::Fuse(f) => (f.line, f.load),
            Kind::Wire(w) => (w.a, w.b),
            Kind::Diode(d) => (d.anode, d.cathode),
            Kind::Shunt(s) => (s.a, s.b),
            Kind::Relay(r) | Kind::Contactor(r) => (r.x1, r.x2),
            Kind::ReverseCurrentRelay(r) => (r.generator, r.bus),
            Kind::Flasher(f) => (f.line, f.load),
            Kind::Motor(m) => (m.a, m.b),
            Kind::Solenoid(s) => (s.x1, s.x2),
            Kind::Horn(h) => (h.a, h.b),
            Kind::Load(l) => (l.a, l.b),
            Kind::Supply(_)
            | Kind::Battery(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Converter(_)
            | Kind::Vibrator(_)
            | Kind::Alternator(_)
            | Kind::TransformerRectifier(_)
            | Kind::Feeder(_)
            | Kind::Resistor(_)
            | Kind::Splice(_)
            | Kind::Connector(_)
            | Kind::Ground(_)
            | Kind::GroundStud(_)
            | Kind::Transformer(_)
            | Kind::Switch(_)
            | Kind::PushSwitch(_)
            | Kind::ChangeoverSwitch(_)
            | Kind::Mechanism(_)
            | Kind::Microswitch(_)
            | Kind::PhaseRelay(_)
            | Kind::Lamp(_)
            | Kind::Load3(_)
            | Kind::Gyro(_)
            | Kind::Meter(_)
            | Kind::Ammeter(_)
            | Kind::Loadmeter(_)
            | Kind::FrequencyMeter(_) => continue,
        };
        let touching =
            |net| here.iter().find(|(_, t)| t.net == net).map(|(id, _)| Touch::Point(*id));
        if let (Some(red), Some(black)) = (touching(sides.0), touching(sides.1)) {
            pairs.push((red, black));
        }
    }
    pairs
}

/// What a candidate would show on a path of steps; `None` when it cannot be solved.
pub(super) fn sights_after(
    candidate: &Candidate,
    from: StationId,
    path: &[Step],
) -> Option<Vec<Sight>> {
    candidate.foreseen.along(candidate.rig.as_ref()?, from, path)
}

/// One way things may show: what has been seen so far (hashed), how probable that is,
/// and what is then known of the errors of instruments that have been read on the way.
#[derive(Clone)]
struct Branch {
    outcome: u64,
    probability: f64,
    read: Vec<(Instrument, ErrorSpan)>,
}

/// The distribution of what a sequence of sights shows, as (outcome, probability).
/// Outcomes are told apart by a 64-bit hash (FNV-1a).
pub(super) fn distribution(
    sights: &[Sight],
    known: &BTreeMap<Instrument, ErrorSpan>,
) -> Vec<(u64, f64)> {
    let mut branches =
        vec![Branch { outcome: 0xcbf2_9ce4_8422_2325, probability: 1.0, read: Vec::new() }];
    for sight in sights {
        let dial = match sight.showing {
            Showing::Look(look) => {
                for branch in &mut branches {
                    branch.outcome = hashed(branch.outcome, look as u64);
                }
                continue;
            }
            Showing::Position(at) => {
                for branch in &mut branches {
                    branch.outcome = hashed(branch.outcome, u64::from(at));
                }
                continue;
            }
            Showing::Dial(dial) => dial,
        };
        let Some(instrument) = sight.what.instrument() else { continue };
        let before = known.get(&instrument).copied().unwrap_or(ErrorSpan::WHOLE);
        let narrow = branches.len() >= BRANCHES;
        let mut after = Vec::with_capacity(branches.len());
        for branch in branches {
            let span = branch.read.iter().find(|(read, _)| *read == instrument);
            let span = span.map_or(before, |(_, span)| *span);
            let mut outcomes = dial.outcomes(span);
            if narrow
                && let Some(most) =
                    outcomes.iter().copied().reduce(|a, b| if b.1 > a.1 { b } else { a })
            {
                outcomes = vec![(most.0, 1.0)];
            }
            let last = outcomes.len().saturating_sub(1);
            let mut branch = Some(branch);
            for (at, (reading, p)) in outcomes.into_iter().enumerate() {
                let next = if at == last { branch.take() } else { branch.clone() };
                let Some(mut next) = next else { break };
                if let Some((span, _)) = dial.probability(reading, span) {
                    match next.read.iter_mut().find(|(read, _)| *read == instrument) {
                        Some(read) => read.1 = span,
                        None => next.read.push((instrument, span)),
                    }
                }
                let mark = (u64::from(reading.range) << 48) ^ reading.mark as u64;
                next.outcome = hashed(next.outcome, mark ^ (1 << 60));
                next.probability *= p;
                after.push(next);
            }
        }
        branches = after;
    }
    branches.into_iter().map(|b| (b.outcome, b.probability)).collect()
}

fn hashed(hash: u64, word: u64) -> u64 {
    word.to_le_bytes()
        .iter()
        .fold(hash, |h, byte| (h ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3))
}
