//! A pointer swings to its new place; until it has settled nothing tells where that is.

use std::time::Duration;

use halfsplit::screen::{App, SETTLES, Theme};

use super::{drill, picture, press, still, system, text};

const SIZE: (u16, u16) = (120, 36);

/// On the flight deck, about to turn the meter's selector from OFF to a live bus.
fn about_to_turn(theme: Theme) -> App {
    let mut app = drill(system("t4-ac"), "F-FLT-C:open", theme);
    app.at(Duration::from_secs(5));
    press(&mut app, "Enter");
    picture(&mut app, SIZE);
    press(&mut app, "/ 'set' Space 'vsel' Space 'c1' Space 'a'");
    app
}

#[test]
fn it_ends_as_the_still_screen_and_tells_nothing_before() {
    let mut moving = about_to_turn(Theme::new(true).with_motion(true));
    let mut at_rest = about_to_turn(Theme::new(true));
    press(&mut moving, "Enter");
    press(&mut at_rest, "Enter");
    let end = still(&at_rest, SIZE);
    let told = text(&end);
    let words = told
        .lines()
        .find_map(|line| line.split("AC VOLTS: ").nth(1))
        .expect("the notebook tells what the meter reads")
        .split(&[';', '│'][..])
        .next()
        .expect("there are words")
        .trim()
        .to_owned();
    assert!(words.len() > 5, "{words}");
    assert!(moving.is_moving() && !at_rest.is_moving());
    let began = Duration::from_secs(5);
    let mut frames = Vec::new();
    for millis in (0..SETTLES.as_millis() as u64).step_by(33) {
        moving.at(began + Duration::from_millis(millis));
        assert!(moving.is_moving());
        let frame = still(&moving, SIZE);
        let seen = text(&frame);
        assert!(!seen.contains(&words), "{words} is told after {millis} ms:\n{seen}");
        assert!(seen.contains("settling"), "{seen}");
        frames.push(frame);
    }
    frames.dedup();
    assert!(frames.len() > 5, "only {} pictures differ", frames.len());
    moving.at(began + SETTLES);
    assert!(!moving.is_moving());
    assert_eq!(still(&moving, SIZE), end);
}

#[test]
fn nothing_moves_when_nothing_changed_or_it_was_asked_to_be_still() {
    let mut app = drill(system("t4-ac"), "F-FLT-C:open", Theme::new(true).with_motion(true));
    for keys in ["Enter", "Right", "Left", "?", "Esc", "Space", "g", "Esc"] {
        press(&mut app, keys);
        assert!(!app.is_moving(), "{keys}");
    }
    let mut app = about_to_turn(Theme::new(true));
    press(&mut app, "Enter");
    assert!(!app.is_moving());
}

#[test]
fn a_key_lets_it_settle_at_once() {
    let mut app = about_to_turn(Theme::new(true).with_motion(true));
    press(&mut app, "Enter");
    assert!(app.is_moving());
    press(&mut app, "n");
    assert!(!app.is_moving());
}
