//! Australia, Japan and North America.
//!
//! | rule set | rows | read where | from memory |
//! | --- | --- | --- | --- |
//! | LAA-2019 | 15 | a public restatement of the national specification from 2019/20, three centres' pages | - |
//! | JAAF | 8 | Japanese pages on each event, a selection meeting of 2018 | - |
//! | NFHS | 8 | school and forum pages, an implement guide | - |
//! | USATF-Y | 12 | a club's list of events by age | heights and spacings (all 12 rows) |
//! | OFSAA | 12 | playing regulations for event and height | spacings (8 rows) |
//!
//! JAAF and NFHS go by school grade, so no age leads to their rows: they are offered to choose from. "All pages agree"
//! stands in the note where it was so; where one page differs the note says which and how.
//!
//! Known doubts: the 80 m of USATF's 11 and 12-year-olds is said on one page to have a spacing of its own, which no
//! page gives; 12 and 8 m are entered from memory. The run-in of NFHS's 110 m is printed as 14.01 m and misses the
//! distance by a centimetre; 14.02 m closes it. OFSAA's 80 m spacing is carried over from another province's.
//!
//! # Little Athletics by age
//!
//! | groups | event | barriers | spacing (m) | height (m) |
//! | --- | --- | --- | --- | --- |
//! | under 8 and 9, under 10 | 60 m | 6 | 7.00 | 0.45, 0.60 |
//! | under 11, 12, 13 | 80 m | 9 | 7.00 | 0.60, 0.68, 0.76 |
//! | under 14 girls, boys | 80 m, 90 m | 9 | 7.00, 8.00 | 0.76 |
//! | under 15 girls, boys | 90 m, 100 m | 9, 10 | 8.00, 8.50 | 0.76 |
//! | under 17 girls, boys | 100 m, 110 m | 10 | 8.50, 9.14 | 0.76 |
//!
//! The height stays at 0.76 m from under 13 on while the spacing grows.

use super::{F, Indoor, M, Memory, Outdoor, Page, Spec, X};

/// Sprint races 36, long races 19.
pub(super) static ROWS: &[Spec] = specs! {
    "LAA-2019" "60H" Outdoor X "U8-U9": 60 m, 6 x 450, 12_000 7_000 13_000; Page "LAA-2019+HILLS-2008+PLYMPTON+LAVIC" "All pages agree.";
    "LAA-2019" "60H" Outdoor X "U10": 60 m, 6 x 600, 12_000 7_000 13_000; Page "LAA-2019+HILLS-2008+PLYMPTON+LAVIC" "All pages agree.";
    "LAA-2019" "80H" Outdoor X "U11": 80 m, 9 x 600, 12_000 7_000 12_000; Page "LAA-2019+LAVIC" "Changed from 60 m in 2019/20; older pages (HILLS-2008, PLYMPTON) still show 60 m.";
    "LAA-2019" "80H" Outdoor X "U12": 80 m, 9 x 680, 12_000 7_000 12_000; Page "LAA-2019+LAVIC" "Changed from 60 m in 2019/20; older pages still show 60 m.";
    "LAA-2019" "80H" Outdoor X "U13": 80 m, 9 x 760, 12_000 7_000 12_000; Page "LAA-2019+HILLS-2008+PLYMPTON+LAVIC" "All pages agree.";
    "LAA-2019" "80H" Outdoor F "U14": 80 m, 9 x 760, 12_000 7_000 12_000; Page "LAA-2019+HILLS-2008+PLYMPTON+LAVIC" "All pages agree.";
    "LAA-2019" "90H" Outdoor M "U14": 90 m, 9 x 760, 13_000 8_000 13_000; Page "LAA-2019+HILLS-2008+PLYMPTON+LAVIC" "All pages agree.";
    "LAA-2019" "90H" Outdoor F "U15": 90 m, 9 x 760, 13_000 8_000 13_000; Page "LAA-2019+HILLS-2008+PLYMPTON+LAVIC" "All pages agree (PLYMPTON misprints 76 m for 76 cm).";
    "LAA-2019" "100H" Outdoor M "U15": 100 m, 10 x 760, 13_000 8_500 10_500; Page "LAA-2019+HILLS-2008+PLYMPTON" "LAVIC prints run-out 105 m (does not add up: misprint of 10.5).";
    "LAA-2019" "100H" Outdoor F "U17": 100 m, 10 x 760, 13_000 8_500 10_500; Page "LAA-2019+HILLS-2008" "PLYMPTON (South Australia, older) has 90 m for U15-U17 girls.";
    "LAA-2019" "110H" Outdoor M "U17": 110 m, 10 x 760, 13_720 9_140 14_020; Page "LAA-2019+HILLS-2008" "PLYMPTON (older) has 100 m for U15-U17 boys.";
    "LAA-2019" "200H" Outdoor X "U13": 200 m, 5 x 680, 20_000 35_000 40_000; Page "LAA-2019+HILLS-2008" "";
    "LAA-2019" "200H" Outdoor X "U14": 200 m, 5 x 760, 20_000 35_000 40_000; Page "LAA-2019+HILLS-2008" "";
    "LAA-2019" "300H" Outdoor X "U15": 300 m, 7 x 760, 50_000 35_000 40_000; Page "LAA-2019+HILLS-2008" "LAVIC shows a 68 cm local 300 m for U13-U16.";
    "LAA-2019" "300H" Outdoor X "U17": 300 m, 7 x 760, 50_000 35_000 40_000; Page "LAA-2019+HILLS-2008" "";
    "JAAF" "80H" Outdoor X "ELEM-5-6": 80 m, 9 x 700, 13_000 7_000 11_000; Page "JAWIKI-80+ATHLETEPIT" "By school grade. 9 barriers; second page confirms 70 cm and 9 barriers.";
    "JAAF" "110H" Outdoor M "JHS": 110 m, 10 x 914, 13_720 9_140 14_020; Page "JAWIKI-110+ATWIKI-54" "By school grade. Two pages agree on height and distances.";
    "JAAF" "100H" Outdoor F "JHS": 100 m, 10 x 762, 13_000 8_000 15_000; Page "JAWIKI-100" "By school grade. 8.0 m spacing with a 15.0 m run-in.";
    "JAAF" "110H" Outdoor M "SHONEN-B": 110 m, 10 x 991, 13_720 9_140 14_020; Page "JAWIKI-110+ATWIKI-54" "By school grade. Prints 99.0 cm (exact 99.06).";
    "JAAF" "100H" Outdoor F "SHONEN-B": 100 m, 10 x 762, 13_000 8_500 10_500; Page "JAWIKI-100+JP-SEL18" "By school grade. Two pages agree.";
    "JAAF" "300H" Outdoor M "HS-SELECT": 300 m, 8 x 914, 45_000 35_000 10_000; Page "JP-SEL18" "By school grade. National high-school selection meet 2018 special rule.";
    "JAAF" "300H" Outdoor F "HS-SELECT": 300 m, 8 x 762, 45_000 35_000 10_000; Page "JP-SEL18" "By school grade. National high-school selection meet 2018 special rule.";
    "JAAF" "110H" Outdoor M "HS-SELECT": 110 m, 10 x 914, 13_720 9_140 14_020; Page "JP-SEL18" "By school grade. 110 m MH at the selection meet.";
    "NFHS" "110H" Outdoor M "HS": 110 m, 10 x 991, 13_720 9_140 14_020; Page "BALT-HS+ALAMY+ELITE-HS" "By school grade (9-12). BALT-HS prints a 14.01 m run-in: total 109.99, does not add up; 14.02 closes to 110.00.";
    "NFHS" "100H" Outdoor F "HS": 100 m, 10 x 838, 13_000 8_500 10_500; Page "ELITE-HS+MAIL-TF+ALAMY" "By school grade (9-12). 33 in on two pages; distances are the standard 100 m set.";
    "NFHS" "300H" Outdoor M "HS": 300 m, 8 x 914, 45_000 35_000 10_000; Page "ENWIKI-300+ANSWERS-300+WIKISUM-300" "By school grade (9-12). Two pages agree on 45/35/10 and 8 barriers; 3 ft 0 in (0.91 m) from WIKISUM-300.";
    "NFHS" "300H" Outdoor F "HS": 300 m, 8 x 762, 45_000 35_000 10_000; Page "ENWIKI-300+ANSWERS-300+VIK" "By school grade (9-12). 30 in, 8 barriers, 45/35/10 on VIK.";
    "NFHS" "55H" Indoor M "HS": 55 m, 5 x 991, 13_720 9_140 4_720; Page "SPORTSREC+VIK" "By school grade (9-12). 39 in on SPORTSREC; first-five-barrier pattern on VIK; run-in derived.";
    "NFHS" "55H" Indoor F "HS": 55 m, 5 x 838, 13_000 8_500 8_000; Page "SPORTSREC+VIK" "By school grade (9-12). 33 in on SPORTSREC; run-in derived.";
    "NFHS" "60H" Indoor M "HS": 60 m, 5 x 991, 13_720 9_140 9_720; Page "SPORTSREC+VIK" "By school grade (9-12). 39 in on SPORTSREC; run-in derived.";
    "NFHS" "60H" Indoor F "HS": 60 m, 5 x 838, 13_000 8_500 13_000; Page "SPORTSREC+VIK" "By school grade (9-12). 33 in on SPORTSREC; run-in derived.";
    "USATF-Y" "80H" Outdoor X "11-12": 80 m, 8 x 762, 12_000 8_000 12_000; Memory "RENEGADES+ENWIKI-80" "Event on RENEGADES; height and spacing from memory. ENWIKI-80 says the youth 80 m uses different spacing without giving it: re-check before relying on this row.";
    "USATF-Y" "100H" Outdoor F "13-14": 100 m, 10 x 762, 13_000 8_000 15_000; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "100H" Outdoor M "13-14": 100 m, 10 x 838, 13_000 8_500 10_500; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "200H" Outdoor X "13-14": 200 m, 5 x 762, 20_000 35_000 40_000; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "100H" Outdoor F "15-16": 100 m, 10 x 838, 13_000 8_500 10_500; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "110H" Outdoor M "15-16": 110 m, 10 x 991, 13_720 9_140 14_020; Memory "RENEGADES+ALAMY" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "400H" Outdoor F "15-16": 400 m, 10 x 762, 45_000 35_000 40_000; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "400H" Outdoor M "15-16": 400 m, 10 x 914, 45_000 35_000 40_000; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "100H" Outdoor F "17-18": 100 m, 10 x 838, 13_000 8_500 10_500; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "110H" Outdoor M "17-18": 110 m, 10 x 991, 13_720 9_140 14_020; Memory "RENEGADES+ALAMY" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "400H" Outdoor F "17-18": 400 m, 10 x 762, 45_000 35_000 40_000; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "USATF-Y" "400H" Outdoor M "17-18": 400 m, 10 x 914, 45_000 35_000 40_000; Memory "RENEGADES" "Event on RENEGADES; height and spacing from memory.";
    "OFSAA" "80H" Outdoor F "MIDGET-NOVICE": 80 m, 8 x 762, 12_000 8_000 12_000; Memory "OFSAA-2016+OFSAA-21+ELITE-HS" "Event and height on the OFSAA pages; spacing is the usual set. 12/8 m at 30 in is on a page only for Alberta high-school girls (ELITE-HS); carried over from memory. Ages count on 1 January before the school year starts.";
    "OFSAA" "300H" Outdoor F "MIDGET-NOVICE": 300 m, 7 x 762, 50_000 35_000 40_000; Page "OFSAA-2016+OFSAA-21+ELITE-300" "Event and height on the OFSAA pages; spacing is the usual set. ELITE-300 says Ontario uses 50 m to the first barrier, 35 m gaps.";
    "OFSAA" "300H" Outdoor M "MIDGET-NOVICE": 300 m, 7 x 838, 50_000 35_000 40_000; Page "OFSAA-21+ELITE-300" "Event and height on the OFSAA pages; spacing is the usual set. 33 in; 50 m / 35 m per ELITE-300.";
    "OFSAA" "80H" Outdoor F "JUN": 80 m, 8 x 762, 12_000 8_000 12_000; Memory "OFSAA-2016+OFSAA-21+ELITE-HS" "Event and height on the OFSAA pages; spacing is the usual set. 12/8 m at 30 in is on a page only for Alberta high-school girls (ELITE-HS); carried over from memory. Ages count on 1 January before the school year starts.";
    "OFSAA" "300H" Outdoor F "JUN": 300 m, 7 x 762, 50_000 35_000 40_000; Page "OFSAA-2016+OFSAA-21+ELITE-300" "Event and height on the OFSAA pages; spacing is the usual set. ELITE-300 says Ontario uses 50 m to the first barrier, 35 m gaps.";
    "OFSAA" "300H" Outdoor M "JUN": 300 m, 7 x 838, 50_000 35_000 40_000; Page "OFSAA-21+ELITE-300" "Event and height on the OFSAA pages; spacing is the usual set. 33 in; 50 m / 35 m per ELITE-300.";
    "OFSAA" "100H" Outdoor M "MIDGET-NOVICE": 100 m, 10 x 838, 13_000 8_500 10_500; Memory "OFSAA-21" "Event and height on the OFSAA pages; spacing is the usual set. 33 in; spacing from memory.";
    "OFSAA" "100H" Outdoor M "JUN": 100 m, 10 x 914, 13_000 8_500 10_500; Memory "OFSAA-21" "Event and height on the OFSAA pages; spacing is the usual set. 36 in; spacing from memory.";
    "OFSAA" "110H" Outdoor M "SEN-SCH": 110 m, 10 x 914, 13_720 9_140 14_020; Memory "OFSAA-21" "Event and height on the OFSAA pages; spacing is the usual set. 36 in; spacing from memory.";
    "OFSAA" "100H" Outdoor F "SEN-SCH": 100 m, 10 x 762, 13_000 8_500 10_500; Memory "OFSAA-2016+OFSAA-21" "Event and height on the OFSAA pages; spacing is the usual set. 30 in; spacing from memory.";
    "OFSAA" "400H" Outdoor F "SEN-SCH": 400 m, 10 x 762, 45_000 35_000 40_000; Memory "OFSAA-2016+OFSAA-21" "Event and height on the OFSAA pages; spacing is the usual set. 30 in; spacing from memory.";
    "OFSAA" "400H" Outdoor M "SEN-SCH": 400 m, 10 x 914, 45_000 35_000 40_000; Memory "OFSAA-21" "Event and height on the OFSAA pages; spacing is the usual set. 36 in; spacing from memory.";
};
