//! What stands in front of the trainee now: everything a screen may draw, and nothing
//! that a person could not perceive.

use crate::circuit::{Circuit, Kind, PartId, StationId, TestPointId};
use crate::drill::Session;
use crate::network::PartState;
use crate::observation::{
    Look, Percept, Reading, pointer_fraction, pointer_words, readable_step, scale_fraction,
};
use crate::units::quantity;

/// A lamp behind its legend.
#[derive(Clone, Debug, PartialEq)]
pub struct Annunciator {
    /// The lamp.
    pub part: PartId,
    /// Its legend.
    pub legend: String,
    /// Colour of the legend.
    pub colour: String,
    /// How it looks.
    pub look: Look,
}

/// A division mark of a scale.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Where on the arc, from 0 to 1.
    pub fraction: f64,
    /// The figure beside it, if it has one.
    pub figure: Option<String>,
}

/// A pointer instrument, as read: the pointer stands on a mark that a person can tell
/// apart, not on the exact value.
#[derive(Clone, Debug, PartialEq)]
pub struct Needle {
    /// The meter.
    pub part: PartId,
    /// Its placard.
    pub label: String,
    /// The unit on its face.
    pub unit: String,
    /// Division marks in order.
    pub ticks: Vec<Tick>,
    /// Where the pointer is read, from 0 to 1.
    pub fraction: f64,
    /// The reading in words.
    pub words: String,
}

/// An instrument or consumer with a sign of life.
#[derive(Clone, Debug, PartialEq)]
pub struct LifeSign {
    /// The part.
    pub part: PartId,
    /// Its placard.
    pub label: String,
    /// What one sees of it.
    pub shows: String,
    /// How it looks.
    pub look: Look,
}

/// A switch or selector.
#[derive(Clone, Debug, PartialEq)]
pub struct Control {
    /// The switch.
    pub part: PartId,
    /// Its placard.
    pub label: String,
    /// Engraved positions in order.
    pub positions: Vec<String>,
    /// Where it stands.
    pub at: usize,
    /// Where it stands in the normal setup.
    pub start: usize,
    /// Whether it springs back when let go.
    pub springs_back: bool,
    /// Whether a guard covers it.
    pub guard: bool,
}

/// A breaker.
#[derive(Clone, Debug, PartialEq)]
pub struct BreakerFace {
    /// The breaker.
    pub part: PartId,
    /// Its placard.
    pub label: String,
    /// Rating in amperes.
    pub amps: f64,
    /// Whether its collar shows.
    pub out: bool,
}

/// A fuse holder.
#[derive(Clone, Debug, PartialEq)]
pub struct FuseHolder {
    /// The fuse.
    pub part: PartId,
    /// Its placard.
    pub label: String,
    /// Rating in amperes.
    pub amps: f64,
    /// Whether a fuse is in it.
    pub seated: bool,
    /// When it has been pulled, what it is like.
    pub in_hand: Option<Look>,
    /// When it has been pulled and is marked otherwise than its placard, its amperes.
    pub marked_amps: Option<f64>,
    /// Spares of this rating left.
    pub spares: u32,
}

impl FuseHolder {
    /// The fuse in the hand in a few words: `blown`, `whole, marked 5 A`.
    pub fn in_hand_words(&self) -> Option<String> {
        let word = if self.in_hand?.has_melted() { "blown" } else { "whole" };
        Some(match self.marked_amps {
            Some(marked) => format!("{word}, marked {}", quantity(marked, "A")),
            None => word.to_owned(),
        })
    }
}

/// The station where the trainee stands.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The station.
    pub station: StationId,
    /// Pointer instruments.
    pub needles: Vec<Needle>,
    /// Lamps.
    pub annunciators: Vec<Annunciator>,
    /// Instruments and consumers.
    pub life_signs: Vec<LifeSign>,
    /// Machines that can be heard.
    pub machines: Vec<LifeSign>,
    /// Switches and selectors.
    pub controls: Vec<Control>,
    /// Breakers.
    pub breakers: Vec<BreakerFace>,
    /// Fuse holders.
    pub fuses: Vec<FuseHolder>,
    /// Test points within reach.
    pub points: Vec<TestPointId>,
    /// Parts that are changed here.
    pub parts: Vec<PartId>,
}

/// The division marks of a meter, from its own scale.
fn ticks(meter: &crate::circuit::Meter) -> Vec<Tick> {
    meter
        .divisions
        .iter()
        .map(|value| Tick {
            fraction: scale_fraction(&meter.scale, *value),
            figure: meter
                .figures
                .iter()
                .any(|figure| (figure - value).abs() < 1e-9)
                .then(|| crate::units::significant(*value, 4)),
        })
        .collect()
}

/// What the trainee sees where they stand.
pub fn view(session: &Session) -> View {
    let circuit: &Circuit = session.circuit();
    let place = session.place();
    let station = place.station;
    let mut view = View {
        station,
        needles: Vec::new(),
        annunciators: Vec::new(),
        life_signs: Vec::new(),
        machines: Vec::new(),
        controls: Vec::new(),
        breakers: Vec::new(),
        fuses: Vec::new(),
        points: Vec::new(),
        parts: Vec::new(),
    };
    for (part, percept) in session.faces() {
        view.add_face(session, part, percept);
    }
    for (id, part) in circuit.parts_with_ids().filter(|(_, p)| p.station == station) {
        let label = part.label.clone();
        match (&part.kind, place.hands.of(id)) {
            (kind, PartState::Position(at)) => {
                if let Some(control) = kind.control() {
                    view.controls.push(Control {
                        part: id,
                        label,
                        positions: control.positions.iter().map(|p| (*p).to_owned()).collect(),
                        at: usize::from(at),
                        start: usize::from(control.start),
                        springs_back: control.springs_back,
                        guard: control.guard,
                    });
                }
            }
            (Kind::Fuse(fuse), PartState::Fuse { seated, .. }) => view.fuses.push(FuseHolder {
                part: id,
                label,
                amps: fuse.amps,
                seated,
                in_hand: session.fuse_in_hand(id),
                marked_amps: session.fuse_in_hand(id).and_then(|look| look.marked_amps(part)),
                spares: place.spares_of(fuse.amps),
            }),
            _ => {}
        }
        if !matches!(part.kind, Kind::Supply(_) | Kind::Mechanism(_)) {
            view.parts.push(id);
        }
    }
    view.points = circuit
        .test_points_with_ids()
        .filter(|(_, t)| t.station == station)
        .map(|(id, _)| id)
        .collect();
    view
}

impl View {
    fn add_face(&mut self, session: &Session, id: PartId, percept: Percept) {
        let part = session.circuit().part(id);
        let label = part.label.clone();
        let sign = |shows: &str, look: Look| LifeSign {
            part: id,
            label: label.clone(),
            shows: shows.to_owned(),
            look,
        };
        match (&part.kind, percept) {
            (kind, Percept::Reading(reading)) => {
                if let Some(meter) = kind.meter() {
                    let words = session.needle_told(id, reading);
                    self.needles.push(needle(id, &label, meter, (reading, words)));
                }
            }
            (Kind::Lamp(lamp), Percept::Look(look)) => self.annunciators.push(Annunciator {
                part: id,
                legend: label,
                colour: lamp.colour.clone(),
                look,
            }),
            (Kind::Breaker(breaker), Percept::Look(look)) => self.breakers.push(BreakerFace {
                part: id,
                label,
                amps: breaker.amps,
                out: look == Look::Out,
            }),
            (Kind::Converter(_) | Kind::Vibrator(_), Percept::Look(look)) => {
                self.machines.push(sign("sound", look));
            }
            (Kind::Motor(motor), Percept::Look(look)) => {
                self.life_signs.push(sign(&motor.shows, look));
            }
            (Kind::Solenoid(solenoid), Percept::Look(look)) => {
                self.life_signs.push(sign(&solenoid.shows, look));
            }
            (Kind::Horn(_), Percept::Look(look)) => self.life_signs.push(sign("sound", look)),
            (Kind::Load(load), Percept::Look(look)) => {
                self.life_signs.push(sign(&load.shows, look));
            }
            (Kind::Load3(load), Percept::Look(look)) => {
                self.life_signs.push(sign(&load.shows, look));
            }
            (Kind::Gyro(gyro), Percept::Look(look)) => {
                self.life_signs.push(sign(&gyro.shows, look));
            }
            _ => {}
        }
    }
}

/// A pointer instrument of the circuit as it is read when its true value is `value`, in
/// units of its face, by one that has no error; `None` for a part that is none.
pub fn needle_at(circuit: &Circuit, part: PartId, value: f64) -> Option<Needle> {
    let meter = circuit.part(part).kind.meter()?;
    let step = readable_step(meter);
    let mark = libm::round(scale_fraction(&meter.scale, value) / step) as i64;
    let reading = Reading { range: 0, mark };
    let words = pointer_words(meter, reading);
    Some(needle(part, &circuit.part(part).label, meter, (reading, words)))
}

fn needle(
    part: PartId,
    label: &str,
    meter: &crate::circuit::Meter,
    (reading, words): (Reading, String),
) -> Needle {
    Needle {
        part,
        label: label.to_owned(),
        unit: meter.unit.clone(),
        ticks: ticks(meter),
        fraction: pointer_fraction(meter, reading),
        words,
    }
}
