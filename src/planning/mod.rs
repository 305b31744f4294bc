//! Planning: the strategy that finds what is wrong in the fewest expected minutes, how far it
//! may be from the best at most, and a proof of that.
//!
//! This layer knows only numbers: weights, groups, minutes and outcomes, in a [`Table`].
//! What they stand for is the business of whoever fills it in.
//!
//! Work is counted in table entries touched, never in time, so the same problem with the same
//! work gives the same plan on every machine; some eighty million take a second.
//!
//! ```
//! use halfsplit::planning::{self, Candidate, Problem, Table, Test};
//!
//! let table = Table {
//!     candidates: (0..4).map(|group| Candidate { weight: 1.0, group }).collect(),
//!     tests: vec![
//!         Test { minutes: 1.0, place: None, needs: None, outcomes: vec![0, 0, 1, 1] },
//!         Test { minutes: 1.0, place: None, needs: None, outcomes: vec![0, 1, 0, 1] },
//!     ],
//!     ..Table::default()
//! };
//! let plan = planning::plan(&Problem::new(&table)?, 1_000_000);
//! assert_eq!((plan.lower, plan.upper, plan.proven), (2.0, 2.0, true));
//! assert!(planning::verify(&plan.certificate).is_ok());
//! # Ok::<(), planning::ProblemError>(())
//! ```
//!
//! Sources: binary identification, Garey, SIAM J. Appl. Math. 23 (1972); best-first search over
//! strategies, Pattipati and Alexandridis, IEEE Trans. SMC 20 (1990); weak duality of linear
//! programmes for the bound (all three from memory).

mod bound;
mod certificate;
mod field;
mod greedy;
mod policy;
mod problem;
mod search;
mod small;
mod tune;
mod verify;

pub use certificate::{Certificate, Claim, FEW, Payment, Tried};
pub use policy::{Policy, Step, Walk};
pub use problem::{
    Candidate, Class, Configuration, Problem, ProblemError, Setup, TICKS_PER_MINUTE, Table, Test,
};
pub use verify::{Refused, Verified, verify};

use search::Search;

/// A strategy and what is proved about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// No strategy takes fewer expected minutes.
    pub lower: f64,
    /// This strategy takes so many.
    pub upper: f64,
    /// The two are equal to the last tick: there is no better strategy.
    pub proven: bool,
    /// How many candidates there are.
    pub candidates: usize,
    /// How many repair groups they belong to.
    pub groups: usize,
    /// How many tests there are.
    pub tests: usize,
    /// Work done: entries touched.
    pub work: u64,
    /// The strategy.
    pub policy: Policy,
    /// The proof.
    pub certificate: Certificate,
}

/// The best test to make now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// The test; `None` when nothing is left to tell apart.
    pub test: Option<u32>,
    /// No strategy takes fewer expected minutes from here.
    pub lower: f64,
    /// Expected minutes when this test is made first and the best known strategy follows.
    pub upper: f64,
    /// Work done.
    pub work: u64,
}

/// Plans a whole strategy with its proof. The work bounds the search; writing the proof takes
/// about as long again.
pub fn plan(problem: &Problem, work: u64) -> Plan {
    let (mut search, policy, upper) = searched(problem, work);
    let certificate = certificate::certify(&mut search, policy.clone(), upper as u64);
    Plan {
        lower: problem.minutes(certificate.lower),
        upper: problem.minutes(certificate.upper),
        proven: certificate.lower == certificate.upper,
        candidates: problem.table().candidates.len(),
        groups: problem.groups(),
        tests: problem.table().tests.len(),
        work: search.work(),
        policy,
        certificate,
    }
}

/// Searches so long; the best strategy found, and its cost.
fn searched(problem: &Problem, work: u64) -> (Search<'_>, Policy, f64) {
    let mut search = Search::new(problem);
    search.run(work);
    let (policy, upper) = search.policy();
    (search, policy, upper)
}

/// A strategy and its bounds, without a proof in writing.
#[derive(Debug, Clone, PartialEq)]
pub struct Strategy {
    /// No strategy takes fewer expected minutes.
    pub lower: f64,
    /// This strategy takes so many.
    pub upper: f64,
    /// What it does.
    pub policy: Policy,
}

/// Plans a whole strategy as [`plan`] does, without writing the proof, which takes about as
/// long again; the bounds are as true.
pub fn strategy(problem: &Problem, work: u64) -> Strategy {
    let (search, policy, upper) = searched(problem, work);
    let (lower, _) = search.bounds();
    Strategy {
        lower: problem.minutes((lower as u64).min(upper as u64)),
        upper: problem.minutes(upper as u64),
        policy,
    }
}

/// The best test to make now, without a proof in writing; the bounds are as true as a plan's.
pub fn advise(problem: &Problem, work: u64) -> Advice {
    let mut search = Search::new(problem);
    search.run(work);
    let (lower, upper) = search.bounds();
    Advice {
        test: search.first(),
        lower: problem.minutes(lower as u64),
        upper: problem.minutes(upper as u64),
        work: search.work(),
    }
}

/// What it costs to make a test first instead of the best one and to go on in the best way
/// after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Regret {
    /// At least so many expected minutes.
    pub least: f64,
    /// At most so many.
    pub most: f64,
    /// The first test of the best strategy known; `None` when nothing is left to tell apart.
    pub instead: Option<u32>,
}

/// Judges a test that is made first.
///
/// # Errors
/// When there is no such test.
pub fn regret(problem: &Problem, test: u32, work: u64) -> Result<Regret, ProblemError> {
    let count = problem.table().tests.len();
    if test as usize >= count {
        return Err(ProblemError::Missing { what: "test", index: test, count });
    }
    let mut search = Search::new(problem);
    search.run(work / 2);
    let (lower, upper) = search.run_with(test as u16, work);
    Ok(Regret {
        least: problem.minutes(lower as u64),
        most: problem.minutes(upper as u64),
        instead: search.first(),
    })
}
