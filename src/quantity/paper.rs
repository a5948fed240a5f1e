//! What pages are printed on.
//!
//! In: a word. Out: [`Paper`]. Never: sizes of anything on it.

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// ISO 216
    #[default]
    A4,
    /// 8.5 by 11 in
    Letter,
}

impl Paper {
    pub const ALL: [Paper; 2] = [Paper::A4, Paper::Letter];

    /// As style sheets call it.
    pub fn word(self) -> &'static str {
        match self {
            Paper::A4 => "A4",
            Paper::Letter => "letter",
        }
    }

    /// The paper of this name, whatever its capitals.
    pub fn from_word(word: &str) -> Option<Paper> {
        let same = |paper: &Paper| paper.word().eq_ignore_ascii_case(word);
        Paper::ALL.into_iter().find(same)
    }
}
