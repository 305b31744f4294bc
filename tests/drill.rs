//! The drill as plain lines, through the real binary: won by following the advice,
//! lost by guessing, and the same bytes twice.

use std::io::Write;
use std::process::{Command, Output, Stdio};
use std::sync::Arc;

use halfsplit::drill::command::{Request, parse};
use halfsplit::drill::{Outcome, Session};
use halfsplit::observation::{Act, Step};
use halfsplit::{faults, library};

use crate::program::data_home;

/// Runs the binary with lines on standard input.
fn run(arguments: &[&str], lines: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .env("XDG_DATA_HOME", data_home())
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it reads");
    child.wait_with_output().expect("it ends")
}

fn text(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("plain lines are text")
}

/// What the last piece of advice says to type.
fn advised(transcript: &str) -> Vec<String> {
    let lines: Vec<&str> = transcript.lines().collect();
    let at = lines.iter().rposition(|l| l.contains("Best: ")).expect("advice was given");
    lines[at + 1..].iter().map_while(|l| l.strip_prefix("  type: ")).map(str::to_owned).collect()
}

/// Follows the advice to the call by typing what it says, one round of the program per
/// piece of advice. Returns the last transcript and the lines typed.
fn follow(fault: &str) -> (Output, String) {
    let arguments = ["drill", "t4-ac", "--plain", "--seed", "7", "--fault", fault];
    let mut typed = String::new();
    for _ in 0..25 {
        let output = run(&arguments, &format!("{typed}advise\n"));
        for line in advised(&text(&output)) {
            typed.push_str(&line);
            typed.push('\n');
        }
        if typed.contains("call ") {
            return (run(&arguments, &typed), typed);
        }
    }
    panic!("no call after 25 pieces of advice:\n{typed}");
}

/// Each of these fault kinds is won by following the offered best step, with a proof.
#[track_caller]
fn won_by_advice(fault: &str) {
    let (output, typed) = follow(fault);
    let transcript = text(&output);
    assert!(
        transcript.contains("Isolated and proven"),
        "{fault}: typed\n{typed}\ngot\n{transcript}"
    );
    assert!(transcript.contains(&format!("The fault was {fault}:")), "{transcript}");
    assert_eq!(output.status.code(), Some(0));
    // The debrief has a row for every step, each with bits and what was left.
    let steps = typed.lines().filter(|l| !l.starts_with("call")).count();
    let rows = transcript.lines().filter(|l| l.trim_start().starts_with("expected ")).count();
    assert_eq!(rows, steps, "{transcript}");
}

#[test]
fn a_blown_primary_fuse_is_isolated_by_advice() {
    won_by_advice("F-FLT-C:open");
}

#[test]
fn a_dead_converter_motor_is_isolated_by_advice() {
    won_by_advice("CV2:motor-open");
}

#[test]
fn a_breaker_that_will_not_latch_is_isolated_by_advice() {
    won_by_advice("CB2A:trips-early");
}

#[test]
fn an_open_transformer_winding_is_isolated_by_advice() {
    won_by_advice("T-FLT-A:primary-open");
}

#[test]
fn a_stuck_warning_relay_is_isolated_by_advice() {
    won_by_advice("K-SG:stuck-released");
}

#[test]
fn a_chafed_phase_wire_is_isolated_by_advice() {
    won_by_advice("W2-A:chafed");
}

#[test]
fn a_guess_loses_and_is_told_what_it_was_worth() {
    let output =
        run(&["drill", "t4-ac", "--fault", "F-FLT-C:open", "--seed", "7"], "call CV1:motor-open\n");
    let transcript = text(&output);
    assert!(
        transcript.contains("Wrong call: the observations gave that part 0 %."),
        "{transcript}"
    );
    assert!(transcript.contains("The fault was F-FLT-C:open"));
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn a_right_guess_is_not_a_proof() {
    let output = run(
        &["drill", "t4-ac", "--fault", "CV2:motor-open", "--seed", "7"],
        "call CV2:motor-open\n",
    );
    let transcript = text(&output);
    assert!(transcript.contains("The part is right, but not proven"), "{transcript}");
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let lines = "look\nset VSEL C2 A\nset VSEL SVY C\ngo fuses\nac TBF-1\nac TBF-5 TBF-6\n\
                 pull F-FLT-C\nsuspect F-FLT-C\nboard\nnotebook\nsteps\nstations\nadvise\n\
                 call F-FLT-C:open\n";
    let arguments = ["drill", "t4-ac", "--seed", "11"];
    let (first, second) = (run(&arguments, lines), run(&arguments, lines));
    assert!(!first.stdout.is_empty());
    assert_eq!(first.stdout, second.stdout);
    let other = run(&["drill", "t4-ac", "--seed", "12"], lines);
    assert_ne!(first.stdout, other.stdout);
}

#[test]
fn plain_lines_can_be_spoken() {
    let output = run(&["drill", "t4-ac", "--seed", "3"], "help\nlook\nsteps\nadvise\nquit\n");
    for c in text(&output).chars() {
        let drawn =
            ('\u{2500}'..='\u{259F}').contains(&c) || ('\u{2800}'..='\u{28FF}').contains(&c);
        assert!(!drawn && (c == '\n' || !c.is_control()), "{c:?}");
    }
}

#[test]
fn what_cannot_be_done_is_refused_with_the_reason_and_costs_nothing() {
    let lines = "pull F-FLT-C\nohms TBF-1\ngo nowhere\nset VSEL C9\nfly\nac TBR-1 TBR-1\n\
                 go relay\nohms TBR-1\nfit CB1A\nquit\n";
    let transcript = text(&run(&["drill", "t4-ac", "--seed", "3"], lines));
    for said in [
        "Not done: F-FLT-C is at FUSE CABINET: go there first.",
        "Not done: TBF-1 is at FUSE CABINET: go there first.",
        "no station `nowhere`",
        "VSEL has no position `C9`; it has OFF",
        "no command `fly`",
        "live: ohms refused",
        "Caution: ohms on a live circuit: remove power and prove it dead first.",
        "Not done: CB1A cannot be fitted; only fuses are.",
    ] {
        assert!(transcript.contains(said), "missing {said:?} in\n{transcript}");
    }
}

#[test]
fn an_unknown_fault_or_system_is_one_message_and_exit_code_two() {
    for (arguments, said) in [
        (vec!["drill", "t4-ac", "--fault", "CV1:asleep"], "has no fault mode `asleep`; it has:"),
        (vec!["drill", "t4-ac", "--fault", "CV9:motor-open"], "no part `CV9`"),
        (vec!["drill", "t4-ax"], "did you mean `t4-ac`?"),
        (vec!["solve", "t4-ac", "--set", "VSEL=C9"], "VSEL has no position `C9`"),
        (vec!["solve", "t4-ac", "--set", "VSEL"], "is not CONTROL=POSITION"),
    ] {
        let output = run(&arguments, "");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(errors.contains(said), "{arguments:?}: {errors}");
        assert!(!errors.contains("panicked"), "{errors}");
    }
}

#[test]
fn solve_prints_one_object_with_the_promised_shape() {
    let output = run(&["solve", "t4-ac", "--json", "--set", "VSEL=C1 A"], "");
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one object");
    assert_eq!(json["stop"], "steady");
    let net = &json["nets"]["CV1.A"];
    // 115 V regulated: the design value of the flagship's own converter.
    assert!((net["ac_rms"].as_f64().expect("a number") - 115.0).abs() < 0.1);
    assert_eq!(net["ac"][0]["source"], "CV1");
    assert_eq!(net["ac_band"], "normal");
    assert!(net["dc_band"].is_null());
    assert_eq!(net["ac"][0]["hertz"], 400.0);
    assert_eq!(json["lamps"]["L-FLT"]["seen"], "dark");
    let fraction = json["meters"]["VM"]["angle_fraction"].as_f64().expect("a number");
    assert!((fraction - 0.5).abs() < 0.02, "115 V stands mid-scale: {fraction}");
    assert_eq!(json["parts"]["K-FLT"]["state"], "operated");
    assert!(json["events"].as_array().is_some_and(|events| !events.is_empty()));
}

#[test]
fn a_line_without_an_end_is_refused_and_stray_bytes_are_no_command() {
    let endless = "x".repeat(8_000);
    let output = run(&["drill", "bench", "--seed", "1"], &endless);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("is no command"));
    let transcript =
        text(&run(&["drill", "bench", "--seed", "1"], "\u{7}\u{1b}[31m\nlook\nquit\n"));
    assert!(transcript.contains("no command") && !transcript.contains('\u{1b}'), "{transcript}");
}

#[test]
fn a_second_spare_in_one_holder_goes_against_a_caution() {
    let lines = "go fuses\npull F-FL\nfit F-FL\npull F-FL\nfit F-FL\nquit\n";
    let transcript =
        text(&run(&["drill", "t4-ac", "--fault", "I-FL-L:shorted", "--seed", "5"], lines));
    assert_eq!(transcript.matches("fuse F-FL: blown").count(), 2, "{transcript}");
    assert!(transcript.contains("Caution: a second spare for F-FL"), "{transcript}");
}

#[test]
fn a_whole_fuse_may_be_changed_and_a_breaker_that_one_has_pulled_is_no_popped_one() {
    let lines = "go fuses\npull F-FL\nfit F-FL\npull F-FL\nfit F-FL\nquit\n";
    let transcript =
        text(&run(&["drill", "t4-ac", "--fault", "F-FLT-C:open", "--seed", "5"], lines));
    assert_eq!(transcript.matches("fuse F-FL: whole").count(), 2, "{transcript}");
    assert!(!transcript.contains("Caution: a second spare"), "{transcript}");
    assert!(!transcript.contains("Caution: fuse fitted"), "{transcript}");
    // Pulled and pushed in by hand, as often as one likes: none of it is a reset.
    let lines = "pull CB1\npush CB1\npull CB1\npush CB1\npull CB1\nlook\nquit\n";
    let transcript = text(&run(&["drill", "bench", "--fault", "W1:open", "--seed", "5"], lines));
    assert_eq!(transcript.matches(": out, as you pulled it").count(), 4, "{transcript}");
    assert!(!transcript.contains("popped") && !transcript.contains("reset more"), "{transcript}");
}

#[test]
fn a_fuse_in_the_hand_tells_its_rating_where_it_is_not_that_of_the_placard() {
    let lines = "go fuses\npull F-MAG\nfit F-MAG\npull F-MAG\nquit\n";
    let pulled = |fault| text(&run(&["drill", "t4-ac", "--fault", fault, "--seed", "5"], lines));
    let low = pulled("F-MAG:under-rated");
    assert_eq!(low.matches("fuse F-MAG: blown, marked 0.125 A; placard 0.5 A").count(), 1, "{low}");
    let high = pulled("F-MAG:over-rated");
    assert_eq!(high.matches("fuse F-MAG: whole, marked 2.5 A; placard 0.5 A").count(), 1, "{high}");
    // The spare is what the placard asks for, and so is a fuse that has only melted.
    for after in [&low, &high] {
        assert_eq!(after.matches("marked").count(), 1, "{after}");
        assert_eq!(after.matches("fuse F-MAG: whole\n").count(), 1, "{after}");
    }
    let open = pulled("F-MAG:open");
    assert!(open.contains("fuse F-MAG: blown\n") && !open.contains("marked"), "{open}");
}

#[test]
fn what_is_marked_on_a_fuse_proves_that_it_is_the_wrong_one() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    for (hidden, chances) in [("F-MAG:under-rated", 1.0), ("F-MAG:open", 0.0)] {
        let cause = faults::parse_cause(&circuit, hidden).expect("a fault");
        let mut session = Session::planted(Arc::clone(&circuit), cause, 4).expect("settled");
        for line in ["go fuses", "pull F-MAG"] {
            let Ok(Request::Do(action)) = parse(&circuit, line) else { panic!("{line}") };
            assert!(matches!(session.apply(action), Outcome::Done(_)), "{line}");
        }
        let wrong = faults::parse_cause(&circuit, "F-MAG:under-rated").expect("a fault");
        let belief = session.belief().expect("settled");
        let all = belief.candidates().iter().zip(belief.posterior());
        let p: f64 = all.filter(|(one, _)| one.cause == wrong).map(|(_, p)| p).sum();
        assert!((p - chances).abs() < 1e-9, "{hidden}: {p}");
    }
}

#[test]
fn a_caution_is_known_before_the_step_that_would_go_against_it() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let cause = faults::parse_cause(&circuit, "F-LTS:open").expect("a fault");
    let after = |lines: &[&str]| {
        let mut session =
            Session::planted(Arc::clone(&circuit), cause.clone(), 4).expect("settled");
        for line in lines {
            match parse(&circuit, line) {
                Ok(Request::Do(action)) => {
                    assert!(matches!(session.apply(action), Outcome::Done(_)));
                }
                other => panic!("{line}: {other:?}"),
            }
        }
        let fuse = circuit.find_part("F-LTS").expect("a fuse");
        session.cautions_against(Step::Act(Act::FitSpare(fuse)))
    };
    let live = after(&["go fuses", "pull F-LTS"]);
    assert!(live.len() == 1 && live[0].starts_with("fuse fitted in F-LTS with "), "{live:?}");
    // With the power off first there is nothing to be said.
    assert_eq!(after(&["set MASTER OFF", "go fuses", "pull F-LTS"]), [""; 0]);
}

#[test]
fn a_wrong_call_of_two_faults_tells_which_was_right_and_what_spoke_against_it() {
    let drill = |call: &str| {
        let arguments =
            ["drill", "bench", "--fault", "W1:open", "--fault", "DS1:bulbs-out", "--seed", "3"];
        text(&run(&arguments, &format!("dc TB1-2\ndc TB1-3\ncall {call}\n")))
    };
    let half = drill("W1:open + S1:open-ON");
    assert!(
        half.contains("right was W1:open, wrong was S1:open-ON, missed was DS1:bulbs-out"),
        "{half}"
    );
    assert!(half.contains("nothing that was seen spoke against"), "{half}");
    let single = drill("W1:open");
    assert!(single.contains("right was W1:open, missed was DS1:bulbs-out"), "{single}");
    let other = drill("CB1:trips-early + DS1:bulbs-out");
    assert!(other.contains("right was DS1:bulbs-out, wrong was CB1:trips-early"), "{other}");
    assert!(other.contains(" spoke against CB1:trips-early + DS1:bulbs-out: "), "{other}");
}

#[test]
fn walking_back_takes_as_long_as_walking_there() {
    let transcript = text(&run(&["drill", "t4-ac", "--seed", "5"], "go fuses\ngo deck\nquit\n"));
    assert!(transcript.contains("[1 min] go to FUSE CABINET: 1 min."), "{transcript}");
    assert!(transcript.contains("[2 min] go to FLIGHT DECK: 1 min."), "{transcript}");
}
