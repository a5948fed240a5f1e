//! What a renewal should cost by the register alone.
//!
//! In: prices, hours, rates. Out: money. Never: the record of what renewals did cost.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

use super::Register;

/// The register's own figures for one renewal, in the plant's currency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RegisterCosts {
    pub planned: Decimal,
    pub failed: Decimal,
}

impl Register {
    /// The cost of one planned renewal and of one failure of a component, averaged over the
    /// slots that hold it.
    ///
    /// Planned: pieces × price + labour rate × (own + access hours) + planned stop ×
    /// downtime cost; failed: the same with the failed stop, plus the extra cost of a failure.
    /// `None` for an unknown component; a component in no layout counts no access and no
    /// downtime.
    pub fn renewal_costs(&self, id: &str) -> Option<RegisterCosts> {
        let component = self.component(id)?;
        let hours = |h: f64| Decimal::from_f64(h).unwrap_or_default();
        let (mut access, mut downtime) = (Decimal::ZERO, Decimal::ZERO);
        let (mut pieces, mut slots) = (Decimal::ZERO, 0_u32);
        for machine in &self.machines {
            for slot in self.slots(&machine.tag).filter(|slot| slot.component == id) {
                slots += 1;
                downtime += machine.downtime_cost;
                pieces += Decimal::from(slot.pieces);
                access += slot
                    .access
                    .and_then(|a| self.access(a))
                    .map(|a| hours(a.labour_h))
                    .unwrap_or_default();
            }
        }
        let over = Decimal::from(slots.max(1));
        let (access, downtime) = (access / over, downtime / over);
        let pieces = match slots {
            0 => Decimal::from(component.pieces),
            _ => pieces / over,
        };
        let work = pieces * component.price
            + self.plant.labour_rate * (hours(component.own_labour_h) + access);
        Some(RegisterCosts {
            planned: (work + downtime * hours(component.planned_stop_h)).round_dp(2),
            failed: (work
                + downtime * hours(component.failed_stop_h)
                + component.failed_extra_cost)
                .round_dp(2),
        })
    }
}
