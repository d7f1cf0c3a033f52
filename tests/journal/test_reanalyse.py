"""The whole journal analysed again: shown first, stored in one transaction when accepted."""

from __future__ import annotations

import dataclasses
import os
import sys
from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.morning.revising import accept, reanalyse
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings

# Processes started afresh must be able to import what they run, so it lies in a module of its own.
STAND_IN = """
import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import Trace


@dataclass(frozen=True)
class Recording:
    trace: Trace


def read(path):
    if not (path / "trace.csv").exists():
        raise DawnbeatError(f"{path.name} has no trace.csv")
    table = np.loadtxt(path / "trace.csv", delimiter=",", skiprows=1)
    return Recording(Trace(table[:, 0], table[:, 1:]))


def analyse(trace, settings):
    wanted = trace.colour[0, 0] / 50
    found = invented_analysis(wanted, 50.0, np.random.default_rng(1))
    return replace(found, settings=settings, version="later")


def die(trace, settings):
    os._exit(1)
"""


@pytest.fixture
def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    (tmp_path / "modules").mkdir()
    (tmp_path / "modules" / "journal_stand_in.py").write_text(STAND_IN)
    monkeypatch.syspath_prepend(str(tmp_path / "modules"))
    import journal_stand_in  # type: ignore[import-not-found]

    yield journal_stand_in
    del sys.modules["journal_stand_in"]


@pytest.fixture
def filled(journal: Journal, taken: Any, analysed: Any, tmp_path: Path) -> Journal:
    for day, red in ((1, 200), (2, 190), (3, 180)):
        began = taken(f"2025-03-0{day}T06:30:00", note="mine").began
        folder = journal.new_recording_folder(began)
        rows = "".join(f"{frame / 30:.6f},{red},30,25\n" for frame in range(60))
        (folder / "trace.csv").write_text("time_s,red,green,blue\n" + rows)
        journal.save(taken(f"2025-03-0{day}T06:30:00", note="mine"), analysed(4.0), folder)
    journal.save(taken("2025-03-04T06:30:00"), analysed(4.1))
    return journal


def test_changes_are_shown_before_and_stored_only_when_accepted(filled: Journal, stand_in: Any) -> None:
    before = filled.readings()
    progress: list[tuple[int, int]] = []
    settings = Settings(lowpass_hz=7.0)
    outcome = reanalyse(filled, stand_in.read, stand_in.analyse, settings, lambda done, of: progress.append((done, of)))
    assert progress == [(1, 3), (2, 3), (3, 3)]
    assert filled.readings() == before
    assert [change.after.metrics.ln_rmssd for change in outcome.changes] == pytest.approx([4.0, 3.8, 3.6])
    assert [change.differs for change in outcome.changes] == [False, True, True]
    assert outcome.without_recording == (before[3],)
    assert outcome.lines()[0].startswith("3 analysed again, 2 of them differ, 1 without a recording")
    assert "RMSSD 54.6 ms -> 44.7 ms" in outcome.lines()[1]

    assert accept(filled, outcome) == 3
    after = filled.readings()
    assert [each.metrics.ln_rmssd for each in after] == pytest.approx([4.0, 3.8, 3.6, 4.1])
    assert after[3] == before[3]
    assert {each.version for each in after[:3]} == {"later"}
    assert '"lowpass_hz": 7.0' in after[0].settings_json
    for old, new, change in zip(before, after, outcome.changes, strict=False):
        assert (new.uid, new.began, new.context, new.recording) == (
            old.uid,
            old.began,
            old.context,
            old.recording,
        )
        assert filled.intervals(new.id).interval_ms.tolist() == change.after.intervals.interval_ms.tolist()
    assert len(list((filled.home / "backups").glob("journal-before-reanalyse-*"))) == 1


def test_a_recording_that_can_not_be_read_leaves_its_reading_as_it_is(filled: Journal, stand_in: Any) -> None:
    before = filled.readings()
    (filled.home / str(before[0].recording) / "trace.csv").unlink()
    os.rename(filled.home / str(before[1].recording), filled.home / "gone")
    outcome = reanalyse(filled, stand_in.read, stand_in.analyse, Settings())
    assert [(reading.id, why) for reading, why in outcome.failed] == [(1, "06-30-00 has no trace.csv")]
    assert [each.id for each in outcome.without_recording] == [2, 4]
    accept(filled, outcome)
    assert filled.readings()[:2] == before[:2]
    assert filled.readings()[2].version == "later"


def test_a_process_that_dies_changes_nothing_and_says_so(filled: Journal, stand_in: Any) -> None:
    before = filled.readings()
    with pytest.raises(DawnbeatError, match="nothing was changed"):
        reanalyse(filled, stand_in.read, stand_in.die, Settings())
    assert filled.readings() == before


def test_an_acceptance_that_breaks_off_changes_nothing(filled: Journal, stand_in: Any) -> None:
    outcome = reanalyse(filled, stand_in.read, stand_in.analyse, Settings())
    before = filled.readings()
    filled.connection.execute(
        "CREATE TRIGGER stop BEFORE UPDATE ON readings WHEN new.id = 3 BEGIN SELECT raise(ABORT, 'broken off'); END"
    )
    with pytest.raises(DawnbeatError, match="broken off"):
        accept(filled, outcome)
    assert filled.readings() == before


def test_progress_can_stop_the_work(filled: Journal, stand_in: Any) -> None:
    def stop(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        reanalyse(filled, stand_in.read, stand_in.analyse, Settings(), stop)


def test_a_reading_deleted_meanwhile_is_passed_over(filled: Journal, stand_in: Any) -> None:
    outcome = reanalyse(filled, stand_in.read, stand_in.analyse, Settings())
    filled.put_in_bin(1)
    filled.empty_bin([1])
    assert accept(filled, outcome) == 2


def test_a_journal_without_recordings_has_nothing_to_do(journal: Journal, taken: Any, analysed: Any) -> None:
    saved = journal.save(taken(), dataclasses.replace(analysed(), version="old"))
    outcome = reanalyse(journal, print, print, Settings())  # type: ignore[arg-type]
    assert outcome.without_recording == (saved,)
    assert accept(journal, outcome) == 0
