"""What both Python programs do alike: the service to call, what they send."""

import datetime
import os
import uuid
from urllib.parse import parse_qs, urlsplit

API = os.environ.get("LANEWRIGHT_API", "http://127.0.0.1:8080")
TODAY = datetime.datetime.now(datetime.UTC).date()
RUN_AT = datetime.datetime.combine(TODAY, datetime.time(0, 10), datetime.UTC)
PASSWORD = "five wickets in a row"
ROSTER = """display_name,sex,birth_date,groups,experience,stature_m
Mira Osei,F,2013-05-17,Squad,novice,1.52
Tam Reyl,M,2012-11-02,Squad,novice,1.61
"""


PDF, BOOK, SOUND, PAGE, CALENDAR = b"%PDF-1.", b"PK\x03\x04", b"RIFF", b"<!DOCTYPE html>", b"BEGIN:VCALENDAR"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def secret(href: object) -> str:
    """The secret of an address that was handed out."""
    return parse_qs(urlsplit(str(href)).query)["link"][0]


def email(name: str) -> str:
    """An address that nobody has yet."""
    return f"{name}-{uuid.uuid4()}@club.example"
