//! A checker of certificates, apart from the search: it knows the problem, follows the
//! strategy, draws every charge again from purses of its own, and believes nothing else.

use std::collections::{BTreeMap, BTreeSet};

use thiserror::Error;

use super::certificate::{Certificate, Claim, FEW};
use super::policy::Step;
use super::problem::{Problem, ProblemError};

/// What is wrong with a certificate.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Refused {
    /// Its problem is none.
    #[error("the problem: {0}")]
    Problem(#[from] ProblemError),
    /// Its problem is not in whole numbers.
    #[error("the problem is not written in whole numbers")]
    NotWhole,
    /// The strategy does not do what a strategy must.
    #[error("step {step}: {why}")]
    Step {
        /// Which step.
        step: usize,
        /// What is wrong.
        why: &'static str,
    },
    /// A claim does not hold.
    #[error("claim {claim}: {why}")]
    Claim {
        /// Which claim.
        claim: usize,
        /// What is wrong.
        why: &'static str,
    },
    /// A number does not come out as it says.
    #[error("{what} is {found}, not {stated}")]
    Differs {
        /// Which number.
        what: &'static str,
        /// As checked.
        found: u64,
        /// As it says.
        stated: u64,
    },
}

/// What a certificate proves, in minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verified {
    /// No strategy takes fewer expected minutes.
    pub lower: f64,
    /// The strategy takes this many.
    pub upper: f64,
    /// The two are the same to the last tick: the strategy is the best there is.
    pub proven: bool,
}

/// A standing: classes that remain, open places, current configuration.
type Standing = (Vec<usize>, BTreeSet<u32>, Option<u32>);

struct Checker<'a> {
    problem: &'a Problem,
    weight: Vec<u64>,
    label: Vec<u32>,
    /// What each class shows, by test and then class.
    shown: Vec<Vec<u16>>,
    /// The least ticks of any test that parts two classes.
    cheapest: Vec<Vec<u64>>,
    known: BTreeMap<Standing, u64>,
}

/// Checks a certificate from end to end.
///
/// # Errors
/// The first thing found that does not hold.
pub fn verify(certificate: &Certificate) -> Result<Verified, Refused> {
    let problem = Problem::new(&certificate.problem)?;
    if problem.table() != &certificate.problem {
        return Err(Refused::NotWhole);
    }
    let classes = problem.classes();
    let mut checker = Checker {
        problem: &problem,
        weight: classes.iter().map(|c| c.weight).collect(),
        label: classes.iter().map(|c| c.label).collect(),
        shown: (0..problem.table().tests.len())
            .map(|t| classes.iter().map(|c| problem.outcome(t as u32, c)).collect())
            .collect(),
        cheapest: Vec::new(),
        known: BTreeMap::new(),
    };
    checker.measure();
    let upper = checker.strategy(certificate)?;
    same("the cost of the strategy", upper, certificate.upper)?;
    let lower = checker.claims(certificate)?;
    same("the lower bound", lower, certificate.lower)?;
    if lower > upper {
        return Err(Refused::Differs { what: "the lower bound", found: lower, stated: upper });
    }
    let (proven, minutes) = (lower == upper, |sum| problem.minutes(sum));
    Ok(Verified { lower: minutes(lower), upper: minutes(upper), proven })
}

fn same(what: &'static str, found: u64, stated: u64) -> Result<(), Refused> {
    if found == stated { Ok(()) } else { Err(Refused::Differs { what, found, stated }) }
}

impl Checker<'_> {
    fn start(&self) -> Standing {
        let table = self.problem.table();
        ((0..self.weight.len()).collect(), table.open.iter().copied().collect(), table.start)
    }

    fn measure(&mut self) {
        let count = self.weight.len();
        self.cheapest = vec![vec![u64::MAX; count]; count];
        for (t, row) in self.shown.iter().enumerate() {
            let cost = self.problem.cost(t as u32);
            for (i, line) in self.cheapest.iter_mut().enumerate() {
                for (j, least) in line.iter_mut().enumerate() {
                    if row[i] != row[j] {
                        *least = cost.min(*least);
                    }
                }
            }
        }
    }

    fn mass(&self, members: &[usize]) -> u64 {
        members.iter().map(|i| self.weight[*i]).sum()
    }

    fn settled(&self, members: &[usize]) -> bool {
        members.iter().all(|i| self.label[*i] == self.label[members[0]])
    }

    fn splits(&self, test: usize, members: &[usize]) -> bool {
        let row = &self.shown[test];
        members.iter().any(|i| row[*i] != row[members[0]])
    }

    /// The places of a configuration.
    fn brought_about_from(&self, configuration: u32) -> impl Iterator<Item = u32> {
        self.problem.table().configurations[configuration as usize].places.into_iter().flatten()
    }

    /// Ticks of a test from a standing.
    fn price(&self, test: usize, standing: &Standing) -> u64 {
        let made = &self.problem.table().tests[test];
        let mut ticks = self.problem.cost(test as u32);
        let mut opened: BTreeSet<u32> = made.place.into_iter().collect();
        if let Some(needs) = made.needs.filter(|c| standing.2 != Some(*c)) {
            ticks += self.problem.changes()[needs as usize];
            opened.extend(self.brought_about_from(needs));
        }
        let closed = opened.difference(&standing.1);
        ticks + closed.map(|place| self.problem.access()[*place as usize]).sum::<u64>()
    }

    /// What follows each outcome of a test.
    fn after(&self, test: usize, standing: &Standing) -> BTreeMap<u16, Standing> {
        let made = &self.problem.table().tests[test];
        let mut parts: BTreeMap<u16, Vec<usize>> = BTreeMap::new();
        for i in &standing.0 {
            parts.entry(self.shown[test][*i]).or_default().push(*i);
        }
        let mut open = standing.1.clone();
        open.extend(made.place);
        if let Some(needs) = made.needs.filter(|c| standing.2 != Some(*c)) {
            open.extend(self.brought_about_from(needs));
        }
        let config = made.needs.or(standing.2);
        parts.into_iter().map(|(shows, part)| (shows, (part, open.clone(), config))).collect()
    }

    /// The cost of the strategy, if it is one.
    fn strategy(&self, certificate: &Certificate) -> Result<u64, Refused> {
        let steps = &certificate.policy.steps;
        let mut standings: Vec<Option<Standing>> = vec![None; steps.len()];
        let fault = |step, why| Err(Refused::Step { step, why });
        match standings.first_mut() {
            Some(first) => *first = Some(self.start()),
            None => return fault(0, "there is none"),
        }
        let mut sum = 0;
        for (at, step) in steps.iter().enumerate() {
            let Some(standing) = standings[at].take() else {
                return fault(at, "nothing leads here");
            };
            match step {
                Step::Call { candidates } => {
                    if !self.settled(&standing.0) {
                        return fault(at, "more could be told apart");
                    }
                    let mut left: Vec<u32> = Vec::new();
                    for i in &standing.0 {
                        left.extend(&self.problem.classes()[*i].candidates);
                    }
                    left.sort_unstable();
                    if left != *candidates {
                        return fault(at, "these are not the candidates that are left");
                    }
                }
                Step::Make { test, then } => {
                    let made = *test as usize;
                    if made >= self.shown.len() {
                        return fault(at, "there is no such test");
                    }
                    sum += self.price(made, &standing) * self.mass(&standing.0);
                    let after = self.after(made, &standing);
                    if !after.keys().eq(then.iter().map(|(shows, _)| shows)) {
                        return fault(at, "these are not its outcomes");
                    }
                    for ((_, next), (_, to)) in after.into_iter().zip(then) {
                        let to = *to as usize;
                        if to <= at || to >= steps.len() || standings[to].is_some() {
                            return fault(at, "it leads to no step of its own");
                        }
                        standings[to] = Some(next);
                    }
                }
            }
        }
        Ok(sum)
    }

    /// The lower bound for the start.
    fn claims(&mut self, certificate: &Certificate) -> Result<u64, Refused> {
        let start = self.start();
        let claims = &certificate.claims;
        if start.0.len() <= FEW && claims.is_empty() {
            return Ok(self.least(&start));
        }
        let mut used = vec![false; claims.len()];
        for at in 0..claims.len() {
            if let Err(why) = self.claim(claims, at, &mut used) {
                return Err(Refused::Claim { claim: at, why });
            }
        }
        let Some(last) = claims.last() else {
            return Err(Refused::Claim { claim: 0, why: "there is none" });
        };
        let alone = claims.len() - 1;
        if !self.stands_for(last, &start) {
            return Err(Refused::Claim { claim: alone, why: "it is not about the start" });
        }
        if let Some(unused) = used[..alone].iter().position(|used| !used) {
            return Err(Refused::Claim { claim: unused, why: "nothing rests on it" });
        }
        Ok(last.lower)
    }

    /// Whether a claim bounds what follows from a standing: the same classes, at least as
    /// much open, and the same configuration as far as that matters.
    fn stands_for(&self, claim: &Claim, standing: &Standing) -> bool {
        let matters = |config: Option<u32>| {
            config.filter(|c| {
                let tests = &self.problem.table().tests;
                (0..tests.len()).any(|t| tests[t].needs == Some(*c) && self.splits(t, &standing.0))
            })
        };
        claim.classes.iter().map(|i| *i as usize).eq(standing.0.iter().copied())
            && standing.1.iter().all(|place| claim.open.contains(place))
            && claim.configuration == matters(standing.2)
    }

    fn claim(
        &mut self,
        claims: &[Claim],
        at: usize,
        used: &mut [bool],
    ) -> Result<(), &'static str> {
        let claim = &claims[at];
        let table = self.problem.table();
        let members: Vec<usize> = claim.classes.iter().map(|i| *i as usize).collect();
        if members.is_empty()
            || !members.windows(2).all(|w| w[0] < w[1])
            || members.iter().any(|i| *i >= self.weight.len())
        {
            return Err("these are no classes");
        }
        let open: BTreeSet<u32> = claim.open.iter().copied().collect();
        if open.iter().any(|p| *p as usize >= table.places.len())
            || claim.configuration.is_some_and(|c| c as usize >= table.configurations.len())
        {
            return Err("there is no such place or configuration");
        }
        let standing: Standing = (members, open, claim.configuration);
        let (base, floors) = self.draw(claim, &standing)?;
        if base != claim.base {
            return Err("the charges do not add up");
        }
        let Some(tried) = &claim.tried else {
            return if claim.lower == base { Ok(()) } else { Err("more is claimed than charged") };
        };
        let mut least = u64::MAX;
        let mut left: BTreeMap<usize, u64> = floors;
        for one in tried {
            let test = one.test as usize;
            let Some(floor) = left.remove(&test) else {
                return Err("a test that was tried splits nothing, or comes twice");
            };
            let mut sum = self.price(test, &standing) * self.mass(&standing.0);
            let mut then = one.then.iter();
            for (shows, next) in self.after(test, &standing) {
                if self.settled(&next.0) {
                    continue;
                }
                if next.0.len() <= FEW {
                    sum += self.least(&next);
                    continue;
                }
                match then.next() {
                    Some((outcome, to)) if *outcome == shows && (*to as usize) < at => {
                        let to = *to as usize;
                        if !self.stands_for(&claims[to], &next) {
                            return Err("it rests on a claim about something else");
                        }
                        used[to] = true;
                        sum += claims[to].lower;
                    }
                    _ => return Err("an outcome of a test that was tried has no claim"),
                }
            }
            if then.next().is_some() {
                return Err("an outcome is claimed that does not come");
            }
            least = least.min(floor.max(sum));
        }
        for floor in left.into_values() {
            least = least.min(floor);
        }
        if least == claim.lower { Ok(()) } else { Err("its bound does not follow") }
    }

    /// Draws all charges of a claim; gives their sum and, for every test that splits what is
    /// left, that sum with what is left over for the test.
    fn draw(
        &self,
        claim: &Claim,
        standing: &Standing,
    ) -> Result<(u64, BTreeMap<usize, u64>), &'static str> {
        let table = self.problem.table();
        let (m, places) = (table.tests.len(), table.places.len());
        // What must be paid beside a test: its place if closed; if its configuration is not
        // set, the closed places of that, and the configuration. What takes no time pays
        // nothing, and is left out.
        let (access, changes) = (self.problem.access(), self.problem.changes());
        let extras: Vec<Vec<usize>> = (0..m)
            .map(|t| {
                let config = table.tests[t].needs.filter(|c| standing.2 != Some(*c));
                let far: BTreeSet<u32> =
                    config.into_iter().flat_map(|c| self.brought_about_from(c)).collect();
                let place = table.tests[t].place;
                let opens = place.into_iter().chain(far.into_iter().filter(|p| place != Some(*p)));
                let opens = opens.filter(|p| !standing.1.contains(p) && access[*p as usize] > 0);
                let config = config.filter(|c| changes[*c as usize] > 0);
                opens
                    .map(|p| m + p as usize)
                    .chain(config.map(|c| m + places + c as usize))
                    .collect()
            })
            .collect();
        let mut purses: BTreeMap<usize, Vec<u64>> = BTreeMap::new();
        for i in &standing.0 {
            let full = |ticks: &u64| ticks * self.weight[*i];
            let mut row: Vec<u64> = (0..m).map(|t| full(&self.problem.cost(t as u32))).collect();
            row.extend(self.problem.access().iter().map(full));
            row.extend(self.problem.changes().iter().map(full));
            purses.insert(*i, row);
        }
        let mut base = 0_u64;
        for one in &claim.payments {
            let (a, b) = (one.pair.0 as usize, one.pair.1 as usize);
            if a >= b || self.label.get(a) == self.label.get(b) {
                return Err("a pair pays that need not be told apart");
            }
            let mut paid: BTreeMap<usize, u64> = BTreeMap::new();
            for (slot, from_a, from_b) in &one.draws {
                let slot = *slot as usize;
                for (class, drawn) in [(a, from_a), (b, from_b)] {
                    let purse = purses.get_mut(&class).and_then(|row| row.get_mut(slot));
                    let Some(left) = purse.as_ref().and_then(|purse| purse.checked_sub(*drawn))
                    else {
                        return Err("a payment draws more than there is");
                    };
                    *purse.expect("it was read") = left;
                    *paid.entry(slot).or_default() += drawn;
                }
            }
            let of = |slot: usize| paid.get(&slot).copied().unwrap_or(0);
            for t in (0..m).filter(|t| self.shown[*t][a] != self.shown[*t][b]) {
                if of(t) + extras[t].iter().copied().map(of).sum::<u64>() < one.amount {
                    return Err("a payment leaves a test unpaid");
                }
            }
            base = base.checked_add(one.amount).ok_or("the charges do not add up")?;
        }
        for (a, b, amount) in &claim.charges {
            let (a, b) = (*a as usize, *b as usize);
            if a >= b || self.label.get(a) == self.label.get(b) {
                return Err("a pair is charged that need not be told apart");
            }
            let (Some(mut one), Some(mut other)) = (purses.remove(&a), purses.remove(&b)) else {
                return Err("a class is charged that is not left");
            };
            let parting: Vec<usize> =
                (0..m).filter(|t| self.shown[*t][a] != self.shown[*t][b]).collect();
            // From the purses of the test first; the shortfall from its place, then from its
            // configuration, each of which pays the pair's dearest test once for all.
            let mut grants: BTreeMap<usize, u64> = BTreeMap::new();
            let mut short: Vec<(usize, u64)> = Vec::new();
            for t in &parting {
                let own = (*amount).min(one[*t] + other[*t]);
                pay(&mut one[*t], &mut other[*t], own);
                if own < *amount {
                    short.push((*t, amount - own));
                }
            }
            for pass in 1..=2 {
                for (t, lacking) in &short {
                    let slots = &extras[*t];
                    if slots.is_empty() {
                        return Err("a charge is more than a test can pay");
                    }
                    if (slots.len() == 1) != (pass == 1) {
                        continue;
                    }
                    let mut rest = *lacking;
                    for slot in slots {
                        rest = rest.saturating_sub(*grants.get(slot).unwrap_or(&0));
                    }
                    for slot in slots.iter().copied() {
                        let given = grants.entry(slot).or_default();
                        let more = rest.min(one[slot] + other[slot] - *given);
                        *given += more;
                        rest -= more;
                    }
                    if rest > 0 {
                        return Err("a charge is more than can be paid");
                    }
                }
            }
            for (slot, given) in grants {
                pay(&mut one[slot], &mut other[slot], given);
            }
            base = base.checked_add(*amount).ok_or("the charges do not add up")?;
            purses.insert(a, one);
            purses.insert(b, other);
        }
        let mut floors = BTreeMap::new();
        for t in (0..m).filter(|t| self.splits(*t, &standing.0)) {
            let mut floor = base;
            for row in purses.values() {
                floor += row[t] + extras[t].iter().map(|slot| row[*slot]).sum::<u64>();
            }
            floors.insert(t, floor);
        }
        Ok((base, floors))
    }

    /// The least cost from a standing with few classes, by trying everything.
    fn least(&mut self, standing: &Standing) -> u64 {
        if self.settled(&standing.0) {
            return 0;
        }
        let useful: Vec<usize> =
            (0..self.shown.len()).filter(|t| self.splits(*t, &standing.0)).collect();
        // Only places and a configuration that a useful test needs tell standings apart.
        let tests = &self.problem.table().tests;
        let key: Standing = (
            standing.0.clone(),
            standing
                .1
                .iter()
                .copied()
                .filter(|p| {
                    let opens = |t: &usize| {
                        tests[*t].place == Some(*p)
                            || tests[*t].needs.is_some_and(|c| {
                                self.brought_about_from(c).any(|place| place == *p)
                            })
                    };
                    useful.iter().any(opens)
                })
                .collect(),
            standing.2.filter(|c| useful.iter().any(|t| tests[*t].needs == Some(*c))),
        );
        if let Some(known) = self.known.get(&key) {
            return *known;
        }
        let mass = self.mass(&key.0);
        let mut tries: Vec<(u64, usize)> = useful
            .iter()
            .map(|t| {
                let after = self.after(*t, &key);
                let rest: u64 = after.values().map(|next| self.at_least(&next.0)).sum();
                (self.price(*t, &key) * mass + rest, *t)
            })
            .collect();
        tries.sort_unstable();
        let mut best = u64::MAX;
        for (least, test) in tries {
            if least >= best {
                break;
            }
            let mut sum = self.price(test, &key) * mass;
            for next in self.after(test, &key).values() {
                sum += self.least(next);
            }
            best = best.min(sum);
        }
        self.known.insert(key, best);
        best
    }

    /// What some classes cost at the very least: each makes some test that parts it from the
    /// class that is dearest to part from.
    fn at_least(&self, members: &[usize]) -> u64 {
        let mut sum = 0;
        for i in members {
            let dear = members.iter().filter(|j| self.label[*i] != self.label[**j]);
            let dear = dear.map(|j| self.cheapest[*i][*j]);
            sum += dear.max().unwrap_or(0) * self.weight[*i];
        }
        sum
    }
}

/// Takes an amount from two purses, the fuller one first.
fn pay(one: &mut u64, other: &mut u64, amount: u64) {
    let (full, less) = if *one >= *other { (one, other) } else { (other, one) };
    let first = amount.min(*full);
    *full -= first;
    *less -= amount - first;
}
