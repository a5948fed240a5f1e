//! The nearest known word, for "did you mean".

/// The candidate most like `word`, if any is near enough to be a slip of the pen.
///
/// Distance: optimal string alignment (insert, delete, replace, swap neighbours),
/// case ignored; near enough is at most a third of the longer word, at least 1, and less
/// than all of it.
/// Among equals the first stands.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    candidates
        .into_iter()
        .filter_map(|candidate| {
            let other = candidate.to_lowercase();
            let distance = strsim::osa_distance(&lower, &other);
            let longest = lower.chars().count().max(other.chars().count());
            let near = distance <= (longest / 3).max(1) && distance < longest;
            near.then_some((distance, candidate))
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn slips_are_mended_and_strangers_are_not() {
        let keys = ["labour_rate", "time_zone", "currency"];
        assert_eq!(nearest("labor_rate", keys), Some("labour_rate"));
        assert_eq!(nearest("timezone", keys), Some("time_zone"));
        assert_eq!(nearest("Currency", keys), Some("currency"));
        assert_eq!(nearest("supplier", keys), None);
        assert_eq!(nearest("6", ["1", "2"]), None);
    }
}
