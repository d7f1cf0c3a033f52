from __future__ import annotations

import io
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from tests.ui.command_line import CommandLine


@pytest.fixture
def morning(cli: CommandLine, place: Path, samples: Path) -> str:
    """A reading by the red channel alone, among readings without a recording; the text of those settings."""
    (place / "red.toml").write_text('channel = "red"\n')
    options = ("--source", samples / "calm", "--settle", 0, "--settings", "red.toml", "--no-ask")
    cli("read", *options).fine()
    with Journal.open(place / "journal") as journal:
        (reading,) = journal.readings()
        fill_with_invented_mornings(journal, reading.local_date, days=3)
        return reading.settings_json


def _settings(place: Path) -> str:
    with Journal.open(place / "journal") as journal:
        return journal.reading(1).settings_json


def test_todays_detection_is_shown_and_stored_once_accepted(
    cli: CommandLine, place: Path, morning: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    said = cli("reanalyse")
    assert "say --yes" in said.refused()
    assert "1 analysed again, 1 of them differ" in said.out
    assert "without a recording stay as they are" in said.out
    assert _settings(place) == morning
    assert "1 reading stored" in cli("reanalyse", "--yes").fine()
    assert _settings(place) != morning
    assert "1 analysed again, 0 of them differ" in cli("reanalyse", "--yes").fine()


def test_quiet_stores_in_silence_and_shows_what_it_asks_about(
    cli: CommandLine, place: Path, morning: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    said = cli("reanalyse", "--quiet")
    assert "say --yes" in said.refused()
    assert "1 of them differ" in said.out
    assert cli("reanalyse", "--quiet", "--yes").fine() == ""
    assert _settings(place) != morning


def test_bad_settings_get_one_line(cli: CommandLine, place: Path, morning: str) -> None:
    (place / "bad.toml").write_text("max_gap_s = 50")
    assert "max_gap_s is 50" in cli("reanalyse", "--yes", "--settings", "bad.toml").refused()
    assert _settings(place) == morning


def test_a_lost_recording_leaves_its_reading_as_it_is(cli: CommandLine, place: Path, morning: str) -> None:
    for trace in (place / "journal" / "recordings").rglob("trace.csv"):
        trace.write_text("no trace any more\n")
    out = cli("reanalyse", "--yes").fine()
    assert "stays as it is" in out
    assert _settings(place) == morning


def test_an_empty_journal_has_nothing_to_analyse(cli: CommandLine) -> None:
    assert "0 analysed again" in cli("reanalyse").fine()
