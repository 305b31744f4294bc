//! A class as lines of text and as comma-separated values.

use std::fmt::Write as _;

use unicode_width::UnicodeWidthStr;

use super::summary::{Class, FaultLine, TraineeLine};
use crate::diagnostic::plain;

/// Tests that are listed at the most.
pub(super) const MOST_TESTS: usize = 20;

impl Class {
    /// As lines of text: what the class has in common, then whoever needs help most first.
    pub fn text(&self) -> String {
        let mut out = String::new();
        let _ = writeln!(out, "{}", self.counted());
        let habits = self.commonest_habits();
        if !habits.is_empty() {
            let told: Vec<String> =
                habits.iter().map(|(habit, drills)| format!("{habit} ({drills})")).collect();
            let _ = writeln!(out, "{}: {}.", self.habits_title(), told.join(", "));
        }
        self.trainees_text(&mut out);
        self.faults_text(&mut out);
        let tests = self.useless_sorted();
        if !tests.is_empty() {
            let _ = writeln!(out, "\nTests made when they could tell nothing");
            for (test, times) in tests.iter().take(MOST_TESTS) {
                let _ = writeln!(out, "  {times:>4}  {}", plain(test));
            }
            if let Some(more) = more(tests.len()) {
                let _ = writeln!(out, "        {more}");
            }
        }
        for (title, lines) in
            [("Handed in more than once", &self.again), ("Does not count", &self.refused)]
        {
            if !lines.is_empty() {
                let _ = writeln!(out, "\n{title}");
                for line in lines {
                    let _ = writeln!(out, "  {}", plain(line));
                }
            }
        }
        out
    }

    fn trainees_text(&self, out: &mut String) {
        let headings = [
            "Trainee",
            "drills",
            "proven",
            "unproven",
            "wrong",
            "open",
            "times par",
            "wasted bits",
            "cautions",
            "points",
        ];
        let rows: Vec<[String; 10]> = self
            .neediest_first()
            .into_iter()
            .map(|(name, line)| {
                [
                    plain(name),
                    line.drills.to_string(),
                    line.proven.to_string(),
                    line.unproven.to_string(),
                    line.wrong.to_string(),
                    line.left_open.to_string(),
                    line.times_par.map_or_else(|| "-".to_owned(), |ratio| format!("{ratio:.2}")),
                    format!("{:.1}", line.wasted_bits),
                    line.cautions.to_string(),
                    points_told(&line.points, " "),
                ]
            })
            .collect();
        let mut lines = aligned(&headings, &rows).into_iter();
        if let Some(headings) = lines.next() {
            let _ = writeln!(out, "\n{headings}");
        }
        for (line, (_, trainee)) in lines.zip(self.neediest_first()) {
            let _ = writeln!(out, "{line}");
            for told in trainee.notes() {
                let _ = writeln!(out, "    {told}");
            }
        }
    }

    fn faults_text(&self, out: &mut String) {
        let headings = ["Fault", "hidden", "proven", "unproven", "wrong", "open", "called as"];
        let rows: Vec<[String; 7]> = self
            .hardest_first()
            .into_iter()
            .map(|(fault, line)| {
                [
                    plain(fault),
                    line.hidden.to_string(),
                    line.proven.to_string(),
                    line.unproven.to_string(),
                    line.wrong.to_string(),
                    line.left_open.to_string(),
                    line.called_told(),
                ]
            })
            .collect();
        let _ = writeln!(out);
        for line in aligned(&headings, &rows) {
            let _ = writeln!(out, "{line}");
        }
    }

    /// As comma-separated values (RFC 4180), a trainee a line.
    pub fn csv(&self) -> String {
        let mut out = String::from(
            "trainee,drills,proven,unproven,wrong,left_open,refused,minutes,par_minutes,times_par,wasted_bits,cautions,mean_points,habits\r\n",
        );
        for (name, line) in &self.trainees {
            let optional = |number: Option<f64>, places: usize| {
                number.map_or_else(String::new, |number| format!("{number:.places$}"))
            };
            let habits: Vec<String> = line
                .worst_habits()
                .iter()
                .map(|(habit, line)| format!("{habit} ({})", line.drills))
                .collect();
            let _ = write!(
                out,
                "{},{},{},{},{},{},{},{:.2},{:.2},{},{:.2},{},{},{}\r\n",
                cell(name),
                line.drills,
                line.proven,
                line.unproven,
                line.wrong,
                line.left_open,
                line.refused,
                line.minutes,
                line.par_minutes,
                optional(line.times_par, 2),
                line.wasted_bits,
                line.cautions,
                optional(line.mean_points(), 1),
                cell(&habits.join("; "))
            );
        }
        out
    }
}

/// How many are not listed, in words; `None` where all are.
pub(super) fn more(all: usize) -> Option<String> {
    (all > MOST_TESTS).then(|| format!("and {} more", all - MOST_TESTS))
}

/// Columns under their headings, a line each: the first and the last begin at the left, the
/// numbers between them end at the right.
fn aligned<const N: usize>(headings: &[&str; N], rows: &[[String; N]]) -> Vec<String> {
    let width = |at: usize| {
        let cells = rows.iter().map(|row| row[at].as_str()).chain([headings[at]]);
        cells.map(UnicodeWidthStr::width).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..N).map(width).collect();
    let line = |cells: Vec<&str>| {
        let mut out = String::new();
        for (at, (cell, width)) in cells.iter().zip(&widths).enumerate() {
            let gap = " ".repeat(width.saturating_sub(cell.width()));
            match at {
                0 => out = format!("{cell}{gap}"),
                at if at + 1 == N => out = format!("{out}  {cell}"),
                _ => out = format!("{out}  {gap}{cell}"),
            }
        }
        out.trim_end().to_owned()
    };
    let all = rows.iter().map(|row| row.iter().map(String::as_str).collect());
    std::iter::once(headings.to_vec()).chain(all).map(line).collect()
}

/// Points of a drill that are told one by one at the most, from the first and from the last on.
const TOLD: usize = 12;

/// Points from drill to drill in words; of very many those between are left out.
pub(super) fn points_told(points: &[f64], between: &str) -> String {
    let told = |points: &[f64]| {
        points.iter().map(|points| format!("{points:.0}")).collect::<Vec<_>>().join(between)
    };
    if points.len() <= 2 * TOLD {
        return told(points);
    }
    let left_out = points.len() - 2 * TOLD;
    let (first, last) = (&points[..TOLD], &points[points.len() - TOLD..]);
    format!("{}{between}({left_out} more){between}{}", told(first), told(last))
}

/// A text as a cell of comma-separated values. One that a spreadsheet would take for a formula
/// gets an apostrophe before it.
pub fn cell(text: &str) -> String {
    let text = plain(text);
    let guarded = if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text };
    if guarded.contains([',', '"', '\'', ';']) {
        format!("\"{}\"", guarded.replace('"', "\"\""))
    } else {
        guarded
    }
}

impl TraineeLine {
    /// What stands under a trainee's line: habits, and attempts that count for nothing.
    pub(super) fn notes(&self) -> Vec<String> {
        let drills = self.drills;
        let habits = self.worst_habits();
        let mut notes: Vec<String> = habits
            .iter()
            .map(|(habit, line)| format!("{habit}: {} of {drills} drills", line.drills))
            .collect();
        if self.refused > 0 {
            notes.push(format!("handed in and not counted: {}", self.refused));
        }
        notes
    }
}

impl FaultLine {
    pub(super) fn called_told(&self) -> String {
        let called: Vec<String> = self
            .called_as
            .iter()
            .map(|(as_what, times)| format!("{} ({times})", plain(as_what)))
            .collect();
        called.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_under_their_headings() {
        let rows = [
            ["Zoë".to_owned(), "12".to_owned(), "a".to_owned()],
            ["Bo".to_owned(), "3".to_owned(), String::new()],
        ];
        let lines = aligned(&["name", "drills", "more"], &rows);
        assert_eq!(lines, ["name  drills  more", "Zoë       12  a", "Bo         3"]);
    }

    #[test]
    fn of_very_many_points_those_between_are_counted() {
        let many: Vec<f64> = (0..30).map(f64::from).collect();
        let told = points_told(&many, " ");
        assert!(told.starts_with("0 1 2 ") && told.contains(" 11 (6 more) 18 "), "{told}");
        assert_eq!(points_told(&many[..3], ", "), "0, 1, 2");
    }
}
