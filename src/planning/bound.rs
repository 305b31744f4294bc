//! A lower bound on what any strategy costs, by pricing the pairs that must be told apart.
//!
//! Let y(i,t) = 1 when test t lies on the path of class i, and z(i,j,t) = 1 when t is the test
//! that parts i from j. Exactly one test parts them, and both pay for it:
//! sum over t of z(i,j,t) = 1, z(i,j,t) <= y(i,t), z(i,j,t) <= y(j,t); and, as at most one of
//! these is 1, the sum of z(i,j,t) over the tests of one place is at most 1 if i opens the
//! place and 0 if not; likewise for a configuration that is not current. The expected cost is
//! the sum of weight x ticks over all that each class pays. The dual of this linear programme
//! is a packing: class i has a purse of weight x ticks for every test, for every closed place
//! and for every other configuration. A pair may be *charged* an amount as long as every
//! test that tells it apart is paid in full from the two purses for the test and, as far as
//! they do not reach, from the purses for its place and its configuration. A place pays once
//! per pair, whichever of its tests asks. The sum of all charges is a lower bound (weak
//! duality), whatever the order and the amounts.
//!
//! What is left in the purses is worth something too: to make test t first costs at least the
//! bound plus everything left over for t (its reduced cost), as then all classes pay for t.
//!
//! Order decides how good the bound is: pairs that are hard to tell apart first, each charged
//! as much as it can bear. All amounts are whole numbers held exactly in `f64`.

use super::field::{Field, NONE, Spot, for_each};

/// A pair of classes and what it was charged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Charge {
    /// The class with the lower number.
    pub a: u16,
    /// The class with the higher number.
    pub b: u16,
    /// Ticks times weight.
    pub amount: f64,
}

/// No purse.
const NO_SLOT: u32 = u32::MAX;

/// Purses and what was drawn from them. Used again and again, as setting one up afresh
/// would cost more than filling it.
#[derive(Default)]
pub(super) struct Purses {
    stride: usize,
    words: usize,
    /// `class * stride + slot`; slots are tests, then places, then configurations.
    rest: Vec<f64>,
    /// For each class a bit for every test for which nothing at all is left.
    spent: Vec<u64>,
    /// Tests that need neither access nor a change where one stands.
    plain: Vec<u64>,
    all_plain: bool,
    place_slot: Vec<u32>,
    config_slot: Vec<u32>,
    grant: Vec<f64>,
    granted: Vec<u32>,
    /// The sum of all charges.
    pub total: f64,
    /// Entries touched, as a measure of effort that is the same on every machine.
    pub work: u64,
}

/// The pairs of what is left that must be told apart, hardest first, as places in the list of
/// members: `a << 16 | b`.
pub(super) fn pairs(field: &Field, members: &[u16]) -> Vec<u32> {
    let mut keyed: Vec<u64> = Vec::with_capacity(members.len() * members.len() / 2);
    for (b, j) in members.iter().enumerate() {
        for (a, i) in members[..b].iter().enumerate() {
            if field.label[*i as usize] != field.label[*j as usize] {
                // Positive floats sort like their bits.
                let key = u64::from(field.ease(*i, *j).to_bits());
                keyed.push(key << 32 | (a as u64) << 16 | b as u64);
            }
        }
    }
    keyed.sort_unstable();
    keyed.into_iter().map(|key| key as u32).collect()
}

/// Takes `amount` from two purses, the fuller one first.
fn take(rest: &mut [f64], one: usize, other: usize, amount: f64) {
    let (x, y) = (rest[one], rest[other]);
    if x >= y {
        let first = amount.min(x);
        rest[one] = x - first;
        rest[other] = y - (amount - first);
    } else {
        let first = amount.min(y);
        rest[other] = y - first;
        rest[one] = x - (amount - first);
    }
}

impl Purses {
    /// Fills every purse for where one stands.
    pub(super) fn begin(&mut self, field: &Field, spot: &Spot) {
        let (m, places, configs) = (field.m, field.access.len(), field.change.len());
        self.stride = m + places + configs;
        self.words = field.words;
        self.total = 0.0;
        self.all_plain = true;
        self.plain.clear();
        self.plain.resize(field.words, u64::MAX);
        self.place_slot.clear();
        self.place_slot.resize(m, NO_SLOT);
        self.config_slot.clear();
        self.config_slot.resize(m, NO_SLOT);
        self.grant.clear();
        self.grant.resize(places + configs, 0.0);
        for t in 0..m {
            let (place, needs) = (field.place[t], field.needs[t]);
            if place != NONE && spot.open >> place & 1 == 0 && field.access[place as usize] > 0.0 {
                self.place_slot[t] = m as u32 + u32::from(place);
            }
            if needs != NONE && needs != spot.config && field.change[needs as usize] > 0.0 {
                self.config_slot[t] = (m + places) as u32 + u32::from(needs);
            }
            if self.place_slot[t] != NO_SLOT || self.config_slot[t] != NO_SLOT {
                self.plain[t / 64] &= !(1 << (t % 64));
                self.all_plain = false;
            }
        }
        let k = spot.members.len();
        self.rest.clear();
        for i in &spot.members {
            let weight = field.weight[*i as usize];
            self.rest.extend(field.cost.iter().map(|c| c * weight));
            self.rest.extend(
                field
                    .access
                    .iter()
                    .enumerate()
                    .map(|(p, ticks)| if spot.open >> p & 1 == 0 { ticks * weight } else { 0.0 }),
            );
            self.rest.extend(
                field
                    .change
                    .iter()
                    .enumerate()
                    .map(|(c, ticks)| if c == spot.config as usize { 0.0 } else { ticks * weight }),
            );
        }
        let mut nothing = vec![0_u64; field.words];
        for t in 0..m {
            let free = field.cost[t] == 0.0 && self.plain[t / 64] >> (t % 64) & 1 == 1;
            nothing[t / 64] |= u64::from(free) << (t % 64);
        }
        self.spent.clear();
        for _ in 0..k {
            self.spent.extend_from_slice(&nothing);
        }
        self.work += (k * self.stride / 8) as u64;
    }

    /// What the purses of a class for a place and configuration of a test hold.
    fn setup(&self, row: usize, t: usize) -> f64 {
        let of = |slot: u32| if slot == NO_SLOT { 0.0 } else { self.rest[row + slot as usize] };
        of(self.place_slot[t]) + of(self.config_slot[t])
    }

    /// Charges a pair as much as it can bear, at most `most`; gives the amount.
    pub(super) fn charge(
        &mut self,
        field: &Field,
        (a, b): (usize, usize),
        row: &[u64],
        most: f64,
    ) -> f64 {
        let (sa, sb) = (a * self.words, b * self.words);
        for (w, bits) in row.iter().enumerate() {
            if bits & self.spent[sa + w] & self.spent[sb + w] != 0 {
                return 0.0;
            }
        }
        let (ra, rb) = (a * self.stride, b * self.stride);
        let mut amount = most;
        let mut touched = 0;
        for_each(row, |t| {
            touched += 1;
            let mut room = self.rest[ra + t] + self.rest[rb + t];
            if self.plain[t / 64] >> (t % 64) & 1 == 0 {
                room += self.setup(ra, t) + self.setup(rb, t);
            }
            amount = amount.min(room);
        });
        self.work += 2 * touched;
        if amount == 0.0 || amount == f64::INFINITY {
            return 0.0;
        }
        for (w, bits) in row.iter().enumerate() {
            let mut left = bits & self.plain[w];
            while left != 0 {
                let bit = left & left.wrapping_neg();
                let t = w * 64 + left.trailing_zeros() as usize;
                left ^= bit;
                take(&mut self.rest, ra + t, rb + t, amount);
                if self.rest[ra + t] == 0.0 {
                    self.spent[sa + w] |= bit;
                }
                if self.rest[rb + t] == 0.0 {
                    self.spent[sb + w] |= bit;
                }
            }
        }
        if !self.all_plain {
            self.draw_setups(field, (a, b), row, amount);
        }
        self.total += amount;
        amount
    }

    /// Draws an amount for the tests that need access or a change: from their own purses
    /// first, and only what is short from those of place and configuration.
    fn draw_setups(&mut self, field: &Field, (a, b): (usize, usize), row: &[u64], amount: f64) {
        let (ra, rb) = (a * self.stride, b * self.stride);
        self.granted.clear();
        let mut both: Vec<(usize, f64)> = Vec::new();
        for (w, bits) in row.iter().enumerate() {
            let mut left = bits & !self.plain[w];
            while left != 0 {
                let t = w * 64 + left.trailing_zeros() as usize;
                left &= left - 1;
                let own = amount.min(self.rest[ra + t] + self.rest[rb + t]);
                take(&mut self.rest, ra + t, rb + t, own);
                let short = amount - own;
                if short > 0.0 {
                    match (self.place_slot[t], self.config_slot[t]) {
                        (slot, NO_SLOT) | (NO_SLOT, slot) => self.ask(field, slot, short),
                        _ => both.push((t, short)),
                    }
                }
            }
        }
        for (t, short) in both {
            let (place, config) = (self.place_slot[t], self.config_slot[t]);
            let at = |slot: u32| slot as usize - field.m;
            let given = self.grant[at(place)] + self.grant[at(config)];
            if short > given {
                let most = self.rest[ra + place as usize] + self.rest[rb + place as usize];
                let more = (short - given).min(most - self.grant[at(place)]);
                let raised = self.grant[at(place)] + more;
                self.ask(field, place, raised);
                let raised = self.grant[at(config)] + (short - given - more);
                self.ask(field, config, raised);
            }
        }
        let granted = std::mem::take(&mut self.granted);
        for slot in &granted {
            let at = *slot as usize - field.m;
            let amount = std::mem::take(&mut self.grant[at]);
            take(&mut self.rest, ra + *slot as usize, rb + *slot as usize, amount);
        }
        self.granted = granted;
        for class in [a, b] {
            self.mark(class, row);
            for at in 0..self.granted.len() {
                let slot = self.granted[at] as usize;
                if self.rest[class * self.stride + slot] == 0.0 {
                    let places = field.access.len();
                    let of = slot - field.m;
                    let tests =
                        if of < places { field.tests_at(of) } else { field.tests_in(of - places) };
                    self.mark(class, tests);
                }
            }
        }
    }

    /// Raises what a place or configuration grants the pair at hand to at least an amount.
    fn ask(&mut self, field: &Field, slot: u32, amount: f64) {
        let at = slot as usize - field.m;
        if amount > self.grant[at] {
            if self.grant[at] == 0.0 {
                self.granted.push(slot);
            }
            self.grant[at] = amount;
        }
    }

    /// Notes which of some tests a class has nothing left for.
    fn mark(&mut self, class: usize, tests: &[u64]) {
        let row = class * self.stride;
        for (w, bits) in tests.iter().enumerate() {
            let mut left = bits & !self.plain[w];
            while left != 0 {
                let bit = left & left.wrapping_neg();
                let t = w * 64 + left.trailing_zeros() as usize;
                left ^= bit;
                if self.rest[row + t] == 0.0 && self.setup(row, t) == 0.0 {
                    self.spent[class * self.words + w] |= bit;
                }
            }
        }
    }

    /// Charges pairs in their order, each as much as it can bear; `note` sees every charge.
    pub(super) fn fill(
        &mut self,
        field: &Field,
        members: &[u16],
        pairs: &[u32],
        mut note: impl FnMut(Charge),
    ) {
        self.work += pairs.len() as u64;
        for pair in pairs {
            let (a, b) = ((pair >> 16) as usize, (pair & 0xffff) as usize);
            let (i, j) = (members[a], members[b]);
            let amount = self.charge(field, (a, b), field.apart(i, j), f64::INFINITY);
            if amount > 0.0 {
                note(Charge { a: i, b: j, amount });
            }
        }
    }

    /// What is left over for a test in all purses: to make it first costs at least the bound
    /// and this.
    pub(super) fn slack(&self, test: usize) -> f64 {
        let rows = self.rest.chunks_exact(self.stride);
        let mut sum = 0.0;
        for row in rows {
            sum += row[test];
            for slot in [self.place_slot[test], self.config_slot[test]] {
                if slot != NO_SLOT {
                    sum += row[slot as usize];
                }
            }
        }
        sum
    }
}
