//! What could have been known when, what was left at the call, and why the rest is out.

use std::fmt::Write;

use super::bare_minutes;
use super::text::{capital, sentence};
use crate::diagnostic::escaped;
use crate::score::{Debrief, FEW_FAULTS, Known, Provable};
use crate::units::{counted, significant};

/// Names told of one moment; more of them are counted.
const MOST_NAMES: usize = 12;

/// Faults of one reason told by name when it is opened: of pairs there can be very many.
const MOST_FAULTS: usize = 1000;

/// What is told where nothing is marked.
const NO_MARKS: &str = "none";

/// The moments of the drill: what stood excluded, beside what was marked.
pub(super) fn section(out: &mut String, debrief: &Debrief) {
    out.push_str(
        "<table class=\"known\">\n<caption>Faults that stood excluded at each point, beside your marks on the \
         suspects board</caption>\n<thead><tr><th scope=\"col\">After</th>\
         <th scope=\"col\" class=\"num wide\">Minutes</th><th scope=\"col\" class=\"num\">Out</th>\
         <th scope=\"col\">New here</th><th scope=\"col\">Your marks</th></tr></thead>\n<tbody>\n",
    );
    let mut before = String::new();
    for (moment, known) in debrief.known.iter().enumerate() {
        let now = marks(known);
        let told = if now == before && now != NO_MARKS { "as before" } else { now.as_str() };
        let after = match moment {
            0 => "Write-up".to_owned(),
            step => format!("Step {step}"),
        };
        let clock = debrief.path.own.get(moment).map_or(0.0, |point| point.minutes);
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{after}</th><td class=\"num wide\">{}</td><td class=\"num\">{}</td>\
             <td>{}</td><td>{}</td></tr>",
            bare_minutes(clock),
            known.excluded,
            escaped(&new(known)),
            escaped(told)
        );
        before = now;
    }
    out.push_str("</tbody></table>\n");
}

/// What fell at one moment: by name where these are few.
fn new(known: &Known) -> String {
    let mut told = match known.fell.as_slice() {
        [] => return "nothing".to_owned(),
        few if few.len() <= MOST_NAMES => few.join(", "),
        many => counted(many.len(), "fault"),
    };
    match known.parts_out.len() {
        0 => {}
        few if few <= MOST_NAMES => {
            let _ = write!(told, "; nothing left of {}", known.parts_out.join(", "));
        }
        many => {
            let _ = write!(told, "; nothing left of {}", counted(many, "part"));
        }
    }
    told
}

fn marks(known: &Known) -> String {
    let told: Vec<String> = [
        (&known.cleared, "rightly cleared"),
        (&known.suspected, "suspected, still possible"),
        (&known.cleared_too_soon, "cleared too soon"),
        (&known.suspected_too_long, "suspected though out"),
    ]
    .into_iter()
    .filter(|(parts, _)| !parts.is_empty())
    .map(|(parts, words)| format!("{words}: {}", parts.join(", ")))
    .collect();
    if told.is_empty() { NO_MARKS.to_owned() } else { told.join("; ") }
}

/// What was left at the call and what would have told it apart.
pub(super) fn left(out: &mut String, debrief: &Debrief) {
    out.push_str("<dl class=\"out\">\n");
    for (fault, probability) in &debrief.left {
        let _ = writeln!(
            out,
            "<dt><code>{}</code> {} %</dt>",
            escaped(fault),
            significant(100.0 * probability, 3)
        );
        let still = debrief.still.iter().find(|still| still.fault == *fault);
        let told = still.map_or("", |still| still.told.as_str());
        let told = match told {
            "" if *fault == debrief.verdict.called => "what you called",
            "" => "likewise still possible",
            told => told,
        };
        let _ = writeln!(out, "<dd>{}</dd>", escaped(&sentence(told)));
    }
    out.push_str("</dl>\n");
    for told in debrief.against.iter().cloned().chain(debrief.provable.iter().map(Provable::told)) {
        let _ = writeln!(out, "<p>{}</p>", escaped(&sentence(&told)));
    }
}

/// Why each excluded fault is out, those with one reason together.
pub(super) fn reasons(out: &mut String, debrief: &Debrief) {
    if debrief.exclusions.is_empty() {
        out.push_str("<p>Nothing has been excluded.</p>\n");
        return;
    }
    out.push_str("<dl class=\"out\">\n");
    for reason in debrief.reasons() {
        let _ = write!(
            out,
            "<dt><b>{}:</b> {}</dt><dd>",
            capital(&reason.by()),
            escaped(&sentence(reason.why))
        );
        let all = escaped(&reason.faults_told(Some(MOST_FAULTS)));
        let _ = if reason.faults.len() > FEW_FAULTS {
            let count = counted(reason.faults.len(), "fault");
            writeln!(out, "<details><summary>{count}</summary>{all}</details></dd>")
        } else {
            writeln!(out, "{all}</dd>")
        };
    }
    out.push_str("</dl>\n");
}
