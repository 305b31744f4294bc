//! What the debrief says of steps done at random, worked out again by brute force.

use std::collections::BTreeMap;
use std::sync::Arc;

use halfsplit::chance::Chance;
use halfsplit::circuit::{Circuit, Kind, PartId, StationId};
use halfsplit::diagnosis::NO_BITS;
use halfsplit::drill::{Action, Advice, Entry, Mark, Outcome, PROVEN, Session};
use halfsplit::network::PartState;
use halfsplit::observation::{Act, Function, Probe, Step, Touch, Whereabouts};
use halfsplit::score::{self, Debrief, Row};
use halfsplit::units::{bits, minutes};
use rayon::prelude::*;

use super::brute::{Suspect, Suspects};
use super::moments;
use super::play::{any_fault, any_step, one, shipped};

const DRILLS: u64 = 55;
/// Steps of a drill, and of one in which the crew saw next to nothing: much is left
/// there, and every remark weighs all of it.
const STEPS: usize = 10;
const FEW_STEPS: usize = 2;
const MUCH: usize = 60;
/// Bits a minute are taken over no less than this, as documented.
const LEAST_MINUTES: f64 = 0.05;

/// A drill of random steps, some of them those that are advised.
fn play(circuit: &Arc<Circuit>, number: u64) -> Session {
    let mut chance = Chance::stream(number, "debrief");
    let mut marks = Chance::stream(number, "marks");
    let fault = any_fault(circuit, &mut chance);
    let mut session = Session::planted(Arc::clone(circuit), fault, number).expect("it settles");
    // Once it is known, little is left to say.
    let mut known = 0;
    let called = |mut session: Session, chance: &mut Chance| {
        // Some mend what they have isolated, and look whether that has helped.
        let belief = session.belief().expect("it can be worked out");
        let likeliest = belief.likeliest().map(|(candidate, _)| candidate.cause.clone());
        let isolated = likeliest.filter(|cause| belief.group_probability(circuit, cause) >= PROVEN);
        for part in isolated
            .iter()
            .filter(|_| number.is_multiple_of(3))
            .flat_map(|cause| cause.failed_parts(circuit).collect::<Vec<_>>())
        {
            let walk = Step::Go(circuit.part(part).station);
            for step in [walk, Step::Act(Act::Replace(part)), Step::Go(StationId(0))] {
                session.apply(Action::Step(step));
            }
        }
        let belief = session.belief().expect("it can be worked out");
        let left: Vec<_> = belief.alive().map(|c| c.cause.clone()).collect();
        let fault = one(chance, &left).expect("the hidden fault is left");
        session.apply(Action::Call(fault));
        session
    };
    loop {
        let belief = session.belief().expect("it can be worked out");
        known += usize::from(belief.group_entropy_bits() < NO_BITS);
        let few = if belief.alive().count() > MUCH { FEW_STEPS } else { STEPS };
        if session.log().len() >= few || known >= 2 {
            return called(session, &mut chance);
        }
        if let Some(Entry { observation, .. }) = session.log().last()
            && let Step::Act(Act::Pull(part)) = observation.step
            && chance.unit() < 0.5
            && [Act::Refit(part), Act::PushIn(part)]
                .into_iter()
                .any(|act| matches!(session.apply(Action::Step(Step::Act(act))), Outcome::Done(_)))
        {
            continue;
        }
        if marks.unit() < 0.3 {
            let parts: Vec<PartId> = circuit.parts_with_ids().map(|(id, _)| id).collect();
            let part = one(&mut marks, &parts).expect("there are parts");
            let mark = one(&mut marks, &[None, Some(Mark::Suspect), Some(Mark::Cleared)]);
            session.apply(Action::Mark { part, mark: mark.flatten() });
        }
        if chance.unit() < 0.8 {
            any_step(&mut session, &mut chance);
            continue;
        }
        match session.apply(Action::Advise) {
            Outcome::Advised(Advice::Do { prospect, .. }) => {
                for step in prospect.path() {
                    session.apply(Action::Step(step));
                }
            }
            _ => {
                any_step(&mut session, &mut chance);
            }
        }
    }
}

/// Every step of a circuit by its words.
fn dictionary(circuit: &Circuit) -> BTreeMap<String, Step> {
    let mut steps = vec![Step::LookAround];
    steps.extend(circuit.stations_with_ids().map(|(id, _)| Step::Go(id)));
    for (id, part) in circuit.parts_with_ids() {
        let acts =
            [Act::Pull(id), Act::PushIn(id), Act::Refit(id), Act::FitSpare(id), Act::Replace(id)];
        steps.extend(acts.map(Step::Act));
        if let Some(control) = part.kind.control() {
            for position in 0..control.positions.len() as u8 {
                steps.push(Step::Act(Act::Set { control: id, position }));
                steps.push(Step::Act(Act::Hold { control: id, position }));
            }
        }
    }
    let points = circuit.test_points_with_ids().map(|(id, _)| Touch::Point(id));
    let touches: Vec<Touch> = points.chain([Touch::Airframe]).collect();
    for red in &touches {
        for black in &touches {
            for function in Function::ALL {
                steps.push(Step::Probe(Probe { function, red: *red, black: *black }));
            }
        }
    }
    steps.into_iter().map(|step| (step.told(circuit), step)).collect()
}

/// The steps that a sentence such as `go to BAY and pull X, then go to DECK` stands for.
pub(super) fn path(told: &str, steps: &BTreeMap<String, Step>) -> Vec<Step> {
    let mut path = Vec::new();
    for piece in told.split(", then ") {
        if let Some(step) = steps.get(piece) {
            path.push(*step);
            continue;
        }
        let cut = piece.match_indices(" and ").find_map(|(at, and)| {
            Some([*steps.get(&piece[..at])?, *steps.get(&piece[at + and.len()..])?])
        });
        path.extend(cut.unwrap_or_else(|| panic!("`{piece}` is no step")));
    }
    path
}

/// Minutes along a path.
fn minutes_of(circuit: &Circuit, place: &Whereabouts, path: &[Step]) -> f64 {
    let mut place = place.clone();
    let mut sum = 0.0;
    for step in path {
        sum += place.minutes(circuit, *step);
        place.after(circuit, *step);
    }
    sum
}

fn rate(bits: f64, minutes: f64) -> f64 {
    bits / minutes.max(LEAST_MINUTES)
}

/// A step with what has to follow before a repair shows: breakers that are out in every
/// aircraft pushed in, then a look at the flight deck.
fn with_follow_up(
    circuit: &Circuit,
    suspects: &Suspects,
    place: &Whereabouts,
    step: Step,
) -> Vec<Step> {
    let mut path = vec![step];
    let Step::Act(act @ (Act::Replace(_) | Act::FitSpare(_) | Act::PushIn(_))) = step else {
        return path;
    };
    if let Act::Replace(replaced) = act {
        let out = |part: PartId| {
            part != replaced
                && suspects.alive().all(|s| {
                    let state = s.rig.settled().state.of(part);
                    matches!(state, PartState::Breaker { closed: false, .. })
                })
        };
        let here = circuit.parts_with_ids().filter(|(_, part)| {
            part.station == place.station && matches!(part.kind, Kind::Breaker(_))
        });
        path.extend(here.filter(|(id, _)| out(*id)).map(|(id, _)| Step::Act(Act::PushIn(id))));
    }
    let deck = circuit.stations_with_ids().find(|(_, station)| station.crew).map(|(id, _)| id);
    path.extend(deck.filter(|deck| *deck != place.station).map(Step::Go));
    path
}

/// How often each claim was made and checked.
type Tally = BTreeMap<&'static str, usize>;

struct Checked<'a> {
    circuit: &'a Circuit,
    steps: &'a BTreeMap<String, Step>,
    /// What the write-up left, and what was done before this step.
    start: &'a Suspects,
    log: &'a [Entry],
    suspects: &'a Suspects,
    entry: &'a Entry,
    row: &'a Row,
    name: String,
}

impl Checked<'_> {
    /// `STEP, WORTH for M, SPLIT` against brute force.
    fn better(&self, words: &str) {
        let Self { circuit, suspects, entry, name, .. } = self;
        let (told, split) = words.split_once(", leaving ").unwrap_or_else(|| panic!("{name}"));
        let (told, worth) = told.rsplit_once(", ").unwrap_or_else(|| panic!("{name}"));
        let path = path(told, self.steps);
        let taken = minutes(minutes_of(circuit, &entry.before, &path));
        let place = &entry.before;
        if let Some(gain) = suspects.gain(&path, place.station) {
            let expected = format!("{} for {taken}", bits(gain.max(0.0)));
            assert_eq!(worth, expected, "{name}");
        }
        self.split(split, &path);
    }

    /// How many faults each outcome would leave.
    fn split(&self, split: &str, path: &[Step]) {
        let mut left: BTreeMap<Vec<_>, usize> = BTreeMap::new();
        let all = self.suspects.alive().count();
        for suspect in self.suspects.alive() {
            let Some(shows) = suspect.shows(path, self.entry.before.station) else { return };
            for seen in shows.into_keys() {
                *left.entry(seen).or_default() += 1;
            }
        }
        let counts: std::collections::BTreeSet<usize> = left.into_values().collect();
        let numbers: Vec<usize> = split
            .split(|c: char| !c.is_ascii_digit())
            .filter_map(|digits| digits.parse().ok())
            .collect();
        let (named, of) = numbers.split_at(numbers.len() - 1);
        assert_eq!(of, [all], "{}: {split}", self.name);
        let named: std::collections::BTreeSet<usize> = named.iter().copied().collect();
        if split.contains("between") {
            assert_eq!((named.first(), named.last()), (counts.first(), counts.last()));
        } else {
            assert_eq!(named, counts, "{}: {split}", self.name);
        }
    }

    /// `N MIN more than ...`: the figure is the planner's, whose bounds are held against
    /// exhaustive search elsewhere; the step it names is worked out again.
    fn cost(&self, cost: &str, told: &mut impl FnMut(&'static str)) {
        let least = minutes(self.row.lost_minutes.0);
        let rest = cost.strip_prefix(&format!("{least} more than "));
        match rest.unwrap_or_else(|| panic!("{}: {least}", self.name)) {
            "the planned step" => {}
            rest => {
                let better = rest.strip_prefix("this: ");
                self.better(better.unwrap_or_else(|| panic!("{}", self.name)));
                told("a better step is named");
            }
        }
        told("provable cost");
    }

    /// What everyone knew after so many steps, taken through the others unseen.
    fn after(&self, done: usize) -> Suspects {
        let mut suspects = self.start.clone();
        for entry in &self.log[..done] {
            suspects.observe(&entry.observation);
        }
        for entry in &self.log[done..] {
            suspects.undergo(entry.observation.step, entry.observation.station);
        }
        suspects
    }

    /// `known since step N, where A was B`, `known since step N` or `known from the write-up
    /// on`. What is named has put out a fault that would have shown something else.
    fn known(&self, known: &str, path: &[Step], told: &mut impl FnMut(&'static str)) {
        let Self { circuit, entry, name, start, log, .. } = self;
        let place = &entry.before;
        let apart = |done: usize| self.after(done).told_apart(path, place.station).is_some();
        let Some(known) = known.strip_prefix("known since step ") else {
            assert_eq!(known, "known from the write-up on", "{name}");
            assert!(!apart(0), "{name}");
            told("known from the write-up");
            return;
        };
        let (step, where_) = known.split_once(", where ").unwrap_or((known, ""));
        let step: usize = step.parse().unwrap_or_else(|_| panic!("{name}"));
        assert!(!apart(step) && apart(step - 1), "{name}");
        let mut then = (*start).clone();
        for entry in &log[..step] {
            then.observe(&entry.observation);
        }
        let shows = |suspect: &Suspect| {
            let mut suspect = suspect.clone();
            for entry in &log[step..] {
                let at = entry.observation.station;
                let _ = suspect.rig.perform(entry.observation.step, at, &mut Vec::new());
            }
            suspect.reads(path, place.station)
        };
        let left = shows(then.alive().next().expect("the hidden fault is left"));
        // The named thing put out a fault that cannot have shown what those left show.
        let fell = then
            .all
            .iter()
            .filter(|s| s.out.as_ref().is_some_and(|out| out.at == start.observations + step - 1));
        let otherwise: Vec<&Suspect> = fell
            .filter(|suspect| {
                let shown = shows(suspect);
                shown.len() != left.len()
                    || left
                        .iter()
                        .zip(&shown)
                        .any(|((_, a), (_, b))| a.iter().all(|percept| !b.contains(percept)))
            })
            .collect();
        if where_.is_empty() {
            told("known since a step by several things");
            return;
        }
        let named = otherwise.iter().filter_map(|s| s.out.as_ref()).any(|out| {
            let told = out.what.told(circuit);
            where_ == format!("{told} was {}", out.seen.told(out.what, circuit))
        });
        assert!(named, "{name}: that settles nothing of it");
        told("known since a step");
    }

    /// The claims of a remark, before what it may add about a call.
    fn remark(&self, remark: &str, tally: &mut Tally) {
        let (remark, cost) = remark.split_once("; it provably cost ").unwrap_or((remark, ""));
        if !cost.is_empty() {
            self.cost(cost, &mut |claim| *tally.entry(claim).or_default() += 1);
        }
        let named = cost.contains(" than this: ");
        let Self { circuit, suspects, entry, row, name, .. } = self;
        let left = suspects.alive().count();
        let mut told = |claim: &'static str| *tally.entry(claim).or_default() += 1;
        let place = &entry.before;
        let step = entry.observation.step;
        let chosen = with_follow_up(circuit, suspects, place, step);
        let gain = suspects.gain(&chosen, place.station);
        let best = self.best(&mut told);
        if let Some(gain) = gain {
            assert!((gain - row.expected_bits).abs() < 1e-7, "{name}: {gain} bits");
            told("bits of the step");
        }
        let nothing = |what: &str| {
            let apart = suspects.told_apart(&chosen, place.station);
            let apart = apart.map(|(one, other)| format!("{} and {}", one.code, other.code));
            assert_eq!(apart, None, "{name}: {what}");
        };
        let proven = || suspects.by_group().into_values().any(|share| share >= PROVEN);
        match remark {
            "goes with the planned step before it" => {
                assert!(!self.log.is_empty() && row.lost_minutes.0 == 0.0, "{name}");
                nothing("the rest of a step");
                told("the rest of a planned step");
                return;
            }
            "confirms the called part, which was proven" => {
                assert!(proven() && matches!(step, Step::Probe(_)), "{name}");
                assert_eq!(row.lost_minutes, (0.0, 0.0), "{name}");
                assert!(gain.is_none_or(|gain| gain <= 1e-7), "{name}");
                told("confirms");
                return;
            }
            "for the repair of what was proven; not counted" => {
                assert!(proven() && row.lost_minutes == (0.0, 0.0), "{name}");
                told("mends");
                return;
            }
            _ => {}
        }
        if suspects.group_bits() < NO_BITS {
            let expected = match left {
                0 | 1 => "the fault was already known".to_owned(),
                _ => format!("the part was already known; {left} of its faults were left"),
            };
            assert_eq!(remark, expected, "{name}");
            told("already known");
            return;
        }
        let own_rate = rate(row.expected_bits, row.minutes);
        let best_rate = row.best.as_ref().map_or(0.0, |b| rate(b.bits, b.minutes));
        if let Some(follows) = remark.strip_prefix("tells most a minute of all available steps") {
            assert!(matches!(follows, "" | ", with what follows it"), "{name}");
            let is_it = best.first() == Some(&step);
            assert!(is_it || own_rate >= 0.95 * best_rate, "{name}");
            assert_eq!(follows.is_empty(), !is_it || best.len() == 1, "{name}");
            told("tells most a minute");
            self.nothing_is_better(best_rate, &mut told);
        } else if remark == "the planned step: fewest minutes for all that was left" {
            assert_eq!(row.lost_minutes.0, 0.0, "{name}");
            told("a step of the plan");
        } else if remark == "a look around, free of charge" {
            assert_eq!(step, Step::LookAround, "{name}");
            told("a look around");
        } else if remark == "a walk; what is seen there cannot tell the remaining faults apart" {
            assert!(matches!(step, Step::Go(_)), "{name}");
            nothing("a walk");
            told("a walk for nothing");
        } else if remark == format!("a fair split among {left} remaining faults") {
            assert!(own_rate >= 0.5 * best_rate && own_rate < 0.95 * best_rate, "{name}");
            told("a fair split");
        } else {
            let put_back = remark.strip_prefix("put back; ");
            let rest = put_back.unwrap_or(remark);
            let (claim, instead) = rest.split_once("; ").unwrap_or((rest, ""));
            let claim = match put_back {
                Some(_) => claim,
                None => claim.strip_prefix("could tell nothing: ").unwrap_or(claim),
            };
            if let Some(known) =
                claim.strip_prefix(&format!("all {left} remaining faults predict the same"))
            {
                nothing(claim);
                if let Some(known) = known.strip_prefix(", ") {
                    self.known(known, &chosen, &mut told);
                }
                told(if put_back.is_some() { "put back" } else { "could tell nothing" });
            } else if claim
                == format!("among {left} remaining faults it parts only those of one part")
            {
                assert!(gain.is_none_or(|gain| gain <= 1e-7), "{name}");
                assert!(suspects.told_apart(&chosen, place.station).is_some(), "{name}");
                told("of one part only");
            } else {
                let worth = format!("worth {}, leaving ", bits(row.expected_bits));
                let split = claim.strip_prefix(&worth).unwrap_or_else(|| panic!("{name}"));
                self.split(split, &chosen);
                assert!(row.expected_bits > NO_BITS && own_rate < 0.5 * best_rate, "{name}");
                told("worth less than the best");
            }
            match row.best.as_ref().filter(|_| !named) {
                None => assert_eq!(instead, "", "{name}"),
                Some(best) => {
                    let worth = instead
                        .strip_prefix(&format!("{} would have been worth ", best.step))
                        .unwrap_or_else(|| panic!("{name}"));
                    self.better(&format!("{}, {worth}", best.step));
                }
            }
        }
    }

    /// Bits and minutes of the best step, which is returned without the walk to it.
    fn best(&self, told: &mut impl FnMut(&'static str)) -> Vec<Step> {
        let Some(best) = &self.row.best else { return Vec::new() };
        let (name, place) = (&self.name, &self.entry.before);
        let path = path(&best.step, self.steps);
        let minutes = minutes_of(self.circuit, place, &path);
        assert!((minutes - best.minutes).abs() < 1e-9, "{name}: {minutes} minutes");
        if let Some(gain) = self.suspects.gain(&path, place.station) {
            assert!((gain - best.bits).abs() < 1e-7, "{name}: the best gives {gain} bits");
            told("bits of the best");
        }
        let walked = path.len() > 1 && matches!(path[0], Step::Go(_));
        path[usize::from(walked)..].to_vec()
    }

    /// No step that could be done here or after a walk gives more bits a minute.
    fn nothing_is_better(&self, best_rate: f64, told: &mut impl FnMut(&'static str)) {
        let Self { circuit, suspects, entry, name, .. } = self;
        if suspects.alive().count() > 12 {
            return;
        }
        for step in self.steps.values() {
            if let Step::Probe(probe) = step
                && (probe.black != Touch::Airframe || probe.function == Function::Ohms)
            {
                continue;
            }
            let mut place = entry.before.clone();
            let there = place.done_at(circuit, *step);
            let mut path = Vec::new();
            if there != place.station && !matches!(step, Step::Go(_)) {
                path.push(Step::Go(there));
                place.after(circuit, Step::Go(there));
            }
            let popped = |part: PartId| {
                suspects.alive().all(|s| {
                    let state = s.rig.settled().state.of(part);
                    matches!(state, PartState::Breaker { closed: false, .. })
                })
            };
            if place.allows(circuit, *step, popped).is_err() {
                continue;
            }
            path.extend(with_follow_up(circuit, suspects, &place, *step));
            let minutes = minutes_of(circuit, &entry.before, &path);
            if let Some(gain) = suspects.gain(&path, entry.before.station) {
                let other = rate(gain, minutes);
                let bits = format!("{gain} bits for {minutes}");
                assert!(
                    gain <= NO_BITS || other <= best_rate + 1e-6,
                    "{name}: {} gives {bits}, more than {best_rate} a minute",
                    step.told(circuit)
                );
            }
        }
        told("nothing is better");
    }
}

fn exclusions(circuit: &Circuit, name: &str, found: &Debrief, suspects: &Suspects, told: usize) {
    let out: Vec<_> = suspects.all.iter().filter(|s| s.out.is_some()).collect();
    assert_eq!(found.exclusions.len(), out.len(), "{name}");
    for (line, suspect) in found.exclusions.iter().zip(out) {
        let name = format!("{name}: {}: {}", suspect.code, line.why);
        let why = suspect.out.as_ref().expect("it is out");
        assert_eq!(line.fault, suspect.code, "{name}");
        assert_eq!(line.row, why.at.checked_sub(told), "{name}");
        let seen = why.seen.told(why.what, circuit);
        let start = format!("{} was {seen}; ", why.what.told(circuit));
        let would = line.why.strip_prefix(&start).unwrap_or_else(|| panic!("{name}: {start}"));
        if why.would.is_empty() {
            assert_eq!(would, "it has no steady state there", "{name}");
            continue;
        }
        let most = why.would.iter().map(|(_, p)| *p).fold(0.0, f64::max);
        assert!(
            why.would.iter().any(|(percept, p)| {
                let words = percept.told(why.what, circuit);
                *p > most - 1e-9 && would == format!("it would have shown {words}")
            }),
            "{name}"
        );
        assert!(why.would.iter().all(|(percept, _)| *percept != why.seen), "{name}");
    }
}

/// What would have told the called fault from those that were left, and the proof.
fn at_the_call(
    session: &Session,
    found: &Debrief,
    (suspects, steps): (&Suspects, &BTreeMap<String, Step>),
    provable: Option<usize>,
    tally: &mut Tally,
) {
    let circuit = session.circuit();
    let drill = &found.verdict.called;
    let of = |code: &str| {
        suspects.alive().find(|s| s.code == code).unwrap_or_else(|| panic!("{code} is out"))
    };
    assert_eq!(found.provable.as_ref().map(|p| p.after_steps), provable, "{drill}");
    if let Some(told) = &found.provable {
        let later = &session.log()[told.after_steps..];
        assert_eq!(told.more_steps, later.len(), "{drill}");
        let sum: f64 = later.iter().map(|e| e.minutes).sum();
        assert!((told.more_minutes - sum).abs() < 1e-9, "{drill}");
        *tally.entry("when it was provable").or_default() += 1;
    }
    let called = of(&found.verdict.called);
    let mut others: Vec<&str> = found.still.iter().map(|s| s.fault.as_str()).collect();
    let left = suspects.alive().count() - 1;
    assert!(others.len() == left || others.len() >= 12, "{drill}: {others:?}");
    others.sort_unstable();
    others.dedup();
    assert_eq!(others.len(), found.still.len(), "{drill}");
    let here = session.place();
    let parted = |other: &str, path: &[Step]| {
        let (one, other) = (called.reads(path, here.station), of(other).reads(path, here.station));
        one.into_iter().zip(other).find(|((_, a), (_, b))| a.iter().all(|p| !b.contains(p)))
    };
    for still in &found.still {
        let name = format!("{drill}: {}: {}", still.fault, still.told);
        let quickest = still.step.as_ref().map_or(f64::INFINITY, |(_, minutes)| *minutes);
        if let Some((path, price)) = &still.step {
            assert!((minutes_of(circuit, here, path) - price).abs() < 1e-9, "{name}");
            let Some(((what, one), (_, other))) = parted(&still.fault, path) else {
                panic!("{name}")
            };
            let words = |of: &[halfsplit::observation::Percept], front: &str, back: &str| {
                of.iter().any(|p| {
                    let seen = p.told(what, circuit);
                    still.told.contains(&format!("{front}{seen}{back}"))
                })
            };
            let front = format!("would tell: {} would be ", what.told(circuit));
            assert!(words(&other, &front, ", and "), "{name}");
            assert!(words(&one, ", and ", " with the called fault"), "{name}");
            *tally.entry("what would part them").or_default() += 1;
        } else {
            assert!(
                still.told.ends_with("no single step tells it from the called fault"),
                "{name}"
            );
            *tally.entry("no step parts them").or_default() += 1;
        }
        // Nothing quicker parts them.
        for step in steps.values().filter(|_| found.still.len() <= 3) {
            let simple = match step {
                Step::Probe(probe) => {
                    probe.black == Touch::Airframe && probe.function != Function::Ohms
                }
                Step::Go(there) => *there != here.station,
                Step::LookAround | Step::Act(_) => false,
            };
            let there = here.done_at(circuit, *step);
            let mut path = Vec::new();
            if there != here.station && !matches!(step, Step::Go(_)) {
                path.push(Step::Go(there));
            }
            path.push(*step);
            let quicker = minutes_of(circuit, here, &path) < quickest - 1e-9;
            if simple && quicker {
                let parted = parted(&still.fault, &path).is_some();
                assert!(!parted, "{name}: {}", step.told(circuit));
            }
        }
    }
    let wrong = !found.verdict.right_part;
    assert_eq!(found.against.is_some(), wrong, "{drill}");
    if let Some(against) = &found.against {
        assert_eq!(*against, format!("nothing that was seen spoke against {drill}"));
        assert!(others.contains(&found.verdict.planted.as_str()), "{drill}");
    }
}

/// A system with what it is checked by: its steps by their words, its suspects.
type Known = (BTreeMap<String, Step>, Suspects, Arc<Circuit>);

/// Plays one drill and checks its debrief.
fn checked(number: u64, (steps, fresh, circuit): &Known) -> Tally {
    let mut tally = Tally::new();
    let session = play(circuit, number);
    let found = score::debrief(&session).expect("it can be worked out");
    let mut suspects = fresh.clone();
    for observation in &session.write_up().observations {
        suspects.observe(observation);
    }
    let start = suspects.clone();
    let drill = format!("drill {number}, {} {}", circuit.id, found.verdict.planted);
    assert_eq!(found.start_candidates, suspects.alive().count(), "{drill}");
    assert_eq!(found.rows.len(), session.log().len(), "{drill}");
    let first = suspects.by_group().into_values().fold(0.0, f64::max);
    let mut provable = (first >= PROVEN).then_some(0);
    let told = session.write_up().observations.len();
    moments::held(&session, &found, 0, (&suspects, told));
    for (index, (entry, row)) in session.log().iter().zip(&found.rows).enumerate() {
        let before = suspects.clone();
        suspects.observe(&entry.observation);
        let name = format!("{drill}, step {}, {}: {}", index + 1, row.step, row.remark);
        let (least, most) = row.lost_minutes;
        assert!((0.0..=most).contains(&least), "{name}");
        let mut remark = row.remark.as_str();
        let most = suspects.by_group().into_values().fold(0.0, f64::max);
        if provable.is_none() && most >= PROVEN {
            provable = Some(index + 1);
            let before = remark.strip_suffix("; from here the call was provable");
            remark = before.unwrap_or_else(|| panic!("{name}: {most}"));
            *tally.entry("provable").or_default() += 1;
        }
        assert!(!remark.contains("provable "), "{name}: {most}");
        assert_eq!(row.candidates, suspects.alive().count(), "{name}");
        moments::held(&session, &found, index + 1, (&suspects, told));
        assert_eq!(row.groups, suspects.by_group().len(), "{name}");
        let gained = before.group_bits() - suspects.group_bits();
        assert!((row.gained_bits - gained).abs() < 1e-9, "{name}: {gained}");
        assert_eq!(row.step, entry.observation.step.told(circuit), "{name}");
        assert_eq!(steps.get(&row.step), Some(&entry.observation.step), "{name}");
        let log = &session.log()[..index];
        // What told most is not held against another.
        assert!(!(remark.starts_with("tells most a minute") && row.names_most), "{name}");
        let checked =
            Checked { circuit, steps, start: &start, log, suspects: &before, entry, row, name };
        checked.remark(remark, &mut tally);
        *tally.entry("rows").or_default() += 1;
    }
    assert_eq!(found.path.provable, provable, "{drill}");
    let exact = moments::par_held(circuit, &session, &found, (&start, steps));
    *tally.entry("par's way").or_default() += exact;
    exclusions(circuit, &drill, &found, &suspects, told);
    at_the_call(&session, &found, (&suspects, steps), provable, &mut tally);
    assert_eq!(found.left.len(), suspects.alive().count(), "{drill}");
    for suspect in suspects.alive() {
        let (_, p) = found.left.iter().find(|(code, _)| *code == suspect.code).expect("left");
        assert!((p - suspect.weight / suspects.total()).abs() < 1e-9, "{drill}");
    }
    tally
}

#[test]
fn every_claim_of_a_debrief_holds_by_brute_force() {
    let circuits: Vec<Known> = shipped()
        .into_iter()
        .map(|circuit| (dictionary(&circuit), Suspects::fresh(&circuit), circuit))
        .collect();
    // Drills know nothing of each other: as many at once as there are processors.
    let told: Vec<Tally> = (0..DRILLS)
        .into_par_iter()
        .map(|number| checked(number, &circuits[number as usize % circuits.len()]))
        .collect();
    let mut tally = Tally::new();
    for (claim, times) in told.into_iter().flatten() {
        *tally.entry(claim).or_default() += times;
    }
    assert!(tally["rows"] >= 200, "{tally:?}");
    for (claim, least) in [
        ("bits of the step", 150),
        ("bits of the best", 100),
        ("could tell nothing", 30),
        ("tells most a minute", 20),
        ("mends", 3),
        ("nothing is better", 15),
        ("worth less than the best", 15),
        ("a walk for nothing", 5),
        ("put back", 1),
        ("already known", 10),
        ("provable", 10),
        ("a better step is named", 3),
        ("known since a step", 3),
        ("known from the write-up", 10),
        ("what would part them", 20),
        ("when it was provable", 10),
        ("par's way", 15),
    ] {
        let made = tally.get(claim).copied().unwrap_or(0);
        assert!(made >= least, "`{claim}` was said only {made} times: {tally:?}");
    }
}
