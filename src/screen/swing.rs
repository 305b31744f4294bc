//! A pointer that swings to its new place and settles there.
//!
//! Time comes in as an argument: where a pointer stands is a function of where it was,
//! where it goes and how long it has been on its way. While one moves, nothing on the
//! screen tells where it will come to rest.

use std::time::Duration;

use crate::circuit::PartId;
use crate::drill::View;

/// After so long a pointer stands still (a well-damped movement settles in well under a
/// second; common practice, no published source).
pub const SETTLES: Duration = Duration::from_millis(600);

/// What stands where the reading will, while a pointer moves.
const NOT_YET: &str = "settling";

/// Pointers on their way at one station.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Swing {
    began: Duration,
    from: Vec<(PartId, f64)>,
}

impl Swing {
    /// The swing from what was seen before a step to what is seen after it; `None` when
    /// no pointer has moved or one stands elsewhere.
    pub(super) fn between(before: &View, after: &View, began: Duration) -> Option<Self> {
        if before.station != after.station {
            return None;
        }
        let from: Vec<(PartId, f64)> = after
            .needles
            .iter()
            .filter_map(|now| {
                let then = before.needles.iter().find(|needle| needle.part == now.part)?;
                (then.fraction != now.fraction).then_some((now.part, then.fraction))
            })
            .collect();
        (!from.is_empty()).then_some(Self { began, from })
    }

    /// Whether everything has come to rest.
    pub(super) fn is_over(&self, now: Duration) -> bool {
        now.saturating_sub(self.began) >= SETTLES
    }

    /// Puts the pointers where they are now, and says nothing of where they go.
    pub(super) fn show(&self, now: Duration, view: &mut View) {
        for needle in &mut view.needles {
            if let Some((_, from)) = self.from.iter().find(|(part, _)| *part == needle.part) {
                needle.fraction = place(*from, needle.fraction, now.saturating_sub(self.began));
                NOT_YET.clone_into(&mut needle.words);
            }
        }
    }
}

/// Where a pointer is, as a fraction of its arc, so long after it left `from` for `to`.
///
/// An underdamped swing of the second order, damping 0.7 of critical, so that it passes
/// its place by a twentieth and comes back; the stops hold it within the arc.
fn place(from: f64, to: f64, elapsed: Duration) -> f64 {
    const DAMPING: f64 = 0.7;
    /// Radians a second; the envelope has fallen to a hundredth at [`SETTLES`].
    const NATURAL: f64 = 11.0;
    if elapsed >= SETTLES {
        return to;
    }
    let t = elapsed.as_secs_f64();
    let damped = NATURAL * libm::sqrt(1.0 - DAMPING * DAMPING);
    let decay = libm::exp(-DAMPING * NATURAL * t);
    let ring = libm::cos(damped * t) + DAMPING * NATURAL / damped * libm::sin(damped * t);
    (to + (from - to) * decay * ring).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pointer_starts_where_it_was_and_ends_where_it_goes() {
        let at = |millis| place(0.2, 0.7, Duration::from_millis(millis));
        assert!((at(0) - 0.2).abs() < 1e-12);
        assert_eq!(at(600), 0.7);
        assert!((at(590) - 0.7).abs() < 0.01, "it does not jump at the end: {}", at(590));
        // It passes its place once, by about a twentieth of the way.
        let farthest = (0..600).map(at).fold(0.0, f64::max);
        assert!((0.71..0.74).contains(&farthest), "{farthest}");
        assert!((0..600).all(|ms| (0.0..=1.0).contains(&place(
            0.9,
            1.0,
            Duration::from_millis(ms)
        ))));
    }
}
