//! The first sheet of an XLSX workbook, which is an archive: everything in it is unpacked once, counted, before any of it is read.

use std::collections::BTreeMap;
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};

use calamine::{DataRef, ExcelDateTime, Reader, Xlsx};
use chrono::NaiveDate;
use zip::ZipArchive;

use super::{Bounds, Cell, Line, Sheet};
use crate::platform::fault::Fault;

/// The media type.
pub const MEDIA: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
/// Most parts of an archive; a workbook of a spreadsheet program has about a dozen.
const PARTS: usize = 500;
/// Most cells that are looked at, empty ones with a format among them, for each row that may be.
const CELLS_A_ROW: usize = 64;
/// What is unpacked at once, bytes.
const PIECE: usize = 32 * 1024;

fn unreadable() -> Vec<Fault> {
    let detail = "cannot be read as XLSX; save it as an Excel workbook (.xlsx) without a password, or send it as CSV";
    vec![Fault::at("/file", "xlsx", detail)]
}

/// Reads the first sheet.
///
/// # Errors
/// Faults of the file as a whole: no workbook, unpacked larger than the bounds, too many rows or columns, a cell that holds an
/// error of the spreadsheet.
pub fn read(bytes: &[u8], bounds: &Bounds) -> Result<Sheet, Vec<Fault>> {
    check_size(bytes, bounds)?;
    // The reader adds up what the file claims; a claim that overflows is a broken file, not a broken service.
    catch_unwind(AssertUnwindSafe(|| first_sheet(bytes, bounds))).unwrap_or_else(|_| Err(unreadable()))
}

/// Unpacks everything, as far as the bounds, and forgets it.
fn check_size(bytes: &[u8], bounds: &Bounds) -> Result<(), Vec<Fault>> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| unreadable())?;
    let (mut left, mut piece) = (bounds.unpacked, vec![0; PIECE]);
    if archive.len() > PARTS {
        return Err(unreadable());
    }
    for part in 0..archive.len() {
        let mut part = archive.by_index(part).map_err(|_| unreadable())?;
        loop {
            let count = part.read(&mut piece).map_err(|_| unreadable())?;
            if count == 0 {
                break;
            }
            left = left.checked_sub(count).ok_or_else(|| {
                let most = bounds.unpacked;
                let detail =
                    format!("may hold {most} bytes unpacked; copy the rows into a new workbook, or split the file");
                vec![Fault::at("/file", "length", detail)]
            })?;
        }
    }
    Ok(())
}

fn first_sheet(bytes: &[u8], bounds: &Bounds) -> Result<Sheet, Vec<Fault>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(|_| unreadable())?;
    let name = book.sheet_names().into_iter().next().ok_or_else(unreadable)?;
    let mut cells = book.worksheet_cells_reader(&name).map_err(|_| unreadable())?;
    // By row and column: nothing is kept for what does not stand in the sheet, whatever it says of its size.
    let mut found: BTreeMap<(u32, u32), Cell> = BTreeMap::new();
    let mut broken = Vec::new();
    for _ in 0..=CELLS_A_ROW * (bounds.rows + 1) {
        let Some(next) = cells.next_cell().map_err(|_| unreadable())? else {
            return if broken.is_empty() { table(&found, bounds) } else { Err(broken) };
        };
        let place = next.get_position();
        match cell(next.get_value()) {
            Ok(Some(cell)) => {
                found.insert(place, cell);
            }
            Err(detail) if broken.len() < 100 => {
                broken.push(Fault::at(format!("/rows/{}", u64::from(place.0) + 1), "value", detail));
            }
            Ok(None) | Err(_) => {}
        }
    }
    Err(vec![bounds.too_many_rows()])
}

/// What a cell says; none for an empty one.
fn cell(value: &DataRef<'_>) -> Result<Option<Cell>, String> {
    let text = |text: &str| Some(Cell::Text(text.trim().to_owned())).filter(|cell| !cell.text().is_empty());
    Ok(match value {
        DataRef::Empty => None,
        #[allow(clippy::cast_precision_loss)] // a spreadsheet has no other numbers
        DataRef::Int(number) => Some(Cell::Number(*number as f64)),
        DataRef::Float(number) => Some(Cell::Number(*number)),
        DataRef::String(string) => text(string),
        DataRef::SharedString(string) => text(string),
        DataRef::Bool(yes) => text(if *yes { "true" } else { "false" }),
        DataRef::DateTime(at) if at.is_duration() => Some(Cell::Number(at.as_f64())),
        DataRef::DateTime(at) => Some(Cell::Day(day(at).ok_or("holds a time of day where only a date can stand")?)),
        DataRef::DateTimeIso(iso) => text(iso.strip_suffix("T00:00:00").unwrap_or(iso)),
        DataRef::DurationIso(iso) => text(iso),
        DataRef::Error(error) => return Err(format!("holds an error of the spreadsheet ({error}); correct the cell")),
    })
}

fn day(at: &ExcelDateTime) -> Option<NaiveDate> {
    let (year, month, day, hour, minute, second, milli) = at.to_ymd_hms_milli();
    let whole = (hour, minute, second, milli) == (0, 0, 0, 0);
    NaiveDate::from_ymd_opt(i32::from(year), u32::from(month), u32::from(day)).filter(|_| whole)
}

/// The cells as a table whose header is the first row in which something stands.
fn table(found: &BTreeMap<(u32, u32), Cell>, bounds: &Bounds) -> Result<Sheet, Vec<Fault>> {
    let top = found.keys().next().map_or(0, |(row, _)| *row);
    let left = found.keys().map(|(_, column)| *column).min().unwrap_or(0);
    let width = found.keys().map(|(_, column)| column - left + 1).max().unwrap_or(0) as usize;
    if width > bounds.columns {
        return Err(vec![bounds.too_many_columns()]);
    }
    let mut rows: BTreeMap<u32, Vec<Option<Cell>>> = BTreeMap::new();
    for ((row, column), cell) in found {
        let cells = rows.entry(*row).or_insert_with(|| vec![None; width]);
        if let Some(place) = cells.get_mut((column - left) as usize) {
            *place = Some(cell.clone());
        }
    }
    let header = rows.remove(&top).unwrap_or_default();
    if rows.len() > bounds.rows {
        return Err(vec![bounds.too_many_rows()]);
    }
    let name = |cell: &Option<Cell>| cell.as_ref().map(|cell| cell.text().into_owned()).unwrap_or_default();
    let line = |(row, cells)| Line { line: u64::from(row) + 1, cells };
    Ok(Sheet { header: header.iter().map(name).collect(), rows: rows.into_iter().map(line).collect() })
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use zip::write::{SimpleFileOptions, ZipWriter};

    use super::*;

    const BOUNDS: Bounds = Bounds { rows: 20, columns: 4, unpacked: 64 * 1024 };
    const RELS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#;
    const ROOT: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
    const BOOK: &str = r#"<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>"#;

    fn packed(parts: &[(&str, &[u8])]) -> Vec<u8> {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, bytes) in parts {
            zip.start_file(*name, SimpleFileOptions::default()).unwrap();
            zip.write_all(bytes).unwrap();
        }
        zip.finish().unwrap().into_inner()
    }

    fn book(sheet: &str) -> Vec<u8> {
        let sheet = format!(
            r#"<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{sheet}</worksheet>"#
        );
        packed(&[
            ("_rels/.rels", ROOT.as_bytes()),
            ("xl/workbook.xml", BOOK.as_bytes()),
            ("xl/_rels/workbook.xml.rels", RELS.as_bytes()),
            ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
        ])
    }

    fn rows(cells: &str) -> Result<Sheet, Vec<Fault>> {
        read(&book(&format!("<sheetData>{cells}</sheetData>")), &BOUNDS)
    }

    fn fault(result: Result<Sheet, Vec<Fault>>) -> (String, String) {
        let fault = result.unwrap_err().remove(0);
        (fault.pointer.unwrap(), fault.code)
    }

    #[test]
    fn cells_are_read_where_they_stand() {
        let sheet = rows(
            r#"<row r="3"><c r="B3" t="inlineStr"><is><t>name</t></is></c><c r="C3" t="inlineStr"><is><t>n</t></is></c></row>
               <row r="4"><c r="B4" s="0"/></row>
               <row r="7"><c r="C7"><v>1.5</v></c></row>"#,
        )
        .unwrap();
        assert_eq!(sheet.header, ["name", "n"]);
        assert_eq!(sheet.rows, [Line { line: 7, cells: vec![None, Some(Cell::Number(1.5))] }]);
    }

    #[test]
    fn an_archive_is_unpacked_no_further_than_its_bounds() {
        let zeros = vec![b' '; 32 * 1024 * 1024];
        let bomb = packed(&[("xl/workbook.xml", BOOK.as_bytes()), ("xl/media/image1.png", &zeros)]);
        assert!(bomb.len() < 64 * 1024, "{} bytes", bomb.len());
        assert_eq!(fault(read(&bomb, &BOUNDS)), ("/file".to_owned(), "length".to_owned()));
        let many: Vec<(String, Vec<u8>)> = (0..=PARTS).map(|n| (format!("part{n}"), Vec::new())).collect();
        let many: Vec<(&str, &[u8])> = many.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
        assert_eq!(fault(read(&packed(&many), &BOUNDS)), ("/file".to_owned(), "xlsx".to_owned()));
    }

    #[test]
    fn what_a_sheet_says_of_its_size_costs_nothing_and_what_it_holds_is_counted() {
        let corners = r#"<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>"#;
        assert_eq!(fault(rows(corners)), ("/header".to_owned(), "too_many".to_owned()));
        let far = r#"<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="A1048576"><v>1</v></c></row>"#;
        assert_eq!(rows(far).unwrap().rows[0].line, 1_048_576);
        let long: Vec<String> =
            (1..=22).map(|row| format!(r#"<row r="{row}"><c r="A{row}"><v>1</v></c></row>"#)).collect();
        assert_eq!(fault(rows(&long.concat())), ("/rows".to_owned(), "too_many".to_owned()));
        let blank = "<c/>".repeat(CELLS_A_ROW * 21 + 1);
        assert_eq!(fault(rows(&format!("<row>{blank}</row>"))), ("/rows".to_owned(), "too_many".to_owned()));
    }

    #[test]
    fn what_is_no_workbook_is_refused() {
        let unreadable = ("/file".to_owned(), "xlsx".to_owned());
        assert_eq!(fault(read(b"display_name,sex\n", &BOUNDS)), unreadable);
        assert_eq!(fault(read(b"", &BOUNDS)), unreadable);
        let whole = book("<sheetData/>");
        assert_eq!(fault(read(&whole[..whole.len() / 2], &BOUNDS)), unreadable);
        assert_eq!(fault(read(&packed(&[("readme.txt", b"x")]), &BOUNDS)), unreadable);
        for odd in ["AAAAAAAAAAAAAAAA1", "A99999999999999", "1A", "A0", ""] {
            let cell = format!(r#"<row><c r="{odd}"><v>1</v></c></row>"#);
            assert_eq!(fault(rows(&cell)), unreadable, "{odd}");
        }
        let overflow = r#"<dimension ref="B2:A1"/><sheetData/>"#;
        // Whether its claim overflows or not, it is answered.
        let _ = read(&book(overflow), &BOUNDS).map_err(|faults| assert!(!faults.is_empty()));
        let error = r#"<row r="1"><c r="A1" t="e"><v>#REF!</v></c></row>"#;
        assert_eq!(fault(rows(error)), ("/rows/1".to_owned(), "value".to_owned()));
    }
}
