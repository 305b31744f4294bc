//! Every claim of every question, held against the aircraft solved afresh.
//!
//! The generator looks everything up in a dictionary, which strikes faults by updating a base
//! case. Here each setup is reached by hand, each failed circuit is a network made anew, and
//! nothing but what a person would see is compared.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use halfsplit::circuit::{AIRFRAME, Circuit, Kind, PartId, Resistor};
use halfsplit::dictionary::Setup;
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{Network, Settled, State};
use halfsplit::observation::{
    Act, ErrorSpan, Percept, Rig, Showing, Step, What, face, hand_meter, has_face, meter_value,
};
use halfsplit::oral::{
    ALTERNATIVES, Answer, Asked, Claim, Examiner, Given, Question, Rating, limits,
};

/// Questions made of each system.
const COUNT: usize = 1000;

/// Columns of a line, and of one that stands in.
const COLUMNS: usize = 78;

pub(super) fn examiner(name: &str) -> Examiner {
    let plain = library::load(name).expect("it reads");
    let mods: Vec<String> = plain.mods.iter().take(1).map(|of| of.id.clone()).collect();
    let circuit = library::load_build(name, &mods).unwrap_or_else(|_| plain.clone());
    let new = circuit.parts.iter().filter(|part| plain.find_part(&part.id).is_none());
    let brought: Vec<String> = new.map(|part| part.id.clone()).collect();
    let mods = mods.into_iter().map(|id| (id, brought.clone())).collect();
    Examiner::new(Arc::new(circuit), mods).expect("it settles")
}

/// An aircraft solved without the generator's means.
struct Aircraft {
    circuit: Arc<Circuit>,
    mods: BTreeMap<String, BTreeSet<String>>,
}

/// A network made anew and where it has settled.
struct Solved(Network, Settled);

impl Solved {
    fn showing(&self, what: What) -> Option<Showing> {
        match what {
            What::Face(part) => face(&self.0, &self.1, part),
            What::Display(probe) => hand_meter(&self.0, &self.1, probe).ok(),
            _ => None,
        }
    }

    fn volts(&self, circuit: &Circuit, part: PartId) -> f64 {
        let mut nets = circuit.connections(part);
        nets.push(AIRFRAME);
        let solution = &self.1.solution;
        let pairs = nets.iter().flat_map(|a| nets.iter().map(move |b| (*a, *b)));
        let own = nets.len() > 2;
        pairs
            .filter(|(a, b)| {
                !own || (*a != AIRFRAME && *b != AIRFRAME)
                    || circuit.connections(part).contains(&AIRFRAME)
            })
            .map(|(a, b)| solution.rms_between(a, b))
            .fold(0.0, f64::max)
    }
}

impl Aircraft {
    /// Brought into a setup by hand, then let these faults strike.
    fn with(&self, setup: &Setup, codes: &[String]) -> Solved {
        let parsed: Vec<_> =
            codes.iter().map(|code| faults::parse(&self.circuit, code).expect("a fault")).collect();
        let failed: Vec<_> =
            parsed.iter().map(|(fault, mode)| (fault.part, mode.faulted.clone())).collect();
        self.struck(setup, &failed)
    }

    fn rig(&self, setup: &Setup) -> Rig {
        let mut rig = Rig::normal(Arc::clone(&self.circuit)).expect("it settles");
        let here = halfsplit::circuit::StationId(0);
        let sets = setup
            .sets
            .iter()
            .map(|(control, position)| Act::Set { control: *control, position: *position });
        for act in sets.chain(setup.pulled.iter().map(|part| Act::Pull(*part))) {
            rig.perform(Step::Act(act), here, &mut Vec::new()).expect("it settles");
        }
        rig
    }

    fn struck(&self, setup: &Setup, failed: &[(PartId, Kind)]) -> Solved {
        let rig = self.rig(setup);
        let circuit = failed
            .iter()
            .fold((*self.circuit).clone(), |c, (part, kind)| c.with_kind(*part, kind.clone()));
        let circuit = Arc::new(circuit);
        let mut state: State = rig.settled().state.clone();
        for (part, kind) in failed {
            if rig.circuit().part(*part).kind.id() == kind.id() {
                state.adopt_kind(*part, kind);
            }
        }
        let network = Network::new(circuit);
        let settled = network.settle(state).expect("it settles");
        Solved(network, settled)
    }

    fn is_seen(solved: &Solved, what: What, percept: Percept) -> bool {
        match (solved.showing(what).expect("it shows something"), percept) {
            (Showing::Look(look), Percept::Look(told)) => look == told,
            (Showing::Dial(dial), Percept::Reading(reading)) => {
                dial.probability(reading, ErrorSpan::WHOLE).is_some()
            }
            (Showing::Position(at), Percept::Position(told)) => at == told,
            _ => false,
        }
    }

    /// Whether two solved aircraft look the same there; `None` where an instrument's error
    /// leaves it open.
    fn same(one: &Solved, other: &Solved, what: What) -> Option<bool> {
        match (one.showing(what)?, other.showing(what)?) {
            (Showing::Dial(a), Showing::Dial(b)) => {
                if a.range == b.range && (a.exact - b.exact).abs() < 1e-5 * a.exact.abs().max(1.0) {
                    return Some(true);
                }
                let apart = a.range != b.range
                    || (a.exact - b.exact).abs() > a.error + b.error + a.step.max(b.step);
                apart.then_some(false)
            }
            (a, b) => Some(a == b),
        }
    }

    /// Whether the claim is true; panics where the solver leaves it open.
    fn holds(&self, claim: &Claim) -> bool {
        match claim {
            Claim::Shows(setup, codes, what, percept) => {
                Self::is_seen(&self.with(setup, codes), *what, *percept)
            }
            Claim::Indicates(setup, codes, part, value) => {
                let solved = self.with(setup, codes);
                let meter = solved.0.kind(*part).meter().expect("a meter").clone();
                (meter_value(&meter, &solved.1.solution) - value).abs()
                    < 1e-4 * value.abs().max(1.0)
            }
            Claim::Lit(setup, codes, part) => {
                let Kind::Lamp(lamp) = &self.circuit.part(*part).kind else { return false };
                let solved = self.with(setup, codes);
                let Kind::Lamp(now) = solved.0.kind(*part) else { return false };
                let light = halfsplit::observation::relative_light(
                    now,
                    solved.1.solution.rms_between(lamp.a, lamp.b),
                );
                assert!(!(0.005..0.08).contains(&light), "{claim:?}: it glimmers");
                light >= 0.08
            }
            Claim::Unusual(setup, code, what) => {
                let (now, usual) =
                    (self.with(setup, std::slice::from_ref(code)), self.with(setup, &[]));
                !Self::same(&now, &usual, *what).unwrap_or_else(|| panic!("{claim:?}: open"))
            }
            Claim::Explains(setup, code, pattern) => {
                let (now, usual) =
                    (self.with(setup, std::slice::from_ref(code)), self.with(setup, &[]));
                let faces = self.circuit.parts_with_ids().map(|(part, _)| part);
                faces.filter(|part| has_face(&self.circuit, *part)).map(What::Face).all(|what| {
                    match pattern.iter().find(|(of, _)| *of == what) {
                        Some((_, percept)) => Self::is_seen(&now, what, *percept),
                        None => Self::same(&now, &usual, what) == Some(true),
                    }
                })
            }
            Claim::Differ(setup, codes, what) => {
                let solved: Vec<Solved> =
                    codes.iter().map(|code| self.with(setup, std::slice::from_ref(code))).collect();
                let pairs: Vec<Option<bool>> =
                    solved[1..].iter().map(|other| Self::same(&solved[0], other, *what)).collect();
                if pairs.iter().all(|same| *same == Some(true)) {
                    return false;
                }
                assert!(pairs.contains(&Some(false)), "{claim:?}: open");
                true
            }
            Claim::Feeds(setup, part, load) => self.cut_off(setup, *part, *load),
            Claim::InOrder(setup, _, parts) => {
                // With one of them gone, what lies before it is still live at both ends and
                // what lies behind it is not.
                parts.windows(2).all(|pair| {
                    let without_first = self.without(setup, pair[0]);
                    let without_second = self.without(setup, pair[1]);
                    let ends = |solved: &Solved, part: PartId| {
                        let nets = self.circuit.connections(part);
                        let live = |net| solved.1.solution.rms_between(net, AIRFRAME) > 3.0;
                        nets.into_iter().filter(|net| live(*net)).count()
                    };
                    ends(&without_first, pair[1]) < ends(&without_second, pair[0])
                })
            }
            Claim::Live(setup, point, live) => {
                let net = self.circuit.test_point(*point).net;
                let volts = self.with(setup, &[]).1.solution.rms_between(net, AIRFRAME);
                assert!(!(0.5..3.0).contains(&volts), "{claim:?}: {volts} V");
                (volts > 3.0) == *live
            }
            Claim::Limit(part, does, value) => {
                let own = limits(&self.circuit.part(*part).kind);
                let own = own.iter().find(|limit| limit.does == *does).expect("a limit of it");
                let holds = (own.value - value).abs() < 1e-9;
                assert_eq!(self.acts_at(*part, does, *value).unwrap_or(holds), holds, "{claim:?}");
                holds
            }
            Claim::Stands(part, station) => self.circuit.part(*part).station == *station,
            Claim::Rated(part, amps) => match &self.circuit.part(*part).kind {
                Kind::Breaker(breaker) => breaker.amps == *amps,
                Kind::Fuse(fuse) => fuse.amps == *amps,
                _ => false,
            },
            Claim::Warns(station, caution) => {
                self.circuit.station(*station).cautions.contains(caution)
            }
            Claim::Brings(id, part) => self.mods[id].contains(part),
            Claim::Said(right) => *right,
        }
    }

    /// The aircraft in a setup with a part taken out of the circuit.
    fn without(&self, setup: &Setup, part: PartId) -> Solved {
        let nowhere = Resistor { a: AIRFRAME, b: AIRFRAME, ohms: 1.0 };
        self.struck(setup, &[(part, Kind::Resistor(nowhere))])
    }

    /// Whether a part has no voltage of note once the other is taken out.
    fn cut_off(&self, setup: &Setup, part: PartId, load: PartId) -> bool {
        let kept = self.without(setup, part).volts(&self.circuit, load)
            / self.with(setup, &[]).volts(&self.circuit, load);
        assert!(!(0.5..0.9).contains(&kept), "{kept} of its voltage");
        kept < 0.5
    }

    /// Whether a relay or solenoid for direct current does something just at this voltage:
    /// alone on a source, from the other state. `None` for anything else.
    fn acts_at(&self, part: PartId, does: &str, volts: f64) -> Option<bool> {
        use halfsplit::circuit::{Senses, Supply};
        let mut circuit = (*self.circuit).clone();
        let (x1, x2) = match &circuit.part(part).kind {
            Kind::Relay(relay) | Kind::Contactor(relay) if relay.senses == Senses::Dc => {
                (relay.x1, relay.x2)
            }
            Kind::Solenoid(solenoid) => (solenoid.x1, solenoid.x2),
            _ => return None,
        };
        // Everything else is taken out, one part of it exchanged for a source.
        let at = PartId(u32::from(part.0 == 0));
        for (index, other) in circuit.parts.iter_mut().enumerate() {
            if index != part.index() {
                other.kind = Kind::Resistor(Resistor { a: AIRFRAME, b: AIRFRAME, ohms: 1.0 });
            }
        }
        let fed = |volts: f64| {
            circuit.with_kind(at, Kind::Supply(Supply { plus: x1, minus: x2, volts, ohms: 0.001 }))
        };
        let operated = |state: State, volts: f64| {
            Network::new(Arc::new(fed(volts))).settle(state).expect("it settles").state
        };
        let rest = operated(State::at_rest(&fed(0.0)), 0.0);
        let pulled = operated(rest.clone(), 1000.0);
        assert!(pulled.operated(part), "1000 V operate anything");
        let (below, above) = (volts * 0.98, volts * 1.02);
        Some(match does {
            "operate" | "pull in" => {
                !operated(rest.clone(), below).operated(part)
                    && operated(rest, above).operated(part)
            }
            _ => {
                !operated(pulled.clone(), below).operated(part)
                    && operated(pulled, above).operated(part)
            }
        })
    }
}

/// Choices with whether each is right and what it claims.
fn choices(question: &Question) -> Vec<(&str, bool, &Claim)> {
    match &question.answer {
        Answer::One { choices, right, claims } => choices
            .iter()
            .zip(claims)
            .enumerate()
            .map(|(at, (told, claim))| (told.as_str(), at == *right, claim))
            .collect(),
        Answer::All { choices, right, claims } => choices
            .iter()
            .zip(right)
            .zip(claims)
            .map(|((told, right), claim)| (told.as_str(), *right, claim))
            .collect(),
        Answer::Number { claim, .. } => vec![("", true, claim)],
        Answer::Words { .. } => Vec::new(),
    }
}

/// Of every system: no question twice, none that cannot be shown, and of each kind so many
/// whose every choice is solved for.
#[test]
fn each_choice_is_as_true_as_it_counts() {
    let mut solved: BTreeMap<Asked, usize> = BTreeMap::new();
    for name in library::NAMES {
        let examiner = examiner(name);
        let circuit = Arc::clone(examiner.circuit());
        let plain = library::load(name).expect("it reads");
        let fitted = circuit.fitted.first().map(|id| {
            let new = circuit.parts.iter().filter(|part| plain.find_part(&part.id).is_none());
            (id.clone(), new.map(|part| part.id.clone()).collect())
        });
        let aircraft =
            Aircraft { circuit: Arc::clone(&circuit), mods: fitted.into_iter().collect() };
        let questions = examiner.session_questions(COUNT, 11);
        let mut texts = BTreeSet::new();
        let mut of_kind: BTreeMap<Asked, usize> = BTreeMap::new();
        for question in &questions {
            assert!(texts.insert(&question.text), "{name}: twice: {}", question.text);
            let all = choices(question);
            let told = all.iter().map(|(told, _, _)| *told).chain([question.text.as_str()]);
            for word in told.flat_map(str::split_whitespace) {
                assert!(word.chars().count() < COLUMNS - 6, "{name}: {word}");
            }
            assert!(
                !question.text.contains("  ") && !question.text.contains(".."),
                "{}",
                question.text
            );
            let count = of_kind.entry(question.asked).or_default();
            *count += 1;
            for (told, right, claim) in all {
                assert_eq!(
                    aircraft.holds(claim),
                    right,
                    "{name}: {}\n{told}\n{claim:?}",
                    question.text
                );
            }
            *solved.entry(question.asked).or_default() += 1;
        }
        println!("{name}: {} questions, {of_kind:?}", questions.len());
        assert!(questions.len() >= 15, "{name}: {}", questions.len());
    }
    for asked in Asked::ALL {
        // The author's own are in few systems, and mods are few.
        let least = match asked {
            Asked::Own => 0,
            Asked::Mod => 1,
            _ => 3,
        };
        let count = solved.get(&asked).copied().unwrap_or_default();
        assert!(count >= least, "{}: {count} solved", asked.name());
    }
}

/// Neither its place nor its length tells which choice is right.
#[test]
fn the_form_does_not_give_the_answer_away() {
    let mut places = [0_usize; ALTERNATIVES];
    let (mut longest, mut shortest, mut asked) = (0_f64, 0_f64, 0_f64);
    let (mut right_columns, mut wrong_columns) = (0, 0);
    for name in library::NAMES {
        for question in examiner(name).questions(400, 5) {
            let Answer::One { choices, right, .. } = &question.answer else {
                panic!("a paper takes one form: {question:?}");
            };
            places[*right] += 1;
            let lengths: Vec<usize> = choices.iter().map(|told| told.chars().count()).collect();
            right_columns += (ALTERNATIVES - 1) * lengths[*right];
            wrong_columns += lengths.iter().sum::<usize>() - lengths[*right];
            let (most, least) = (lengths.iter().max(), lengths.iter().min());
            // Whoever goes by length guesses among several of the same.
            let share = |extreme: Option<&usize>| {
                let of = lengths.iter().filter(|length| Some(*length) == extreme).count() as f64;
                if Some(&lengths[*right]) == extreme { 1.0 / of } else { 0.0 }
            };
            longest += share(most);
            shortest += share(least);
            asked += 1.0;
        }
    }
    let count: usize = places.iter().sum();
    println!("{places:?} of {count}; longest {longest:.0}, shortest {shortest:.0} of {asked}");
    println!("mean length {right_columns} right, {wrong_columns} wrong");
    let third = count as f64 / 3.0;
    // Four standard deviations of a third by chance.
    let slack = 4.0 * (count as f64 * 2.0 / 9.0).sqrt();
    for place in places {
        assert!((place as f64 - third).abs() < slack, "{places:?}");
    }
    let (fair, slack) = (asked / 3.0, 0.06 * asked);
    assert!((longest - fair).abs() < slack, "the longest is right in {longest} of {asked}");
    assert!((shortest - fair).abs() < slack, "the shortest is right in {shortest} of {asked}");
    let ratio = right_columns as f64 / wrong_columns as f64;
    assert!((0.93..1.07).contains(&ratio), "right choices are {ratio} as long as wrong ones");
}

#[test]
fn a_figure_is_right_within_half_a_division() {
    let mut met = 0;
    for question in examiner("t4-dc").session_questions(200, 3) {
        let Answer::Number { value, tolerance, .. } = question.answer else { continue };
        assert_eq!(question.is_right(&Given::Number(value + 0.9 * tolerance)), Some(true));
        assert_eq!(question.is_right(&Given::Number(value - 1.1 * tolerance)), Some(false));
        assert_eq!(question.rating(&Given::Number(value + 3.0 * tolerance)), Some(Rating::Again));
        assert_eq!(question.is_right(&Given::One(0)), None);
        met += 1;
    }
    assert!(met >= 3, "{met} figures asked for");
}

/// A weak answer is followed by one that goes deeper: the same failure with a relay that does
/// not move, where one would, and never the same question.
#[test]
fn a_follow_up_digs_at_the_same_part() {
    let examiner = examiner("t4-dc");
    let (mut followed, mut deeper) = (0, 0);
    for (seed, question) in (0..).zip(examiner.session_questions(60, 9)) {
        let Some(next) = examiner.follow_up(&question, seed) else { continue };
        assert_ne!(next.text, question.text);
        let subject = |card: &str| card.splitn(3, ' ').nth(2).map(str::to_owned);
        let same = subject(&next.card) == subject(&question.card);
        assert!(same || next.asked == Asked::Unmoved, "{}\n{}", question.text, next.text);
        followed += 1;
        deeper += usize::from(next.asked == Asked::Unmoved);
    }
    assert!(followed >= 40, "{followed} followed up");
    assert!(deeper >= 3, "{deeper} with a relay that sticks");
}
