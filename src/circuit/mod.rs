//! The aircraft electrical system as a graph of parts and nets.
//!
//! A [`Circuit`] is what an author's file means once read: names have become
//! ids, repetition has been written out, every default is filled in. It knows
//! nothing of voltages (see [`crate::network`]), of what can fail (see
//! [`crate::faults`]) or of what a person can see (see [`crate::observation`]).
//!
//! A faulted circuit is just a circuit: a part that has failed is a part with
//! other parameters.

mod builds;
mod catalogue;
mod common;
mod expand;
mod fields;
mod file;
mod findings;
mod kind;
mod mods;
mod names;
mod origins;
mod places;
mod reference;
mod resolve;
mod shape;
mod sources;
mod syntax;
mod values;
mod wire;

pub use builds::{check_builds, check_builds_with, read_build, read_sources, read_system};
pub use catalogue::{CATALOGUE, FieldDefault, FieldKind, FieldSpec, KindId, KindSpec, ModeSpec};
pub use common::PART_FIELDS;
pub use kind::{
    Alternator, Battery, Breaker, Closure, Connector, ContactSet, Control, Converter, Diode,
    Feeder, Flasher, Fuse, Generator, Ground, GroundStud, Gyro, Horn, Kind, Lamp, Load, Load3,
    Mechanism, Meter, Microswitch, Motor, PhaseRelay, Pin, Receptacle, Relay, Resistor,
    ReverseCurrentRelay, Senses, Shunt, Solenoid, Splice, Supply, Switch, Transformer,
    TransformerRectifier, Vibrator, Wire,
};
pub use mods::ModInfo;
pub use origins::{Origins, Remark, Spot};
pub(crate) use places::scan;
pub use reference::RATE_SOURCES;
pub use sources::{FILE_LIMIT, Sources, Wanted};
pub use wire::{
    AIRCRAFT_WIRE, AircraftWire, aircraft_wire, solid_copper_diameter_inches,
    solid_copper_ohms_per_1000_feet,
};

/// A net: one electrically common point. Net 0 is the airframe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NetId(pub u32);

/// The airframe, the reference of every voltage.
pub const AIRFRAME: NetId = NetId(0);

/// The name of the airframe net in files and on screen.
pub const AIRFRAME_NAME: &str = "GND";

/// A part, by its place in [`Circuit::parts`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PartId(pub u32);

/// A station, by its place in [`Circuit::stations`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StationId(pub u32);

/// A test point, by its place in [`Circuit::test_points`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TestPointId(pub u32);

impl NetId {
    /// The index into per-net tables.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl PartId {
    /// The index into per-part tables.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl StationId {
    /// The index into per-station tables.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl TestPointId {
    /// The index into per-test-point tables.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// One part as installed.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Name in files, commands and the debrief; unique in the system.
    pub id: String,
    /// What the placard or the wiring list calls it.
    pub label: String,
    /// Where it is replaced, pulled or worked.
    pub station: StationId,
    /// Where its indication is seen (a meter face, a lamp, an instrument).
    pub seen_at: StationId,
    /// The panel it is on, one of those of the station where it is seen or worked; `None`
    /// where the file leaves its place to the layout.
    pub panel: Option<String>,
    /// The line-replaceable unit it belongs to; parts of one group are changed together.
    pub group: String,
    /// Minutes to replace it once its station is reached and open.
    pub replace_minutes: f64,
    /// Stock number, invented; empty where none is given.
    pub stock: String,
    /// What it is and its values.
    pub kind: Kind,
}

/// A place where one stands: what can be seen and reached there.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Name in files and commands.
    pub id: String,
    /// Placard text.
    pub title: String,
    /// Minutes to walk there from the first station, and back.
    pub reach_minutes: f64,
    /// Minutes to open it the first time (panels, covers); zero when always open.
    pub open_minutes: f64,
    /// Whether the crew sees it in flight, so that it can appear in a write-up.
    pub crew: bool,
    /// Cautions shown on arrival.
    pub cautions: Vec<String>,
    /// The placards of its panels, in the order in which they are laid out.
    pub panels: Vec<String>,
}

/// A place for the hand meter's probe.
#[derive(Clone, Debug, PartialEq)]
pub struct TestPoint {
    /// Name on the terminal block or in the wiring list.
    pub id: String,
    /// The net it touches.
    pub net: NetId,
    /// The station where it can be reached.
    pub station: StationId,
}

/// A whole system as meant.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// Short name, as used on the command line.
    pub id: String,
    /// Title, as shown.
    pub title: String,
    /// A paragraph telling what the system does.
    pub brief: String,
    /// Net names; index 0 is the airframe.
    pub nets: Vec<String>,
    /// The parts, in file order.
    pub parts: Vec<Part>,
    /// The stations, in file order; a drill starts at the first.
    pub stations: Vec<Station>,
    /// The test points, in file order.
    pub test_points: Vec<TestPoint>,
    /// Ohms of insulation from every net to the airframe; infinite for none.
    pub insulation_ohms: f64,
    /// Spare fuses on board: rating in amperes and how many.
    pub spare_fuses: Vec<(f64, u32)>,
    /// The mods the file offers, in file order, fitted or not.
    pub mods: Vec<ModInfo>,
    /// Ids of the mods that this build has, in file order; none in the plain build.
    pub fitted: Vec<String>,
    /// What exposes the aircraft to vibration and heat, where a drill needs that: a mechanism
    /// whose first position is rest ([`Circuit::with_conditions`]).
    pub conditions: Option<PartId>,
}

/// The positions of what exposes the aircraft to something.
const CONDITIONS: [&str; 3] = ["at rest", "vibration", "heat"];

impl Circuit {
    /// The title with the mods of this build: `AC power, mods 31, 44`.
    pub fn title_with_mods(&self) -> String {
        let word = match self.fitted.len() {
            0 => return self.title.clone(),
            1 => "mod",
            _ => "mods",
        };
        format!("{}, {word} {}", self.title, self.fitted.join(", "))
    }

    /// The part with this id.
    pub fn part(&self, id: PartId) -> &Part {
        &self.parts[id.index()]
    }

    /// The station with this id.
    pub fn station(&self, id: StationId) -> &Station {
        &self.stations[id.index()]
    }

    /// The test point with this id.
    pub fn test_point(&self, id: TestPointId) -> &TestPoint {
        &self.test_points[id.index()]
    }

    /// The name of a net.
    pub fn net_name(&self, net: NetId) -> &str {
        &self.nets[net.index()]
    }

    /// All parts with their ids, in file order.
    pub fn parts_with_ids(&self) -> impl Iterator<Item = (PartId, &Part)> {
        self.parts.iter().enumerate().map(|(index, part)| (PartId(index as u32), part))
    }

    /// All stations with their ids, in file order.
    pub fn stations_with_ids(&self) -> impl Iterator<Item = (StationId, &Station)> {
        self.stations.iter().enumerate().map(|(index, s)| (StationId(index as u32), s))
    }

    /// All test points with their ids, in file order.
    pub fn test_points_with_ids(&self) -> impl Iterator<Item = (TestPointId, &TestPoint)> {
        self.test_points.iter().enumerate().map(|(index, t)| (TestPointId(index as u32), t))
    }

    /// The part named so, compared without case.
    pub fn find_part(&self, name: &str) -> Option<PartId> {
        self.parts_with_ids().find(|(_, p)| p.id.eq_ignore_ascii_case(name)).map(|(id, _)| id)
    }

    /// The net named so, compared without case.
    pub fn find_net(&self, name: &str) -> Option<NetId> {
        let at = self.nets.iter().position(|net| net.eq_ignore_ascii_case(name))?;
        Some(NetId(at as u32))
    }

    /// The station with this name or title, compared without case.
    pub fn find_station(&self, name: &str) -> Option<StationId> {
        self.stations_with_ids()
            .find(|(_, s)| s.id.eq_ignore_ascii_case(name) || s.title.eq_ignore_ascii_case(name))
            .map(|(id, _)| id)
    }

    /// The test point with this name, compared without case.
    pub fn find_test_point(&self, name: &str) -> Option<TestPointId> {
        self.test_points_with_ids().find(|(_, t)| t.id.eq_ignore_ascii_case(name)).map(|(id, _)| id)
    }

    /// The nets a part is connected to, each once, in the order of its pins.
    pub fn connections(&self, part: PartId) -> Vec<NetId> {
        let mut nets: Vec<NetId> = Vec::new();
        for net in self.part(part).kind.nets() {
            if !nets.contains(&net) {
                nets.push(net);
            }
        }
        nets
    }

    /// A net in the wiring list: its name, with the test points on it in brackets.
    pub fn net_with_points(&self, net: NetId) -> String {
        let points: Vec<&str> =
            self.test_points.iter().filter(|t| t.net == net).map(|t| t.id.as_str()).collect();
        if points.is_empty() {
            self.net_name(net).to_owned()
        } else {
            format!("{} [{}]", self.net_name(net), points.join(", "))
        }
    }

    /// This circuit with a mechanism that exposes it to vibration and heat, worked from the
    /// first station: engines run up, or everything run until it is hot.
    #[must_use]
    pub fn with_conditions(&self) -> Self {
        let mut circuit = self.clone();
        if circuit.conditions.is_some() || circuit.stations.is_empty() {
            return circuit;
        }
        let mut id = "CONDITIONS".to_owned();
        while circuit.find_part(&id).is_some() {
            id.push('-');
        }
        let positions = CONDITIONS.map(str::to_owned).to_vec();
        circuit.conditions = Some(PartId(circuit.parts.len() as u32));
        circuit.parts.push(Part {
            label: id.clone(),
            group: id.clone(),
            id,
            station: StationId(0),
            seen_at: StationId(0),
            panel: None,
            replace_minutes: 0.0,
            stock: String::new(),
            kind: Kind::Mechanism(Mechanism {
                positions,
                start: 0,
                rpm: Vec::new(),
                move_minutes: Vec::new(),
            }),
        });
        circuit
    }

    /// This circuit with controls that stand otherwise to begin with, by the places of their
    /// positions. One that springs back stays as it is: it begins where it rests.
    #[must_use]
    pub fn standing(&self, controls: &[(PartId, u8)]) -> Self {
        let mut circuit = self.clone();
        for (control, position) in controls {
            let kind = &mut circuit.parts[control.index()].kind;
            if kind.control().is_some_and(|control| !control.springs_back) {
                kind.begin_at(*position);
            }
        }
        circuit
    }

    /// This circuit with one part's kind exchanged: how a fault is put in and how
    /// a replacement takes it out.
    #[must_use]
    pub fn with_kind(&self, part: PartId, kind: Kind) -> Self {
        let mut circuit = self.clone();
        circuit.parts[part.index()].kind = kind;
        circuit
    }
}
