//! The pages that the figures and rules were read on.
//!
//! A row names the ids of all pages that support it together; its note says which page gave what where they differ.
//! Most are public pages of federations, clubs and schools, some second-hand; the rule books themselves could be read
//! only in part. A page shown here was read at least where it supports a row.
//!
//! Ids are short words of the project, not of the publishers. Addresses are left out: pages move, while title,
//! publisher and year let anybody look for them.

/// A published source.
///
/// All text is as printed, titles in their own language or translated where that is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    /// Short id used in the tables.
    pub id: &'static str,
    /// Title of the page or document.
    pub title: &'static str,
    /// Who published it.
    pub publisher: &'static str,
    /// Year of publication or of the copy read, where a date was shown.
    ///
    /// None does not mean old; most pages show no date.
    pub year: Option<u16>,
}

/// Rows of: id, title, publisher, year (0 where no date was shown).
///
/// Keeps a source on one line, so that the table can be read and sorted.
macro_rules! sources {
    ($($id:literal $title:literal $publisher:literal $year:literal;)*) => {
        &[$(Source {
            id: $id,
            title: $title,
            publisher: $publisher,
            year: if $year == 0 { None } else { Some($year) },
        }),*]
    };
}

/// Every source of the published tables, by id.
///
/// Sorted by id, for a search by halves. A test holds that every id used by a row is here and that every source here
/// is used.
pub static SOURCES: &[Source] = sources! {
    "AAG-23" "Age divisions 2023" "AAG Sports Academy" 2023;
    "ALAMY" "The High Hurdles (picture caption)" "P. Degginger, Alamy" 2011;
    "ANSWERS-300" "How much distance is between each hurdle in the men's 300-meter hurdles?" "Answers.com" 0;
    "ATHLETEPIT" "Hurdle heights and lanes (blog entry 920, in Japanese)" "Athlete Pit" 0;
    "ATWIKI-54" "Hurdles (wiki page 54, in Japanese)" "atwiki, rikuzyo" 0;
    "BALT-HS" "How far apart should hurdles be?" "thegatheringbaltimore.com" 2020;
    "BANDON-18" "Age groups 2018" "Bandon AC" 2018;
    "BCA-JD" "Junior Development manual, section 5" "BC Athletics" 0;
    "BLV-2015" "Veränderte Hürdenabstände für die M14 und die AK 12" "Badischer Leichtathletik-Verband" 2015;
    "CRYER" "Under-18 athletics explained" "cryer.org.uk, after Wikipedia" 0;
    "DE-HOEHEN" "Wie hoch ist eine Hürde beim Hürdenlauf?" "campingtut.de, teamsportbedarf.de" 0;
    "DERBY" "Age groups for younger athletes to change in April 2026" "Derby AC" 0;
    "DEWIKI-HURDLE" "60-Meter-Hürdenlauf" "German Wikipedia (mirror)" 0;
    "EA-AGE" "Age Group changes" "England Athletics" 2025;
    "EA-FACT" "Olympic factoid: up and over" "England Athletics" 2024;
    "EA-OFFTRACK" "Key information for off-track age group changes" "England Athletics" 2026;
    "EDIN-2011" "Age Group Changes (Scottish pilot)" "Edinburgh AC" 2011;
    "ELITE-300" "300 m hurdle spacing (forum thread)" "elitetrack.com" 0;
    "ELITE-HS" "High school girls hurdle heights (forum thread)" "elitetrack.com" 2008;
    "ENWIKI-300" "300 metres hurdles" "Wikipedia (copy)" 2020;
    "ENWIKI-300M" "300 metres hurdles, masters set (excerpt)" "Wikipedia" 0;
    "ENWIKI-80" "80 metres hurdles" "Wikipedia (copy)" 2020;
    "ESAA-GEN" "Handbook: general competition rules" "English Schools' Athletic Association" 0;
    "ESAA-TF" "Handbook: track and field rules table" "English Schools' Athletic Association" 0;
    "FIDAL-PIE15" "Vademecum 2015" "FIDAL Piemonte" 2015;
    "FIDAL-SUM" "Norme FIDAL sull'atletica leggera (study summary)" "Scribd document 545408274" 0;
    "HENLEY-18" "Athlete update: age groups" "Henley Districts Little Athletics" 2018;
    "HILLS-2008" "Event specifications, after LAANSW Rev. 6/2008" "Hills District Little Athletics" 2008;
    "JAWIKI-100" "100 m hurdles (in Japanese)" "Japanese Wikipedia (mirror)" 0;
    "JAWIKI-110" "110 m hurdles (in Japanese)" "Japanese Wikipedia (archived copy)" 2015;
    "JAWIKI-80" "80 m hurdles (in Japanese)" "pedia.3rd-in.co.jp" 0;
    "JAWIKI-HURDLE07" "Hurdle, the implement (in Japanese)" "Japanese Wikipedia (mirror)" 2007;
    "JENKS-14" "Age divisions 2014" "Jenks America Track Club" 2014;
    "JICK" "Hurdle Spacing" "jick.ca" 0;
    "JP-SEL18" "6th national high-school selection meet (in Japanese)" "gna.hatenablog.jp" 2018;
    "LAA-2019" "Little Athletics hurdles specifications from 2019/20 (forum post, S. Hampel)" "athleticschat.com.au" 2019;
    "LAVIC" "Hurdle Heights & Spacing" "Brighton Little Athletics" 0;
    "LBFA-2026" "Épreuves autorisées et caractéristiques (read as quoted elsewhere)" "Ligue Belge Francophone d'Athlétisme" 2026;
    "LONGFORD-18" "2018 Athletics Ireland juvenile age categories" "Longford AC" 2018;
    "MAIL-TF" "Message 07999 (E. Prytherch)" "t-and-f mailing list" 0;
    "MASTERS-GP" "What is Masters Athletics" "mastersgrandprix.co.uk" 0;
    "MOSMAN-18" "Age group changes for the 2018-2019 season" "Mosman Little Athletics" 2018;
    "MUNSTER" "Technical" "Munster Schools Athletics" 2016;
    "NORFOLK" "Norfolk Schools Athletics news" "Norfolk Schools AA" 2026;
    "OFSAA-2016" "Playing regulations" "Ontario Federation of School Athletic Associations" 2016;
    "OFSAA-21" "Boys and Girls Track and Field" "Ontario schools (member association)" 2021;
    "PLYMPTON" "Hurdles" "Plympton Flyers" 0;
    "RENEGADES" "Age Divisions & Event Information" "Renegades track club" 0;
    "RU-RULES" "Rules of the sport athletics, age groups 3.1 (in Russian)" "Russian Federation" 0;
    "RUWIKI" "Hurdles (in Russian)" "Russian Wikipedia (mirror)" 0;
    "SALAA-18" "Age group season changes" "South Australian Little Athletics" 2018;
    "SASA-18" "South African schools nationals, entry manual" "South African Schools Athletics" 2018;
    "SFIF-2023" "Regeluppdateringar 2023" "Svensk Friidrott" 2023;
    "SHERWOOD-23" "Track Classic 2023, age categories" "Sherwood Park Track Classic" 2023;
    "SPORTSREC" "Specifications of Track Hurdles" "sportsrec.com" 0;
    "TRIPOD" "Hurdle Races: rules and specs" "trackathletics.tripod.com" 0;
    "USATF-NV" "Youth" "USATF Nevada" 2024;
    "USATF-RULES" "Competition rules: classifications" "USA Track & Field" 0;
    "VIK" "How many paces are between hurdles?" "vikschaatcorner.com" 0;
    "WELL-60H" "60 m hurdles records" "Wellington Masters Athletics" 2023;
    "WELL-LH" "South Island long hurdles" "Wellington Masters Athletics" 2023;
    "WHITEMOSS-18" "General Info" "Whitemoss AAC" 2018;
    "WIKISUM-300" "300-meter hurdles" "wikisum.wiki" 0;
    "WMASTERS-EN" "Masters athletics" "Wikipedia" 0;
    "WMSAA-2025" "ESAA T&F standards" "WMSAA" 2025;
    "WOODVILLE" "Age Groups" "Woodville Little Athletics" 2014;
};

/// The source with this id, if it is on file.
///
/// Exact and by case: `ea-fact` is unknown.
///
/// ```
/// use lanewright_compute::specs::source;
///
/// assert_eq!(source("EA-FACT").unwrap().publisher, "England Athletics");
/// ```
pub fn source(id: &str) -> Option<&'static Source> {
    SOURCES.binary_search_by(|source| source.id.cmp(id)).ok().and_then(|at| SOURCES.get(at))
}

/// The sources of a list of ids joined with `+`.
///
/// In the order of the list; unknown ids and empty text give nothing.
pub(super) fn of(ids: &str) -> impl Iterator<Item = &'static Source> + '_ {
    ids.split('+').filter_map(source)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sources_are_sorted_so_that_each_is_found() {
        assert!(SOURCES.windows(2).all(|pair| pair[0].id < pair[1].id));
    }
}
