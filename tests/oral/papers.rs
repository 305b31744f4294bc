//! Papers and packages.

use crate::program::{data_home, run};

#[test]
fn papers_are_whole_in_every_form() {
    let (code, text, _) = run(&["oral", "t4-dc", "--paper", "20", "--seed", "4"]);
    assert_eq!(code, Some(0));
    assert!(text.contains("20 questions, 25 min, 15 right to pass (75 %)"), "{text}");
    assert_eq!(text.matches("\n- a) ").count(), 20);
    assert_eq!(text.matches("\n- c) ").count(), 20);
    let folder = data_home();
    std::fs::create_dir_all(&folder).expect("a folder");
    let out = folder.join("package");
    let path = out.to_str().expect("text");
    let (code, _, said) =
        run(&["oral", "t4-dc", "--paper", "5", "--seed", "4", "--form", "qti", "--out", path]);
    assert_eq!(code, Some(0), "{said}");
    let mut files = 0;
    for file in std::fs::read_dir(&out).expect("it is there") {
        let text = std::fs::read_to_string(file.expect("a file").path()).expect("text");
        roxmltree::Document::parse(&text).expect("it is XML");
        files += 1;
    }
    assert_eq!(files, 7);
}
