//! A drill in progress: the aircraft with its hidden fault, what has been done, and
//! the one way to do more.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::advisor::{Advisor, Rests};
use super::baseline::Baseline;
use super::reader::Reader;
use super::reading::{Help, Rules, Said};
use super::terms::Terms;
use super::thoughts::Thoughts;
use super::write_up::{self, WriteUp};
use crate::chance::Chance;
use crate::circuit::{Circuit, Kind, PartId};
use crate::diagnosis::{Belief, Observation, Prospect, best_prospect};
use crate::faults::{Cause, Causes, Scope};
use crate::isolation::noticed;
use crate::network::{Event, PartState, SolveError};
use crate::observation::{Act, Look, Percept, Rig, Showing, Sight, Step, What, Whereabouts};

/// What the trainee thinks of a part. Their own note; never corrected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// May be it.
    Suspect,
    /// Shown to be good.
    Cleared,
}

/// A note on the suspects board when it was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Noted {
    /// After how many steps.
    pub after_steps: usize,
    /// The part.
    pub part: PartId,
    /// The note; `None` where one was wiped.
    pub mark: Option<Mark>,
}

/// Everything a trainee can do. State changes only through these.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Something at the aircraft.
    Step(Step),
    /// A note on the suspects board; `None` wipes it.
    Mark {
        /// The part.
        part: PartId,
        /// The note.
        mark: Option<Mark>,
    },
    /// Say what the needle that has to be read shows, in the unit of its meter.
    Read(f64),
    /// Ask for a reminder of what has been shown, or for what the last step was worth.
    Ask(Help),
    /// Ask for the best next step.
    Advise,
    /// Say what is wrong; this ends the drill.
    Call(Cause),
}

/// What came of an action.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// A step was done: index of its entry in the log.
    Done(usize),
    /// The note was taken.
    Noted,
    /// So much help is given; what it says is worked out above this layer.
    Helped(Help),
    /// The best next step.
    Advised(Advice),
    /// The call was taken and the drill is over.
    Called,
    /// It cannot be done; nothing has changed and no time has passed.
    Refused(String),
}

/// One line of the log.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What was done, where, and what it showed.
    pub observation: Observation,
    /// Minutes it took.
    pub minutes: f64,
    /// Minutes since the start, this step included.
    pub clock: f64,
    /// What happened inside the aircraft; not for the trainee's eyes until the debrief.
    pub events: Vec<Event>,
    /// Cautions that this step went against.
    pub breaches: Vec<String>,
    /// Where one stood and what one had, before the step.
    pub before: Whereabouts,
}

/// The final statement.
#[derive(Clone, Debug, PartialEq)]
pub struct Call {
    /// What was called.
    pub cause: Cause,
    /// After how many steps.
    pub after_steps: usize,
}

/// What the reasoner would do next.
#[derive(Clone, Debug, PartialEq)]
pub enum Advice {
    /// A step, with its value.
    Do {
        /// The step.
        prospect: Prospect,
        /// Faults still possible.
        candidates: usize,
        /// Repair groups still possible.
        groups: usize,
        /// What it rests on.
        rests: Rests,
    },
    /// Make the call: nothing affordable tells more, or it is proven.
    Call {
        /// The likeliest cause.
        cause: Cause,
        /// Posterior probability of its repair group.
        group_probability: f64,
    },
    /// Nothing that the drill may hide explains what was seen.
    Nothing,
}

/// Posterior probability of a repair group from which a call counts as proven.
pub const PROVEN: f64 = 0.95;

/// A drill.
#[derive(Clone, Debug)]
pub struct Session {
    baseline: Arc<Baseline>,
    aircraft: Rig,
    planted: Cause,
    scope: Scope,
    seed: u64,
    reader: Reader,
    terms: Terms,
    /// Where one began.
    start: Whereabouts,
    place: Whereabouts,
    write_up: WriteUp,
    log: Vec<Entry>,
    marks: BTreeMap<PartId, Mark>,
    noted: Vec<Noted>,
    advice_taken: Vec<usize>,
    failure_events: Vec<Event>,
    /// What has been worked out so far of [`Session::belief`].
    knowledge: Option<Belief>,
    /// What plans the best next step, once it has been asked for.
    advisor: Option<Arc<Advisor>>,
    thoughts: Arc<Thoughts>,
    call: Option<Call>,
    pub(super) rules: Rules,
    pub(super) said: Vec<Said>,
    help_taken: Vec<(usize, Help)>,
    deeds: Vec<Deed>,
}

/// Something that the trainee did and that was not refused.
#[derive(Clone, Debug, PartialEq)]
pub struct Deed {
    /// What.
    pub action: Action,
    /// Its entry in the log, where it was something at the aircraft.
    pub entry: Option<usize>,
}

impl Session {
    /// A drill that hides this, and may hide any single fault.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit or the faulted circuit has no solution.
    pub fn planted(
        circuit: Arc<Circuit>,
        cause: impl Into<Cause>,
        seed: u64,
    ) -> Result<Self, SolveError> {
        Self::planted_within(circuit, cause, Scope::SINGLE, seed)
    }

    /// A drill that hides this. `scope` says what else the trainee has to reckon with; what
    /// the drill hides is always in it.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit or the faulted circuit has no solution.
    pub fn planted_within(
        circuit: Arc<Circuit>,
        cause: impl Into<Cause>,
        scope: Scope,
        seed: u64,
    ) -> Result<Self, SolveError> {
        Self::planted_on(circuit, cause, scope, Terms::default(), seed)
    }

    /// The same on terms of its own.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit or the faulted circuit has no solution.
    pub fn planted_on(
        circuit: Arc<Circuit>,
        cause: impl Into<Cause>,
        scope: Scope,
        terms: Terms,
        seed: u64,
    ) -> Result<Self, SolveError> {
        Self::planted_from(&Arc::new(Baseline::new(circuit)?), &cause.into(), scope, terms, seed)
    }

    /// The same from what drills on the same aircraft share.
    ///
    /// # Errors
    /// [`SolveError`] when the faulted circuit has no solution.
    pub fn planted_from(
        baseline: &Arc<Baseline>,
        cause: &Cause,
        scope: Scope,
        terms: Terms,
        seed: u64,
    ) -> Result<Self, SolveError> {
        let circuit = baseline.normal().circuit();
        let scope = scope.and(Scope::of(circuit, cause));
        let causes = Causes::within(circuit, scope);
        let at = causes.position(cause).expect("a cause names parts of the circuit and modes");
        Self::begin(baseline, (&causes, at), scope, terms, seed)
    }

    /// A drill that hides a single fault, drawn as [`Session::drawn_within`] says.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit or a faulted circuit has no solution.
    pub fn drawn(circuit: Arc<Circuit>, seed: u64) -> Result<Self, SolveError> {
        Self::drawn_within(circuit, Scope::SINGLE, seed)
    }

    /// A drill that hides something of a scope, drawn by its weight from what the crew would
    /// notice and whose write-up still leaves a question; where there is nothing like that,
    /// from all.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit or a faulted circuit has no solution.
    pub fn drawn_within(
        circuit: Arc<Circuit>,
        scope: Scope,
        seed: u64,
    ) -> Result<Self, SolveError> {
        Self::drawn_from(&Arc::new(Baseline::new(circuit)?), scope, seed)
    }

    /// The same from what drills on the same aircraft share.
    ///
    /// # Errors
    /// [`SolveError`] when a faulted circuit has no solution.
    pub fn drawn_from(
        baseline: &Arc<Baseline>,
        scope: Scope,
        seed: u64,
    ) -> Result<Self, SolveError> {
        let normal = baseline.normal();
        let causes = Causes::within(normal.circuit(), scope);
        let all: Vec<f64> = (0..causes.len()).map(|at| causes.weight(at)).collect();
        let mut weights = all.clone();
        let mut chance = Chance::stream(seed, "fault");
        let mut fallback = None;
        while let Some(drawn) = chance.weighted(&weights) {
            weights[drawn] = 0.0;
            let terms = Terms::default();
            let mut session = Self::begin(baseline, (&causes, drawn), scope, terms, seed)?;
            // What comes and goes is gone by now; what the crew saw of it is written.
            let seen = noticed(normal, &session.aircraft)
                || (session.planted.is_intermittent(normal.circuit())
                    && !session.write_up.symptoms.is_empty());
            if !seen {
                continue;
            }
            // Where the write-up proves a call, calling at once would be all there is to do.
            let groups = session.belief()?.group_posterior();
            if groups.iter().all(|p| *p < PROVEN) {
                return Ok(session);
            }
            fallback.get_or_insert(session);
        }
        if let Some(session) = fallback {
            return Ok(session);
        }
        let drawn = chance.weighted(&all).expect("some part can fail");
        Self::begin(baseline, (&causes, drawn), scope, Terms::default(), seed)
    }

    fn begin(
        baseline: &Arc<Baseline>,
        (causes, at): (&Causes, usize),
        scope: Scope,
        terms: Terms,
        seed: u64,
    ) -> Result<Self, SolveError> {
        let normal = baseline.normal();
        let circuit = Arc::clone(normal.circuit());
        let mut aircraft = normal
            .with_cause(&causes.failures(at), &causes.left(at))?
            .with_latent(causes.latent(at));
        let failure_events = aircraft.settled().events.clone();
        let start = terms.start(&circuit);
        let reader = Reader::new(seed);
        let planted = causes.cause(at);
        let write_up = write_up::compose(
            (baseline, &aircraft),
            &reader,
            (&planted, scope),
            &terms,
            start.station,
        )?;
        write_up.undergo(&mut aircraft)?;
        let mut session = Self {
            place: start.clone(),
            start,
            terms,
            baseline: Arc::clone(baseline),
            aircraft,
            planted,
            scope,
            seed,
            reader,
            write_up,
            log: Vec::new(),
            marks: BTreeMap::new(),
            noted: Vec::new(),
            advice_taken: Vec::new(),
            failure_events,
            knowledge: None,
            advisor: None,
            thoughts: Arc::default(),
            call: None,
            rules: Rules::default(),
            said: Vec::new(),
            help_taken: Vec::new(),
            deeds: Vec::new(),
        };
        session.see_controls();
        Ok(session)
    }

    /// Takes note of how the controls stand where one is: most stand as they should.
    fn see_controls(&mut self) {
        for (control, showing) in self.aircraft.standing(self.place.station) {
            if let Showing::Position(at) = showing {
                self.place.hands.set(control, PartState::Position(at));
            }
        }
    }

    /// The healthy circuit.
    pub fn circuit(&self) -> &Arc<Circuit> {
        self.normal().circuit()
    }

    /// The healthy aircraft in the setup in which the fault struck.
    pub fn normal(&self) -> &Rig {
        self.baseline.normal()
    }

    /// What the write-up alone leaves possible.
    ///
    /// # Errors
    /// [`SolveError`] when some fault leaves the circuit without a solution.
    pub fn known_at_start(&self) -> Result<Belief, SolveError> {
        self.baseline.knowing(self.scope, &self.write_up.observations)
    }

    /// What the crew wrote.
    pub fn write_up(&self) -> &WriteUp {
        &self.write_up
    }

    /// What has been done so far.
    pub fn log(&self) -> &[Entry] {
        &self.log
    }

    /// Where the trainee stands and what they have.
    pub fn place(&self) -> &Whereabouts {
        &self.place
    }

    /// Where the trainee began, and with what.
    pub fn start(&self) -> &Whereabouts {
        &self.start
    }

    /// The terms of the drill.
    pub fn terms(&self) -> &Terms {
        &self.terms
    }

    /// Minutes that are left; `None` where there is no limit.
    pub fn minutes_left(&self) -> Option<f64> {
        self.terms.most_minutes.map(|most| (most - self.minutes()).max(0.0))
    }

    /// The suspects board.
    pub fn marks(&self) -> &BTreeMap<PartId, Mark> {
        &self.marks
    }

    /// Every note made on the suspects board, in order.
    pub fn noted(&self) -> &[Noted] {
        &self.noted
    }

    /// Minutes since the start.
    pub fn minutes(&self) -> f64 {
        self.log.last().map_or(0.0, |entry| entry.clock)
    }

    /// The call, once made.
    pub fn call(&self) -> Option<&Call> {
        self.call.as_ref()
    }

    /// The seed of this drill.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// Indices of the steps before which advice was asked.
    pub fn advice_taken(&self) -> &[usize] {
        &self.advice_taken
    }

    /// Reminders and judgements asked for, with the number of steps made before.
    pub fn help_taken(&self) -> &[(usize, Help)] {
        &self.help_taken
    }

    /// Why so much help cannot be had now; `None` where it can.
    pub fn refuses_help(&self, help: Help) -> Option<&'static str> {
        if help > self.rules.help {
            return Some(match help {
                Help::None => "there is nothing to help with",
                Help::Reminder => "this drill gives no help",
                Help::LastStep => "this drill judges no step before the debrief",
                Help::BestStep => "this drill gives no advice",
            });
        }
        (help == Help::LastStep && self.log.is_empty()).then_some("no step has been made yet")
    }

    /// What may be hidden in this drill.
    pub fn scope(&self) -> Scope {
        self.scope
    }

    /// What is hidden: for the debrief only.
    pub fn truth(&self) -> &Cause {
        &self.planted
    }

    /// What happened inside when the fault struck: for the debrief only.
    pub fn aircraft_events(&self) -> &[Event] {
        &self.failure_events
    }

    /// What the faces at the present station show now, in part order.
    pub fn faces(&self) -> Vec<(PartId, Percept)> {
        self.aircraft
            .faces(self.place.station)
            .map(|(part, showing)| {
                (part, self.reader.read(Sight { what: What::Face(part), showing }))
            })
            .collect()
    }

    /// What a fuse that has been pulled is like; `None` while it is in its holder.
    pub fn fuse_in_hand(&self, part: PartId) -> Option<Look> {
        match self.place.hands.of(part) {
            PartState::Fuse { seated: false, .. } => Some(self.aircraft.fuse_look(part)),
            _ => None,
        }
    }

    /// Everything that was done, in order: what a drill can be done again from.
    pub fn deeds(&self) -> &[Deed] {
        &self.deeds
    }

    /// Does one action. This, and [`Session::repeat`] for what has been kept, is the only way in
    /// which a drill changes.
    pub fn apply(&mut self, action: Action) -> Outcome {
        let outcome = self.take(action.clone());
        let entry = match &outcome {
            Outcome::Refused(_) => return outcome,
            Outcome::Done(entry) => Some(*entry),
            _ => None,
        };
        self.deeds.push(Deed { action, entry });
        outcome
    }

    /// Does an action again that has been kept. Advice is noted as asked for and not worked out
    /// once more: nothing that follows depends on what it was, and it takes a hundred times as
    /// long as a step.
    pub fn repeat(&mut self, action: Action) -> Outcome {
        if action != Action::Advise || self.call.is_some() {
            return self.apply(action);
        }
        if let Some(why) = self.note_advice() {
            return Outcome::Refused(why.to_owned());
        }
        self.deeds.push(Deed { action, entry: None });
        Outcome::Noted
    }

    /// Notes that advice was asked for; why there is none, where that is so.
    fn note_advice(&mut self) -> Option<&'static str> {
        let refused = self.refuses_help(Help::BestStep);
        if refused.is_none() {
            self.advice_taken.push(self.log.len());
        }
        refused
    }

    fn take(&mut self, action: Action) -> Outcome {
        if self.call.is_some() {
            return Outcome::Refused("the drill is over: the call has been made".to_owned());
        }
        match action {
            Action::Step(step) => self.step(step),
            Action::Mark { part, mark } => {
                self.noted.push(Noted { after_steps: self.log.len(), part, mark });
                match mark {
                    Some(mark) => self.marks.insert(part, mark),
                    None => self.marks.remove(&part),
                };
                Outcome::Noted
            }
            Action::Read(value) => self.take_reading(value),
            Action::Ask(help) => {
                if let Some(why) = self.refuses_help(help) {
                    return Outcome::Refused(why.to_owned());
                }
                self.help_taken.push((self.log.len(), help));
                Outcome::Helped(help)
            }
            Action::Advise => {
                if let Some(why) = self.note_advice() {
                    return Outcome::Refused(why.to_owned());
                }
                let (circuit, place) = (Arc::clone(self.circuit()), self.place.clone());
                let advisor = match self.advisor() {
                    Ok(advisor) => advisor,
                    Err(error) => return Outcome::Refused(error.to_string()),
                };
                let thoughts = Arc::clone(&self.thoughts);
                match self.belief() {
                    Ok(belief) => {
                        Outcome::Advised(advisor.advise(&thoughts, belief, &circuit, &place))
                    }
                    Err(error) => Outcome::Refused(error.to_string()),
                }
            }
            Action::Call(cause) => {
                self.call = Some(Call { cause, after_steps: self.log.len() });
                Outcome::Called
            }
        }
    }

    /// What the observations so far prove: worked out from the write-up and the log.
    /// The planted fault plays no part in it.
    ///
    /// # Errors
    /// [`SolveError`] when some fault leaves the circuit without a solution.
    pub fn belief(&mut self) -> Result<&Belief, SolveError> {
        let told = &self.write_up.observations;
        let mut belief = match self.knowledge.take() {
            Some(belief) => belief,
            None => self.baseline.knowing(self.scope, told)?,
        };
        let known = belief.observations() - told.len();
        for entry in &self.log[known..] {
            belief.observe(&entry.observation);
        }
        Ok(self.knowledge.insert(belief))
    }

    /// What plans the best next step, made of what the write-up says when it is first asked
    /// for and kept. The planted fault plays no part in it.
    ///
    /// # Errors
    /// [`SolveError`] when some fault leaves the circuit without a solution.
    pub fn advisor(&mut self) -> Result<Arc<Advisor>, SolveError> {
        if let Some(advisor) = &self.advisor {
            return Ok(Arc::clone(advisor));
        }
        let belief = self.known_at_start()?;
        let circuit = self.circuit();
        let advisor = Arc::new(Advisor::new(belief, circuit, self.start.clone()));
        Ok(Arc::clone(self.advisor.insert(advisor)))
    }

    fn step(&mut self, step: Step) -> Outcome {
        if let Some((_, part)) = self.to_read() {
            let label = &self.circuit().part(part).label;
            return Outcome::Refused(format!("say first what {label} shows"));
        }
        let circuit = Arc::clone(self.circuit());
        let popped = |part: PartId| {
            matches!(
                self.aircraft.settled().state.of(part),
                PartState::Breaker { closed: false, .. }
            )
        };
        if let Err(refusal) = self.place.allows(&circuit, step, popped) {
            return Outcome::Refused(refusal.to_string());
        }
        let minutes = self.place.minutes(&circuit, step);
        if let Some(left) = self.minutes_left().filter(|left| minutes > *left) {
            return Outcome::Refused(format!(
                "it takes {} and {} are left: the aircraft is wanted, make the call",
                crate::units::minutes(minutes),
                crate::units::minutes(left)
            ));
        }
        let mut breaches = self.breaches_before(step);
        let mut events = Vec::new();
        let sights = match self.aircraft.perform(step, self.place.station, &mut events) {
            Ok(sights) => sights,
            Err(error) => return Outcome::Refused(format!("the model has no answer: {error}")),
        };
        if let Step::Act(Act::Replace(part)) = step {
            self.reader.renew(part);
        }
        let percepts: Vec<(What, Percept)> =
            sights.into_iter().map(|sight| (sight.what, self.reader.read(sight))).collect();
        if percepts.iter().any(|(_, p)| *p == Percept::Look(Look::Live)) {
            breaches
                .push("ohms on a live circuit: remove power and prove it dead first".to_owned());
        }
        let observation = Observation { step, station: self.place.station, percepts };
        let before = self.place.clone();
        self.place.after(&circuit, step);
        self.see_controls();
        let clock = self.minutes() + minutes;
        self.log.push(Entry { observation, minutes, clock, events, breaches, before });
        Outcome::Done(self.log.len() - 1)
    }

    /// Whether a part is a fuse whose element has melted, in its holder or out of it.
    fn has_melted(&self, part: PartId) -> bool {
        matches!(self.aircraft.settled().state.of(part), PartState::Fuse { blown: true, .. })
    }

    /// The highest voltage to the airframe on any terminal of a part.
    fn live_volts(&self, part: PartId) -> f64 {
        let solution = &self.aircraft.settled().solution;
        let nets = self.circuit().part(part).kind.nets();
        nets.into_iter()
            .map(|net| solution.rms_between(net, crate::circuit::AIRFRAME))
            .fold(0.0, f64::max)
    }

    /// Cautions that a step would go against as things stand.
    pub fn cautions_against(&self, step: Step) -> Vec<String> {
        self.breaches_before(step)
    }

    /// Cautions that a step about to be done goes against.
    fn breaches_before(&self, step: Step) -> Vec<String> {
        let mut breaches = Vec::new();
        let Step::Act(act) = step else { return breaches };
        let circuit = self.circuit();
        let state = &self.aircraft.settled().state;
        match act {
            Act::PushIn(part) => {
                let tripped = matches!(state.of(part), PartState::Breaker { tripped: true, .. });
                // Pushing in again what one has pulled oneself is no reset.
                let pulled = |e: &&Entry| {
                    matches!(e.before.hands.of(part), PartState::Breaker { closed: false, .. })
                };
                let resets = self
                    .log
                    .iter()
                    .filter(|e| e.observation.step == Step::Act(Act::PushIn(part)))
                    .filter(|e| !pulled(e))
                    .count();
                if tripped && resets > 0 {
                    breaches.push(format!(
                        "{} reset more than once: one reset at most, then find the cause",
                        circuit.part(part).id
                    ));
                }
            }
            // A whole fuse may be changed and put back at will; what has melted says that there
            // may be a short behind it.
            Act::FitSpare(part) | Act::Replace(part) if self.has_melted(part) => {
                let spent = self
                    .log
                    .iter()
                    .filter(|e| {
                        let Step::Act(act) = e.observation.step else { return false };
                        act == Act::FitSpare(part) || act == Act::Replace(part)
                    })
                    .count();
                if spent > 0 {
                    breaches.push(format!(
                        "a second spare for {}: a fuse that blows again means a short to be \
                         found first",
                        circuit.part(part).id
                    ));
                }
                let live = self.live_volts(part);
                if live > LETHAL_ABOVE_VOLTS {
                    breaches.push(format!(
                        "fuse fitted in {} with {} on its holder: fit it with the feeder dead",
                        circuit.part(part).id,
                        crate::units::quantity(live, "V")
                    ));
                }
            }
            Act::Replace(part) => {
                let live = self.live_volts(part);
                let at_a_face = matches!(circuit.part(part).kind, Kind::Lamp(_) | Kind::Fuse(_));
                if live > LETHAL_ABOVE_VOLTS && !at_a_face {
                    breaches.push(format!(
                        "{} replaced with {} on it: remove power and prove it dead first",
                        circuit.part(part).id,
                        crate::units::quantity(live, "V")
                    ));
                }
            }
            _ => {}
        }
        breaches
    }
}

/// Volts above which bare hands have no business on a terminal (common practice; 50 V
/// is the usual limit for safe extra-low voltage, IEC 60364-4-41, from memory).
const LETHAL_ABOVE_VOLTS: f64 = 50.0;

/// The best next step from a state of knowledge, or the call.
pub fn advise(belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Advice {
    advise_by(belief, circuit, || best_prospect(belief, circuit, place))
}

/// The same, where what finds the best step is given.
pub(super) fn advise_by(
    belief: &Belief,
    circuit: &Circuit,
    best: impl FnOnce() -> Option<Prospect>,
) -> Advice {
    let Some((likeliest, _)) = belief.likeliest() else { return Advice::Nothing };
    let cause = likeliest.cause.clone();
    let group_probability = belief.group_probability(circuit, &cause);
    let call = Advice::Call { cause, group_probability };
    if group_probability >= PROVEN {
        return call;
    }
    let groups = belief.group_posterior().iter().filter(|p| **p > 0.0).count();
    let candidates = belief.alive().count();
    best().map_or(call, |prospect| Advice::Do {
        prospect,
        candidates,
        groups,
        rests: Rests::Weighing,
    })
}
