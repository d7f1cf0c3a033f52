from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.shared.morning import Circumstances, Context, StoredReading
from tests.ui.command_line import CommandLine

DAY = "2025-05-03"


@pytest.fixture
def three(place: Path) -> list[StoredReading]:
    """Two readings on one day, the second not usable, and a third the day after."""
    rng = np.random.default_rng(1)
    taken = [datetime(2025, 5, 3, 6, 30, tzinfo=UTC), datetime(2025, 5, 3, 6, 40, tzinfo=UTC)]
    taken += [datetime(2025, 5, 3, 6, 50, tzinfo=UTC), datetime(2025, 5, 4, 6, 30, tzinfo=UTC)]
    with Journal.open(place / "journal") as journal:
        return [
            journal.save(Circumstances(each, "lying", "invented"), invented_analysis(4.0, 50.0, rng, moved=number == 1))
            for number, each in enumerate(taken)
        ]


def _reading(place: Path, reading_id: int) -> StoredReading:
    with Journal.open(place / "journal") as journal:
        return journal.reading(reading_id)


def test_a_note_is_kept_item_by_item(cli: CommandLine, place: Path, three: list[StoredReading]) -> None:
    assert "nothing noted" in cli("note", DAY).fine()
    cli("note", DAY, "sleep=3", "hours=7.5", "note=it's [odd] “quoted” text").fine()
    cli("note", DAY, "ill=yes", "sleep=").fine()
    context = _reading(place, three[0].id).context
    assert (context.sleep, context.hours_slept, context.ill) == (None, 7.5, True)
    assert context.note == "it's [odd] “quoted” text"
    assert "[odd]" in cli("note", DAY).fine()


def test_posture_is_corrected_and_another_reading_picked(
    cli: CommandLine, place: Path, three: list[StoredReading]
) -> None:
    out = cli("note", DAY).fine()
    assert "--pick NUMBER" in out
    assert f"reading {three[1].id}, lying, not usable" in out
    cli("note", DAY, "--posture", "standing", "--pick", three[2].id).fine()
    assert [_reading(place, each.id).counts for each in three] == [False, False, True, True]
    assert _reading(place, three[2].id).posture == "standing"


def test_what_cant_be_noted_gets_one_line_and_changes_nothing(
    cli: CommandLine, place: Path, three: list[StoredReading]
) -> None:
    for words, said in {
        ("2025-06-01",): "there is no reading on 2025-06-01",
        ("03.05.2025",): "write it like 2026-05-03",
        (DAY, "sleep=8"): "sleep is 8",
        (DAY, "note=half \udcff"): "is not valid Unicode",
        (DAY, "note=a\0b"): "is not valid Unicode",
        (DAY, "sleep=2.5"): "a whole number from 1 to 7",
        (DAY, "hours=nan"): "hours_slept is nan",
        (DAY, "tired"): "'tired' is not understood",
        (DAY, "--posture", "upside down"): "say lying, sitting or standing",
        (DAY, "--pick", str(three[1].id)): "is not usable, so it can't count",
        (DAY, "--pick", str(three[3].id)): "is not one of 2025-05-03",
        (DAY, "--pick", "999"): "is not one of 2025-05-03",
    }.items():
        assert said in cli("note", *words).refused()
    assert [_reading(place, each.id) for each in three] == three


def test_days_have_names(cli: CommandLine, place: Path) -> None:
    yesterday = date.today() - timedelta(days=1)
    assert f"there is no reading on {yesterday}" in cli("note", "yesterday").refused()


@pytest.mark.parametrize("asked", [("note", DAY), ("mornings", "--weeks", "200")])
def test_a_note_never_moves_the_terminal(
    cli: CommandLine, place: Path, three: list[StoredReading], asked: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    note = "\x1b[2J\x1b]0;gone\x07\x9b31mred\u202eback"
    with Journal.open(place / "journal") as journal:
        for each in three:
            journal.edit_context(each.id, Context(note=note))
            assert journal.reading(each.id).context.note == note
    out = cli(*asked).fine()
    assert "?[2J?]0;gone??31mred?back" in out
    assert all(letter.isprintable() or letter in "\n\r" for letter in out)


def test_json_of_a_note_is_the_reading_with_what_was_noted(
    cli: CommandLine, place: Path, three: list[StoredReading]
) -> None:
    said = cli("note", DAY, "sleep=3", "--json")
    (found,) = said.objects()
    assert (found["id"], found["sleep"], found["other_readings"]) == (three[0].id, 3, [three[1].id, three[2].id])
    assert _reading(place, three[0].id).context.sleep == 3
