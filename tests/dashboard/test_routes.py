"""Do the dashboard's addresses answer as they should, and give away nothing they should not?"""

from __future__ import annotations

import logging

import pytest
from dash import Dash

from analysis.ledger import Ledger
from dashboard.app import create_app
from dashboard.settings import Settings


@pytest.fixture
def client(app: Dash):
    return app.server.test_client()


@pytest.mark.parametrize("path", ["/", "/packs", "/charts", "/practices", "/packs?run=R1&recipe=P40"])
def test_each_page_answers(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    assert 'lang="en-GB"' in answer.text
    assert "Content-Security-Policy" in answer.headers


@pytest.mark.parametrize("path", ["/nowhere", "/not-found", "/packs/7", "/assets/nothing.js", "/take-away/packs.exe"])
def test_an_unknown_path_answers_404(client, path):
    assert client.get(path).status_code == 404


def test_nothing_on_a_page_comes_from_elsewhere(client):
    page = client.get("/").text
    sources = [part.split('"')[1] for part in page.split("src=")[1:]] + [
        p.split('"')[1] for p in page.split("href=")[1:]
    ]
    assert sources
    assert all(source.startswith(("/", "#")) for source in sources)


def test_the_figure_library_is_our_own_file_and_not_loaded_before_a_figure(client):
    with client.get("/assets/lazy/plotly-cartesian.min.js") as answer:
        assert answer.status_code == 200
    assert "plotly-cartesian" not in client.get("/").text


def test_an_upload_waits_on_the_server(client, app):
    answer = client.post("/intake/files", data=b"a,b\n1,2\n", headers={"X-File-Name": "Caf%C3%A9.csv"})
    told = answer.get_json()
    assert answer.status_code == 200
    assert (told["name"], told["bytes"]) == ("Café.csv", 8)
    more = client.post(f"/intake/files?waiting={told['token']}", data=b"x", headers={"X-File-Name": "b.csv"})
    assert more.get_json()["token"] == told["token"]


def test_an_upload_that_is_too_large_is_refused_in_words(client):
    answer = client.post("/intake/files", data=b"x" * 2_000, headers={"X-File-Name": "big.csv"})
    assert answer.status_code == 413
    assert "too large" in answer.get_json()["error"]


def test_an_upload_without_a_name_is_refused(client):
    assert client.post("/intake/files", data=b"x").status_code == 400


def test_an_upload_to_a_forged_token_is_refused(client):
    answer = client.post("/intake/files?waiting=guessed", data=b"x", headers={"X-File-Name": "a.csv"})
    assert answer.status_code == 410


def test_another_sites_page_cannot_upload(client):
    answer = client.post("/intake/files", data=b"x", headers={"X-File-Name": "a.csv", "Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403


def test_the_rejected_rows_need_their_token(client):
    assert client.get("/intake/rejected.xlsx").status_code == 404
    assert client.get("/intake/rejected.xlsx?waiting=guessed").status_code == 404


def test_a_body_that_is_too_large_is_refused(ledger: Ledger, tmp_path):
    app = create_app(ledger, Settings(staging=tmp_path / "waiting", request_limit=500))
    answer = app.server.test_client().post("/_dash-update-component", json={"output": "x" * 1_000})
    assert answer.status_code == 413


def test_a_failing_request_never_shows_its_trace(client, app, monkeypatch, caplog):
    def broken(*_about, **_further):
        raise RuntimeError("the inside of the machine")

    monkeypatch.setitem(app.server.view_functions, "/_dash-layout", broken)
    with caplog.at_level(logging.ERROR, logger="dropbright"):
        answer = client.get("/_dash-layout")
    assert answer.status_code == 500
    assert "inside of the machine" not in answer.text
    assert "Traceback" not in answer.text
    assert "the inside of the machine" in caplog.text


def test_a_malformed_callback_never_shows_a_trace(client):
    answer = client.post("/_dash-update-component", json={"output": "nothing.children", "inputs": []})
    assert answer.status_code in (400, 500)
    assert "Traceback" not in answer.text
    assert "File " not in answer.text


@pytest.mark.parametrize("form", ["xlsx", "csv", "parquet"])
def test_a_table_is_taken_away_in_each_form(on_table, form):
    answer = on_table.server.test_client().get(f"/take-away/packs.{form}?recipe=P40")
    assert answer.status_code == 200
    assert f'filename="dropbright-packs.{form}"' in answer.headers["Content-Disposition"]
    assert len(answer.data) > 500


@pytest.mark.parametrize(
    ("address", "told"),
    [("unlinked.csv", "kind,reason,count"), ("history.csv?run=R500", "Roused"), ("intakes.csv", "intake,at,by,files")],
)
def test_the_lists_beside_the_tables_are_taken_away_too(on_table, address, told):
    answer = on_table.server.test_client().get(f"/take-away/{address}")
    assert answer.status_code == 200
    text = answer.data.decode("utf-8-sig")
    assert text.startswith("# What: ")
    assert "# Ledger state: " in text
    assert told in text


def test_the_history_of_no_run_cannot_be_taken_away(on_table):
    assert on_table.server.test_client().get("/take-away/history.csv?run=R999").status_code == 404


def test_a_chart_of_nothing_cannot_be_taken_away(on_table):
    client = on_table.server.test_client()
    assert client.get("/take-away/charts.csv").status_code == 404
    assert client.get("/take-away/charts.csv?measure=haze&stage=moon").status_code == 404


def test_the_demo_says_on_its_page_that_it_is_invented(ledger: Ledger, app: Dash, tmp_path):
    demo = create_app(ledger, Settings(demo=True, staging=tmp_path / "demo"))
    said = "Invented data."
    assert said in demo.server.test_client().get("/_dash-layout").text
    assert said not in app.server.test_client().get("/_dash-layout").text
