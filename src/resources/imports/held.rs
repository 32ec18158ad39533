//! Corrections whose ids come before those of what they correct: the clock of a phone was behind, or ids that tell no time. Rows come by
//! their ids, and the database takes none before what it refers to; so these wait until the others of their table are there.

use std::collections::HashSet;
use std::mem;

use serde_json::{Map, Value};
use uuid::Uuid;

use crate::platform::db::tables::Table;
use crate::platform::ids::read;

/// Most that waits, bytes.
const MOST: usize = 16 << 20;

/// A line of a table and what stands in it.
#[derive(Debug)]
pub struct Line {
    /// The line.
    pub text: Vec<u8>,
    /// What stands in it.
    pub row: Map<String, Value>,
}

/// A line that waits.
#[derive(Debug)]
struct Waiting {
    id: Uuid,
    refers: Vec<Uuid>,
    text: Vec<u8>,
}

/// What waits of a table.
#[derive(Debug, Default)]
pub struct Held {
    lines: Vec<Waiting>,
    ids: HashSet<Uuid>,
    bytes: usize,
}

fn id(row: &Map<String, Value>, column: &str) -> Option<Uuid> {
    row.get(column).and_then(read)
}

fn refers<'r>(table: &Table, row: &'r Map<String, Value>) -> impl Iterator<Item = Uuid> + use<'r> {
    table.own.iter().filter_map(move |column| id(row, column))
}

impl Held {
    /// Those of the next lines that refer to nothing that is still to come.
    ///
    /// # Errors
    /// A sentence, when too many wait.
    pub fn sift(&mut self, table: &Table, mut lines: Vec<Line>) -> Result<Vec<Line>, &'static str> {
        let last = lines.iter().filter_map(|line| id(&line.row, "id")).max();
        loop {
            let waits = |line: &Line| refers(table, &line.row).any(|to| Some(to) > last || self.ids.contains(&to));
            let (held, rest): (Vec<Line>, Vec<Line>) = lines.into_iter().partition(waits);
            if held.is_empty() {
                return Ok(rest);
            }
            for Line { text, row } in held {
                self.bytes += text.len();
                let id = id(&row, "id").unwrap_or_default();
                self.ids.insert(id);
                self.lines.push(Waiting { id, refers: refers(table, &row).collect(), text });
            }
            if self.bytes > MOST {
                return Err("more corrections stand before what they correct than are imported at once");
            }
            // Others of the page may correct those.
            lines = rest;
        }
    }

    /// Some whose turn it is once the others of the table are there, at most so many; none when nothing waits.
    pub fn next(&mut self, most: usize) -> Vec<Vec<u8>> {
        let free = |one: &Waiting| one.refers.iter().all(|to| !self.ids.contains(to));
        let (mut ready, mut rest): (Vec<Waiting>, Vec<Waiting>) =
            mem::take(&mut self.lines).into_iter().partition(free);
        if ready.is_empty() {
            // They refer to each other in a circle; what that means is for the table to say.
            mem::swap(&mut ready, &mut rest);
        }
        rest.extend(ready.split_off(ready.len().min(most)));
        self.lines = rest;
        for one in &ready {
            self.ids.remove(&one.id);
        }
        ready.into_iter().map(|one| one.text).collect()
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::platform::db::tables::named;

    /// A run by a number, which corrects another.
    fn line(number: u128, corrects: Option<u128>) -> Line {
        let row = json!({"id": Uuid::from_u128(number), "supersedes": corrects.map(Uuid::from_u128)});
        Line { text: number.to_string().into_bytes(), row: row.as_object().unwrap().clone() }
    }

    fn numbers(texts: impl IntoIterator<Item = Vec<u8>>) -> Vec<String> {
        texts.into_iter().map(|text| String::from_utf8(text).unwrap()).collect()
    }

    #[test]
    fn what_corrects_a_later_one_waits_and_whoever_corrects_it_as_well() {
        let (runs, mut held) = (named("runs").unwrap(), Held::default());
        let mut sift = |lines| numbers(held.sift(runs, lines).unwrap().into_iter().map(|line| line.text));
        // Of a page what corrects something in it can be written with it.
        assert_eq!(sift(vec![line(1, Some(3)), line(2, Some(9)), line(3, None), line(4, Some(2))]), ["1", "3"]);
        assert_eq!(sift(vec![line(5, Some(4)), line(6, Some(1)), line(9, None)]), ["6", "9"]);
        // From the beginning of the chain to its end, and no more at once than is asked for.
        let mut next = || numbers(held.next(1));
        assert_eq!([next(), next(), next(), next()], [vec!["2"], vec!["4"], vec!["5"], vec![]]);
    }

    #[test]
    fn a_circle_comes_to_an_end_and_too_many_are_refused() {
        let (runs, mut held) = (named("runs").unwrap(), Held::default());
        assert!(held.sift(runs, vec![line(1, Some(8)), line(2, None)]).unwrap().len() == 1);
        assert!(held.sift(runs, vec![line(8, Some(1))]).unwrap().is_empty());
        assert_eq!(numbers(held.next(500)), ["1", "8"]);
        assert!(held.next(500).is_empty());
        let large = Line { text: vec![b' '; MOST + 1], ..line(1, Some(8)) };
        assert!(held.sift(runs, vec![large]).is_err());
    }
}
