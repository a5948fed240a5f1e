//! Stock: how many pieces to hold so that the demand until the next delivery is met.
//!
//! In: the demand in pieces. Out: [`Holding`]. Never: prices, dates, where demand comes from.
//!
//! `s` pieces meet the demand `D` of one lead time with probability `P(D <= s)`; the least `s` for
//! which that is at least the service level asked for is held. As pieces are whole, what is attained
//! is mostly more than was asked for: both are told.
//! Source: common practice (order up to a level, reviewed once a lead time); the exact form of
//! the demand is renewal theory's, see `forecast`.

use super::forecast::Counts;

/// Pieces to hold for one level of service.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holding {
    /// Asked for: probability that the demand of a lead time is met from the shelf.
    pub service: f64,
    pub pieces: usize,
    /// Attained with these pieces.
    pub attained: f64,
}

/// The least pieces whose service is at least what is asked for.
///
/// Domain: `0 < service < 1`.
pub fn holding(demand: &Counts, service: f64) -> Holding {
    let pieces = demand.quantile(service);
    Holding {
        service,
        pieces,
        attained: demand.at_most(pieces),
    }
}
