//! Styles: neutral greys, one accent for the focus; amber and red belong to lamps.
//!
//! A theme is a value made once from what was asked for and what the terminal says of
//! itself. Every state has a shape or a word of its own, so that nothing is lost without
//! colour. A background is coloured only together with the letters on it, and the one
//! grey that stands on the terminal's own background is chosen by that background.

use ratatui::style::{Color, Modifier, Style};

use crate::observation::Look;

/// How many colours a terminal shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Colours {
    /// None: bold and reverse alone.
    None,
    /// The sixteen that every coloured terminal has.
    Sixteen,
    /// The 256 of xterm.
    Indexed,
    /// Any.
    Full,
}

/// What is known of the terminal's own background.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Background {
    /// Nothing: what is drawn has to be readable on black and on white.
    Unknown,
    /// It is dark.
    Dark,
    /// It is light.
    Light,
}

/// What was asked for on the command line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wishes {
    /// So many colours, whatever the terminal says.
    pub colours: Option<Colours>,
    /// The background is light.
    pub light: bool,
    /// ASCII characters alone.
    pub ascii: bool,
    /// Nothing moves by itself.
    pub still: bool,
}

/// How things look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    colours: Colours,
    background: Background,
    ascii: bool,
    still: bool,
}

const WHITE: Color = Color::Indexed(231);
const BLACK: Color = Color::Indexed(16);

/// A lamp of one colour: its full light, its dim light, and the letters on full light.
/// The letters on dim light are white.
struct Light {
    full: Color,
    half: Option<Color>,
    letters: Color,
}

impl Theme {
    /// With 256 colours, or with bold and reverse alone; on a background nobody knows,
    /// with all characters, and still.
    pub fn new(colour: bool) -> Self {
        let colours = if colour { Colours::Indexed } else { Colours::None };
        Self { colours, background: Background::Unknown, ascii: false, still: true }
    }

    /// The same theme with so many colours.
    #[must_use]
    pub fn with_colours(self, colours: Colours) -> Self {
        Self { colours, ..self }
    }

    /// The same theme on another background.
    #[must_use]
    pub fn on(self, background: Background) -> Self {
        Self { background, ..self }
    }

    /// The same theme with ASCII characters alone, or with all.
    #[must_use]
    pub fn with_ascii(self, ascii: bool) -> Self {
        Self { ascii, ..self }
    }

    /// The same theme with pointers that swing, or still.
    #[must_use]
    pub fn with_motion(self, motion: bool) -> Self {
        Self { still: !motion, ..self }
    }

    /// The theme for what was asked for and what the environment says; `variable` gives
    /// the value of an environment variable that is set.
    ///
    /// What was asked for comes first. Then `NO_COLOR` with any text in it turns colours
    /// off (no-color.org), `COLORTERM` tells of a terminal that shows any colour and
    /// `TERM` how many otherwise. The last number of `COLORFGBG` is the colour of the
    /// background where a terminal sets it. The first of `LC_ALL`, `LC_CTYPE` and `LANG`
    /// that is set names the character set (POSIX); where none is, nothing speaks
    /// against UTF-8. `HALFSPLIT_STILL` with any text in it keeps pointers from swinging.
    pub fn for_terminal(wishes: &Wishes, variable: impl Fn(&str) -> Option<String>) -> Self {
        let set = |name: &str| variable(name).filter(|value| !value.is_empty());
        let colours = wishes.colours.unwrap_or_else(|| {
            if set("NO_COLOR").is_some() {
                return Colours::None;
            }
            told_colours(set("TERM").as_deref(), set("COLORTERM").as_deref())
        });
        let background = match set("COLORFGBG").as_deref() {
            _ if wishes.light => Background::Light,
            Some(pair) => told_background(pair),
            None => Background::Unknown,
        };
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set);
        let ascii = wishes.ascii || locale.is_some_and(|name| !is_utf8(&name));
        let still = wishes.still || set("HALFSPLIT_STILL").is_some();
        Self { colours, background, ascii, still }
    }

    /// How many colours it uses.
    pub fn colours(self) -> Colours {
        self.colours
    }

    /// The background it is made for.
    pub fn background(self) -> Background {
        self.background
    }

    /// Whether it does with ASCII characters.
    pub fn ascii(self) -> bool {
        self.ascii
    }

    /// Whether nothing moves by itself.
    pub fn still(self) -> bool {
        self.still
    }

    /// What matters.
    #[allow(clippy::unused_self, reason = "asked for like the other styles")]
    pub(super) fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// What is there but need not be read first.
    ///
    /// On an unknown background the grey is the one that stands off from black and white
    /// alike. Of the sixteen colours none does, and how much dimmed letters stand off
    /// nobody can say; there it is plain text, and what matters is bold.
    pub(super) fn quiet(self) -> Style {
        let grey = match (self.colours, self.background) {
            (Colours::Full, Background::Unknown) => Color::Rgb(0x75, 0x75, 0x75),
            (Colours::Full, Background::Dark) => Color::Rgb(0xa3, 0xa3, 0xa3),
            (Colours::Full, Background::Light) => Color::Rgb(0x59, 0x59, 0x59),
            (Colours::Indexed, Background::Unknown) => Color::Indexed(243),
            (Colours::Indexed, Background::Dark) => Color::Indexed(247),
            (Colours::Indexed, Background::Light) => Color::Indexed(240),
            (Colours::Sixteen, Background::Dark) => Color::Gray,
            (Colours::Sixteen, Background::Unknown | Background::Light) | (Colours::None, _) => {
                return Style::new();
            }
        };
        Style::new().fg(grey)
    }

    /// The one thing that has the focus.
    pub(super) fn focus(self) -> Style {
        let bold = Style::new().add_modifier(Modifier::BOLD);
        match self.colours {
            Colours::None => bold.add_modifier(Modifier::REVERSED),
            Colours::Sixteen => bold.fg(Color::White).bg(Color::Blue),
            Colours::Indexed => bold.fg(WHITE).bg(Color::Indexed(24)),
            Colours::Full => bold.fg(Color::Rgb(0xff, 0xff, 0xff)).bg(Color::Rgb(0x0b, 0x4f, 0x78)),
        }
    }

    /// Every style it can give, each with a name.
    pub fn styles(self) -> Vec<(String, Style)> {
        let looks =
            [Look::Bright, Look::Flickering, Look::Flashing, Look::Dim, Look::Glimmer, Look::Dark];
        let mut styles = vec![
            ("strong".to_owned(), self.strong()),
            ("quiet".to_owned(), self.quiet()),
            ("focus".to_owned(), self.focus()),
            ("collar".to_owned(), self.collar()),
        ];
        for colour in ["red", "amber", "green", "blue", "white"] {
            for look in looks {
                let (legend, light) = self.lamp(colour, look);
                let name = format!("{colour} lamp, {}", look.word());
                styles.push((format!("{name}, legend"), legend));
                styles.push((format!("{name}, light"), light));
            }
        }
        styles
    }

    /// The white collar of a breaker that has popped.
    pub(super) fn collar(self) -> Style {
        let bold = Style::new().add_modifier(Modifier::BOLD);
        match self.colours {
            Colours::None => bold.add_modifier(Modifier::REVERSED),
            Colours::Sixteen => bold.fg(Color::Black).bg(Color::White),
            Colours::Indexed | Colours::Full => bold.fg(BLACK).bg(WHITE),
        }
    }

    fn light(self, colour: &str) -> Light {
        let indexed = |full, half, letters| Light {
            full: Color::Indexed(full),
            half: Some(Color::Indexed(half)),
            letters,
        };
        // Of the sixteen none is dark enough for dim light in every terminal.
        let sixteen = |full, letters| Light { full, half: None, letters };
        match (self.colours, colour) {
            (Colours::Sixteen, "red") => sixteen(Color::Red, Color::White),
            (Colours::Sixteen, "green") => sixteen(Color::Green, Color::Black),
            (Colours::Sixteen, "blue") => sixteen(Color::Blue, Color::White),
            (Colours::Sixteen, "white") => sixteen(Color::White, Color::Black),
            (Colours::Sixteen, _) => sixteen(Color::LightYellow, Color::Black),
            (_, "red") => indexed(160, 88, WHITE),
            (_, "green") => indexed(34, 22, BLACK),
            (_, "blue") => indexed(33, 18, BLACK),
            (_, "white") => indexed(231, 240, BLACK),
            // Amber, and any colour this table does not know.
            (_, _) => indexed(214, 94, BLACK),
        }
    }

    /// Legend of a lamp of a colour in one of its states, and the light around it.
    pub(super) fn lamp(self, colour: &str, look: Look) -> (Style, Style) {
        let bold = Style::new().add_modifier(Modifier::BOLD);
        let lit = matches!(look, Look::Bright | Look::Flickering | Look::Flashing);
        if self.colours == Colours::None {
            let style = match look {
                _ if lit => bold.add_modifier(Modifier::REVERSED),
                Look::Dim => bold,
                _ => Style::new(),
            };
            return (style, if lit { bold } else { style });
        }
        let light = self.light(colour);
        match look {
            Look::Bright => {
                let legend = bold.fg(light.letters).bg(light.full);
                // A full block is light itself; the sign that stands for it is a letter.
                let block = Style::new().fg(light.full).bg(light.full);
                (legend, if self.ascii { legend } else { block })
            }
            // Light that comes and goes is told by its marks, which have to be seen.
            Look::Flickering | Look::Flashing => {
                let legend = bold.fg(light.letters).bg(light.full);
                (legend, legend)
            }
            Look::Dim => {
                let style = light.half.map_or(bold, |half| Style::new().fg(WHITE).bg(half));
                (style, style)
            }
            Look::Glimmer => (Style::new(), Style::new()),
            _ => (self.quiet(), self.quiet()),
        }
    }
}

/// The colours a terminal of this name shows.
fn told_colours(term: Option<&str>, colorterm: Option<&str>) -> Colours {
    match (term, colorterm) {
        (Some("dumb" | "vt100" | "vt102" | "vt220"), _) => Colours::None,
        (Some(term), _) if term.ends_with("-mono") || term.ends_with("-m") => Colours::None,
        (_, Some("truecolor" | "24bit")) => Colours::Full,
        (Some(term), _) if term.contains("direct") => Colours::Full,
        (Some(term), _) if term.contains("256") => Colours::Indexed,
        (Some(_), _) => Colours::Sixteen,
        (None, _) => Colours::Indexed,
    }
}

/// `15;0`, or `15;default;0`: letters first, background last. Of the first eight colours
/// only white is light, of the others only the grey that stands for bright black is dark.
fn told_background(pair: &str) -> Background {
    match pair.rsplit(';').next().and_then(|last| last.parse::<u8>().ok()) {
        Some(0..=6 | 8) => Background::Dark,
        Some(7 | 9..=15) => Background::Light,
        _ => Background::Unknown,
    }
}

/// Whether a locale's character set is UTF-8: `en_GB.UTF-8`, `C.utf8`.
fn is_utf8(locale: &str) -> bool {
    let name = locale.to_ascii_lowercase();
    name.contains("utf-8") || name.contains("utf8")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(wishes: Wishes, variables: &[(&str, &str)]) -> Theme {
        Theme::for_terminal(&wishes, |name| {
            variables.iter().find(|(known, _)| *known == name).map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn the_terminal_tells_how_many_colours_it_shows() {
        let colours = |variables: &[(&str, &str)]| told(Wishes::default(), variables).colours();
        assert_eq!(colours(&[("TERM", "xterm-256color")]), Colours::Indexed);
        assert_eq!(
            colours(&[("TERM", "xterm-256color"), ("COLORTERM", "truecolor")]),
            Colours::Full
        );
        assert_eq!(colours(&[("TERM", "linux")]), Colours::Sixteen);
        assert_eq!(colours(&[("TERM", "dumb"), ("COLORTERM", "truecolor")]), Colours::None);
        assert_eq!(colours(&[("TERM", "xterm-256color"), ("NO_COLOR", "1")]), Colours::None);
        assert_eq!(colours(&[("TERM", "xterm-256color"), ("NO_COLOR", "")]), Colours::Indexed);
    }

    #[test]
    fn what_was_asked_for_comes_first() {
        let wishes = Wishes { colours: Some(Colours::Full), light: true, ..Wishes::default() };
        let theme = told(wishes, &[("NO_COLOR", "1"), ("COLORFGBG", "15;0")]);
        assert_eq!((theme.colours(), theme.background()), (Colours::Full, Background::Light));
    }

    #[test]
    fn background_and_characters_are_as_the_environment_says() {
        let ground = |pair| told(Wishes::default(), &[("COLORFGBG", pair)]).background();
        assert_eq!(ground("15;0"), Background::Dark);
        assert_eq!(ground("0;default;15"), Background::Light);
        assert_eq!(ground("0;default"), Background::Unknown);
        let ascii = |variables: &[(&str, &str)]| told(Wishes::default(), variables).ascii();
        assert!(!ascii(&[]) && !ascii(&[("LANG", "en_GB.UTF-8")]));
        assert!(ascii(&[("LANG", "en_GB.UTF-8"), ("LC_ALL", "C")]));
        assert!(ascii(&[("LANG", "de_DE.ISO-8859-1")]));
        assert!(told(Wishes::default(), &[("HALFSPLIT_STILL", "1")]).still());
        assert!(!told(Wishes::default(), &[]).still());
    }
}
