//! What a part looks like: how large it is, where its pins are, what joins them.

use super::potential::Potentials;
use super::{Area, Cell};
use crate::circuit::{AIRFRAME, Circuit, Closure, ContactSet, Kind, NetId, Part, PartId};
use crate::diagnostic::plain;
use crate::units::significant;

/// The side of a shape on which a pin is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Towards the sources.
    Left,
    /// Towards the loads.
    Right,
}

/// How a shape is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is the symbol of what its name says")]
pub enum Figure {
    Wire,
    ConnectorPin,
    Ground,
    Fuse,
    Breaker,
    Diode,
    Resistor,
    Shunt,
    Contact,
    Flasher,
    Supply,
    Battery,
    Generator,
    Receptacle,
    Alternator,
    Converter,
    Vibrator,
    Rectifier,
    Transformer,
    Feeder,
    Splice,
    Stud,
    Selector,
    Mechanism,
    Relay,
    Lamp,
    Horn,
    Motor,
    Solenoid,
    Load,
    Gyro,
    Meter,
}

/// The three ways in which a figure takes up room.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Build {
    /// A name in the line: one row.
    InLine,
    /// A name above a symbol in the line: two rows.
    Open,
    /// A frame with the name in its upper edge and a caption in its lower one.
    Framed,
}

impl Figure {
    /// How it takes up room.
    pub fn build(self) -> Build {
        match self {
            Self::Wire | Self::ConnectorPin | Self::Ground => Build::InLine,
            Self::Fuse
            | Self::Breaker
            | Self::Diode
            | Self::Resistor
            | Self::Shunt
            | Self::Contact
            | Self::Flasher => Build::Open,
            Self::Supply
            | Self::Battery
            | Self::Generator
            | Self::Receptacle
            | Self::Alternator
            | Self::Converter
            | Self::Vibrator
            | Self::Rectifier
            | Self::Transformer
            | Self::Feeder
            | Self::Splice
            | Self::Stud
            | Self::Selector
            | Self::Mechanism
            | Self::Relay
            | Self::Lamp
            | Self::Horn
            | Self::Motor
            | Self::Solenoid
            | Self::Load
            | Self::Gyro
            | Self::Meter => Build::Framed,
        }
    }

    /// Letters that stand in the middle of a frame.
    pub fn letters(self) -> &'static str {
        match self {
            Self::Supply | Self::Battery => "+|-",
            Self::Generator => "G=",
            Self::Receptacle => "EXT",
            Self::Alternator => "G3~",
            Self::Converter => "=/3~",
            Self::Vibrator => "=/~",
            Self::Rectifier => "3~/=",
            Self::Transformer => ")||(",
            Self::Lamp => "(X)",
            Self::Horn => "=(]",
            Self::Motor => "(M)",
            Self::Gyro => "(M3)",
            Self::Load => "[Z]",
            Self::Meter => "( )",
            Self::Solenoid | Self::Relay => "[K]",
            Self::Wire
            | Self::ConnectorPin
            | Self::Ground
            | Self::Fuse
            | Self::Breaker
            | Self::Diode
            | Self::Resistor
            | Self::Shunt
            | Self::Contact
            | Self::Flasher
            | Self::Feeder
            | Self::Splice
            | Self::Stud
            | Self::Selector
            | Self::Mechanism => "",
        }
    }
}

/// A pin of a shape.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// The net it is on; several where a bundle ends.
    pub nets: Vec<NetId>,
    /// What is written beside it inside the frame.
    pub name: String,
    /// On which side it leaves.
    pub side: Side,
    /// The cell outside the shape in which its line begins. A pin on the airframe has
    /// its ground mark there.
    pub at: Cell,
    /// Whether it is one of the lines of a machine or cable, and may end a bundle.
    pub phase: bool,
    /// Whether a contact ends here, so that it is open or closed.
    pub contact: bool,
}

impl Pin {
    /// Whether it is on the airframe: then it has a ground mark and no line.
    pub fn is_grounded(&self) -> bool {
        self.nets == [AIRFRAME]
    }
}

/// When two pins are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// While the part stands in this position.
    Position(u8),
    /// While another part is found in this position.
    Follows(PartId, u8),
    /// While the part is operated, or released.
    Operated(bool),
    /// While the part, a breaker or fuse, is closed.
    Whole,
}

/// Two pins that a contact joins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Joint {
    /// The pins, by index.
    pub pins: (usize, usize),
    /// When it is closed.
    pub when: When,
}

/// A part as drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// The part; several where the wires of a bundle are drawn as one.
    pub parts: Vec<PartId>,
    /// Its id, or what stands for several.
    pub name: String,
    /// What its placard says, and where it is.
    pub label: String,
    /// A word below it: a rating, a placard.
    pub caption: String,
    /// Letters that stand in the middle of its frame; empty where none do. A meter shows its
    /// own unit.
    pub letters: String,
    /// The positions it can be in; the present one is written beside or below its name.
    pub positions: Vec<String>,
    /// How it is drawn.
    pub figure: Figure,
    /// The room it takes up, pins and ground marks beside it.
    pub area: Area,
    /// Its pins.
    pub pins: Vec<Pin>,
    /// Its contacts.
    pub joints: Vec<Joint>,
}

/// What stands in the middle of the frame of a part.
fn letters(figure: Figure, kind: &Kind) -> String {
    let Some(meter) = kind.meter() else { return figure.letters().to_owned() };
    let unit: String = plain(&meter.unit).chars().take(UNIT).collect();
    if unit.trim().is_empty() { figure.letters().to_owned() } else { format!("({unit})") }
}

/// Characters of the unit of a meter.
const UNIT: usize = 4;
/// Columns of the longest caption.
const CAPTION: usize = 16;
/// Columns of a symbol in a line.
pub(super) const SYMBOL: i32 = 5;

/// A shape for every part, in file order, without size: pins know only their rows.
pub(super) fn shapes(circuit: &Circuit) -> Vec<Shape> {
    let potentials = Potentials::of(circuit);
    let mut shapes = Vec::new();
    for (id, part) in circuit.parts_with_ids() {
        if let Kind::Connector(connector) = &part.kind {
            for pin in &connector.pins {
                let mut drawn = Draft::new(id, part, circuit, &potentials, Figure::ConnectorPin);
                drawn.shape.name = plain(&format!("{}-{}", part.id, pin.name));
                drawn.two(pin.a, pin.b);
                shapes.push(drawn.finish());
            }
        } else {
            shapes.push(draft(id, part, circuit, &potentials).finish());
        }
    }
    shapes
}

struct Draft<'a> {
    shape: Shape,
    potentials: &'a Potentials,
    /// The row that the next pin takes, on either side, and the first row of the group.
    next: [i32; 2],
}

fn draft<'a>(id: PartId, part: &Part, circuit: &Circuit, potentials: &'a Potentials) -> Draft<'a> {
    let new = |figure| Draft::new(id, part, circuit, potentials, figure);
    let framed = |figure, caption: String| {
        let mut draft = new(figure);
        draft.shape.caption = caption;
        draft
    };
    let number = |value: f64, unit: &str| format!("{} {unit}", significant(value, 3));
    let label = || part.label.clone();
    match &part.kind {
        Kind::Supply(s) => framed(Figure::Supply, label()).right("+", s.plus).right("-", s.minus),
        Kind::Battery(b) => framed(Figure::Battery, label()).right("+", b.plus).right("-", b.minus),
        Kind::Generator(g) => {
            framed(Figure::Generator, label()).right("+", g.plus).right("-", g.minus)
        }
        Kind::Receptacle(r) => {
            let mut draft = framed(Figure::Receptacle, label());
            draft.positions();
            draft.right("+", r.plus).right("s", r.interlock).right("-", r.minus)
        }
        Kind::Alternator(a) => framed(Figure::Alternator, label()).phases(Side::Right, a.phases),
        Kind::Converter(c) => framed(Figure::Converter, label())
            .left("=", c.dc)
            .phases(Side::Right, c.phases)
            .right("-", c.ret),
        Kind::Vibrator(v) => framed(Figure::Vibrator, label())
            .left("=", v.dc)
            .right("~", v.out)
            .right("n", v.neutral)
            .right("-", v.ret),
        Kind::TransformerRectifier(t) => framed(Figure::Rectifier, label())
            .phases(Side::Left, t.phases)
            .right("+", t.plus)
            .right("-", t.minus),
        Kind::Transformer(t) => {
            let volts = |v: f64| significant(v, 3);
            let caption = format!("{}/{} V", volts(t.primary_volts), volts(t.secondary_volts));
            framed(Figure::Transformer, caption)
                .left("p1", t.primary[0])
                .left("p2", t.primary[1])
                .right("s1", t.secondary[0])
                .right("s2", t.secondary[1])
        }
        Kind::Wire(w) => new(Figure::Wire).two_of(w.a, w.b),
        Kind::Feeder(f) => {
            framed(Figure::Feeder, label()).phases(Side::Left, f.from).phases(Side::Right, f.to)
        }
        Kind::Resistor(r) => new(Figure::Resistor).two_of(r.a, r.b),
        Kind::Diode(d) => {
            let mut draft = new(Figure::Diode);
            // The triangle points the way it conducts, so it is never turned round.
            draft.pin(Side::Left, "", d.anode);
            draft.pin(Side::Right, "", d.cathode);
            draft
        }
        Kind::Shunt(s) => new(Figure::Shunt).two_of(s.a, s.b),
        Kind::Splice(s) => new(Figure::Splice).meeting(&s.nets),
        Kind::GroundStud(g) => {
            let mut draft = new(Figure::Stud);
            for net in &g.nets {
                draft.pin(Side::Left, "", *net);
            }
            draft.pin(Side::Right, "", AIRFRAME);
            draft
        }
        Kind::Ground(g) => {
            let mut draft = new(Figure::Ground);
            draft.pin(Side::Left, "", g.net);
            draft.pin(Side::Right, "", AIRFRAME);
            draft
        }
        // The ways of a connector are drawn one by one.
        Kind::Connector(_) => new(Figure::ConnectorPin),
        Kind::Breaker(b) => {
            let mut draft = new(Figure::Breaker).two_of(b.line, b.load);
            draft.shape.caption = number(b.amps, "A");
            draft.join(0, 1, When::Whole);
            draft
        }
        Kind::Fuse(f) => {
            let mut draft = new(Figure::Fuse).two_of(f.line, f.load);
            draft.shape.caption = number(f.amps, "A");
            draft.join(0, 1, When::Whole);
            draft
        }
        Kind::Switch(s) | Kind::PushSwitch(s) | Kind::ChangeoverSwitch(s) => {
            new(Figure::Selector).closures(&s.closures, When::Position)
        }
        Kind::Mechanism(_) => {
            let mut draft = new(Figure::Mechanism);
            draft.positions();
            draft
        }
        Kind::Microswitch(m) => {
            let follows = m.follows;
            let mut draft =
                new(Figure::Selector).closures(&m.closures, |at| When::Follows(follows, at));
            draft.shape.positions.clear();
            draft.shape.caption = format!("with {}", circuit.part(follows).id);
            draft
        }
        Kind::Relay(r) | Kind::Contactor(r) => {
            framed(Figure::Relay, String::new()).group().coil(r.x1, r.x2).contacts(&r.contacts)
        }
        Kind::ReverseCurrentRelay(r) => {
            let mut draft = framed(Figure::Relay, "reverse current".to_owned());
            let from = draft.pin(Side::Left, "gen", r.generator);
            let to = draft.pin(Side::Right, "bus", r.bus);
            draft.join(from, to, When::Operated(true));
            draft.left("en", r.enable)
        }
        Kind::PhaseRelay(r) => framed(Figure::Relay, "phase order".to_owned())
            .phases(Side::Left, r.phases)
            .contacts(&r.contacts),
        Kind::Flasher(f) => {
            let mut draft = new(Figure::Flasher).two_of(f.line, f.load);
            draft.join(0, 1, When::Operated(false));
            draft
        }
        Kind::Lamp(l) => framed(Figure::Lamp, label()).load(&[("", l.a), ("", l.b)]),
        Kind::Horn(h) => framed(Figure::Horn, label()).load(&[("", h.a), ("", h.b)]),
        Kind::Motor(m) => framed(Figure::Motor, label()).load(&[("", m.a), ("", m.b)]),
        Kind::Solenoid(s) => framed(Figure::Solenoid, label()).load(&[("x1", s.x1), ("x2", s.x2)]),
        Kind::Load(l) => {
            let mut draft = framed(Figure::Load, label()).load(&[("", l.a), ("", l.b)]);
            for (a, b, _) in &l.needs {
                draft = draft.load(&[("ref", *a), ("ref", *b)]);
            }
            draft
        }
        Kind::Load3(l) => framed(Figure::Load, label()).three(l.phases),
        Kind::Gyro(g) => framed(Figure::Gyro, label()).three(g.phases),
        Kind::Meter(m) | Kind::Ammeter(m) | Kind::Loadmeter(m) | Kind::FrequencyMeter(m) => {
            framed(Figure::Meter, label()).load(&[("+", m.plus), ("-", m.minus)])
        }
    }
}

impl<'a> Draft<'a> {
    fn new(
        id: PartId,
        part: &Part,
        circuit: &Circuit,
        potentials: &'a Potentials,
        figure: Figure,
    ) -> Self {
        let station = &circuit.station(part.station).title;
        let positions = part.kind.control().map(|control| {
            control.positions.iter().map(|position| plain(position)).collect::<Vec<_>>()
        });
        let shape = Shape {
            parts: vec![id],
            name: plain(&part.id),
            label: plain(&format!("{}: {}, {station}", part.id, part.label)),
            caption: String::new(),
            letters: letters(figure, &part.kind),
            positions: positions.unwrap_or_default(),
            figure,
            area: Area { left: 0, top: 0, columns: 0, rows: 0 },
            pins: Vec::new(),
            joints: Vec::new(),
        };
        Self { shape, potentials, next: [0, 0] }
    }

    /// A pin on the next free row of a side; returns its index.
    fn pin(&mut self, side: Side, name: &str, net: NetId) -> usize {
        let row = &mut self.next[usize::from(side == Side::Right)];
        let at = Cell { column: 0, row: *row };
        *row += 1;
        self.shape.pins.push(Pin {
            nets: vec![net],
            name: plain(name),
            side,
            at,
            phase: false,
            contact: false,
        });
        self.shape.pins.len() - 1
    }

    fn left(mut self, name: &str, net: NetId) -> Self {
        self.pin(Side::Left, name, net);
        self
    }

    fn right(mut self, name: &str, net: NetId) -> Self {
        self.pin(Side::Right, name, net);
        self
    }

    fn positions(&mut self) {
        self.shape.caption.clear();
    }

    /// The next pins, on either side, begin on one row.
    fn group(mut self) -> Self {
        self.next = [self.next[0].max(self.next[1]); 2];
        self
    }

    fn phases(mut self, side: Side, nets: [NetId; 3]) -> Self {
        for (name, net) in ["A", "B", "C"].into_iter().zip(nets) {
            let index = self.pin(side, name, net);
            self.shape.pins[index].phase = true;
        }
        self
    }

    /// Three lines into a load; one on the airframe has its mark on the other side.
    fn three(mut self, nets: [NetId; 3]) -> Self {
        for (name, net) in ["A", "B", "C"].into_iter().zip(nets) {
            let side = self.load_side(net);
            let index = self.pin(side, name, net);
            self.shape.pins[index].phase = true;
        }
        self
    }

    /// On which side a load has this net: returns on the right.
    fn load_side(&self, net: NetId) -> Side {
        if self.potentials.is_return(net) { Side::Right } else { Side::Left }
    }

    fn load(mut self, pins: &[(&str, NetId)]) -> Self {
        for (name, net) in pins {
            let side = self.load_side(*net);
            self.pin(side, name, *net);
        }
        self
    }

    /// Two ends in a line, the one nearer to a source on the left.
    fn two(&mut self, a: NetId, b: NetId) {
        let turned = self.potentials.of_net(b) < self.potentials.of_net(a);
        let (a, b) = if turned { (b, a) } else { (a, b) };
        self.pin(Side::Left, "", a);
        self.pin(Side::Right, "", b);
    }

    fn two_of(mut self, a: NetId, b: NetId) -> Self {
        self.two(a, b);
        self
    }

    /// Several nets that meet, the one farthest from a source on the right.
    fn meeting(mut self, nets: &[NetId]) -> Self {
        let out = nets.iter().enumerate().max_by_key(|(at, n)| (self.potentials.of_net(**n), *at));
        let out = out.map(|(at, _)| at);
        for (at, net) in nets.iter().enumerate() {
            self.pin(if Some(at) == out { Side::Right } else { Side::Left }, "", *net);
        }
        self
    }

    fn coil(mut self, x1: NetId, x2: NetId) -> Self {
        for (name, net) in [("x1", x1), ("x2", x2)] {
            let side = self.load_side(net);
            self.pin(side, name, net);
        }
        self
    }

    fn join(&mut self, a: usize, b: usize, when: When) {
        self.shape.joints.push(Joint { pins: (a, b), when });
        if self.shape.figure.build() == Build::Framed {
            self.shape.pins[a].contact = true;
            self.shape.pins[b].contact = true;
        }
    }

    /// Changeover sets, each on rows of its own.
    fn contacts(mut self, sets: &[ContactSet]) -> Self {
        for set in sets {
            self = self.group();
            let throws: Vec<(&str, NetId, bool)> =
                [("no", set.operated, true), ("nc", set.released, false)]
                    .into_iter()
                    .filter_map(|(name, net, operated)| Some((name, net?, operated)))
                    .collect();
            let far = throws.iter().map(|(_, net, _)| self.potentials.of_net(*net)).min();
            let first = far.is_none_or(|far| self.potentials.of_net(set.common) <= far);
            let (common, other) =
                if first { (Side::Left, Side::Right) } else { (Side::Right, Side::Left) };
            let common = self.pin(common, "com", set.common);
            for (name, net, operated) in throws {
                let throw = self.pin(other, name, net);
                self.join(common, throw, When::Operated(operated));
            }
        }
        self
    }

    /// A switch: one pair of nets in the line, more of them in a frame.
    fn closures(mut self, closures: &[Closure], when: impl Fn(u8) -> When) -> Self {
        let mut nets: Vec<NetId> = Vec::new();
        for closure in closures {
            for net in [closure.a, closure.b] {
                if !nets.contains(&net) {
                    nets.push(net);
                }
            }
        }
        // The side on which a net is in most of its pairs.
        let mut leans: Vec<i32> = vec![0; nets.len()];
        for closure in closures {
            let [a, b] = [closure.a, closure.b].map(|net| {
                nets.iter().position(|other| *other == net).expect("every net was gathered")
            });
            let turned = self.potentials.of_net(closure.b) < self.potentials.of_net(closure.a);
            leans[a] += if turned { 1 } else { -1 };
            leans[b] += if turned { -1 } else { 1 };
        }
        let mut pins = Vec::new();
        for (net, lean) in nets.iter().zip(&leans) {
            let side = if *lean > 0 { Side::Right } else { Side::Left };
            let mut names: Vec<String> = Vec::new();
            for closure in closures.iter().filter(|c| [c.a, c.b].contains(net)) {
                let name = self.shape.positions.get(usize::from(closure.position));
                names.extend(name.cloned().filter(|name| !names.contains(name)));
            }
            let name = if names.len() == 1 { names.remove(0) } else { String::new() };
            pins.push(self.pin(side, &name, *net));
        }
        if pins.len() == 2 {
            self.shape.figure = Figure::Contact;
            for pin in &mut self.shape.pins {
                pin.name.clear();
            }
        }
        for closure in closures {
            let [a, b] = [closure.a, closure.b].map(|net| {
                pins[nets.iter().position(|other| *other == net).expect("every net was gathered")]
            });
            self.join(a, b, when(closure.position));
        }
        self
    }

    /// Cuts its caption; its size follows once bundles are known.
    fn finish(mut self) -> Shape {
        let caption: String = plain(&self.shape.caption);
        self.shape.caption = if caption.chars().count() > CAPTION {
            caption.chars().take(CAPTION - 1).chain(['…']).collect()
        } else {
            caption
        };
        self.shape
    }
}

/// Columns of a text; a character counts as at least one.
pub(super) fn columns(text: &str) -> i32 {
    unicode_width::UnicodeWidthStr::width(text) as i32
}

impl Shape {
    /// What is written above a symbol in a line, with room for the longest position.
    fn heading(&self) -> i32 {
        let longest = self.positions.iter().map(|p| columns(p)).max().unwrap_or(0);
        let after = columns(&self.caption).max(longest);
        columns(&self.name) + if after > 0 { after + 1 } else { 0 }
    }

    /// Works out the area from what stands in it, at the origin, and puts the pins, whose
    /// rows count from nought, beside it.
    pub(super) fn sized(&mut self) {
        let rows = self.pins.iter().map(|pin| pin.at.row + 1).max().unwrap_or(1);
        let (columns, rows, first) = match self.figure.build() {
            Build::InLine => (columns(&self.name) + 1, rows, 0),
            Build::Open => ((self.heading() + 2).max(SYMBOL + 2), 2, 1),
            Build::Framed => {
                let longest = self.positions.iter().map(|p| columns(p)).max().unwrap_or(0);
                let edge = columns(&self.name).max(columns(&self.caption)).max(longest) + 2;
                let mut inner = columns(&self.letters) + 2;
                for row in 0..rows {
                    let side = |side| {
                        let pin = self.pins.iter().find(|p| p.side == side && p.at.row == row);
                        pin.map_or(0, |p| columns(&p.name) + 2 * i32::from(p.contact))
                    };
                    inner = inner.max(side(Side::Left) + side(Side::Right) + 1);
                    if row == (rows - 1) / 2 {
                        let letters = columns(&self.letters);
                        inner = inner.max(side(Side::Left) + side(Side::Right) + letters + 2);
                    }
                }
                (edge.max(inner) + 2, rows + 2, 1)
            }
        };
        self.area = Area { left: 0, top: 0, columns, rows };
        for pin in &mut self.pins {
            pin.at.row += first;
            pin.at.column = if pin.side == Side::Left { -1 } else { columns };
        }
    }

    /// Moves it, with its pins, so that its upper left corner is there.
    pub(super) fn move_to(&mut self, left: i32, top: i32) {
        let (across, down) = (left - self.area.left, top - self.area.top);
        self.area.left = left;
        self.area.top = top;
        for pin in &mut self.pins {
            pin.at.column += across;
            pin.at.row += down;
        }
    }
}
