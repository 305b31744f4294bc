//! A drawing as SVG: self-contained, black on white, every text escaped and inside the
//! picture.

use std::fmt::Write;

use super::overlay::{Live, Mark, Overlay};
use super::shape::{Build, Figure, Pin, Shape, Side};
use super::{Cell, Drawing, Line};
use crate::diagnostic::escaped;

/// Size of a cell in the picture's units.
const WIDE: i32 = 8;
const HIGH: i32 = 16;
/// Room around the picture, above it for the title and below it for the legend.
const MARGIN: i32 = 16;
const HEAD: i32 = 40;
/// Columns that the title line and the legend need at the least.
const LEAST_COLUMNS: i32 = 92;
/// Height of a row of the legend.
const LEGEND_ROW: i32 = 22;

/// What is said below every picture.
pub(super) const TRAINING_ONLY: &str = "For training only. Work on an aircraft follows the \
approved maintenance data, local rules and licensed staff.";

const STYLE: &str = "\
text{font-family:'DejaVu Sans Mono',Consolas,Menlo,monospace;font-size:12px;fill:#000}\
.h{font-size:16px;font-weight:bold}.n{font-weight:bold}.t{font-size:10.5px;fill:#333}\
.l,.s{fill:none;stroke:#000;stroke-width:1.1}.s{stroke-width:1.3;fill:#fff}\
.e,.b{stroke-width:2.6}.d{stroke-width:.8;stroke:#555}.p{stroke-width:2.6;stroke-dasharray:6 3}\
.x{stroke-dasharray:2 3}.f{fill:#000;stroke:none}.w{fill:#fff;stroke:none}";

/// A drawing as one SVG document.
pub fn svg(drawing: &Drawing, overlay: &Overlay) -> String {
    let legend = legend_rows(drawing, overlay);
    let width = drawing.columns.max(LEAST_COLUMNS) * WIDE + 2 * MARGIN;
    let height = HEAD + drawing.rows * HIGH + legend.len() as i32 * LEGEND_ROW + 3 * MARGIN + HIGH;
    let mut out = String::new();
    let title = escaped(&drawing.title);
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         width=\"{width}\" height=\"{height}\" role=\"img\" aria-labelledby=\"title desc\">"
    );
    let _ = writeln!(out, "<title id=\"title\">{title}</title>");
    let _ = writeln!(out, "<desc id=\"desc\">{} {TRAINING_ONLY}</desc>", escaped(&drawing.brief));
    let _ = writeln!(out, "<style>{STYLE}</style>");
    let _ = writeln!(out, "<rect class=\"w\" width=\"{width}\" height=\"{height}\"/>");
    let room = (width - 2 * MARGIN) / 10;
    let short: String = drawing.title.chars().take(room as usize).collect();
    text(&mut out, (MARGIN, MARGIN + 12), "h", &short);
    let _ = writeln!(out, "<g transform=\"translate({MARGIN},{HEAD})\">");
    for (number, line) in drawing.lines.iter().enumerate() {
        draw_line(&mut out, line, overlay.live_of_line(number));
    }
    for shape in &drawing.shapes {
        draw_shape(&mut out, drawing, shape, overlay);
    }
    out.push_str("</g>\n");
    let mut y = HEAD + drawing.rows * HIGH + MARGIN;
    for row in &legend {
        let _ = writeln!(out, "<g transform=\"translate({MARGIN},{y})\">{row}</g>");
        y += LEGEND_ROW;
    }
    text(&mut out, (MARGIN, y + HIGH), "t", TRAINING_ONLY);
    out.push_str("</svg>\n");
    out
}

fn text(out: &mut String, (x, y): (i32, i32), class: &str, text: &str) {
    if !text.is_empty() {
        let _ =
            writeln!(out, "<text x=\"{x}\" y=\"{y}\" class=\"{class}\">{}</text>", escaped(text));
    }
}

fn text_to(out: &mut String, (x, y): (i32, i32), (class, anchor): (&str, &str), text: &str) {
    if !text.is_empty() {
        let _ = writeln!(
            out,
            "<text x=\"{x}\" y=\"{y}\" class=\"{class}\" text-anchor=\"{anchor}\">{}</text>",
            escaped(text)
        );
    }
}

fn middle(cell: Cell) -> (i32, i32) {
    (cell.column * WIDE + WIDE / 2, cell.row * HIGH + HIGH / 2)
}

fn class_of(live: Live) -> &'static str {
    match live {
        Live::Untold => "l",
        Live::Energised => "l e",
        Live::Dead => "l d",
        Live::Backwards => "l b",
        Live::Partly => "l p",
    }
}

fn draw_line(out: &mut String, line: &Line, live: Live) {
    let class = class_of(live);
    let mut path = String::new();
    for piece in &line.pieces {
        let ((x0, y0), (x1, y1)) = (middle(piece.from), middle(piece.to));
        let _ = if y0 == y1 {
            write!(path, "M{x0} {y0}H{x1}")
        } else {
            write!(path, "M{x0} {y0}V{y1}")
        };
    }
    if !path.is_empty() {
        let _ = writeln!(out, "<path class=\"{class}\" d=\"{path}\"/>");
    }
    for dot in &line.dots {
        let (x, y) = middle(*dot);
        let _ = writeln!(out, "<circle class=\"f\" cx=\"{x}\" cy=\"{y}\" r=\"3\"/>");
    }
    if live == Live::Backwards {
        for piece in line.pieces.iter().filter(|p| p.from.row == p.to.row) {
            let ((x0, y), (x1, _)) = (middle(piece.from), middle(piece.to));
            if x1 - x0 >= 3 * WIDE {
                let x = i32::midpoint(x0, x1);
                let _ =
                    writeln!(out, "<path class=\"f\" d=\"M{} {}l-9 4.5l9 4.5z\"/>", x + 4, y - 4);
            }
        }
    }
}

fn live_at(drawing: &Drawing, overlay: &Overlay, pin: &Pin) -> Live {
    let line = drawing.lines.iter().position(|line| line.nets == pin.nets);
    line.map_or(Live::Untold, |line| overlay.live_of_line(line))
}

fn sign(mark: Mark) -> &'static str {
    match mark {
        Mark::Suspect => "?",
        Mark::Cleared => "✓",
        Mark::Excluded => "×",
    }
}

fn draw_shape(out: &mut String, drawing: &Drawing, shape: &Shape, overlay: &Overlay) {
    let _ = writeln!(out, "<g><title>{}</title>", escaped(&shape.label));
    let area = shape.area;
    let (x0, y0) = (area.left * WIDE, area.top * HIGH);
    let (x1, y1) = (area.right() * WIDE, area.bottom() * HIGH);
    let mark = overlay.mark_of(shape);
    let dotted = if mark == Some(Mark::Excluded) { " x" } else { "" };
    let name = match mark {
        Some(mark) => format!("{} {}", shape.name, sign(mark)),
        None => shape.name.clone(),
    };
    let position = overlay.position_of(shape);
    let below = if position.is_empty() { shape.caption.as_str() } else { position };
    let live = class_of(overlay.live_of(shape)).trim_start_matches('l');
    match shape.figure.build() {
        Build::InLine => in_line(out, drawing, shape, overlay, &name),
        Build::Open => {
            text_to(out, (x0, y0 + 12), ("n", "start"), &name);
            let after = x0 + (name.chars().count() as i32 + 1) * WIDE - 4;
            text(out, (after, y0 + 12), "t", below);
            let y = y0 + HIGH + HIGH / 2;
            let centre = i32::midpoint(x0, x1);
            for pin in &shape.pins {
                let class = class_of(live_at(drawing, overlay, pin));
                let (from, to) = if pin.side == Side::Left {
                    (middle(pin.at).0, centre - 13)
                } else {
                    (centre + 13, middle(pin.at).0)
                };
                let _ = writeln!(out, "<path class=\"{class}\" d=\"M{from} {y}H{to}\"/>");
            }
            let closed = shape.joints.iter().any(|joint| overlay.is_closed(shape, *joint));
            symbol(out, (centre, y), (shape.figure, closed), dotted);
        }
        Build::Framed => {
            let (top, bottom) = (y0 + HIGH / 2, y1 - HIGH / 2);
            // The name stands on the upper edge, so the edge begins below it.
            let _ = writeln!(
                out,
                "<rect class=\"s{live}{dotted}\" x=\"{x0}\" y=\"{y0}\" width=\"{}\" height=\"{}\" rx=\"2\"/>",
                x1 - x0,
                bottom + 6 - y0
            );
            text(out, (x0 + 4, top + 4), "n", &name);
            text(out, (x0 + 4, bottom + 2), "t", below);
            for (index, pin) in shape.pins.iter().enumerate() {
                pin_in_frame(out, drawing, overlay, (shape, index, pin));
            }
            for joint in &shape.joints {
                contact(out, shape, (joint.pins, overlay.is_closed(shape, *joint)));
            }
            let centre = (i32::midpoint(x0, x1), i32::midpoint(y0 + HIGH, y1 - HIGH));
            emblem(out, shape, centre);
        }
    }
    for pin in &shape.pins {
        let (x, y) = middle(pin.at);
        if pin.is_grounded() {
            let _ = writeln!(
                out,
                "<path class=\"l\" d=\"M{} {y}H{x}M{x} {}v12M{} {}v8M{} {}v4\"/>",
                if pin.side == Side::Left { x0 } else { x1 },
                y - 6,
                if pin.side == Side::Left { x - 3 } else { x + 3 },
                y - 4,
                if pin.side == Side::Left { x - 6 } else { x + 6 },
                y - 2
            );
        } else if pin.nets.len() > 1 {
            let tick = if pin.side == Side::Left { x - WIDE } else { x + WIDE };
            let _ = writeln!(out, "<path class=\"l\" d=\"M{} {}l6 -10\"/>", tick - 3, y + 5);
            let count = pin.nets.len().to_string();
            text(out, (tick + 1, y - 4), "t", &count);
        }
    }
    out.push_str("</g>\n");
}

/// A wire with its name above it; the way of a connector with its two halves.
fn in_line(out: &mut String, drawing: &Drawing, shape: &Shape, overlay: &Overlay, name: &str) {
    let area = shape.area;
    let (x0, y0, x1) = (area.left * WIDE, area.top * HIGH, area.right() * WIDE);
    let dotted = if overlay.mark_of(shape) == Some(Mark::Excluded) { " x" } else { "" };
    let centre = i32::midpoint(x0, x1);
    for pin in &shape.pins {
        if pin.is_grounded() {
            continue;
        }
        let class = class_of(live_at(drawing, overlay, pin));
        let (x, y) = middle(pin.at);
        let end = if shape.figure == Figure::Ground { x1 } else { centre };
        let _ = writeln!(out, "<path class=\"{class}{dotted}\" d=\"M{x} {y}H{end}\"/>");
    }
    if area.rows > 1 {
        let _ = writeln!(
            out,
            "<path class=\"l\" d=\"M{centre} {}V{}\"/>",
            y0 + HIGH / 2,
            (area.bottom() - 1) * HIGH + HIGH / 2
        );
    }
    let y = y0 + HIGH / 2;
    if shape.figure == Figure::ConnectorPin {
        let _ = writeln!(out, "<path class=\"l\" d=\"M{} {}l5 4l-5 4\"/>", centre - 2, y - 4);
    }
    // White behind the letters: lines run close above.
    text_to(out, (centre, y0 + 5), ("t", "middle"), name);
}

fn pin_in_frame(
    out: &mut String,
    drawing: &Drawing,
    overlay: &Overlay,
    (shape, index, pin): (&Shape, usize, &Pin),
) {
    let (x0, x1) = (shape.area.left * WIDE, shape.area.right() * WIDE);
    let (x, y) = middle(pin.at);
    let edge = if pin.side == Side::Left { x0 } else { x1 };
    if !pin.is_grounded() {
        let class = class_of(live_at(drawing, overlay, pin));
        let _ =
            writeln!(out, "<path class=\"{class}\" d=\"M{} {y}H{}\"/>", x.min(edge), x.max(edge));
    }
    let inset = if pin.contact { 16 } else { 4 };
    if pin.side == Side::Left {
        text(out, (x0 + inset, y + 4), "t", &pin.name);
    } else {
        text_to(out, (x1 - inset, y + 4), ("t", "end"), &pin.name);
    }
    if pin.contact && shape.joints.iter().any(|j| j.pins.0 == index || j.pins.1 == index) {
        let (x, from) = if pin.side == Side::Left { (x0 + 10, x0) } else { (x1 - 10, x1 - 7) };
        let _ = writeln!(out, "<path class=\"l\" d=\"M{from} {y}h7\"/>");
        let _ = writeln!(out, "<circle class=\"s\" cx=\"{x}\" cy=\"{y}\" r=\"3\"/>");
    }
}

/// A closed contact as a bar between its pins; open ones are not drawn.
fn contact(out: &mut String, shape: &Shape, ((a, b), closed): ((usize, usize), bool)) {
    if !closed {
        return;
    }
    let (x0, x1) = (shape.area.left * WIDE, shape.area.right() * WIDE);
    let place = |pin: &Pin| {
        let x = if pin.side == Side::Left { x0 + 10 } else { x1 - 10 };
        (x, middle(pin.at).1)
    };
    let ((xa, ya), (xb, yb)) = (place(&shape.pins[a]), place(&shape.pins[b]));
    // The bar stands clear of the names of its pins, which are beside the dots.
    let inner = |pin: &Pin| {
        let beside = 10 + 7 * pin.name.chars().count() as i32;
        let (x, _) = place(pin);
        if pin.side == Side::Left { x + beside } else { x - beside }
    };
    let (from, to) = (inner(&shape.pins[a]), inner(&shape.pins[b]));
    let _ = writeln!(
        out,
        "<path class=\"l e\" d=\"M{from} {ya}L{to} {yb}\"/>\
         <circle class=\"f\" cx=\"{xa}\" cy=\"{ya}\" r=\"3\"/>\
         <circle class=\"f\" cx=\"{xb}\" cy=\"{yb}\" r=\"3\"/>"
    );
}

/// The symbol of a part in a line, 26 wide.
fn symbol(out: &mut String, (x, y): (i32, i32), (figure, closed): (Figure, bool), dotted: &str) {
    let class = format!("s{dotted}");
    let (a, b) = (x - 13, x + 13);
    let contacts = format!(
        "<circle class=\"{class}\" cx=\"{}\" cy=\"{y}\" r=\"2.5\"/>\
         <circle class=\"{class}\" cx=\"{}\" cy=\"{y}\" r=\"2.5\"/>",
        a + 2,
        b - 2
    );
    let drawn = match figure {
        Figure::Fuse => {
            let bar = if closed {
                format!("<path class=\"l\" d=\"M{a} {y}H{b}\"/>")
            } else {
                String::new()
            };
            format!(
                "<rect class=\"{class}\" x=\"{a}\" y=\"{}\" width=\"26\" height=\"8\"/>{bar}",
                y - 4
            )
        }
        Figure::Breaker => {
            let rise = if closed { 0 } else { 5 };
            format!("{contacts}<path class=\"l\" d=\"M{} {}q9 -9 18 0\"/>", a + 4, y - 2 - rise)
        }
        Figure::Diode => format!(
            "<path class=\"l\" d=\"M{a} {y}H{b}\"/><path class=\"{class}\" d=\"M{} {}v10l9 -5zM{} {}v10\"/>",
            x - 5,
            y - 5,
            x + 4,
            y - 5
        ),
        Figure::Resistor => {
            format!("<path class=\"l{dotted}\" d=\"M{a} {y}l2 -4l4 8l5 -8l4 8l5 -8l4 8l2 -4\"/>")
        }
        Figure::Shunt => {
            format!("<rect class=\"f\" x=\"{a}\" y=\"{}\" width=\"26\" height=\"4\"/>", y - 2)
        }
        Figure::Flasher | Figure::Contact => {
            let end = if closed { y } else { y - 7 };
            let wave = if figure == Figure::Flasher {
                format!("<path class=\"l\" d=\"M{} {}q3 -4 6 0t6 0\"/>", x - 6, y + 7)
            } else {
                String::new()
            };
            format!("{contacts}<path class=\"l e\" d=\"M{} {y}L{} {end}\"/>{wave}", a + 4, b - 4)
        }
        // The others are frames or names.
        _ => String::new(),
    };
    out.push_str(&drawn);
    out.push('\n');
}

/// The emblem of a kind in the middle of its frame.
fn emblem(out: &mut String, shape: &Shape, (x, y): (i32, i32)) {
    let circle = |letters: &str| {
        format!(
            "<circle class=\"s\" cx=\"{x}\" cy=\"{y}\" r=\"8\"/>\
             <text x=\"{x}\" y=\"{}\" class=\"t\" text-anchor=\"middle\">{letters}</text>",
            y + 4
        )
    };
    let drawn = match shape.figure {
        Figure::Lamp => format!(
            "<circle class=\"s\" cx=\"{x}\" cy=\"{y}\" r=\"8\"/>\
             <path class=\"l\" d=\"M{} {}l11 11m0 -11l-11 11\"/>",
            x - 6,
            y - 6
        ),
        Figure::Meter => circle(&escaped(shape.letters.trim_matches(['(', ')']))),
        Figure::Motor => circle("M"),
        Figure::Gyro => circle("M3"),
        Figure::Generator => circle("G"),
        Figure::Alternator => circle("G3"),
        Figure::Battery | Figure::Supply => {
            format!(
                "<path class=\"l\" d=\"M{} {}v14M{} {}v7M{} {}v14M{} {}v7\"/>",
                x - 5,
                y - 7,
                x - 1,
                y - 3,
                x + 3,
                y - 7,
                x + 7,
                y - 3
            )
        }
        Figure::Transformer => format!(
            "<path class=\"l\" d=\"M{} {}q7 3 0 6q7 3 0 6M{} {}q-7 3 0 6q-7 3 0 6\"/>",
            x - 6,
            y - 6,
            x + 6,
            y - 6
        ),
        Figure::Converter => emblem_text(x, y, "=/3~"),
        Figure::Vibrator => emblem_text(x, y, "=/~"),
        Figure::Rectifier => emblem_text(x, y, "3~/="),
        Figure::Receptacle => emblem_text(x, y, "EXT"),
        Figure::Horn => {
            format!("<path class=\"s\" d=\"M{} {}h5l8 -5v16l-8 -5h-5z\"/>", x - 7, y - 3)
        }
        Figure::Load => format!(
            "<rect class=\"s\" x=\"{}\" y=\"{}\" width=\"20\" height=\"8\"/>",
            x - 10,
            y - 4
        ),
        // A coil, where its pins leave room beside them.
        Figure::Solenoid => format!(
            "<rect class=\"s\" x=\"{}\" y=\"{}\" width=\"16\" height=\"10\"/><path class=\"l\" d=\"M{} {}l16 -10\"/>",
            x - 8,
            y - 5,
            x - 8,
            y + 5
        ),
        Figure::Relay => {
            let coil = shape.pins.iter().find(|pin| pin.name == "x1" || pin.name == "en");
            coil.map_or_else(String::new, |pin| {
                let y = middle(pin.at).1;
                format!(
                    "<rect class=\"s\" x=\"{}\" y=\"{}\" width=\"16\" height=\"10\"/><path class=\"l\" d=\"M{} {}l16 -10\"/>",
                    x - 8,
                    y - 5,
                    x - 8,
                    y + 5
                )
            })
        }
        Figure::Wire
        | Figure::ConnectorPin
        | Figure::Ground
        | Figure::Fuse
        | Figure::Breaker
        | Figure::Diode
        | Figure::Resistor
        | Figure::Shunt
        | Figure::Contact
        | Figure::Flasher
        | Figure::Feeder
        | Figure::Splice
        | Figure::Stud
        | Figure::Selector
        | Figure::Mechanism => String::new(),
    };
    out.push_str(&drawn);
    out.push('\n');
}

fn emblem_text(x: i32, y: i32, letters: &str) -> String {
    format!("<text x=\"{x}\" y=\"{}\" class=\"t\" text-anchor=\"middle\">{letters}</text>", y + 4)
}

/// The legend: symbols, then states and marks where any are shown; wrapped to the picture.
fn legend_rows(drawing: &Drawing, overlay: &Overlay) -> Vec<String> {
    let has = |figure| drawing.shapes.iter().any(|shape| shape.figure == figure);
    let mut entries: Vec<(String, &str)> = Vec::new();
    let mut of = |figure, closed, word| {
        if has(figure) {
            let mut sample = String::new();
            symbol(&mut sample, (20, 8), (figure, closed), "");
            entries.push((sample.trim_end().to_owned(), word));
        }
    };
    of(Figure::Fuse, true, "fuse");
    of(Figure::Breaker, true, "circuit breaker");
    of(Figure::Contact, false, "switch");
    of(Figure::Diode, true, "diode");
    of(Figure::Resistor, true, "resistor");
    of(Figure::Shunt, true, "shunt");
    let line = |class: &str| format!("<path class=\"{class}\" d=\"M4 8H36\"/>");
    let grounded = |shape: &Shape| shape.pins.iter().any(Pin::is_grounded);
    if drawing.shapes.iter().any(grounded) {
        let mark = "<path class=\"l\" d=\"M10 8H20M20 2v12M23 4v8M26 6v4\"/>";
        entries.push((mark.to_owned(), "airframe"));
    }
    entries.push((
        "<path class=\"l\" d=\"M4 8H36M20 0V16\"/><circle class=\"f\" cx=\"20\" cy=\"8\" r=\"3\"/>"
            .to_owned(),
        "joined",
    ));
    entries.push(("<path class=\"l\" d=\"M4 8H36M20 0V16\"/>".to_owned(), "not joined"));
    if drawing.lines.iter().any(|line| line.nets.len() > 1) {
        let tick =
            "<path class=\"l\" d=\"M17 13l6 -10\"/><text x=\"23\" y=\"5\" class=\"t\">2</text>";
        entries.push((line("l") + tick, "bundle of lines"));
    }
    if !overlay.lines.is_empty() {
        entries.push((line("l e"), "energised"));
        entries.push((line("l d"), "dead"));
        let arrow = "<path class=\"f\" d=\"M24 4l-9 4.5l9 4.5z\"/>";
        entries.push((line("l b") + arrow, "fed backwards"));
        entries.push((line("l p"), "some lines of a bundle"));
    }
    if overlay.marks.iter().any(Option::is_some) {
        for (mark, word) in
            [(Mark::Suspect, "suspect"), (Mark::Cleared, "cleared"), (Mark::Excluded, "excluded")]
        {
            let sample = format!("<text x=\"16\" y=\"12\" class=\"n\">{}</text>", sign(mark));
            entries.push((sample, word));
        }
    }
    let room = drawing.columns.max(LEAST_COLUMNS) * WIDE;
    let mut rows = vec![String::new()];
    let mut x = 0;
    for (sample, word) in entries {
        let wide = 44 + 7 * word.chars().count() as i32 + 20;
        if x > 0 && x + wide > room {
            rows.push(String::new());
            x = 0;
        }
        let row = rows.last_mut().expect("there is always a row");
        let _ = write!(
            row,
            "<g transform=\"translate({x},0)\">{sample}<text x=\"44\" y=\"12\" class=\"t\">{word}</text></g>"
        );
        x += wide;
    }
    rows
}
