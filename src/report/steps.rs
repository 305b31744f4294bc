//! Every step judged, as a table.

use std::fmt::Write;

use super::text::{capital, sentence};
use super::{bare_minutes, bits};
use crate::diagnostic::escaped;
use crate::score::{Debrief, LEGEND, Row};
use crate::units::{counted, minutes};

/// The table of steps. On a narrow page its figures stand in the step's own cell.
pub(super) fn section(out: &mut String, debrief: &Debrief) {
    if debrief.rows.is_empty() {
        out.push_str("<p>No step was made before the call.</p>\n");
        return;
    }
    out.push_str(
        "<table>\n<caption>Bits are about which repair group has failed: what a step could be \
         expected to tell, what it told, and what the step told that then told most a minute</caption>\n<thead><tr>\
         <th scope=\"col\" class=\"num\">#</th><th scope=\"col\">Step</th>\
         <th scope=\"col\" class=\"num wide\">Expected</th>\
         <th scope=\"col\" class=\"num wide\">Gained</th>\
         <th scope=\"col\" class=\"num wide\">Most</th>\
         <th scope=\"col\" class=\"num\">Min</th>\
         <th scope=\"col\" class=\"num wide\">Clock</th>\
         <th scope=\"col\" class=\"num\">Faults<br/>left</th>\
         <th scope=\"col\" class=\"num wide\">Repairs<br/>left</th></tr></thead>\n<tbody>\n",
    );
    for (at, row) in debrief.rows.iter().enumerate() {
        let best = row.best.as_ref().map_or("–".to_owned(), |best| bits(best.bits));
        let _ = write!(
            out,
            "<tr><th scope=\"row\" class=\"num\">{}</th><td><span class=\"act\">{}</span>",
            at + 1,
            escaped(&sentence(&row.step))
        );
        remarks(out, row, &best);
        let _ = writeln!(
            out,
            "</td><td class=\"num wide\">{}</td><td class=\"num wide\">{}</td>\
             <td class=\"num wide\">{best}</td><td class=\"num\">{}</td>\
             <td class=\"num wide\">{}</td><td class=\"num\">{}</td><td class=\"num wide\">{}</td></tr>",
            bits(row.expected_bits),
            bits(row.gained_bits),
            bare_minutes(row.minutes),
            bare_minutes(row.clock),
            row.candidates,
            row.groups
        );
    }
    out.push_str("</tbody></table>\n<dl class=\"legend\">\n");
    for (term, meaning) in LEGEND.iter().filter(|(term, _)| term.len() > 1) {
        let term = if *term == "expect" { "expected" } else { *term };
        let _ = writeln!(out, "<dt>{}</dt><dd>{}</dd>", capital(term), escaped(&sentence(meaning)));
    }
    out.push_str("</dl>\n");
}

/// What is said below a step.
fn remarks(out: &mut String, row: &Row, best: &str) {
    for breach in &row.breaches {
        let _ = write!(
            out,
            "<span><span class=\"flag\">Caution</span>{}</span> ",
            escaped(&sentence(breach))
        );
    }
    if row.advice_taken {
        out.push_str("<span><span class=\"flag\">Advice</span>asked for before it.</span> ");
    }
    let _ = write!(out, "<span>{}</span>", escaped(&sentence(&row.remark)));
    if !row.showed.is_empty() {
        let _ = write!(
            out,
            "<span class=\"also\">It showed {}</span>",
            escaped(&format!("{}.", row.showed.join("; ")))
        );
    }
    for also in row.loss_told().map(str::to_owned).into_iter().chain(row.most_told()) {
        let _ = write!(out, "<span class=\"also\">{}</span>", escaped(&sentence(&also)));
    }
    let _ = write!(
        out,
        "<span class=\"also narrow\">At {}: expected {}, gained {}, most {best} bits; {} \
         left.</span>",
        minutes(row.clock),
        bits(row.expected_bits),
        bits(row.gained_bits),
        counted(row.groups, "repair")
    );
}
