//! Contrast of everything a theme can draw, computed.
//!
//! The measure is the contrast ratio of WCAG 2.2, success criterion 1.4.3: at least 4.5
//! to 1 for text. It is computed for black and white, the backgrounds that terminals come
//! with; where a theme knows the background, for that one alone.

use halfsplit::screen::{Background, Colours, Theme};
use ratatui::style::{Color, Modifier, Style};

pub(super) type Rgb = (u8, u8, u8);

const BLACK: Rgb = (0, 0, 0);
const WHITE: Rgb = (255, 255, 255);

/// The sixteen colours of xterm: `XTerm-col.ad` of its source, the names as in X11's
/// `rgb.txt`.
pub(super) const XTERM: [Rgb; 16] = [
    (0, 0, 0),
    (205, 0, 0),
    (0, 205, 0),
    (205, 205, 0),
    (0, 0, 238),
    (205, 0, 205),
    (0, 205, 205),
    (229, 229, 229),
    (127, 127, 127),
    (255, 0, 0),
    (0, 255, 0),
    (255, 255, 0),
    (92, 92, 255),
    (255, 0, 255),
    (0, 255, 255),
    (255, 255, 255),
];

/// Those of the VGA text mode: the column "Standard VGA colors" of the table of terminal
/// colours at `liquisearch.com/ansi_escape_code/colors`.
const VGA: [Rgb; 16] = [
    (0, 0, 0),
    (170, 0, 0),
    (0, 170, 0),
    (170, 85, 0),
    (0, 0, 170),
    (170, 0, 170),
    (0, 170, 170),
    (170, 170, 170),
    (85, 85, 85),
    (255, 85, 85),
    (85, 255, 85),
    (255, 255, 85),
    (85, 85, 255),
    (255, 85, 255),
    (85, 255, 255),
    (255, 255, 255),
];

/// A colour of the 256: the formula of `256colres.pl` in xterm's source.
fn indexed(index: u8, sixteen: &[Rgb; 16]) -> Rgb {
    let level = |n: u8| if n == 0 { 0 } else { 55 + 40 * n };
    match index {
        0..=15 => sixteen[usize::from(index)],
        16..=231 => {
            let n = index - 16;
            (level(n / 36), level(n / 6 % 6), level(n % 6))
        }
        232..=255 => {
            let grey = 8 + 10 * (index - 232);
            (grey, grey, grey)
        }
    }
}

/// A colour as red, green and blue; the terminal's own is `default`.
pub(super) fn rgb(color: Color, sixteen: &[Rgb; 16], default: Rgb) -> Rgb {
    let named = [
        Color::Black,
        Color::Red,
        Color::Green,
        Color::Yellow,
        Color::Blue,
        Color::Magenta,
        Color::Cyan,
        Color::Gray,
        Color::DarkGray,
        Color::LightRed,
        Color::LightGreen,
        Color::LightYellow,
        Color::LightBlue,
        Color::LightMagenta,
        Color::LightCyan,
        Color::White,
    ];
    match color {
        Color::Rgb(r, g, b) => (r, g, b),
        Color::Indexed(index) => indexed(index, sixteen),
        named_color => named
            .iter()
            .position(|known| *known == named_color)
            .map_or(default, |index| sixteen[index]),
    }
}

/// Relative luminance: the definition in WCAG 2.2
/// (`w3c.github.io/wcag/guidelines/relative-luminance.html`).
fn luminance((r, g, b): Rgb) -> f64 {
    let linear = |eight_bit: u8| {
        let s = f64::from(eight_bit) / 255.0;
        if s <= 0.04045 { s / 12.92 } else { libm::pow((s + 0.055) / 1.055, 2.4) }
    };
    0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
}

/// Contrast ratio: (L1 + 0.05) / (L2 + 0.05), the lighter one first (WCAG 2.2).
fn contrast(one: Rgb, other: Rgb) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

const COLOURS: [Colours; 4] = [Colours::None, Colours::Sixteen, Colours::Indexed, Colours::Full];

fn themes() -> Vec<Theme> {
    COLOURS
        .into_iter()
        .flat_map(|colours| {
            [Background::Unknown, Background::Dark, Background::Light]
                .map(|background| Theme::new(true).with_colours(colours).on(background))
        })
        .collect()
}

/// What a theme may stand on: the letters and the background of the terminal.
fn grounds(theme: Theme) -> Vec<(Rgb, Rgb)> {
    match theme.background() {
        Background::Unknown => vec![(WHITE, BLACK), (BLACK, WHITE)],
        Background::Dark => vec![(WHITE, BLACK)],
        Background::Light => vec![(BLACK, WHITE)],
    }
}

fn told(style: Style, sixteen: &[Rgb; 16], (letters, ground): (Rgb, Rgb)) -> (Rgb, Rgb) {
    let fg = rgb(style.fg.unwrap_or(Color::Reset), sixteen, letters);
    let bg = rgb(style.bg.unwrap_or(Color::Reset), sixteen, ground);
    if style.add_modifier.contains(Modifier::REVERSED) { (bg, fg) } else { (fg, bg) }
}

#[test]
fn the_measure_agrees_with_known_values() {
    // WCAG 2.2, definition of contrast ratio: from 1 to 21.
    assert!((contrast(WHITE, BLACK) - 21.0).abs() < 1e-9);
    assert!((contrast(WHITE, WHITE) - 1.0).abs() < 1e-9);
    // The lightest grey that passes on white, #767676, is 4.54 to 1 (from memory).
    assert!((contrast((0x76, 0x76, 0x76), WHITE) - 4.54).abs() < 0.01);
}

#[test]
fn all_text_stands_off_from_its_background_by_four_and_a_half() {
    for theme in themes() {
        for (name, style) in theme.styles() {
            assert!(!style.add_modifier.contains(Modifier::DIM), "{name}: nobody knows how dim");
            // A filled block has no letters.
            if style.fg.is_some() && style.fg == style.bg {
                continue;
            }
            for sixteen in [&XTERM, &VGA] {
                for ground in grounds(theme) {
                    let (fg, bg) = told(style, sixteen, ground);
                    let ratio = contrast(fg, bg);
                    assert!(ratio >= 4.5, "{theme:?}, {name}: {fg:?} on {bg:?} is {ratio:.2}");
                }
            }
        }
    }
}

#[test]
fn states_of_a_lamp_and_the_focus_differ_without_colour() {
    let theme = Theme::new(false);
    for (name, style) in theme.styles() {
        assert!(style.fg.is_none() && style.bg.is_none(), "{name}");
    }
    let of = |wanted: &str| {
        theme.styles().into_iter().find(|(name, _)| name == wanted).expect("it is listed").1
    };
    assert!(of("focus").add_modifier.contains(Modifier::REVERSED));
    assert_ne!(of("red lamp, bright, legend"), of("red lamp, dark, legend"));
}
