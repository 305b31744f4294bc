//! The fields that every part and every test point has, whatever its kind.

use super::catalogue::{
    FieldDefault::{self, Absent, Required, Text as Word},
    FieldKind, FieldSpec,
};

/// The fields every part has.
pub static PART_FIELDS: [FieldSpec; 8] = [
    text_field("id", Required, "its name, unique in the system"),
    text_field("at", Required, "the station where it is worked on"),
    text_field("label", Absent, "its placard; left out: its id"),
    text_field("seen_at", Absent, "the station where its indication is seen"),
    text_field("panel", Absent, "the panel of its station it is on, one of its `panels`"),
    text_field("group", Absent, "the parts replaced together with it"),
    FieldSpec {
        name: "minutes",
        kind: FieldKind::Number { unit: "min", above: 0.0, most: 10_000.0 },
        default: Absent,
        doc: "minutes to replace it",
    },
    text_field("stock", Word(""), "its stock number"),
];

/// The name of a test point's entry.
pub(super) const TEST_POINT: &str = "TestPoint";

/// The fields of a test point.
pub(super) static TEST_POINT_FIELDS: [FieldSpec; 3] = [
    text_field("id", Required, "its name, unique among the test points"),
    FieldSpec { name: "net", kind: FieldKind::Net, default: Required, doc: "the net it touches" },
    text_field("at", Required, "the station where it can be reached"),
];

const fn text_field(name: &'static str, default: FieldDefault, doc: &'static str) -> FieldSpec {
    FieldSpec { name, kind: FieldKind::Text, default, doc }
}
