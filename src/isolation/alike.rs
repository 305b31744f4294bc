//! Which things that candidates would show can be told apart for certain.

use std::collections::BTreeMap;

use crate::observation::Showing;

/// What a candidate shows that has no steady state there.
const NONE: u32 = u32::MAX;

/// Numbers what candidates show of one thing; the same number where an instrument's error
/// could make them read alike.
///
/// Readings of one range are sorted, and each is joined to the next if the highest mark of
/// the one and the lowest of the other meet.
pub(super) fn codes(shown: &[Option<Showing>]) -> Vec<u32> {
    let mut spans: Vec<(u8, i64, i64, usize)> = Vec::new();
    let mut codes = vec![NONE; shown.len()];
    for (at, showing) in shown.iter().enumerate() {
        match showing {
            None => {}
            Some(Showing::Look(look)) => codes[at] = *look as u32,
            Some(Showing::Position(position)) => codes[at] = u32::from(*position),
            Some(Showing::Dial(dial)) => {
                let (low, high) = (dial.reading(-1.0), dial.reading(1.0));
                spans.push((dial.range, low.mark, high.mark, at));
            }
        }
    }
    spans.sort_unstable();
    // Words come first; there are fewer of them than this.
    let mut code = 1000;
    let mut reached: Option<(u8, i64)> = None;
    for (range, low, high, at) in spans {
        match reached {
            Some((same, mark)) if same == range && low <= mark => {
                reached = Some((range, mark.max(high)));
            }
            _ => {
                code += 1;
                reached = Some((range, high));
            }
        }
        codes[at] = code;
    }
    codes
}

/// Numbers rows of codes: the same number for the same row, in the order of their first.
pub(super) fn outcomes(rows: impl IntoIterator<Item = Vec<u32>>) -> Vec<u16> {
    let mut known: BTreeMap<Vec<u32>, u16> = BTreeMap::new();
    rows.into_iter()
        .map(|row| {
            let next = known.len() as u16;
            *known.entry(row).or_insert(next)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observation::{Dial, Look};

    fn dial(exact: f64) -> Showing {
        Showing::Dial(Dial { exact, error: 0.02, step: 0.01, last: 100, range: 0 })
    }

    #[test]
    fn readings_that_an_error_could_exchange_are_alike() {
        // 0.50 and 0.53 overlap, 0.53 and 0.56 too, 0.70 stands apart.
        let codes =
            codes(&[Some(dial(0.5)), Some(dial(0.56)), Some(dial(0.53)), Some(dial(0.7)), None]);
        assert_eq!(codes[0], codes[1]);
        assert_eq!(codes[0], codes[2]);
        assert_ne!(codes[0], codes[3]);
        assert_eq!(codes[4], NONE);
    }

    #[test]
    fn words_and_readings_are_never_alike() {
        let look = |look| Some(Showing::Look(look));
        let codes =
            codes(&[look(Look::Dark), look(Look::Bright), look(Look::Dark), Some(dial(0.0))]);
        assert_eq!(codes[0], codes[2]);
        assert_ne!(codes[0], codes[1]);
        assert!(codes[3] > 1000);
        assert_eq!(outcomes([vec![7], vec![3], vec![7]]), [0, 1, 0]);
    }
}
