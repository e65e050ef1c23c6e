//! Names as file systems tell them apart.

use caseless::Caseless;
use unicode_normalization::UnicodeNormalization;

/// Equal for names that some file system takes for one: letters composed or apart, and full case folding (Unicode 16, 3.13, D145,
/// canonical caseless matching).
pub fn folded(name: &str) -> String {
    name.chars().nfd().default_case_fold().nfd().collect()
}

/// Whether names differ in more than how their letters are composed.
pub fn differ_in_case(a: &str, b: &str) -> bool {
    !a.chars().nfc().eq(b.chars().nfc())
}

/// Whether XML 1.0 can hold the character (production 2, Char); a scene in a layered file is written as it.
pub fn fits_markup(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_folded_in_full() {
        for [a, b] in [
            ["Reeds", "reeds"],
            ["STRASSE", "straße"],
            ["Ä", "a\u{308}"],
            ["\u{1e9e}", "ss"],
            ["\u{212b}", "å"],
        ] {
            assert_eq!(folded(a), folded(b), "{a} {b}");
        }
        // Compatibility forms are files of their own everywhere.
        for [a, b] in [["a", "b"], ["ﬁ", "fl"], ["a", "ä"], ["²", "2"]] {
            assert_ne!(folded(a), folded(b), "{a} {b}");
        }
        assert!(differ_in_case("Ä", "ä") && !differ_in_case("ä", "a\u{308}"));
    }
}
