//! A proof of both bounds that can be checked without searching.
//!
//! The upper bound is proved by the strategy itself. The lower bound is proved by a list of
//! claims about standings: each gives charges to pairs of classes (see the pricing of pairs in
//! the module on bounds), whose sum no strategy from there can undercut, and whose leftover
//! rules out most tests as the first; the tests that are not ruled out are tried, each with
//! the claims that bound what follows. [`super::verify`] checks all of it and shares no code
//! with the search.

use serde::{Deserialize, Serialize};

use super::field::Field;
use super::policy::Policy;
use super::problem::Table;
use super::search::Search;

/// The most classes for which a checker tries everything out itself.
pub const FEW: usize = 8;

/// A test that had to be tried and the claims about what follows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tried {
    /// Which test.
    pub test: u32,
    /// For each outcome that leaves more than [`FEW`] classes to tell apart, the claim about
    /// it: an earlier one in the list.
    pub then: Vec<(u16, u32)>,
}

/// A charge to a pair of classes that says who pays for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Payment {
    /// The two classes, ascending.
    pub pair: (u32, u32),
    /// Ticks times weight.
    pub amount: u64,
    /// What the two draw from their purses: for each slot the amounts. Slots are numbered
    /// tests first, then places, then configurations.
    pub draws: Vec<(u32, u64, u64)>,
}

/// What is claimed about one standing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Claim {
    /// The classes that remain, as numbered in the problem, ascending.
    pub classes: Vec<u32>,
    /// The places that are open, or that no test splitting what is left is made at.
    pub open: Vec<u32>,
    /// The current configuration, if a test that splits what is left needs it.
    pub configuration: Option<u32>,
    /// Charges that say who pays, made before the others.
    pub payments: Vec<Payment>,
    /// Charges to pairs of classes, in the order in which they are drawn: the two classes
    /// and ticks times weight.
    pub charges: Vec<(u32, u32, u64)>,
    /// The sum of all of them.
    pub base: u64,
    /// Tests that the leftover of the charges does not rule out. `None`: the sum of the
    /// charges is all that is claimed.
    pub tried: Option<Vec<Tried>>,
    /// No strategy from here has a smaller sum of ticks times weight.
    pub lower: u64,
}

/// A problem, a strategy for it, and a proof of how good the strategy is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Certificate {
    /// The problem in whole numbers.
    pub problem: Table,
    /// The strategy.
    pub policy: Policy,
    /// Its expected cost as the sum of ticks times weight.
    pub upper: u64,
    /// What no strategy can undercut, likewise.
    pub lower: u64,
    /// The proof of that; the last claim is about the start. Empty when the start leaves few
    /// enough classes to try everything out.
    pub claims: Vec<Claim>,
}

/// Writes down what a search has found.
pub(super) fn certify(search: &mut Search, policy: Policy, upper: u64) -> Certificate {
    let problem = search.problem.table().clone();
    let root = &search.nodes[0];
    if root.spot.members.len() <= FEW {
        let lower = root.lower as u64;
        return Certificate { problem, policy, upper, lower, claims: Vec::new() };
    }
    let mut written = Written { claims: Vec::new(), at: vec![None; search.nodes.len()] };
    written.claim(search, 0);
    let lower = written.claims.last().expect("the root was just claimed").lower;
    Certificate { problem, policy, upper, lower, claims: written.claims }
}

struct Written {
    claims: Vec<Claim>,
    /// For each node its claim.
    at: Vec<Option<u32>>,
}

impl Written {
    fn claim(&mut self, search: &mut Search, id: usize) -> u32 {
        if let Some(done) = self.at[id] {
            return done;
        }
        let need = search.nodes[id].lower;
        let spot = search.nodes[id].spot.clone();
        let mut charges = Vec::new();
        let base = search.price(id, |one| {
            charges.push((u32::from(one.a), u32::from(one.b), one.amount as u64));
        });
        let payments = search.nodes[id]
            .book
            .each()
            .map(|(one, draws)| Payment {
                pair: (u32::from(one.a), u32::from(one.b)),
                amount: one.amount as u64,
                draws: draws.iter().map(|(slot, x, y)| (*slot, *x as u64, *y as u64)).collect(),
            })
            .collect();
        let mut lower = base as u64;
        let mut tried = None;
        if base < need {
            // The leftovers have to be read before a child uses the purses again.
            let mut floors: Vec<(usize, u64)> = Vec::new();
            super::field::for_each(&search.field.useful(&spot.members), |t| {
                floors.push((t, (base + search.purses.slack(t)) as u64));
            });
            let mut list = Vec::new();
            let mut least = u64::MAX;
            for (t, floor) in floors {
                let opened = search.nodes[id].actions.iter().any(|a| a.test as usize == t);
                if floor as f64 >= need || !opened {
                    least = least.min(floor);
                    continue;
                }
                let mut sum = search.field.price(t, spot.open, spot.config)
                    * search.field.mass(&spot.members);
                let mut then = Vec::new();
                for next in search.field.steps(&spot, t) {
                    if next.members.len() <= FEW {
                        let small = &mut search.small;
                        sum += small.solve(&search.field, &next.members, next.open, next.config).0;
                    } else if !search.field.settled(&next.members) {
                        let child = search.find(&next).expect("an opened action has its outcomes");
                        let claim = self.claim(search, child);
                        then.push((outcome(search, t, next.members[0]), claim));
                        sum += self.claims[claim as usize].lower as f64;
                    }
                }
                then.sort_unstable();
                list.push(Tried { test: t as u32, then });
                least = least.min(floor.max(sum as u64));
            }
            tried = Some(list);
            lower = least;
        }
        let field: &Field = &search.field;
        let id_of_claim = self.claims.len() as u32;
        self.claims.push(Claim {
            classes: spot.members.iter().map(|i| u32::from(*i)).collect(),
            open: (0..field.access.len() as u32).filter(|p| spot.open >> p & 1 == 1).collect(),
            configuration: (spot.config != super::field::NONE).then_some(u32::from(spot.config)),
            payments,
            charges,
            base: base as u64,
            tried,
            lower,
        });
        self.at[id] = Some(id_of_claim);
        id_of_claim
    }
}

fn outcome(search: &Search, test: usize, class: u16) -> u16 {
    search.problem.outcome(test as u32, &search.problem.classes()[class as usize])
}
