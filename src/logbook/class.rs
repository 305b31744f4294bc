//! A class at a glance: what many attempts come to, for each trainee, fault and test.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::sync::Arc;

use serde::Serialize;

use super::handin::{self, Header, Sheet, Systems, Verdict};
use super::{Attempt, Replayed};
use crate::diagnosis::NO_BITS;
use crate::diagnostic::{escaped, plain};
use crate::network::SolveError;
use crate::observation::Step;
use crate::report::style::STYLE;
use crate::score::{Beginnings, HabitKind, glance};
use crate::units::counted;

/// What is worked out of one attempt. Texts are shared where a [`Register`] keeps many.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Its name among all attempts anywhere.
    pub id: String,
    /// The trainee.
    pub trainee: Arc<str>,
    /// Whether the trainee signed it.
    pub signed: bool,
    /// The system.
    pub system: Arc<str>,
    /// The drill, as it is named on the command line.
    pub drill: Arc<str>,
    /// When it was begun, as RFC 3339 text in UTC.
    pub begun: Arc<str>,
    /// When its last move was made.
    pub ended: Arc<str>,
    /// Moves that it has.
    pub moves: usize,
    /// What was called; empty where no call was made.
    pub called: Arc<str>,
    /// What was hidden.
    pub hidden: Arc<str>,
    /// The kinds of part that failed.
    pub kinds: Vec<Arc<str>>,
    /// Whether the right part was called.
    pub right: bool,
    /// Whether the call was proven.
    pub proven: bool,
    /// Minutes at the aircraft.
    pub minutes: f64,
    /// Expected minutes of the best strategy known.
    pub par_minutes: f64,
    /// What that strategy takes for the fault that was hidden.
    pub own_par_minutes: f64,
    /// Bits that could have been had: what the best step of each moment promised over what the
    /// step that was done promised.
    pub wasted_bits: f64,
    /// Cautions gone against.
    pub cautions: usize,
    /// Points out of 100.
    pub points: f64,
    /// Tests that could tell nothing when they were made, in words.
    pub useless: Vec<Arc<str>>,
    /// Habits, and what each would cost by itself, in points.
    pub habits: Vec<(HabitKind, f64)>,
}

/// Works out an attempt that has been done again.
///
/// # Errors
/// [`SolveError`] when some fault leaves the circuit without a solution.
pub fn judged(
    trainee: &str,
    attempt: &Attempt,
    replayed: &Replayed,
    beginnings: &Beginnings,
) -> Result<Judged, SolveError> {
    let session = &replayed.session;
    let told = glance(session, &replayed.build, beginnings)?;
    let circuit = session.circuit();
    let kinds = session.truth().faults().iter();
    let kinds = kinds.map(|fault| circuit.part(fault.part).kind.id().spec().name.into()).collect();
    // Walking is no test: what comes of it is seen at the next step.
    let steps = told.steps.iter().zip(session.log());
    let useless = steps
        .filter(|(_, entry)| !matches!(entry.observation.step, Step::Go(_)))
        .filter(|(step, _)| step.expected_bits <= NO_BITS && step.gained_bits <= NO_BITS)
        .map(|(_, entry)| entry.observation.step.told(circuit).into())
        .collect();
    let wasted = told
        .steps
        .iter()
        .filter_map(|step| step.best_bits.map(|best| (best - step.expected_bits).max(0.0)));
    Ok(Judged {
        id: attempt.id.clone(),
        trainee: trainee.into(),
        signed: false,
        system: attempt.recipe.system.as_str().into(),
        drill: attempt.recipe.name().into(),
        begun: attempt.begun.as_str().into(),
        ended: attempt.moves.last().map_or(&attempt.begun, |last| &last.at).as_str().into(),
        moves: attempt.moves.len(),
        called: told.called.as_str().into(),
        hidden: told.planted.as_str().into(),
        kinds,
        right: told.right_part,
        proven: told.proven,
        minutes: told.minutes,
        par_minutes: told.par.minutes,
        own_par_minutes: told.par.own_minutes,
        wasted_bits: wasted.sum(),
        cautions: told.cautions,
        points: told.points,
        useless,
        habits: told.habits,
    })
}

/// What became of one line of a hand-in.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// It counts.
    Counts(Box<Judged>),
    /// It counts for nothing, and why: the file, the line, the reason.
    Refused(String, u64, String),
}

/// Does one attempt of a hand-in again and works it out.
pub fn found(file: &str, line: u64, header: &Header, sheet: &Sheet, systems: &Systems) -> Found {
    let refused = |why: String| Found::Refused(file.to_owned(), line, why);
    match handin::judge(header, sheet, systems) {
        Verdict::Reproduced(replayed, _) => {
            if !sheet.attempt.recipe.hidden.is_empty() {
                return refused("whoever worked it had named its fault".to_owned());
            }
            match judged(&header.trainee, &sheet.attempt, &replayed, &systems.beginnings) {
                Ok(judged) => {
                    let signed = sheet.signature.is_some();
                    Found::Counts(Box::new(Judged { signed, ..judged }))
                }
                Err(error) => refused(error.to_string()),
            }
        }
        other => refused(other.told()),
    }
}

/// What is kept of the attempts of a class while they are gone through: a few numbers each, and
/// every text once.
#[derive(Debug, Default)]
pub struct Register {
    texts: BTreeSet<Arc<str>>,
    counts: BTreeMap<String, Judged>,
    again: Vec<String>,
    refused: Vec<String>,
    /// Attempts that several trainees hand in as their own.
    nobodys: BTreeSet<String>,
}

impl Register {
    /// Takes in one line of a hand-in.
    pub fn take(&mut self, found: Found) {
        match found {
            Found::Refused(file, line, why) => self.refused.push(format!("{file}:{line}: {why}")),
            Found::Counts(judged) => self.count(*judged),
        }
    }

    /// Takes in an attempt. Of one that was handed in more than once the longest counts, of
    /// those that are signed where any is. Where two trainees hand in the same and neither
    /// signature decides, it counts for nobody.
    fn count(&mut self, mut judged: Judged) {
        if let Some(before) = self.counts.get(&judged.id) {
            if before.signed == judged.signed && before.trainee != judged.trainee {
                self.nobodys.insert(judged.id.clone());
            } else if judged.signed && !before.signed {
                self.nobodys.remove(&judged.id);
            }
        }
        let longer = match self.counts.get(&judged.id) {
            None => true,
            Some(before) => {
                let short = judged.id.get(..8).unwrap_or(&judged.id);
                self.again.push(if before.trainee == judged.trainee {
                    format!("{}: {} ({short}) was handed in again", judged.trainee, judged.drill)
                } else {
                    format!(
                        "{} ({short}) was handed in by {} and by {}",
                        judged.drill, before.trainee, judged.trainee
                    )
                });
                (judged.signed, judged.moves) > (before.signed, before.moves)
            }
        };
        if longer {
            for text in [
                &mut judged.trainee,
                &mut judged.system,
                &mut judged.drill,
                &mut judged.begun,
                &mut judged.ended,
                &mut judged.called,
                &mut judged.hidden,
            ] {
                self.share(text);
            }
            for text in judged.kinds.iter_mut().chain(&mut judged.useless) {
                self.share(text);
            }
            judged.useless.shrink_to_fit();
            self.counts.insert(judged.id.clone(), judged);
        }
    }

    fn share(&mut self, text: &mut Arc<str>) {
        if let Some(known) = self.texts.get(text) {
            *text = Arc::clone(known);
        } else {
            self.texts.insert(Arc::clone(text));
        }
    }

    /// Those that count, in the order in which they were begun.
    pub fn counted(&self) -> Vec<&Judged> {
        let counts = self.counts.values().filter(|judged| !self.nobodys.contains(&judged.id));
        let mut counted: Vec<&Judged> = counts.collect();
        counted.sort_by(|a, b| (&a.begun, &a.id).cmp(&(&b.begun, &b.id)));
        counted
    }

    /// Sums up.
    pub fn class(&self) -> Class {
        let mut class =
            Class { again: self.again.clone(), refused: self.refused.clone(), ..Class::default() };
        for one in self.counted() {
            class.add(one);
        }
        class
    }
}

/// One trainee.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TraineeLine {
    /// Drills that were called.
    pub drills: u32,
    /// Of these, those whose call was right and proven.
    pub proven: u32,
    /// Of these, those in which the wrong part was called.
    pub wrong: u32,
    /// Drills that were left without a call.
    pub left_open: u32,
    /// Minutes at the aircraft in drills that were called.
    pub minutes: f64,
    /// What the best strategy known takes for the same faults.
    pub par_minutes: f64,
    /// Bits that could have been had.
    pub wasted_bits: f64,
    /// Cautions gone against.
    pub cautions: u32,
    /// Points, drill after drill in the order in which they were begun.
    pub points: Vec<f64>,
    /// Habits, and what each cost in points.
    pub habits: BTreeMap<String, f64>,
}

/// One fault.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct FaultLine {
    /// How often it was hidden from somebody who made a call.
    pub hidden: u32,
    /// How often the right part was called.
    pub found: u32,
    /// What was called instead, and how often.
    pub called_as: BTreeMap<String, u32>,
}

/// What a class has done.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Class {
    /// Attempts that count.
    pub attempts: u32,
    /// Trainees by name.
    pub trainees: BTreeMap<String, TraineeLine>,
    /// Faults, by drill's system and code.
    pub faults: BTreeMap<String, FaultLine>,
    /// Tests that were made when they could tell nothing, and how often.
    pub useless_tests: BTreeMap<String, u32>,
    /// Attempts that were handed in more than once: the signed one counts, or else the longest;
    /// of two trainees neither where no signature decides.
    pub again: Vec<String>,
    /// What does not count: file and line, and why.
    pub refused: Vec<String>,
}

impl Class {
    fn add(&mut self, one: &Judged) {
        self.attempts += 1;
        let line = self.trainees.entry(one.trainee.to_string()).or_default();
        if one.called.is_empty() {
            line.left_open += 1;
            return;
        }
        line.drills += 1;
        line.proven += u32::from(one.right && one.proven);
        line.wrong += u32::from(!one.right);
        line.minutes += one.minutes;
        line.par_minutes += one.own_par_minutes;
        line.wasted_bits += one.wasted_bits;
        line.cautions += u32::try_from(one.cautions).unwrap_or(u32::MAX);
        line.points.push(one.points);
        for (habit, points) in &one.habits {
            *line.habits.entry(habit.title().to_owned()).or_default() += points;
        }
        let system = &one.system;
        let fault = self.faults.entry(format!("{system} {}", one.hidden)).or_default();
        fault.hidden += 1;
        fault.found += u32::from(one.right);
        if !one.right {
            *fault.called_as.entry(one.called.to_string()).or_default() += 1;
        }
        for test in &one.useless {
            *self.useless_tests.entry(format!("{system}: {test}")).or_default() += 1;
        }
    }

    /// How many attempts count, in words.
    fn counted(&self) -> String {
        let counts = counted(self.attempts as usize, "attempt");
        format!("Counted: {counts}. Not counted: {}.", self.refused.len())
    }

    /// Tests that told nothing, the most frequent first.
    fn useless_sorted(&self) -> Vec<(&String, u32)> {
        let mut tests: Vec<(&String, u32)> =
            self.useless_tests.iter().map(|(test, times)| (test, *times)).collect();
        tests.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        tests
    }

    /// As lines of text.
    pub fn text(&self) -> String {
        let mut out = String::new();
        let _ = writeln!(out, "{}", self.counted());
        let _ = writeln!(
            out,
            "\nTrainees: drills, proven calls, wrong calls, left open, minutes over par, wasted bits, cautions, points first to last"
        );
        for (name, line) in &self.trainees {
            let _ = writeln!(out, "  {}: {}", plain(name), line.told());
            for (habit, points) in line.worst_habits() {
                let _ = writeln!(out, "      {habit}: {points:.0} points");
            }
        }
        let _ = writeln!(out, "\nFaults: hidden, found, called as");
        for (fault, line) in &self.faults {
            let _ = writeln!(
                out,
                "  {}: {}, {}{}",
                plain(fault),
                line.hidden,
                line.found,
                line.called_told()
            );
        }
        if !self.useless_tests.is_empty() {
            let _ = writeln!(out, "\nTests made when they could tell nothing: times");
            for (test, times) in self.useless_sorted().into_iter().take(20) {
                let _ = writeln!(out, "  {}: {times}", plain(test));
            }
        }
        for (title, lines) in
            [("Handed in more than once", &self.again), ("Does not count", &self.refused)]
        {
            if !lines.is_empty() {
                let _ = writeln!(out, "\n{title}:");
                for line in lines {
                    let _ = writeln!(out, "  {}", plain(line));
                }
            }
        }
        out
    }

    /// As comma-separated values (RFC 4180), a trainee a line.
    pub fn csv(&self) -> String {
        let mut out = String::from(
            "trainee,drills,proven,wrong,left_open,minutes,par_minutes,wasted_bits,cautions,mean_points\r\n",
        );
        for (name, line) in &self.trainees {
            let _ = write!(
                out,
                "{},{},{},{},{},{:.2},{:.2},{:.2},{},{:.1}\r\n",
                cell(name),
                line.drills,
                line.proven,
                line.wrong,
                line.left_open,
                line.minutes,
                line.par_minutes,
                line.wasted_bits,
                line.cautions,
                line.mean_points()
            );
        }
        out
    }

    /// As a page of HTML that stands by itself.
    pub fn html(&self) -> String {
        let mut out = String::new();
        let _ = write!(
            out,
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
             <meta name=\"color-scheme\" content=\"light dark\"/>\n<title>Class</title>\n\
             <style>{STYLE}\n.scrolls{{overflow-x:auto}}\n.scrolls .plot{{width:6.25rem}}\n.scrolls th,.scrolls td{{padding-right:1rem}}\n.scrolls td:last-child{{min-width:12rem}}</style>\n</head>\n<body>\n<header><h1>Class</h1>\n\
             <p class=\"quiet\">{}</p></header>\n<main>\n",
            self.counted()
        );
        self.trainees_page(&mut out);
        self.faults_page(&mut out);
        list(
            &mut out,
            "Tests made when they could tell nothing",
            self.useless_sorted()
                .into_iter()
                .take(20)
                .map(|(test, times)| format!("{test}: {times} times")),
        );
        list(&mut out, "Handed in more than once", self.again.iter().cloned());
        list(&mut out, "Does not count", self.refused.iter().cloned());
        out.push_str("</main>\n<footer><p class=\"training\">Training model only. On an aircraft follow the approved maintenance data, local rules and licensed staff.</p></footer>\n</body>\n</html>\n");
        out
    }

    fn trainees_page(&self, out: &mut String) {
        out.push_str("<section><h2>Trainees</h2>\n<div class=\"scrolls\" tabindex=\"0\" role=\"region\" aria-label=\"Trainees\"><table>\n<thead><tr><th scope=\"col\">Trainee</th><th scope=\"col\">Points, first to last</th><th scope=\"col\" class=\"num\">Drills</th><th scope=\"col\" class=\"num\">Proven</th><th scope=\"col\" class=\"num\">Wrong</th><th scope=\"col\" class=\"num\">Times par</th><th scope=\"col\" class=\"num\">Wasted bits</th><th scope=\"col\" class=\"num\">Cautions</th><th scope=\"col\">To work on</th></tr></thead>\n<tbody>\n");
        for (name, line) in &self.trainees {
            let habits: Vec<String> =
                line.worst_habits().map(|(habit, _)| escaped(habit)).collect();
            let _ = writeln!(
                out,
                "<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"num\">{}</td><td class=\"num\">{}</td><td class=\"num\">{}</td><td class=\"num\">{:.2}</td><td class=\"num\">{:.1}</td><td class=\"num\">{}</td><td>{}</td></tr>",
                escaped(name),
                // Beside the name, so that a phone shows it before anything is scrolled.
                progress(&line.points),
                line.drills,
                line.proven,
                line.wrong,
                line.over_par(),
                line.wasted_bits,
                line.cautions,
                habits.join("; ")
            );
        }
        out.push_str("</tbody></table></div></section>\n");
    }

    fn faults_page(&self, out: &mut String) {
        out.push_str("<section><h2>Faults</h2>\n<div class=\"scrolls\" tabindex=\"0\" role=\"region\" aria-label=\"Faults\"><table>\n<thead><tr><th scope=\"col\">Fault</th><th scope=\"col\" class=\"num\">Hidden</th><th scope=\"col\" class=\"num\">Found</th><th scope=\"col\">Called as</th></tr></thead>\n<tbody>\n");
        for (fault, line) in &self.faults {
            let called: Vec<String> = line
                .called_as
                .iter()
                .map(|(as_what, times)| format!("{} ({times})", escaped(as_what)))
                .collect();
            let _ = writeln!(
                out,
                "<tr><th scope=\"row\">{}</th><td class=\"num\">{}</td><td class=\"num\">{}</td><td>{}</td></tr>",
                escaped(fault),
                line.hidden,
                line.found,
                called.join(", ")
            );
        }
        out.push_str("</tbody></table></div></section>\n");
    }
}

fn list(out: &mut String, title: &str, lines: impl Iterator<Item = String>) {
    let lines: Vec<String> = lines.collect();
    if lines.is_empty() {
        return;
    }
    let _ = write!(out, "<section><h2>{title}</h2>\n<ul class=\"tight\">\n");
    for line in lines {
        let _ = writeln!(out, "<li>{}</li>", escaped(&line));
    }
    out.push_str("</ul></section>\n");
}

/// Points of a drill that are told one by one at the most, from the first and from the last on.
const TOLD: usize = 12;

/// Points from drill to drill in words; of very many those between are left out.
fn points_told(points: &[f64], between: &str) -> String {
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
    fn mean_points(&self) -> f64 {
        self.points.iter().sum::<f64>() / self.points.len().max(1) as f64
    }

    /// Minutes over those of the best strategy known.
    pub fn over_par(&self) -> f64 {
        self.minutes / self.par_minutes.max(1e-9)
    }

    /// The three habits that cost most.
    fn worst_habits(&self) -> impl Iterator<Item = (&str, f64)> {
        let mut habits: Vec<(&str, f64)> =
            self.habits.iter().map(|(habit, points)| (habit.as_str(), *points)).collect();
        habits.sort_by(|a, b| b.1.total_cmp(&a.1));
        habits.into_iter().take(3)
    }

    fn told(&self) -> String {
        format!(
            "{}, {}, {}, {}, {:.2}, {:.1}, {}, {}",
            self.drills,
            self.proven,
            self.wrong,
            self.left_open,
            self.over_par(),
            self.wasted_bits,
            self.cautions,
            points_told(&self.points, " ")
        )
    }
}

impl FaultLine {
    fn called_told(&self) -> String {
        if self.called_as.is_empty() {
            return String::new();
        }
        let called: Vec<String> = self
            .called_as
            .iter()
            .map(|(as_what, times)| format!("{} ({times})", plain(as_what)))
            .collect();
        format!(", {}", called.join(", "))
    }
}
