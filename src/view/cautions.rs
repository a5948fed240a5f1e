//! The usual cautions before a high-pressure machine is opened, in one place: work sheets,
//! plans and the report all show these.
//!
//! In: the plant's own cautions. Out: all of them, the usual ones first.
//! Never: leaving one of the usual ones out.

/// Common practice in our own words; the maker's manual, local codes and site rules stand above
/// them.
pub const USUAL: [&str; 5] = [
    "Isolate and lock out every source of energy: electrical, hydraulic, pneumatic, steam, and \
     the product line itself.",
    "Prove that the pressure is gone, at the machine and not only at the gauge. Let hot parts \
     cool.",
    "Wear the protective equipment the site requires, and work under its permits.",
    "Follow the maker’s manual and the local codes. Leave licensed work to licensed people.",
    "Keep every limit set by law, by food safety or by the maker, even where a longer interval \
     would cost less. A statistical interval is advice for maintenance cost and nothing more.",
];

/// The usual cautions, then the plant's own.
pub fn cautions(own: &[String]) -> Vec<String> {
    let usual = USUAL.iter().map(|caution| (*caution).to_owned());
    usual.chain(own.iter().cloned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plants_own_words_stand_beside_the_usual_ones() {
        let all = cautions(&["Tell the control room.".to_owned()]);
        assert_eq!(all.len(), USUAL.len() + 1);
        assert!(USUAL.iter().all(|usual| all.iter().any(|one| one == usual)));
        assert_eq!(
            all.last().map(String::as_str),
            Some("Tell the control room.")
        );
    }
}
