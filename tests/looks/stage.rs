//! The station as it is seen: panels, guards, breakers, fuses, lamps, at every size and
//! with ASCII alone.

use halfsplit::screen::{Command, Theme};

use super::{drill, picture, press, system, text};

const SIZES: [(u16, u16); 4] = [(80, 24), (120, 36), (200, 60), (240, 70)];

#[test]
fn panels_stand_in_the_order_the_system_gives() {
    let mut app = drill(system("t4-dc"), "BEACON:bulbs-out", Theme::new(true));
    press(&mut app, "Enter");
    let seen = text(&picture(&mut app, (200, 60)));
    let at = |title: &str| seen.find(title).unwrap_or_else(|| panic!("no {title} in\n{seen}"));
    assert!(at("DC POWER") < at("PUMPS AND HEAT"), "{seen}");
    assert!(at("PUMPS AND HEAT") < at("DECK BREAKERS"), "{seen}");
}

#[test]
fn a_guard_is_shown_and_lifted() {
    let mut app = drill(system("t4-ac"), "F-FLT-C:open", Theme::new(true));
    press(&mut app, "Enter");
    let closed = text(&picture(&mut app, (120, 36)));
    assert!(closed.contains("{█} ON"), "{closed}");
    press(&mut app, "/ 'set' Space 'master' Enter");
    let lifted = text(&picture(&mut app, (120, 36)));
    assert!(lifted.contains("{│} ON"), "{lifted}");
    assert!(lifted.contains("lift the guard and throw it"), "{lifted}");
}

#[test]
fn a_fuse_row_tells_number_rating_and_spares() {
    let mut app = drill(system("t4-ac"), "F-FLT-C:open", Theme::new(true));
    press(&mut app, "Enter g 'fuse' Enter Enter");
    let seen = text(&picture(&mut app, (80, 24)));
    assert!(seen.contains("4 A 2 sp") && seen.contains("1 "), "{seen}");
    // What it looks like inside is seen only once it has been pulled.
    assert!(!seen.contains("blown"), "{seen}");
}

#[test]
fn with_ascii_alone_there_is_nothing_else() {
    for name in ["t4-ac", "t4-dc"] {
        let fault = if name == "t4-ac" { "F-FLT-C:open" } else { "BEACON:bulbs-out" };
        let mut app = drill(system(name), fault, Theme::new(true).with_ascii(true));
        for keys in ["", "Enter", "g", "Esc s", "Esc ?", "Esc /", "Esc n", "Esc r", "Esc q"] {
            press(&mut app, keys);
            for size in SIZES {
                let seen = text(&picture(&mut app, size));
                assert!(seen.is_ascii(), "{keys}: {seen}");
                assert!(!seen.contains("??"), "{keys}: {seen}");
            }
        }
    }
}

#[test]
fn a_large_screen_is_used() {
    for name in ["t4-ac", "t4-dc"] {
        let fault = if name == "t4-ac" { "F-FLT-C:open" } else { "BEACON:bulbs-out" };
        let mut app = drill(system(name), fault, Theme::new(true));
        press(&mut app, "Enter");
        for size in SIZES {
            app.update(Command::Resize(size.0, size.1));
            let drawn = picture(&mut app, size);
            // Rows of the stage with something on them, out of those there are.
            let stage = size.1 - 6;
            let used = (1..=stage)
                .filter(|y| (0..size.0 / 2).any(|x| drawn[(x, *y)].symbol() != " "))
                .count();
            assert!(used * 10 >= usize::from(stage) * 5, "{name} {size:?}: {used} of {stage} rows");
        }
    }
}
