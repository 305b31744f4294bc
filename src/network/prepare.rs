//! A circuit made ready to be solved, and what circuits of the same structure share.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::element::Element;
use super::follow::Follower;
use super::island::{Island, Wiring, islands_of};
use super::machine::{Machine, machines};
use super::parts;
use super::solve::Workspace;
use super::sparse::Plan;
use crate::circuit::{Circuit, Kind, NetId, Part, PartId};

/// A circuit ready to be solved: elements, islands and their elimination plans.
///
/// A circuit of which a few parts have turned into something else shares all of that
/// with the one it was made from: see [`Network::with_parts`].
#[derive(Clone, Debug)]
pub struct Network {
    pub(super) sound: Arc<Sound>,
    /// The parts that differ from the sound circuit, in part order.
    pub(super) changed: Vec<(PartId, Kind)>,
    /// The elements that differ, in order.
    pub(super) exchanged: Vec<(u32, Element)>,
    pub(super) followers: Arc<[Follower]>,
    pub(super) machines: Arc<[Machine]>,
    /// The circuit with its changed parts, once somebody asks for it.
    pub(super) circuit: OnceLock<Arc<Circuit>>,
}

/// What circuits of the same structure share.
#[derive(Debug)]
pub(super) struct Sound {
    pub(super) circuit: Arc<Circuit>,
    pub(super) elements: Vec<Element>,
    pub(super) islands: Vec<Arc<Island>>,
    /// By net: island and place in it; `None` for the airframe.
    pub(super) places: Vec<Option<(u32, u32)>>,
    pub(super) inner_names: Vec<String>,
    pub(super) inside: Vec<(PartId, [NetId; 3])>,
    pub(super) movers: Movers,
    /// Workspaces nobody is using. What is in one makes no difference to what comes
    /// out, only to how soon: neighbouring states share most of their factors.
    pub(super) idle: Mutex<Vec<Workspace>>,
}

/// The parts that move by themselves, in part order.
#[derive(Clone, Debug, Default)]
pub(super) struct Movers {
    /// What conducts one way only: diodes, rectifiers, batteries.
    pub one_way: Vec<PartId>,
    /// Relays, contactors, solenoids and flashers.
    pub relays: Vec<PartId>,
    /// Converters, vibrators, motors and gyros; with each gyro the nets of its windings,
    /// which stand off from its terminals where a winding is open.
    pub machines: Vec<(PartId, Option<[NetId; 3]>)>,
    /// Breakers and fuses.
    pub protectors: Vec<PartId>,
}

/// Why a circuit has no solution.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SolveError {
    /// Nothing ties this net to anything, not even insulation.
    #[error("net `{net}` hangs in the air: nothing ties it to the airframe")]
    Floating {
        /// The net's name.
        net: String,
    },
    /// Currents and voltages do not come to a balance.
    #[error("no balance found: the voltage across `{part}` does not come to rest")]
    NoBalance {
        /// The part that still changes most.
        part: String,
    },
}

/// Parts that may differ between circuits that share everything else.
const MOST_CHANGED: usize = 8;
/// Workspaces kept for later: about one for each thread that settles.
const MOST_IDLE: usize = 16;

impl Network {
    /// Prepares a circuit.
    pub fn new(circuit: Arc<Circuit>) -> Self {
        Self::build(circuit, &[])
    }

    /// Prepares a circuit that differs from one already prepared. Where it differs in
    /// the values of a few parts everything is shared; where structure differs, the
    /// elimination plans of the islands that have kept theirs.
    pub fn like(circuit: Arc<Circuit>, other: &Self) -> Self {
        let sound = &other.sound.circuit;
        let alike = sound.nets.len() == circuit.nets.len()
            && sound.insulation_ohms == circuit.insulation_ohms
            && sound.parts.len() == circuit.parts.len()
            && sound.parts.iter().zip(&circuit.parts).all(|(a, b)| a.id == b.id);
        if alike {
            let changed: Vec<(PartId, Kind)> = circuit
                .parts_with_ids()
                .filter(|(id, part)| part.kind != sound.part(*id).kind)
                .map(|(id, part)| (id, part.kind.clone()))
                .collect();
            if let Some(network) = other.exchange(changed) {
                return Self { circuit: OnceLock::from(circuit), ..network };
            }
        }
        Self::build(circuit, &other.sound.islands)
    }

    /// This network with some parts turned into something else of the same kind: a
    /// fault, or a cure. Takes next to no time where they keep their structure, as
    /// nearly all faults do.
    #[must_use]
    pub fn with_parts(&self, parts: &[(PartId, Kind)]) -> Self {
        let mut changed = self.changed.clone();
        for (part, kind) in parts {
            changed.retain(|(other, _)| other != part);
            if *kind != self.sound.circuit.part(*part).kind {
                changed.push((*part, kind.clone()));
            }
        }
        changed.sort_by_key(|(part, _)| *part);
        self.exchange(changed).unwrap_or_else(|| {
            let mut circuit = self.circuit().as_ref().clone();
            for (part, kind) in parts {
                circuit.parts[part.index()].kind = kind.clone();
            }
            Self::build(Arc::new(circuit), &self.sound.islands)
        })
    }

    /// Whether it shares its structure with another.
    pub fn is_akin(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.sound, &other.sound)
    }

    /// The sound circuit with these parts changed; `None` when it takes a structure of
    /// its own.
    fn exchange(&self, changed: Vec<(PartId, Kind)>) -> Option<Self> {
        // Past some changes it is a circuit of its own.
        if changed.len() > MOST_CHANGED {
            return None;
        }
        let sound = &self.sound;
        let mut exchanged = Vec::new();
        let mut followers = Arc::clone(&self.followers);
        let mut machines = Arc::clone(&self.machines);
        // Start from what the sound circuit has: this one may have changes of its own.
        for (part, _) in &self.changed {
            renew(sound, *part, &sound.circuit.part(*part).kind, &mut followers, &mut machines)?;
        }
        for (id, kind) in &changed {
            let was = sound.circuit.part(*id);
            if was.kind.id() != kind.id() {
                return None;
            }
            let first = sound.elements.partition_point(|e| e.part < *id);
            let own = &sound.elements[first..];
            let own = &own[..own.partition_point(|e| e.part == *id)];
            let nets = sound.circuit.nets.len();
            let inner = own.iter().flat_map(Element::terminals).map(|net| net.index());
            let inner = inner.filter(|net| *net >= nets).min().unwrap_or(sound.places.len());
            let part = Part { kind: kind.clone(), ..was.clone() };
            let made = parts::elements_of(std::iter::once((*id, &part)), inner).list;
            if made.len() != own.len() {
                return None;
            }
            for (index, (e, was)) in (first as u32..).zip(made.into_iter().zip(own)) {
                if e.terminals() != was.terminals() || !e.form.can_stand_in_for(&was.form) {
                    return None;
                }
                if e != *was {
                    exchanged.push((index, e));
                }
            }
            renew(sound, *id, kind, &mut followers, &mut machines)?;
        }
        let (sound, circuit) = (Arc::clone(sound), OnceLock::new());
        Some(Self { sound, changed, exchanged, followers, machines, circuit })
    }

    fn build(circuit: Arc<Circuit>, known: &[Arc<Island>]) -> Self {
        let parts::Elements { list: elements, nets, inner_names, inside } =
            parts::elements(&circuit);
        let (places, members) = islands_of(&elements, nets);
        let mut machines = machines(&circuit, &elements);
        for machine in &mut machines {
            let nets = machine.phases.iter().flat_map(|at| elements[*at as usize].terminals());
            machine.island = nets.filter_map(|net| places[net.index()]).map(|(i, _)| i).next();
        }
        let followers: Vec<Follower> = circuit
            .parts_with_ids()
            .filter_map(|(id, p)| Follower::of(id, &p.kind, nets_inside(&inside, id)))
            .collect();
        let watched: Vec<NetId> = followers.iter().flat_map(Follower::watched).collect();
        let islands = members
            .into_iter()
            .map(|members| {
                let plan = known
                    .iter()
                    .find(|i| i.nets.len() == members.nets.len() && i.pairs == members.pairs)
                    .map_or_else(
                        || {
                            let pairs = members.pairs.iter().copied();
                            Arc::new(Plan::new(members.nets.len(), pairs))
                        },
                        |same| same.plan.clone(),
                    );
                Arc::new(Island::new(plan, members, &elements, &places, &watched))
            })
            .collect();
        let movers = movers(&circuit, &inside);
        let sound = Sound {
            circuit,
            elements,
            islands,
            places,
            inner_names,
            inside,
            movers,
            idle: Mutex::new(Vec::new()),
        };
        Self {
            sound: Arc::new(sound),
            changed: Vec::new(),
            exchanged: Vec::new(),
            followers: followers.into(),
            machines: machines.into(),
            circuit: OnceLock::new(),
        }
    }

    /// The circuit, with whatever parts have changed.
    pub fn circuit(&self) -> &Arc<Circuit> {
        self.circuit.get_or_init(|| {
            if self.changed.is_empty() {
                return Arc::clone(&self.sound.circuit);
            }
            let mut circuit = self.sound.circuit.as_ref().clone();
            for (part, kind) in &self.changed {
                circuit.parts[part.index()].kind = kind.clone();
            }
            Arc::new(circuit)
        })
    }

    /// The circuit as it is drawn: its parts as they were before any of them changed.
    /// Good for names, nets, test points and which parts there are.
    pub fn drawing(&self) -> &Circuit {
        &self.sound.circuit
    }

    /// What a part is, whether it has changed or not.
    pub fn kind(&self, part: PartId) -> &Kind {
        let changed = self.changed.iter().find(|(other, _)| *other == part);
        changed.map_or_else(|| &self.sound.circuit.part(part).kind, |(_, kind)| kind)
    }

    /// Nets, including those inside parts.
    pub fn nets(&self) -> usize {
        self.sound.places.len()
    }

    /// The name of a net, including those inside parts.
    pub fn net_name(&self, net: NetId) -> &str {
        let names = &self.sound.circuit.nets;
        let inner = &self.sound.inner_names;
        names.get(net.index()).unwrap_or_else(|| &inner[net.index() - names.len()])
    }

    /// The three nets behind the terminals of a gyro, transformer-rectifier or phase
    /// relay: they stand off from its terminals where a winding or line is open.
    ///
    /// # Panics
    /// When the part is none of these.
    pub fn rotor_nets(&self, part: PartId) -> [NetId; 3] {
        nets_inside(&self.sound.inside, part).expect("only three-phase consumers have nets inside")
    }

    /// Every element as it is.
    pub(super) fn elements(&self) -> impl Iterator<Item = &Element> {
        let wiring = self.wiring();
        (0..self.sound.elements.len() as u32).map(move |index| wiring.element(index))
    }

    pub(super) fn islands(&self) -> &[Arc<Island>] {
        &self.sound.islands
    }

    /// The island of a net and its place there; `None` for the airframe.
    pub(super) fn place(&self, net: NetId) -> Option<(u32, u32)> {
        self.sound.places[net.index()]
    }

    pub(super) fn followers(&self) -> &[Follower] {
        &self.followers
    }

    pub(super) fn machines(&self) -> &[Machine] {
        &self.machines
    }

    pub(super) fn movers(&self) -> &Movers {
        &self.sound.movers
    }

    /// Whether nothing that carries current differs from another network of the same
    /// structure, nor anything that moves by itself.
    pub(super) fn behaves_like(&self, other: &Self) -> bool {
        let moves = |part: PartId| {
            let movers = self.movers();
            self.followers.iter().any(|f| f.part == part)
                || self.machines.iter().any(|m| m.part == part)
                || movers.relays.binary_search(&part).is_ok()
                || movers.machines.iter().any(|(id, _)| *id == part)
                || movers.protectors.binary_search(&part).is_ok()
        };
        let differs = |(part, kind): &(PartId, Kind)| moves(*part) && other.kind(*part) != kind;
        self.is_akin(other)
            && self.exchanged == other.exchanged
            && !self.changed.iter().any(differs)
            && !other.changed.iter().any(|(part, kind)| moves(*part) && self.kind(*part) != kind)
    }

    pub(super) fn wiring(&self) -> Wiring<'_> {
        let leak = 1.0 / self.sound.circuit.insulation_ohms;
        Wiring { sound: &self.sound.elements, exchanged: &self.exchanged, leak }
    }

    /// A workspace for one settling, with whatever an earlier one has left in it.
    pub(super) fn workspace(&self) -> Workspace {
        let mut idle = self.sound.idle.lock().unwrap_or_else(PoisonError::into_inner);
        idle.pop().unwrap_or_default()
    }

    /// Gives a workspace back.
    pub(super) fn give_back(&self, workspace: Workspace) {
        let mut idle = self.sound.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < MOST_IDLE {
            idle.push(workspace);
        }
    }
}

fn nets_inside(inside: &[(PartId, [NetId; 3])], part: PartId) -> Option<[NetId; 3]> {
    let at = inside.binary_search_by_key(&part, |(id, _)| *id).ok()?;
    Some(inside[at].1)
}

/// Brings a part's entries in the lists of followers and machines up to date with what
/// it is; `None` when it is not in the lists that it now belongs to.
fn renew(
    sound: &Sound,
    part: PartId,
    kind: &Kind,
    followers: &mut Arc<[Follower]>,
    machines: &mut Arc<[Machine]>,
) -> Option<()> {
    if let Some(follower) = Follower::of(part, kind, nets_inside(&sound.inside, part)) {
        let at = followers.iter().position(|f| f.part == part)?;
        Arc::make_mut(followers)[at] = follower;
    }
    if let Some(at) = machines.iter().position(|m| m.part == part) {
        let (phases, island) = (machines[at].phases.clone(), machines[at].island);
        let machine = Machine::of(part, kind)?;
        Arc::make_mut(machines)[at] = machine.placed(phases, island);
    } else if Machine::of(part, kind).is_some() {
        return None;
    }
    Some(())
}

fn movers(circuit: &Circuit, inside: &[(PartId, [NetId; 3])]) -> Movers {
    let mut movers = Movers::default();
    for (part, p) in circuit.parts_with_ids() {
        match &p.kind {
            Kind::Battery(_) | Kind::Diode(_) | Kind::TransformerRectifier(_) => {
                movers.one_way.push(part);
            }
            Kind::Relay(_)
            | Kind::Contactor(_)
            | Kind::ReverseCurrentRelay(_)
            | Kind::PhaseRelay(_)
            | Kind::Solenoid(_)
            | Kind::Flasher(_) => movers.relays.push(part),
            Kind::Breaker(_) | Kind::Fuse(_) => movers.protectors.push(part),
            Kind::Converter(_) | Kind::Vibrator(_) | Kind::Motor(_) => {
                movers.machines.push((part, None));
            }
            Kind::Gyro(_) => movers.machines.push((part, nets_inside(inside, part))),
            Kind::Supply(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Alternator(_)
            | Kind::Wire(_)
            | Kind::Feeder(_)
            | Kind::Resistor(_)
            | Kind::Shunt(_)
            | Kind::Splice(_)
            | Kind::Connector(_)
            | Kind::Ground(_)
            | Kind::GroundStud(_)
            | Kind::Switch(_)
            | Kind::PushSwitch(_)
            | Kind::ChangeoverSwitch(_)
            | Kind::Mechanism(_)
            | Kind::Microswitch(_)
            | Kind::Lamp(_)
            | Kind::Horn(_)
            | Kind::Transformer(_)
            | Kind::Load(_)
            | Kind::Load3(_)
            | Kind::Meter(_)
            | Kind::Ammeter(_)
            | Kind::Loadmeter(_)
            | Kind::FrequencyMeter(_) => {}
        }
    }
    movers
}
