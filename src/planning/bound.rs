//! A lower bound on what any strategy costs, by pricing the pairs that must be told apart.
//!
//! Let y(i,t) = 1 when test t lies on the path of class i, and z(i,j,t) = 1 when t is the test
//! that parts i from j. Exactly one test parts them, and both pay for it:
//! sum over t of z(i,j,t) = 1, z(i,j,t) <= y(i,t), z(i,j,t) <= y(j,t); and, as at most one of
//! these is 1, the sum of z(i,j,t) over the tests of one place is at most 1 if i opens the
//! place and 0 if not; likewise for a configuration that is not current. A test that needs
//! such a configuration counts for the closed places of that as well as for its own: whatever
//! strategy makes it from here has to open them first. The expected cost is
//! the sum of weight x ticks over all that each class pays. The dual of this linear programme
//! is a packing: class i has a purse of weight x ticks for every test, for every closed place
//! and for every other configuration. A pair may be *charged* an amount as long as every
//! test that tells it apart is paid in full from the two purses for the test and, as far as
//! they do not reach, from the purses for its place, for the places of its configuration and
//! for its configuration. A place pays once per pair, whichever of its tests asks. The sum of
//! all charges is a lower bound (weak duality), whatever the order and the amounts.
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

/// One entry of a [`Book`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Payment {
    /// The class with the lower number.
    pub a: u16,
    /// The class with the higher number.
    pub b: u16,
    /// What the pair is charged.
    pub amount: f64,
    /// Where its draws end in the book.
    end: u32,
}

/// Charges together with who pays for them.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Book {
    payments: Vec<Payment>,
    /// For each slot (a test, a place, a configuration, in one numbering) what each of the
    /// two classes draws; those of places and configurations come first.
    draws: Vec<(u32, f64, f64)>,
}

impl Book {
    /// Adds a payment; gives its draws when it is the next to be read.
    pub(super) fn add(&mut self, a: u16, b: u16, amount: f64, draws: &[(u32, f64, f64)]) {
        self.draws.extend_from_slice(draws);
        let end = self.draws.len() as u32;
        self.payments.push(Payment { a, b, amount, end });
    }

    /// Every payment with its draws.
    pub(super) fn each(&self) -> impl Iterator<Item = (&Payment, &[(u32, f64, f64)])> {
        let mut from = 0;
        self.payments.iter().map(move |one| {
            let draws = &self.draws[from..one.end as usize];
            from = one.end as usize;
            (one, draws)
        })
    }

    /// The payments as far as they hold in a standing that follows: those of pairs that are
    /// still together, less what was drawn for a place that is open or a configuration that
    /// is current by now.
    pub(super) fn inherit(&self, field: &Field, spot: &Spot) -> Book {
        let mut book = Book::default();
        if self.payments.is_empty() {
            return book;
        }
        let mut left = vec![false; field.n];
        for i in &spot.members {
            left[*i as usize] = true;
        }
        let (m, places) = (field.m, field.access.len());
        let free = |slot: usize| {
            slot >= m
                && if slot < m + places {
                    spot.open >> (slot - m) & 1 == 1
                } else {
                    (slot - m - places) as u16 == spot.config
                }
        };
        let mut grants = vec![0.0; places + field.change.len()];
        let mut kept: Vec<(u32, f64, f64)> = Vec::new();
        for (one, draws) in self.each() {
            if !left[one.a as usize] || !left[one.b as usize] {
                continue;
            }
            let setups = draws.iter().take_while(|draw| draw.0 as usize >= m);
            let lost: f64 =
                setups.filter(|draw| free(draw.0 as usize)).map(|(_, x, y)| x + y).sum();
            let amount = one.amount - lost;
            if amount < 1.0 {
                continue;
            }
            kept.clear();
            for (slot, x, y) in draws {
                let s = *slot as usize;
                if s >= m {
                    if !free(s) {
                        grants[s - m] = x + y;
                        kept.push((*slot, *x, *y));
                    }
                    continue;
                }
                let (place, needs) = (field.place[s], field.needs[s]);
                let far = field.far(s, spot.open, spot.config);
                let mut own = amount;
                if place != NONE {
                    own -= grants[place as usize];
                }
                for_each(&[far], |place| own -= grants[place]);
                if needs != NONE {
                    own -= grants[places + needs as usize];
                }
                if own > 0.0 {
                    let x = x.min(own);
                    kept.push((*slot, x, own - x));
                }
            }
            for (slot, _, _) in kept.iter().take_while(|draw| draw.0 as usize >= m) {
                grants[*slot as usize - m] = 0.0;
            }
            book.add(one.a, one.b, amount, &kept);
        }
        book
    }
}

/// How many purses a test may draw from beside its own.
const SETUPS: usize = 4;

/// Purses and what was drawn from them. Used again and again, as setting one up afresh
/// would cost more than filling it.
#[derive(Default)]
pub(super) struct Purses {
    stride: usize,
    words: usize,
    /// `class * stride + slot`; slots are tests, places, configurations
    /// and one that is always empty.
    rest: Vec<f64>,
    /// For each class a bit for every test for which nothing at all is left.
    spent: Vec<u64>,
    /// Tests that need neither access nor a change where one stands.
    plain: Vec<u64>,
    /// For each test what it draws from beside its own purse: those of its place, of the
    /// places of its configuration, and of its configuration.
    setups: Vec<[u32; SETUPS]>,
    grant: Vec<f64>,
    granted: Vec<usize>,
    short: Vec<(u32, f64)>,
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

/// The lesser of two; plain `<` compiles to one instruction, `f64::min` minds NaN.
fn least(x: f64, y: f64) -> f64 {
    if x < y { x } else { y }
}

/// What a class has left for a test beside the test's own purse.
fn granted(row: &[f64], setups: &[u32; SETUPS]) -> f64 {
    let [p, f, g, c] = setups.map(|slot| slot as usize);
    (row[p] + row[f]) + (row[g] + row[c])
}

/// What is left in two purses after an amount is taken, from the fuller one first.
fn take(x: f64, y: f64, amount: f64) -> (f64, f64) {
    if x >= y {
        let first = least(amount, x);
        (x - first, y - (amount - first))
    } else {
        let first = least(amount, y);
        (x - (amount - first), y - first)
    }
}

impl Purses {
    /// Fills every purse for where one stands.
    pub(super) fn begin(&mut self, field: &Field, spot: &Spot) {
        let (m, places, configs) = (field.m, field.access.len(), field.change.len());
        self.stride = m + places + configs + 1;
        // A purse that is always empty stands for what a test does not need.
        let none = (self.stride - 1) as u32;
        self.words = field.words;
        self.total = 0.0;
        self.plain.clear();
        self.plain.resize(field.words, u64::MAX);
        self.setups.clear();
        self.setups.resize(m, [none; SETUPS]);
        self.grant.clear();
        self.grant.resize(self.stride, 0.0);
        for t in 0..m {
            let (place, needs) = (field.place[t], field.needs[t]);
            let setups = &mut self.setups[t];
            if place != NONE && spot.open >> place & 1 == 0 && field.access[place as usize] > 0.0 {
                setups[0] = m as u32 + u32::from(place);
            }
            let mut at = 1;
            for_each(&[field.far(t, spot.open, spot.config)], |far| {
                if field.access[far] > 0.0 {
                    setups[at] = (m + far) as u32;
                    at += 1;
                }
            });
            if needs != NONE && needs != spot.config && field.change[needs as usize] > 0.0 {
                setups[3] = (m + places) as u32 + u32::from(needs);
            }
            if *setups != [none; SETUPS] {
                self.plain[t / 64] &= !(1 << (t % 64));
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
            self.rest.push(0.0);
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

    /// Charges a pair as much as it can bear and gives the amount.
    fn charge(&mut self, field: &Field, (a, b): (usize, usize), row: &[u64]) -> f64 {
        let words = self.words;
        // The two classes' purses and marks as slices of their own; `a` comes before `b`.
        let (low, high) = self.rest.split_at_mut(b * self.stride);
        let one = &mut low[a * self.stride..(a + 1) * self.stride];
        let other = &mut high[..self.stride];
        let (low, high) = self.spent.split_at_mut(b * words);
        let one_spent = &mut low[a * words..(a + 1) * words];
        let other_spent = &mut high[..words];
        let mut amount = f64::INFINITY;
        let mut touched = 0;
        for (w, bits) in row.iter().enumerate() {
            touched += bits.count_ones();
            let mut left = bits & self.plain[w];
            while left != 0 {
                let t = w * 64 + left.trailing_zeros() as usize;
                left &= left - 1;
                amount = least(amount, one[t] + other[t]);
            }
            let mut left = bits & !self.plain[w];
            while left != 0 {
                let t = w * 64 + left.trailing_zeros() as usize;
                left &= left - 1;
                let [p, f, g, c] = self.setups[t].map(|slot| slot as usize);
                let own = (one[t] + other[t]) + (one[p] + other[p]) + (one[f] + other[f]);
                amount = least(amount, own + (one[g] + other[g]) + (one[c] + other[c]));
            }
        }
        self.work += 2 * u64::from(touched);
        if amount == 0.0 || amount == f64::INFINITY {
            return 0.0;
        }
        self.short.clear();
        for (w, bits) in row.iter().enumerate() {
            let mut left = bits & self.plain[w];
            while left != 0 {
                let bit = left & left.wrapping_neg();
                let t = w * 64 + left.trailing_zeros() as usize;
                left ^= bit;
                let (x, y) = take(one[t], other[t], amount);
                one[t] = x;
                other[t] = y;
                one_spent[w] |= if x == 0.0 { bit } else { 0 };
                other_spent[w] |= if y == 0.0 { bit } else { 0 };
            }
            let mut left = bits & !self.plain[w];
            while left != 0 {
                let bit = left & left.wrapping_neg();
                let t = w * 64 + left.trailing_zeros() as usize;
                left ^= bit;
                let own = least(amount, one[t] + other[t]);
                let (x, y) = take(one[t], other[t], own);
                one[t] = x;
                other[t] = y;
                let setups = &self.setups[t];
                one_spent[w] |= if x + granted(one, setups) == 0.0 { bit } else { 0 };
                other_spent[w] |= if y + granted(other, setups) == 0.0 { bit } else { 0 };
                if own < amount {
                    self.short.push((t as u32, amount - own));
                }
            }
        }
        if !self.short.is_empty() {
            self.draw_setups(field, a, b);
        }
        self.total += amount;
        amount
    }

    /// Draws what tests were short of from the purses of places and configurations. Each pays
    /// a pair once, whichever of its tests asks for most; a test with several asks them in
    /// order, after those that have only one.
    fn draw_setups(&mut self, field: &Field, a: usize, b: usize) {
        let (ra, rb) = (a * self.stride, b * self.stride);
        let none = self.stride - 1;
        for at in 0..self.short.len() {
            let (t, lacking) = self.short[at];
            if let Some(only) = self.only(t as usize, none) {
                self.ask(only, lacking);
            }
        }
        for at in 0..self.short.len() {
            let (t, lacking) = self.short[at];
            let slots = self.setups[t as usize].map(|slot| slot as usize);
            if self.only(t as usize, none).is_some() {
                continue;
            }
            let mut rest = lacking - slots.iter().map(|slot| self.grant[*slot]).sum::<f64>();
            for slot in slots {
                if rest > 0.0 && slot != none {
                    let there = self.rest[ra + slot] + self.rest[rb + slot];
                    let more = least(rest, there - self.grant[slot]);
                    self.ask(slot, self.grant[slot] + more);
                    rest -= more;
                }
            }
        }
        while let Some(slot) = self.granted.pop() {
            let amount = std::mem::take(&mut self.grant[slot]);
            let (x, y) = take(self.rest[ra + slot], self.rest[rb + slot], amount);
            self.rest[ra + slot] = x;
            self.rest[rb + slot] = y;
            let places = field.access.len();
            let of = slot - field.m;
            let tests = if of < places { field.tests_at(of) } else { field.tests_in(of - places) };
            for (class, left) in [(a, x), (b, y)] {
                if left == 0.0 {
                    self.mark(class, tests);
                }
            }
        }
    }

    /// The one purse that a test draws from beside its own, if there is just one.
    fn only(&self, test: usize, none: usize) -> Option<usize> {
        let mut slots = self.setups[test].iter().map(|slot| *slot as usize).filter(|s| *s != none);
        slots.next().filter(|_| slots.next().is_none())
    }

    /// Raises what a place or configuration grants the pair at hand to at least an amount.
    fn ask(&mut self, slot: usize, amount: f64) {
        if amount > self.grant[slot] {
            if self.grant[slot] == 0.0 {
                self.granted.push(slot);
            }
            self.grant[slot] = amount;
        }
    }

    /// Notes which of some tests a class has nothing left for.
    fn mark(&mut self, class: usize, tests: &[u64]) {
        let row = &self.rest[class * self.stride..(class + 1) * self.stride];
        for (w, bits) in tests.iter().enumerate() {
            let spent = &mut self.spent[class * self.words + w];
            let mut left = bits & !self.plain[w] & !*spent;
            while left != 0 {
                let bit = left & left.wrapping_neg();
                let t = w * 64 + left.trailing_zeros() as usize;
                left ^= bit;
                *spent |= if row[t] + granted(row, &self.setups[t]) == 0.0 { bit } else { 0 };
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
        self.work += (pairs.len() * (1 + self.words)) as u64;
        for pair in pairs {
            let (a, b) = ((pair >> 16) as usize, (pair & 0xffff) as usize);
            let (i, j) = (members[a], members[b]);
            let row = field.apart(i, j);
            // Most pairs cannot be charged, as neither class has anything left for one of the
            // tests. To look at all words at once, without leaving early, is quicker: the
            // processor then guesses right and fetches the next rows meanwhile.
            let one = &self.spent[a * self.words..(a + 1) * self.words];
            let other = &self.spent[b * self.words..(b + 1) * self.words];
            let mut dry = 0;
            for ((bits, x), y) in row.iter().zip(one).zip(other) {
                dry |= bits & x & y;
            }
            if dry != 0 {
                continue;
            }
            let amount = self.charge(field, (a, b), row);
            if amount > 0.0 {
                note(Charge { a: i, b: j, amount });
            }
        }
    }

    /// What is left in one purse.
    pub(super) fn left(&self, class: usize, slot: usize) -> f64 {
        self.rest[class * self.stride + slot]
    }

    /// Takes what one class draws from one purse.
    pub(super) fn draw(&mut self, class: usize, slot: usize, amount: f64) {
        let purse = &mut self.rest[class * self.stride + slot];
        debug_assert!(*purse >= amount, "a purse is overdrawn");
        *purse -= amount;
    }

    /// Makes all payments of a book.
    pub(super) fn pay_all(&mut self, field: &Field, members: &[u16], book: &Book) {
        if book.payments.is_empty() {
            return;
        }
        let mut at = vec![0_usize; field.n];
        for (place, i) in members.iter().enumerate() {
            at[*i as usize] = place;
        }
        for (one, draws) in book.each() {
            let (a, b) = (at[one.a as usize], at[one.b as usize]);
            for (slot, x, y) in draws {
                self.draw(a, *slot as usize, *x);
                self.draw(b, *slot as usize, *y);
            }
            self.total += one.amount;
        }
        self.work += 2 * book.draws.len() as u64;
        self.mark_all(field);
    }

    /// Notes for all classes what they have nothing left for, after payments.
    fn mark_all(&mut self, field: &Field) {
        for (class, row) in self.rest.chunks_exact(self.stride).enumerate() {
            for t in 0..field.m {
                let spent = u64::from(row[t] + granted(row, &self.setups[t]) == 0.0);
                self.spent[class * self.words + t / 64] |= spent << (t % 64);
            }
        }
    }

    /// Charges one pair as much as it can bear and gives the amount.
    pub(super) fn offer(&mut self, field: &Field, members: &[u16], pair: u32) -> f64 {
        let mut charged = 0.0;
        self.fill(field, members, &[pair], |charge| charged = charge.amount);
        charged
    }

    /// What is left over for a test in all purses: to make it first costs at least the bound
    /// and this.
    pub(super) fn slack(&self, test: usize) -> f64 {
        let rows = self.rest.chunks_exact(self.stride);
        let mut sum = 0.0;
        for row in rows {
            sum += row[test] + granted(row, &self.setups[test]);
        }
        sum
    }
}
