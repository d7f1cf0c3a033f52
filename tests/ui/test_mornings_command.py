from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.morning.answer_text import lines
from dawnbeat.morning.answering import grounds
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from tests.ui.command_line import CommandLine


@pytest.fixture
def filled(place: Path) -> Path:
    """The journal of an invented runner, up to today."""
    with Journal.open(place / "journal") as journal:
        fill_with_invented_mornings(journal, date.today(), days=75)
    return place / "journal"


def test_an_empty_journal_says_how_to_begin(cli: CommandLine) -> None:
    out = cli("mornings").fine()
    assert "`dawnbeat read` takes one" in out
    assert out.startswith("Can't say. There is no reading")


@pytest.mark.parametrize("columns", [60, 80, 120, 200])
def test_each_reading_is_one_line_however_wide_the_terminal(
    cli: CommandLine, filled: Path, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")  # as a terminal, which has a width of its own
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", str(columns))
    out = re.sub(r"\x1b\[[0-9;]*m", "", cli("mornings", "--weeks", 3).fine())
    lines = out.splitlines()
    assert max(len(line) for line in lines) <= columns
    with Journal.open(filled) as journal:
        readings = journal.readings(date.today() - timedelta(days=20), date.today())
    for reading in readings:
        row = next(line for line in lines if line.startswith(str(reading.local_date)))
        metrics = reading.metrics
        assert metrics.mean_hr_bpm is not None
        assert metrics.rmssd_ms is not None
        assert metrics.ln_rmssd is not None
        assert str(reading.id) in row.split()[1:3]  # which `bin` and `note --pick` ask for
        assert f"{metrics.mean_hr_bpm:.0f} (" in row
        assert f"{metrics.rmssd_ms:.0f} (" in row
        assert (f" {metrics.ln_rmssd:.2f} " in row) == (columns >= 80)
        assert ("not usable" in row) != reading.verdict.usable
        assert ("slept" in row or "…" in row) == (columns > 80)
    # What a narrow terminal has no room for is named, and nothing else is cut.
    assert ("Too narrow here for" in out) == (columns <= 80)


@pytest.mark.parametrize("columns", [45, 60, 80])
@pytest.mark.parametrize("words", [("mornings", "--weeks", 2), ("mornings", "--months")])
def test_no_day_month_or_heading_is_broken_however_narrow(
    cli: CommandLine, filled: Path, monkeypatch: pytest.MonkeyPatch, columns: int, words: tuple[object, ...]
) -> None:
    for name, value in {"FORCE_COLOR": "1", "NO_COLOR": "1", "TERM": "xterm", "COLUMNS": str(columns)}.items():
        monkeypatch.setenv(name, value)
    lines = re.sub(r"\x1b\[[0-9;]*m", "", cli(*words).fine()).splitlines()
    assert max(map(len, lines)) <= columns
    assert not [line for line in lines if re.match(r"\d{4}-(\d?|\d\d-\d?)( |$)", line)]
    begins = f"{date.today():%Y-%m}" if "--months" in words else f"{date.today()}"
    assert [line for line in lines if line.startswith(f"{begins} ")]
    headings = {"RMSSD,", "Period"} if "--months" in words else {"RMSSD,", "Verdict"}
    assert headings <= {word for line in lines for word in line.split()}


def test_a_pipe_gets_a_long_note_whole(cli: CommandLine, filled: Path) -> None:
    note = " ".join(f"word{n}" for n in range(60))
    with Journal.open(filled) as journal:
        newest = journal.readings()[-1]
        journal.edit_context(newest.id, replace(newest.context, note=note))
    (row,) = [line for line in cli("mornings").fine().splitlines() if note in line]
    assert row.startswith(str(newest.local_date))


def test_the_paragraph_and_what_it_rests_on_are_those_of_the_journal(cli: CommandLine, filled: Path) -> None:
    out = " ".join(cli("mornings", "--weeks", 2).fine().split())
    with Journal.open(filled) as journal:
        assert lines(grounds(journal, date.today()).answer())[0] in out
    assert "lnRMSSD, usual range:" in out
    assert "needs medical help" in out


def test_a_journal_elsewhere_is_named_by_an_option(cli: CommandLine, place: Path, filled: Path) -> None:
    (place / "another").mkdir(parents=True)
    assert "`dawnbeat read` takes one" in cli("mornings", "--journal", place / "another").fine()
    assert "there is no journal in" in cli("mornings", "--journal", place / "mistyped").refused()
    assert "`dawnbeat read` takes one" not in cli("mornings", "--journal", filled).fine()


def test_a_recording_without_a_reading_is_spoken_of(cli: CommandLine, filled: Path) -> None:
    with Journal.open(filled) as journal:
        folder = journal.new_recording_folder(datetime.now().astimezone())
    (folder / "trace.csv").write_text("time_s,red,green,blue\n0,1,2,3\n")
    assert str(folder) in cli("mornings").fine()


def test_a_copy_that_was_cut_short_is_not_promised_to_be_saved(cli: CommandLine, filled: Path) -> None:
    with Journal.open(filled) as journal:
        folder = journal.new_recording_folder(datetime.now().astimezone())
    part = folder.rename(folder.with_name(f"{folder.name}.abcdefgh.part"))
    (part / "trace.csv").write_text("time_s,red,green,blue\n0,1,2,3\n")
    said = cli("mornings").fine()
    assert str(part) in said
    assert "dawnbeat rescue" not in said


@pytest.mark.parametrize("weeks", ["0", "-3", "10000", "some"])
def test_weeks_out_of_range_get_one_line(cli: CommandLine, weeks: str) -> None:
    assert "--weeks" in cli("mornings", "--weeks", weeks).refused()


def test_a_damaged_journal_gets_one_line_and_stays_as_it_is(cli: CommandLine, place: Path) -> None:
    (place / "journal").mkdir()
    (place / "journal" / "journal.sqlite3").write_bytes(b"no database at all, just some text " * 100)
    assert "is damaged" in cli("mornings").refused()
    assert (place / "journal" / "journal.sqlite3").read_bytes().startswith(b"no database at all")


def test_the_answer_comes_first_and_as_json(cli: CommandLine, filled: Path) -> None:
    told = json.loads(cli("mornings", "--json").fine())
    out = cli("mornings").fine()
    assert out.startswith(told["answer"]["headline"])
    assert told["answer"]["what"] in ("keep", "easy", "none", "cannot_say")
    assert " ".join(told["answer"]["words"][0].split()) in " ".join(out.split())
    assert all({"usable", "pulse_usable", "irregular", "findings", "reasons"} <= set(each) for each in told["readings"])


def test_months_and_years_are_compared_in_terminal_and_csv(cli: CommandLine, filled: Path, tmp_path: Path) -> None:
    out = cli("mornings", "--months").fine()
    month = date.today().strftime("%Y-%m")
    assert month in out
    assert "RMSSD" in out
    assert "can't be told from none" in " ".join(out.split())
    cli("export", "months", tmp_path / "months.csv").fine()
    rows = (tmp_path / "months.csv").read_text().splitlines()
    assert rows[0].startswith("period,mornings,mornings_compared,rmssd_ms,rmssd_ms_low")
    assert any(row.startswith(f"{month},") for row in rows)


def test_a_straps_intervals_become_a_reading_with_its_answer(cli: CommandLine, place: Path, tmp_path: Path) -> None:
    path = tmp_path / "strap.txt"
    path.write_text("\n".join(str(1000 + 40 * (n % 3)) for n in range(150)))
    out = cli("import", "intervals", path, "--taken", "2026-01-05 06:40", "--context", "sleep=2").fine()
    assert out.startswith("Can't say. Too few mornings")
    assert "Saved as reading 1." in out
    with Journal.open(place / "journal") as journal:
        (kept,) = journal.readings()
    assert (kept.origin, kept.context.sleep) == ("strap", 2)
    path.write_text("one\ntwo\n")
    assert "strap.txt" in cli("import", "intervals", path, "--taken", "2026-01-06 06:40").refused()


def test_noting_an_illness_of_today_answers_at_once_and_is_kept(cli: CommandLine, filled: Path) -> None:
    with Journal.open(filled) as journal:
        number = journal.counting(date.today()).id
    assert "No run today" in cli("note", "today", "ill=yes").fine()
    with Journal.open(filled) as journal:
        answer = journal.reading(number).answer
    assert answer is not None
    assert answer["what"] == "none"


def test_who_never_took_a_reading_hears_no_date(cli: CommandLine, place: Path) -> None:
    assert "No reading yet: " in cli("mornings").fine()


def test_the_last_reading_is_named_where_the_weeks_hold_none(cli: CommandLine, place: Path) -> None:
    with Journal.open(place / "journal") as journal:
        fill_with_invented_mornings(journal, date(2024, 3, 10), days=2)
    assert "No reading since 10 March 2024: " in cli("mornings").fine()
