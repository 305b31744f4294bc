//! A paper as a package that learning platforms import: 1EdTech Question and Test
//! Interoperability (QTI) 3.0, an assessment test and its items in one text each.

use std::fmt::Write as _;

use super::Question;
use super::paper::{Paper, alternatives, letter};
use crate::diagnostic::escaped;

const NAMESPACE: &str = "http://www.imsglobal.org/xsd/imsqtiasi_v3p0";
const SCHEMA: &str = "https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqti_asiv3p0_v1p0.xsd";

/// What stands at the head of every file.
fn opening(element: &str, attributes: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<{element} xmlns=\"{NAMESPACE}\" \
         xmlns:xsi=\"http://www.w3.org/2001/XMLSchema-instance\" \
         xsi:schemaLocation=\"{NAMESPACE} {SCHEMA}\" {attributes}>\n"
    )
}

impl Paper {
    /// The files of the package: name and text, the manifest first.
    pub fn qti(&self) -> Vec<(String, String)> {
        let mut files = vec![
            ("imsmanifest.xml".to_owned(), self.manifest()),
            ("test.xml".to_owned(), self.test()),
        ];
        for (number, question) in self.questions.iter().enumerate() {
            files.push((item_file(number), item(number, question)));
        }
        files
    }

    fn manifest(&self) -> String {
        let mut out = String::from(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
             <manifest xmlns=\"http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1\" identifier=\"halfsplit-paper\">\n\
             <metadata><schema>QTI Package</schema><schemaversion>3.0.0</schemaversion></metadata>\n\
             <organizations/>\n<resources>\n\
             <resource identifier=\"test\" type=\"imsqti_test_xmlv3p0\" href=\"test.xml\"><file href=\"test.xml\"/>",
        );
        for number in 0..self.questions.len() {
            let _ = write!(out, "<dependency identifierref=\"item-{}\"/>", number + 1);
        }
        out.push_str("</resource>\n");
        for number in 0..self.questions.len() {
            let file = item_file(number);
            let _ = writeln!(
                out,
                "<resource identifier=\"item-{}\" type=\"imsqti_item_xmlv3p0\" href=\"{file}\"><file href=\"{file}\"/></resource>",
                number + 1
            );
        }
        out.push_str("</resources>\n</manifest>\n");
        out
    }

    fn test(&self) -> String {
        let title = escaped(&self.title);
        let mut out = opening(
            "qti-assessment-test",
            &format!("identifier=\"paper-{}\" title=\"{title}\"", self.seed),
        );
        out.push_str("<qti-outcome-declaration identifier=\"SCORE\" cardinality=\"single\" base-type=\"float\"/>\n");
        let _ = write!(
            out,
            "<qti-test-part identifier=\"part\" navigation-mode=\"nonlinear\" submission-mode=\"simultaneous\">\n\
             <qti-time-limits max-time=\"{}\"/>\n\
             <qti-assessment-section identifier=\"section\" title=\"{title}\" visible=\"true\">\n",
            self.terms.minutes(self.questions.len()) * 60
        );
        for number in 0..self.questions.len() {
            let _ = writeln!(
                out,
                "<qti-assessment-item-ref identifier=\"ref-{0}\" href=\"{1}\"/>",
                number + 1,
                item_file(number)
            );
        }
        out.push_str(
            "</qti-assessment-section>\n</qti-test-part>\n<qti-outcome-processing><qti-set-outcome-value identifier=\"SCORE\">\
             <qti-sum><qti-test-variables variable-identifier=\"SCORE\"/></qti-sum></qti-set-outcome-value></qti-outcome-processing>\n\
             </qti-assessment-test>\n",
        );
        out
    }
}

fn item_file(number: usize) -> String {
    format!("item-{:03}.xml", number + 1)
}

fn item(number: usize, question: &Question) -> String {
    let attributes = format!(
        "identifier=\"item-{0}\" title=\"Question {0}\" time-dependent=\"false\" adaptive=\"false\" xml:lang=\"en\"",
        number + 1
    );
    let (choices, right) = alternatives(question);
    let mut out = opening("qti-assessment-item", &attributes);
    let _ = write!(
        out,
        "<qti-response-declaration identifier=\"RESPONSE\" cardinality=\"single\" base-type=\"identifier\">\
         <qti-correct-response><qti-value>{}</qti-value></qti-correct-response></qti-response-declaration>\n\
         <qti-outcome-declaration identifier=\"SCORE\" cardinality=\"single\" base-type=\"float\">\
         <qti-default-value><qti-value>0</qti-value></qti-default-value></qti-outcome-declaration>\n\
         <qti-item-body><qti-choice-interaction response-identifier=\"RESPONSE\" shuffle=\"false\" max-choices=\"1\">\n\
         <qti-prompt>{}</qti-prompt>\n",
        letter(right),
        escaped(&question.text)
    );
    for (at, choice) in choices.iter().enumerate() {
        let _ = writeln!(
            out,
            "<qti-simple-choice identifier=\"{}\">{}</qti-simple-choice>",
            letter(at),
            escaped(choice)
        );
    }
    out.push_str(
        "</qti-choice-interaction></qti-item-body>\n\
         <qti-response-processing template=\"https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/match_correct.xml\"/>\n\
         </qti-assessment-item>\n",
    );
    out
}
