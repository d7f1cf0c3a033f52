from __future__ import annotations

import os
import zipfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.journal.backup import backup, restore
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import run_store
from dawnbeat.training.import_runs import FEW_FILES, FileOutcome, find_files, import_runs, prepare
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
    write(folder / "cut.fit", fit_bytes(steady(120), START + timedelta(days=30))[:60])
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
    assert tuple(journal.connection.execute("SELECT count(*) FROM runs").fetchone()) == (0,)
    assert tuple(journal.connection.execute("SELECT count(*) FROM run_samples").fetchone()) == (0,)


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
    assert run_store.set_items(journal, run.id, felt_effort=None).felt_effort is None
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


# The same time twice, other sports, zip files


def test_the_fuller_file_of_the_same_run_is_offered_and_takes_its_place_when_asked(
    journal: Journal, tmp_path: Path
) -> None:
    # A watch that was started ten minutes late, and a phone that has the whole run.
    late = write(tmp_path / "late.csv", csv_text(steady(1200), START + timedelta(minutes=10)))
    whole = write(tmp_path / "whole.fit", fit_bytes(steady(1800), START))
    import_runs(journal, [late])
    (first,) = run_store.runs(journal)
    run_store.edit(journal, first.id, felt_effort=4, note="in the rain", race=True)
    offered = import_runs(journal, [whole])
    assert (offered.count("here already"), offered.richer) == (1, 1)
    assert "--replace" in " ".join(offered.lines())
    assert run_store.run(journal, first.id).figures.duration_s == 1199
    assert import_runs(journal, [whole], replace=True).count("replaced") == 1
    (run,) = run_store.runs(journal)
    assert (run.id, run.figures.duration_s, run.source, run.began) == (first.id, 1799, "whole.fit", START)
    assert (run.felt_effort, run.note, run.race) == (4, "in the rain", True)
    assert len(run_store.samples(journal, run.id)) == 1800
    again = import_runs(journal, [late, whole], replace=True)
    assert (again.count("here already"), again.richer) == (2, 0)


@pytest.mark.parametrize(("minutes_later", "added"), [(0.05, 0), (10, 0), (19, 1), (25, 1)])
def test_runs_whose_times_overlap_are_one(journal: Journal, tmp_path: Path, minutes_later: float, added: int) -> None:
    import_runs(journal, [write(tmp_path / "one.csv", csv_text(steady(1200)))])
    other = write(tmp_path / "two.csv", csv_text(steady(1200), START + timedelta(minutes=minutes_later)))
    assert import_runs(journal, [other]).count("added") == added


def test_a_run_by_hand_is_not_added_beside_the_file_of_its_time(journal: Journal, tmp_path: Path) -> None:
    import_runs(journal, [write(tmp_path / "one.csv", csv_text(steady(1200)))])
    with pytest.raises(DawnbeatError, match="run 1 is of that time already"):
        run_store.add_by_hand(journal, START + timedelta(minutes=5), 1200)
    run_store.add_by_hand(journal, START + timedelta(hours=2), 3600)
    whole = write(tmp_path / "two.csv", csv_text(steady(3600), START + timedelta(hours=2, minutes=1)))
    assert import_runs(journal, [whole]).richer == 1


@pytest.mark.parametrize(
    ("began", "seconds", "metres", "said"),
    [
        (datetime.now(UTC) + timedelta(days=1), 600.0, None, "in the future"),
        (START, 600.0, 42_195.0, "faster than anyone runs"),
    ],
)
def test_a_run_by_hand_that_cant_be_is_refused(
    journal: Journal, began: datetime, seconds: float, metres: float | None, said: str
) -> None:
    with pytest.raises(DawnbeatError, match=said):
        run_store.add_by_hand(journal, began, seconds, metres)


def test_files_that_do_not_say_their_sport_are_asked_about_together(journal: Journal, tmp_path: Path) -> None:
    for n in range(3):
        write(tmp_path / f"{n}.gpx", gpx_text(steady(600), START + timedelta(days=n), ""))
    write(tmp_path / "hike.gpx", gpx_text(steady(600), START + timedelta(days=5), "hiking"))
    result = import_runs(journal, [tmp_path])
    assert len(result.unsaid_ids) == 3
    assert not any(run.counts for run in run_store.runs(journal))
    assert "3 added whose files don't say the sport" in " ".join(result.lines())
    assert "1 added that do not count as runs" in " ".join(result.lines())
    for each in result.unsaid_ids:
        run_store.edit(journal, each, sport="running")
    assert [run.counts for run in run_store.runs(journal)] == [True, True, True, False]
    assert run_store.edit(journal, 4, counts=True).counts
    assert result.now_running(result.unsaid_ids).unsaid_ids == []


def test_the_sport_can_be_said_beforehand(journal: Journal, tmp_path: Path) -> None:
    path = write(tmp_path / "track.gpx", gpx_text(steady(600), kind=""))
    assert import_runs(journal, [path], sport="running").unsaid_ids == []
    assert run_store.runs(journal)[0].counts


def test_a_zip_of_runs_is_taken_like_a_folder(journal: Journal, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "runs.zip", "w") as packed:
        for n in range(2):
            packed.writestr(f"year/{n}.fit", fit_bytes(steady(120), START + timedelta(days=n)))
        packed.writestr("year/laughs.gpx", billion_laughs())
        packed.writestr("year/notes.md", "not looked at")
    result = import_runs(journal, [tmp_path / "runs.zip"])
    assert (result.files, result.count("added"), result.count("not taken")) == (3, 2, 1)
    assert "runs.zip: year/laughs.gpx" in " ".join(result.lines())
    assert run_store.runs(journal)[0].source == "0.fit"


def test_a_zip_member_may_not_unpack_to_more_than_a_run(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("bomb.csv", bytes(3 * 2**20))
    (member,) = find_files([tmp_path / "bomb.zip"])
    with pytest.raises(DawnbeatError, match="over 2 MB"):
        prepare(member, max_bytes=2 * 2**20)


def test_whatever_breaks_on_one_file_the_others_are_added(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(samples: object) -> None:
        raise AssertionError("deep inside")

    good = write(tmp_path / "good.csv", csv_text(steady(60)))
    monkeypatch.setattr("dawnbeat.training.device_files._add_trackpoint", breaks)
    bad = write(tmp_path / "bad.tcx", tcx_text(steady(60)))
    result = import_runs(journal, [bad, good])
    assert [each.became for each in result.outcomes] == ["not taken", "added"]
    assert "\n" not in result.outcomes[0].message


def test_what_is_odd_about_a_file_is_kept_with_its_run(journal: Journal, tmp_path: Path) -> None:
    data = fit_bytes(steady(600))
    import_runs(journal, [write(tmp_path / "cut.fit", data[: len(data) // 2])])
    (run,) = run_store.runs(journal)
    assert [note.code for note in run.notes] == ["cut short"]
    assert run_store.edit(journal, run.id, talk="whole sentences").talk == "whole sentences"
