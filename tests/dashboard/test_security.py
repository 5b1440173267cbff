"""Does the dashboard refuse foreign requests and hem the browser in?"""

from __future__ import annotations

import pytest
from dash import Dash, html
from flask.testing import FlaskClient

from dashboard.security import content_policy, guard, is_foreign_post, is_known_host


@pytest.fixture
def client() -> FlaskClient:
    app = Dash("guarded", assets_folder="")
    app.layout = html.Div("Here")

    @app.server.post("/change")
    def change() -> str:
        return "changed"

    guard(app, hosts=("brewhouse.example",))
    return app.server.test_client()


def test_the_policy_allows_nothing_from_elsewhere(client: FlaskClient) -> None:
    policy = client.get("/").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "http" not in policy
    script = next(part for part in policy.split("; ") if part.startswith("script-src"))
    assert "unsafe" not in script
    assert "'sha256-" in script


def test_the_policy_names_the_given_hashes() -> None:
    assert "script-src 'self' 'sha256-abc'" in content_policy(["'sha256-abc'"])


@pytest.mark.parametrize("name", ["X-Content-Type-Options", "X-Frame-Options", "Referrer-Policy"])
def test_every_answer_has_the_headers(client: FlaskClient, name: str) -> None:
    assert name in client.get("/").headers
    assert name in client.get("/_dash-layout").headers


def test_what_is_not_a_script_or_style_is_never_kept_by_the_browser(client: FlaskClient) -> None:
    assert client.get("/").headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("localhost:8050", 200),
        ("127.0.0.1:8050", 200),
        ("[::1]:8050", 200),
        ("192.168.1.20", 200),
        ("brewhouse.example", 200),
        ("evil.example", 421),
        ("localhost.evil.example", 421),
        ("", 421),
    ],
)
def test_a_name_that_is_not_ours_is_refused(client: FlaskClient, host: str, status: int) -> None:
    assert client.get("/", headers={"Host": host}).status_code == status


def test_a_host_is_known_in_any_case() -> None:
    assert is_known_host("LocalHost:1", {"localhost"})
    assert not is_known_host("elsewhere", {"localhost"})


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, 200),
        ({"Sec-Fetch-Site": "none"}, 200),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Origin": "http://localhost"}, 200),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({}, 200),
    ],
)
def test_another_sites_page_cannot_change_anything(client: FlaskClient, headers: dict[str, str], status: int) -> None:
    assert client.post("/change", headers=headers).status_code == status


def test_reading_is_never_called_foreign() -> None:
    assert not is_foreign_post("GET", "cross-site", "http://evil.example", "localhost")
