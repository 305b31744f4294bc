//! How the fields of parts that one can see or hear become values.

use super::{Findings, Value, Values, in_order, quoted};
use crate::circuit::kind::{Gyro, Horn, Lamp, Load, Load3, Meter, Motor, Senses, Solenoid};
use crate::units::significant;

pub(super) fn lamp(v: &Values) -> Option<Lamp> {
    let bulbs = v.small("bulbs")?;
    Some(Lamp {
        a: v.net("a")?,
        b: v.net("b")?,
        volts: v.number("volts")?,
        bulb_amps: v.number("bulb_amps")?,
        bulbs,
        bulbs_good: bulbs,
        colour: v.text("colour")?.to_owned(),
    })
}

pub(super) fn load(v: &Values, findings: &mut Findings) -> Option<Load> {
    in_order(v, "moves_above", "works_above", findings)?;
    let (ohms, reactance_ohms) = v.impedance()?;
    Some(Load {
        a: v.net("a")?,
        b: v.net("b")?,
        volts: v.number("volts")?,
        ohms,
        reactance_ohms,
        hertz: v.number("hertz")?,
        shows: v.text("shows")?.to_owned(),
        flag: v.flag("flag")?,
        needs: match v.get("needs") {
            Some(Value::Needs(needs)) => needs.clone(),
            Some(_) | None => Vec::new(),
        },
        works_above: v.number("works_above")?,
        moves_above: v.number("moves_above")?,
        movement_sound: true,
    })
}

pub(super) fn load3(v: &Values, findings: &mut Findings) -> Option<Load3> {
    in_order(v, "moves_above", "works_above", findings)?;
    let (ohms, reactance_ohms) = v.impedance()?;
    Some(Load3 {
        phases: v.phases()?,
        volts: v.number("volts")?,
        leg_ohms: [ohms; 3],
        leg_reactance_ohms: reactance_ohms,
        hertz: v.number("hertz")?,
        shows: v.text("shows")?.to_owned(),
        works_above: v.number("works_above")?,
        moves_above: v.number("moves_above")?,
    })
}

pub(super) fn gyro(v: &Values, findings: &mut Findings) -> Option<Gyro> {
    in_order(v, "stall_torque", "start_torque", findings)?;
    Some(Gyro {
        phases: v.phases()?,
        volts: v.number("volts")?,
        amps: v.number("amps")?,
        power_factor: v.number("power_factor")?,
        locked_ratio: v.number("locked_ratio")?,
        locked_power_factor: v.number("locked_power_factor")?,
        hertz: v.number("hertz")?,
        start_torque: v.number("start_torque")?,
        stall_torque: v.number("stall_torque")?,
        shows: v.text("shows")?.to_owned(),
        flag: v.flag("flag")?,
        winding_sound: [true; 3],
        seized: false,
    })
}

/// Scale and marks of a pointer instrument.
struct Face {
    scale: Vec<(f64, f64)>,
    divisions: Vec<f64>,
    figures: Vec<f64>,
}

fn face(v: &Values, findings: &mut Findings) -> Option<Face> {
    let Value::Scale(scale) = v.get("scale")? else {
        return None;
    };
    let starts_right = scale.first().is_some_and(|(_, fraction)| *fraction == 0.0);
    let rises = scale.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1);
    let (least, full) = match (scale.first(), scale.last()) {
        (Some(&(least, _)), Some(&(full, fraction)))
            if scale.len() > 1 && starts_right && rises && fraction <= 1.0 =>
        {
            (least, full)
        }
        _ => {
            let message = format!(
                "the scale of {} must start at fraction 0 and rise in both, to at most 1 of the arc",
                v.who
            );
            findings.error("scale-not-rising", v.place_of("scale"), message, None);
            return None;
        }
    };
    let mut marks = |field: &'static str| {
        let Value::Numbers(numbers) = v.get(field)? else {
            return None;
        };
        let off = numbers.iter().find(|number| !(least..=full).contains(*number));
        if let Some(off) = off {
            let message = format!(
                "{} of {} holds {}, which is off its scale of {} to {}",
                quoted(field),
                v.who,
                significant(*off, 6),
                significant(least, 6),
                significant(full, 6)
            );
            findings.error("division-off-scale", v.place_of(field), message, None);
            return None;
        }
        if !numbers.windows(2).all(|pair| pair[0] < pair[1]) {
            let message = format!("{} of {} must rise", quoted(field), v.who);
            findings.error("scale-not-rising", v.place_of(field), message, None);
            return None;
        }
        Some(numbers.clone())
    };
    let divisions = marks("divisions");
    let figures = match v.get("figures") {
        Some(_) => marks("figures"),
        None => divisions.clone(),
    };
    Some(Face { scale: scale.clone(), divisions: divisions?, figures: figures? })
}

/// A pointer instrument that answers to this with so many units of its face a volt.
fn pointer(
    v: &Values,
    senses: Senses,
    per_volt: f64,
    least_volts: f64,
    findings: &mut Findings,
) -> Option<Meter> {
    let Face { scale, divisions, figures } = face(v, findings)?;
    Some(Meter {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        senses,
        burden_ohms: v.number("burden_ohms")?,
        unit: v.text("unit")?.to_owned(),
        scale,
        divisions,
        figures,
        class_percent: v.number("class_percent")?,
        per_volt,
        least_volts,
        gain: 1.0,
    })
}

pub(super) fn meter(v: &Values, findings: &mut Findings) -> Option<Meter> {
    pointer(v, v.senses()?, 1.0, 0.0, findings)
}

pub(super) fn ammeter(v: &Values, findings: &mut Findings) -> Option<Meter> {
    let per_volt = v.number("amps")? / (v.number("millivolts")? / 1000.0);
    pointer(v, Senses::Dc, per_volt, 0.0, findings)
}

pub(super) fn loadmeter(v: &Values, findings: &mut Findings) -> Option<Meter> {
    pointer(v, Senses::Dc, 1000.0 / v.number("millivolts")?, 0.0, findings)
}

pub(super) fn frequency_meter(v: &Values, findings: &mut Findings) -> Option<Meter> {
    pointer(v, Senses::Hertz, 1.0, v.number("least_volts")?, findings)
}

/// Volts of a motor left out of the file, as fractions of rated (assumptions).
const MOTOR_STARTS: f64 = 0.5;

const MOTOR_RUNS: f64 = 0.25;

const MOTOR_SLOW: f64 = 0.8;

pub(super) fn motor(v: &Values, findings: &mut Findings) -> Option<Motor> {
    let volts = v.number("volts")?;
    let start_volts = v.number("start_volts").unwrap_or(MOTOR_STARTS * volts);
    let run_volts = v.number("run_volts").unwrap_or(MOTOR_RUNS * volts).min(start_volts);
    if v.number("run_volts").is_some_and(|given| given > start_volts) {
        in_order(v, "run_volts", "start_volts", findings)?;
    }
    let running_ohms = volts / v.number("amps")?;
    Some(Motor {
        a: v.net("a")?,
        b: v.net("b")?,
        running_ohms,
        standing_ohms: running_ohms / v.number("locked_ratio")?,
        start_volts,
        run_volts,
        slow_volts: v.number("slow_volts").unwrap_or(MOTOR_SLOW * volts),
        shows: v.text("shows")?.to_owned(),
        seized: false,
    })
}

pub(super) fn solenoid(v: &Values, findings: &mut Findings) -> Option<Solenoid> {
    in_order(v, "drop_volts", "pull_volts", findings)?;
    Some(Solenoid {
        x1: v.net("x1")?,
        x2: v.net("x2")?,
        pull_volts: v.number("pull_volts")?,
        drop_volts: v.number("drop_volts")?,
        coil_ohms: v.number("coil_ohms")?,
        shows: v.text("shows")?.to_owned(),
        stuck: None,
    })
}

pub(super) fn horn(v: &Values) -> Option<Horn> {
    let volts = v.number("volts")?;
    Some(Horn {
        a: v.net("a")?,
        b: v.net("b")?,
        volts,
        ohms: volts / v.number("amps")?,
        sounds_volts: volts * v.number("sounds_above")?,
        sounds: true,
    })
}
