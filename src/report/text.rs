//! Text as it may stand in a page.

use crate::diagnostic::plain;

/// A text with control and direction marks replaced and what means something in HTML
/// written out.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not characters of XML at all.
            '\u{FFFE}' | '\u{FFFF}' => out.push('\u{FFFD}'),
            c => out.push(c),
        }
    }
    out
}

/// The same with a capital at its head and a full stop at its end.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let head: String = chars.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    let stop = if text.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{head}{}{stop}", chars.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_of_a_text_is_taken_for_markup() {
        assert_eq!(
            escaped("<b a='x'>&\"\u{7}\u{202E}"),
            "&lt;b a=&#39;x&#39;&gt;&amp;&quot;\u{FFFD}\u{FFFD}"
        );
        assert_eq!(sentence("pull it"), "Pull it.");
        assert_eq!(sentence("Done."), "Done.");
    }
}
