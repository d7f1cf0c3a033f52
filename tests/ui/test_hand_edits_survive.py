"""What was left out by hand stays out when the journal is analysed again."""

from __future__ import annotations

from datetime import UTC, datetime

from dawnbeat.capture.recording import write_recording
from dawnbeat.journal.hand_edits import edit_intervals
from dawnbeat.journal.store import Journal
from dawnbeat.morning.revising import figures_with, review
from dawnbeat.recordings.invented.scenario import Scenario
from dawnbeat.shared.morning import Circumstances
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.main import run


def test_reanalysis_keeps_what_was_left_out_by_hand(tmp_path, capsys):
    trace = Scenario(duration_s=40.0).trace()
    began = datetime(2026, 5, 3, 6, 30, tzinfo=UTC)
    with Journal.open(tmp_path) as journal:
        folder = write_recording(tmp_path / "rec", trace, {"began": began.isoformat()})
        reviewed = review(trace, Settings())
        stored = journal.save(Circumstances(began, "lying", "invented"), reviewed.analysis, folder)
        edit_intervals(journal, stored.id, {5: "movement", 6: "movement"}, figures_with(stored, reviewed))
        kept = journal.intervals(stored.id).kept.sum()
    toml = tmp_path / "other.toml"
    toml.write_text("edge_before_ms = 150.0\n")
    assert run(["reanalyse", "--yes", "--settings", str(toml), "--journal", str(tmp_path)]) == 0
    assert "1 reading left out by hand" in capsys.readouterr().out
    with Journal.open(tmp_path) as journal:
        intervals = journal.intervals(stored.id)
        assert intervals.left_out[5] == intervals.left_out[6] == "movement"
        assert intervals.kept.sum() == kept
