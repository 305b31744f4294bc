//! The rubric: what counts, and for how much. Data, not code: `assets/rubric.ron`.

use std::sync::OnceLock;

use serde::Deserialize;

/// What each part of the work is worth, and where points are lost. All of it in points
/// unless a name says minutes.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rubric {
    /// Points for steps as good as the best.
    pub reasoning: f64,
    /// Points for a right call that the observations prove.
    pub proof: f64,
    /// Points for needing no more minutes than par, and no good part.
    pub economy: f64,
    /// Points for keeping to the cautions.
    pub practice: f64,
    /// Points for a suspects board that agrees with what was seen.
    pub belief: f64,
    /// Share of par that may be lost until half the points for reasoning are.
    pub half_lost_at: f64,
    /// But at least so many minutes.
    pub half_lost_at_least_minutes: f64,
    /// Minutes that a step counts as lost beside its own when its outcome was known.
    pub implied_minutes: f64,
    /// Points for each question for the best next step.
    pub advice: f64,
    /// Points for each question what the last step was worth.
    pub judgement: f64,
    /// Points for each reminder of what has been shown.
    pub reminder: f64,
    /// Points for each good part changed though another step was better.
    pub good_part: f64,
    /// Points for each caution gone against.
    pub caution: f64,
    /// Points for a part exchanged and called without a look whether that has helped.
    pub unchecked: f64,
    /// Points for each mark that is contradicted.
    pub wrong_mark: f64,
    /// The most that a wrong call can get.
    pub wrong_call: f64,
    /// The most without a call.
    pub no_call: f64,
    /// The most for a right call without a proof.
    pub unproven: f64,
    /// The most with an exchange that was not called for.
    pub swapped: f64,
    /// The most with a good part changed so.
    pub swapped_good: f64,
    /// Measurements of the called part, once that is proven, that cost nothing: the trade
    /// confirms a fault before it changes a part (common practice, no published source).
    pub confirmations: u32,
    /// Minutes lost from which an exchange was not called for while something else could
    /// still have told something.
    pub swap_minutes: f64,
}

impl Rubric {
    /// The rubric that comes with the program.
    ///
    /// # Panics
    /// When the embedded file does not read: held by a test.
    pub fn shipped() -> &'static Self {
        static SHIPPED: OnceLock<Rubric> = OnceLock::new();
        SHIPPED.get_or_init(|| {
            ron::from_str(include_str!("../../assets/rubric.ron")).expect("the rubric reads")
        })
    }

    /// The page that explains it to a trainee, one paragraph a line.
    pub fn explained(&self) -> Vec<String> {
        let p = |points: f64| crate::units::significant(points, 3);
        vec![
            format!(
                "Reasoning, {} points. Every step is held against the best one that was \
                 available. What counts are the expected minutes that it provably cost more: a \
                 lower bound, so doubt is in your favour; the step that the program would have \
                 advised loses nothing. Half of the points are gone when these \
                 add up to {} % of par or {} minutes, whichever is more; half of the rest with as \
                 many again. A step whose outcome was already known counts {} minutes more. Each \
                 question for the best next step takes {} points, each for what the last step was \
                 worth {}, each reminder of what has been shown {}. How well you read needles is \
                 told beside the points and takes none.",
                p(self.reasoning),
                p(100.0 * self.half_lost_at),
                p(self.half_lost_at_least_minutes),
                p(self.implied_minutes),
                p(self.advice),
                p(self.judgement),
                p(self.reminder)
            ),
            format!(
                "Proof, {} points. What you saw has to leave your repair group with at least \
                 {} % of the probability when you call. A right call without that gets {} points \
                 in all at the most, and of the points for reasoning and economy only the share of the \
                 doubt that your steps had cleared: a guess that hits earns no more of them than \
                 one that misses. The proof may be confirmed: {} of the called part just \
                 before the call {} nothing.",
                p(self.proof),
                p(100.0 * crate::drill::PROVEN),
                p(self.unproven),
                crate::units::counted(self.confirmations as usize, "measurement"),
                if self.confirmations == 1 { "costs" } else { "cost" }
            ),
            format!(
                "Economy, {} points. All of them for par, the expected minutes of the best \
                 strategy known from the write-up on, or for what that strategy takes for this \
                 very fault, if that is more; for twice the minutes half. Minutes for mending what has been isolated \
                 do not count, walks to it and from it included, nor does the walk to a \
                 measurement that confirms it. Each good part changed \
                 though another step was provably better takes {} points.",
                p(self.economy),
                p(self.good_part)
            ),
            format!(
                "Practice, {} points. Each caution gone against takes {}: ohms on a live \
                 circuit, a second reset, a second spare into a short, a fuse or a part fitted \
                 live. Whoever exchanges the part that they then call and does not look again \
                 where the write-up says that something was wrong loses {}: after a repair comes a \
                 function check.",
                p(self.practice),
                p(self.caution),
                p(self.unchecked)
            ),
            format!(
                "Belief, {} points. Each mark on the suspects board that contradicts what was \
                 seen takes {}: cleared though it may still be it, or suspected though it is \
                 excluded. No marks lose nothing.",
                p(self.belief),
                p(self.wrong_mark)
            ),
            format!(
                "A wrong call gets {} points at the most, none at all {}. Whoever changes a part \
                 while a look or a measurement could still have told something, and provably \
                 loses {} minutes or more by it, gets {} at the most, and {} when the part was \
                 good: changing parts until it works finds faults but isolates none.",
                p(self.wrong_call),
                p(self.no_call),
                p(self.swap_minutes),
                p(self.swapped),
                p(self.swapped_good)
            ),
        ]
    }
}
