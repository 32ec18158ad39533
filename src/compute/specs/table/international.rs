//! World Athletics, masters, and the national rule sets that follow them on the Continent.
//!
//! | rule set | rows | read where | from memory |
//! | --- | --- | --- | --- |
//! | WA | 20 | summaries of the rule in Italian, English, Russian and Japanese | heights by age indoors for under 20 and under 18 (4 rows) |
//! | DLV | 3 | a regional federation, two web guides | number of barriers and run-in, or the spacing (3 rows) |
//! | SFIF | 4 | the federation's changes of 2023 | - |
//! | WMA | 26 | New Zealand masters' records, a Belgian list, others | age bands and geometry of most sprints (16 rows) |
//!
//! The rule book of World Athletics itself was readable only in its opening pages, so each WA row rests on pages that
//! repeat it; two or more agree wherever the row says so. Senior figures: 110 m with ten of 1.067 m, 13.72, 9.14 and
//! 14.02 m; 100 m with ten of 0.838 m, 13.00, 8.50 and 10.50 m; indoors 60 m with five, the same geometry and what is
//! left as run-in.
//!
//! Masters: bands are those ages that share a specification. Women from 70 on over 80 m are left out, because a
//! shorter set may apply that no page confirmed. A page prints 0.991 m for the 400 m of men from 35 on, against the
//! rule of that event; 0.914 m is kept and marked `Memory`.
//!
//! Germany: three youth rows only, of regional pages; older groups follow the international rule and are not repeated.

use super::{F, Indoor, M, Memory, Outdoor, Page, Spec, X};

/// Sprint races 36, long races 17.
pub(super) static ROWS: &[Spec] = specs! {
    "WA" "110H" Outdoor M "SEN": 110 m, 10 x 1_067, 13_720 9_140 14_020; Page "FIDAL-SUM+EA-FACT+JAWIKI-110+RUWIKI" "Two or more pages agree on height and all three distances. U23 uses the senior specification.";
    "WA" "110H" Outdoor M "U20": 110 m, 10 x 991, 13_720 9_140 14_020; Page "FIDAL-SUM+EA-FACT+JAWIKI-110" "Two pages agree (0.991 / 99.1 cm); an older Japanese page rounds down to 99.0 cm.";
    "WA" "110H" Outdoor M "U18": 110 m, 10 x 914, 13_720 9_140 14_020; Page "FIDAL-SUM+EA-FACT+EDIN-2011" "Three pages agree on 91.4 cm over 110 m.";
    "WA" "100H" Outdoor F "SEN": 100 m, 10 x 838, 13_000 8_500 10_500; Page "FIDAL-SUM+EA-FACT+JAWIKI-100+RUWIKI" "Older pages print 0.84 / 84.0 cm (superseded rounding of 33 in).";
    "WA" "100H" Outdoor F "U20": 100 m, 10 x 838, 13_000 8_500 10_500; Page "FIDAL-SUM+EA-FACT" "Two pages agree.";
    "WA" "100H" Outdoor F "U18": 100 m, 10 x 762, 13_000 8_500 10_500; Page "FIDAL-SUM+EA-FACT+EDIN-2011+TRIPOD" "Two or more pages agree.";
    "WA" "400H" Outdoor M "SEN": 400 m, 10 x 914, 45_000 35_000 40_000; Page "FIDAL-SUM+EA-FACT+RUWIKI+TRIPOD" "Two or more pages agree.";
    "WA" "400H" Outdoor M "U20": 400 m, 10 x 914, 45_000 35_000 40_000; Page "FIDAL-SUM+EA-FACT" "Two pages agree.";
    "WA" "400H" Outdoor M "U18": 400 m, 10 x 838, 45_000 35_000 40_000; Page "FIDAL-SUM+JAWIKI-HURDLE07" "EA-FACT prints 76.2 cm for U18M 400 m; FIDAL-SUM prints 0.838, an older Japanese page 840 mm and UKA U17M is 83.8. 0.838 kept, the EA-FACT cell taken for a misprint.";
    "WA" "400H" Outdoor F "SEN": 400 m, 10 x 762, 45_000 35_000 40_000; Page "FIDAL-SUM+EA-FACT+RUWIKI+TRIPOD" "Two or more pages agree. JAWIKI-HURDLE07 prints 782 mm (misprint).";
    "WA" "400H" Outdoor F "U20": 400 m, 10 x 762, 45_000 35_000 40_000; Page "FIDAL-SUM+EA-FACT" "Two pages agree.";
    "WA" "400H" Outdoor F "U18": 400 m, 10 x 762, 45_000 35_000 40_000; Page "FIDAL-SUM+EA-FACT+EDIN-2011" "Three pages agree.";
    "WA" "60H" Indoor M "SEN": 60 m, 5 x 1_067, 13_720 9_140 9_720; Page "RUWIKI+LBFA-2026" "Run-in closes arithmetically (60-13.72-4x9.14).";
    "WA" "60H" Indoor F "SEN": 60 m, 5 x 838, 13_000 8_500 13_000; Page "RUWIKI+LBFA-2026" "RUWIKI prints 0.84 (old rounding). Run-in closes arithmetically.";
    "WA" "60H" Indoor M "U20": 60 m, 5 x 991, 13_720 9_140 9_720; Memory "LBFA-2026" "Geometry and height in LBFA-2026; the mapping to U20 men (same heights as outdoors) is from memory.";
    "WA" "60H" Indoor M "U18": 60 m, 5 x 914, 13_720 9_140 9_720; Memory "LBFA-2026+SFIF-2023" "SFIF-2023 says the 17-year class runs 60 m with 9.14 m gaps as the international rule; height mapping from memory.";
    "WA" "60H" Indoor F "U20": 60 m, 5 x 838, 13_000 8_500 13_000; Memory "LBFA-2026" "As outdoors; mapping from memory.";
    "WA" "60H" Indoor F "U18": 60 m, 5 x 762, 13_000 8_500 13_000; Memory "LBFA-2026" "Geometry in LBFA-2026; mapping from memory.";
    "WA" "50H" Indoor M "SEN": 50 m, 4 x 1_067, 13_720 9_140 8_860; Page "RUWIKI+LBFA-2026" "4 barriers; run-in derived arithmetically.";
    "WA" "50H" Indoor F "SEN": 50 m, 4 x 838, 13_000 8_500 11_500; Page "RUWIKI+LBFA-2026" "4 barriers; run-in derived arithmetically; RUWIKI prints 0.84.";
    "DLV" "60H" Outdoor X "U14": 60 m, 6 x 762, 11_500 7_500 11_000; Memory "BLV-2015+DE-HOEHEN" "11.50 m / 7.50 m / 76 cm on pages; the count of 6 barriers and hence the 11.0 m run-in from memory.";
    "DLV" "80H" Outdoor M "U16": 80 m, 7 x 838, 13_500 8_600 14_900; Memory "BLV-2015+DE-HOEHEN" "13.50 m / 8.60 m (BLV-2015) and 0.84 m (DE-HOEHEN) on pages; 7 barriers and 14.9 m run-in from memory.";
    "DLV" "80H" Outdoor F "U16": 80 m, 8 x 762, 12_000 8_000 12_000; Memory "DE-HOEHEN" "Height and 8 barriers on pages; 12/8/12 from memory.";
    "SFIF" "60H" Indoor M "P17": 60 m, 5 x 914, 13_720 9_140 9_720; Page "SFIF-2023" "The 17-year classes follow the international rule from the indoor season 2023-24.";
    "SFIF" "110H" Outdoor M "P17": 110 m, 10 x 914, 13_720 9_140 14_020; Page "SFIF-2023+FIDAL-SUM" "The 17-year classes follow the international rule from the indoor season 2023-24.";
    "SFIF" "400H" Outdoor M "P17": 400 m, 10 x 838, 45_000 35_000 40_000; Page "SFIF-2023+FIDAL-SUM" "The 17-year classes follow the international rule from the indoor season 2023-24.";
    "SFIF" "400H" Outdoor F "F17": 400 m, 10 x 762, 45_000 35_000 40_000; Page "SFIF-2023+FIDAL-SUM" "The 17-year classes follow the international rule from the indoor season 2023-24.";
    "WMA" "110H" Outdoor M "M35-49": 110 m, 10 x 991, 13_720 9_140 14_020; Memory "ALAMY+LBFA-2026" "Age band from memory; geometry in LBFA-2026. 39 in for masters men under 50 on ALAMY.";
    "WMA" "100H" Outdoor M "M50-59": 100 m, 10 x 914, 13_000 8_500 10_500; Memory "LBFA-2026" "Age band from memory; geometry in LBFA-2026.";
    "WMA" "100H" Outdoor M "M60-69": 100 m, 10 x 838, 12_000 8_000 16_000; Memory "LBFA-2026" "Age band from memory; geometry in LBFA-2026.";
    "WMA" "80H" Outdoor M "M70-79": 80 m, 8 x 762, 12_000 7_000 19_000; Memory "LBFA-2026+ENWIKI-80+JICK" "Age band from memory; geometry in LBFA-2026. 80 m for men from 70 on ENWIKI-80; JICK confirms 12 m / 7 m as the set a 79-year-old runs.";
    "WMA" "80H" Outdoor M "M80+": 80 m, 8 x 686, 11_000 6_000 27_000; Page "JICK+LBFA-2026+ATHLETEPIT" "JICK: 11 m / 6 m for the 80-84 group; 68.6 cm on ATHLETEPIT and WELL-60H; run-in derived.";
    "WMA" "100H" Outdoor F "W35-39": 100 m, 10 x 838, 13_000 8_500 10_500; Memory "LBFA-2026" "Age band from memory; geometry in LBFA-2026.";
    "WMA" "80H" Outdoor F "W40-49": 80 m, 8 x 762, 12_000 8_000 12_000; Memory "LBFA-2026+ENWIKI-80" "Age band from memory; geometry in LBFA-2026. 80 m for women from 40 on ENWIKI-80; a German page says from 50 (DEWIKI-80): disagreement noted.";
    "WMA" "80H" Outdoor F "W50-59": 80 m, 8 x 762, 12_000 7_000 19_000; Memory "LBFA-2026+ENWIKI-80" "Age band from memory; geometry in LBFA-2026.";
    "WMA" "80H" Outdoor F "W60-69": 80 m, 8 x 686, 12_000 7_000 19_000; Memory "LBFA-2026" "Age band from memory; geometry in LBFA-2026. W70+ left out: possible shorter set not confirmed.";
    "WMA" "400H" Outdoor M "M35-49": 400 m, 10 x 914, 45_000 35_000 40_000; Memory "LBFA-2026" "WELL-LH prints 0.991 m for the men's start height, which contradicts the 400 m rule: 0.914 from memory kept. Re-check.";
    "WMA" "400H" Outdoor M "M50-59": 400 m, 10 x 838, 45_000 35_000 40_000; Page "WELL-LH+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH. Page prints 0.84.";
    "WMA" "300H" Outdoor M "M60-69": 300 m, 7 x 762, 50_000 35_000 40_000; Page "WELL-LH+ENWIKI-300M+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH. 50 m to first and 7 barriers on ENWIKI-300M.";
    "WMA" "300H" Outdoor M "M70-79": 300 m, 7 x 686, 50_000 35_000 40_000; Page "WELL-LH+ENWIKI-300M+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH.";
    "WMA" "200H" Outdoor M "M80+": 200 m, 5 x 686, 20_000 35_000 40_000; Page "WELL-LH+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH. 20 m to first, 5 barriers in LBFA-2026.";
    "WMA" "400H" Outdoor F "W35-49": 400 m, 10 x 762, 45_000 35_000 40_000; Page "WELL-LH+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH.";
    "WMA" "300H" Outdoor F "W50-59": 300 m, 7 x 762, 50_000 35_000 40_000; Page "WELL-LH+ENWIKI-300M+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH.";
    "WMA" "300H" Outdoor F "W60-69": 300 m, 7 x 686, 50_000 35_000 40_000; Page "WELL-LH+ENWIKI-300M+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH.";
    "WMA" "200H" Outdoor F "W70+": 200 m, 5 x 686, 20_000 35_000 40_000; Page "WELL-LH+LBFA-2026" "Distance, height and 35 m gaps on WELL-LH.";
    "WMA" "60H" Indoor M "M35-49": 60 m, 5 x 991, 13_720 9_140 9_720; Memory "WELL-60H+LBFA-2026" "Height by age on WELL-60H; geometry for the age from memory.";
    "WMA" "60H" Indoor M "M50-59": 60 m, 5 x 914, 13_000 8_500 13_000; Memory "WELL-60H+LBFA-2026" "Height by age on WELL-60H; geometry for the age from memory.";
    "WMA" "60H" Indoor M "M60-69": 60 m, 5 x 838, 12_000 8_000 16_000; Memory "WELL-60H+LBFA-2026" "Height by age on WELL-60H; geometry for the age from memory.";
    "WMA" "60H" Indoor M "M70-79": 60 m, 5 x 762, 12_000 7_000 20_000; Memory "WELL-60H+LBFA-2026+JICK" "Height by age on WELL-60H; geometry for the age from memory. 12 m / 7 m as the set before 80 on JICK.";
    "WMA" "60H" Indoor M "M80+": 60 m, 5 x 686, 11_000 6_000 25_000; Page "WELL-60H+JICK+LBFA-2026" "Height WELL-60H; 11 m / 6 m JICK; run-in derived.";
    "WMA" "60H" Indoor F "W35-39": 60 m, 5 x 838, 13_000 8_500 13_000; Memory "WELL-60H+LBFA-2026" "Height by age on WELL-60H; geometry for the age from memory.";
    "WMA" "60H" Indoor F "W40-49": 60 m, 5 x 762, 12_000 8_000 16_000; Memory "WELL-60H+LBFA-2026" "Height by age on WELL-60H; geometry for the age from memory.";
    "WMA" "60H" Indoor F "W50-59": 60 m, 5 x 762, 12_000 7_000 20_000; Memory "WELL-60H+LBFA-2026" "Height by age on WELL-60H; geometry for the age from memory.";
};
