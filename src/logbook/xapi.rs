//! Attempts as statements for a learning record store: the Experience API, IEEE 9274.1.1-2023.

use jiff::Timestamp;
use serde_json::{Value, json};

use super::class::Judged;
use super::digest;

/// Where identifiers of activities and verbs of our own stand; nothing need be there.
const HERE: &str = "https://halfsplit.example/";

/// The verb of an attempt whose call was proven and right, and of any other. They are of the
/// vocabulary that ADL publishes (adlnet.gov/expapi/verbs).
const PASSED: (&str, &str) = ("http://adlnet.gov/expapi/verbs/passed", "passed");
const FAILED: (&str, &str) = ("http://adlnet.gov/expapi/verbs/failed", "failed");

/// An identifier as the Experience API wants it: the 32 digits of an attempt in the groups of
/// a UUID (RFC 9562), its version and variant bits set. Of an id that is something else, as a
/// hand-in may have, the digest stands for it, so that no two fall together.
fn uuid(id: &str) -> String {
    let is_usual = id.len() == 32 && id.chars().all(|c| c.is_ascii_hexdigit());
    let usual = if is_usual { id.to_ascii_lowercase() } else { digest(&[id]) };
    let mut digits: Vec<char> = usual.chars().collect();
    digits[12] = '8';
    digits[16] = 'a';
    let text: String = digits.into_iter().collect();
    [&text[..8], &text[8..12], &text[12..16], &text[16..20], &text[20..]].join("-")
}

/// A name as part of an IRI: what is not a letter, a digit or one of `-._~/` is percent-encoded
/// (RFC 3986).
fn encoded(name: &str) -> String {
    use std::fmt::Write as _;
    let mut out = String::new();
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

/// Minutes as an ISO 8601 duration, to the hundredth of a second.
fn duration(minutes: f64) -> String {
    format!("PT{:.2}S", minutes * 60.0)
}

/// The statement of an attempt; none for one that was not called.
pub fn statement_of(one: &Judged) -> Option<Value> {
    (!one.called.is_empty()).then(|| statement(one))
}

fn statement(one: &Judged) -> Value {
    let passed = one.right && one.proven;
    let (verb, word) = if passed { PASSED } else { FAILED };
    // No version: a store takes the statement for one of its own, be that 1.0 or 2.0.
    let mut statement = json!({
        "id": uuid(&one.id),
        "actor": {
            "objectType": "Agent",
            "account": { "homePage": HERE, "name": &*one.trainee },
        },
        "verb": { "id": verb, "display": { "en": word } },
        "object": {
            "objectType": "Activity",
            "id": format!("{HERE}drills/{}", encoded(&one.drill)),
            "definition": {
                "type": "http://adlnet.gov/expapi/activities/simulation",
                "name": { "en": &*one.drill },
            },
        },
        "result": {
            "completion": true,
            "success": passed,
            "duration": duration(one.minutes),
            "score": { "scaled": (one.points / 100.0).clamp(-1.0, 1.0), "raw": one.points, "min": 0, "max": 100 },
            "response": &*one.called,
            "extensions": {
                format!("{HERE}par-minutes"): one.par_minutes,
                format!("{HERE}cautions"): one.cautions,
            },
        },
        "context": { "platform": format!("halfsplit {}", env!("CARGO_PKG_VERSION")), "language": "en" },
    });
    // What a hand-in gives as a time may be anything; a wrong one makes a store refuse all.
    if let Ok(ended) = one.ended.parse::<Timestamp>() {
        statement["timestamp"] = format!("{ended:.3}").into();
    }
    statement
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identifiers_have_the_form_of_rfc_9562_and_3986() {
        let id = uuid("0123456789abcdef0123456789abcdef");
        assert_eq!(id, "01234567-89ab-8def-a123-456789abcdef");
        assert_ne!(uuid("somebody's own"), uuid("another"));
        assert_eq!(uuid("x").len(), 36);
        assert_eq!(encoded("a b/ü"), "a%20b/%C3%BC");
        assert_eq!(duration(1.5), "PT90.00S");
    }
}
