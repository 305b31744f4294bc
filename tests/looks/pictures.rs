//! The pictures of the read-me, drawn from the program's own screen.
//!
//! `UPDATE=1 cargo test pictures` draws them anew.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use halfsplit::screen::{Background, Colours, Theme};
use ratatui::buffer::{Buffer, Cell};
use ratatui::style::{Color, Modifier};

use super::{contrast, drill, picture, press, system};

const SIZE: (u16, u16) = (120, 36);
/// Width and height of a cell, and how far its letters stand above its lower edge.
const CELL: (f64, f64) = (8.0, 16.0);
const BELOW: f64 = 4.0;
const GROUND: &str = "#14161a";
const LETTERS: &str = "#d6d8dc";

/// A screen as SVG: backgrounds, dots and blocks as shapes, letters as text held to the
/// grid, so that no font can pull them out of their columns.
fn svg(buffer: &Buffer, title: &str) -> String {
    let (columns, rows) = (buffer.area.width, buffer.area.height);
    let (width, height) = (f64::from(columns) * CELL.0, f64::from(rows) * CELL.1);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" \
         font-family=\"ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace\" \
         font-size=\"13\" xml:space=\"preserve\">\n<title>{title}</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"{GROUND}\"/>\n\
         <g transform=\"translate(8 8)\">\n",
        width + 16.0,
        height + 16.0
    );
    for y in 0..rows {
        let mut x = 0;
        while x < columns {
            let cell = &buffer[(x, y)];
            let run = (x..columns).take_while(|at| alike(&buffer[(*at, y)], cell)).count() as u16;
            let place = (f64::from(x) * CELL.0, f64::from(y) * CELL.1);
            let text: String = (x..x + run).map(|at| buffer[(at, y)].symbol()).collect();
            piece(&mut out, cell, &text, place);
            x += run;
        }
    }
    out.push_str("</g>\n</svg>\n");
    out
}

fn shape(symbol: &str) -> Option<char> {
    let c = symbol.chars().next()?;
    (('\u{2800}'..='\u{28ff}').contains(&c) || "█▌▐─│".contains(c)).then_some(c)
}

fn alike(one: &Cell, other: &Cell) -> bool {
    let look = |cell: &Cell| (cell.fg, cell.bg, cell.modifier, shape(cell.symbol()).is_some());
    look(one) == look(other)
}

fn paint(color: Color, default: &str) -> String {
    match color {
        Color::Reset => default.to_owned(),
        other => {
            let (r, g, b) = contrast::rgb(other, &contrast::XTERM, (0, 0, 0));
            format!("#{r:02x}{g:02x}{b:02x}")
        }
    }
}

fn piece(out: &mut String, cell: &Cell, text: &str, (x, y): (f64, f64)) {
    let count = text.chars().count() as f64;
    let (mut fg, mut bg) = (paint(cell.fg, LETTERS), paint(cell.bg, GROUND));
    if cell.modifier.contains(Modifier::REVERSED) {
        std::mem::swap(&mut fg, &mut bg);
    }
    if bg != GROUND {
        let width = count * CELL.0;
        writeln!(
            out,
            "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{}\" fill=\"{bg}\"/>",
            CELL.1
        )
        .expect("a string takes all");
    }
    if text.trim().is_empty() {
        return;
    }
    if shape(cell.symbol()).is_some() {
        let mut path = String::new();
        for (index, c) in text.chars().enumerate() {
            outline(&mut path, c, (x + index as f64 * CELL.0, y));
        }
        writeln!(out, "<path d=\"{path}\" fill=\"{fg}\"/>").expect("a string takes all");
        return;
    }
    let bold = if cell.modifier.contains(Modifier::BOLD) { " font-weight=\"bold\"" } else { "" };
    let lead = text.chars().take_while(|c| *c == ' ').count() as f64;
    let shown = text.trim();
    let from = x + lead * CELL.0;
    let length = shown.chars().count() as f64 * CELL.0;
    let escaped = shown.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    writeln!(
        out,
        "<text x=\"{from}\" y=\"{}\" textLength=\"{length}\" lengthAdjust=\"spacingAndGlyphs\" \
         fill=\"{fg}\"{bold}>{escaped}</text>",
        y + CELL.1 - BELOW
    )
    .expect("a string takes all");
}

/// The outline of a character that is a shape.
fn outline(path: &mut String, c: char, (x, y): (f64, f64)) {
    let mut bar = |x: f64, y: f64, width: f64, height: f64| {
        write!(path, "M{x} {y}h{width}v{height}h-{width}z").expect("a string takes all");
    };
    match c {
        '█' => bar(x, y, CELL.0, CELL.1),
        '▌' => bar(x, y, CELL.0 / 2.0, CELL.1),
        '▐' => bar(x + CELL.0 / 2.0, y, CELL.0 / 2.0, CELL.1),
        '─' => bar(x, y + 7.5, CELL.0, 1.0),
        '│' => bar(x + 3.5, y, 1.0, CELL.1),
        dots => {
            // The bits of a braille pattern: three rows of two columns, then the fourth.
            const PLACES: [(f64, f64); 8] =
                [(0., 0.), (0., 1.), (0., 2.), (1., 0.), (1., 1.), (1., 2.), (0., 3.), (1., 3.)];
            let bits = dots as u32 - 0x2800;
            for (bit, (column, row)) in PLACES.iter().enumerate() {
                if bits & (1 << bit) != 0 {
                    bar(x + 1.0 + column * 4.0, y + 1.0 + row * 4.0, 2.2, 2.2);
                }
            }
        }
    }
}

fn assets() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("assets")
}

/// Name, system, fault, keys, title.
const PICTURES: [(&str, &str, &str, &str, &str); 3] = [
    (
        "flight-deck",
        "t4-ac",
        "F-FLT-C:open",
        "Enter / 'set' Space 'vsel' Space 'c1' Space 'a' Enter",
        "The flight deck of the Tarnwick T4's AC power system, notebook beside it",
    ),
    (
        "fuse-cabinet",
        "t4-ac",
        "F-FLT-C:open",
        "Enter g 'fuse' Enter Enter / 'pull' Space 'f-flt-c' Enter",
        "The fuse cabinet, one fuse pulled and blown",
    ),
    (
        "dc-deck",
        "t4-dc",
        "BEACON:bulbs-out",
        "Enter",
        "The flight deck of the Tarnwick T4's DC power system",
    ),
];

#[test]
fn pictures_of_the_read_me_are_fresh() {
    let theme = Theme::new(true).with_colours(Colours::Full).on(Background::Dark);
    let read_me = fs::read_to_string(assets().join("../README.md")).expect("there is a read-me");
    for (name, circuit, fault, keys, title) in PICTURES {
        let mut app = drill(system(circuit), fault, theme);
        press(&mut app, keys);
        let drawn = svg(&picture(&mut app, SIZE), title);
        roxmltree::Document::parse(&drawn).expect("it is XML");
        let path = assets().join(format!("{name}.svg"));
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&path, &drawn).expect("the folder can be written");
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == drawn, "assets/{name}.svg is stale: run UPDATE=1 cargo test pictures");
        assert!(read_me.contains(&format!("assets/{name}.svg")), "the read-me shows {name}");
    }
}
