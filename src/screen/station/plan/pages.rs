//! Panels one at a time, under the names of all, where a station has no room for all of it.

use super::super::super::command::Command;
use super::super::super::text;
use super::{CLOSE_WITH_TITLES, CLOSENESSES, Closeness, Contents, Item, Plan, lay_panel};
use crate::circuit::{Circuit, PartId};
use crate::drill::View;

/// Where one panel is shown at a time, closer layouts are tried as well.
const CLOSER: [Closeness; 4] = [
    Closeness { meter_rows: 8, roomy: false, headings: true, gap: 1, line: 1, beside: true },
    Closeness { meter_rows: 8, roomy: false, headings: true, gap: 0, line: 1, beside: true },
    Closeness { meter_rows: 7, roomy: false, headings: true, gap: 1, line: 1, beside: true },
    Closeness { meter_rows: 7, roomy: false, headings: true, gap: 0, line: 1, beside: true },
];

/// Panels one at a time; `None` where there are not several, or their names have no room.
pub(super) fn paged(
    view: &View,
    circuit: &Circuit,
    (width, height): (u16, u16),
    near: Option<Item>,
) -> Option<Plan> {
    let station = circuit.station(view.station);
    let on_panel = |part: PartId| circuit.part(part).panel.as_ref();
    let mut pages: Vec<(String, Contents)> = Vec::new();
    for panel in &station.panels {
        pages
            .push((panel.clone(), Contents::of(view, |part| on_panel(part) == Some(panel), false)));
    }
    let known = |part: PartId| on_panel(part).is_some_and(|panel| station.panels.contains(panel));
    pages.push(("OTHER".to_owned(), Contents::of(view, |part| !known(part), true)));
    pages.retain(|(_, contents)| !contents.is_empty());
    let columns: u16 = pages.iter().map(|(title, _)| text::width(title) + TAB_EXTRA).sum();
    if pages.len() < 2 || columns > width + 1 {
        return None;
    }
    let rows = height.saturating_sub(TAB_ROWS);
    let all: Vec<Vec<(Item, bool)>> = pages
        .iter()
        .map(|(_, contents)| {
            lay_panel((view, circuit), contents, width, CLOSE_WITH_TITLES, None).everything()
        })
        .collect();
    let holds = |page: &Vec<(Item, bool)>| page.iter().any(|(item, _)| Some(*item) == near);
    let acting = || all.iter().position(|page| page.iter().any(|(_, acts)| *acts));
    let shown = all.iter().position(holds).or_else(acting).unwrap_or(0);
    let contents = &pages[shown].1;
    let fits = CLOSENESSES.iter().chain(&CLOSER).map(|closeness| {
        // The tab is the title.
        let closeness =
            Closeness { headings: closeness.headings && contents.mixed(), ..*closeness };
        lay_panel((view, circuit), contents, width, closeness, None)
    });
    let mut fits: Vec<Plan> = fits.filter(|plan| plan.height <= rows).collect();
    let best = fits.iter().position(|plan| !plan.torn).unwrap_or(0);
    let mut plan = if fits.is_empty() {
        lay_panel((view, circuit), contents, width, CLOSE_WITH_TITLES, None)
    } else {
        fits.swap_remove(best)
    };
    plan.pages = pages
        .into_iter()
        .zip(all)
        .enumerate()
        .map(|(at, ((title, _), items))| Page { title, shown: at == shown, items })
        .collect();
    Some(plan)
}

/// A panel of which only one is shown at a time.
#[derive(Clone, Debug)]
pub(super) struct Page {
    title: String,
    pub(super) shown: bool,
    /// What is on it, and whether one can act on it.
    pub(super) items: Vec<(Item, bool)>,
}

/// The name of a panel above the stage.
#[derive(Clone, Debug)]
pub(in super::super) struct Tab<'a> {
    pub(in super::super) title: &'a str,
    /// Whether it is the panel that is shown.
    pub(in super::super) shown: bool,
    /// What is on it.
    pub(in super::super) items: Vec<Item>,
}

/// Columns beside the name of a panel, and rows of the line of names with a blank one.
const TAB_EXTRA: u16 = 2;
const TAB_ROWS: u16 = 1;

impl Plan {
    /// The names of the panels with their first columns, where one is shown at a time.
    pub(in super::super) fn tabs(&self) -> Vec<(u16, Tab<'_>)> {
        let mut x = 0;
        let mut tabs = Vec::new();
        for page in &self.pages {
            let items = page.items.iter().map(|(item, _)| *item).collect();
            tabs.push((x, Tab { title: &page.title, shown: page.shown, items }));
            x += text::width(&page.title) + TAB_EXTRA;
        }
        tabs
    }

    /// Rows that the names of the panels take.
    pub(in super::super::super) fn rows_of_tabs(&self) -> u16 {
        if self.pages.is_empty() { 0 } else { TAB_ROWS }
    }

    /// The first thing on the panel whose name is there.
    pub(in super::super::super) fn tab_at(&self, column: u16, row: u16) -> Option<Item> {
        if row >= self.rows_of_tabs() {
            return None;
        }
        let tab = self.tabs().into_iter().rev().find(|(x, _)| *x <= column)?.1;
        tab.items.iter().copied().find(|item| self.acts(*item)).or(tab.items.first().copied())
    }

    /// Where an arrow leads that finds nothing beside: to the panel before or after.
    pub(in super::super::super) fn over_the_edge(&self, arrow: Command) -> Option<Item> {
        let shown = self.pages.iter().position(|page| page.shown)?;
        let (to, first) = match arrow {
            Command::Right | Command::Down => (self.pages.get(shown + 1)?, true),
            _ => (&self.pages[shown.checked_sub(1)?], false),
        };
        let items = || to.items.iter().map(|(item, _)| *item);
        if first { items().next() } else { items().next_back() }
    }
}
