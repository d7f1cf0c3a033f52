"""Recordings lie beside the journal by date, whole, and none is lost or taken twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.folder import is_safe_path
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError


def test_a_recording_from_elsewhere_is_copied_and_stays_where_it_was(
    journal: Journal, taken: Any, analysed: Any, recording: Path
) -> None:
    saved = journal.save(taken(), analysed(), recording)
    assert saved.recording == "recordings/2025-03-01/06-41-07"
    kept = journal.home / saved.recording
    assert sorted(path.name for path in kept.iterdir()) == ["about.json", "trace.csv"]
    assert (kept / "trace.csv").read_bytes() == (recording / "trace.csv").read_bytes()
    assert journal.orphans() == []


def test_a_recording_made_inside_the_journal_stays_in_place(journal: Journal, taken: Any, analysed: Any) -> None:
    folder = journal.new_recording_folder(taken().began)
    (folder / "trace.csv").write_text("time_s,red,green,blue\n")
    saved = journal.save(taken(), analysed(), folder)
    assert journal.home / str(saved.recording) == folder
    with pytest.raises(DawnbeatError, match="belongs to a saved reading already"):
        journal.save(taken(), analysed(), folder)
    assert len(journal.readings()) == 1


def test_a_single_file_is_a_recording_too(journal: Journal, taken: Any, analysed: Any, recording: Path) -> None:
    saved = journal.save(taken(), analysed(), recording / "trace.csv")
    assert saved.recording == "recordings/2025-03-01/06-41-07/trace.csv"
    assert (journal.home / saved.recording).is_file()
    assert journal.orphans() == []


def test_two_recordings_of_the_same_second_get_folders_of_their_own(
    journal: Journal, taken: Any, analysed: Any, recording: Path
) -> None:
    first = journal.save(taken(), analysed(), recording)
    second = journal.save(taken(), analysed(), recording)
    assert (first.recording, second.recording) == (
        "recordings/2025-03-01/06-41-07",
        "recordings/2025-03-01/06-41-07-2",
    )


def test_a_recording_that_is_not_there_is_refused(journal: Journal, taken: Any, analysed: Any, tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="is not there"):
        journal.save(taken(), analysed(), tmp_path / "nowhere")
    assert journal.readings() == []


def test_a_recording_without_a_reading_is_offered_and_can_be_taken_in(
    journal: Journal, taken: Any, analysed: Any
) -> None:
    journal.new_recording_folder(taken("2025-03-02T06:00:00").began)  # empty: nothing to offer
    folder = journal.new_recording_folder(taken().began)
    (folder / "trace.csv").write_text("time_s,red,green,blue\n")
    (orphan,) = journal.orphans()
    assert (orphan.path, orphan.finished) == (folder, True)
    journal.save(taken(), analysed(), orphan.path)
    assert journal.orphans() == []


@pytest.mark.parametrize(
    "path",
    [
        "recordings/2025-03-01/..",
        "recordings/2025-03-01/../x",
        "/recordings/2025-03-01/x",
        "../recordings/2025-03-01/x",
        "recordings/2025-03-01/a\\b",
        "recordings/2025-03-01/c:d",
        "recordings/2025-03-01/x/y/z",
        "recordings/today/x",
        "journal.sqlite3",
        "",
    ],
)
def test_a_path_that_could_leave_the_folder_is_not_safe(path: str) -> None:
    assert not is_safe_path(path)
    assert is_safe_path("recordings/2025-03-01/06-00-00")
