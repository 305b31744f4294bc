//! The drills that come along: each can be solved, and what it asks stands in a table that is
//! kept true (`UPDATE=1 cargo test ladder` writes it anew).

use std::fmt::Write as _;
use std::fs;

use halfsplit::library;
use halfsplit::rehearsal::figures;
use halfsplit::scenario::Scenario;
use halfsplit::units::significant;
use rayon::prelude::*;

use crate::bad_files::folder;

const TABLE: &str = "scenarios/ladder.md";

/// Work for par and simulated trainees, for each drill.
const WORK: u64 = 20_000_000;
const RUNS: u32 = 60;

fn drills() -> Vec<(&'static str, Scenario)> {
    library::NAMES
        .into_iter()
        .flat_map(|name| {
            let drills = library::drills(name).expect("they read clean");
            drills.into_iter().map(move |drill| (name, drill))
        })
        .collect()
}

fn row(system: &str, drill: &Scenario) -> String {
    let loaded = library::scenario(system, &drill.id).expect("it fits its system");
    let told = figures(&loaded.ready, WORK, RUNS).expect("it can be worked out");
    assert!(told.proven, "{system}/{}: the advice does not prove it", drill.id);
    let gap = (told.par_minutes - told.least_minutes) / told.par_minutes.max(1e-9);
    // Function checks leave nearly everything possible: their par is known less closely, and
    // the table says how closely.
    assert!(gap <= 0.1, "{system}/{}: par within {gap}", drill.id);
    let within = match significant(100.0 * gap, 2) {
        told if gap > 0.005 => format!(" (within {told} %)"),
        _ => String::new(),
    };
    let mut row = String::new();
    let _ = write!(
        row,
        "| {system}/{} | {} | {}{within} | {} | {} | {} |",
        drill.id,
        drill.rung,
        significant(told.par_minutes, 3),
        significant(told.advised_minutes, 3),
        significant(told.difficulty.over_best, 2),
        significant(100.0 * told.difficulty.wrong, 2)
    );
    row
}

#[test]
fn every_drill_is_solved_as_its_table_says() {
    let drills = drills();
    let rows: Vec<String> = drills.par_iter().map(|(system, drill)| row(system, drill)).collect();
    let table = fs::read_to_string(folder(TABLE)).unwrap_or_default();
    let head = "| drill | rung | par, min | as advised, min | middling trainee, times the best \
                | calls wrong, % |\n|---|---|---|---|---|---|\n";
    let expected = format!("{head}{}\n", rows.join("\n"));
    let (before, _) = table.split_once("| drill |").expect("the table is there");
    if std::env::var_os("UPDATE").is_some() {
        fs::write(folder(TABLE), format!("{before}{expected}")).expect("it can be written");
    } else {
        assert_eq!(table[before.len()..], expected, "run UPDATE=1 cargo test ladder");
    }
}

#[test]
fn every_drill_of_the_library_is_clean() {
    library::NAMES.into_par_iter().for_each(|name| {
        let (_, findings) = library::check_drills(name).expect("they can be read");
        let said: Vec<String> = findings.iter().map(ToString::to_string).collect();
        assert!(said.is_empty(), "{said:#?}");
    });
}
