//! The command line: what was typed, and which part of the program does it.
//!
//! Only this layer prints, reads the clock and knows exit codes: 0 done, 1 a finding
//! or a wrong call, 2 bad usage or bad input.

mod again;
mod args;
mod chart;
mod check;
mod class;
mod debrief;
mod dictionary;
mod drill;
mod figures;
mod keys;
mod kinds;
mod logbook;
mod menu;
mod new;
mod oral;
mod par;
mod plain;
mod recorder;
mod rehearse;
mod seal;
mod setup;
mod sitting;
mod solve;
mod spice;
mod testability;
mod watch;
mod whole_file;

pub use args::Arguments;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

use crate::diagnostic::plain;
use args::Verb;

/// How a run ended, as far as a calling script is concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// Done.
    Well,
    /// Done, with a finding or a wrong call.
    WithFinding,
    /// Ended by this signal, the terminal given back.
    BySignal(u8),
}

/// Runs the program.
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Clap prints help to standard output and mistakes to standard error.
            let code = if error.use_stderr() { 2 } else { 0 };
            if code == 0 {
                let _ = error.print();
            } else {
                // What was typed stands in it, and is data as any other.
                let told = error.render().to_string();
                let lines: Vec<String> = told.lines().map(plain).collect();
                let _ = writeln!(std::io::stderr(), "{}", lines.join("\n"));
            }
            return ExitCode::from(code);
        }
    };
    if keeps_something(arguments.verb.as_ref()) {
        for told in recorder::ignored() {
            let _ = writeln!(std::io::stderr(), "{told}");
        }
    }
    let ended = match arguments.verb {
        None => menu::run(arguments.plain, arguments.looks),
        Some(Verb::Drill(drill)) => drill::run(&drill, arguments.plain, arguments.looks),
        Some(Verb::Solve(solve)) => solve::run(&solve),
        Some(Verb::Spice(spice)) => spice::run(&spice),
        Some(Verb::Check(check)) => check::run(&check),
        Some(Verb::Chart(chart)) => chart::run(&chart, arguments.looks.ascii),
        Some(Verb::Dictionary(dictionary)) => dictionary::run(&dictionary),
        Some(Verb::Par(par)) => par::run(&par),
        Some(Verb::Rehearse(rehearse)) => rehearse::run(&rehearse),
        Some(Verb::Rubric) => rehearse::rubric(),
        Some(Verb::Seal(seal)) => seal::run(&seal),
        Some(Verb::Kinds(kinds)) => kinds::run(&kinds),
        Some(Verb::New(new)) => new::run(&new),
        Some(Verb::Log(log)) => logbook::list(&log),
        Some(Verb::Resume(resume)) => logbook::resume(&resume, arguments.plain, arguments.looks),
        Some(Verb::Replay(replay)) => logbook::replay(&replay, arguments.plain, arguments.looks),
        Some(Verb::Handin(handin)) => logbook::hand_in(&handin),
        Some(Verb::Verify(verify)) => logbook::verify(&verify),
        Some(Verb::Class(class)) => class::class(&class),
        Some(Verb::Oral(oral)) => oral::run(&oral, arguments.plain, arguments.looks),
    };
    match ended {
        Ok(Ended::Well) => ExitCode::SUCCESS,
        Ok(Ended::WithFinding) => ExitCode::from(1),
        // As a shell reports a program that a signal has ended.
        Ok(Ended::BySignal(number)) => ExitCode::from(128 + (number & 127)),
        Err(error) if is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            let text: String =
                format!("{error:#}").lines().map(plain).collect::<Vec<_>>().join("\n");
            let _ = writeln!(std::io::stderr(), "{text}");
            ExitCode::from(2)
        }
    }
}

/// Whether it matters to a verb where the logbook and chosen keys stand.
fn keeps_something(verb: Option<&Verb>) -> bool {
    match verb {
        None => true,
        Some(verb) => matches!(
            verb,
            Verb::Drill(_)
                | Verb::Log(_)
                | Verb::Resume(_)
                | Verb::Replay(_)
                | Verb::Handin(_)
                | Verb::Oral(_)
        ),
    }
}

/// Whether the reader of our output has gone away, which is not our mistake.
fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error
        .downcast_ref::<std::io::Error>()
        .is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe)
}
