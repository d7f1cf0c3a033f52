from __future__ import annotations

import os
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.journal.backup import backup, restore
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import run_store
from dawnbeat.training.import_runs import FEW_FILES, FileOutcome, import_runs
from tests.training.run_files import START, billion_laughs, csv_text, fit_bytes, gpx_text, steady, tcx_text, write


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Ten invented runs on ten days, one of them twice under another name, and two files that are none."""
    folder = tmp_path / "runs"
    (folder / "deeper").mkdir(parents=True)
    for day in range(10):
        write(folder / f"run{day}.fit", fit_bytes(steady(120, 130 + day), START + timedelta(days=day)))
    write(folder / "again.fit", fit_bytes(steady(120, 130), START))
    write(folder / "deeper" / "other.gpx", gpx_text(steady(90), START + timedelta(days=20)))
    write(folder / "laughs.gpx", billion_laughs())
    write(folder / "cut.fit", fit_bytes(steady(120), START + timedelta(days=30))[:900])
    write(folder / ".hidden.fit", b"not looked at")
    write(folder / "notes.md", b"not looked at")
    return folder


def test_a_folder_is_read_in_other_processes_and_each_file_accounted_for(journal: Journal, folder: Path) -> None:
    seen: list[tuple[int, int]] = []
    result = import_runs(journal, [folder], progress=lambda done, of, outcome: seen.append((done, of)))
    assert result.files == 14 > FEW_FILES
    assert seen == [(n, 14) for n in range(1, 15)]
    assert (result.count("added"), result.count("here already"), result.count("not taken")) == (11, 1, 2)
    assert len(run_store.runs(journal)) == 11
    lines = result.lines()
    assert lines[0] == "11 added, 1 here already, 2 not taken"
    assert any("cut.fit" in line and "cut short or damaged" in line for line in lines)
    assert any("laughs.gpx" in line for line in lines)


def test_a_second_import_adds_nothing(journal: Journal, folder: Path) -> None:
    import_runs(journal, [folder])
    before = run_store.runs(journal)
    assert import_runs(journal, [folder], workers=1).count("added") == 0
    assert [run.id for run in run_store.runs(journal)] == [run.id for run in before]


def test_the_same_run_in_another_format_is_recognised_by_its_start(journal: Journal, tmp_path: Path) -> None:
    first = write(tmp_path / "run.tcx", tcx_text(steady(60)))
    other = write(tmp_path / "run.csv", csv_text(steady(60), START + timedelta(seconds=1)))
    result = import_runs(journal, [first, other])
    assert [each.became for each in result.outcomes] == ["added", "here already"]
    assert result.outcomes[1].run_id == result.outcomes[0].run_id


def test_a_cancel_keeps_what_was_added(journal: Journal, folder: Path) -> None:
    done: list[FileOutcome] = []
    result = import_runs(
        journal, [folder], progress=lambda n, of, outcome: done.append(outcome), cancelled=lambda: len(done) >= 3
    )
    assert result.cancelled
    assert len(result.outcomes) == 3
    assert len(run_store.runs(journal)) == result.count("added")
    assert result.lines()[-1] == "stopped after 3 of 14 files; what was added stays"


def test_the_journal_stays_usable_for_others_during_an_import(journal: Journal, folder: Path, home: Path) -> None:
    written = []

    def another_program_writes(done: int, of: int, outcome: FileOutcome) -> None:
        with Journal.open(home, busy_s=0.2) as other:
            written.append(run_store.add_by_hand(other, START + timedelta(hours=done), 600))
            assert len(run_store.runs(other)) >= done - 2

    import_runs(journal, [folder], progress=another_program_writes)
    assert len(written) == 14


def test_a_run_in_the_bin_is_not_brought_back_by_an_import(journal: Journal, tmp_path: Path) -> None:
    path = write(tmp_path / "run.csv", csv_text(steady(60)))
    (outcome,) = import_runs(journal, [path]).outcomes
    assert outcome.run_id is not None
    run_store.put_in_bin(journal, outcome.run_id)
    result = import_runs(journal, [path])
    assert result.count("in the bin") == 1
    assert run_store.runs(journal) == []
    assert "runs bin --back" in result.lines()[1]


def test_nothing_is_half_imported_when_the_database_refuses(journal: Journal, tmp_path: Path) -> None:
    journal.connection.execute("CREATE TRIGGER no BEFORE INSERT ON run_marks BEGIN SELECT RAISE(ABORT, 'refused'); END")
    samples = steady(120)
    samples[60].pulse_bpm = None
    path = write(tmp_path / "run.csv", csv_text(samples))
    with pytest.raises(DawnbeatError, match="can't save the run"):
        import_runs(journal, [path])
    assert journal.connection.execute("SELECT count(*) FROM runs").fetchone() == (0,)
    assert journal.connection.execute("SELECT count(*) FROM run_samples").fetchone() == (0,)


def test_names_that_lead_nowhere_are_refused(journal: Journal, tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="does not exist"):
        import_runs(journal, [tmp_path / "none"])
    (tmp_path / "bare").mkdir()
    with pytest.raises(DawnbeatError, match="no run file here"):
        import_runs(journal, [tmp_path / "bare"])
    both = [write(tmp_path / name, csv_text(steady(5), None)) for name in ("a.csv", "b.csv")]
    with pytest.raises(DawnbeatError, match="import that file alone"):
        import_runs(journal, both, began=START)


@pytest.mark.skipif(os.name == "nt", reason="names of bytes exist elsewhere only")
def test_a_name_that_is_no_text_does_no_harm(journal: Journal, tmp_path: Path) -> None:
    path = write(Path(os.fsdecode(os.fsencode(tmp_path) + b"/run\xff.csv")), csv_text(steady(60)))
    assert import_runs(journal, [path]).count("added") == 1
    assert run_store.runs(journal)[0].source == "run?.csv"


def test_samples_and_marks_come_back_from_the_journal(journal: Journal, tmp_path: Path) -> None:
    samples = steady(300)
    samples[100].pulse_bpm = 220
    import_runs(journal, [write(tmp_path / "run.csv", csv_text(samples))])
    (run,) = run_store.runs(journal)
    back = run_store.samples(journal, run.id)
    np.testing.assert_array_equal(back.pulse_bpm, [sample.pulse_bpm for sample in samples])
    (mark,) = run_store.marks(journal, run.id)
    assert (mark.kind, mark.start_s, mark.end_s) == ("spike", 100.0, 101.0)
    assert run.figures.measured_s == 298
    assert run_store.overrule(journal, run.id, 1).figures.measured_s == 299
    assert run_store.marks(journal, run.id)[0].overruled
    again = run_store.overrule(journal, run.id, 1, overruled=False)
    assert again.figures.measured_s == run.figures.measured_s
    np.testing.assert_array_equal(again.figures.ms_at_bpm, run.figures.ms_at_bpm)


def test_what_was_never_recorded_cant_be_overruled(journal: Journal, tmp_path: Path) -> None:
    samples = steady(300)
    samples[100].pulse_bpm = None
    import_runs(journal, [write(tmp_path / "run.csv", csv_text(samples))])
    (run,) = run_store.runs(journal)
    with pytest.raises(DawnbeatError, match="mark 1 is a drop-out"):
        run_store.overrule(journal, run.id, 1)
    with pytest.raises(DawnbeatError, match="has 1 marks, no number 2"):
        run_store.overrule(journal, run.id, 2)


def test_a_run_by_hand_is_kept_edited_binned_and_deleted(journal: Journal) -> None:
    run = run_store.add_by_hand(journal, START, 2700, 8000, felt_effort=4, note="in the rain")
    assert run.local_date == date(2025, 3, 3)
    assert (run.figures.duration_s, run.figures.distance_m, run.has_pulse) == (2700, 8000, False)
    edited = run_store.edit(journal, run.id, felt_effort=6, race=True)
    assert (edited.felt_effort, edited.note, edited.race) == (6, "in the rain", True)
    assert run_store.edit(journal, run.id, clear_felt_effort=True).felt_effort is None
    with pytest.raises(DawnbeatError, match="entered by hand"):
        run_store.samples(journal, run.id)
    run_store.put_in_bin(journal, run.id)
    assert run_store.runs(journal) == []
    assert [each.id for each in run_store.binned(journal)] == [run.id]
    run_store.restore_from_bin(journal, run.id)
    assert run_store.empty_bin(journal, [run.id]) == 0
    run_store.put_in_bin(journal, run.id)
    assert run_store.empty_bin(journal, [run.id]) == 1
    with pytest.raises(DawnbeatError, match="there is no run"):
        run_store.run(journal, run.id)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"duration_s": 0}, "give its duration"),
        ({"duration_s": float("nan")}, "give its duration"),
        ({"duration_s": 60, "distance_m": -1}, "a distance of -1"),
        ({"duration_s": 60, "felt_effort": 11}, "from 0"),
        ({"duration_s": 60, "note": "x" * 20_001}, "too long"),
        ({"duration_s": 60, "note": "\ud800"}, "not valid Unicode"),
    ],
)
def test_what_cant_be_a_run_is_refused(journal: Journal, values: dict[str, object], said: str) -> None:
    with pytest.raises(DawnbeatError, match=said):
        run_store.add_by_hand(journal, START, **values)  # type: ignore[arg-type]
    assert run_store.runs(journal) == []


def test_runs_are_in_the_backup(journal: Journal, tmp_path: Path) -> None:
    import_runs(journal, [write(tmp_path / "run.csv", csv_text(steady(60)))])
    zipped = tmp_path / "journal.zip"
    backup(journal, zipped)
    restore(zipped, tmp_path / "restored")
    with Journal.open(tmp_path / "restored") as restored:
        (run,) = run_store.runs(restored)
        assert len(run_store.samples(restored, run.id)) == 60
