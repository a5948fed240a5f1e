//! Names above a row of marks, each with a line down to its mark.
//!
//! In: places along the row and words. Out: levels at which no name touches another name or its
//! line. Never: drawing.

use super::canvas::Type;
use super::palette::{INK, SOFT};
use super::text::fit;

/// A name and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Callout {
    /// The mark's place along the row.
    pub(super) at: f64,
    pub(super) words: String,
    bold: bool,
    /// Left end of the words.
    pub(super) x0: f64,
    /// 0 is next to the row.
    pub(super) level: usize,
}

impl Callout {
    pub(super) fn look(&self) -> Type {
        if self.bold {
            Type::bold(11.0, INK)
        } else {
            Type::new(11.0, SOFT)
        }
    }

    fn width(&self) -> f64 {
        self.look().width(&self.words)
    }
}

/// Returns where up to four names stand between the ends of `room`: to the right or to the left
/// of their marks, in as few levels as may be.
pub(super) fn stand(wanted: Vec<(f64, String, bool)>, room: (f64, f64)) -> Vec<Callout> {
    let mut names: Vec<Callout> = wanted
        .into_iter()
        .map(|(at, words, bold)| Callout {
            at,
            words: fit(&words, 11.0, bold, room.1 - room.0),
            bold,
            x0: at,
            level: 0,
        })
        .collect();
    names.sort_by(|a, b| a.at.total_cmp(&b.at));
    // Each name has two sides and as many levels as there are names.
    let ways = 2 * names.len().max(1);
    let tried = |mut code: usize| -> Vec<Callout> {
        let mut out = names.clone();
        for callout in &mut out {
            let (side, level) = (code % 2, code % ways / 2);
            code /= ways;
            let width = callout.width();
            let wish = if side == 0 {
                callout.at - 3.0
            } else {
                callout.at + 3.0 - width
            };
            callout.x0 = wish.min(room.1 - width).max(room.0);
            callout.level = level;
        }
        out
    };
    let rank = |tried: &Vec<Callout>| {
        let levels = tried.iter().map(|c| c.level);
        let left = tried.iter().filter(|c| c.x0 < c.at - 3.5).count();
        (levels.clone().max(), levels.sum::<usize>() + left)
    };
    let best = (0..ways.pow(names.len() as u32))
        .map(tried)
        .filter(|tried| clear(tried))
        .min_by_key(rank);
    best.unwrap_or_else(|| {
        // Without a way round every line, names at least do not touch each other.
        let last = names.len().saturating_sub(1);
        for (n, callout) in names.iter_mut().enumerate() {
            let width = callout.width();
            callout.x0 = (callout.at - 3.0).min(room.1 - width).max(room.0);
            callout.level = last - n;
        }
        names
    })
}

fn clear(callouts: &[Callout]) -> bool {
    let end = |c: &Callout| c.x0 + c.width();
    callouts.iter().enumerate().all(|(i, a)| {
        callouts.iter().enumerate().all(|(j, b)| {
            if i == j {
                return true;
            }
            let apart = end(a) + 8.0 <= b.x0 || end(b) + 8.0 <= a.x0;
            // The line of a higher name passes all levels below it.
            let crossed = a.level > b.level && a.at > b.x0 - 3.0 && a.at < end(b) + 3.0;
            (a.level != b.level || apart) && !crossed
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(places: &[f64]) -> Vec<Callout> {
        let wanted = places.iter().map(|x| (*x, "a name".to_owned(), false));
        stand(wanted.collect(), (0.0, 300.0))
    }

    fn levels(callouts: &[Callout]) -> Vec<usize> {
        callouts.iter().map(|c| c.level).collect()
    }

    #[test]
    fn names_far_apart_share_a_level_and_near_ones_stand_on_both_sides() {
        assert_eq!(levels(&at(&[10.0, 100.0, 200.0])), [0, 0, 0]);
        let near = at(&[100.0, 116.0]);
        assert_eq!(levels(&near), [0, 0]);
        assert!(near[0].x0 + near[0].width() <= near[1].x0);
    }

    #[test]
    fn many_at_one_place_keep_clear_of_each_other_and_inside() {
        for places in [[10.0, 20.0, 30.0, 40.0], [270.0, 280.0, 290.0, 299.0]] {
            let crowded = at(&places);
            assert!(clear(&crowded), "{crowded:?}");
            assert!(
                crowded
                    .iter()
                    .all(|c| c.x0 >= 0.0 && c.x0 + c.width() <= 300.0 + 1e-9)
            );
        }
    }
}
