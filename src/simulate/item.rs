//! Parts: how long each lives, how it wears, when the crew means to renew it.
//!
//! In: the truth of a component at a slot and random sources. Out: [`Item`].
//! Never: clock, files, printing.
//!
//! Two random sources are kept apart. *Nature* draws lives, modes and wear; the *crew*
//! draws the usage at which it means to renew a part. The crew's source never sees a
//! life, so that ends by planned renewal say nothing about the life they cut short
//! (non-informative censoring) and fits of the ledger are not pulled to one side.

use rand_chacha::ChaCha12Rng;

use super::draw;
use super::truth::{ComponentTruth, Seen, Truth, Wear};

/// One part, in a slot or kept aside. Usages in the meter's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Machine usage when it was put in, and the part's own usage then.
    pub fitted_at: f64,
    pub age_then: f64,
    /// Usage at which it fails, and how.
    pub life: f64,
    pub mode: usize,
    /// Usage at which the crew means to renew it.
    pub renew_at: Option<f64>,
    /// Found at fault, but still in.
    pub condemned: bool,
    pub part: Option<String>,
    pub batch: Option<String>,
    pub serial: Option<String>,
    pub wear: Vec<WearLine>,
}

/// How one quantity of a part runs: `new + per_usage · usage`, up to a last usage.
#[derive(Debug, Clone, PartialEq)]
pub struct WearLine {
    /// Which of the truth's quantities.
    pub wear: usize,
    pub new: f64,
    pub per_usage: f64,
    /// From here on it changes no more.
    pub until: f64,
}

impl WearLine {
    /// The quantity at a usage of the part.
    pub fn at(&self, usage: f64) -> f64 {
        self.new + self.per_usage * usage.min(self.until)
    }
}

/// A part in use past the end of its life wears on by so much of its life, and no further:
/// it no longer does the work that wears it.
const PAST_END: f64 = 1.2;

/// What decides a part's life beside chance.
#[derive(Debug, Clone, Copy)]
pub struct Birth {
    /// Scale of its Weibull distribution.
    pub scale: f64,
    /// Usage already on it.
    pub age: f64,
    /// Machine usage when it is put in.
    pub fitted_at: f64,
}

impl Item {
    /// Draws a part of component number `index`.
    pub fn draw(
        truth: &Truth,
        index: usize,
        birth: Birth,
        nature: &mut ChaCha12Rng,
        crew: &mut ChaCha12Rng,
    ) -> Item {
        let component = &truth.components[index];
        let life = draw::draw_weibull_beyond(birth.age, component.shape, birth.scale, nature);
        let mode = draw_mode(component, nature);
        let mut wear: Vec<WearLine> = Vec::new();
        for (number, told) in truth.wear.iter().enumerate() {
            if told.component != component.id {
                continue;
            }
            let drawn = wear_line(number, told, life, nature);
            // Zones of one quantity belong to one surface: they begin and wear alike.
            let same = wear
                .last()
                .filter(|last| truth.wear[last.wear].quantity == told.quantity);
            wear.push(match same {
                Some(last) => WearLine {
                    wear: number,
                    ..last.clone()
                },
                None => drawn,
            });
        }
        Item {
            fitted_at: birth.fitted_at,
            age_then: birth.age,
            life,
            mode,
            renew_at: component.renew_at.map(|usage| {
                usage * (1.0 + component.renew_scatter * draw::normal(crew).clamp(-2.0, 2.0))
            }),
            condemned: false,
            part: None,
            batch: None,
            serial: None,
            wear,
        }
    }

    /// Usage on the part when its machine has run `usage`.
    pub fn age(&self, usage: f64) -> f64 {
        self.age_then + (usage - self.fitted_at)
    }

    /// True where the part has failed in a way that shows only when it is exposed.
    pub fn hides_fault(&self, usage: f64, component: &ComponentTruth) -> bool {
        component.modes[self.mode].seen == Seen::Opening && self.age(usage) >= self.life
    }

    pub fn is_due(&self, usage: f64) -> bool {
        self.renew_at.is_some_and(|at| self.age(usage) >= at)
    }
}

fn draw_mode(component: &ComponentTruth, nature: &mut ChaCha12Rng) -> usize {
    let mut left = draw::uniform(nature) * component.modes.iter().map(|m| m.share).sum::<f64>();
    for (number, mode) in component.modes.iter().enumerate() {
        left -= mode.share;
        if left < 0.0 {
            return number;
        }
    }
    component.modes.len().saturating_sub(1)
}

fn wear_line(number: usize, wear: &Wear, life: f64, nature: &mut ChaCha12Rng) -> WearLine {
    let new = wear.new + wear.new_sd * draw::normal(nature).clamp(-2.0, 2.0);
    let factor = draw::around_one(wear.item_scatter, nature);
    let (per_usage, until) = match wear.at_end {
        Some(end) => ((end - new) / life, PAST_END * life),
        None => (
            wear.per_1000.unwrap_or(0.0) * factor / 1000.0,
            f64::INFINITY,
        ),
    };
    WearLine {
        wear: number,
        new,
        per_usage,
        until,
    }
}
