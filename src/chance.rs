//! The only randomness in the program: seeded, and a stream of its own per purpose.
//!
//! A drill draws its fault from one stream and each meter's error from another,
//! so adding a meter to a system does not change which fault a seed hides.

use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

/// A seeded stream of random numbers; same seed and purpose, same numbers,
/// on every machine (`ChaCha8`, a published algorithm).
pub struct Chance(ChaCha8Rng);

impl Chance {
    /// The stream for one purpose of one seed. The purpose is any stable text,
    /// such as `meter VM1`.
    pub fn stream(seed: u64, purpose: &str) -> Self {
        // FNV-1a (public domain): maps the purpose to a 64-bit number.
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        for byte in purpose.bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        let mut key = [0_u8; 32];
        key[..8].copy_from_slice(&seed.to_le_bytes());
        key[8..16].copy_from_slice(&hash.to_le_bytes());
        Self(ChaCha8Rng::from_seed(key))
    }

    /// A number in `[0, 1)`.
    pub fn unit(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// A number in `[-1, 1)`.
    pub fn signed(&mut self) -> f64 {
        2.0 * self.unit() - 1.0
    }

    /// The index of one of `weights`, drawn in proportion; `None` when no weight
    /// is positive.
    pub fn weighted(&mut self, weights: &[f64]) -> Option<usize> {
        let total: f64 = weights.iter().filter(|w| **w > 0.0).sum();
        if total <= 0.0 {
            return None;
        }
        let mut left = self.unit() * total;
        let mut last = None;
        for (index, weight) in weights.iter().enumerate().filter(|(_, w)| **w > 0.0) {
            last = Some(index);
            if left < *weight {
                break;
            }
            left -= weight;
        }
        last
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_depends_on_seed_and_purpose_alone() {
        let draw = |seed, purpose| Chance::stream(seed, purpose).unit();
        assert_eq!(draw(7, "fault"), draw(7, "fault"));
        assert_ne!(draw(7, "fault"), draw(8, "fault"));
        assert_ne!(draw(7, "fault"), draw(7, "meter"));
    }

    #[test]
    fn weights_of_zero_are_never_drawn() {
        let mut chance = Chance::stream(1, "test");
        for _ in 0..1000 {
            assert_eq!(chance.weighted(&[0.0, 2.0, 0.0]), Some(1));
        }
        assert_eq!(chance.weighted(&[0.0]), None);
    }
}
