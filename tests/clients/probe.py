"""Contract tests of a running service: founds a club with a few records, then lets schemathesis call every operation.

Usage: probe.py DOCUMENT SECONDS CONFIG; exits as schemathesis does.
"""

import json
import os
import subprocess
import sys
import tempfile
import urllib.request
from typing import Any

from job import API, ROSTER, TODAY, email

document, seconds, config = sys.argv[1:]
# Not the one of the examples, with which it would lock itself out.
PASSWORD = "six wickets and a hurdle"
token = ""


def post(path: str, body: object, media: str = "application/json") -> Any:
    """Sends JSON, or text, and reads JSON."""
    sent = body.encode() if isinstance(body, str) else json.dumps(body).encode()
    headers = {"content-type": media} | ({"authorization": f"Bearer {token}"} if token else {})
    with urllib.request.urlopen(urllib.request.Request(API + path, sent, headers)) as answer:
        return json.load(answer)


signed_up = post(
    "/v1/auth/sign-up",
    {
        "email": email("probe"),
        "password": PASSWORD,
        "display_name": "Head Coach",
        "club": {"name": "Harbour Hurdlers", "time_zone": "Europe/London", "ruleset": "UKA"},
    },
)
token = signed_up["tokens"]["access_token"]
club_id = signed_up["club"]["id"]
club = f"/v1/clubs/{club_id}"
group = post(f"{club}/groups", {"name": "Squad"})["id"]
post(f"{club}/venues", {"name": "Track", "environment": "outdoor", "straight_m": 60, "lanes": 6})
post(f"{club}/equipment", {"barrier_kind": "wicket", "heights_m": [0.3], "count": 20})
athlete = post(f"{club}/athletes/import", ROSTER, "text/csv")["rows"][0]["athlete_id"]
session = post(f"{club}/sessions", {"held_on": str(TODAY), "state": "held", "group_ids": [group]})["id"]
post(f"{club}/competition-specs/adopt", {"from": "UKA-2024", "valid_from": str(TODAY)})

environment = os.environ | {
    "PROBE_EMAIL": signed_up["account"]["email"],
    "PROBE_PASSWORD": PASSWORD,
    "PROBE_CLUB": club_id,
    "PROBE_GROUP": group,
    "PROBE_ATHLETE": athlete,
    "PROBE_SESSION": session,
}
command = ["schemathesis", "--config-file", config, "run", document, "--url", API, "--max-time", seconds]
# Found again the same way; another seed looks elsewhere.
command += ["--seed", os.environ.get("PROBE_SEED", "1")]
with tempfile.TemporaryDirectory() as here:
    sys.exit(subprocess.run(command, env=environment, cwd=here, check=False).returncode)
