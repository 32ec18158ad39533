//! The list of athletes who were erased, kept outside the database: a copy that is restored knows nothing of those who were
//! erased after it was made. One line for each: the club's id, a space, the athlete's id; its own id twice for a club
//! or an account that was deleted.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::Path;

use uuid::Uuid;

use super::ids::ClubId;

/// Those who were erased, by club.
pub type Erased = BTreeMap<ClubId, BTreeSet<Uuid>>;

/// The clubs and accounts that were deleted themselves.
pub fn gone(all: &Erased) -> Vec<Uuid> {
    all.iter().filter(|(club, ids)| ids.contains(&club.0)).map(|(club, _)| club.0).collect()
}

/// Adds lines, and waits until they are on the disk.
///
/// # Errors
/// When the file cannot be written.
pub fn add(file: &Path, lines: &[(ClubId, Uuid)]) -> io::Result<()> {
    if lines.is_empty() {
        return Ok(());
    }
    let mut list = OpenOptions::new().create(true).append(true).open(file)?;
    // A line that was cut off by a crash ends here, and is no line.
    let lines = lines.iter().map(|(club, athlete)| format!("{} {athlete}\n", club.0));
    let text: String = std::iter::once("\n".to_owned()).chain(lines).collect();
    list.write_all(text.as_bytes())?;
    list.sync_data()
}

/// Reads the list; an absent file is an empty one. What is no line is passed over.
///
/// # Errors
/// When the file is there and cannot be read.
pub fn read(file: &Path) -> io::Result<Erased> {
    let mut text = String::new();
    match File::open(file) {
        Ok(mut list) => list.read_to_string(&mut text)?,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Erased::new()),
        Err(error) => return Err(error),
    };
    let mut all = Erased::new();
    for line in text.lines() {
        let ids = line.trim().split_once(' ');
        let ids = ids.and_then(|(club, athlete)| Some((Uuid::try_parse(club).ok()?, Uuid::try_parse(athlete).ok()?)));
        if let Some((club, athlete)) = ids {
            all.entry(ClubId(club)).or_default().insert(athlete);
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_is_read_as_it_was_written_also_after_a_line_that_broke_off() {
        let file = std::env::temp_dir().join(format!("erasures-{}", Uuid::now_v7()));
        assert!(read(&file).unwrap().is_empty());
        let (club, other) = (ClubId::new(), ClubId::new());
        let [a, b, c] = [(); 3].map(|()| Uuid::now_v7());
        add(&file, &[(club, a), (other, b)]).unwrap();
        let mut text = std::fs::read(&file).unwrap();
        text.extend(format!("{} {}", club.0, &c.to_string()[..20]).bytes());
        std::fs::write(&file, text).unwrap();
        add(&file, &[(club, b)]).unwrap();
        let found = read(&file).unwrap();
        std::fs::remove_file(&file).unwrap();
        assert_eq!(found, Erased::from([(club, BTreeSet::from([a, b])), (other, BTreeSet::from([b]))]));
    }
}
