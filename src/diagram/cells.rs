//! A drawing as characters in cells, with box-drawing characters or in ASCII.
//!
//! Every state has a sign of its own, so that nothing is lost without colour: energised
//! lines are heavy, dead ones thin, what is fed backwards has arrow heads to the left,
//! excluded parts are dotted.

use super::overlay::{Live, Mark, Overlay};
use super::shape::{Build, Figure, Pin, SYMBOL, Shape, Side, columns};
use super::{Area, Cell, Drawing};

/// What a cell belongs to, for whoever colours it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Class {
    /// Nothing.
    #[default]
    Blank,
    /// A line, or a ground mark.
    Line(Live),
    /// The frame or symbol of a part.
    Part(Live, Option<Mark>),
    /// The name of a part.
    Name(Option<Mark>),
    /// What stands beside or below a name, and the names of pins.
    Text(Option<Mark>),
}

/// Characters in rows and columns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grid {
    /// How many columns.
    pub columns: usize,
    /// How many rows.
    pub rows: usize,
    /// Whether it is written with ASCII characters alone.
    ascii: bool,
    cells: Vec<(char, Class)>,
}

impl Grid {
    /// The cell at a column and row; blank outside.
    pub fn at(&self, column: i32, row: i32) -> (char, Class) {
        let inside = |value: i32, limit: usize| usize::try_from(value).ok().filter(|v| *v < limit);
        match (inside(column, self.columns), inside(row, self.rows)) {
            (Some(column), Some(row)) => self.cells[row * self.columns + column],
            _ => (' ', Class::Blank),
        }
    }

    /// The rows as text, without blanks at their ends.
    pub fn text(&self) -> String {
        let row = |row: usize| {
            let cells = &self.cells[row * self.columns..(row + 1) * self.columns];
            cells.iter().map(|(c, _)| c).collect::<String>().trim_end().to_owned()
        };
        (0..self.rows).map(|at| row(at) + "\n").collect()
    }

    fn put(&mut self, column: i32, row: i32, c: char, class: Class) {
        let inside = column >= 0 && row >= 0;
        let (column, row) = (column as usize, row as usize);
        if inside && column < self.columns && row < self.rows {
            self.cells[row * self.columns + column] = (c, class);
        }
    }

    /// Writes a text, no further than a column; a wide character takes two.
    fn write(&mut self, (column, row): (i32, i32), text: &str, end: i32, class: Class) {
        let mut at = column;
        for c in text.chars() {
            let c = if self.ascii && !c.is_ascii() { plain_letter(c) } else { c };
            let width = unicode_width::UnicodeWidthChar::width(c).unwrap_or(0) as i32;
            if width == 0 || at + width > end {
                continue;
            }
            self.put(at, row, c, class);
            for beyond in 1..width {
                self.put(at + beyond, row, '\0', class);
            }
            at += width;
        }
    }
}

/// The ASCII character that stands for a letter of a name or caption.
fn plain_letter(c: char) -> char {
    match c {
        '…' => '~',
        'µ' | 'μ' => 'u',
        'Ω' => 'R',
        '°' => 'o',
        '–' | '—' | '−' => '-',
        _ => '?',
    }
}

/// Arms of a line at a cell.
const LEFT: usize = 1;
const RIGHT: usize = 2;
const UP: usize = 4;
const DOWN: usize = 8;

/// Characters by the arms of a line: thin, heavy, broken.
const THIN: [char; 16] =
    [' ', '─', '─', '─', '│', '┘', '└', '┴', '│', '┐', '┌', '┬', '│', '┤', '├', '┼'];
const HEAVY: [char; 16] =
    [' ', '━', '━', '━', '┃', '┛', '┗', '┻', '┃', '┓', '┏', '┳', '┃', '┫', '┣', '╋'];
const BROKEN: [char; 16] =
    [' ', '╍', '╍', '╍', '╏', '┛', '┗', '┻', '╏', '┓', '┏', '┳', '╏', '┫', '┣', '╋'];
const PLAIN_THIN: [char; 16] =
    [' ', '-', '-', '-', '|', '\'', '\'', '+', '|', '.', '.', '+', '|', '+', '+', '+'];
const PLAIN_HEAVY: [char; 16] =
    [' ', '=', '=', '=', 'H', '#', '#', '#', 'H', '#', '#', '#', 'H', '#', '#', '#'];
const PLAIN_BROKEN: [char; 16] =
    [' ', '~', '~', '~', ':', '#', '#', '#', ':', '#', '#', '#', ':', '#', '#', '#'];

/// The signs of one way of writing.
struct Signs {
    ascii: bool,
}

impl Signs {
    fn pick(&self, unicode: &'static str, ascii: &'static str) -> &'static str {
        if self.ascii { ascii } else { unicode }
    }

    fn one(&self, unicode: char, ascii: char) -> char {
        if self.ascii { ascii } else { unicode }
    }

    fn line(&self, live: Live, arms: usize) -> char {
        let set = match (live, self.ascii) {
            (Live::Untold | Live::Dead, false) => &THIN,
            (Live::Energised | Live::Backwards, false) => &HEAVY,
            (Live::Partly, false) => &BROKEN,
            (Live::Untold | Live::Dead, true) => &PLAIN_THIN,
            (Live::Energised | Live::Backwards, true) => &PLAIN_HEAVY,
            (Live::Partly, true) => &PLAIN_BROKEN,
        };
        set[arms]
    }

    /// Two lines that cross without meeting.
    fn crossing(&self, across: Live, down: Live) -> char {
        let heavy = |live| matches!(live, Live::Energised | Live::Backwards | Live::Partly);
        match (heavy(across), heavy(down), self.ascii) {
            (.., true) => '+',
            (false, false, _) => '┼',
            (true, false, _) => '┿',
            (false, true, _) => '╂',
            (true, true, _) => '╋',
        }
    }

    fn mark(&self, mark: Mark) -> char {
        match mark {
            Mark::Suspect => '?',
            Mark::Cleared => self.one('✓', 'v'),
            Mark::Excluded => self.one('×', 'x'),
        }
    }

    /// The symbol of a part in a line.
    fn symbol(&self, figure: Figure, closed: bool) -> &'static str {
        match figure {
            Figure::Fuse if closed => self.pick("[━]", "[=]"),
            Figure::Fuse => "[ ]",
            Figure::Breaker if closed => self.pick("(━)", "(=)"),
            Figure::Breaker => "( )",
            Figure::Diode => self.pick("─▷│", "->|"),
            Figure::Resistor => self.pick("╱╲╱", "/\\/"),
            Figure::Shunt => self.pick("▬▬▬", "###"),
            Figure::Flasher if closed => self.pick("o~o", "o~o"),
            Figure::Contact if closed => self.pick("o─o", "o-o"),
            Figure::Flasher | Figure::Contact => self.pick("o╱o", "o/o"),
            // The others are frames or names.
            _ => "",
        }
    }
}

/// A drawing in cells.
pub fn cells(drawing: &Drawing, overlay: &Overlay, ascii: bool) -> Grid {
    let signs = Signs { ascii };
    let (columns, rows) = (drawing.columns.max(1) as usize, drawing.rows.max(1) as usize);
    let blank = vec![(' ', Class::Blank); columns * rows];
    let mut grid = Grid { columns, rows, ascii, cells: blank };
    lines(&mut grid, drawing, overlay, &signs);
    for shape in &drawing.shapes {
        draw_shape(&mut grid, drawing, shape, overlay, &signs);
    }
    grid
}

fn lines(grid: &mut Grid, drawing: &Drawing, overlay: &Overlay, signs: &Signs) {
    // By cell: the arms of the line that is there, and which line it is.
    let mut taken: Vec<(usize, usize)> = vec![(0, usize::MAX); grid.cells.len()];
    for (number, line) in drawing.lines.iter().enumerate() {
        let live = overlay.live_of_line(number);
        for piece in &line.pieces {
            let level = piece.from.row == piece.to.row;
            let steps = if level {
                piece.to.column - piece.from.column
            } else {
                piece.to.row - piece.from.row
            };
            for step in 0..=steps {
                let (column, row) = if level {
                    (piece.from.column + step, piece.from.row)
                } else {
                    (piece.from.column, piece.from.row + step)
                };
                let (back, on) = if level { (LEFT, RIGHT) } else { (UP, DOWN) };
                let mut arms = 0;
                if step > 0 {
                    arms |= back;
                }
                if step < steps {
                    arms |= on;
                }
                let index = row as usize * grid.columns + column as usize;
                let Some((there, whose)) = taken.get(index).copied() else { continue };
                if whose != usize::MAX && whose != number {
                    let other = overlay.live_of_line(whose);
                    let (across, down) = if level { (live, other) } else { (other, live) };
                    let class = Class::Line(if level { other } else { live });
                    grid.put(column, row, signs.crossing(across, down), class);
                    continue;
                }
                taken[index] = (there | arms, number);
                grid.put(column, row, signs.line(live, there | arms), Class::Line(live));
            }
        }
        for dot in &line.dots {
            grid.put(dot.column, dot.row, signs.one('●', '*'), Class::Line(live));
        }
    }
    for (number, line) in drawing.lines.iter().enumerate() {
        if overlay.live_of_line(number) == Live::Backwards {
            arrows(grid, line, number, &taken, signs);
        }
    }
}

/// Arrow heads to the left in the level pieces of a line that is fed backwards.
fn arrows(
    grid: &mut Grid,
    line: &super::Line,
    number: usize,
    taken: &[(usize, usize)],
    signs: &Signs,
) {
    for piece in line.pieces.iter().filter(|piece| piece.from.row == piece.to.row) {
        let row = piece.from.row;
        let plain = |column: i32| {
            let index = row as usize * grid.columns + column as usize;
            taken.get(index) == Some(&(LEFT | RIGHT, number))
                && grid.at(column, row).0 == signs.line(Live::Backwards, LEFT | RIGHT)
        };
        let places: Vec<i32> =
            (piece.from.column..=piece.to.column).filter(|column| plain(*column)).collect();
        if let Some(middle) = places.get(places.len() / 2) {
            let class = Class::Line(Live::Backwards);
            grid.put(*middle, row, signs.one('◄', '<'), class);
        }
    }
}

/// How the line at a pin is fed.
fn live_at(drawing: &Drawing, overlay: &Overlay, pin: &Pin) -> Live {
    let line = drawing.lines.iter().position(|line| line.nets == pin.nets);
    line.map_or(Live::Untold, |line| overlay.live_of_line(line))
}

fn draw_shape(grid: &mut Grid, drawing: &Drawing, shape: &Shape, overlay: &Overlay, signs: &Signs) {
    let mark = overlay.mark_of(shape);
    let part = Class::Part(overlay.live_of(shape), mark);
    let area = shape.area;
    let sign = mark.map(|mark| signs.mark(mark));
    match shape.figure.build() {
        Build::InLine => in_line(grid, drawing, shape, overlay, (signs, sign)),
        Build::Open => {
            let after = match overlay.position_of(shape) {
                "" => shape.caption.as_str(),
                position => position,
            };
            let name = columns(&shape.name);
            grid.write((area.left, area.top), &shape.name, area.right(), Class::Name(mark));
            let place = (area.left + name + 1, area.top);
            grid.write(place, after, area.right(), Class::Text(mark));
            if let Some(sign) = sign {
                grid.put(area.right() - 1, area.top, sign, Class::Name(mark));
            }
            let row = area.top + 1;
            let middle = area.left + (area.columns - 3) / 2;
            for pin in &shape.pins {
                let live = live_at(drawing, overlay, pin);
                let columns = if pin.side == Side::Left {
                    area.left..middle
                } else {
                    middle + 3..area.right()
                };
                for column in columns {
                    grid.put(column, row, signs.line(live, LEFT | RIGHT), Class::Line(live));
                }
            }
            let closed = shape.joints.iter().any(|joint| overlay.is_closed(shape, *joint));
            let symbol = signs.symbol(shape.figure, closed);
            grid.write((middle, row), symbol, area.right(), part);
        }
        Build::Framed => framed(grid, drawing, shape, overlay, (signs, sign)),
    }
    for pin in &shape.pins {
        if pin.is_grounded() {
            grid.put(pin.at.column, pin.at.row, signs.one('≡', '='), Class::Line(Live::Untold));
        } else if pin.nets.len() > 1 {
            let first = if pin.side == Side::Left { pin.at.column - 1 } else { pin.at.column };
            let live = live_at(drawing, overlay, pin);
            let count = char::from_digit(pin.nets.len() as u32, 10).unwrap_or('n');
            grid.put(first, pin.at.row, '/', Class::Line(live));
            grid.put(first + 1, pin.at.row, count, Class::Line(live));
        }
    }
}

fn in_line(
    grid: &mut Grid,
    drawing: &Drawing,
    shape: &Shape,
    overlay: &Overlay,
    (signs, sign): (&Signs, Option<char>),
) {
    let area = shape.area;
    let mark = overlay.mark_of(shape);
    let live = |side| {
        let pin = shape.pins.iter().find(|pin| pin.side == side);
        pin.map_or(Live::Untold, |pin| live_at(drawing, overlay, pin))
    };
    let first = sign.map_or_else(
        || (signs.line(live(Side::Left), LEFT | RIGHT), Class::Line(live(Side::Left))),
        |sign| (sign, Class::Name(mark)),
    );
    grid.put(area.left, area.top, first.0, first.1);
    grid.write((area.left + 1, area.top), &shape.name, area.right(), Class::Name(mark));
    // Below the name, the wires of a cable part from where they stay together.
    let together = |side| shape.pins.iter().any(|pin| pin.side == side && pin.nets.len() > 1);
    for row in area.top + 1..area.bottom() {
        let last = row + 1 == area.bottom();
        let below = if last { 0 } else { DOWN };
        let live = overlay.live_of(shape);
        for column in area.left..area.right() {
            let arms = if column == area.left && together(Side::Left) {
                UP | RIGHT | below
            } else if column + 1 == area.right() && together(Side::Right) {
                UP | LEFT | below
            } else {
                LEFT | RIGHT
            };
            grid.put(column, row, signs.line(live, arms), Class::Line(live));
        }
    }
}

fn framed(
    grid: &mut Grid,
    drawing: &Drawing,
    shape: &Shape,
    overlay: &Overlay,
    (signs, sign): (&Signs, Option<char>),
) {
    let Area { left, top, .. } = shape.area;
    let (right, bottom) = (shape.area.right() - 1, shape.area.bottom() - 1);
    let mark = overlay.mark_of(shape);
    let live = overlay.live_of(shape);
    let class = Class::Part(live, mark);
    let (text, name) = (Class::Text(mark), Class::Name(mark));
    let dotted = mark == Some(Mark::Excluded);
    let edge = |arms: usize| match (dotted, arms, signs.ascii) {
        (true, 3, false) => '┄',
        (true, 12, false) => '┆',
        (true, 3, true) => '.',
        (true, 12, true) => ':',
        (true, ..) => signs.line(Live::Dead, arms),
        (false, ..) => signs.line(live, arms),
    };
    for column in left + 1..right {
        grid.put(column, top, edge(LEFT | RIGHT), class);
        grid.put(column, bottom, edge(LEFT | RIGHT), class);
        for row in top + 1..bottom {
            grid.put(column, row, ' ', class);
        }
    }
    for row in top + 1..bottom {
        grid.put(left, row, edge(UP | DOWN), class);
        grid.put(right, row, edge(UP | DOWN), class);
    }
    grid.put(left, top, edge(RIGHT | DOWN), class);
    grid.put(right, top, edge(LEFT | DOWN), class);
    grid.put(left, bottom, edge(RIGHT | UP), class);
    grid.put(right, bottom, edge(LEFT | UP), class);
    grid.write((left + 1, top), &shape.name, right, name);
    let below = match overlay.position_of(shape) {
        "" => shape.caption.as_str(),
        position => position,
    };
    grid.write((left + 1, bottom), below, right, text);
    if live == Live::Backwards {
        grid.put(right - 2, top, signs.one('◄', '<'), class);
    }
    if let Some(sign) = sign {
        grid.put(right - 1, top, sign, name);
    }
    let closed_pins: Vec<usize> = shape
        .joints
        .iter()
        .filter(|joint| overlay.is_closed(shape, **joint))
        .flat_map(|joint| [joint.pins.0, joint.pins.1])
        .collect();
    for (index, pin) in shape.pins.iter().enumerate() {
        let row = pin.at.row;
        let contact = if closed_pins.contains(&index) {
            signs.one('●', '*')
        } else {
            signs.one('○', 'o')
        };
        let wide = columns(&pin.name);
        if pin.side == Side::Left {
            grid.put(left, row, edge_pin(signs, live, UP | DOWN | LEFT), class);
            let from = left + 1 + 2 * i32::from(pin.contact);
            grid.write((from, row), &pin.name, right, text);
            if pin.contact {
                grid.put(left + 1, row, contact, class);
            }
        } else {
            grid.put(right, row, edge_pin(signs, live, UP | DOWN | RIGHT), class);
            let from = right - wide - 2 * i32::from(pin.contact);
            grid.write((from, row), &pin.name, right, text);
            if pin.contact {
                grid.put(right - 1, row, contact, class);
            }
        }
    }
    for joint in shape.joints.iter().filter(|joint| overlay.is_closed(shape, **joint)) {
        bridge(grid, shape, *joint, (signs, drawing, overlay));
    }
    letters(grid, shape, class);
}

/// The edge of a frame where a pin leaves it.
fn edge_pin(signs: &Signs, live: Live, arms: usize) -> char {
    if signs.ascii { '+' } else { signs.line(live, arms) }
}

/// A closed contact between two pins on one row, where there is room to draw it.
fn bridge(
    grid: &mut Grid,
    shape: &Shape,
    joint: super::Joint,
    (signs, drawing, overlay): (&Signs, &Drawing, &Overlay),
) {
    let [a, b] = [joint.pins.0, joint.pins.1].map(|pin| &shape.pins[pin]);
    if a.at.row != b.at.row {
        return;
    }
    let live = live_at(drawing, overlay, a);
    for column in shape.area.left + 2..shape.area.right() - 2 {
        if grid.at(column, a.at.row).0 == ' ' {
            grid.put(column, a.at.row, signs.line(live, LEFT | RIGHT), Class::Line(live));
        }
    }
}

/// The letters of a kind in the middle of its frame, where the row is free.
fn letters(grid: &mut Grid, shape: &Shape, class: Class) {
    let letters = shape.letters.as_str();
    let wide = columns(letters);
    let Area { left, top, columns, rows } = shape.area;
    let middle = Cell { column: left + (columns - wide) / 2, row: top + 1 + (rows - 3) / 2 };
    let free = |at: Cell| (-1..=wide).all(|off| grid.at(at.column + off, at.row).0 == ' ');
    let off_centre = (-2..=2).map(|off| Cell { column: middle.column + off, ..middle });
    let place = [middle].into_iter().chain(off_centre).find(|at| free(*at));
    if let Some(place) = place
        && wide > 0
    {
        grid.write((place.column, place.row), letters, left + columns - 1, class);
    }
}

/// Columns of a symbol, so that shapes leave room for it.
const _: () = assert!(SYMBOL >= 3);
