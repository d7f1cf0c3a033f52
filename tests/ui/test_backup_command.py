from __future__ import annotations

import io
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal
from tests.ui.command_line import CommandLine


@pytest.fixture
def morning(cli: CommandLine, samples: Path) -> None:
    """A journal with one reading and its recording."""
    cli("read", "--source", samples / "other", "--settle", 0, "--context", "sleep=2").fine()


def test_a_backup_brings_back_readings_notes_and_recordings(
    cli: CommandLine, place: Path, samples: Path, morning: None
) -> None:
    out = cli("backup", "all.zip").fine()
    assert out.startswith("all.zip: 1 reading, 1 recording, ")
    cli("note", "today", "sleep=7").fine()
    cli("read", "--source", samples / "calm", "--settle", 0, "--no-ask").fine()
    restored = cli("restore", "all.zip", "--yes").fine()
    assert "1 reading and 1 recording restored" in restored
    with Journal.open(place / "journal") as journal:
        (reading,) = journal.readings()
        assert reading.context.sleep == 2
        assert reading.recording is not None
        assert (journal.home / reading.recording / "trace.csv").exists()
    aside = Path(restored.splitlines()[1].removeprefix("the journal that was there is now in "))
    with Journal.open(aside) as journal:
        assert len(journal.readings()) == 2


def test_a_backup_goes_into_an_empty_journal(cli: CommandLine, place: Path, morning: None) -> None:
    cli("backup", "all.zip").fine()
    cli("restore", "all.zip", "--yes", "--journal", "new").fine()
    with Journal.open(place / "new") as journal:
        assert len(journal.readings()) == 1


def test_a_file_is_overwritten_only_on_request(cli: CommandLine, place: Path, morning: None) -> None:
    (place / "all.zip").write_text("precious")
    assert "exists already" in cli("backup", "all.zip").refused()
    assert (place / "all.zip").read_text() == "precious"
    cli("backup", "all.zip", "--overwrite").fine()
    assert (place / "all.zip").read_bytes().startswith(b"PK")


def test_quiet_writes_and_says_nothing(cli: CommandLine, place: Path, morning: None) -> None:
    assert cli("backup", "--quiet", "all.zip").fine() == ""
    assert (place / "all.zip").read_bytes().startswith(b"PK")


def test_nothing_is_replaced_without_a_yes(
    cli: CommandLine, place: Path, morning: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    cli("backup", "all.zip").fine()
    cli("note", "today", "sleep=7").fine()
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert "say --yes, nothing was changed" in cli("restore", "all.zip").refused()
    for answer in ("no\n", "\n", ""):
        keyboard = io.StringIO(answer)
        monkeypatch.setattr(keyboard, "isatty", lambda: True)
        monkeypatch.setattr("sys.stdin", keyboard)
        assert "nothing was changed" in cli("restore", "all.zip").refused()
    with Journal.open(place / "journal") as journal:
        assert journal.readings()[0].context.sleep == 7


def test_what_is_no_backup_gets_one_line_and_the_journal_stays(cli: CommandLine, place: Path, morning: None) -> None:
    cli("backup", "all.zip").fine()
    whole = (place / "all.zip").read_bytes()
    for name, content in {
        "empty.zip": b"",
        "text.zip": b"no zip",
        "half.zip": whole[: len(whole) // 2],
        "flipped.zip": whole[:2000] + bytes([whole[2000] ^ 255]) + whole[2001:],
    }.items():
        (place / name).write_bytes(content)
        assert "the present journal was left as it is" in cli("restore", name, "--yes").refused()
    assert "there is no file missing.zip" in cli("restore", "missing.zip", "--yes").refused()
    assert "there is no folder" in cli("backup", "no such folder/x.zip").refused()
    with Journal.open(place / "journal") as journal:
        assert len(journal.readings()) == 1
