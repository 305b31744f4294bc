//! What is best when few classes are left, by trying everything.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use super::field::{Field, NONE, for_each};

/// The most classes for which everything is tried.
pub(super) const FEW: usize = 8;

/// A quick hash for keys of whole words. The maps are only ever asked for one key, never
/// gone through, so nothing depends on the order it gives.
#[derive(Default)]
pub(super) struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 29)
    }
    fn write(&mut self, bytes: &[u8]) {
        for chunk in bytes.chunks(8) {
            let mut word = [0_u8; 8];
            word[..chunk.len()].copy_from_slice(chunk);
            self.write_u64(u64::from_le_bytes(word));
        }
    }
    fn write_u64(&mut self, word: u64) {
        self.0 = (self.0.rotate_left(5) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}

/// A map with that hash.
pub(super) type Map<K, V> = HashMap<K, V, BuildHasherDefault<Mix>>;

/// Up to eight members, what is open, what is set.
type Key = (u128, u64, u16);

/// Exact costs of small sets, remembered.
#[derive(Default)]
pub(super) struct Small {
    known: Map<Key, (f64, u16)>,
    /// Entries touched.
    pub work: u64,
}

/// A bound that is quick: every class makes at least the cheapest test that parts it from the
/// class that is dearest to part from.
fn quick(field: &Field, members: &[u16]) -> f64 {
    let mut sum = 0.0;
    for i in members {
        let mut most = 0.0_f64;
        for j in members {
            if field.label[*i as usize] != field.label[*j as usize] {
                most = most.max(field.cheapest(*i, *j));
            }
        }
        sum += most * field.weight[*i as usize];
    }
    sum
}

impl Small {
    /// The least ticks times weight and the test to make first ([`NONE`] when nothing is left
    /// to do), for at most [`FEW`] members.
    pub(super) fn solve(
        &mut self,
        field: &Field,
        members: &[u16],
        open: u64,
        config: u16,
    ) -> (f64, u16) {
        if field.settled(members) {
            return (0.0, NONE);
        }
        let mass = field.mass(members);
        if let [i, j] = members {
            let mut best = (f64::INFINITY, NONE);
            for_each(field.apart(*i, *j), |t| {
                self.work += 1;
                let ticks = field.price(t, open, config) * mass;
                if ticks < best.0 {
                    best = (ticks, t as u16);
                }
            });
            return best;
        }
        let spot = field.settle(members.to_vec(), open, config);
        let packed = members.iter().fold(0_u128, |key, i| key << 16 | u128::from(i + 1));
        let key = (packed, spot.open, spot.config);
        if let Some(found) = self.known.get(&key) {
            return *found;
        }
        let mut tries: Vec<(f64, u16)> = Vec::new();
        for_each(&field.useful(members), |t| {
            let mut least = field.price(t, spot.open, spot.config) * mass;
            each_part(field, members, t, |part| least += quick(field, part));
            self.work += members.len() as u64;
            tries.push((least, t as u16));
        });
        tries.sort_unstable_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
        let mut best = (f64::INFINITY, NONE);
        for (least, t) in tries {
            if least >= best.0 {
                break;
            }
            let test = t as usize;
            let (open, config) = field.setup_after(test, spot.open, spot.config);
            let mut sum = field.price(test, spot.open, spot.config) * mass;
            each_part(field, members, test, |part| {
                if sum < best.0 {
                    sum += self.solve(field, part, open, config).0;
                }
            });
            if sum < best.0 {
                best = (sum, t);
            }
        }
        self.known.insert(key, best);
        best
    }
}

/// Calls with each part of a small set, without allocating.
fn each_part(field: &Field, members: &[u16], test: usize, mut call: impl FnMut(&[u16])) {
    let row = &field.shown[test * field.n..(test + 1) * field.n];
    let mut done = [false; FEW];
    for at in 0..members.len() {
        if done[at] {
            continue;
        }
        let shown = row[members[at] as usize];
        let mut part = [0_u16; FEW];
        let mut count = 0;
        for (other, i) in members.iter().enumerate().skip(at) {
            if row[*i as usize] == shown {
                done[other] = true;
                part[count] = *i;
                count += 1;
            }
        }
        call(&part[..count]);
    }
}
