"""Intervals from elsewhere become readings of their own kind, and a check of the camera is kept."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.journal.ranges import DEFAULT
from dawnbeat.journal.store import Journal
from dawnbeat.morning.strap import checks, keep_check, load_intervals, take_in
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.settings import Settings
from dawnbeat.signal.analysis import analyse_intervals

WHEN = datetime(2026, 11, 20, 6, 30, tzinfo=UTC)


def heart(n: int = 150, seed: int = 1) -> np.ndarray:
    """Intervals around a second with breathing and a little noise, in ms."""
    rng = np.random.default_rng(seed)
    return 1000.0 + 40.0 * np.sin(2 * np.pi * np.arange(n) / 4.1) + rng.normal(0, 8, n)


@pytest.mark.parametrize(
    "write",
    [
        lambda ms: "\n".join(f"{each:.3f}" for each in ms),
        lambda ms: "rr_ms\n" + "\n".join(f"{each:.3f}" for each in ms),
        lambda ms: "\n".join(f"{each / 1000:.6f}" for each in ms),
        lambda ms: "\n".join(f"{each:.6f}" for each in np.concatenate([[0.0], np.cumsum(ms) / 1000])),
        lambda ms: (
            "time_s;rr_ms\n"
            + "\n".join(f"{t:.6f};{each:.3f}" for t, each in zip(np.cumsum(ms) / 1000, ms, strict=True))
        ),
    ],
)
def test_a_file_may_hold_intervals_times_or_both(tmp_path: Path, write: object) -> None:
    path = tmp_path / "strap.txt"
    path.write_text(write(heart()))  # type: ignore[operator]
    np.testing.assert_allclose(load_intervals(path), heart(), atol=0.002)


@pytest.mark.parametrize("text", ["", "hello\nworld\n", "1,2,3\n4,5,6\n7,8,9\n", "5\n6\n4\n5\n", "900\nabc\n"])
def test_anything_else_is_refused_in_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "strap.txt"
    path.write_text(text)
    with pytest.raises(DawnbeatError, match=r"strap.txt"):
        load_intervals(path)


def test_rmssd_of_clean_intervals_is_that_of_the_definition() -> None:
    """Task Force of ESC and NASPE 1996 (Circulation 93:1043-1065): root mean square of successive differences."""
    ms = heart()
    found = analyse_intervals(ms)
    assert found.verdict.usable
    assert found.metrics.rmssd_ms == pytest.approx(float(np.sqrt(np.mean(np.diff(ms) ** 2))), rel=0.02)
    low, high = found.intervals95["rmssd_ms"]
    assert low < found.metrics.rmssd_ms < high


def test_a_missed_beat_is_left_out_and_irregular_beats_forbid_the_variability() -> None:
    ms = heart()
    joined = np.concatenate([ms[:50], [ms[50] + ms[51]], ms[52:]])
    found = analyse_intervals(joined)
    assert found.verdict.usable
    assert found.intervals.left_out[50] == "missed beat"
    wild = analyse_intervals(np.random.default_rng(2).uniform(450, 1200, 160))
    assert wild.verdict.irregular
    assert not wild.verdict.usable


def test_a_strap_reading_is_kept_with_its_own_origin_and_range(tmp_path: Path) -> None:
    path = tmp_path / "strap.txt"
    path.write_text("\n".join(f"{each:.1f}" for each in heart()))
    kept = take_in(path, WHEN, "lying", tmp_path / "journal", DEFAULT, Settings())
    assert kept.stored is not None
    assert kept.stored.origin == "strap"
    assert kept.stored.verdict.usable
    with Journal.open(tmp_path / "journal") as journal:
        (morning,) = journal.mornings()
        assert morning.origin == "strap"
        assert len(journal.intervals(kept.stored.id)) == 150


def test_checks_of_the_camera_are_kept(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        assert checks(journal) == []
        keep_check(journal, {"intervals": 100, "interval_sd_ms": 3.5}, "camera", "strap.txt")
        (found,) = checks(journal)
        assert (found["strap"], found["interval_sd_ms"]) == ("strap.txt", 3.5)
