//! Holds what an author wrote against the catalogue: is each field known, is it
//! there, is it of the right type and in range, does each net exist.
//!
//! What comes out is a value of the field's own type; what the fields of one part
//! mean together is for [`super::fields`].

use std::collections::{BTreeMap, BTreeSet};

use super::catalogue::{FieldDefault, FieldKind, FieldSpec};
use super::expand::{Written, WrittenField};
use super::file::{Findings, Raw, quoted};
use super::names::{line, word};
use super::places::Node;
use super::{AIRFRAME, AIRFRAME_NAME, NetId};
use crate::diagnostic::Place;
use crate::units::significant;

/// The nets of a file by name, and which of them the parts touch.
pub(super) struct Nets {
    by_name: BTreeMap<String, NetId>,
    touched: BTreeSet<(NetId, usize)>,
    /// Names that no net has: how often each is used, and where first.
    unknown: BTreeMap<String, (usize, Place)>,
}

impl Nets {
    /// The airframe alone.
    pub(super) fn new() -> Self {
        Self {
            by_name: BTreeMap::from([(AIRFRAME_NAME.to_owned(), AIRFRAME)]),
            touched: BTreeSet::new(),
            unknown: BTreeMap::new(),
        }
    }

    pub(super) fn add(&mut self, name: String, id: NetId) {
        self.by_name.insert(name, id);
    }

    /// How many parts touch a net.
    pub(super) fn parts_at(&self, net: NetId) -> usize {
        self.touched.range((net, 0)..=(net, usize::MAX)).take(2).count()
    }

    /// The net of this name; a finding with a suggestion where there is none, once for each
    /// name that is missing.
    pub(super) fn find(
        &mut self,
        name: &str,
        place: Place,
        findings: &mut Findings,
    ) -> Option<NetId> {
        if let Some(net) = self.by_name.get(name) {
            return Some(*net);
        }
        if let Some((uses, _)) = self.unknown.get_mut(name) {
            *uses += 1;
            return None;
        }
        self.unknown.insert(name.to_owned(), (1, place));
        let hint = findings.suggest(name, self.by_name.keys().map(String::as_str));
        let message = format!("no net is named {}", quoted(name));
        let hint = hint.or_else(|| Some(DECLARE.to_owned()));
        findings.error("unknown-net", place, message, hint);
        None
    }

    /// Says how often names are used that no net has. Several times is no slip of the pen.
    pub(super) fn count_unknown(&self, findings: &mut Findings) {
        for (uses, place) in self.unknown.values().filter(|(uses, _)| *uses > 1) {
            findings.amend("unknown-net", *place, |hint| match hint {
                Some(near) if near != DECLARE => {
                    format!("used {uses} times: {DECLARE}, or {near}")
                }
                _ => format!("used {uses} times: {DECLARE}"),
            });
        }
    }
}

/// What makes a name a net.
const DECLARE: &str = "declare it in `nets`";

/// A position of a switch, and the pairs of nets it joins.
pub(super) struct ClosureList {
    pub(super) position: String,
    pub(super) place: Place,
    pub(super) pairs: Vec<(NetId, NetId)>,
}

/// The nets of one contact set.
pub(super) struct ContactNets {
    pub(super) common: NetId,
    pub(super) released: Option<NetId>,
    pub(super) operated: Option<NetId>,
}

/// A field's value, of the type its [`FieldKind`] asks for.
pub(super) enum Value {
    Net(NetId),
    Number(f64),
    Count(u32),
    Text(String),
    Flag(bool),
    Positions(Vec<String>),
    Closures(Vec<ClosureList>),
    Contacts(Vec<ContactNets>),
    Scale(Vec<(f64, f64)>),
    Numbers(Vec<f64>),
    Needs(Vec<(NetId, NetId, f64)>),
    /// The name of another part; [`super::resolve`] sees whether it is there.
    Part(String),
    Nets(Vec<NetId>),
    Pairs(Vec<(NetId, NetId)>),
    /// Poles: the common net and the throws, of which one may have nothing on it.
    Poles(Vec<(NetId, Vec<Option<NetId>>)>),
    Pins(Vec<(String, NetId, NetId)>),
}

/// A part's fields after checking; what was wrong or left out is not in it.
pub(super) struct Values {
    /// The part as messages call it: ``Fuse `F1` ``.
    pub(super) who: String,
    /// The fields of its kind alone.
    pub(super) fields: &'static [FieldSpec],
    /// Where its line begins.
    pub(super) place: Place,
    found: BTreeMap<&'static str, (Value, Place)>,
}

impl Values {
    /// The value of a field, if it is there and sound.
    pub(super) fn get(&self, field: &str) -> Option<&Value> {
        self.found.get(field).map(|(value, _)| value)
    }

    /// Whether the author gave a field, be it what it would have been anyhow.
    pub(super) fn is_given(&self, field: &str) -> bool {
        self.found.get(field).is_some_and(|(_, place)| *place != self.place)
    }

    /// The fields that the author gave, and where their values stand.
    pub(super) fn given(&self) -> impl Iterator<Item = (&'static str, Place)> + '_ {
        let given = self.found.iter().filter(|(_, (_, place))| *place != self.place);
        given.map(|(field, (_, place))| (*field, *place))
    }

    /// Where the value of a field stands; the part's own place where it is a default.
    pub(super) fn place_of(&self, field: &str) -> Place {
        self.found.get(field).map_or(self.place, |(_, place)| *place)
    }
}

/// Checks the fields of one part. `index` tells the parts apart where nets are counted.
pub(super) fn check(
    written: &Written<'_>,
    index: usize,
    specs: &[&'static [FieldSpec]],
    nets: &mut Nets,
    findings: &mut Findings,
) -> Values {
    let who = match written.fields.iter().find(|field| field.name == "id") {
        Some(WrittenField { value: Raw::Text(id), .. }) => {
            format!("{} {}", written.name, quoted(id))
        }
        Some(_) | None => written.name.to_owned(),
    };
    let mut checker = Checker { who: &who, part: index, nets, findings };
    let known = || specs.iter().flat_map(|list| list.iter());
    let mut found = BTreeMap::new();
    let mut given = BTreeSet::new();
    for field in &written.fields {
        let Some(spec) = known().find(|spec| spec.name == field.name) else {
            checker.unknown_field(field, known().map(|spec| spec.name));
            continue;
        };
        if !given.insert(spec.name) {
            let message = format!("{} of {who} is given twice", quoted(spec.name));
            let place = field.key_place;
            checker.findings.error("duplicate-field", place, message, None);
            continue;
        }
        if let Some(value) = checker.value(spec, &field.value, field.node) {
            found.insert(spec.name, (value, field.node.place));
        }
    }
    for spec in known().filter(|spec| !given.contains(spec.name)) {
        if spec.default == FieldDefault::Required {
            let message = format!("{who} needs its field {}", quoted(spec.name));
            let hint = Some(format!("{}: {}", spec.name, spec.doc));
            checker.findings.error("missing-field", written.place, message, hint);
            continue;
        }
        let Some(default) = default_as_typed(spec.default) else { continue };
        let node = Node::at(written.place);
        if let Some(value) = checker.value(spec, &default, &node) {
            found.insert(spec.name, (value, written.place));
        }
    }
    let fields = specs.last().copied().unwrap_or_default();
    Values { place: written.place, found, who, fields }
}

/// What an author would have typed to get the default; `None` where there is none.
pub(super) fn default_as_typed(default: FieldDefault) -> Option<Raw> {
    match default {
        FieldDefault::Required | FieldDefault::Absent => None,
        FieldDefault::Number(number) => Some(Raw::Number(number)),
        FieldDefault::Text(text) => Some(Raw::Text(text.to_owned())),
        FieldDefault::Flag(flag) => Some(Raw::Flag(flag)),
    }
}

struct Checker<'c> {
    who: &'c str,
    part: usize,
    nets: &'c mut Nets,
    findings: &'c mut Findings,
}

impl Checker<'_> {
    fn unknown_field(
        &mut self,
        field: &WrittenField<'_>,
        known: impl Iterator<Item = &'static str>,
    ) {
        let message = format!("{} has no field {}", self.who, quoted(field.name));
        let hint = self.findings.suggest(field.name, known);
        self.findings.error("unknown-field", field.key_place, message, hint);
    }

    fn value(&mut self, spec: &'static FieldSpec, raw: &Raw, node: &Node) -> Option<Value> {
        match spec.kind {
            FieldKind::Net => self.net(spec.name, raw, node.place).map(Value::Net),
            FieldKind::Number { unit, above, most } => {
                let number = self.number(spec.name, raw, node.place)?;
                self.in_range(spec.name, number, unit, above, most, node.place).map(Value::Number)
            }
            FieldKind::Count { least, most } => {
                self.count(spec.name, raw, least, most, node.place).map(Value::Count)
            }
            FieldKind::Text => {
                let text = self.text(spec.name, raw, node.place)?;
                let what = format!("{} of {}", quoted(spec.name), self.who);
                line(&text, &what, node.place, self.findings).then_some(Value::Text(text))
            }
            FieldKind::Flag => match raw {
                Raw::Flag(flag) => Some(Value::Flag(*flag)),
                _ => self.wrong_type(spec.name, "true or false", raw, node.place),
            },
            FieldKind::Choice(words) => {
                let text = self.text(spec.name, raw, node.place)?;
                if words.contains(&text.as_str()) {
                    return Some(Value::Text(text));
                }
                let all: Vec<_> = words.iter().map(|word| format!("`{word}`")).collect();
                let message = format!(
                    "{} of {} must be one of {}, not {}",
                    quoted(spec.name),
                    self.who,
                    all.join(", "),
                    quoted(&text)
                );
                let hint = self.findings.suggest(&text, words.iter().copied());
                self.findings.error("out-of-range", node.place, message, hint);
                None
            }
            FieldKind::Positions => self.positions(spec.name, raw, node).map(Value::Positions),
            FieldKind::Closures => self.closures(spec.name, raw, node).map(Value::Closures),
            FieldKind::Contacts => self.contacts(spec.name, raw, node).map(Value::Contacts),
            FieldKind::Scale => self
                .each(spec.name, "a list of (value, fraction)", raw, node, |c, raw, node| {
                    let [value, fraction] =
                        c.tuple(spec.name, "(value, fraction of arc)", raw, node)?;
                    let value = c.finite(spec.name, value, node.child(0).place)?;
                    let fraction = c.finite(spec.name, fraction, node.child(1).place)?;
                    Some((value, fraction))
                })
                .map(Value::Scale),
            FieldKind::Numbers => self
                .each(spec.name, "a list of numbers", raw, node, |c, raw, node| {
                    c.finite(spec.name, raw, node.place)
                })
                .map(Value::Numbers),
            FieldKind::Needs => self
                .each(spec.name, "a list of (net, net, volts)", raw, node, |c, raw, node| {
                    let [a, b, volts] = c.tuple(spec.name, "(net, net, volts)", raw, node)?;
                    let a = c.net(spec.name, a, node.child(0).place);
                    let b = c.net(spec.name, b, node.child(1).place);
                    let place = node.child(2).place;
                    let volts = c.number(spec.name, volts, place)?;
                    let volts = c.in_range(spec.name, volts, "V", 0.0, 1e9, place);
                    Some((a?, b?, volts?))
                })
                .map(Value::Needs),
            FieldKind::Part(_) => self.text(spec.name, raw, node.place).map(Value::Part),
            FieldKind::Nets => self
                .each(spec.name, "a list of nets", raw, node, |c, raw, node| {
                    c.net(spec.name, raw, node.place)
                })
                .map(Value::Nets),
            FieldKind::Pairs => self
                .each(spec.name, "a list of pairs of nets", raw, node, |c, raw, node| {
                    c.pair(spec.name, raw, node)
                })
                .map(Value::Pairs),
            FieldKind::Poles => self.poles(spec.name, raw, node).map(Value::Poles),
            FieldKind::Pins => self.pins(spec.name, raw, node).map(Value::Pins),
        }
    }

    fn wrong_type<T>(&mut self, field: &str, expected: &str, raw: &Raw, place: Place) -> Option<T> {
        let message =
            format!("{} of {} must be {expected}, not {}", quoted(field), self.who, raw.name());
        self.findings.error("wrong-type", place, message, None);
        None
    }

    fn text(&mut self, field: &str, raw: &Raw, place: Place) -> Option<String> {
        match raw {
            Raw::Text(text) => Some(text.clone()),
            _ => self.wrong_type(field, "a text in quotes", raw, place),
        }
    }

    fn number(&mut self, field: &str, raw: &Raw, place: Place) -> Option<f64> {
        match raw {
            Raw::Number(number) => Some(*number),
            _ => self.wrong_type(field, "a number", raw, place),
        }
    }

    fn in_range(
        &mut self,
        field: &str,
        number: f64,
        unit: &str,
        above: f64,
        most: f64,
        place: Place,
    ) -> Option<f64> {
        let limit = if number.is_nan() {
            "be a number".to_owned()
        } else if number <= above {
            format!("be above {}", with_unit(above, unit))
        } else if number > most {
            format!("be at most {}", with_unit(most, unit))
        } else {
            return Some(number);
        };
        let message = format!(
            "{} of {} must {limit}, but it is {}",
            quoted(field),
            self.who,
            with_unit(number, unit)
        );
        self.findings.error("out-of-range", place, message, None);
        None
    }

    /// A number in a list, which has no range but must be one.
    fn finite(&mut self, field: &str, raw: &Raw, place: Place) -> Option<f64> {
        let number = self.number(field, raw, place)?;
        if number.is_finite() {
            return Some(number);
        }
        let message = format!(
            "{} of {} must hold finite numbers, but one is {number}",
            quoted(field),
            self.who
        );
        self.findings.error("out-of-range", place, message, None);
        None
    }

    fn count(
        &mut self,
        field: &str,
        raw: &Raw,
        least: u32,
        most: u32,
        place: Place,
    ) -> Option<u32> {
        let number = self.number(field, raw, place)?;
        let fits = number.fract() == 0.0 && (f64::from(least)..=f64::from(most)).contains(&number);
        if fits {
            return Some(number as u32);
        }
        let message = format!(
            "{} of {} must be a whole number from {least} to {most}, but it is {}",
            quoted(field),
            self.who,
            significant(number, 6)
        );
        self.findings.error("out-of-range", place, message, None);
        None
    }

    fn net(&mut self, field: &str, raw: &Raw, place: Place) -> Option<NetId> {
        let Raw::Text(name) = raw else {
            return self.wrong_type(field, "the name of a net in quotes", raw, place);
        };
        let net = self.nets.find(name, place, self.findings)?;
        self.nets.touched.insert((net, self.part));
        Some(net)
    }

    /// Reads every entry of a list; all of them are looked at even if one is wrong.
    fn each<T>(
        &mut self,
        field: &str,
        expected: &str,
        raw: &Raw,
        node: &Node,
        mut read: impl FnMut(&mut Self, &Raw, &Node) -> Option<T>,
    ) -> Option<Vec<T>> {
        let Raw::List(values) = raw else {
            return self.wrong_type(field, expected, raw, node.place);
        };
        let mut all = Vec::with_capacity(values.len());
        for (index, value) in values.iter().enumerate() {
            all.push(read(self, value, node.child(index)));
        }
        all.into_iter().collect()
    }

    fn tuple<'r, const N: usize>(
        &mut self,
        field: &str,
        expected: &str,
        raw: &'r Raw,
        node: &Node,
    ) -> Option<[&'r Raw; N]> {
        if let Raw::List(values) = raw
            && values.len() == N
        {
            return Some(std::array::from_fn(|index| &values[index]));
        }
        let message = format!("{} of {} must hold {expected}", quoted(field), self.who);
        self.findings.error("wrong-type", node.place, message, None);
        None
    }

    fn positions(&mut self, field: &str, raw: &Raw, node: &Node) -> Option<Vec<String>> {
        let what = format!("a position of {}", self.who);
        let names = self.each(field, "a list of texts", raw, node, |c, raw, node| {
            let text = c.text(field, raw, node.place)?;
            word(&text, &what, true, node.place, c.findings).then_some(text)
        })?;
        if names.is_empty() || names.len() > usize::from(POSITION_LIMIT) {
            let message = format!("{} needs 1 to {POSITION_LIMIT} positions", self.who);
            self.findings.error("out-of-range", node.place, message, None);
            return None;
        }
        let mut seen = BTreeSet::new();
        for (index, name) in names.iter().enumerate() {
            if !seen.insert(name.to_lowercase()) {
                let message = format!("{} has the position {} twice", self.who, quoted(name));
                let place = node.child(index).place;
                self.findings.error("duplicate-id", place, message, None);
                return None;
            }
        }
        Some(names)
    }

    fn closures(&mut self, field: &str, raw: &Raw, node: &Node) -> Option<Vec<ClosureList>> {
        let Raw::Map(entries) = raw else {
            return self.wrong_type(field, "a map of positions to pairs of nets", raw, node.place);
        };
        if entries.len() > usize::from(POSITION_LIMIT) {
            let message = format!("{} needs 1 to {POSITION_LIMIT} positions", self.who);
            self.findings.error("out-of-range", node.place, message, None);
            return None;
        }
        let mut all = Vec::with_capacity(entries.len());
        for (index, (key, pairs)) in entries.iter().enumerate() {
            let place = node.key_place(index);
            let position = self.text(field, key, place);
            if entries[..index].iter().any(|(before, _)| before == key) {
                let message = format!("{} of {} gives a position twice", quoted(field), self.who);
                self.findings.error("duplicate-field", place, message, None);
            }
            let expected = "a list of pairs of nets";
            let pairs = self.each(field, expected, pairs, node.child(index), |c, raw, node| {
                c.pair(field, raw, node)
            });
            all.push(position.zip(pairs).map(|(position, pairs)| ClosureList {
                position,
                place,
                pairs,
            }));
        }
        all.into_iter().collect()
    }

    fn pair(&mut self, field: &str, raw: &Raw, node: &Node) -> Option<(NetId, NetId)> {
        let [a, b] = self.tuple(field, "pairs of nets such as (\"A\", \"B\")", raw, node)?;
        let a = self.net(field, a, node.child(0).place);
        let b = self.net(field, b, node.child(1).place);
        Some((a?, b?))
    }

    fn poles(
        &mut self,
        field: &str,
        raw: &Raw,
        node: &Node,
    ) -> Option<Vec<(NetId, Vec<Option<NetId>>)>> {
        let expected = "a list of poles such as [\"COMMON\", \"ONE\", \"TWO\"]";
        self.each(field, expected, raw, node, |c, raw, node| {
            let mut throws = c.each(field, expected, raw, node, |c, raw, node| match raw {
                Raw::Text(text) if text.is_empty() => Some(None),
                _ => c.net(field, raw, node.place).map(Some),
            })?;
            if let Some(&Some(common)) = throws.first() {
                return Some((common, throws.split_off(1)));
            }
            let message = format!("a pole of {} needs a common net", c.who);
            c.findings.error("missing-field", node.place, message, None);
            None
        })
    }

    fn pins(&mut self, field: &str, raw: &Raw, node: &Node) -> Option<Vec<(String, NetId, NetId)>> {
        let what = format!("a pin of {}", self.who);
        let pins = self.each(field, "a list of (pin, net, net)", raw, node, |c, raw, node| {
            let [name, a, b] = c.tuple(field, "(pin, net, net)", raw, node)?;
            let place = node.child(0).place;
            let name = c.text(field, name, place)?;
            let named = word(&name, &what, false, place, c.findings);
            let a = c.net(field, a, node.child(1).place);
            let b = c.net(field, b, node.child(2).place);
            named.then_some((name, a?, b?))
        })?;
        let mut seen = BTreeSet::new();
        for (index, (name, ..)) in pins.iter().enumerate() {
            if !seen.insert(name.to_lowercase()) {
                let message = format!("{} has the pin {} twice", self.who, quoted(name));
                let place = node.child(index).place;
                self.findings.error("duplicate-id", place, message, None);
                return None;
            }
        }
        Some(pins)
    }

    fn contacts(&mut self, field: &str, raw: &Raw, node: &Node) -> Option<Vec<ContactNets>> {
        let expected = "a list of contact sets";
        self.each(field, expected, raw, node, |c, raw, node| {
            let Raw::Map(pairs) = raw else {
                let shape = "a list of (com: net, nc: net, no: net)";
                return c.wrong_type(field, shape, raw, node.place);
            };
            let mut nets = [None; CONTACT_FIELDS.len()];
            let mut given = [false; CONTACT_FIELDS.len()];
            let mut sound = true;
            for (index, (key, value)) in pairs.iter().enumerate() {
                let place = node.key_place(index);
                let key = c.text(field, key, place)?;
                let Some(which) = CONTACT_FIELDS.iter().position(|known| *known == key) else {
                    let message =
                        format!("a contact set of {} has no field {}", c.who, quoted(&key));
                    let hint = c.findings.suggest(&key, CONTACT_FIELDS);
                    c.findings.error("unknown-field", place, message, hint);
                    sound = false;
                    continue;
                };
                if std::mem::replace(&mut given[which], true) {
                    let message =
                        format!("a contact set of {} gives {} twice", c.who, quoted(&key));
                    c.findings.error("duplicate-field", place, message, None);
                    sound = false;
                    continue;
                }
                nets[which] = c.net(field, value, node.child(index).place);
                sound &= nets[which].is_some();
            }
            if !given[0] || !(given[1] || given[2]) {
                let message = format!(
                    "a contact set of {} needs `com` and at least one of `nc` and `no`",
                    c.who
                );
                c.findings.error("missing-field", node.place, message, None);
                return None;
            }
            let [common, released, operated] = nets;
            common.filter(|_| sound).map(|common| ContactNets { common, released, operated })
        })
    }
}

/// The fields of a contact set: moving contact, released throw, operated throw.
const CONTACT_FIELDS: [&str; 3] = ["com", "nc", "no"];

/// Most positions of one switch.
const POSITION_LIMIT: u8 = 100;

fn with_unit(number: f64, unit: &str) -> String {
    let text = significant(number, 6);
    if unit.is_empty() || number.is_nan() { text } else { format!("{text} {unit}") }
}
