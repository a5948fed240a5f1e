//! Parts in no slot: out in a shutdown, or kept to be fitted elsewhere. They do not age.
//!
//! In: a running machine. Out: drafts of the entries that tell of them.
//! Never: files, clock, printing.

use super::body::{Book, by_choice};
use super::item::Item;
use super::machine::Run;
use crate::book::{Event, Reason};

/// Where a part lies that is in no slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Shelf {
    /// Out for the shutdown, by number of the truth's `sent_away`.
    Away(usize),
    /// Kept for another position, by number of the truth's `move`.
    Spare(usize),
}

impl Run<'_> {
    /// Takes a part out in a shutdown; nothing goes in.
    pub(super) fn send_away(&mut self, which: usize) {
        let away = &self.plant.truth.sent_away[which];
        let Some(slot) = self.slot(&away.component, &away.position) else {
            return;
        };
        let Some(item) = self.items[slot].take() else {
            return;
        };
        let event = Event::Removed {
            slot: self.slot_name(slot),
            end: by_choice(Reason::Planned),
        };
        let who = self.fitter();
        let group = self.group(self.now, who, Book::Jobs);
        self.note_down(group, self.now, None, event, Some(away.note.clone()));
        self.lay_aside(Shelf::Away(which), item);
    }

    pub(super) fn put_back(&mut self, which: usize) {
        let away = &self.plant.truth.sent_away[which];
        let Some(slot) = self.slot(&away.component, &away.position) else {
            return;
        };
        let Some(item) = self.take_up(Shelf::Away(which)) else {
            return;
        };
        let event = Event::Installed {
            slot: self.slot_name(slot),
            item: self.fitted(slot, &item),
        };
        let who = self.fitter();
        let group = self.group(self.now, who, Book::Jobs);
        self.note_down(group, self.now, None, event, None);
        self.items[slot] = Some(item);
    }

    /// Puts a part on the shelf, where it does not age.
    pub(super) fn lay_aside(&mut self, shelf: Shelf, mut item: Item) {
        item.age_then = item.age(self.usage);
        self.kept.insert(shelf, item);
    }

    /// Takes a part from the shelf to fit it now.
    pub(super) fn take_up(&mut self, shelf: Shelf) -> Option<Item> {
        let mut item = self.kept.remove(&shelf)?;
        item.fitted_at = self.usage;
        Some(item)
    }
}
