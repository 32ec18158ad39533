//! What a client must know of our limits before it meets them, from the constants that decide them.

use actix_web::HttpResponse;
use actix_web::http::header::CACHE_CONTROL;
use serde::Serialize;
use utoipa::ToSchema;

use super::{bodies, http, intake, retention_store, wait};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::{access, batch, body, holding, lanes, page, token};
use crate::resources::{accounts, athletes, exports, imports};

/// Limits of the service. Those of single fields stand in the OpenAPI document.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Limits)]
struct View {
    /// The largest JSON body of a request other than a push, as sent and unpacked, bytes.
    #[schema(minimum = 1, example = 2_097_152)]
    body_bytes: usize,
    /// Records in one batch of runs, assessments, well-being records or race results.
    #[schema(minimum = 1, example = 500)]
    batch_items: usize,
    /// Pages of lists.
    list: PageLimits,
    /// The roster as a file.
    roster: RosterLimits,
    /// Exports and their archives.
    archives: ArchiveLimits,
    /// Reading changes.
    pull: PullLimits,
    /// Handing in what a phone did.
    push: PushLimits,
    /// How many recorded facts may wait for an admin.
    held: HeldLimits,
    /// How long tokens hold.
    sign_in: SignInLimits,
    /// Apps of a club that are not revoked; another one is refused (409).
    #[schema(minimum = 1, example = 100)]
    apps: i64,
}

/// Records on a page.
#[derive(Debug, Serialize, ToSchema)]
struct PageLimits {
    /// When `limit` is absent.
    #[schema(minimum = 1, example = 50)]
    limit_default: u16,
    /// At most.
    #[schema(minimum = 1, example = 200)]
    limit_max: u16,
}

/// The roster as a file.
#[derive(Debug, Serialize, ToSchema)]
struct RosterLimits {
    /// Bytes, as sent and unpacked.
    #[schema(minimum = 1, example = 1_048_576)]
    bytes: usize,
    /// Rows.
    #[schema(minimum = 1, example = 2000)]
    rows: usize,
}

/// Exports and their archives.
#[derive(Debug, Serialize, ToSchema)]
struct ArchiveLimits {
    /// Exports that a club has at once.
    #[schema(minimum = 1, example = 20)]
    exports: usize,
    /// Hours that an archive is kept.
    #[schema(minimum = 1, example = 72)]
    kept_hours: i64,
    /// The largest archive that is imported, bytes.
    #[schema(minimum = 1, example = 1_073_741_824)]
    import_bytes: usize,
    /// What its tables unpack to at most, bytes.
    #[schema(minimum = 1, example = 4_294_967_296_u64)]
    import_unpacked_bytes: u64,
    /// Records of one import.
    #[schema(minimum = 1, example = 5_000_000)]
    import_records: u64,
}

/// Reading changes.
#[derive(Debug, Serialize, ToSchema)]
struct PullLimits {
    /// Changes on a page when `limit` is absent.
    #[schema(minimum = 1, example = 500)]
    limit_default: u16,
    /// Changes on a page at most.
    #[schema(minimum = 1, example = 2000)]
    limit_max: u16,
    /// Bytes of records after which a page ends; one record alone may be larger.
    #[schema(minimum = 1, example = 1_048_576)]
    page_bytes: usize,
    /// The longest `Prefer: wait`, seconds.
    #[schema(minimum = 1, example = 25)]
    wait_seconds: u64,
    /// Groups that `groups` may name.
    #[schema(minimum = 1, example = 20)]
    groups: usize,
    /// Days that the log goes back at least; an older token is answered 410.
    #[schema(minimum = 1, example = 90)]
    log_days: i64,
}

/// Handing in what a phone did.
#[derive(Debug, Serialize, ToSchema)]
struct PushLimits {
    /// Items.
    #[schema(minimum = 1, example = 500)]
    items: usize,
    /// Bytes as sent, packed or not.
    #[schema(minimum = 1, example = 1_048_576)]
    bytes: usize,
    /// Bytes unpacked.
    #[schema(minimum = 1, example = 4_194_304)]
    unpacked_bytes: usize,
    /// Pushes of a club that are worked on at once; a few more wait.
    #[schema(minimum = 1, example = 2)]
    at_work: usize,
    /// Days that a repeat of an edit is answered like the edit.
    #[schema(minimum = 1, example = 90)]
    receipt_days: i64,
    /// Days that somebody who left the club may still push.
    #[schema(minimum = 1, example = 30)]
    hand_in_days: i64,
}

/// How many recorded facts may wait for an admin.
#[derive(Debug, Serialize, ToSchema)]
struct HeldLimits {
    /// Of one phone.
    #[schema(minimum = 1, example = 2000)]
    device: i64,
    /// Of one member, from all phones.
    #[schema(minimum = 1, example = 10000)]
    member: i64,
    /// Of somebody who left the club.
    #[schema(minimum = 1, example = 2000)]
    former_member: i64,
}

/// How long tokens hold.
#[derive(Debug, Serialize, ToSchema)]
struct SignInLimits {
    /// An access token, seconds.
    #[schema(minimum = 1, example = 900)]
    access_seconds: i64,
    /// A refresh token that is not used, seconds.
    #[schema(minimum = 1, example = 5_184_000)]
    refresh_seconds: i64,
    /// A sign-in, days, however often it is refreshed.
    #[schema(minimum = 1, example = 400)]
    days: i64,
    /// Sign-ins of one account at a time; one more ends the one used least lately.
    #[schema(minimum = 1, example = 50)]
    at_once: i64,
}

impl View {
    const fn now() -> Self {
        Self {
            body_bytes: body::MAX_BYTES,
            batch_items: batch::MAX_ITEMS,
            list: PageLimits { limit_default: page::DEFAULT_LIMIT, limit_max: page::MAX_LIMIT },
            archives: ArchiveLimits {
                exports: exports::MOST,
                kept_hours: exports::KEPT_HOURS,
                import_bytes: imports::BYTES,
                import_unpacked_bytes: imports::UNPACKED,
                import_records: imports::RECORDS,
            },
            roster: RosterLimits { bytes: athletes::roster::MAX_BYTES, rows: athletes::roster::MAX_ROWS },
            pull: PullLimits {
                limit_default: http::DEFAULT_LIMIT,
                limit_max: http::MAX_LIMIT,
                page_bytes: bodies::MAX_BYTES,
                wait_seconds: wait::MAX_SECONDS,
                groups: http::MAX_GROUPS,
                log_days: retention_store::DAYS,
            },
            push: PushLimits {
                items: intake::ITEMS,
                bytes: intake::LIMITS.wire,
                unpacked_bytes: intake::LIMITS.unpacked,
                at_work: lanes::PUSHES,
                receipt_days: retention_store::DAYS,
                hand_in_days: access::HAND_IN_DAYS,
            },
            held: HeldLimits {
                device: holding::HELD_PER_DEVICE,
                member: holding::HELD_PER_MEMBER,
                former_member: holding::HELD_PER_FORMER,
            },
            sign_in: SignInLimits {
                access_seconds: token::ACCESS_SECONDS,
                refresh_seconds: token::REFRESH_SECONDS,
                days: token::SIGN_IN_DAYS,
                at_once: token::SIGN_INS,
            },
            apps: accounts::MAX_APPS,
        }
    }
}

/// The limits of the service.
#[utoipa::path(
    get, path = "/v1/limits", impl_for = get_limits, tag = "service",
    responses((status = 200, description = "The limits", body = View))
)]
async fn get_limits() -> Result<HttpResponse, Problem> {
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "public, max-age=3600")).json(View::now()))
}

routes!(get_limits);
