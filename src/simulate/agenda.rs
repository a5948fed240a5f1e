//! What the calendar brings a machine: readings, stops, expenses, stated mishaps.
//!
//! In: the truth's dates. Out: what is due, in time order.
//! Never: files, clock, printing.

use chrono::{Datelike, Duration, NaiveDate};

use super::calendar::at;
use super::draw;
use super::machine::Run;
use super::work::Cause;

/// Something the calendar brings, in the order it is dealt with at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Due {
    Reading,
    Expense(usize),
    MeterExchange(usize),
    SentAway(usize),
    CameBack(usize),
    Stop { number: u32, last: bool },
}

impl Run<'_> {
    /// All that the calendar brings, in time order.
    pub(super) fn agenda(&mut self) -> Vec<(i64, Due)> {
        let truth = self.plant.truth;
        let zone = self.plant.zone;
        let record = &truth.record;
        let tag = self.like().tag.clone();
        let stop_day = i64::from(self.like().stop_day.clamp(1, 5)) - 1;
        let mut agenda = Vec::new();
        let first = record.first_day
            - Duration::days(i64::from(record.first_day.weekday().num_days_from_monday()));
        let mut number = 0;
        for (week, monday) in first
            .iter_weeks()
            .take_while(|d| *d <= record.last_day)
            .enumerate()
        {
            let minute = draw::index(50, &mut self.crew) as u32;
            let missed = draw::chance(record.missed_share, &mut self.crew);
            let ends = monday + Duration::days(7) > record.last_day;
            if week > 0 && (ends || !missed) {
                agenda.push((at(monday, 6, 5 + minute, zone), Due::Reading));
            }
            let stop = monday + Duration::days(stop_day);
            if week > 0
                && (week as u32).is_multiple_of(truth.crew.stop_every_weeks)
                && stop <= record.last_day
            {
                number += 1;
                let due = Due::Stop {
                    number,
                    last: false,
                };
                agenda.push((at(stop, 7, 0, zone), due));
            }
            for (which, expense) in truth.expenses.iter().enumerate() {
                if week as u32 % expense.every_weeks == expense.every_weeks / 2 {
                    agenda.push((at(monday, 11, minute, zone), Due::Expense(which)));
                }
            }
        }
        if truth.crew.closing_inspection
            && let Some((_, Due::Stop { last, .. })) = agenda
                .iter_mut()
                .rfind(|(_, due)| matches!(due, Due::Stop { .. }))
        {
            *last = true;
        }
        let days = |which: NaiveDate, hour| at(which, hour, 20, zone);
        for (n, exchange) in truth.meter_exchanges.iter().enumerate() {
            if exchange.machine == tag {
                agenda.push((days(exchange.day, 10), Due::MeterExchange(n)));
            }
        }
        for (n, away) in truth.sent_away.iter().enumerate() {
            if away.machine == tag {
                agenda.push((days(away.out, 9), Due::SentAway(n)));
                agenda.push((days(away.back, 13), Due::CameBack(n)));
            }
        }
        agenda.sort();
        agenda
    }

    /// The stated mishaps of this machine whose day came since the last stop.
    pub(super) fn mishaps(&mut self) -> Vec<(Cause, usize)> {
        let truth = self.plant.truth;
        let today = self.day();
        let since = today - Duration::weeks(i64::from(truth.crew.stop_every_weeks));
        let now = |day: NaiveDate| since < day && day <= today;
        let tag = &truth.machines[self.machine.like].tag;
        let mut found = Vec::new();
        for damage in truth
            .damages
            .iter()
            .filter(|d| &d.machine == tag && now(d.day))
        {
            if let Some(slot) = self.slot(&damage.component, &damage.position) {
                found.push((Cause::Damaged(damage.note.clone()), slot));
            }
        }
        for new in truth.new_types.iter().filter(|n| now(n.day)) {
            if new.changed_at_once_on.as_ref() == Some(tag) {
                for slot in 0..self.machine.slots.len() {
                    if self.component_id(slot) == new.component {
                        found.push((Cause::NewType, slot));
                    }
                }
            }
        }
        for (number, moved) in truth
            .moves
            .iter()
            .enumerate()
            .filter(|(_, m)| &m.machine == tag)
        {
            if now(moved.out)
                && let Some(slot) = self.slot(&moved.component, &moved.from)
            {
                found.push((Cause::KeptFor(number), slot));
            }
            if now(moved.back)
                && let Some(slot) = self.slot(&moved.component, &moved.to)
            {
                found.push((Cause::MovedHere(number), slot));
            }
        }
        found
    }
}
