//! Many netlists of one kind through one run of ngspice.
//!
//! Starting ngspice for each state would take hours. So the cards of all the netlists
//! are laid over each other in one, and for each netlist in turn only what differs from
//! the one before is altered, then it is solved and its voltages are added to a binary
//! file. A resistance that a netlist does not have is altered to one that passes nothing.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use halfsplit::spice::{Card, Netlist, Value};

/// Ohms that stand for a card that is not there: with 10 megohms of insulation on every
/// net they let through a thousandth of a microvolt.
const NOT_THERE_OHMS: f64 = 1e18;

/// The same of a coil, at any frequency there is here.
const NOT_THERE_HENRIES: f64 = 1e18;

/// A phasor per net, in volts; direct volts have no imaginary part.
pub(super) type Volts = Vec<(f64, f64)>;

/// A card of the netlist laid together: under its own name, with what it is altered to.
struct Laid {
    name: String,
    /// Whether it is a coil that others are coupled to: that stays as it is, and the
    /// resistance in series with it is what passes nothing.
    coupled: bool,
    now: Vec<f64>,
}

/// The numbers of a card that may differ from netlist to netlist.
fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Ohms(n)
        | Value::Henries(n)
        | Value::Farads(n)
        | Value::VoltsPerVolt(n)
        | Value::AmpsPerVolt(n)
        | Value::AmpsPerAmp { gain: n, .. }
        | Value::VoltsPerAmp { ohms: n, .. }
        | Value::Coupling { factor: n, .. } => vec![*n],
        Value::Source { volts, ac_volts, degrees } => vec![*volts, *ac_volts, *degrees],
    }
}

/// The same where the card is not there; `None` where others that are not there cut it
/// off (were they not, the comparison would fail).
fn not_there(letter: char) -> Option<Vec<f64>> {
    match letter {
        'R' => Some(vec![NOT_THERE_OHMS]),
        'L' => Some(vec![NOT_THERE_HENRIES]),
        'G' | 'F' => Some(vec![0.0]),
        _ => None,
    }
}

/// What each number of a card is called when it is altered.
fn parameters(letter: char) -> &'static [&'static str] {
    match letter {
        'R' => &["resistance"],
        'L' => &["inductance"],
        'C' => &["capacitance"],
        'V' => &["dc", "acmag", "acphase"],
        'K' => &["coefficient"],
        _ => &["gain"],
    }
}

type Key = (String, Vec<String>);

fn key(card: &Card) -> Key {
    (card.name.clone(), card.nodes.clone())
}

/// Lays all the cards over each other; writes those not seen before.
fn lay(netlists: &[&Netlist], text: &mut String) -> BTreeMap<Key, Laid> {
    let mut laid: BTreeMap<Key, Laid> = BTreeMap::new();
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    for netlist in netlists {
        for card in netlist.cards() {
            if laid.contains_key(&key(card)) {
                continue;
            }
            // The same part between other nodes is a card of its own.
            let count = taken.entry(card.name.clone()).or_default();
            *count += 1;
            let name =
                if *count == 1 { card.name.clone() } else { format!("{}__{count}", card.name) };
            let mut written = card.clone();
            written.name.clone_from(&name);
            match &mut written.value {
                Value::AmpsPerAmp { through, .. } | Value::VoltsPerAmp { through, .. } => {
                    let source = netlist.cards().find(|c| c.name == *through);
                    let source = source.expect("the source whose current counts is there");
                    through.clone_from(&laid[&key(source)].name);
                }
                Value::Coupling { inductors, .. } => {
                    for inductor in inductors {
                        let coil = netlist.cards().find(|c| c.name == *inductor);
                        let coil = coil.expect("the coils that are coupled are there");
                        let coil = laid.get_mut(&key(coil)).expect("it was laid before");
                        coil.coupled = true;
                        inductor.clone_from(&coil.name);
                    }
                }
                Value::Ohms(_)
                | Value::Henries(_)
                | Value::Farads(_)
                | Value::Source { .. }
                | Value::VoltsPerVolt(_)
                | Value::AmpsPerVolt(_) => {}
            }
            writeln!(text, "{written}").expect("a string grows");
            laid.insert(key(card), Laid { name, coupled: false, now: numbers(&card.value) });
        }
    }
    laid
}

/// Alters what differs from the netlist before.
fn alter(netlist: &Netlist, laid: &mut BTreeMap<Key, Laid>, text: &mut String) {
    let there: BTreeMap<Key, &Card> = netlist.cards().map(|card| (key(card), card)).collect();
    for (key, laid) in laid {
        let letter = laid.name.chars().next().expect("a name has a letter");
        let wanted = there.get(key).map_or_else(
            || not_there(letter).filter(|_| !laid.coupled),
            |c| Some(numbers(&c.value)),
        );
        let Some(wanted) = wanted else { continue };
        for (at, parameter) in parameters(letter).iter().enumerate() {
            if laid.now[at] != wanted[at] {
                writeln!(text, "alter @{}[{parameter}]={:e}", laid.name, wanted[at])
                    .expect("a string grows");
                laid.now[at] = wanted[at];
            }
        }
    }
}

/// What ngspice makes of each of the netlists, which are all of one circuit and all of
/// direct current or all of alternating.
pub(super) fn solve(netlists: &[&Netlist]) -> Vec<Volts> {
    let Some(first) = netlists.first() else { return Vec::new() };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut text = String::from("* many states of one circuit\n");
    let mut laid = lay(netlists, &mut text);
    for node in first.nodes.iter().skip(1) {
        writeln!(text, ".save v({node})").expect("a string grows");
    }
    writeln!(text, "{} noopac\n.control\nset filetype=binary", Netlist::options())
        .expect("a string grows");
    for (at, netlist) in netlists.iter().enumerate() {
        alter(netlist, &mut laid, &mut text);
        writeln!(text, "{}\nwrite volts.raw\ndestroy all", netlist.analysis())
            .expect("a string grows");
        if at == 0 {
            text.push_str("set appendwrite\n");
        }
    }
    text.push_str("quit\n.endc\n.end\n");
    let path = folder.path().join("states.cir");
    std::fs::write(&path, text).expect("it can be written");
    let output = Command::new("ngspice")
        .arg("-b")
        .arg(&path)
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .output()
        .expect("ngspice runs");
    let said = String::from_utf8_lossy(&output.stderr);
    let trouble = said.lines().find(|line| line.to_lowercase().contains("error"));
    assert!(trouble.is_none(), "ngspice: {trouble:?}");
    let found = read(&folder.path().join("volts.raw"), &first.nodes);
    assert_eq!(found.len(), netlists.len(), "one solution a netlist: {said}");
    found
}

/// Reads a binary file of solutions: a head of lines each, then doubles.
fn read(path: &Path, nodes: &[String]) -> Vec<Volts> {
    let bytes = std::fs::read(path).expect("ngspice has written its solutions");
    let mut rest = bytes.as_slice();
    let mut found = Vec::new();
    while !rest.is_empty() {
        let (mut complex, mut names) = (false, Vec::new());
        loop {
            let end = rest.iter().position(|b| *b == b'\n').expect("a line of the head");
            let line = std::str::from_utf8(&rest[..end]).expect("the head is text");
            rest = &rest[end + 1..];
            if line == "Binary:" {
                break;
            } else if let Some(flags) = line.strip_prefix("Flags: ") {
                complex = flags.contains("complex");
            } else if line.starts_with('\t') {
                let name = line.split('\t').nth(2).expect("a name").to_owned();
                names.push(name.trim_start_matches("v(").trim_end_matches(')').to_owned());
            }
        }
        let each = if complex { 2 } else { 1 };
        let (numbers, after) = rest.split_at(names.len() * each * 8);
        rest = after;
        let number = |at: usize| {
            let bytes = numbers[at * 8..at * 8 + 8].try_into().expect("eight bytes");
            f64::from_le_bytes(bytes)
        };
        let places: BTreeMap<&str, usize> =
            names.iter().enumerate().map(|(at, name)| (name.as_str(), at)).collect();
        found.push(
            nodes[1..]
                .iter()
                .map(|node| {
                    let at = places[node.as_str()] * each;
                    (number(at), if complex { number(at + 1) } else { 0.0 })
                })
                .collect(),
        );
    }
    found
}
