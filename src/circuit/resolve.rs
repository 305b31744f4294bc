//! From a file as typed to a [`Circuit`] as meant, with everything that is wrong.
//!
//! Names become ids, shorthand is written out, defaults are filled in. Checking
//! collects: one run reports all it can find, so that an author mends a file once
//! and not once per mistake.

use std::collections::BTreeMap;

use super::catalogue::{CATALOGUE, KindSpec};
use super::common::{PART_FIELDS, TEST_POINT, TEST_POINT_FIELDS};
use super::expand::{ENTRY_LIMIT, Written, expand_names, too_many};
use super::fields::{Known, build, names_another, warn_of_same_ends};
use super::file::{Findings, REPEAT, StationFile, SystemFile, quoted};
use super::mods::{self, Fitted};
use super::names::{line, line_of, word};
use super::origins::{Origins, PartOrigin};
use super::places::Node;
use super::values::{Nets, Value, Values, check};
use super::{
    AIRFRAME, AIRFRAME_NAME, Circuit, Ground, Kind, NetId, Part, PartId, Station, StationId,
    TestPoint,
};
use crate::diagnostic::Place;
use crate::units::significant;

/// Most minutes to reach or open a station.
const MINUTES_LIMIT: f64 = 10_000.0;

/// Most ratings of spare fuses, and most stations.
const RATING_LIMIT: usize = 100;
const STATION_LIMIT: usize = 1_000;

/// Longest caution and longest brief, in characters.
const CAUTION_CHARS: usize = 240;
const BRIEF_CHARS: usize = 4_000;

/// The circuit that a file means with these of its mods, by their place in the file;
/// `None` after an error.
pub(super) fn resolve(
    file: &SystemFile,
    root: &Node,
    which: &[usize],
    findings: &mut Findings,
) -> Option<(Circuit, Origins)> {
    word(&file.id, "the system's id", false, root.field("id").place, findings);
    title(&file.title, "the system's title", root.field("title"), findings);
    // A brief may run over several lines of the file; they are one paragraph.
    let brief = file.brief.split_whitespace().collect::<Vec<_>>().join(" ");
    let brief_place = root.field("brief").place;
    line_of(&brief, "the brief", BRIEF_CHARS, brief_place, findings);
    let insulation_ohms = insulation(file.insulation_megohms, root, findings);
    let spare_fuses = spare_fuses(file, root.field("spare_fuses"), findings);
    let stations = stations(&file.stations, root, findings);
    let offered = mods::offered(file, root, findings);
    let fitted = mods::fitted(file, root, which);
    let (net_names, net_places, mut nets) = nets(file, root, &fitted, findings);
    let (parts, origins) = parts(file, root, &fitted, &stations, (&net_names, &mut nets), findings);
    // A net can be bare only because a part was refused, so this waits for a file
    // without errors. Test points come later: a probe is not an end.
    if !findings.has_errors() {
        warn_of_loose_nets(&net_names, &net_places, &nets, !fitted.is_empty(), findings);
    }
    let test_points = test_points(file, root, &fitted, &stations, &mut nets, findings);
    nets.count_unknown(findings);
    if findings.has_errors() {
        return None;
    }
    let list = root.field("stations");
    let origins = Origins {
        parts: origins,
        stations: (0..stations.len()).map(|at| list.child(at).place).collect(),
        system: root.place,
    };
    let circuit = Circuit {
        id: file.id.clone(),
        title: file.title.clone(),
        brief,
        nets: net_names,
        parts: parts
            .into_iter()
            .collect::<Option<_>>()
            .expect("a part is left out only after an error"),
        stations,
        test_points: test_points
            .into_iter()
            .collect::<Option<_>>()
            .expect("a test point is left out only after an error"),
        insulation_ohms,
        spare_fuses,
        mods: offered,
        fitted: fitted.iter().map(|one| one.file.id.clone()).collect(),
        conditions: None,
    };
    Some((circuit, origins))
}

fn warn_of_loose_nets(
    names: &[String],
    places: &[Place],
    nets: &Nets,
    modified: bool,
    findings: &mut Findings,
) {
    for (index, (name, place)) in names.iter().zip(places).enumerate().skip(1) {
        let message = match nets.parts_at(NetId(index as u32)) {
            0 => format!("no part touches the net {}", quoted(name)),
            1 => format!("only one part touches the net {}", quoted(name)),
            _ => continue,
        };
        let bare = modified && nets.parts_at(NetId(index as u32)) == 0;
        let hint = bare.then(|| "a mod takes a net away with `remove_nets`".to_owned());
        findings.warning("net-with-one-end", *place, message, hint);
    }
}

fn title(text: &str, what: &str, node: &Node, findings: &mut Findings) {
    if text.trim().is_empty() {
        let message = format!("{what} is empty");
        findings.error("bad-name", node.place, message, None);
    } else {
        line(text, what, node.place, findings);
    }
}

fn insulation(megohms: f64, root: &Node, findings: &mut Findings) -> f64 {
    // Infinite is meant: a system without leakage.
    if megohms.is_nan() || megohms <= 0.0 {
        let message =
            format!("`insulation_megohms` must be above 0, but it is {}", significant(megohms, 6));
        let place = root.field("insulation_megohms").place;
        findings.error("out-of-range", place, message, None);
    }
    megohms * 1e6
}

fn spare_fuses(file: &SystemFile, node: &Node, findings: &mut Findings) -> Vec<(f64, u32)> {
    let mut spares: Vec<(f64, u32)> = Vec::new();
    if file.spare_fuses.len() > RATING_LIMIT {
        too_many(findings, node.place, RATING_LIMIT, "ratings of spare fuses");
        return spares;
    }
    for (index, spare) in file.spare_fuses.iter().enumerate() {
        let place = node.child(index).place;
        let rating = significant(spare.amps, 6);
        if !spare.amps.is_finite() || spare.amps <= 0.0 {
            let message = format!("a spare fuse must be rated above 0 A, but one is {rating} A");
            findings.error("out-of-range", place, message, None);
        } else if spares.iter().any(|(amps, _)| *amps == spare.amps) {
            let message = format!("the spare fuses of {rating} A are listed twice");
            findings.error("duplicate-id", place, message, None);
        }
        spares.push((spare.amps, spare.count));
    }
    spares
}

fn stations(files: &[StationFile], root: &Node, findings: &mut Findings) -> Vec<Station> {
    let list = root.field("stations");
    if files.is_empty() {
        let message = "the system has no station to stand at";
        findings.error("no-stations", list.place, message, None);
    }
    if files.len() > STATION_LIMIT {
        too_many(findings, list.place, STATION_LIMIT, "stations");
        return Vec::new();
    }
    let mut seen = Seen::new("station");
    let mut stations = Vec::with_capacity(files.len());
    for (index, file) in files.iter().enumerate() {
        let node = list.child(index);
        let id_place = node.field("id").place;
        let who = format!("station {}", quoted(&file.id));
        if word(&file.id, "a station's id", false, id_place, findings) {
            seen.add(&file.id, id_place, findings);
        }
        title(&file.title, &format!("the title of {who}"), node.field("title"), findings);
        for (field, minutes) in [("minutes", file.minutes), ("open_minutes", file.open_minutes)] {
            if !(0.0..=MINUTES_LIMIT).contains(&minutes) {
                let message = format!(
                    "{} of {who} must be from 0 to {MINUTES_LIMIT} min, but it is {}",
                    quoted(field),
                    significant(minutes, 6)
                );
                let place = node.field(field).place;
                findings.error("out-of-range", place, message, None);
            }
        }
        for (which, caution) in file.cautions.iter().enumerate() {
            let what = format!("a caution of {who}");
            let place = node.field("cautions").child(which).place;
            line_of(caution, &what, CAUTION_CHARS, place, findings);
        }
        for (which, panel) in file.panels.iter().enumerate() {
            let what = format!("a panel of {who}");
            title(panel, &what, node.field("panels").child(which), findings);
        }
        stations.push(Station {
            id: file.id.clone(),
            title: file.title.clone(),
            reach_minutes: file.minutes,
            open_minutes: file.open_minutes,
            crew: file.crew,
            cautions: file.cautions.clone(),
            panels: file.panels.clone(),
        });
    }
    stations
}

/// Net names and places by number, and the same by name.
fn nets(
    file: &SystemFile,
    root: &Node,
    fitted: &[Fitted<'_>],
    findings: &mut Findings,
) -> (Vec<String>, Vec<Place>, Nets) {
    let mut names = vec![AIRFRAME_NAME.to_owned()];
    let mut places = vec![root.field("nets").place];
    let mut nets = Nets::new();
    let mut seen = Seen::new("net");
    let declared = mods::net_texts(file, root, fitted, findings);
    let mut removed: BTreeMap<String, (Place, bool)> =
        declared.removed.into_iter().map(|(name, place)| (name, (place, false))).collect();
    for (text, place) in declared.texts {
        for name in expand_names(text, place, findings) {
            if names.len() > ENTRY_LIMIT {
                too_many(findings, place, ENTRY_LIMIT, "nets");
                return (names, places, nets);
            }
            if let Some((_, met)) = removed.get_mut(&name) {
                *met = true;
            } else if name.eq_ignore_ascii_case(AIRFRAME_NAME) {
                let message = format!("the net {} is the airframe and always there", quoted(&name));
                let hint = Some("leave it out of `nets`".to_owned());
                findings.error("duplicate-id", place, message, hint);
            } else if word(&name, "a net's name", false, place, findings)
                && seen.add(&name, place, findings)
            {
                nets.add(name.clone(), NetId(names.len() as u32));
                names.push(name);
                places.push(place);
            }
        }
    }
    for (name, (place, _)) in removed.iter().filter(|(_, (_, met))| !met) {
        let message = format!("there is no net {} to remove", quoted(name));
        let hint = findings.suggest(name, names.iter().skip(1).map(String::as_str));
        findings.error("unknown-net", *place, message, hint);
    }
    (names, places, nets)
}

fn parts(
    file: &SystemFile,
    root: &Node,
    fitted: &[Fitted<'_>],
    stations: &[Station],
    (net_names, nets): (&[String], &mut Nets),
    findings: &mut Findings,
) -> (Vec<Option<Part>>, Vec<PartOrigin>) {
    if file.parts.is_empty() {
        let place = root.field("parts").place;
        findings.error("no-parts", place, "the system has no parts", None);
    }
    let mut seen = Seen::new("part");
    let written = mods::parts(file, root, &PART_FIELDS, fitted, findings);
    let mut drafts = Vec::with_capacity(written.len());
    for (index, written) in written.iter().enumerate() {
        let Some(spec) = CATALOGUE.iter().find(|spec| spec.name == written.name) else {
            let message = format!("there is no kind of part named {}", quoted(written.name));
            let known = CATALOGUE.iter().map(|spec| spec.name).chain([REPEAT]);
            let hint = findings.suggest(written.name, known);
            findings.error("unknown-kind", written.place, message, hint);
            continue;
        };
        let values = check(written, index, &[&PART_FIELDS, spec.fields], nets, findings);
        warn_of_same_ends(&values, net_names, findings);
        let id = entry_id(&values, &mut seen, findings);
        let head = head(spec, &values, id, stations, findings);
        drafts.push((spec, values, head));
    }
    // A part that names another is built once that one is.
    let mut kinds: Vec<Option<Kind>> = drafts
        .iter()
        .map(|(spec, values, _)| {
            let first = !names_another(spec.id);
            first.then(|| build(spec.id, values, &Known::new(), findings)).flatten()
        })
        .collect();
    let later: Vec<(usize, Option<Kind>)> = {
        let known: Known = drafts
            .iter()
            .zip(&kinds)
            .enumerate()
            .filter_map(|(index, ((_, values, _), kind))| {
                Some((values.text("id")?, (PartId(index as u32), kind.as_ref()?)))
            })
            .collect();
        let later = drafts.iter().enumerate().filter(|(_, (spec, ..))| names_another(spec.id));
        later
            .map(|(at, (spec, values, _))| (at, build(spec.id, values, &known, findings)))
            .collect()
    };
    for (at, kind) in later {
        kinds[at] = kind;
    }
    warn_of_shunts(&drafts, &kinds, findings);
    let origins = drafts.iter().map(|(_, values, _)| origin(values)).collect();
    let parts = drafts
        .into_iter()
        .zip(kinds)
        .map(|((.., head), kind)| {
            let head = head?;
            Some(Part { kind: kind?, ..head })
        })
        .collect();
    (parts, origins)
}

/// Where a part and its fields stand.
fn origin(values: &Values) -> PartOrigin {
    PartOrigin {
        who: values.who.clone(),
        place: values.place,
        fields: values.given().collect(),
        gauge_awg: match values.get("gauge") {
            Some(Value::Count(gauge)) if values.number("ohms").is_none() => {
                u8::try_from(*gauge).ok()
            }
            _ => None,
        },
    }
}

/// How far an ammeter's rating may stand from that of the shunt across which it is.
const SHUNT_TOLERANCE: f64 = 0.01;

/// Warns of ammeters that are made for another shunt than the one they are across.
fn warn_of_shunts(
    drafts: &[(&KindSpec, Values, Option<Part>)],
    kinds: &[Option<Kind>],
    findings: &mut Findings,
) {
    let built = || drafts.iter().zip(kinds);
    let pair = |a: NetId, b: NetId| (a.min(b), a.max(b));
    let shunts: BTreeMap<(NetId, NetId), (&str, f64)> = built()
        .filter_map(|((_, values, _), kind)| match kind {
            Some(Kind::Shunt(s)) => Some((pair(s.a, s.b), (values.who.as_str(), s.ohms))),
            _ => None,
        })
        .collect();
    for ((_, values, _), kind) in built() {
        let Some(Kind::Ammeter(meter)) = kind else { continue };
        let Some((shunt, ohms)) = shunts.get(&pair(meter.plus, meter.minus)) else { continue };
        let shown = meter.per_volt * ohms;
        if (shown - 1.0).abs() <= SHUNT_TOLERANCE {
            continue;
        }
        let message = format!(
            "{} shows {} A where 1 A flows through {shunt}",
            values.who,
            significant(shown, 3)
        );
        let hint = Some("give both the same `amps` and `millivolts`".to_owned());
        findings.warning("other-shunt", values.place_of("amps"), message, hint);
    }
}

/// A part without its kind yet: a stand-in takes that place.
fn head(
    spec: &KindSpec,
    values: &Values,
    id: Option<String>,
    stations: &[Station],
    findings: &mut Findings,
) -> Option<Part> {
    let at = station(values, "at", stations, findings);
    let seen_at = match values.get("seen_at") {
        Some(_) => station(values, "seen_at", stations, findings),
        None => at,
    };
    let panel = optional_name(values, "panel", findings);
    if let (Some(panel), Some(at), Some(seen_at)) = (&panel, at, seen_at) {
        known_panel(panel, values, [&stations[at.index()], &stations[seen_at.index()]], findings);
    }
    let label = optional_name(values, "label", findings);
    let group = optional_name(values, "group", findings);
    let id = id?;
    Some(Part {
        label: label.unwrap_or_else(|| id.clone()),
        station: at?,
        seen_at: seen_at?,
        panel,
        group: group.unwrap_or_else(|| id.clone()),
        replace_minutes: values.number("minutes").unwrap_or(spec.replace_minutes),
        stock: values.text("stock")?.to_owned(),
        kind: Kind::Ground(Ground { net: AIRFRAME, ohms: f64::INFINITY }),
        id,
    })
}

fn test_points(
    file: &SystemFile,
    root: &Node,
    fitted: &[Fitted<'_>],
    stations: &[Station],
    nets: &mut Nets,
    findings: &mut Findings,
) -> Vec<Option<TestPoint>> {
    let mut seen = Seen::new("test point");
    let written = mods::test_points(file, root, fitted, findings);
    written.iter().map(|written| test_point(written, stations, nets, &mut seen, findings)).collect()
}

fn test_point(
    written: &Written<'_>,
    stations: &[Station],
    nets: &mut Nets,
    seen: &mut Seen,
    findings: &mut Findings,
) -> Option<TestPoint> {
    if written.name != TEST_POINT {
        let message = format!("{} is not a test point", quoted(written.name));
        let hint = findings.suggest(written.name, [TEST_POINT, REPEAT]);
        findings.error("unknown-kind", written.place, message, hint);
        return None;
    }
    let values = check(written, usize::MAX, &[&TEST_POINT_FIELDS], nets, findings);
    let id = entry_id(&values, seen, findings);
    let at = station(&values, "at", stations, findings);
    let Some(Value::Net(net)) = values.get("net") else {
        return None;
    };
    Some(TestPoint { id: id?, net: *net, station: at? })
}

/// The id of a part or test point, sound and not taken.
fn entry_id(values: &Values, seen: &mut Seen, findings: &mut Findings) -> Option<String> {
    let id = values.text("id")?;
    let place = values.place_of("id");
    let what = format!("the id of a {}", seen.what);
    if !word(id, &what, false, place, findings) {
        return None;
    }
    if id.contains(':') {
        let message = format!("{what} has a colon in it: {}", quoted(id));
        let hint = Some("a colon parts a part from its fault mode".to_owned());
        findings.error("bad-name", place, message, hint);
        return None;
    }
    seen.add(id, place, findings).then(|| id.to_owned())
}

/// A label or group, which must not be empty if it is given.
fn optional_name(values: &Values, field: &str, findings: &mut Findings) -> Option<String> {
    let text = values.text(field)?;
    if text.trim().is_empty() {
        let message = format!("{} of {} is empty", quoted(field), values.who);
        findings.error("bad-name", values.place_of(field), message, None);
    }
    Some(text.to_owned())
}

/// Finds fault with a panel that neither station of a part has.
fn known_panel(panel: &str, values: &Values, stations: [&Station; 2], findings: &mut Findings) {
    let panels: Vec<&str> = stations.iter().flat_map(|s| &s.panels).map(String::as_str).collect();
    if panels.contains(&panel) {
        return;
    }
    let message = format!("{} has no panel {}", quoted(&stations[1].id), quoted(panel));
    let hint = findings.suggest(panel, panels);
    findings.error("unknown-panel", values.place_of("panel"), message, hint);
}

fn station(
    values: &Values,
    field: &str,
    stations: &[Station],
    findings: &mut Findings,
) -> Option<StationId> {
    let name = values.text(field)?;
    let found = stations.iter().position(|station| station.id == name);
    if found.is_none() {
        let message = format!("no station is named {}", quoted(name));
        let hint = findings.suggest(name, stations.iter().map(|s| s.id.as_str()));
        findings.error("unknown-station", values.place_of(field), message, hint);
    }
    found.map(|index| StationId(index as u32))
}

/// The names of one sort met so far, without case, with the place of each.
struct Seen {
    what: &'static str,
    places: BTreeMap<String, Place>,
}

impl Seen {
    fn new(what: &'static str) -> Self {
        Self { what, places: BTreeMap::new() }
    }

    /// Takes in a name; a finding and false where it is taken.
    fn add(&mut self, name: &str, place: Place, findings: &mut Findings) -> bool {
        let Some(first) = self.places.get(&name.to_lowercase()) else {
            self.places.insert(name.to_lowercase(), place);
            return true;
        };
        let message = if *first == place {
            format!("this line makes more than one {} {}", self.what, quoted(name))
        } else {
            format!(
                "the {} {} is already at {}",
                self.what,
                quoted(name),
                findings.told(*first, place)
            )
        };
        findings.error("duplicate-id", place, message, None);
        false
    }
}
