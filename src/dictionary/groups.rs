//! What looks alike: cases by all that they show.

use std::collections::BTreeMap;

use super::{Case, Entry, Shown};
use crate::observation::Percept;

/// What a case has shown in all setups so far, boiled down to 128 bits.
///
/// Two cases that show the same have the same fingerprint. That two which do not come
/// to share one is out of the question in practice: among a million cases it happens
/// once in some 10^26 dictionaries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fingerprint(u64, u64);

impl Fingerprint {
    /// The fingerprint after one more entry, of the next setup.
    #[must_use]
    pub fn with(self, entry: &Entry<'_>) -> Self {
        self.with_shown(entry.shown())
    }

    /// The fingerprint after some more that is shown.
    #[must_use]
    pub(super) fn with_shown(mut self, all: &[Shown]) -> Self {
        for shown in all {
            self.add(match shown.percept {
                Percept::Look(look) => look as u64,
                Percept::Position(at) => u64::from(at),
                Percept::Reading(reading) => {
                    (1 << 63)
                        | (u64::from(reading.range) << 48)
                        | (reading.mark as u64 & 0xffff_ffff)
                }
            });
        }
        self
    }

    /// The same where that entry has no solution.
    #[must_use]
    pub fn with_no_solution(mut self) -> Self {
        self.add(u64::MAX);
        self
    }

    /// Mixes in one word: multiplications by odd constants with shifts between, as in
    /// `SplitMix64` (Steele, Lea and Flood 2014, from memory), on two lanes.
    fn add(&mut self, word: u64) {
        let mix = |lane: u64, by: u64| {
            let mut z = (lane ^ word).wrapping_add(by);
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        };
        *self = Self(mix(self.0, 0x9e37_79b9_7f4a_7c15), mix(self.1, 0xd1b5_4a32_d192_ed03));
    }
}

/// Cases grouped by what they show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Groups {
    /// Cases that show what the sound aircraft shows, in every setup.
    pub nothing: Vec<Case>,
    /// Groups of more than one that cannot be told apart, in the order of their first.
    pub alike: Vec<Vec<Case>>,
    /// How many are told apart from all others.
    pub apart: usize,
}

impl Groups {
    /// Groups cases by their fingerprints; `sound` is that of [`Case::Sound`].
    pub fn of(cases: &[Case], fingerprints: &[Fingerprint], sound: Fingerprint) -> Self {
        let mut groups: BTreeMap<Fingerprint, Vec<Case>> = BTreeMap::new();
        for (case, fingerprint) in cases.iter().zip(fingerprints) {
            if *case != Case::Sound {
                groups.entry(*fingerprint).or_default().push(*case);
            }
        }
        let nothing = groups.remove(&sound).unwrap_or_default();
        let apart = groups.values().filter(|group| group.len() == 1).count();
        let mut alike: Vec<Vec<Case>> =
            groups.into_values().filter(|group| group.len() > 1).collect();
        alike.sort();
        Self { nothing, alike, apart }
    }
}
