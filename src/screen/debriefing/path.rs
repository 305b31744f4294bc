//! What was left over the minutes, beside par's way: bits and faults, drawn side by side.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use crate::report::Scale;
use crate::score::{Path, Point};
use crate::screen::dots::{Dots, Stroke};
use crate::screen::sheet::capital;
use crate::screen::text::{put, put_right, width, wrap};
use crate::screen::theme::Theme;
use crate::units::significant;

/// Columns for the figures of the upright axis.
const FIGURES: u16 = 5;
/// Columns between the two pictures.
const BETWEEN: u16 = 3;
/// Rows of a picture that are no plot: heading, axis, its figures.
const AROUND: u16 = 3;
/// Cells between two figures of the lower axis.
const APART: f64 = 8.0;

/// One picture.
struct Plot {
    heading: &'static str,
    scale: Scale,
    value: fn(&Point) -> f64,
    tick: fn(f64) -> String,
}

/// Draws both pictures, the key and the sentence about proof.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, path: &Path, theme: Theme) {
    let told = wrap(&format!("{}.", capital(&path.proof_told())), area.width);
    let below = told.len() as u16 + 1;
    let height = area.height.saturating_sub(below);
    let columns = area.width.saturating_sub(BETWEEN) / 2;
    if height < AROUND + 3 || columns < FIGURES + 10 {
        put(buffer, area, area.x, area.y, "No room for the path here.", theme.quiet());
        return;
    }
    let rows = f64::from(height - AROUND);
    let par = path.par_points();
    let most =
        |value: fn(&Point) -> f64| path.own.iter().chain(&par).map(value).fold(0.0, f64::max);
    let plots = [
        Plot {
            heading: "DOUBT ABOUT THE REPAIR, IN BITS",
            scale: Scale::even(most(|point| point.bits).max(0.5), (rows / 2.0).min(6.0)),
            value: |point| point.bits.max(0.0),
            tick: |value| significant(value, 3),
        },
        Plot {
            heading: "FAULTS LEFT, HALVED EVERY LINE",
            scale: Scale::halving(most(|point| point.faults as f64), (rows / 2.0) as u32),
            value: |point| libm::log2(point.faults.max(1) as f64),
            tick: |value| format!("{:.0}", libm::exp2(value)),
        },
    ];
    let over = Scale::even(
        most(|point| point.minutes).max(0.1),
        (f64::from(columns - FIGURES) / APART).max(2.0),
    );
    for (at, plot) in (0..).zip(&plots) {
        let x = area.x + at * (columns + BETWEEN);
        let area = Rect { x, width: columns, height, ..area };
        picture(buffer, area, plot, (path, &par, &over), theme);
    }
    let y = area.y + height;
    key(buffer, Rect { y, height: 1, ..area }, theme);
    for (row, line) in (1..).zip(&told) {
        put(buffer, area, area.x, y + row, line, Style::new());
    }
}

fn key(buffer: &mut Buffer, area: Rect, theme: Theme) {
    let ascii = theme.ascii();
    let (own, par) = if ascii { ("#", ".") } else { ("⣿", "⠒ ⠒") };
    let pieces = [
        (own, theme.strong(), "you, by the numbers of your steps"),
        (par, theme.quiet(), "par's way"),
        ("◆", theme.strong(), "provable from here"),
    ];
    let mut x = area.x;
    for (sign, style, word) in pieces {
        if x + width(sign) + 1 + width(word) > area.right() {
            break;
        }
        put(buffer, area, x, area.y, sign, style);
        x += width(sign) + 1;
        put(buffer, area, x, area.y, word, theme.quiet());
        x += width(word) + 3;
    }
}

fn picture(
    buffer: &mut Buffer,
    area: Rect,
    plot: &Plot,
    (path, par, over): (&Path, &[Point], &Scale),
    theme: Theme,
) {
    put(buffer, area, area.x, area.y, plot.heading, theme.quiet());
    let sheet = Rect {
        x: area.x + FIGURES,
        y: area.y + 1,
        width: area.width - FIGURES,
        height: area.height - AROUND,
    };
    // Dots of the sheet: two across and four down in each cell.
    let (across, down) = (2.0 * f64::from(sheet.width) - 1.0, 4.0 * f64::from(sheet.height) - 1.0);
    let place = |point: &Point| {
        let x = across * point.minutes / over.most;
        (x, down * (1.0 - (plot.value)(point) / plot.scale.most))
    };
    let cell_of = |(x, y): (f64, f64)| {
        (sheet.x + (libm::round(x) as u16) / 2, sheet.y + (libm::round(y) as u16) / 4)
    };
    for tick in &plot.scale.ticks {
        let (_, y) = cell_of((0.0, down * (1.0 - tick / plot.scale.most)));
        let figures = Rect { width: FIGURES - 1, ..area };
        put_right(buffer, figures, y, &(plot.tick)(*tick), theme.quiet());
        put(buffer, area, sheet.x - 1, y, "┤", theme.quiet());
    }
    let axis = "─".repeat(usize::from(sheet.width));
    put(buffer, area, sheet.x, sheet.bottom(), &axis, theme.quiet());
    for tick in &over.ticks {
        let (x, _) = cell_of((across * tick / over.most, 0.0));
        put(buffer, area, x, sheet.bottom(), "┬", theme.quiet());
        let mut figure = significant(*tick, 3);
        if *tick == over.most {
            figure.push_str(" min");
        }
        let from = (x + 1).saturating_sub(width(&figure) / 2 + 1).max(sheet.x);
        let from = from.min(area.right().saturating_sub(width(&figure)));
        put(buffer, area, from, sheet.bottom() + 1, &figure, theme.quiet());
    }
    let mut dots = Dots::over(sheet);
    for (points, of_par) in [(par, true), (path.own.as_slice(), false)] {
        let style = if of_par { theme.quiet() } else { theme.strong() };
        for pair in points.windows(2) {
            let ((x0, y0), (x1, y1)) = (place(&pair[0]), place(&pair[1]));
            if of_par {
                broken(&mut dots, (x0, y0), (x1, y0), style);
                broken(&mut dots, (x1, y0), (x1, y1), style);
            } else {
                dots.line((x0, y0), (x1, y0), Stroke::Sign('#'), style);
                dots.line((x1, y0), (x1, y1), Stroke::Sign('#'), style);
            }
        }
    }
    dots.show(buffer, theme.ascii());
    for (after, points, style) in [
        (path.par_provable, par, theme.quiet()),
        (path.provable, path.own.as_slice(), theme.strong()),
    ] {
        if let Some(point) = after.and_then(|after| points.get(after)) {
            let (x, y) = cell_of(place(point));
            put(buffer, sheet, x, y, "◆", style);
        }
    }
    numbers(buffer, sheet, path.own.iter().map(|point| cell_of(place(point))), theme);
}

/// Every other pair of dots of a line.
fn broken(dots: &mut Dots, from: (f64, f64), to: (f64, f64), style: Style) {
    let steps = libm::ceil((to.0 - from.0).abs().max((to.1 - from.1).abs()));
    for step in (0..=steps as u32).filter(|step| step % 4 < 2) {
        let way = if steps > 0.0 { f64::from(step) / steps } else { 0.0 };
        let at = (from.0 + (to.0 - from.0) * way, from.1 + (to.1 - from.1) * way);
        dots.set(at.0, at.1, '.', style);
    }
}

/// The numbers of the steps, each beside the foot of its fall; those that would stand on
/// another are left out.
fn numbers(
    buffer: &mut Buffer,
    sheet: Rect,
    places: impl Iterator<Item = (u16, u16)>,
    theme: Theme,
) {
    let mut taken: Vec<(u16, u16, u16)> = Vec::new();
    for (number, (x, y)) in places.enumerate().skip(1) {
        let text = number.to_string();
        let from = (x + 1).min(sheet.right().saturating_sub(width(&text)));
        let row = if y > sheet.y { y - 1 } else { y + 1 };
        let to = from + width(&text);
        let free =
            taken.iter().all(|(other, left, right)| *other != row || to < *left || from > *right);
        if free && row < sheet.bottom() {
            put(buffer, sheet, from, row, &text, theme.strong());
            taken.push((row, from, to));
        }
    }
}
