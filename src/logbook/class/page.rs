//! A class as a page of HTML that stands by itself.

use std::fmt::Write as _;

use super::summary::Class;
use super::text::{MOST_TESTS, more, points_told};
use crate::diagnostic::escaped;
use crate::report::style::STYLE;

/// What a class needs beside the style of a debrief. On a phone each row becomes a card: its
/// cells stand one after the other, each with its heading before it.
const OWN_STYLE: &str = "
.scrolls{overflow-x:auto}
.cards .plot{width:6.25rem}
.cards th,.cards td{padding-right:1rem}
.cards ul{margin:0;padding-left:1rem}
@media (max-width:48rem){
.cards thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.cards tr{display:block;padding:.5rem 0;border-bottom:1px solid var(--line)}
.cards tbody th,.cards td{display:inline-block;padding:0 .9rem .1rem 0;border:0;text-align:left;white-space:normal}
.cards tbody th,.cards td:last-child,.cards td:has(.plot){display:block}
.cards tbody th{font-weight:600}
.cards td::before{content:attr(data-of) ' ';color:var(--quiet)}
.cards td:empty,.cards td.nought{display:none}
}";

impl Class {
    /// As a page of HTML that stands by itself.
    pub fn html(&self) -> String {
        let mut out = String::new();
        let _ = write!(
            out,
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
             <meta name=\"color-scheme\" content=\"light dark\"/>\n<title>Class</title>\n\
             <style>{STYLE}{OWN_STYLE}</style>\n</head>\n<body>\n<header><h1>Class</h1>\n\
             <p class=\"quiet\">{}</p></header>\n<main>\n",
            self.counted()
        );
        let habits = self.commonest_habits();
        if !habits.is_empty() {
            let told = habits.into_iter().map(|(habit, drills)| format!("{habit}: {drills}"));
            list(&mut out, &self.habits_title(), told);
        }
        self.trainees_page(&mut out);
        self.faults_page(&mut out);
        let tests = self.useless_sorted();
        let told = tests.iter().take(MOST_TESTS).map(|(test, times)| format!("{test}: {times}"));
        list(&mut out, "Tests made when they could tell nothing", told.chain(more(tests.len())));
        list(&mut out, "Handed in more than once", self.again.iter().cloned());
        list(&mut out, "Does not count", self.refused.iter().cloned());
        out.push_str("</main>\n<footer><p class=\"training\">Training model only. On an aircraft follow the approved maintenance data, local rules and licensed staff.</p></footer>\n</body>\n</html>\n");
        out
    }

    fn trainees_page(&self, out: &mut String) {
        let headings = [
            ("Points, first to last", false),
            ("Mean", true),
            ("Drills", true),
            ("Proven", true),
            ("Unproven", true),
            ("Wrong", true),
            ("Open", true),
            ("Times par", true),
            ("Wasted bits", true),
            ("Cautions", true),
            ("To work on", false),
        ];
        let rows = self.neediest_first().into_iter().map(|(name, line)| {
            let notes: Vec<String> =
                line.notes().iter().map(|note| format!("<li>{}</li>", escaped(note))).collect();
            let notes = match notes.as_slice() {
                [] => String::new(),
                notes => format!("<ul>{}</ul>", notes.concat()),
            };
            let number = |number: Option<f64>, places: usize| {
                number.map_or_else(|| "none".to_owned(), |number| format!("{number:.places$}"))
            };
            let cells = vec![
                progress(&line.points),
                number(line.mean_points(), 0),
                line.drills.to_string(),
                line.proven.to_string(),
                line.unproven.to_string(),
                line.wrong.to_string(),
                line.left_open.to_string(),
                number(line.times_par, 2),
                format!("{:.1}", line.wasted_bits),
                line.cautions.to_string(),
                notes,
            ];
            (name, cells)
        });
        table(out, "Trainees", ("Trainee", &headings, false), rows);
    }

    fn faults_page(&self, out: &mut String) {
        let headings = [
            ("Hidden", true),
            ("Proven", true),
            ("Unproven", true),
            ("Wrong", true),
            ("Open", true),
            ("Called as", false),
        ];
        let rows = self.hardest_first().into_iter().map(|(fault, line)| {
            let counts = [line.hidden, line.proven, line.unproven, line.wrong, line.left_open];
            let called = [escaped(&line.called_told())];
            let cells = counts.iter().map(u32::to_string).chain(called).collect();
            (fault, cells)
        });
        table(out, "Faults", ("Fault", &headings, true), rows);
    }
}

/// A table whose rows become cards on a phone. Names are text, cells are written already; a
/// heading says whether numbers stand under it, of which those that are nought may be left out
/// on a phone.
fn table<'a>(
    out: &mut String,
    title: &str,
    (of, headings, leaves_out_nought): (&str, &[(&str, bool)], bool),
    rows: impl Iterator<Item = (&'a str, Vec<String>)>,
) {
    let class = |is_number: bool| if is_number { " class=\"num\"" } else { "" };
    let _ = write!(
        out,
        "<section><h2>{title}</h2>\n<div class=\"scrolls\" tabindex=\"0\" role=\"region\" aria-label=\"{title}\"><table class=\"cards\" role=\"table\">\n<thead role=\"rowgroup\"><tr role=\"row\"><th scope=\"col\" role=\"columnheader\">{of}</th>"
    );
    for (heading, is_number) in headings {
        let class = class(*is_number);
        let _ = write!(out, "<th scope=\"col\" role=\"columnheader\"{class}>{heading}</th>");
    }
    out.push_str("</tr></thead>\n<tbody role=\"rowgroup\">\n");
    for (name, cells) in rows {
        let _ = write!(
            out,
            "<tr role=\"row\"><th scope=\"row\" role=\"rowheader\">{}</th>",
            escaped(name)
        );
        for ((heading, is_number), cell) in headings.iter().zip(cells) {
            // What never happened to a fault need not be read on a phone.
            let class = match (is_number, leaves_out_nought && cell == "0") {
                (_, true) => " class=\"num nought\"",
                (true, false) => " class=\"num\"",
                (false, false) => "",
            };
            let _ = write!(out, "<td role=\"cell\" data-of=\"{heading}\"{class}>{cell}</td>");
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div></section>\n");
}

fn list(out: &mut String, title: &str, lines: impl Iterator<Item = String>) {
    let lines: Vec<String> = lines.collect();
    if lines.is_empty() {
        return;
    }
    let _ = write!(out, "<section><h2>{}</h2>\n<ul class=\"tight\">\n", escaped(title));
    for line in lines {
        let _ = writeln!(out, "<li>{}</li>", escaped(&line));
    }
    out.push_str("</ul></section>\n");
}

/// Points from drill to drill as a small picture: 0 at its foot, 100 at its head.
fn progress(points: &[f64]) -> String {
    if points.is_empty() {
        return "none yet".to_owned();
    }
    let told = points_told(points, ", ");
    let step = 96.0 / (points.len().saturating_sub(1).max(1)) as f64;
    let places: Vec<String> = points
        .iter()
        .enumerate()
        .map(|(at, points)| format!("{:.1},{:.1}", 2.0 + step * at as f64, 26.0 - 0.24 * points))
        .collect();
    let mut dots = String::new();
    for (x, y) in places.iter().filter_map(|place| place.split_once(',')) {
        let _ = write!(dots, "<circle cx=\"{x}\" cy=\"{y}\" r=\"1.8\" fill=\"currentColor\"/>");
    }
    format!(
        "<svg class=\"plot\" role=\"img\" aria-label=\"Points: {told}\" viewBox=\"0 0 100 28\" width=\"100\" height=\"28\">\
         <path class=\"grid\" d=\"M0 26H100M0 2H100\"/><polyline class=\"own\" points=\"{}\"/>{dots}</svg>",
        places.join(" ")
    )
}
