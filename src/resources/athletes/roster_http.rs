//! Import and export of the roster over HTTP.

use std::collections::HashMap;

use actix_web::web::{Data, Payload};
use actix_web::{HttpRequest, HttpResponse};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::measured_store;
use super::roster::{self, Context, Row, Wanted};
use super::roster_file::{self, Shown};
use super::roster_store;
use super::store;
use crate::platform::accept::{Format, among};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::intake::{self, Limits};
use crate::platform::lanes::Lanes;
use crate::platform::params::Params;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::sheets::csv::{self, Separator};
use crate::platform::sheets::dialect::{DateOrder, Decimal, Declared};
use crate::platform::sheets::{Sheet, xlsx};

/// 1 MiB, as sent and unpacked.
const LIMITS: Limits =
    Limits { wire: roster::MAX_BYTES, unpacked: roster::MAX_BYTES, remedy: "Split the file; nothing was stored." };

/// The tables that an import fills.
const FILLED: [&str; 4] = ["athletes", "measurements", "root_scope", "club_change"];

/// How to import.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ImportParams {
    /// Only report what would happen.
    #[serde(default)]
    dry_run: bool,
    /// You looked again, and what hardly ever is at the age of an athlete (`confirm`) is right.
    #[serde(default)]
    confirmed: bool,
    /// What stands between cells; found in the header, or in a first line `sep=;`, when absent. Not used for XLSX.
    #[param(value_type = Option<Separator>, inline, example = "semicolon")]
    separator: Option<String>,
    /// The sign before decimals; when absent the one that all numbers of the file have.
    #[param(value_type = Option<Decimal>, inline, example = "comma")]
    decimal: Option<String>,
    /// The order of dates that do not begin with the year; when absent the one that the file's unmistakable dates have, such
    /// as 17.05.2013.
    #[param(value_type = Option<DateOrder>, inline, example = "day_first")]
    dates: Option<String>,
}

impl ImportParams {
    /// What the sender says of the file.
    fn declared(&self) -> Result<(Option<Separator>, Declared), Problem> {
        fn word<T>(name: &str, word: Option<&str>, parse: fn(&str) -> Result<T, String>) -> Result<Option<T>, Problem> {
            word.map(parse).transpose().map_err(|detail| Problem::malformed(Fault::of(name, "word", detail)))
        }
        let separator = word("separator", self.separator.as_deref(), Separator::parse)?;
        let decimal = word("decimal", self.decimal.as_deref(), Decimal::parse)?;
        let dates = word("dates", self.dates.as_deref(), DateOrder::parse)?;
        Ok((separator, Declared { decimal, dates }))
    }
}

/// What became of one row, or would in a dry run.
///
/// - `created`: Somebody new was added.
/// - `changed`: Somebody whom the row names by id was changed.
/// - `unchanged`: Nothing: the club has this athlete so, or the row has no id and there is somebody of this name and birth.
/// - `conflict`: Nothing: what the row changes was changed by somebody else since the file was written.
/// - `rejected`: Nothing: it is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = ImportedRowStatus)]
enum RowStatus {
    /// Somebody new was added.
    Created,
    /// Somebody whom the row names by id was changed.
    Changed,
    /// Nothing: the club has this athlete so, or the row has no id and there is somebody of this name and birth.
    Unchanged,
    /// Nothing: what the row changes was changed by somebody else since the file was written.
    Conflict,
    /// Nothing: it is broken.
    Rejected,
}

/// The outcome of one row.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ImportedRow)]
struct RowView {
    /// Line in the file, the first being line 1.
    #[schema(minimum = 1, example = 2)]
    row: u64,
    /// What became of it.
    status: RowStatus,
    /// The athlete; absent for somebody who would be added.
    #[serde(skip_serializing_if = "Option::is_none")]
    athlete_id: Option<AthleteId>,
    /// The columns in which the row differs from what the club knew.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false, max_items = 17, example = json!(["groups", "status"]))]
    columns: Vec<&'static str>,
    /// What is broken or in conflict, and what to do; each pointer is `/<column>`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    errors: Vec<Fault>,
}

/// The outcome of an import.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RosterImport)]
struct ImportView {
    /// Whether nothing was written.
    dry_run: bool,
    /// Rows whose athlete was, or would be, added.
    #[schema(minimum = 0, example = 24)]
    created: usize,
    /// Rows whose athlete was, or would be, changed.
    #[schema(minimum = 0, example = 3)]
    changed: usize,
    /// Rows whose athlete the club has so.
    #[schema(minimum = 0, example = 0)]
    unchanged: usize,
    /// Rows that change what somebody else changed.
    #[schema(minimum = 0, example = 0)]
    conflicts: usize,
    /// Broken rows.
    #[schema(minimum = 0, example = 0)]
    rejected: usize,
    /// One entry for each row, in order.
    #[schema(max_items = 2000)]
    rows: Vec<RowView>,
}

/// What becomes of each row; those that repeat an earlier row or an athlete of the club are told.
fn judge(rows: &[Row], known: &HashMap<roster::Person, AthleteId>, dry_run: bool) -> Vec<RowView> {
    let (mut people, mut ids) = (HashMap::new(), HashMap::new());
    let mut one = |row: &Row| {
        let (columns, id) = (Vec::new(), row.id);
        let view = |status: RowStatus, athlete_id, columns, errors| RowView {
            row: row.line,
            status,
            athlete_id,
            columns,
            errors,
        };
        let repeats = |column: &str, first: u64, what: &str| {
            let detail = format!("repeats line {first}: {what}");
            vec![Fault::at(format!("/{column}"), "duplicate_row", detail)]
        };
        if let Some(first) = id.and_then(|id| ids.insert(id, row.line)) {
            return view(RowStatus::Rejected, None, columns, repeats("id", first, "same id"));
        }
        let after = match &row.wanted {
            Err(errors) => return view(RowStatus::Rejected, None, columns, errors.clone()),
            Ok(Wanted::Conflict(errors)) => return view(RowStatus::Conflict, id, columns, errors.clone()),
            Ok(Wanted::Change(change)) => &change.after,
            Ok(Wanted::New(new)) => &new.athlete,
        };
        let person = roster::person(after);
        if let Some(first) = people.insert(person.clone(), row.line) {
            let errors = repeats("display_name", first, "same name and birth");
            return view(RowStatus::Rejected, None, columns, errors);
        }
        match &row.wanted {
            Ok(Wanted::Change(change)) if change.is_empty() => view(RowStatus::Unchanged, id, columns, Vec::new()),
            Ok(Wanted::Change(change)) => view(RowStatus::Changed, id, change.columns.clone(), Vec::new()),
            Ok(Wanted::New(new)) => match known.get(&person) {
                Some(id) => view(RowStatus::Unchanged, Some(*id), columns, Vec::new()),
                None => view(RowStatus::Created, Some(new.id).filter(|_| !dry_run), columns, Vec::new()),
            },
            Ok(Wanted::Conflict(_)) | Err(_) => view(RowStatus::Rejected, None, columns, Vec::new()),
        }
    };
    rows.iter().map(&mut one).collect()
}

/// The bytes of a file as a table whose columns are those of a roster.
fn read(bytes: &[u8], media: &str, separator: Option<Separator>) -> Result<Sheet, Vec<Fault>> {
    let sheet = match media {
        xlsx::MEDIA => xlsx::read(bytes, &roster::BOUNDS)?,
        _ => csv::read(bytes, separator, &roster::BOUNDS)?,
    };
    roster::check_header(&sheet)?;
    Ok(sheet)
}

async fn context(tx: &mut ClubTx, wanted: &[AthleteId], confirmed: bool) -> Result<Context, Problem> {
    let groups = roster_store::groups(tx).await?;
    Ok(Context {
        today: tx.today().await?,
        known: roster_store::known(tx, wanted).await?,
        names: groups.iter().cloned().collect(),
        groups: Context::named(&groups),
        confirmed,
        audience: tx.audience(),
    })
}

async fn import(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    (db, lanes): (Data<Db>, Data<Lanes>),
    params: ImportParams,
    (payload, media): (Payload, &'static str),
) -> Result<HttpResponse, Problem> {
    // Only an admin's file is taken in.
    permit.admit(&db).await?;
    let (separator, declared) = params.declared()?;
    if body::media_type(&req) != media {
        let detail =
            format!("Send the roster as text/csv to `athletes/import`, as {} to `athletes/import.xlsx`.", xlsx::MEDIA);
        return Err(Problem::new(Code::MediaType, detail));
    }
    let taken = intake::read(&req, payload.into_inner(), LIMITS).await?;
    let turn = lanes.squads.turn(permit.who()).await?;
    let sheet = turn.run(move || read(taken.bytes(), media, separator)).await??;
    let (dry_run, named) = (params.dry_run, roster::named(&sheet));
    let mut tx = if dry_run {
        permit.read(&db).await?
    } else {
        let mut tx = permit.write(&db).await?;
        tx.alone_all(named.iter().map(|id| id.0)).await?;
        roster_store::queue_import(&mut tx).await?;
        tx
    };
    let context = context(&mut tx, &named, params.confirmed).await?;
    let known = store::everyone(&mut tx).await?.iter().map(|one| (roster::person(&one.value), one.id)).collect();
    let rows = roster::rows(&sheet, declared, &context);
    let judged = judge(&rows, &known, dry_run);
    let count = |status: RowStatus| judged.iter().filter(|row| row.status == status).count();
    let mut view = ImportView {
        dry_run,
        created: count(RowStatus::Created),
        changed: count(RowStatus::Changed),
        unchanged: count(RowStatus::Unchanged),
        conflicts: count(RowStatus::Conflict),
        rejected: count(RowStatus::Rejected),
        rows: judged,
    };
    if dry_run {
        return Ok(HttpResponse::Ok().json(view));
    }
    if view.rejected + view.conflicts > 0 {
        return Err(Problem::invalid(all_faults(std::mem::take(&mut view.rows))));
    }
    if view.created + view.changed > 0 {
        let written = rows.into_iter().zip(&view.rows).filter(|(_, row)| row.status != RowStatus::Unchanged);
        roster_store::write(&mut tx, written.filter_map(|(row, _)| row.wanted.ok()).collect()).await?;
        tx.commit().await?;
        db.analyse_young(&FILLED).await;
    }
    Ok(HttpResponse::Created().json(view))
}

/// The faults of every row, each pointer as `/rows/<line>/<column>`.
fn all_faults(rows: Vec<RowView>) -> Vec<Fault> {
    let mut all = Faults::new();
    for row in rows {
        all.add_all(&format!("/rows/{}", row.row), row.errors);
    }
    all.finish::<()>(None).err().unwrap_or_default()
}

/// Imports a roster: every row or none. With `dry_run` nothing is written, and each row has the same answer.
///
/// A row with an `id` changes that athlete, in the columns that the file has; the others stay as they are, so a file of `id` and
/// `groups` moves a squad. An empty cell clears what may be empty. A row without an id adds somebody, unless the club has
/// somebody of this name and birth. With `rev`, which an export has, a row that changes what somebody else changed since
/// is a conflict; empty it to overwrite. A measurement with another value for its day takes the place of the one there was.
/// An export that nobody edited changes nothing.
///
/// UTF-8 with a header line, quotes as in RFC 4180. Columns: `id`, `rev`, `display_name`, `sex` (F or M), `birth_date` or
/// `birth_year`, `groups` (names, several separated by `|`), `preferred_lead_leg`, `approach_strides`, `experience` (novice or trained),
/// `status`, `consent_on`, `stature_m`, `leg_length_m`, `sprint_30m_s`, `sprint_50m_s`, `measured_on` (of the four
/// before it; today when empty). Without an id are required: display_name, sex, groups, experience and one of the birth columns.
/// Dates as `2013-05-17` and decimals with a point; also as 17.05.2013 and with a comma where `dates` and `decimal` say so or the
/// file leaves no doubt. Cells are separated by commas, semicolons or tabs. An apostrophe before `=`, `+`, `-` or `@`, which
/// an export writes so that no spreadsheet runs the cell, is taken off.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes/import", impl_for = import_athletes, tag = "athletes",
    request_body(
        content = String,
        content_type = "text/csv",
        description = "At most 1 MiB and 2,000 rows",
        example = "display_name,sex,birth_date,groups,experience,stature_m\nMira Osei,F,2013-05-17,Under 14,novice,1.52\n"
    ),
    responses(
        (status = 201, description = "Imported", body = ImportView),
        (status = 200, description = "Dry run", body = ImportView)
    )
)]
async fn import_athletes(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<ImportParams>,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    import(req, permit, (db, lanes), params.0, (payload, "text/csv")).await
}

/// Imports a roster from an XLSX workbook: every row or none, as a CSV file is imported.
///
/// The first sheet is read, its header in the first row that is not empty. Numbers and dates may be cells of their kind or
/// texts as in CSV. Unpacked, the workbook may have 8 MiB.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes/import.xlsx", impl_for = import_athletes_xlsx, tag = "athletes",
    request_body(
        content = String,
        content_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        description = "At most 1 MiB and 2,000 rows"
    ),
    responses(
        (status = 201, description = "Imported", body = ImportView),
        (status = 200, description = "Dry run", body = ImportView)
    )
)]
async fn import_athletes_xlsx(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<ImportParams>,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    import(req, permit, (db, lanes), params.0, (payload, xlsx::MEDIA)).await
}

/// Exports the whole roster in the columns of the import, each athlete with the latest day of measurements.
///
/// Edited in a spreadsheet and imported again, it changes the athletes that it names by `id`; `rev` says up to which change it
/// knows them.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/export", impl_for = export_athletes, tag = "athletes",
    params(("Accept" = Option<String>, Header, description = "text/csv (default) or XLSX")),
    responses(
        (status = 200, description = "The roster", content(
            (String = "text/csv"),
            (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
        )),
        (status = 406, description = "Neither is acceptable")
    )
)]
async fn export_athletes(
    req: HttpRequest,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
) -> Result<HttpResponse, Problem> {
    let turn = permit.turn(&db, &lanes.reads).await?;
    let mut tx = permit.read(&db).await?;
    let form = among(&req, &[Format::Csv, Format::Xlsx])?;
    let names: HashMap<GroupId, String> = roster_store::groups(&mut tx).await?.into_iter().collect();
    let athletes = store::everyone(&mut tx).await?;
    let ids: Vec<AthleteId> = athletes.iter().map(|one| one.id).collect();
    let mut measured = measured_store::by_athlete(&mut tx, &ids).await?;
    drop(tx);
    let shown = athletes.into_iter().map(|one| {
        let measured = measured.remove(&one.id).unwrap_or_default();
        let rev = measured.iter().map(|measured| measured.rev).fold(one.rev, i64::max);
        // What advice leaves out would be refused by an import.
        let counts = measured.iter().filter(|stored| !stored.value.implausible);
        Shown { id: one.id, rev, athlete: one.value, measured: counts.map(|stored| stored.value.measurement).collect() }
    });
    let shown: Vec<Shown> = shown.collect();
    let file = turn.run(move || {
        let table = roster_file::table(&shown, &names);
        if form == Format::Xlsx { table.xlsx() } else { table.csv() }
    });
    let file = file.await?.map_err(|_| Problem::new(Code::Internal, "The roster could not be written."))?;
    Ok(form.file("roster", "private, no-store").body(file))
}

routes!(import_athletes, import_athletes_xlsx, export_athletes);
