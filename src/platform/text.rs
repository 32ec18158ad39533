//! Texts that people read: what they may hold, decided in one place for every name and note.

use unicode_properties::{GeneralCategory, GeneralCategoryGroup, UnicodeGeneralCategory};

/// Joins letters of Indic and Arabic scripts, and pictures; without it those are other words.
const JOINERS: [char; 2] = ['\u{200c}', '\u{200d}'];
/// Letters, symbols and marks that are drawn as nothing (Unicode 16, property `Default_Ignorable_Code_Point`), and the
/// empty Braille pattern.
const BLANK: [char; 10] = [
    '\u{034f}', '\u{115f}', '\u{1160}', '\u{17b4}', '\u{17b5}', '\u{180b}', '\u{180c}', '\u{2800}', '\u{3164}',
    '\u{ffa0}',
];
/// Formats that are seen: signs before numbers in Arabic, Syriac and Kaithi (property `Prepended_Concatenation_Mark`).
const SEEN_FORMATS: [char; 11] = [
    '\u{0600}',
    '\u{0601}',
    '\u{0602}',
    '\u{0603}',
    '\u{0604}',
    '\u{0605}',
    '\u{06dd}',
    '\u{070f}',
    '\u{0890}',
    '\u{08e2}',
    '\u{110bd}',
];

/// Whether a character is not seen, or changes the direction of what stands around it.
fn is_unseen(c: char) -> bool {
    let noncharacter = u32::from(c) & 0xfffe == 0xfffe || ('\u{fdd0}'..='\u{fdef}').contains(&c);
    match c.general_category() {
        GeneralCategory::Control => c != '\n',
        GeneralCategory::Format => !SEEN_FORMATS.contains(&c),
        GeneralCategory::PrivateUse
        | GeneralCategory::Surrogate
        | GeneralCategory::LineSeparator
        | GeneralCategory::ParagraphSeparator => true,
        _ => noncharacter || BLANK.contains(&c),
    }
}

/// Whether a joiner may stand between these two: it joins what is not ASCII and not a space.
fn joins(before: Option<char>, after: Option<char>) -> bool {
    let joined = |c: char| !c.is_ascii() && !c.is_whitespace() && !JOINERS.contains(&c) && !is_unseen(c);
    before.is_some_and(joined) && after.is_some_and(joined)
}

/// Whether every character of a text is seen and stays where it is written, and one at least can be read.
///
/// Bidirectional marks are refused although right-to-left scripts know them: they make a name look like another one, and
/// names of one script need none.
pub fn is_plain(text: &str) -> bool {
    let characters: Vec<char> = text.chars().collect();
    let at = |at: Option<usize>| at.and_then(|at| characters.get(at)).copied();
    let fine = characters.iter().enumerate().all(|(i, c)| match c {
        c if JOINERS.contains(c) => joins(at(i.checked_sub(1)), at(Some(i + 1))),
        c => !is_unseen(*c),
    });
    let read = |c: &char| !c.is_whitespace() && c.general_category_group() != GeneralCategoryGroup::Mark;
    fine && characters.iter().any(read)
}

/// What can be kept of a text that nobody typed, such as the name a program gives itself: at most `max` characters.
pub fn kept(text: &str, max: usize) -> String {
    text.chars().filter(|c| !is_unseen(*c) && *c != '\n').take(max).collect()
}

/// The JSON Pointer to the first text or name that holds a NUL, which the database cannot keep.
pub fn nul_at(value: &serde_json::Value) -> Option<String> {
    use serde_json::Value;
    match value {
        Value::String(text) => text.contains('\0').then(String::new),
        Value::Array(list) => list.iter().enumerate().find_map(|(at, one)| Some(format!("/{at}{}", nul_at(one)?))),
        Value::Object(fields) => fields.iter().find_map(|(name, one)| {
            if name.contains('\0') {
                return Some(String::new());
            }
            Some(format!("/{}{}", name.replace('~', "~0").replace('/', "~1"), nul_at(one)?))
        }),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_every_script_are_plain() {
        for name in [
            "Mira Osei",
            "Zoë Müller-Lüdenscheid",
            "O’Brien",
            "Nguyễn Thị Hoa",
            "이서연",
            "山田 花子",
            "葛\u{e0100}城",
            "علي محمد",
            "דנה לוי",
            "क्\u{200d}ष",
            "نامه\u{200c}ای",
            "👩\u{200d}👧 group",
            "Ω 4×100",
            "A\nB",
            "٪\u{0600}١",
        ] {
            assert!(is_plain(name), "{name}");
        }
    }

    #[test]
    fn what_is_not_seen_or_turns_the_writing_is_not_plain() {
        for name in [
            "",
            " ",
            "\u{0301}",
            "a\0",
            "a\tb",
            "a\u{202e}b",
            "a\u{2066}b\u{2069}",
            "a\u{200e}",
            "a\u{200f}b",
            "\u{061c}a",
            "a\u{200b}b",
            "a\u{feff}b",
            "a\u{2060}b",
            "a\u{00ad}b",
            "a\u{200d}b",
            "ab\u{200c}",
            "a\u{2028}b",
            "\u{3164}",
            "a\u{e0041}b",
            "\u{e000}",
            "a\u{fffe}",
            "\u{2800}",
            "a\u{034f}b",
            "क\u{200d}\u{200d}ष",
        ] {
            assert!(!is_plain(name), "{name:?}");
        }
        assert_eq!(kept("app\u{202e}/1\n.0", 6), "app/1.");
    }

    #[test]
    fn a_nul_is_found_where_it_stands() {
        let pointer = |value: serde_json::Value| nul_at(&value);
        assert_eq!(pointer(serde_json::json!({"a": ["b", {"c/d": "e\0"}]})).as_deref(), Some("/a/1/c~1d"));
        assert_eq!(pointer(serde_json::json!({"a": ["b", 1, null, true]})), None);
    }
}
