//! United Kingdom, English schools and Irish schools.
//!
//! | rule set | rows | read where | to know |
//! | --- | --- | --- | --- |
//! | UKA-2024 | 20 | England Athletics for heights and distances, English and Irish school pages for spacings | young groups end on 31 March 2026 |
//! | ESAA | 13 | the association's table (older heights), a regional table of 2025 | inch-exact heights taken |
//! | IAAA | 12 | one page of a provincial schools board | its blocks have no headings: read as boys first, girls second |
//!
//! All rows are `Page`. The three rule sets agree on the geometry of each event: 11.0 + 7.0 m for the 70 m, 11.5 + 7.5
//! m for the 75 m, 12 + 8 m for the 80 m, 13 + 8.5 m for the 100 m, 13.72 + 9.14 m for the 110 m; that they agree is
//! why rows missing on one page could be read from another.
//!
//! Known doubts: England Athletics prints 76.2 cm for the 400 m of under-18 men, against 0.838 m on two others, and is
//! taken as a misprint. Its row of senior men over 400 m was cut off; the international one stands in. For school
//! years 7 and 8 a page allows 68 or 76 cm; the lower is entered. Indoor rows are not on file.
//!
//! # Geometry by event
//!
//! | event | barriers | approach, spacing, run-in (m) |
//! | --- | --- | --- |
//! | 70 m | 8 | 11.00, 7.00, 10.00 |
//! | 75 m | 8 | 11.50, 7.50, 11.00 |
//! | 80 m | 8 | 12.00, 8.00, 12.00 |
//! | 100 m | 10 | 13.00, 8.50, 10.50 |
//! | 110 m | 10 | 13.72, 9.14, 14.02 |
//! | 300 m | 7 | 50.00, 35.00, 40.00 |
//! | 400 m | 10 | 45.00, 35.00, 40.00 |

use super::{F, M, Outdoor, Page, Spec, X};

/// Sprint races 29, long races 16.
pub(super) static ROWS: &[Spec] = specs! {
    "UKA-2024" "70H" Outdoor F "U13": 70 m, 8 x 685, 11_000 7_000 10_000; Page "EA-FACT+WMSAA-2025" "Height 68.5 cm (EA-FACT); distances from WMSAA-2025 (70 m, 8 flights at 68 or 76 cm). Irish schools print 68.6 cm.";
    "UKA-2024" "75H" Outdoor M "U13": 75 m, 8 x 762, 11_500 7_500 11_000; Page "EA-FACT+WMSAA-2025+MUNSTER" "Three pages agree.";
    "UKA-2024" "75H" Outdoor F "U15": 75 m, 8 x 762, 11_500 7_500 11_000; Page "EA-FACT+ESAA-TF+MUNSTER" "Three pages agree (ESAA prints 76.0).";
    "UKA-2024" "80H" Outdoor M "U15": 80 m, 8 x 838, 12_000 8_000 12_000; Page "EA-FACT+ESAA-TF+MUNSTER" "Three pages agree (ESAA prints 84.0).";
    "UKA-2024" "80H" Outdoor F "U17": 80 m, 8 x 762, 12_000 8_000 12_000; Page "EA-FACT+ESAA-TF+MUNSTER" "Three pages agree.";
    "UKA-2024" "300H" Outdoor F "U17": 300 m, 7 x 762, 50_000 35_000 40_000; Page "EA-FACT+ESAA-TF+MUNSTER" "Three pages agree.";
    "UKA-2024" "100H" Outdoor M "U17": 100 m, 10 x 914, 13_000 8_500 10_500; Page "EA-FACT+ESAA-TF+MUNSTER" "Three pages agree (ESAA prints 91.5).";
    "UKA-2024" "400H" Outdoor M "U17": 400 m, 10 x 838, 45_000 35_000 40_000; Page "EA-FACT+ESAA-TF+MUNSTER" "Three pages agree (ESAA prints 84.0).";
    "UKA-2024" "100H" Outdoor F "U18": 100 m, 10 x 762, 13_000 8_500 10_500; Page "EA-FACT+FIDAL-SUM" "International U18 group, 31 December.";
    "UKA-2024" "400H" Outdoor F "U18": 400 m, 10 x 762, 45_000 35_000 40_000; Page "EA-FACT+FIDAL-SUM" "International U18 group, 31 December.";
    "UKA-2024" "110H" Outdoor M "U18": 110 m, 10 x 914, 13_720 9_140 14_020; Page "EA-FACT+FIDAL-SUM" "International U18 group, 31 December.";
    "UKA-2024" "400H" Outdoor M "U18": 400 m, 10 x 838, 45_000 35_000 40_000; Page "FIDAL-SUM+EA-FACT" "EA-FACT prints 76.2 cm for this cell; 0.838 kept (see WA U18 row).";
    "UKA-2024" "100H" Outdoor F "U20": 100 m, 10 x 838, 13_000 8_500 10_500; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "400H" Outdoor F "U20": 400 m, 10 x 762, 45_000 35_000 40_000; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "110H" Outdoor M "U20": 110 m, 10 x 991, 13_720 9_140 14_020; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "400H" Outdoor M "U20": 400 m, 10 x 914, 45_000 35_000 40_000; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "100H" Outdoor F "SEN": 100 m, 10 x 838, 13_000 8_500 10_500; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "400H" Outdoor F "SEN": 400 m, 10 x 762, 45_000 35_000 40_000; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "110H" Outdoor M "SEN": 110 m, 10 x 1_067, 13_720 9_140 14_020; Page "EA-FACT+FIDAL-SUM" "";
    "UKA-2024" "400H" Outdoor M "SEN": 400 m, 10 x 914, 45_000 35_000 40_000; Page "FIDAL-SUM+TRIPOD" "EA-FACT row cut off before this cell; WA value, UKA follows WA for seniors.";
    "ESAA" "80H" Outdoor M "JUN": 80 m, 8 x 838, 12_000 8_000 12_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "75H" Outdoor F "JUN": 75 m, 8 x 762, 11_500 7_500 11_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "100H" Outdoor M "INT": 100 m, 10 x 914, 13_000 8_500 10_500; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "400H" Outdoor M "INT": 400 m, 10 x 838, 45_000 35_000 40_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "80H" Outdoor F "INT": 80 m, 8 x 762, 12_000 8_000 12_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "300H" Outdoor F "INT": 300 m, 7 x 762, 50_000 35_000 40_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "110H" Outdoor M "SEN-SCH": 110 m, 10 x 991, 13_720 9_140 14_020; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used. Page prints 99.0.";
    "ESAA" "400H" Outdoor M "SEN-SCH": 400 m, 10 x 914, 45_000 35_000 40_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "100H" Outdoor F "SEN-SCH": 100 m, 10 x 838, 13_000 8_500 10_500; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "400H" Outdoor F "SEN-SCH": 400 m, 10 x 762, 45_000 35_000 40_000; Page "ESAA-TF+EA-FACT" "ESAA-TF prints an older rounded height; the inch-exact one of EA-FACT is used.";
    "ESAA" "70H" Outdoor X "Y7-8": 70 m, 8 x 680, 11_000 7_000 10_000; Page "WMSAA-2025" "Option for school years 7 and 8: 70 m at 68 or 76 cm; lower option entered.";
    "ESAA" "75H" Outdoor X "Y7-8": 75 m, 8 x 680, 11_500 7_500 11_000; Page "WMSAA-2025" "Option for school years 7 and 8: 75 m at 68 or 76 cm; lower option entered.";
    "ESAA" "80H" Outdoor X "Y7-8": 80 m, 8 x 760, 12_000 8_000 12_000; Page "WMSAA-2025" "Option for school years 7 and 8: 80 m at 76 cm.";
    "IAAA" "75H" Outdoor M "MINOR": 75 m, 8 x 762, 11_500 7_500 11_000; Page "MUNSTER+EA-FACT" "Block without a heading; read as boys first, girls second.";
    "IAAA" "80H" Outdoor M "JUN": 80 m, 8 x 838, 12_000 8_000 12_000; Page "MUNSTER+EA-FACT" "Block without a heading; read as boys first, girls second.";
    "IAAA" "100H" Outdoor M "INT": 100 m, 10 x 914, 13_000 8_500 10_500; Page "MUNSTER+EA-FACT" "Block without a heading; read as boys first, girls second.";
    "IAAA" "400H" Outdoor M "INT": 400 m, 10 x 838, 45_000 35_000 40_000; Page "MUNSTER+EA-FACT" "Block without a heading; read as boys first, girls second.";
    "IAAA" "110H" Outdoor M "SEN-SCH": 110 m, 10 x 991, 13_720 9_140 14_020; Page "MUNSTER+EA-FACT" "Block without a heading; read as boys first, girls second. Page prints 99.0 cm.";
    "IAAA" "400H" Outdoor M "SEN-SCH": 400 m, 10 x 914, 45_000 35_000 40_000; Page "MUNSTER" "Block without a heading; read as boys first, girls second.";
    "IAAA" "75H" Outdoor F "MINOR": 75 m, 8 x 686, 11_500 7_500 11_000; Page "MUNSTER" "Block without a heading; read as boys first, girls second. Prints 68.6 cm.";
    "IAAA" "75H" Outdoor F "JUN": 75 m, 8 x 762, 11_500 7_500 11_000; Page "MUNSTER" "Block without a heading; read as boys first, girls second.";
    "IAAA" "80H" Outdoor F "INT": 80 m, 8 x 762, 12_000 8_000 12_000; Page "MUNSTER" "Block without a heading; read as boys first, girls second.";
    "IAAA" "300H" Outdoor F "INT": 300 m, 7 x 762, 50_000 35_000 40_000; Page "MUNSTER" "Block without a heading; read as boys first, girls second.";
    "IAAA" "100H" Outdoor F "SEN-SCH": 100 m, 10 x 838, 13_000 8_500 10_500; Page "MUNSTER" "Block without a heading; read as boys first, girls second.";
    "IAAA" "400H" Outdoor F "SEN-SCH": 400 m, 10 x 762, 45_000 35_000 40_000; Page "MUNSTER" "Block without a heading; read as boys first, girls second.";
};
