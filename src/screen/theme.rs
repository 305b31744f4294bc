//! Styles: neutral greys, one accent for the focus; amber and red belong to lamps.
//!
//! Every state has a shape or a word of its own, so that nothing is lost without
//! colour, on a light terminal or on a dark one.

use ratatui::style::{Color, Modifier, Style};

use crate::observation::Look;

/// How things are coloured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    colour: bool,
}

/// Grey that stands off from a black and from a white background alike (4 to 1).
const GREY: Color = Color::Indexed(244);
/// The accent, as a background under white letters.
const ACCENT: Color = Color::Indexed(24);
const WHITE: Color = Color::Indexed(231);
const BLACK: Color = Color::Indexed(16);

impl Theme {
    /// With colour, or with bold, dim and reverse alone.
    pub fn new(colour: bool) -> Self {
        Self { colour }
    }

    /// What matters.
    #[allow(clippy::unused_self, reason = "asked for like the other styles")]
    pub(super) fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// What is there but need not be read first.
    pub(super) fn quiet(self) -> Style {
        if self.colour { Style::new().fg(GREY) } else { Style::new().add_modifier(Modifier::DIM) }
    }

    /// The one thing that has the focus.
    pub(super) fn focus(self) -> Style {
        if self.colour {
            Style::new().fg(WHITE).bg(ACCENT).add_modifier(Modifier::BOLD)
        } else {
            Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD)
        }
    }

    /// Legend of a lamp of a colour in one of its states, and the light around it.
    pub(super) fn lamp(self, colour: &str, look: Look) -> (Style, Style) {
        let bold = Style::new().add_modifier(Modifier::BOLD);
        let lit = matches!(look, Look::Bright | Look::Flickering);
        if !self.colour {
            let style = match look {
                _ if lit => bold.add_modifier(Modifier::REVERSED),
                Look::Dim => bold,
                _ => Style::new(),
            };
            return (style, if lit { bold } else { style });
        }
        let (full, half, letters) = match colour {
            "red" => (160, 88, WHITE),
            "green" => (34, 22, BLACK),
            "blue" => (33, 18, BLACK),
            "white" => (231, 240, BLACK),
            // Amber, and any colour this table does not know.
            _ => (214, 94, BLACK),
        };
        let (full, half) = (Color::Indexed(full), Color::Indexed(half));
        match look {
            Look::Bright => (bold.fg(letters).bg(full), Style::new().fg(full).bg(full)),
            Look::Flickering => (bold.fg(letters).bg(full), Style::new().fg(full)),
            Look::Dim => (Style::new().fg(WHITE).bg(half), Style::new().fg(half)),
            Look::Glimmer => (Style::new(), Style::new().fg(half)),
            _ => (self.quiet(), self.quiet()),
        }
    }
}
