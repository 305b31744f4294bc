//! Hides a text from a casual look. This keeps nobody out who wants to know: the key is in
//! the program.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use crate::chance::Chance;

/// Bytes that tell whether a seal is whole.
const CHECK_BYTES: usize = 4;

/// A text as it stands sealed in a file. The same text looks different in every drill.
pub fn seal(drill: &str, text: &str) -> String {
    let mut bytes = check(text).to_vec();
    bytes.extend(text.as_bytes());
    blur(drill, &mut bytes);
    URL_SAFE_NO_PAD.encode(bytes)
}

/// The text under a seal; `None` where the seal is damaged or belongs to another drill.
pub fn unseal(drill: &str, sealed: &str) -> Option<String> {
    let mut bytes = URL_SAFE_NO_PAD.decode(sealed.trim()).ok()?;
    blur(drill, &mut bytes);
    let text = String::from_utf8(bytes.split_off(CHECK_BYTES.min(bytes.len()))).ok()?;
    (bytes == check(&text)).then_some(text)
}

/// Mixes bytes with a stream that belongs to the drill; doing it twice undoes it.
fn blur(drill: &str, bytes: &mut [u8]) {
    let mut chance = Chance::stream(0, &format!("seal {drill}"));
    for byte in bytes {
        *byte ^= (chance.unit() * 256.0) as u8;
    }
}

/// The end of the text's FNV-1a sum (public domain).
fn check(text: &str) -> [u8; CHECK_BYTES] {
    let sum = text
        .bytes()
        .fold(0x811c_9dc5_u32, |sum, byte| (sum ^ u32::from(byte)).wrapping_mul(0x0100_0193));
    sum.to_le_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seal_hides_opens_and_tells_damage() {
        let text = "(cause: \"F1:open\")";
        let sealed = seal("first", text);
        assert!(!sealed.contains("F1"));
        assert_eq!(unseal("first", &sealed).as_deref(), Some(text));
        assert_eq!(unseal("second", &sealed), None);
        let mut damaged = sealed.clone();
        damaged.replace_range(8..9, if &sealed[8..9] == "A" { "B" } else { "A" });
        assert_eq!(unseal("first", &damaged), None);
        for odd in ["", "A", "é", "====", "AAAA"] {
            assert_eq!(unseal("first", odd), None, "{odd}");
        }
    }
}
