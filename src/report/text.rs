//! Text as it may stand in a page.

/// A text with a capital at its head and a full stop at its end.
pub(super) fn sentence(text: &str) -> String {
    let stop = if text.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{}{stop}", capital(text))
}

/// A text with a capital at its head.
pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    let head: String = chars.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    format!("{head}{}", chars.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::escaped;

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
