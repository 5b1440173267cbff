"""Do uploaded files wait safely, and only for the browser that sent them?"""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from dashboard.parts.staging import Stagings, TooLargeError


@pytest.fixture
def stagings(tmp_path: Path) -> Stagings:
    return Stagings.open(tmp_path / "waiting")


def test_a_file_waits_under_a_name_of_our_own(stagings: Stagings) -> None:
    staging = stagings.begin()
    size = stagings.receive(staging, "../../etc/Cellar log.XLSX", io.BytesIO(b"12345"), limit=10)
    (source,) = staging.sources
    assert size == 5
    assert source.name == "Cellar log.XLSX"
    assert source.path.parent == staging.folder
    assert source.path.suffix == ".xlsx"
    assert source.path.read_bytes() == b"12345"


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("C:\\logs\\May.csv", "May.csv"),
        ("a\x00b\n.csv", "ab.csv"),
        ("/", "file"),
        ("x" * 500 + ".csv", "x" * 116 + ".csv"),
    ],
)
def test_a_name_is_only_a_label(stagings: Stagings, name: str, label: str) -> None:
    staging = stagings.begin()
    stagings.receive(staging, name, io.BytesIO(b""), limit=10)
    assert [source.name for source in staging.sources] == [label]


def test_a_file_that_is_too_large_leaves_nothing_behind(stagings: Stagings) -> None:
    staging = stagings.begin()
    with pytest.raises(TooLargeError):
        stagings.receive(staging, "big.csv", io.BytesIO(b"12345678901"), limit=10)
    assert staging.sources == ()
    assert list(staging.folder.iterdir()) == []


def test_sixty_files_at_once_are_enough(stagings: Stagings) -> None:
    staging = stagings.begin()
    for number in range(60):
        stagings.receive(staging, f"{number}.csv", io.BytesIO(b"1"), limit=10)
    with pytest.raises(TooLargeError):
        stagings.receive(staging, "one more.csv", io.BytesIO(b"1"), limit=10)
    stagings.receive(staging, "7.csv", io.BytesIO(b"2"), limit=10)
    assert len(staging.sources) == 60


def test_the_same_name_again_replaces_the_file(stagings: Stagings) -> None:
    staging = stagings.begin()
    for content in (b"old", b"new"):
        stagings.receive(staging, "log.csv", io.BytesIO(content), limit=10)
    (source,) = staging.sources
    assert source.path.read_bytes() == b"new"
    assert len(list(staging.folder.iterdir())) == 1


def test_only_its_token_finds_a_staging(stagings: Stagings) -> None:
    staging = stagings.begin()
    assert stagings.find(staging.token) is staging
    for forged in ("", "x", None, 3, ["a"], {"token": staging.token}):
        assert stagings.find(forged) is None


def test_tokens_cannot_be_guessed(stagings: Stagings) -> None:
    tokens = {stagings.begin().token for _ in range(50)}
    assert len(tokens) == 50
    assert min(len(token) for token in tokens) >= 32


def test_a_dropped_staging_takes_its_files_along(stagings: Stagings) -> None:
    staging = stagings.begin()
    stagings.receive(staging, "log.csv", io.BytesIO(b"1"), limit=10)
    stagings.drop(staging.token)
    assert stagings.find(staging.token) is None
    assert not staging.folder.exists()
    stagings.drop(staging.token)


def test_a_forgotten_staging_is_thrown_away_after_six_hours(tmp_path: Path) -> None:
    now = [0.0]
    stagings = Stagings(tmp_path, clock=lambda: now[0])
    forgotten, used = stagings.begin(), stagings.begin()
    now[0] = 5 * 3600.0
    assert stagings.find(used.token) is used
    now[0] = 7 * 3600.0
    stagings.begin()
    assert stagings.find(forgotten.token) is None
    assert not forgotten.folder.exists()
    assert stagings.find(used.token) is used
