//! Archives as an export makes them, put together by hand.

use std::io::{Cursor, Write};

use aws_lc_rs::digest::{SHA256, digest};
use lanewright::platform::audit::hex;
use serde_json::{Value, json};
use uuid::Uuid;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// A file of an archive: its path and what is in it.
pub type File = (String, Vec<u8>);

/// The files and nothing else.
pub fn packed(files: &[File]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (path, content) in files {
        zip.start_file(path, SimpleFileOptions::default()).unwrap();
        zip.write_all(content).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// What a manifest says of these files, as `of` says.
pub fn manifest(of: &Value, files: &[File]) -> Value {
    let listed: Vec<Value> = files
        .iter()
        .map(|(path, content)| {
            let sum = hex(digest(&SHA256, content).as_ref());
            let records = content.split(|byte| *byte == b'\n').count() - 1;
            json!({"path": path, "records": records, "bytes": content.len(), "sha256": sum})
        })
        .collect();
    let mut all = json!({"format": "lanewright-export", "version": 1, "files": listed});
    all.as_object_mut().unwrap().extend(of.as_object().unwrap().clone());
    all
}

/// The files with a manifest that fits them.
pub fn sealed(of: &Value, files: &[File]) -> Vec<u8> {
    let told = ("manifest.json".to_owned(), serde_json::to_vec(&manifest(of, files)).unwrap());
    packed(&[files, &[told]].concat())
}

/// Rows as a file of a table.
pub fn table(name: &str, rows: &[Value]) -> File {
    (format!("json/{name}.ndjson"), rows.iter().flat_map(|row| format!("{row}\n").into_bytes()).collect())
}

/// An athlete as a row.
pub fn athlete(name: &str) -> Value {
    json!({"id": Uuid::now_v7(), "rev": 7, "display_name": name, "sex": "F", "birth_date": "2012-05-17", "birth_year": null,
        "preferred_lead_leg": null, "approach_strides": null, "experience": "novice", "status": "active", "status_on": null,
        "restricted_until": null, "consent_on": null, "withheld": [], "created_at": "2026-09-01T10:00:00+00:00",
        "updated_at": "2026-09-01T10:00:00+00:00", "deleted_at": null})
}

/// The archive of an athlete of whom nothing else is known.
pub fn of_athlete(name: &str) -> Vec<u8> {
    let athlete = athlete(name);
    sealed(&json!({"of": "athlete", "athlete_id": athlete["id"]}), &[table("athletes", &[athlete])])
}
