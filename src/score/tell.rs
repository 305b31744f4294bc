//! The debrief in words that the plain lines, the screen and the page share: the marks and par
//! in a line each, why faults are out, and what the figures mean.

use std::collections::BTreeMap;

use super::debrief::{Debrief, ExclusionLine, Row};
use super::reckon::Par;
use super::rubric::Rubric;
use crate::units::{bits, minutes};

/// What the figures and signs of a debrief mean, a term and its meaning each. One word for
/// one thing wherever a debrief is told.
pub const LEGEND: [(&str, &str); 6] = [
    (
        "expect",
        "what a step could be expected to tell about which repair is due, in bits; one bit \
         halves the doubt",
    ),
    (
        "gained",
        "what it did tell; less than nothing where it spoke against what had seemed likeliest \
         and so left more open than before",
    ),
    ("most", "what the step would have told that then told most a minute, its minutes in mind"),
    (
        "planned",
        "the step that leads to a proven call in the fewest expected minutes; par is what that \
         plan takes, and minutes lost are counted against it alone. It reckons with looks, \
         controls, exchanges and readings as things stand, not with powering down for ohms",
    ),
    ("!", "the step went against a caution"),
    ("a", "advice was asked for before the step"),
];

/// Faults of one reason told by name where there is little room.
pub const FEW_FAULTS: usize = 8;

/// Why faults are out: one step that showed one thing.
#[derive(Clone, Debug, PartialEq)]
pub struct Reason<'a> {
    /// The step, by its place in the log; `None` for the write-up.
    pub row: Option<usize>,
    /// What was seen, and what it would have been.
    pub why: &'a str,
    /// The faults that it put out, as `PART:MODE`.
    pub faults: Vec<&'a str>,
}

impl Reason<'_> {
    /// The step in words: `step 3`, `write-up`.
    pub fn by(&self) -> String {
        self.row.map_or("write-up".to_owned(), |row| format!("step {}", row + 1))
    }

    /// The faults, those of one part together: `W1 open, chafed; K3 coil-open`. With `most`
    /// no more of them than that, and how many more there are.
    pub fn faults_told(&self, most: Option<usize>) -> String {
        let shown = most.map_or(self.faults.len(), |most| most.min(self.faults.len()));
        let mut told = String::new();
        let mut last = None;
        for fault in &self.faults[..shown] {
            // Two faults at once stay together as they are typed.
            let split = if fault.contains(" + ") { None } else { fault.split_once(':') };
            match split {
                Some((part, mode)) if last == Some(part) => {
                    told.push_str(", ");
                    told.push_str(mode);
                }
                _ => {
                    if !told.is_empty() {
                        told.push_str("; ");
                    }
                    let (part, mode) = split.unwrap_or((fault, ""));
                    told.push_str(part);
                    if !mode.is_empty() {
                        told.push(' ');
                        told.push_str(mode);
                    }
                    last = split.map(|(part, _)| part);
                }
            }
        }
        match self.faults.len() - shown {
            0 => told,
            more => format!("{told}; and {more} more"),
        }
    }
}

impl Row {
    /// The step that told most a minute then, where that is another than was done and the
    /// remark does not name it.
    pub fn most_told(&self) -> Option<String> {
        let best = self.best.as_ref().filter(|_| self.names_most)?;
        Some(format!(
            "most a minute then: {}, {} for {}",
            best.step,
            bits(best.bits),
            minutes(best.minutes)
        ))
    }

    /// Why less than nothing was gained, where that is so.
    pub fn loss_told(&self) -> Option<&'static str> {
        (self.gained_bits < -LEAST_LOSS_BITS).then_some(
            "it spoke against what had seemed likeliest, and so left more open than before",
        )
    }
}

/// Bits that two decimals show.
const LEAST_LOSS_BITS: f64 = 0.005;

impl Debrief {
    /// The faults that were still possible after so many steps, none for the write-up alone:
    /// those left at the call first, the likeliest of them first.
    pub fn possible_after(&self, steps: usize) -> Vec<&str> {
        let fell_later = |out: &&ExclusionLine| out.row.is_some_and(|row| row >= steps);
        let left = self.left.iter().map(|(fault, _)| fault.as_str());
        let later = self.exclusions.iter().filter(fell_later).map(|out| out.fault.as_str());
        left.chain(later).collect()
    }

    /// The reasons why faults are out, each with the faults it put out: by step, the write-up
    /// last because it is no work of the trainee, and what one step showed together.
    pub fn reasons(&self) -> Vec<Reason<'_>> {
        let mut reasons: Vec<Reason<'_>> = Vec::new();
        let mut places: BTreeMap<(usize, &str), usize> = BTreeMap::new();
        for line in &self.exclusions {
            let key = (line.row.unwrap_or(usize::MAX), line.why.as_str());
            let at = *places.entry(key).or_insert_with(|| {
                reasons.push(Reason { row: line.row, why: &line.why, faults: Vec::new() });
                reasons.len() - 1
            });
            reasons[at].faults.push(&line.fault);
        }
        let seen = |why: &str| why.split(';').next().unwrap_or_default().to_owned();
        reasons.sort_by_cached_key(|it| (it.row.unwrap_or(usize::MAX), seen(it.why)));
        reasons
    }

    /// The marks in one line.
    pub fn score_told(&self) -> String {
        let (score, rubric) = (&self.score, Rubric::shipped());
        let cap = score.cap.map_or_else(String::new, |(points, why)| {
            format!("; {points:.0} at the most, since {why}")
        });
        format!(
            "{:.0} points of 100: reasoning {:.0}/{:.0}, proof {:.0}/{:.0}, economy {:.0}/{:.0}, \
             practice {:.0}/{:.0}, belief {:.0}/{:.0}{cap}",
            score.total,
            score.reasoning,
            rubric.reasoning,
            score.proof,
            rubric.proof,
            score.economy,
            rubric.economy,
            score.practice,
            rubric.practice,
            score.belief,
            rubric.belief
        )
    }

    /// Par in one line.
    pub fn par_told(&self) -> String {
        let Par { minutes: par, least_minutes, own_minutes } = self.par;
        let proof = if par - least_minutes < 0.005 {
            "proved the least with the tests it reckons with".to_owned()
        } else {
            format!("no strategy takes less than {}", minutes(least_minutes))
        };
        let (least, _) = self.record.lost_minutes();
        format!(
            "par {}, expected over all that the write-up left ({proof}); its way takes {} to this \
             fault; you took {}, of which {} provably more than the planned steps",
            minutes(par),
            minutes(own_minutes),
            minutes(self.minutes),
            minutes(least)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faults_of_one_part_stand_together_and_the_rest_is_counted() {
        let faults = vec!["W1:open", "W1:chafed", "K3:coil-open", "A:x + B:y", "B:y"];
        let reason = Reason { row: Some(2), why: "", faults };
        assert_eq!(reason.by(), "step 3");
        assert_eq!(reason.faults_told(None), "W1 open, chafed; K3 coil-open; A:x + B:y; B y");
        assert_eq!(reason.faults_told(Some(2)), "W1 open, chafed; and 3 more");
        assert_eq!(reason.faults_told(Some(9)), reason.faults_told(None));
    }
}
