from __future__ import annotations

import csv
import os
import stat
from datetime import date, timedelta
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from tests.ui.command_line import CommandLine

TODAY = date(2025, 5, 20)


@pytest.fixture
def filled(place: Path) -> Path:
    with Journal.open(place / "journal") as journal:
        fill_with_invented_mornings(journal, TODAY, days=30)
    return place / "journal"


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_mornings_go_to_a_csv_and_a_private_one(cli: CommandLine, place: Path, filled: Path) -> None:
    out = cli("export", "mornings", "usable.csv").fine()
    cli("export", "mornings", "all.csv", "--all").fine()
    with Journal.open(filled) as journal:
        readings = journal.readings()
    usable, everything = _rows(place / "usable.csv"), _rows(place / "all.csv")
    assert len(everything) == len(readings)
    assert len(usable) == sum(each.verdict.usable for each in readings) < len(readings)
    assert f"usable.csv: {len(usable)} readings" in out
    assert float(everything[0]["rmssd_ms"]) == readings[0].metrics.rmssd_ms
    if os.name != "nt":
        assert stat.S_IMODE((place / "all.csv").stat().st_mode) == 0o600


def test_only_the_days_asked_for_are_exported(cli: CommandLine, place: Path, filled: Path) -> None:
    first, last = TODAY - timedelta(days=9), TODAY - timedelta(days=3)
    cli("export", "mornings", "week.csv", "--all", "--from", first, "--to", last).fine()
    days = [row["began"][:10] for row in _rows(place / "week.csv")]
    assert days
    assert min(days) >= str(first)
    assert max(days) <= str(last)


def test_intervals_of_a_day_go_to_a_table_and_a_plain_list(cli: CommandLine, place: Path, filled: Path) -> None:
    out = cli("export", "intervals", "beats", "--day", TODAY).fine()
    assert out.splitlines() == ["beats.csv", "beats.txt"]
    rows = _rows(place / "beats.csv")
    kept_ms = [float(row["interval_ms"]) for row in rows if row["kept"] == "yes"]
    assert [float(line) for line in (place / "beats.txt").read_text().splitlines()] == kept_ms
    assert 80 < len(kept_ms) <= len(rows)
    # Other programs read the plain list, and so does this one.
    assert "100.0 %" in cli("agree", "beats.txt", "beats.txt").fine()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("mornings", "no such folder/x.csv"), "there is no folder no such folder"),
        (("mornings", "."), "is a folder"),
        (("mornings", "x.csv", "--from", "lately"), "'lately' is not a day"),
        (("mornings", "x.csv", "--from", "2025-05-03", "--to", "2025-05-01"), "give the earlier day first"),
        (("mornings",), "OUT"),
        (("intervals", "x", "--day", "2001-01-01"), "there is no reading on 2001-01-01"),
        (("intervals", "no such folder/x", "--day", str(TODAY)), "there is no folder"),
        (("evenings", "x.csv"), "evenings"),
    ],
)
def test_what_cant_be_exported_gets_one_line_and_no_file(
    cli: CommandLine, place: Path, filled: Path, words: tuple[str, ...], said: str
) -> None:
    assert said.lower() in cli("export", *words).refused().lower()
    assert [path.name for path in place.iterdir()] == ["journal"]


@pytest.mark.parametrize(
    "words",
    [
        ("export", "mornings", "kept.csv"),
        ("export", "intervals", "kept.csv", "--day", str(TODAY)),
        ("export", "months", "kept.csv"),
        ("runs", "export", "kept.csv"),
    ],
)
def test_a_file_is_replaced_only_when_told_to(
    cli: CommandLine, place: Path, filled: Path, words: tuple[str, ...]
) -> None:
    (place / "kept.csv").write_text("what somebody worked on")
    assert "exists already" in cli(*words).refused()
    assert (place / "kept.csv").read_text() == "what somebody worked on"
    cli(*words, "--overwrite").fine()
    assert "," in (place / "kept.csv").read_text()


def test_a_dash_writes_to_standard_output_and_nothing_else(cli: CommandLine, place: Path, filled: Path) -> None:
    cli("export", "mornings", "all.csv").fine()
    out = cli("export", "mornings", "-").fine()
    assert list(csv.DictReader(out.splitlines())) == list(csv.DictReader((place / "all.csv").read_text().splitlines()))
    assert cli("export", "intervals", "-", "--day", TODAY).fine().startswith("time_s,interval_ms,kept,reason")
    assert sorted(path.name for path in place.iterdir()) == ["all.csv", "journal"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no such files")
def test_a_pipe_is_refused_and_not_waited_for(cli: CommandLine, place: Path, filled: Path) -> None:
    os.mkfifo(place / "pipe")
    assert "no ordinary file" in cli("export", "mornings", "pipe", "--overwrite").refused()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_a_journal_closed_to_writing_is_listed_and_exported_and_stays_so(
    cli: CommandLine, place: Path, filled: Path
) -> None:
    for path in (*filled.iterdir(), filled):
        path.chmod(path.stat().st_mode & ~0o222)
    before = {path.name: path.stat().st_mode for path in (filled, *filled.iterdir())}
    assert "2025-05-" in cli("mornings", "--weeks", "200").fine()
    cli("export", "mornings", "all.csv").fine()
    assert "opened for reading only" in cli("note", str(TODAY), "ill=yes").refused()
    assert "opened for reading only" in cli("bin", "1").refused()
    assert {path.name: path.stat().st_mode for path in (filled, *filled.iterdir())} == before
    filled.chmod(0o700)
