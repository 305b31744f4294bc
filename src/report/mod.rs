//! The debrief of a drill as one page that stands by itself: HTML with its style and its
//! pictures inside, no script, nothing asked for from elsewhere.
//!
//! The page is clean XML as well, so that a general parser can read it. Every text goes
//! through [`escaped`]; the same drill gives the same bytes.

mod known;
mod plot;
mod scale;
mod steps;
pub(crate) mod style;
mod text;

pub use scale::Scale;

use std::fmt::Write;

use crate::diagnostic::escaped;
use crate::diagram::{Drawing, Mark, Overlay, svg};
use crate::drill::Session;
use crate::network::SolveError;
use crate::score::{Debrief, Rubric};
use crate::units::{counted, minutes, significant};
use text::sentence;

/// What is said at the head and the foot of every page.
const TRAINING_ONLY: &str = "For training only. Work on an aircraft follows the approved \
maintenance data, local rules and licensed staff. 115 V 400 Hz kills: power off and proven dead \
before hands go in; capacitors and machines keep energy; reset a breaker once at most, and only \
when its cause is known.";

/// The sections: anchor, heading.
const SECTIONS: [(&str, &str); 9] = [
    ("habits", "What to work on"),
    ("path", "The path"),
    ("steps", "Every step"),
    ("known", "What you could have known"),
    ("left", "Still possible at the call"),
    ("out", "Why the others are out"),
    ("inside", "What happened inside"),
    ("cautions", "Cautions"),
    ("system", "The system"),
];

/// The page for a drill and its debrief.
///
/// # Errors
/// [`SolveError`] when some state has no solution, which a drill does not reach.
pub fn html(session: &Session, debrief: &Debrief) -> Result<String, SolveError> {
    let circuit = session.circuit();
    let title = format!("Debrief: {}", circuit.title_with_mods());
    let mut out = String::new();
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
         <meta name=\"color-scheme\" content=\"light dark\"/>\n\
         <title>{}</title>\n<style>{}</style>\n</head>\n<body>\n",
        escaped(&title),
        style::STYLE
    );
    head(&mut out, session, debrief);
    out.push_str("<main>\n");
    verdict(&mut out, session, debrief);
    for (anchor, heading) in SECTIONS {
        let _ = writeln!(out, "<section id=\"{anchor}\" aria-labelledby=\"{anchor}-h\">");
        let _ = writeln!(out, "<h2 id=\"{anchor}-h\">{heading}</h2>");
        match anchor {
            "habits" => habits(&mut out, debrief),
            "path" => plot::section(&mut out, &debrief.path),
            "steps" => steps::section(&mut out, debrief),
            "known" => known::section(&mut out, debrief),
            "left" => known::left(&mut out, debrief),
            "out" => known::reasons(&mut out, debrief),
            "inside" => inside(&mut out, debrief),
            "cautions" => cautions(&mut out, session, debrief),
            _ => system(&mut out, session, debrief)?,
        }
        out.push_str("</section>\n");
    }
    let _ = write!(
        out,
        "</main>\n<footer><p class=\"training\">{}</p></footer>\n</body>\n</html>\n",
        escaped(TRAINING_ONLY)
    );
    Ok(out)
}

fn head(out: &mut String, session: &Session, debrief: &Debrief) {
    let _ = write!(
        out,
        "<header>\n<p class=\"kicker\">Debrief</p>\n<h1>{}</h1>\n\
         <p class=\"quiet\">Drill {} · {} · {}</p>\n<p class=\"training\">{}</p>\n</header>\n\
         <nav aria-label=\"Contents\"><ul>\n",
        escaped(&session.circuit().title_with_mods()),
        session.seed(),
        counted(debrief.rows.len(), "step"),
        minutes(debrief.minutes),
        escaped(TRAINING_ONLY)
    );
    for (anchor, heading) in SECTIONS {
        let _ = writeln!(out, "<li><a href=\"#{anchor}\">{heading}</a></li>");
    }
    out.push_str("</ul></nav>\n");
}

/// The verdict, the marks, and what the crew wrote.
fn verdict(out: &mut String, session: &Session, debrief: &Debrief) {
    let verdict = &debrief.verdict;
    let _ = write!(
        out,
        "<section class=\"verdict\" aria-labelledby=\"verdict-h\">\n\
         <h2 id=\"verdict-h\">{}</h2>\n",
        escaped(&verdict.sentence)
    );
    if !verdict.called.is_empty() {
        let _ = writeln!(
            out,
            "<p>You called <code>{}</code>. The fault was <code>{}</code>: {}.</p>",
            escaped(&verdict.called),
            escaped(&verdict.planted),
            escaped(&verdict.planted_text)
        );
    }
    out.push_str("<div class=\"pair\">\n<div>\n");
    score(out, debrief);
    out.push_str("</div>\n<div>\n<h3>Minutes</h3>\n");
    let _ = writeln!(out, "<p>{}</p>", escaped(&sentence(&debrief.par_told())));
    for line in &debrief.readings {
        let _ = writeln!(out, "<p>Needles: {}</p>", escaped(&sentence(line)));
    }
    out.push_str("<h3>The crew wrote</h3>\n<ul class=\"tight\">\n");
    for line in &session.write_up().lines {
        let _ = writeln!(out, "<li>{}</li>", escaped(line));
    }
    let _ = write!(
        out,
        "</ul>\n<p class=\"quiet\">That left {} possible.</p>\n</div>\n</div>\n</section>\n",
        counted(debrief.start_candidates, "fault")
    );
}

fn score(out: &mut String, debrief: &Debrief) {
    let (score, rubric) = (&debrief.score, Rubric::shipped());
    let _ = write!(
        out,
        "<p class=\"score\"><strong>{:.0}</strong> points of 100</p>\n\
         <table class=\"marks\"><caption class=\"unseen\">Points by what they are for</caption>\n\
         <thead class=\"unseen\"><tr><th scope=\"col\">For</th><th scope=\"col\">Points</th></tr>\
         </thead>\n<tbody>\n",
        score.total
    );
    for (name, points, of) in [
        ("Reasoning", score.reasoning, rubric.reasoning),
        ("Proof", score.proof, rubric.proof),
        ("Economy", score.economy, rubric.economy),
        ("Practice", score.practice, rubric.practice),
        ("Belief", score.belief, rubric.belief),
    ] {
        let share = (100.0 * points / of).clamp(0.0, 100.0);
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{name}</th><td><span class=\"bar\" aria-hidden=\"true\">\
             <i style=\"width:{share:.0}%\"></i></span> {points:.0} of {of:.0}</td></tr>"
        );
    }
    out.push_str("</tbody></table>\n");
    if let Some((points, why)) = score.cap {
        let _ =
            writeln!(out, "<p>No more than {points:.0} points in all, since {}.</p>", escaped(why));
    }
}

fn habits(out: &mut String, debrief: &Debrief) {
    if debrief.habits.is_empty() {
        out.push_str("<p>No habit to work on showed in this drill.</p>\n");
        return;
    }
    out.push_str("<ol class=\"habits\">\n");
    for habit in &debrief.habits {
        let _ = write!(
            out,
            "<li><h3>{}</h3>\n<p class=\"quiet\">{}</p>\n<p>{}</p>\n\
             <p><b>Instead:</b> {}</p></li>\n",
            habit.kind.title(),
            escaped(&sentence(&habit.cost_told())),
            escaped(&sentence(&habit.evidence)),
            escaped(&sentence(&habit.instead))
        );
    }
    out.push_str("</ol>\n");
}

fn inside(out: &mut String, debrief: &Debrief) {
    if debrief.story.is_empty() {
        out.push_str("<p>Nothing switched, tripped or stopped.</p>\n");
        return;
    }
    out.push_str("<ul class=\"tight\">\n");
    for line in &debrief.story {
        let _ = writeln!(out, "<li>{}</li>", escaped(&sentence(line)));
    }
    out.push_str("</ul>\n");
}

/// What was gone against, and what stands at the places.
fn cautions(out: &mut String, session: &Session, debrief: &Debrief) {
    if debrief.cautions.is_empty() {
        out.push_str("<p>No caution was gone against.</p>\n");
    } else {
        out.push_str("<h3>Gone against</h3>\n<ul class=\"tight\">\n");
        for (at, row) in debrief.rows.iter().enumerate() {
            for breach in &row.breaches {
                let _ = writeln!(
                    out,
                    "<li><b>Step {}:</b> {}</li>",
                    at + 1,
                    escaped(&sentence(breach))
                );
            }
        }
        out.push_str("</ul>\n");
    }
    if !debrief.parts_changed_good.is_empty() {
        let _ = writeln!(
            out,
            "<p><b>Changed though good:</b> {}.</p>",
            escaped(&debrief.parts_changed_good.join(", "))
        );
    }
    for (_, station) in session.circuit().stations_with_ids() {
        if station.cautions.is_empty() {
            continue;
        }
        let _ = writeln!(out, "<h3>{}</h3>\n<ul class=\"tight\">", escaped(&station.title));
        for caution in &station.cautions {
            let _ = writeln!(out, "<li>{}</li>", escaped(caution));
        }
        out.push_str("</ul>\n");
    }
}

/// The diagram as the aircraft was at the end, what was excluded by then shaded.
fn system(out: &mut String, session: &Session, debrief: &Debrief) -> Result<(), SolveError> {
    let circuit = session.circuit();
    let drawing = Drawing::of(circuit);
    let rigs = session.looked_back()?;
    let mut overlay = match rigs.last() {
        Some(rig) => Overlay::of_settled(&drawing, rig.network(), rig.settled()),
        None => Overlay::standing(&session.place().hands),
    };
    let mut shaded = 0;
    for id in debrief.known.iter().flat_map(|known| &known.parts_out) {
        if let Some(part) = circuit.find_part(id) {
            overlay.mark(part, Mark::Excluded);
            shaded += 1;
        }
    }
    // Inside a page the namespace of a picture goes without saying.
    let picture = svg(&drawing, &overlay).replace(" xmlns=\"http://www.w3.org/2000/svg\"", "");
    let _ = write!(
        out,
        "<p>As it was at the call. Shaded, dotted and marked ×: the {} that what was seen \
         excludes.</p>\n<div class=\"diagram\" tabindex=\"0\" role=\"region\" \
         aria-label=\"Diagram of the system, wider than the page\">\n{picture}</div>\n",
        counted(shaded, "part")
    );
    Ok(())
}

/// Bits as a person reads them, without a minus before a nought.
fn bits(value: f64) -> String {
    format!("{:.2}", if value.abs() < 0.005 { 0.0 } else { value })
}

/// Minutes without their unit.
fn bare_minutes(value: f64) -> String {
    if value == 0.0 { "0".to_owned() } else { significant(libm::round(10.0 * value) / 10.0, 4) }
}
