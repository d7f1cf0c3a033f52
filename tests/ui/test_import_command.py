from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.shared.morning import StoredReading
from tests.ui.command_line import CommandLine


@pytest.fixture
def exported(cli: CommandLine, place: Path) -> Path:
    with Journal.open(place / "journal") as journal:
        fill_with_invented_mornings(journal, date(2025, 5, 20), days=20)
    cli("export", "mornings", "all.csv", "--all").fine()
    return place / "all.csv"


def _readings(home: Path) -> list[StoredReading]:
    with Journal.open(home) as journal:
        return journal.readings()


def test_an_export_comes_back_without_loss(cli: CommandLine, place: Path, exported: Path) -> None:
    before = _readings(place / "journal")
    dry = cli("import", "mornings", exported, "--journal", "new").fine()
    assert f"{len(before)} new" in dry
    assert "Nothing was changed; add --apply" in dry
    assert _readings(place / "new") == []
    assert cli("import", "mornings", exported, "--journal", "quiet", "--apply", "--quiet").fine() == ""
    assert len(_readings(place / "quiet")) == len(before)
    applied = cli("import", "mornings", exported, "--journal", "new", "--apply").fine()
    assert f"{len(before)} readings imported" in applied
    after = _readings(place / "new")
    assert [(each.uid, each.began, each.metrics, each.context, each.verdict) for each in after] == [
        (each.uid, each.began, each.metrics, each.context, each.verdict) for each in before
    ]
    assert "0 new" in cli("import", "mornings", exported, "--journal", "new", "--apply").fine()
    cli("export", "mornings", "again.csv", "--all", "--journal", "new").fine()
    assert (place / "again.csv").read_bytes() == exported.read_bytes()


def test_the_journal_wins_unless_the_file_is_said_to(cli: CommandLine, place: Path, exported: Path) -> None:
    last = _readings(place / "journal")[-1]
    cli("note", last.local_date, "note=changed since").fine()
    assert "1 different" in cli("import", "mornings", exported, "--apply").fine()
    assert _readings(place / "journal")[-1].context.note == "changed since"
    cli("import", "mornings", exported, "--apply", "--replace-different").fine()
    assert _readings(place / "journal")[-1].context == last.context


def test_a_bad_row_is_named_and_nothing_is_half_imported(cli: CommandLine, place: Path, exported: Path) -> None:
    lines = exported.read_text(encoding="utf-8").splitlines()
    lines[3] = lines[3].replace("lying", "floating")
    (place / "bad.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    said = cli("import", "mornings", "bad.csv", "--journal", "new", "--apply")
    assert "1 bad line" in said.refused()
    assert "line 4" in said.out
    assert _readings(place / "new") == []


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "bad.csv"),
        (b"", "is empty"),
        (b"time_s,red\n0,1\n", "has no column"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b'"began', "not readable as CSV"),
    ],
)
def test_a_file_that_is_no_export_gets_one_line(
    cli: CommandLine, place: Path, content: bytes | None, words: str
) -> None:
    if content is not None:
        (place / "bad.csv").write_bytes(content)
    assert words in cli("import", "mornings", "bad.csv", "--apply").refused()
