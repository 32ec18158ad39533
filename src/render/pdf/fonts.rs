//! The letters: which font file has which, and how much room they take.
//!
//! The files, their origin and their licences are listed in `src/render/fonts/README.md`; they are parts of the program.

use std::sync::{Arc, LazyLock};

use krilla::text::Font;
use usvg::fontdb;

/// A font file, ready to shape and to embed.
pub(super) struct Face {
    /// Finds glyphs and places them.
    pub shaper: rustybuzz::Face<'static>,
    /// What is embedded.
    pub font: Font,
    /// Room above and below the base line, in parts of the size of the letters.
    pub room: (f32, f32),
}

/// The weights of a script.
struct Family {
    regular: Face,
    bold: Option<Face>,
}

/// A font file for a letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Choice {
    family: usize,
    is_bold: bool,
}

/// All font files.
pub(super) struct Fonts {
    families: Vec<Family>,
    /// The same for pictures.
    pub database: Arc<fontdb::Database>,
}

macro_rules! file {
    ($name:literal) => {
        include_bytes!(concat!("../fonts/", $name)) as &'static [u8]
    };
}

/// What a font file is and what it needs above and below the base line; the first that has a letter draws it.
type Source = (&'static [u8], Option<&'static [u8]>, (f32, f32));

/// Room of a line of letters that stand on the base line, as Latin ones do.
const PLAIN: (f32, f32) = (1.0, 0.3);

const SOURCES: [Source; 10] = [
    (file!("NotoSans-Regular.ttf"), Some(file!("NotoSans-Bold.ttf")), PLAIN),
    (file!("NotoSansHebrew-Regular.ttf"), Some(file!("NotoSansHebrew-Bold.ttf")), PLAIN),
    (file!("NotoSansArabic-Regular.ttf"), Some(file!("NotoSansArabic-Bold.ttf")), (1.15, 0.55)),
    (file!("NotoSansDevanagari-Regular.ttf"), None, (1.05, 0.45)),
    (file!("NotoSansThai-Regular.ttf"), None, (1.2, 0.45)),
    (file!("NotoSansArmenian-Regular.ttf"), None, PLAIN),
    (file!("NotoSansGeorgian-Regular.ttf"), None, PLAIN),
    (file!("NotoSansMath-Regular.ttf"), None, PLAIN),
    (file!("DroidSansFallbackFull.ttf"), None, PLAIN),
    (file!("NanumGothicCoding.ttf"), None, PLAIN),
];

static FONTS: LazyLock<Option<Fonts>> = LazyLock::new(load);

fn load() -> Option<Fonts> {
    let mut database = fontdb::Database::new();
    let mut face = |data: &'static [u8], room| {
        database.load_font_source(fontdb::Source::Binary(Arc::new(data)));
        Some(Face { shaper: rustybuzz::Face::from_slice(data, 0)?, font: Font::new(data.into(), 0)?, room })
    };
    let mut families = Vec::new();
    for (regular, bold, room) in SOURCES {
        let bold = match bold {
            Some(data) => Some(face(data, room)?),
            None => None,
        };
        families.push(Family { regular: face(regular, room)?, bold });
    }
    for set in [fontdb::Database::set_sans_serif_family, fontdb::Database::set_serif_family] {
        set(&mut database, "Noto Sans");
    }
    Some(Fonts { families, database: Arc::new(database) })
}

/// Whether a letter only changes the one before it, so that both need the same font.
fn is_joined(letter: char) -> bool {
    // Joiners and variation selectors; marks are found by their joining to a base in the same font.
    matches!(letter, '\u{200c}'..='\u{200f}' | '\u{61c}' | '\u{fe00}'..='\u{fe0f}' | '\u{e0100}'..='\u{e01ef}')
}

impl Fonts {
    /// The fonts of the program; none if a file is broken.
    pub(super) fn get() -> Option<&'static Self> {
        FONTS.as_ref()
    }

    /// The font for a letter, given that of the letter before it; the first one if none has it.
    pub(super) fn choose(&self, letter: char, is_bold: bool, before: Option<Choice>) -> Choice {
        let has = |family: &Family| family.regular.shaper.glyph_index(letter).is_some();
        // A blank, a mark or a joiner stays with what it follows; everything else has one font wherever it stands.
        let stays = letter.is_whitespace() || is_joined(letter) || is_mark(letter);
        if let Some(before) = before.filter(|before| stays && before.is_bold == is_bold)
            && (is_joined(letter) || self.families.get(before.family).is_some_and(has))
        {
            return before;
        }
        Choice { family: self.families.iter().position(has).unwrap_or_default(), is_bold }
    }

    /// The file of a choice, and whether its letters are to be thickened for want of bold ones.
    pub(super) fn face(&self, choice: Choice) -> Option<(&Face, bool)> {
        let family = self.families.get(choice.family)?;
        Some(match &family.bold {
            Some(bold) if choice.is_bold => (bold, false),
            _ => (&family.regular, choice.is_bold),
        })
    }
}

/// Whether a letter is a combining mark of the scripts that we have.
fn is_mark(letter: char) -> bool {
    use unicode_bidi::{BidiClass, bidi_class};

    bidi_class(letter) == BidiClass::NSM
}
