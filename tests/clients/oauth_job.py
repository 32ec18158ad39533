"""The whole way of an app that acts for a member, by a general client library of OAuth: registered, allowed, renewed, given back."""

import html.parser
import urllib.parse
import uuid

import requests
from authlib.common.security import generate_token  # type: ignore[import-untyped]
from authlib.integrations.base_client.errors import OAuthError  # type: ignore[import-untyped]
from authlib.integrations.requests_client import OAuth2Session  # type: ignore[import-untyped]
from job import API, PASSWORD, email

BACK = "http://127.0.0.1/connected"


class Hidden(html.parser.HTMLParser):
    """The hidden fields of a page, as a browser sends them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "input" and given.get("type") == "hidden":
            self.fields[given.get("name") or ""] = given.get("value") or ""


def answer(browser: requests.Session, url: str, address: str) -> str:
    """What a person does in their browser: signs in, allows; the address that they are sent back to."""
    assert "password" in browser.get(url, timeout=30).text
    consent = browser.post(url, data={"email": address, "password": PASSWORD}, timeout=30)
    assert consent.status_code == 200, consent.text
    fields = Hidden(consent.text).fields | {"decision": "allow"}
    back = browser.post(f"{API}/oauth/consent", data=fields, allow_redirects=False, timeout=30)
    assert back.status_code == 303, back.text
    assert not browser.cookies, "nothing is kept in the browser"
    return back.headers["location"]


def main() -> None:
    """Goes the whole way."""
    address = email("oauth")
    club = {"name": f"Club {uuid.uuid4()}", "time_zone": "Europe/London", "ruleset": "UKA"}
    body = {"email": address, "password": PASSWORD, "display_name": "Ada Admin", "club": club}
    person = requests.post(f"{API}/v1/auth/sign-up", json=body, timeout=30).json()
    own = {"authorization": f"Bearer {person['tokens']['access_token']}"}
    path = f"{API}/v1/clubs/{person['club']['id']}"
    app = {"name": "Trackside Cards", "redirect_uris": [BACK], "scopes": ["squad.read", "sync"]}
    registered = requests.post(f"{path}/apps", json=app, headers=own, timeout=30)
    assert registered.status_code == 201, registered.text

    metadata = requests.get(f"{API}/.well-known/oauth-authorization-server", timeout=30).json()
    assert metadata["issuer"] == API, metadata
    redirect = "http://127.0.0.1:50124/connected"
    client = OAuth2Session(
        registered.json()["client_id"],
        scope="squad.read sync",
        redirect_uri=redirect,
        token_endpoint_auth_method="none",
        revocation_endpoint_auth_method="none",
        code_challenge_method="S256",
    )
    verifier = generate_token(64)
    url, state = client.create_authorization_url(metadata["authorization_endpoint"], code_verifier=verifier)
    with requests.Session() as browser:
        browser.headers["accept"] = "text/html"
        back = answer(browser, url, address)
    assert back.startswith(redirect), back
    brought = urllib.parse.parse_qs(urllib.parse.urlsplit(back).query)
    assert brought["iss"] == [metadata["issuer"]] and brought["state"] == [state], back
    token = client.fetch_token(metadata["token_endpoint"], authorization_response=back, code_verifier=verifier)
    assert token["scope"] == "squad.read sync" and token["club_id"] == person["club"]["id"], token
    assert client.get(f"{path}/athletes").status_code == 200
    assert client.get(f"{path}/members").status_code == 403
    renewed = client.refresh_token(metadata["token_endpoint"], refresh_token=token["refresh_token"])
    assert renewed["refresh_token"] != token["refresh_token"]
    assert client.get(f"{path}/changes").status_code == 200
    client.revoke_token(metadata["revocation_endpoint"], token=renewed["refresh_token"], token_type_hint="refresh_token")
    assert client.get(f"{path}/athletes").status_code == 401
    try:
        client.refresh_token(metadata["token_endpoint"], refresh_token=renewed["refresh_token"])
    except OAuthError as no:
        assert no.error == "invalid_grant", no
    else:
        raise AssertionError("a token that was given back was renewed")
    print("oauth: registered, allowed, renewed, given back")


if __name__ == "__main__":
    main()
