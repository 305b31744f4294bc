//! How the fields of parts that feed a system become values.

use super::{Findings, Known, Values, in_order, part_named};
use crate::circuit::PartId;
use crate::circuit::kind::{
    Alternator, Battery, Converter, Generator, Kind, Receptacle, Supply, TransformerRectifier,
    Vibrator,
};
use crate::units::significant;

/// Volts at which a battery starts to take charge over its open-circuit volts
/// (assumption).
const CHARGE_OVER_OPEN: f64 = 1.08;

/// Draw of a rotary converter at no load, as a fraction of its rating (assumption).
const CONVERTER_IDLE: f64 = 0.2;

/// Highest no-load line voltage of a rotary converter over its rated one (assumption).
const CONVERTER_CEILING: f64 = 1.35;

/// Resistance of one alternator phase over its rated impedance (assumption).
const CONVERTER_RESISTANCE: f64 = 0.03;

/// Reactance of one alternator phase over its rated impedance (assumption; a
/// regulated machine seen at its terminals).
const CONVERTER_REACTANCE: f64 = 0.10;

/// Output resistance of a vibrator converter over its rated impedance (assumption).
const VIBRATOR_RESISTANCE: f64 = 0.05;

pub(super) fn supply(v: &Values) -> Option<Supply> {
    Some(Supply {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        volts: v.number("volts")?,
        ohms: v.number("ohms")?,
    })
}

pub(super) fn converter(v: &Values, findings: &mut Findings) -> Option<Converter> {
    let volts = v.number("volts")?;
    let volt_amps = v.number("volt_amps")?;
    let base_ohms = volts * volts / volt_amps;
    let ceiling_volts = v.number("ceiling_volts").unwrap_or(CONVERTER_CEILING * volts);
    if ceiling_volts < volts {
        let message = format!(
            "`ceiling_volts` of {} must not be below its `volts`, {} V, but it is {} V",
            v.who,
            significant(volts, 6),
            significant(ceiling_volts, 6)
        );
        findings.error("out-of-range", v.place_of("ceiling_volts"), message, None);
        return None;
    }
    in_order(v, "run_volts", "start_volts", findings)?;
    Some(Converter {
        dc: v.net("dc")?,
        ret: v.net("ret")?,
        phases: v.phases()?,
        volts,
        hertz: v.number("hertz")?,
        volt_amps,
        efficiency: v.number("efficiency")?,
        idle_watts: v.number("idle_watts").unwrap_or(CONVERTER_IDLE * volt_amps),
        start_volts: v.number("start_volts")?,
        run_volts: v.number("run_volts")?,
        governed_volts: v.number("governed_volts")?,
        phase_ohms: CONVERTER_RESISTANCE * base_ohms,
        phase_reactance_ohms: CONVERTER_REACTANCE * base_ohms,
        ceiling_volts,
        motor_sound: true,
        field_sound: true,
        speed_factor: 1.0,
        phase_sound: [true; 3],
    })
}

pub(super) fn vibrator(v: &Values) -> Option<Vibrator> {
    let volts = v.number("volts")?;
    let volt_amps = v.number("volt_amps")?;
    Some(Vibrator {
        dc: v.net("dc")?,
        ret: v.net("ret")?,
        out: v.net("out")?,
        neutral: v.net("neutral")?,
        volts,
        hertz: v.number("hertz")?,
        volt_amps,
        rated_dc_volts: v.number("rated_dc_volts")?,
        efficiency: v.number("efficiency")?,
        idle_watts: v.number("idle_watts")?,
        start_volts: v.number("start_volts")?,
        ohms: VIBRATOR_RESISTANCE * volts * volts / volt_amps,
        reed_sound: true,
    })
}

pub(super) fn battery(v: &Values, findings: &mut Findings) -> Option<Battery> {
    let cells = v.small("cells")?;
    let volts = f64::from(cells) * v.number("cell_volts")?;
    let charge_volts = v.number("charge_volts").unwrap_or(CHARGE_OVER_OPEN * volts);
    if charge_volts < volts {
        let message = format!(
            "`charge_volts` of {} must not be below its open-circuit volts, {} V, but it is {} V",
            v.who,
            significant(volts, 6),
            significant(charge_volts, 6)
        );
        findings.error("out-of-range", v.place_of("charge_volts"), message, None);
        return None;
    }
    Some(Battery {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        cells,
        volts,
        ohms: v.number("ohms")?,
        charge_volts,
        charge_ohms: v.number("charge_ohms")?,
    })
}

/// What turns a machine, and at how many revolutions per minute in each position.
fn drive(v: &Values, known: &Known<'_>, findings: &mut Findings) -> Option<(PartId, Vec<f64>)> {
    let (id, kind) = part_named(v, "driven_by", known, findings)?;
    match kind {
        Kind::Mechanism(mechanism) if !mechanism.rpm.is_empty() => {
            Some((id, mechanism.rpm.clone()))
        }
        _ => {
            let message = format!("{} is driven by a mechanism without `rpm`", v.who);
            let hint = Some("give that mechanism `rpm`, one number for each position".to_owned());
            findings.error("no-speed", v.place_of("driven_by"), message, hint);
            None
        }
    }
}

pub(super) fn generator(
    v: &Values,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<Generator> {
    let (driven_by, rpm) = drive(v, known, findings)?;
    let (volts, amps) = (v.number("volts")?, v.number("amps")?);
    Some(Generator {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        driven_by,
        rpm,
        volts,
        ohms: volts * v.number("droop_percent")? / 100.0 / amps,
        amps,
        least_rpm: v.number("least_rpm")?,
    })
}

pub(super) fn receptacle(v: &Values) -> Option<Receptacle> {
    let pin_ohms = v.number("pin_ohms")?;
    Some(Receptacle {
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        interlock: v.net("interlock")?,
        start: u8::from(v.flag("plugged")?),
        volts: v.number("volts")?,
        ohms: v.number("ohms")?,
        pin_ohms,
        interlock_ohms: pin_ohms,
    })
}

pub(super) fn alternator(
    v: &Values,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<Alternator> {
    let (driven_by, rpm) = drive(v, known, findings)?;
    let (volts, volt_amps) = (v.number("volts")?, v.number("volt_amps")?);
    let percent = volts * volts / volt_amps / 100.0;
    Some(Alternator {
        phases: v.phases()?,
        driven_by,
        rpm,
        rated_rpm: v.number("rpm")?,
        volts,
        hertz: v.number("hertz")?,
        volt_amps,
        phase_ohms: percent * v.number("resistance_percent")?,
        phase_reactance_ohms: percent * v.number("reactance_percent")?,
        phase_sound: [true; 3],
        drive_sound: true,
    })
}

pub(super) fn transformer_rectifier(v: &Values) -> Option<TransformerRectifier> {
    let (volts, amps) = (v.number("volts")?, v.number("amps")?);
    Some(TransformerRectifier {
        phases: v.phases()?,
        plus: v.net("plus")?,
        minus: v.net("minus")?,
        line_volts: v.number("line_volts")?,
        volts,
        ohms: volts * v.number("droop_percent")? / 100.0 / amps,
        amps,
        efficiency: v.number("efficiency")?,
        idle_watts: v.number("idle_watts")?,
        phase_sound: [true; 3],
    })
}
