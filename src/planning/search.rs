//! The search: best-first over the ways to go on, with a lower and an upper bound for each
//! place one can stand in, until they meet or the work is used up.
//!
//! Nodes are standings (what is left, open places, configuration); actions are tests, each
//! leading to one node per outcome. The lower bound of a node is the least over its actions;
//! an action that has not been opened stands there with its reduced cost from the node's own
//! [`Purses`], so most are never opened. One round goes down from the root along the actions
//! with the least lower bound, always into the outcome whose bounds lie furthest apart, and
//! opens one action at the end. Work is counted in entries touched, never in time, so the
//! same problem gives the same answer everywhere.

use super::bound::{Book, Charge, Purses, pairs};
use super::field::{Field, NONE, Spot};
use super::greedy;
use super::policy::{Policy, Step};
use super::problem::Problem;
use super::small::{FEW, Map, Small};
use super::tune::tune;

/// Below this many members a child is settled exactly as soon as it appears.
const AT_ONCE: usize = 3;

/// How many actions are opened before the best of them is followed.
const TRIES: usize = 2;

/// How many actions are followed to the end when a strategy is improved.
const WIDTH: usize = 3;

/// The part of the work that goes into payments for the root.
const TUNING: u64 = 4;

/// A test made at a node.
pub(super) struct Action {
    pub test: u16,
    /// Its reduced cost.
    pub floor: f64,
    /// The test itself and all outcomes with few classes.
    fixed: f64,
    pub lower: f64,
    upper: f64,
    pub children: Vec<u32>,
}

/// One standing.
pub(super) struct Node {
    pub spot: Spot,
    pub lower: f64,
    pub upper: f64,
    /// Actions that have not been opened, the most promising last.
    waiting: Vec<(f64, u16)>,
    pub actions: Vec<Action>,
    parents: Vec<u32>,
    pairs: Vec<u32>,
    ready: bool,
    /// Where its payments come from, unless it has its own.
    heir: u32,
    /// Payments that are made before pairs are charged in order.
    pub book: Book,
}

impl Node {
    fn gap(&self) -> f64 {
        // A node nobody has looked at has no upper bound yet; it is likely near its lower one.
        if self.upper.is_finite() { self.upper - self.lower } else { 1.0 + 0.05 * self.lower }
    }
}

/// The graph of what has been looked at so far.
pub(super) struct Search<'a> {
    pub problem: &'a Problem,
    pub field: Field,
    pub nodes: Vec<Node>,
    known: Map<Box<[u64]>, u32>,
    pub small: Small,
    pub purses: Purses,
    /// Work done by greedy strategies.
    spent: u64,
    /// Work after which what is not yet known is estimated instead.
    limit: u64,
}

/// A standing as a key.
fn key(field: &Field, spot: &Spot) -> Box<[u64]> {
    let words = field.n.div_ceil(64);
    let mut key = vec![0_u64; words + 2];
    for i in &spot.members {
        key[*i as usize / 64] |= 1 << (i % 64);
    }
    key[words] = spot.open;
    key[words + 1] = u64::from(spot.config);
    key.into_boxed_slice()
}

impl<'a> Search<'a> {
    /// A search that has looked at nothing but where one starts.
    pub(super) fn new(problem: &'a Problem) -> Self {
        let field = Field::new(problem);
        let start = field.start.clone();
        let mut search = Self {
            problem,
            field,
            nodes: Vec::new(),
            known: Map::default(),
            small: Small::default(),
            purses: Purses::default(),
            spent: 0,
            limit: 0,
        };
        let list = pairs(&search.field, &start.members);
        search.add(start, &list, u32::MAX);
        search
    }

    /// The node of a standing, if it was looked at.
    pub(super) fn find(&self, spot: &Spot) -> Option<usize> {
        self.known.get(&key(&self.field, spot)).map(|id| *id as usize)
    }

    /// Work done so far.
    pub(super) fn work(&self) -> u64 {
        self.spent + self.small.work + self.purses.work
    }

    /// The bounds of the root.
    pub(super) fn bounds(&self) -> (f64, f64) {
        (self.nodes[0].lower, self.nodes[0].upper)
    }

    /// Goes on until the bounds meet or as much work as this has been done in all.
    pub(super) fn run(&mut self, work: u64) {
        self.limit = work;
        if !self.nodes[0].ready {
            if self.nodes[0].spot.members.len() > FEW {
                self.tune();
            }
            self.prepare(0);
            self.plunge(0);
            self.improve(0);
        }
        while self.nodes[0].lower < self.nodes[0].upper && self.work() < work {
            self.round(0);
        }
    }

    /// Goes on with one test made first, whether it is any good or not, and gives the least
    /// and the most by which it costs more than the best one.
    pub(super) fn run_with(&mut self, test: u16, work: u64) -> (f64, f64) {
        self.limit = work;
        let t = test as usize;
        let members = &self.field.start.members;
        if self.field.parts(members, t).len() < 2 {
            // It tells nothing. The best strategy from here, made after it, costs at most one
            // change back more than now, with the way to where that is made; and whatever
            // access or change it saves later was paid for now, so its own minutes are lost at
            // the least.
            let mass = self.field.mass(members);
            let (open, config) = self.field.given;
            let (opened, now) = self.field.setup_after(t, open, config);
            let mut back = 0.0;
            if now != config && config != NONE {
                let closed = self.field.from[config as usize] & !opened;
                back += self.field.change[config as usize] + self.field.opening(closed);
            }
            return (self.field.cost[t] * mass, (self.field.price(t, open, config) + back) * mass);
        }
        let known = self.nodes[0].actions.iter().position(|action| action.test == test);
        let action = known.unwrap_or_else(|| {
            self.nodes[0].waiting.retain(|(_, waiting)| *waiting != test);
            let floor = self.nodes[0].lower;
            self.nodes[0].waiting.push((floor, test));
            self.open(0);
            self.nodes[0].actions.len() - 1
        });
        for child in self.nodes[0].actions[action].children.clone() {
            if !self.nodes[child as usize].upper.is_finite() {
                self.plunge(child as usize);
            }
        }
        self.refresh(0);
        loop {
            let widest = self.widest(0, action);
            let action = &self.nodes[0].actions[action];
            let (lower, upper) = self.bounds();
            let most = (action.upper - lower).max(0.0);
            let least = (action.lower - upper).max(0.0);
            let Some(widest) = widest.filter(|_| self.work() < work) else {
                return (least, most);
            };
            if least == most {
                return (least, most);
            }
            self.round(widest);
        }
    }

    /// The outcome of an action whose bounds lie furthest apart.
    fn widest(&self, at: usize, action: usize) -> Option<usize> {
        let children = &self.nodes[at].actions[action].children;
        let gap = |c: u32| self.nodes[c as usize].gap();
        let widest = children
            .iter()
            .max_by(|x, y| gap(**x).total_cmp(&gap(**y)).then(y.cmp(x)))
            .filter(|c| gap(**c) > 0.0)?;
        Some(*widest as usize)
    }

    /// One round from a node: down to where something is to be opened, and back up.
    fn round(&mut self, from: usize) {
        let mut at = from;
        loop {
            if !self.nodes[at].ready {
                self.plunge(at);
                return;
            }
            let node = &self.nodes[at];
            let best = (0..node.actions.len())
                .min_by(|x, y| node.actions[*x].lower.total_cmp(&node.actions[*y].lower));
            let open = match (best, node.waiting.last()) {
                (Some(best), Some((floor, _))) => *floor < node.actions[best].lower,
                (None, _) => true,
                (Some(_), None) => false,
            };
            if open {
                self.open(at);
                self.pass_up(at);
                return;
            }
            let best = best.expect("something is open");
            at = self.widest(at, best).expect("bounds that have not met come from an outcome");
        }
    }

    /// The node for a standing, made if there is none; its pairs come as places in its
    /// members.
    fn add(&mut self, spot: Spot, pairs: &[u32], parent: u32) -> u32 {
        self.purses.begin(&self.field, &spot);
        if parent != u32::MAX {
            let book = self.nodes[parent as usize].book.inherit(&self.field, &spot);
            self.purses.pay_all(&self.field, &spot.members, &book);
        }
        self.purses.fill(&self.field, &spot.members, pairs, |_| {});
        let id = self.nodes.len() as u32;
        self.known.insert(key(&self.field, &spot), id);
        let settled = self.field.settled(&spot.members);
        self.nodes.push(Node {
            spot,
            lower: self.purses.total,
            upper: if settled { 0.0 } else { f64::INFINITY },
            waiting: Vec::new(),
            actions: Vec::new(),
            parents: if parent == u32::MAX { Vec::new() } else { vec![parent] },
            pairs: Vec::new(),
            ready: settled,
            heir: parent,
            book: Book::default(),
        });
        id
    }

    /// First real look at a node: its price list of actions and a strategy to start from.
    fn prepare(&mut self, at: usize) {
        let node = &mut self.nodes[at];
        node.ready = true;
        if node.spot.members.len() <= FEW {
            let spot = &node.spot;
            let best = self.small.solve(&self.field, &spot.members, spot.open, spot.config).0;
            node.lower = best;
            node.upper = best;
            return;
        }
        let lower = self.price(at, |_| {});
        let node = &mut self.nodes[at];
        node.lower = node.lower.max(lower);
        let members = &node.spot.members;
        let useful = self.field.useful(members);
        super::field::for_each(&useful, |t| {
            let floor = lower + self.purses.slack(t);
            if floor < node.upper {
                node.waiting.push((floor, t as u16));
            }
        });
        self.spent += (members.len() * self.field.m / 8) as u64;
        node.waiting.sort_unstable_by(|x, y| y.0.total_cmp(&x.0).then(y.1.cmp(&x.1)));
        self.refresh(at);
    }

    /// Prepares a node and all below it on the way that looks best from the bounds of a few
    /// actions each, which gives a strategy for the whole node. Beyond the limit of work the
    /// greedy strategy has to do.
    fn plunge(&mut self, at: usize) {
        if self.work() >= self.limit {
            let spot = &self.nodes[at].spot;
            let cost = greedy::cost(&self.field, &mut self.small, spot, &mut self.spent);
            self.nodes[at].upper = self.nodes[at].upper.min(cost);
            self.pass_up(at);
            return;
        }
        if !self.nodes[at].ready {
            self.prepare(at);
        }
        while self.nodes[at].actions.len() < TRIES {
            let node = &self.nodes[at];
            let best = node.actions.iter().map(|a| a.lower).fold(node.upper, f64::min);
            if node.waiting.last().is_none_or(|(floor, _)| *floor >= best) {
                break;
            }
            self.open(at);
        }
        let node = &self.nodes[at];
        let best = node.actions.iter().min_by(|x, y| x.lower.total_cmp(&y.lower));
        let children = best.map(|best| best.children.clone()).unwrap_or_default();
        for child in children {
            if !self.nodes[child as usize].ready {
                self.plunge(child as usize);
            }
        }
        self.refresh(at);
        self.pass_up(at);
    }

    /// Improves the best known strategy: at each of its nodes a few more actions are followed
    /// to the end, and the best of them replaces what was there.
    fn improve(&mut self, at: usize) {
        let node = &self.nodes[at];
        if node.lower >= node.upper || node.spot.members.len() <= FEW {
            return;
        }
        while self.nodes[at].actions.len() < WIDTH && self.work() < self.limit {
            let node = &self.nodes[at];
            if node.waiting.last().is_none_or(|(floor, _)| *floor >= node.upper) {
                break;
            }
            self.open(at);
        }
        let actions = &self.nodes[at].actions;
        let mut order: Vec<usize> = (0..actions.len()).collect();
        order.sort_by(|x, y| actions[*x].lower.total_cmp(&actions[*y].lower));
        for action in order.into_iter().take(WIDTH) {
            if self.work() >= self.limit {
                return;
            }
            if self.nodes[at].actions[action].lower >= self.nodes[at].upper {
                continue;
            }
            for child in self.nodes[at].actions[action].children.clone() {
                if !self.nodes[child as usize].ready {
                    self.plunge(child as usize);
                }
            }
            self.refresh(at);
        }
        self.pass_up(at);
        let actions = &self.nodes[at].actions;
        let best = actions.iter().min_by(|x, y| x.upper.total_cmp(&y.upper));
        let children = best.map(|best| best.children.clone()).unwrap_or_default();
        for child in children {
            self.improve(child as usize);
        }
        self.refresh(at);
        self.pass_up(at);
    }

    /// Finds payments for the root with part of the work, for all below it to inherit.
    fn tune(&mut self) {
        let list = pairs(&self.field, &self.nodes[0].spot.members);
        let spot = &self.nodes[0].spot;
        let plain = self.nodes[0].lower;
        let work = (self.limit - self.limit.min(self.work())) / TUNING;
        let book = tune(&self.field, spot, &list, work, &mut self.purses);
        self.purses.begin(&self.field, spot);
        self.purses.pay_all(&self.field, &spot.members, &book);
        self.purses.fill(&self.field, &spot.members, &list, |_| {});
        if self.purses.total > plain {
            self.nodes[0].book = book;
        }
    }

    /// Prices the pairs of a node and leaves the purses as they are then.
    pub(super) fn price(&mut self, at: usize, note: impl FnMut(Charge)) -> f64 {
        let node = &mut self.nodes[at];
        if node.pairs.is_empty() {
            node.pairs = pairs(&self.field, &node.spot.members);
        }
        let heir = std::mem::replace(&mut node.heir, u32::MAX);
        if heir != u32::MAX {
            let spot = &self.nodes[at].spot;
            let book = self.nodes[heir as usize].book.inherit(&self.field, spot);
            self.nodes[at].book = book;
        }
        let node = &self.nodes[at];
        self.purses.begin(&self.field, &node.spot);
        self.purses.pay_all(&self.field, &node.spot.members, &node.book);
        self.purses.fill(&self.field, &node.spot.members, &node.pairs, note);
        self.purses.total
    }

    /// Opens the most promising action of a node.
    fn open(&mut self, at: usize) {
        let (floor, test) = self.nodes[at].waiting.pop().expect("an action is waiting");
        let t = test as usize;
        let spot = self.nodes[at].spot.clone();
        let mut fixed =
            self.field.price(t, spot.open, spot.config) * self.field.mass(&spot.members);
        let row = t * self.field.n;
        let mut places = vec![0_u32; spot.members.len()];
        let mut counts = vec![0_u32; self.field.outcomes[t] as usize];
        for (at, i) in spot.members.iter().enumerate() {
            let part = self.field.shown[row + *i as usize] as usize;
            places[at] = (part as u32) << 16 | counts[part];
            counts[part] += 1;
        }
        let mut children = Vec::new();
        let mut missing: Vec<(usize, Spot)> = Vec::new();
        let (open, config) = self.field.setup_after(t, spot.open, spot.config);
        for (outcome, members) in self.field.parts(&spot.members, t) {
            if self.field.settled(&members) {
                continue;
            }
            if members.len() <= AT_ONCE {
                fixed += self.small.solve(&self.field, &members, open, config).0;
                continue;
            }
            let next = self.field.settle(members, open, config);
            if let Some(id) = self.known.get(&key(&self.field, &next)) {
                children.push(*id);
                let parents = &mut self.nodes[*id as usize].parents;
                if !parents.contains(&(at as u32)) {
                    parents.push(at as u32);
                }
            } else {
                missing.push((outcome as usize, next));
            }
        }
        if !missing.is_empty() {
            let mut lists: Vec<Vec<u32>> = vec![Vec::new(); counts.len()];
            let list = std::mem::take(&mut self.nodes[at].pairs);
            self.spent += list.len() as u64;
            for pair in &list {
                let (a, b) = (places[(pair >> 16) as usize], places[(pair & 0xffff) as usize]);
                if a >> 16 == b >> 16 {
                    lists[(a >> 16) as usize].push(a << 16 | b & 0xffff);
                }
            }
            self.nodes[at].pairs = list;
            for (part, next) in missing {
                children.push(self.add(next, &lists[part], at as u32));
            }
        }
        let action = Action { test, floor, fixed, lower: floor, upper: f64::INFINITY, children };
        self.nodes[at].actions.push(action);
        self.refresh(at);
    }

    /// Brings the bounds of a node up to date; says whether they changed.
    fn refresh(&mut self, at: usize) -> bool {
        let mut actions = std::mem::take(&mut self.nodes[at].actions);
        let mut lower = self.nodes[at].waiting.last().map_or(f64::INFINITY, |w| w.0);
        let mut upper = self.nodes[at].upper;
        for action in &mut actions {
            let mut sum = (action.fixed, action.fixed);
            for child in &action.children {
                let child = &self.nodes[*child as usize];
                sum = (sum.0 + child.lower, sum.1 + child.upper);
            }
            action.lower = action.floor.max(sum.0);
            action.upper = sum.1;
            lower = lower.min(action.lower);
            upper = upper.min(action.upper);
        }
        let node = &mut self.nodes[at];
        node.actions = actions;
        // Actions left out at first cost no less than the upper bound did then.
        let lower = lower.min(upper).max(node.lower);
        let changed = lower > node.lower || upper < node.upper;
        node.lower = lower;
        node.upper = upper;
        changed
    }

    /// Passes new bounds on to all that stand above a node.
    fn pass_up(&mut self, from: usize) {
        let mut todo = self.nodes[from].parents.clone();
        while let Some(at) = todo.pop() {
            if self.nodes[at as usize].ready && self.refresh(at as usize) {
                todo.extend_from_slice(&self.nodes[at as usize].parents);
            }
        }
    }

    /// The best strategy found, from where one starts, and its cost.
    pub(super) fn policy(&mut self) -> (Policy, f64) {
        let mut policy = Policy::default();
        let start = self.field.start.clone();
        let mut sum = 0.0;
        self.write(&start, &mut policy, &mut sum);
        (policy, sum)
    }

    /// The first test of the best strategy found.
    pub(super) fn first(&mut self) -> Option<u32> {
        let start = self.field.start.clone();
        let test = self.advice(&start);
        (test != NONE).then_some(u32::from(test))
    }

    /// The test that the best known strategy makes, [`NONE`] when nothing is left to do.
    fn advice(&mut self, spot: &Spot) -> u16 {
        if self.field.settled(&spot.members) {
            return NONE;
        }
        if spot.members.len() <= FEW {
            return self.small.solve(&self.field, &spot.members, spot.open, spot.config).1;
        }
        if let Some(id) = self.known.get(&key(&self.field, spot)) {
            let node = &self.nodes[*id as usize];
            let best = node.actions.iter().min_by(|x, y| x.upper.total_cmp(&y.upper));
            if let Some(best) = best.filter(|best| best.upper <= node.upper) {
                return best.test;
            }
        }
        greedy::choose(&self.field, spot, &mut self.spent) as u16
    }

    fn write(&mut self, spot: &Spot, policy: &mut Policy, sum: &mut f64) -> u32 {
        let id = policy.steps.len() as u32;
        let test = self.advice(spot);
        if test == NONE {
            let classes = self.problem.classes();
            let mut candidates: Vec<u32> = spot
                .members
                .iter()
                .flat_map(|i| classes[*i as usize].candidates.iter().copied())
                .collect();
            candidates.sort_unstable();
            policy.steps.push(Step::Call { candidates });
            return id;
        }
        policy.steps.push(Step::Make { test: u32::from(test), then: Vec::new() });
        *sum += self.field.price(test as usize, spot.open, spot.config)
            * self.field.mass(&spot.members);
        let mut follow = Vec::new();
        for next in self.field.steps(spot, test as usize) {
            let outcome = self
                .problem
                .outcome(u32::from(test), &self.problem.classes()[next.members[0] as usize]);
            follow.push((outcome, self.write(&next, policy, sum)));
        }
        follow.sort_unstable();
        if let Step::Make { then, .. } = &mut policy.steps[id as usize] {
            *then = follow;
        }
        id
    }
}
