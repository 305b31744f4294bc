//! What each step could have told, what it did tell, and what it cost.
//!
//! Worked out afresh from the write-up and the log: nothing here is stored, and every
//! number and remark comes from the same posterior that the advice uses.

use super::explain::{self, Provable, StillPossible};
use super::finder::{self, Deed, Finder};
use super::habit::Habit;
use super::mark::{Record, Score};
use super::path::{self, Known, Path, Points};
use super::reckon::{Par, Reckoner};
use super::remark::{Purpose, Remark};
use super::rubric::Rubric;
use crate::circuit::{Circuit, PartId};
use crate::diagnosis::{Belief, NO_BITS, Prospect, value_of};
use crate::drill::{Advice, Entry, PROVEN, Session, Thoughts};
use crate::network::SolveError;
use crate::observation::{Act, Step};
use crate::units::significant;

/// The whole debrief.
#[derive(Clone, Debug, PartialEq)]
pub struct Debrief {
    /// How it ended.
    pub verdict: Verdict,
    /// Faults that the write-up left possible.
    pub start_candidates: usize,
    /// One row per step.
    pub rows: Vec<Row>,
    /// What happened inside the aircraft, in order.
    pub story: Vec<String>,
    /// Cautions gone against.
    pub cautions: Vec<String>,
    /// Minutes in all.
    pub minutes: f64,
    /// Parts changed that were good.
    pub parts_changed_good: Vec<String>,
    /// Why each excluded fault is out.
    pub exclusions: Vec<ExclusionLine>,
    /// Faults that were still possible at the call, most probable first, with their
    /// posterior.
    pub left: Vec<(String, f64)>,
    /// What would have told those apart, the likeliest first.
    pub still: Vec<StillPossible>,
    /// Where the call was wrong: what spoke against it, or that nothing did.
    pub against: Option<String>,
    /// From when on a call was provable.
    pub provable: Option<Provable>,
    /// How each needle was read, where the trainee had to say; and how many were read right.
    pub readings: Vec<String>,
    /// What is marked.
    pub record: Record,
    /// How it is marked.
    pub score: Score,
    /// Expected minutes of the best known strategy.
    pub par: Par,
    /// What was left after every step, beside the same for that strategy.
    pub path: Path,
    /// What could have been known after the write-up and after every step.
    pub known: Vec<Known>,
    /// What to work on, worst first; nothing where nothing was wrong.
    pub habits: Vec<Habit>,
}

/// How it ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The hidden fault, as `PART:MODE`.
    pub planted: String,
    /// The hidden fault in words.
    pub planted_text: String,
    /// What was called, as `PART:MODE`; empty when no call was made.
    pub called: String,
    /// Whether the part was right.
    pub right_part: bool,
    /// Whether part and mode were right.
    pub right_mode: bool,
    /// Posterior probability of the called repair group at the call.
    pub group_probability: f64,
    /// Whether that was enough for a proof.
    pub proven: bool,
    /// The verdict in one sentence.
    pub sentence: String,
}

/// The best step that was available.
#[derive(Clone, Debug, PartialEq)]
pub struct BestStep {
    /// In words.
    pub step: String,
    /// Expected information in bits.
    pub bits: f64,
    /// Minutes, walking included.
    pub minutes: f64,
}

/// One step judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// In words.
    pub step: String,
    /// Information about the repair group it could be expected to give, in bits.
    pub expected_bits: f64,
    /// Information it did give, in bits; negative when it showed something unexpected
    /// that opened the question again.
    pub gained_bits: f64,
    /// The best step available then.
    pub best: Option<BestStep>,
    /// Minutes it took.
    pub minutes: f64,
    /// Minutes since the start.
    pub clock: f64,
    /// Faults possible afterwards.
    pub candidates: usize,
    /// Repair groups possible afterwards.
    pub groups: usize,
    /// Expected minutes that it cost more than the best step: at least, at most.
    pub lost_minutes: (f64, f64),
    /// A judgement, worked out from the model.
    pub remark: String,
    /// Whether the step that told most a minute then is worth naming: it is another one, and
    /// the remark does not name it.
    pub names_most: bool,
    /// Whether advice had been asked for just before.
    pub advice_taken: bool,
    /// Cautions it went against.
    pub breaches: Vec<String>,
    /// What it showed that was new.
    pub showed: Vec<String>,
}

/// Why one fault is out.
#[derive(Clone, Debug, PartialEq)]
pub struct ExclusionLine {
    /// The fault, as `PART:MODE`.
    pub fault: String,
    /// The step that excluded it; `None` for the write-up.
    pub row: Option<usize>,
    /// Why: what was seen and what it would have shown.
    pub why: String,
}

/// Works out the debrief.
///
/// # Errors
/// [`SolveError`] when some fault leaves the circuit without a solution.
pub fn debrief(session: &Session) -> Result<Debrief, SolveError> {
    let circuit = session.circuit();
    let mut belief = session.known_at_start()?;
    let from_write_up = belief.observations();
    let start_candidates = belief.alive().count();
    let mut reckoner = Reckoner::new(&belief, circuit, session);
    let thoughts = Thoughts::default();
    let mut rows = Vec::new();
    let start = belief.clone();
    let mut points = Points::new(&belief);
    let (mut deeds, mut all_offered) = (Vec::new(), Vec::new());
    // What is left of the advised steps that are being followed.
    let mut following: Vec<Step> = Vec::new();
    let mut begun = false;
    for (index, entry) in session.log().iter().enumerate() {
        let before = belief.clone();
        belief.observe(&entry.observation);
        let advised = session.advice_taken().contains(&index);
        let step = entry.observation.step;
        let chosen = value_of(&before, circuit, &entry.before, step);
        let best = thoughts.best(&before, circuit, &entry.before);
        if following.first() != Some(&step) {
            begun = false;
            let place = &entry.before;
            following = match reckoner.advisor().advise(&thoughts, &before, circuit, place) {
                Advice::Do { prospect, .. } => prospect.path(),
                Advice::Call { .. } | Advice::Nothing => Vec::new(),
            };
        }
        let followed = following.first() == Some(&step);
        let rest = followed && begun;
        begun = followed;
        // What was advised and is not being followed is no longer what is advised.
        if followed {
            following.remove(0);
        } else {
            following.clear();
        }
        let offered = followed || best.as_ref().is_some_and(|best| best.step == step);
        let (record, instead, purpose) =
            reckoner.step(circuit, &before, entry, &chosen, (&mut || offered, advised));
        // What a planned step ends with may have been settled by what it begins with.
        let tells_nothing = chosen.bits <= NO_BITS && chosen.fault_bits <= NO_BITS;
        let proven_before = explain::is_provable(&before);
        let now_provable = points.push(&belief, entry.clock);
        let remark = Remark {
            circuit,
            before: &before,
            entry,
            chosen: &chosen,
            best: best.as_ref(),
            known: &|| explain::known_since(circuit, &start, &session.log()[..index], entry),
            cost: (record.lost_minutes.0 >= LEAST_LOST_MINUTES && !record.implied)
                .then_some((record.lost_minutes.0, instead.as_ref())),
            planned: followed,
            purpose: if rest && tells_nothing { Purpose::Rest } else { purpose },
        };
        let mut told = remark.told();
        let names_most = remark.names_most(&told);
        if now_provable {
            told.push_str("; from here the call was provable");
        }
        let worth = chosen.clone();
        deeds.push(Deed { record, worth, instead, proven_before });
        all_offered.push(offered);
        rows.push(Row {
            lost_minutes: record.lost_minutes,
            advice_taken: advised,
            names_most,
            ..row(circuit, (&before, &belief), entry, (&chosen, best), told)
        });
    }
    let exclusions = belief
        .candidates()
        .iter()
        .filter_map(|c| {
            let exclusion = c.excluded.as_ref()?;
            let would = exclusion.would.first().map_or_else(
                || "it has no steady state there".to_owned(),
                |w| format!("it would have shown {}", w.told(exclusion.what, circuit)),
            );
            Some(ExclusionLine {
                fault: c.cause.code(circuit),
                row: exclusion.at.checked_sub(from_write_up),
                why: format!(
                    "{} was {}; {would}",
                    exclusion.what.told(circuit),
                    exclusion.seen.told(exclusion.what, circuit)
                ),
            })
        })
        .collect();
    let mut left: Vec<(String, f64)> = belief
        .candidates()
        .iter()
        .zip(belief.posterior())
        .filter(|(c, _)| c.excluded.is_none())
        .map(|(c, p)| (c.cause.code(circuit), p))
        .collect();
    left.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (record, par, way) = reckoner.finish(session, &belief, (&thoughts, true))?;
    let score = record.marked(Rubric::shipped());
    let known = path::known(session, &belief);
    let still = session.call().map_or(Vec::new(), |call| explain::others(session, &belief, call));
    let against = explain::against(session, &belief, from_write_up);
    let spoken_against = session.call().is_some_and(|call| {
        belief.candidate(&call.cause).is_some_and(|called| called.excluded.is_some())
    });
    let mut habits = Finder {
        session,
        deeds: &deeds,
        offered: &|at| all_offered[at],
        record: &record,
        known: &known,
        still: &still,
        against: against.as_deref(),
        spoken_against,
    }
    .habits();
    habits.truncate(finder::MOST);
    let provable = points.provable;
    Ok(Debrief {
        verdict: verdict(session, &belief),
        start_candidates,
        rows,
        story: story(session),
        cautions: session.log().iter().flat_map(|e| e.breaches.iter().cloned()).collect(),
        minutes: session.minutes(),
        parts_changed_good: changed_good(session),
        exclusions,
        left,
        still,
        against,
        provable: explain::provable(session, provable),
        readings: readings(session),
        record,
        score,
        par,
        path: Path { own: points.own, par: way.steps, provable, par_provable: way.provable },
        known,
        habits,
    })
}

/// Minutes lost below which nothing is said about them.
const LEAST_LOST_MINUTES: f64 = 0.1;

pub(super) fn verdict(session: &Session, belief: &Belief) -> Verdict {
    let circuit = session.circuit();
    let planted = session.truth();
    let mut verdict = Verdict {
        planted: planted.code(circuit),
        planted_text: planted.told(circuit),
        called: String::new(),
        right_part: false,
        right_mode: false,
        group_probability: 0.0,
        proven: false,
        sentence: "No call was made.".to_owned(),
    };
    let Some(call) = session.call() else { return verdict };
    verdict.called = call.cause.code(circuit);
    verdict.right_part = call.cause.repair_group(circuit) == planted.repair_group(circuit);
    verdict.right_mode = call.cause == *planted;
    verdict.group_probability = belief.group_probability(circuit, &call.cause);
    verdict.proven = verdict.group_probability >= PROVEN;
    let percent = significant(100.0 * verdict.group_probability, 3);
    verdict.sentence = match (verdict.right_part, verdict.proven) {
        (true, true) if verdict.right_mode => {
            "Isolated and proven: part and fault are right.".to_owned()
        }
        (true, true) => "Isolated and proven: the part is right, its fault another.".to_owned(),
        (true, false) if !verdict.right_mode => format!(
            "The part is right, its fault is another, and it was not proven: the observations \
             gave the part {percent} %."
        ),
        (true, false) => format!(
            "The part is right, but not proven: the observations gave it {percent} %, a proof \
             takes {} %.",
            significant(100.0 * PROVEN, 3)
        ),
        (false, _) => {
            let shared = explain::shared(session).map_or_else(String::new, |s| format!("; {s}"));
            format!("Wrong call: the observations gave that part {percent} %{shared}.")
        }
    };
    verdict
}

fn row(
    circuit: &Circuit,
    (before, after): (&Belief, &Belief),
    entry: &Entry,
    (chosen, best): (&Prospect, Option<Prospect>),
    remark: String,
) -> Row {
    let step = entry.observation.step;
    Row {
        step: step.told(circuit),
        expected_bits: chosen.bits,
        gained_bits: before.group_entropy_bits() - after.group_entropy_bits(),
        best: best.map(|p| BestStep {
            step: told_with_walk(circuit, &p),
            bits: p.bits,
            minutes: p.minutes,
        }),
        minutes: entry.minutes,
        clock: entry.clock,
        candidates: after.alive().count(),
        groups: after.group_posterior().iter().filter(|p| **p > 0.0).count(),
        lost_minutes: (0.0, 0.0),
        remark,
        names_most: false,
        advice_taken: false,
        breaches: entry.breaches.clone(),
        showed: showed(circuit, entry),
    }
}

/// A step in words, with the walk to it and what has to follow.
pub fn told_with_walk(circuit: &Circuit, prospect: &Prospect) -> String {
    let mut text = prospect.step.told(circuit);
    if prospect.walk {
        text = format!("go to {} and {text}", circuit.station(prospect.station).title);
    }
    for next in &prospect.then {
        text.push_str(", then ");
        text.push_str(&next.told(circuit));
    }
    text
}

/// What the step's own result was, and any face that is not as one would expect of
/// a look around: a step's result always, faces only in short.
fn showed(circuit: &Circuit, entry: &Entry) -> Vec<String> {
    use crate::observation::What;
    entry
        .observation
        .percepts
        .iter()
        .filter(|(what, _)| !matches!(what, What::Face(_)))
        .map(|(what, percept)| format!("{}: {}", what.told(circuit), percept.told(*what, circuit)))
        .collect()
}

/// How the needles were read: the share that was right, then each that was not. Apart from
/// the points: misreading is not misreasoning.
fn readings(session: &Session) -> Vec<String> {
    let circuit = session.circuit();
    let (right, wrong): (Vec<_>, Vec<_>) =
        session.said().iter().partition(|said| said.is_right(circuit));
    if right.is_empty() && wrong.is_empty() {
        return Vec::new();
    }
    let all = right.len() + wrong.len();
    let mut told = vec![format!("{} of {all} needles read to half a division", right.len())];
    let judged =
        wrong.iter().map(|said| format!("step {}: {}", said.entry + 1, said.judged(circuit)));
    told.extend(judged);
    told
}

/// What happened inside, step by step.
fn story(session: &Session) -> Vec<String> {
    let circuit = session.circuit();
    let mut lines: Vec<String> = session
        .aircraft_events()
        .iter()
        .map(|event| format!("at the failure: {}", event.told(circuit)))
        .collect();
    for (index, entry) in session.log().iter().enumerate() {
        for event in &entry.events {
            lines.push(format!("step {}: {}", index + 1, event.told(circuit)));
        }
    }
    lines
}

/// Parts that were exchanged though they were good, fuses included only when a whole
/// one was thrown away by `replace`.
fn changed_good(session: &Session) -> Vec<String> {
    let circuit = session.circuit();
    let mut failed: Vec<PartId> = session.truth().failed_parts(circuit).collect();
    let mut good = Vec::new();
    for entry in session.log() {
        if let Step::Act(Act::Replace(part)) = entry.observation.step {
            match failed.iter().position(|one| *one == part) {
                Some(at) => drop(failed.remove(at)),
                None => good.push(circuit.part(part).id.clone()),
            }
        }
    }
    good
}
