//! What was left over the minutes, drawn beside the best strategy known.

use std::fmt::Write;

use super::scale::Scale;
use super::text::sentence;
use super::{bare_minutes, bits};
use crate::diagnostic::escaped;
use crate::score::{Path, Point};
use crate::units::{counted, minutes};

/// The picture's units: as wide as a phone has points, so that letters keep their size.
const WIDE: f64 = 360.0;
const HIGH: f64 = 220.0;
/// Room left of, right of, above and below the plot itself.
const LEFT: f64 = 34.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 16.0;
const BOTTOM: f64 = 34.0;
/// Units between two step numbers for both to be written.
const APART: f64 = 13.0;

/// One picture: heading, unit for the axis, value of a point, how a tick is written.
struct Plot<'a> {
    id: &'a str,
    heading: &'a str,
    told: &'a str,
    scale: Scale,
    value: fn(&Point) -> f64,
    tick: fn(f64) -> String,
}

/// Both pictures, the key, and the strategy's tests as a table.
pub(super) fn section(out: &mut String, path: &Path) {
    let par = path.par_points();
    let all = || path.own.iter().chain(&par);
    let most = |value: fn(&Point) -> f64| all().map(value).fold(0.0, f64::max);
    let over = Scale::even(most(|point| point.minutes).max(0.1), 6.0);
    let plots = [
        Plot {
            id: "bits",
            heading: "Doubt about the repair, in bits",
            told: "bits of uncertainty about which repair group has failed",
            scale: Scale::even(most(|point| point.bits).max(0.5), 5.0),
            value: |point| point.bits.max(0.0),
            tick: |value| crate::units::significant(value, 3),
        },
        Plot {
            id: "faults",
            heading: "Faults still possible; each line halves them",
            told: "faults still possible, on a scale where each line is half the one above",
            scale: Scale::halving(most(|point| point.faults as f64), 8),
            value: |point| libm::log2(point.faults.max(1) as f64),
            tick: |value| format!("{:.0}", libm::exp2(value)),
        },
    ];
    let _ = writeln!(out, "<p>{}</p>", escaped(&sentence(&path.proof_told())));
    out.push_str("<div class=\"plots\">\n");
    for plot in &plots {
        picture(out, plot, path, &par, &over);
    }
    out.push_str(
        "</div>\n<ul class=\"key\">\n\
         <li><svg class=\"plot\" viewBox=\"0 0 36 12\" aria-hidden=\"true\">\
         <path class=\"own\" d=\"M0 6H36\"/><circle class=\"own-d\" cx=\"18\" cy=\"6\" r=\"3\"/>\
         </svg>you, with the numbers of your steps</li>\n\
         <li><svg class=\"plot\" viewBox=\"0 0 36 12\" aria-hidden=\"true\">\
         <path class=\"par\" d=\"M0 6H36\"/><rect class=\"par-d\" x=\"15\" y=\"3\" width=\"6\" \
         height=\"6\"/></svg>par’s way to this fault</li>\n\
         <li><svg class=\"plot\" viewBox=\"0 0 36 12\" aria-hidden=\"true\">\
         <circle class=\"ring\" cx=\"18\" cy=\"6\" r=\"5\"/></svg>from here a call was \
         provable</li>\n</ul>\n",
    );
    own(out, path);
    table(out, path);
}

/// The figures of one's own way, in a table.
fn own(out: &mut String, path: &Path) {
    out.push_str(
        "<table class=\"figures\">\n<caption>Your way: what was left after the write-up and \
         after each step</caption>\n<thead><tr><th scope=\"col\">After</th>\
         <th scope=\"col\" class=\"num\">Minutes</th><th scope=\"col\" class=\"num\">Faults</th>\
         <th scope=\"col\" class=\"num\">Repairs</th><th scope=\"col\" class=\"num\">Bits</th></tr>\
         </thead>\n<tbody>\n",
    );
    for (after, point) in path.own.iter().enumerate() {
        let what = match after {
            0 => "Write-up".to_owned(),
            step => format!("Step {step}"),
        };
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{what}</th><td class=\"num\">{}</td><td class=\"num\">{}</td>\
             <td class=\"num\">{}</td><td class=\"num\">{}</td></tr>",
            bare_minutes(point.minutes),
            point.faults,
            point.groups,
            bits(point.bits)
        );
    }
    out.push_str("</tbody></table>\n");
}

fn picture(out: &mut String, plot: &Plot, path: &Path, par: &[Point], over: &Scale) {
    let x = |minutes: f64| LEFT + (WIDE - LEFT - RIGHT) * minutes / over.most;
    let y = |value: f64| TOP + (HIGH - TOP - BOTTOM) * (1.0 - value / plot.scale.most);
    let id = plot.id;
    let _ = write!(
        out,
        "<figure><figcaption>{}</figcaption>\n<svg class=\"plot\" viewBox=\"0 0 {WIDE} {HIGH}\" \
         role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\n<title id=\"{id}-t\">{}</title>\n\
         <desc id=\"{id}-d\">{}</desc>\n",
        plot.heading,
        plot.heading,
        escaped(&told(plot, path, par))
    );
    for tick in &plot.scale.ticks {
        let at = y(*tick);
        let class = if *tick == 0.0 { "axis" } else { "grid" };
        let _ = writeln!(
            out,
            "<path class=\"{class}\" d=\"M{LEFT} {at:.1}H{}\"/>\
             <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            WIDE - RIGHT,
            LEFT - 5.0,
            at + 3.5,
            (plot.tick)(*tick)
        );
    }
    for tick in &over.ticks {
        let at = x(*tick);
        let _ = writeln!(
            out,
            "<path class=\"axis\" d=\"M{at:.1} {:.1}v4\"/>\
             <text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            HIGH - BOTTOM,
            HIGH - BOTTOM + 15.0,
            bare_minutes(*tick)
        );
    }
    let _ = writeln!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">minutes</text>",
        f64::midpoint(LEFT, WIDE - RIGHT),
        HIGH - 5.0
    );
    let place = |point: &Point| (x(point.minutes), y((plot.value)(point)));
    for (class, points) in [("par", par), ("own", path.own.as_slice())] {
        if let [first, rest @ ..] = points {
            let (x0, y0) = place(first);
            let mut line = format!("M{x0:.1} {y0:.1}");
            for point in rest {
                let (at, down) = place(point);
                let _ = write!(line, "H{at:.1}V{down:.1}");
            }
            let _ = writeln!(out, "<path class=\"{class}\" d=\"{line}\"/>");
        }
    }
    for point in par.iter().skip(1) {
        let (at, down) = place(point);
        let _ = writeln!(
            out,
            "<rect class=\"par-d\" x=\"{:.1}\" y=\"{:.1}\" width=\"5\" height=\"5\"/>",
            at - 2.5,
            down - 2.5
        );
    }
    let mut free = f64::NEG_INFINITY;
    for (number, point) in path.own.iter().enumerate().skip(1) {
        let (at, down) = place(point);
        let _ =
            writeln!(out, "<circle class=\"own-d\" cx=\"{at:.1}\" cy=\"{down:.1}\" r=\"2.5\"/>");
        // Numbers that would touch the last one are left out; the table has them all.
        if at - free >= APART {
            let _ = writeln!(
                out,
                "<text class=\"own-n\" x=\"{:.1}\" y=\"{:.1}\">{number}</text>",
                at + 3.0,
                down - 5.0
            );
            free = at;
        }
    }
    for (after, points) in [(path.provable, path.own.as_slice()), (path.par_provable, par)] {
        if let Some(point) = after.and_then(|after| points.get(after)) {
            let (at, down) = place(point);
            let _ =
                writeln!(out, "<circle class=\"ring\" cx=\"{at:.1}\" cy=\"{down:.1}\" r=\"5.5\"/>");
        }
    }
    out.push_str("</svg></figure>\n");
}

/// The picture in words.
fn told(plot: &Plot, path: &Path, par: &[Point]) -> String {
    let ends = |points: &[Point]| match (points.first(), points.last()) {
        (Some(first), Some(last)) => {
            format!("from {} to {} in {}", first.told(), last.told(), minutes(last.minutes))
        }
        _ => "nowhere".to_owned(),
    };
    format!(
        "Over the minutes of the drill, {}. You came {}, in {}. Par’s way goes {}. The tables \
         below have every figure.",
        plot.told,
        ends(&path.own),
        counted(path.own.len().saturating_sub(1), "step"),
        ends(par)
    )
}

/// The tests of the best strategy known.
fn table(out: &mut String, path: &Path) {
    if path.par.is_empty() {
        out.push_str("<p>Par has no way of its own: the write-up settles this fault.</p>\n");
        return;
    }
    out.push_str(
        "<table>\n<caption>Par’s way: the tests of the best strategy known, and what this fault \
         would have left after each</caption>\n<thead><tr><th scope=\"col\" class=\"num\">#</th>\
         <th scope=\"col\">Test</th><th scope=\"col\" class=\"num\">Minutes</th>\
         <th scope=\"col\" class=\"num\">Faults</th><th scope=\"col\" class=\"num\">Bits</th></tr>\
         </thead>\n<tbody>\n",
    );
    for (number, step) in path.par.iter().enumerate() {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\" class=\"num\">{}</th><td>{}</td><td class=\"num\">{}</td>\
             <td class=\"num\">{}</td><td class=\"num\">{}</td></tr>",
            number + 1,
            escaped(&sentence(&step.step)),
            bare_minutes(step.point.minutes),
            step.point.faults,
            bits(step.point.bits)
        );
    }
    out.push_str("</tbody></table>\n");
}
