//! Faults as they are planted: with ohms of their own, under conditions, in pairs.

use std::process::{Command, Output};

use halfsplit::circuit::{Circuit, Kind, PartId};
use halfsplit::faults::{self, Condition, Exposure, Planted, build, compatible, parse_planted};
use halfsplit::library;

fn system(name: &str) -> Circuit {
    library::load(name).expect("it comes with the program")
}

fn planted(circuit: &Circuit, typed: &str) -> Planted {
    parse_planted(circuit, typed).unwrap_or_else(|error| panic!("{typed}: {error}"))
}

fn kind<'c>(circuit: &'c Circuit, part: &str) -> &'c Kind {
    &circuit.part(circuit.find_part(part).expect("such a part")).kind
}

fn wire_ohms(circuit: &Circuit, part: &str) -> f64 {
    let Kind::Wire(wire) = kind(circuit, part) else { panic!("{part} is no wire") };
    wire.ohms
}

#[test]
fn every_fault_of_the_library_can_be_planted_and_is_what_it_was() {
    for name in library::NAMES {
        let circuit = system(name);
        for (fault, mode) in faults::all(&circuit) {
            let one = planted(&circuit, &fault.code(&circuit).to_uppercase());
            assert_eq!(one, Planted::always(fault.clone(), mode.clone()));
            assert!(!one.is_intermittent() && one.is_present(&circuit, &[], &[]));
            assert_eq!(one.code(&circuit), fault.code(&circuit));
            let built = build(&circuit, &[one], &[], &[]).expect("one fault conflicts with none");
            assert_eq!(built, faults::apply(&circuit, &fault, &mode));
            let Some(range) = mode.range else { continue };
            assert!(range.least < range.usual && range.usual < range.most);
            for ohms in [range.least, range.usual, range.most] {
                let typed = format!("{}@{ohms}~heat", fault.code(&circuit));
                let one = planted(&circuit, &typed);
                assert_eq!((one.code(&circuit), one.ohms), (typed, Some(ohms)));
                assert_eq!(one.mode.faulted == mode.faulted, ohms == range.usual);
            }
        }
    }
}

#[test]
fn a_poor_joint_has_the_ohms_it_is_given() {
    let circuit = system("t4-ac");
    let sound = wire_ohms(&circuit, "W-TQ");
    let joint = planted(&circuit, "w-tq:HIGH-RESISTANCE@40");
    assert_eq!(joint.told(&circuit), "W-TQ has a high-resistance joint, 40 ohm");
    let built = build(&circuit, &[joint], &[], &[]).expect("it can be built");
    assert!((wire_ohms(&built, "W-TQ") - sound - 40.0).abs() < 1e-12);
}

#[test]
fn a_condition_decides_whether_it_is_there() {
    let circuit = system("t4-ac");
    let part = |name: &str| circuit.find_part(name).expect("such a part");
    let present = |typed: &str, positions: &[(PartId, u8)], under: &[Exposure]| {
        planted(&circuit, typed).is_present(&circuit, positions, under)
    };
    let (shaken, hot) = (Exposure::Vibration, Exposure::Heat);
    assert!(!present("W-TQ:open~vibration", &[], &[]));
    assert!(!present("W-TQ:open~vibration", &[], &[hot]));
    assert!(present("W-TQ:open~Vibration", &[], &[hot, shaken]));
    let select = part("BUSSEL");
    // AUTO is where it stands in the normal setup, FLT 2 the next position.
    assert!(present("W-TQ:open~BUSSEL=AUTO", &[], &[]));
    assert!(!present("W-TQ:open~BUSSEL=AUTO", &[(select, 1)], &[]));
    assert!(present("W-TQ:open~bussel=flt 2", &[(select, 0), (select, 1)], &[]));
    let both = "W-TQ:open~heat~BUSSEL=FLT 2";
    assert!(!present(both, &[], &[hot]));
    assert!(!present(both, &[(select, 1)], &[]));
    assert!(present(both, &[(select, 1)], &[hot]));
    assert_eq!(
        planted(&circuit, both).conditions,
        [Condition::Under(hot), Condition::At { control: select, position: 1 },]
    );
    assert_eq!(planted(&circuit, both).code(&circuit), both);
    assert_eq!(planted(&circuit, "W-TQ:open~heat~HEAT").code(&circuit), "W-TQ:open~heat");
}

#[test]
fn it_is_told_in_words() {
    let circuit = system("t4-ac");
    for (typed, told) in [
        ("W-TQ:open", "W-TQ is broken"),
        ("W-TQ:open~vibration", "W-TQ is broken, only with vibration"),
        ("W-TQ:open~SOURCE1=ON", "W-TQ is broken, only while SOURCE1 is at ON"),
        (
            "W-TQ:chafed@0.5~heat~SOURCE1=on",
            "W-TQ has chafed through to the airframe, 0.5 ohm, only with heat and while SOURCE1 is at ON",
        ),
    ] {
        assert_eq!(planted(&circuit, typed).told(&circuit), told);
    }
}

#[test]
fn a_mode_named_after_a_position_keeps_its_name() {
    let circuit = system("t4-ac");
    let one = planted(&circuit, "BUSSEL:open-FLT-2~heat");
    assert_eq!(one.fault.mode, "open-FLT-2");
    assert_eq!(one.conditions, [Condition::Under(Exposure::Heat)]);
}

#[test]
fn what_is_not_there_is_answered_with_what_is() {
    let circuit = system("t4-ac");
    for (typed, said) in [
        ("W-TQ", "`W-TQ` is not a fault: write PART:MODE, such as `PWR:dead`"),
        ("W-TTQ:open", "no part `W-TTQ` in this system; did you mean `W-TQ`?"),
        (
            "W-TQ:opened@4",
            "part `W-TQ` has no fault mode `opened`; it has: open, chafed, high-resistance",
        ),
        ("W-TQ:open@40", "`W-TQ:open` takes no ohms; chafed or high-resistance does"),
        ("F-TQ:open@40", "`F-TQ:open` takes no ohms"),
        (
            "W-TQ:high-resistance@4000",
            "`W-TQ:high-resistance` takes 0.1 to 1000 ohm after the @, not `4000`",
        ),
        (
            "W-TQ:high-resistance@NaN",
            "`W-TQ:high-resistance` takes 0.1 to 1000 ohm after the @, not `NaN`",
        ),
        (
            "W-TQ:high-resistance@~heat",
            "`W-TQ:high-resistance` takes 0.1 to 1000 ohm after the @, not ``",
        ),
        (
            "W-TQ:open~vibratoin",
            "`vibratoin` is no condition: write vibration, heat, or CONTROL=POSITION; \
             did you mean `vibration`?",
        ),
        ("W-TQ:open~", "`` is no condition: write vibration, heat, or CONTROL=POSITION"),
        ("W-TQ:open~SOURCE3=ON", "no part `SOURCE3` in this system; did you mean `SOURCE1`?"),
        ("W-TQ:open~CV1=ON", "`CV1` is not a control; a fault cannot depend on its position"),
        ("W-TQ:open~SOURCE1=UP", "`SOURCE1` has no position `UP`; it has OFF, ON"),
        (
            "W-TQ:open~SOURCE1=ON~SOURCE1=OFF",
            "`SOURCE1` cannot stand in two positions at once; the fault would never be there",
        ),
    ] {
        let error = parse_planted(&circuit, typed).expect_err(typed);
        assert_eq!(error.to_string(), said);
    }
}

#[test]
fn a_pair_is_two_faults_of_two_parts() {
    let circuit = system("t4-ac");
    let faults = |typed: [&str; 2]| typed.map(|one| planted(&circuit, one));
    let pair = faults(["W-TQ:open", "F-FLT-A:open~heat"]);
    let cold = build(&circuit, &pair, &[], &[]).expect("two parts");
    let hot = build(&circuit, &pair, &[], &[Exposure::Heat]).expect("two parts");
    assert!(wire_ohms(&cold, "W-TQ").is_infinite() && wire_ohms(&hot, "W-TQ").is_infinite());
    assert_eq!(kind(&cold, "F-FLT-A"), kind(&circuit, "F-FLT-A"));
    assert_ne!(kind(&hot, "F-FLT-A"), kind(&circuit, "F-FLT-A"));
    // Even where they are never there together: a part has one fault.
    let same = faults(["W-TQ:open~heat", "W-TQ:chafed~vibration"]);
    let said =
        "`W-TQ` cannot fail in two ways at once: `W-TQ:open~heat` and `W-TQ:chafed~vibration`";
    assert_eq!(compatible(&circuit, &same).expect_err("one part").to_string(), said);
    assert_eq!(build(&circuit, &same, &[], &[]).expect_err("one part").to_string(), said);
}

fn halfsplit(arguments: &[&str]) -> (Option<i32>, String) {
    let Output { status, stdout, stderr } = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .env("XDG_DATA_HOME", crate::program::data_home())
        .args(arguments)
        .output()
        .expect("it runs");
    (status.code(), String::from_utf8_lossy(&[stdout, stderr].concat()).into_owned())
}

#[test]
fn the_command_line_says_whether_a_fault_is_there() {
    let fault = "W-FT-C:open~vibration~MASTER=ON";
    let words = "W-FT-C is broken, only with vibration and while MASTER is at ON";
    let solve = |more: &[&str]| {
        let (code, said) = halfsplit(&[&["solve", "t4-ac", "--fault", fault], more].concat());
        assert_eq!(code, Some(0), "{said}");
        said
    };
    let still = solve(&[]);
    assert!(still.contains(&format!("  {words}: now it is not\n")), "{still}");
    assert!(still.contains("  L-FLT                dark\n"), "{still}");
    let shaken = solve(&["--under", "vibration", "--under", "heat"]);
    assert!(shaken.contains(&format!("  {words}: now it is\n")), "{shaken}");
    assert!(shaken.contains("  L-FLT                bright\n"), "{shaken}");
    let off = solve(&["--under", "vibration", "--set", "MASTER=OFF", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&off).expect("it is JSON");
    assert_eq!(
        json["faults"],
        serde_json::json!([{ "fault": fault, "text": words, "present": false }])
    );
    let (code, said) = halfsplit(&["solve", "t4-ac", "--under", "rain"]);
    assert!(code == Some(2) && said.contains("write vibration or heat"), "{said}");
    let twice = ["solve", "t4-ac", "--fault", "W-TQ:open", "--fault", "W-TQ:chafed"];
    let (code, said) = halfsplit(&twice);
    assert!(code == Some(2) && said.contains("cannot fail in two ways at once"), "{said}");
}

#[test]
fn a_drill_refuses_what_its_reasoning_cannot_weigh() {
    let drill = |fault: &str| halfsplit(&["drill", "t4-ac", "--plain", "--fault", fault]);
    assert_eq!(drill("W-TQ:open~vibration").0, Some(0));
    let (code, said) = drill("W-TQ:open~SOURCE1=ON");
    assert_eq!(code, Some(2));
    assert!(said.starts_with("a drill cannot hide a fault that depends on a control"), "{said}");
    let (code, said) = drill("W-TQ:high-resistance@40");
    assert_eq!(code, Some(2));
    assert!(said.contains("with its usual 15 ohm only") && said.contains("by 40 ohm"), "{said}");
    assert_eq!(drill("W-TQ:high-resistance@15").0, Some(0));
}
