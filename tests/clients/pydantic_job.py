"""The main job through the client that openapi-generator generates: a class for each tag."""

import datetime
import uuid

from job import API, BOOK, CALENDAR, PAGE, PASSWORD, PDF, ROSTER, RUN_AT, SOUND, TODAY, email, secret
from pydantic_client import ApiClient, Configuration
from pydantic_client.api.accounts_api import AccountsApi
from pydantic_client.api.athletes_api import AthletesApi
from pydantic_client.api.competition_specs_api import CompetitionSpecsApi
from pydantic_client.api.equipment_api import EquipmentApi
from pydantic_client.api.groups_api import GroupsApi
from pydantic_client.api.lane_plans_api import LanePlansApi
from pydantic_client.api.progression_api import ProgressionApi
from pydantic_client.api.recommendations_api import RecommendationsApi
from pydantic_client.api.rhythm_api import RhythmApi
from pydantic_client.api.runs_api import RunsApi
from pydantic_client.api.sessions_api import SessionsApi
from pydantic_client.api.sync_api import SyncApi
from pydantic_client.api.venues_api import VenuesApi
from pydantic_client.exceptions import ApiException
from pydantic_client.models.athlete_change import AthleteChange
from pydantic_client.models.athlete_patch import AthletePatch
from pydantic_client.models.attendance_input import AttendanceInput
from pydantic_client.models.barrier_kind import BarrierKind
from pydantic_client.models.barrier_range_input import BarrierRangeInput
from pydantic_client.models.competition_spec_adoption import CompetitionSpecAdoption
from pydantic_client.models.environment import Environment
from pydantic_client.models.intervals_input import IntervalsInput
from pydantic_client.models.lane_plan_request_input import LanePlanRequestInput
from pydantic_client.models.leg import Leg
from pydantic_client.models.new_club import NewClub
from pydantic_client.models.new_equipment import NewEquipment
from pydantic_client.models.new_group import NewGroup
from pydantic_client.models.new_session import NewSession
from pydantic_client.models.new_venue import NewVenue
from pydantic_client.models.problem_body import ProblemBody
from pydantic_client.models.push_athlete import PushAthlete
from pydantic_client.models.push_athlete_data import PushAthleteData
from pydantic_client.models.push_batch import PushBatch
from pydantic_client.models.push_item import PushItem
from pydantic_client.models.push_method import PushMethod
from pydantic_client.models.push_result import PushResult
from pydantic_client.models.push_venue import PushVenue
from pydantic_client.models.push_venue_data import PushVenueData
from pydantic_client.models.pushed_venue import PushedVenue
from pydantic_client.models.run_batch import RunBatch
from pydantic_client.models.run_fields import RunFields
from pydantic_client.models.session_state import SessionState
from pydantic_client.models.sign_up import SignUp
from pydantic_client.models.venue_patch import VenuePatch

configuration = Configuration(host=API)
client = ApiClient(configuration)
signed_up = AccountsApi(client).sign_up(
    SignUp(
        email=email("pydantic"),
        password=PASSWORD,
        display_name="Head Coach",
        club=NewClub(name="Harbour Hurdlers", time_zone="Europe/London", ruleset="UKA"),
    )
)
configuration.access_token = signed_up.tokens.access_token
assert signed_up.club
club = signed_up.club.id

# The tour: what athletes race over, group, venue, barriers, roster, session, runs, advice, lanes, tape.
adoption = CompetitionSpecAdoption.model_validate({"from": "UKA-2024", "valid_from": TODAY})
CompetitionSpecsApi(client).adopt_competition_specs(club, adoption)
group = GroupsApi(client).create_group(club, NewGroup(name="Squad"))
venues = VenuesApi(client)
venue = venues.create_venue_with_http_info(
    club, NewVenue(name="Track", environment=Environment.OUTDOOR, straight_m=60, lanes=6)
)
assert venue.headers
tag = {name.lower(): value for name, value in venue.headers.items()}["etag"]
for kind, heights in ((BarrierKind.WICKET, [0.3]), (BarrierKind.LOW_BARRIER, [0.4, 0.5, 0.6])):
    EquipmentApi(client).create_equipment(club, NewEquipment(barrier_kind=kind, heights_m=heights, count=20))
athletes_api = AthletesApi(client)
dry = athletes_api.import_athletes(club, ROSTER.encode(), dry_run=True)
assert dry.created == 2 and dry.rejected == 0
imported = athletes_api.import_athletes(club, ROSTER.encode())
athletes = [row.athlete_id for row in imported.rows if row.athlete_id]
athlete = athletes[0]
sessions = SessionsApi(client)
planned = NewSession(held_on=TODAY, state=SessionState.HELD, group_ids=[group.id], venue_id=venue.data.id)
session = sessions.create_session(club, planned).id
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
runs = RunsApi(client).create_runs(club, RunBatch(runs=[run]))
assert runs.results[0].status == "created"
advice = RecommendationsApi(client).get_recommendation(club, athlete)
assert advice.reasons and advice.decision.kind
sessions.set_attendance(club, session, AttendanceInput(present=athletes))
plans = LanePlansApi(client)
wanted = LanePlanRequestInput(lanes=2, capacity=4, barriers=BarrierRangeInput(min=4, max=6))
plan = plans.create_lane_plan(club, session, wanted).id
assert plans.get_set_out(club, session, plan).lanes
assert "lane" in plans.get_set_out_csv(club, session, plan)
assert b"<svg" in plans.get_set_out_svg(club, session, plan)
progression = ProgressionApi(client)
progression.get_athlete_progression(club, athlete)
assert "," in progression.get_athlete_progression_csv(club, athlete)

# Files: documents, tables, a sound and a calendar; the roster goes out as a workbook and comes in again.
assert plans.get_set_out_pdf(club, session, plan).startswith(PDF)
assert plans.get_session_cards_html(club, session).startswith(PAGE.decode())
assert RunsApi(client).list_runs_xlsx(club).startswith(BOOK)
assert RhythmApi(client).get_rhythm_cue_wav(1.1, 4).startswith(SOUND)
feed = sessions.create_calendar_feed(club, {})
calendar = sessions.get_calendar(secret(feed.href))
assert calendar.startswith(CALENDAR.decode()) and str(session) in calendar
assert "Mira Osei" in athletes_api.export_athletes_csv(club)
book = athletes_api.export_athletes_xlsx(club)
assert book.startswith(BOOK)
again = athletes_api.import_athletes_xlsx(club, bytes(book))
assert again.unchanged == 2 and again.rejected == 0, again

# A change of one field, on the version that was read; a second one on the same version is refused with what is stored.
assert venues.update_venue(club, venue.data.id, tag, VenuePatch(lanes=8)).lanes == 8
try:
    venues.update_venue(club, venue.data.id, tag, VenuePatch(lanes=4))
    raise SystemExit("a stale change was taken")
except ApiException as stale:
    assert stale.status == 412, stale
    assert isinstance(stale.data, ProblemBody) and stale.data.type == "/problems/stale", stale

# One sync round: everything, a push of what happened offline, the echo.
sync = SyncApi(client)
copy: dict[uuid.UUID, AthleteChange] = {}


def pull(token: str | None) -> str:
    """Reads every page that there is."""
    while True:
        page = sync.list_changes(club, sync_token=token)
        changes = (one.actual_instance for one in page.changes)
        copy.update({one.id: one for one in changes if isinstance(one, AthleteChange)})
        token = page.sync_token
        if not page.more:
            return token


token = pull(None)
shown = copy[athlete]
assert shown.data and shown.data.display_name == "Mira Osei"
hall = PushVenue(
    op_id=uuid.uuid4(),
    method=PushMethod.PUT,
    type="venue",
    id=uuid.uuid4(),
    if_none_match="*",
    data=PushVenueData(PushedVenue(name="Hall", environment=Environment.INDOOR, straight_m=40, lanes=3)),
)
leg = PushAthlete(
    op_id=uuid.uuid4(),
    method=PushMethod.PATCH,
    type="athlete",
    id=athlete,
    base_rev=shown.rev,
    data=PushAthleteData(AthletePatch(preferred_lead_leg=Leg.LEFT)),
)
device = uuid.uuid4()


def push() -> list[PushResult]:
    """Hands both in."""
    now = datetime.datetime.now(datetime.UTC)
    batch = PushBatch.model_validate(
        {"device_id": device, "schema": 1, "sent_at": now, "items": [PushItem(hall), PushItem(leg)]}
    )
    return sync.push_changes(club, batch).results


results = push()
assert [one.status for one in results] == [201, 200], results
assert all(one.replayed for one in push())
pull(token)
echo = copy[athlete]
assert echo.rev == results[1].rev and echo.data and echo.data.preferred_lead_leg == Leg.LEFT
print("pydantic: the main job is done")
