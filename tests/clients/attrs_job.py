"""The main job through the client that openapi-python-client generates: a module for each operation."""

import datetime
import io
import uuid
from typing import TypeVar

from attrs_client import AuthenticatedClient, Client
from attrs_client.api.accounts import sign_up
from attrs_client.api.athletes import export_athletes_csv, export_athletes_xlsx, import_athletes, import_athletes_xlsx
from attrs_client.api.competition_specs import adopt_competition_specs
from attrs_client.api.equipment import create_equipment
from attrs_client.api.groups import create_group
from attrs_client.api.lane_plans import (
    create_lane_plan,
    get_session_cards_html,
    get_set_out,
    get_set_out_csv,
    get_set_out_pdf,
    get_set_out_svg,
)
from attrs_client.api.progression import get_athlete_progression, get_athlete_progression_csv
from attrs_client.api.recommendations import get_recommendation
from attrs_client.api.rhythm import get_rhythm_cue_wav
from attrs_client.api.runs import create_runs, list_runs_xlsx
from attrs_client.api.sessions import create_calendar_feed, create_session, get_calendar, set_attendance
from attrs_client.api.sync import list_changes, push_changes
from attrs_client.api.venues import create_venue, update_venue
from attrs_client.models import (
    AthleteChange,
    AthletePatch,
    AttendanceInput,
    BarrierKind,
    BarrierRangeInput,
    CompetitionSpecAdoption,
    Environment,
    IntervalsInput,
    LanePlanRequestInput,
    Leg,
    NewCalendarFeed,
    NewClub,
    NewEquipment,
    NewGroup,
    NewSession,
    NewVenue,
    ProblemBody,
    PushAthlete,
    PushAthleteType,
    PushBatch,
    PushedVenue,
    PushMethod,
    PushResult,
    PushVenue,
    PushVenueType,
    RunBatch,
    RunFields,
    SessionState,
    SignUp,
    VenuePatch,
)
from attrs_client.types import UNSET, File, Response
from job import API, BOOK, CALENDAR, PAGE, PASSWORD, PDF, ROSTER, RUN_AT, SOUND, TODAY, email, secret


T = TypeVar("T")


def good(answer: Response[ProblemBody | T]) -> T:
    """The body of a good answer; a problem stops the program with its words."""
    if isinstance(answer.parsed, ProblemBody) or answer.parsed is None:
        raise SystemExit(f"{answer.status_code} {answer.content!r}")
    return answer.parsed


signed_up = good(
    sign_up.sync_detailed(
        client=Client(base_url=API),
        body=SignUp(
            email=email("attrs"),
            password=PASSWORD,
            display_name="Head Coach",
            club=NewClub(name="Harbour Hurdlers", time_zone="Europe/London", ruleset="UKA"),
        ),
    )
)
client = AuthenticatedClient(base_url=API, token=signed_up.tokens.access_token)
assert signed_up.club
club = signed_up.club.id

# The tour: what athletes race over, group, venue, barriers, roster, session, runs, advice, lanes, tape.
adoption = CompetitionSpecAdoption(from_="UKA-2024", valid_from=TODAY)
good(adopt_competition_specs.sync_detailed(club, client=client, body=adoption))
group = good(create_group.sync_detailed(club, client=client, body=NewGroup(name="Squad")))
track = NewVenue(name="Track", environment=Environment.OUTDOOR, straight_m=60, lanes=6)
venue = create_venue.sync_detailed(club, client=client, body=track)
for kind, heights in ((BarrierKind.WICKET, [0.3]), (BarrierKind.LOW_BARRIER, [0.4, 0.5, 0.6])):
    stock = NewEquipment(barrier_kind=kind, heights_m=heights, count=20)
    good(create_equipment.sync_detailed(club, client=client, body=stock))


def roster() -> File:
    return File(payload=io.BytesIO(ROSTER.encode()))


dry = good(import_athletes.sync_detailed(club, client=client, body=roster(), dry_run=True))
assert dry.created == 2 and dry.rejected == 0
imported = good(import_athletes.sync_detailed(club, client=client, body=roster()))
athletes = [row.athlete_id for row in imported.rows if row.athlete_id]
athlete = athletes[0]
planned = NewSession(held_on=TODAY, state=SessionState.HELD, group_ids=[group.id], venue_id=good(venue).id)
session = good(create_session.sync_detailed(club, client=client, body=planned)).id
run = RunFields(
    id=uuid.uuid4(),
    session_id=session,
    athlete_id=athlete,
    run_at=RUN_AT,
    barrier_kind=BarrierKind.WICKET,
    height_m=0.3,
    spacing_m=6,
    barriers=5,
    intervals=IntervalsInput(held=4),
)
runs = good(create_runs.sync_detailed(club, client=client, body=RunBatch(runs=[run])))
assert runs.results[0].status == "created"
advice = good(get_recommendation.sync_detailed(club, athlete, client=client))
assert advice.reasons and advice.decision.kind
there = AttendanceInput(present=athletes)
good(set_attendance.sync_detailed(club, session, client=client, body=there))
wanted = LanePlanRequestInput(lanes=2, capacity=4, barriers=BarrierRangeInput(min_=4, max_=6))
plan = good(create_lane_plan.sync_detailed(club, session, client=client, body=wanted)).id
assert good(get_set_out.sync_detailed(club, session, plan, client=client)).lanes
assert b"lane" in get_set_out_csv.sync_detailed(club, session, plan, client=client).content
assert b"<svg" in good(get_set_out_svg.sync_detailed(club, session, plan, client=client)).payload.read()
good(get_athlete_progression.sync_detailed(club, athlete, client=client))
assert b"," in get_athlete_progression_csv.sync_detailed(club, athlete, client=client).content

# Files: documents, tables, a sound and a calendar; the roster goes out as a workbook and comes in again.
assert good(get_set_out_pdf.sync_detailed(club, session, plan, client=client)).payload.read().startswith(PDF)
assert get_session_cards_html.sync_detailed(club, session, client=client).content.startswith(PAGE)
assert list_runs_xlsx.sync_detailed(club, client=client).content.startswith(BOOK)
assert get_rhythm_cue_wav.sync_detailed(client=client, interval_time_s=1.1, intervals=4).content.startswith(SOUND)
feed = good(create_calendar_feed.sync_detailed(club, client=client, body=NewCalendarFeed()))
calendar = get_calendar.sync_detailed(client=client, link=secret(feed.href)).content
assert calendar.startswith(CALENDAR) and str(session).encode() in calendar
assert b"Mira Osei" in export_athletes_csv.sync_detailed(club, client=client).content
book = export_athletes_xlsx.sync_detailed(club, client=client).content
assert book.startswith(BOOK)
again = good(import_athletes_xlsx.sync_detailed(club, client=client, body=File(payload=io.BytesIO(book))))
assert again.unchanged == 2 and again.rejected == 0, again


def change(lanes: int) -> Response[ProblemBody | object]:
    """A change of one field, on the version that was read."""
    answer = update_venue.sync_detailed(
        club, good(venue).id, client=client, body=VenuePatch(lanes=lanes), if_match=venue.headers["etag"]
    )
    return Response(answer.status_code, answer.content, answer.headers, answer.parsed)


assert change(8).status_code == 200
stale = change(4)
assert stale.status_code == 412 and isinstance(stale.parsed, ProblemBody) and stale.parsed.type_ == "/problems/stale"

# One sync round: everything, a push of what happened offline, the echo.
copy: dict[uuid.UUID, AthleteChange] = {}


def pull(token: str | None) -> str:
    """Reads every page that there is."""
    while True:
        page = good(list_changes.sync_detailed(club, client=client, sync_token=token or UNSET))
        copy.update({one.id: one for one in page.changes if isinstance(one, AthleteChange)})
        token = page.sync_token
        if not page.more:
            return token


token = pull(None)
shown = copy[athlete]
assert shown.data and shown.data.display_name == "Mira Osei"
hall = PushVenue(
    op_id=uuid.uuid4(),
    method=PushMethod.PUT,
    type_=PushVenueType.VENUE,
    id=uuid.uuid4(),
    if_none_match="*",
    data=PushedVenue(name="Hall", environment=Environment.INDOOR, straight_m=40, lanes=3),
)
leg = PushAthlete(
    op_id=uuid.uuid4(),
    method=PushMethod.PATCH,
    type_=PushAthleteType.ATHLETE,
    id=athlete,
    base_rev=shown.rev,
    data=AthletePatch(preferred_lead_leg=Leg.LEFT),
)
device = uuid.uuid4()


def push() -> list[PushResult]:
    batch = PushBatch(device_id=device, schema=1, sent_at=datetime.datetime.now(datetime.UTC), items=[hall, leg])
    return good(push_changes.sync_detailed(club, client=client, body=batch)).results


results = push()
assert [one.status for one in results] == [201, 200], results
assert all(one.replayed for one in push())
pull(token)
echo = copy[athlete]
assert echo.rev == results[1].rev and echo.data and echo.data.preferred_lead_leg == Leg.LEFT
print("attrs: the main job is done")
