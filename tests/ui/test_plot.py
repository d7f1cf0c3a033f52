from __future__ import annotations

import dataclasses
import os
import stat
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtGui import QImage

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Analysis, PulseWave
from dawnbeat.signal.compare import Series, compare
from dawnbeat.ui.plot import plot_agreement, plot_reading
from tests.ui.invented_analysis import eight_beats, no_beats


def _size(path: Path) -> tuple[int, int]:
    picture = QImage(str(path))
    return picture.width(), picture.height()


def _drawn_share(path: Path) -> float:
    """Share of the picture that is not paper."""
    picture = QImage(str(path)).convertToFormat(QImage.Format.Format_Grayscale8)
    shape = (picture.height(), picture.bytesPerLine())
    grey = np.frombuffer(picture.constBits(), dtype=np.uint8).reshape(shape)[:, : picture.width()].astype(int)
    return float((np.abs(grey - grey[0, 0]) > 25).mean())


@pytest.mark.parametrize("analysis", [eight_beats(), eight_beats(False), no_beats()], ids=["usable", "not", "nothing"])
def test_a_reading_is_drawn_at_a_sensible_size(tmp_path: Path, analysis: Analysis) -> None:
    plot_reading("invented", analysis, tmp_path / "x.png")
    width, height = _size(tmp_path / "x.png")
    assert 2000 <= width <= 4000
    assert 1000 <= height <= 4000
    assert 0.005 < _drawn_share(tmp_path / "x.png") < 0.5


def test_a_night_fits_on_one_page(tmp_path: Path) -> None:
    time_s = np.arange(0.0, 36_000.0, 0.5)
    analysis = dataclasses.replace(
        eight_beats(), duration_s=36_000.0, wave=PulseWave(time_s, np.sin(2 * np.pi * time_s / 7))
    )
    plot_reading("a night", analysis, tmp_path / "night.png")
    assert _size(tmp_path / "night.png")[1] <= 6000


def test_a_picture_is_the_users_alone_and_replaces_the_one_before(tmp_path: Path) -> None:
    out = tmp_path / "x.png"
    out.write_text("before")
    plot_reading("[name] with $signs$_^", eight_beats(), out)
    assert out.read_bytes().startswith(b"\x89PNG")
    assert [path.name for path in tmp_path.iterdir()] == ["x.png"]
    if os.name != "nt":
        assert stat.S_IMODE(out.stat().st_mode) == 0o600


def test_a_folder_that_is_not_there_is_an_error_of_ours(tmp_path: Path) -> None:
    with pytest.raises(DawnbeatError, match="can't write the picture"):
        plot_reading("x", eight_beats(), tmp_path / "missing" / "x.png")


@pytest.mark.parametrize("beats", [3, 60])
def test_an_agreement_is_drawn_whether_or_not_it_has_limits(tmp_path: Path, beats: int) -> None:
    rng = np.random.default_rng(1)
    time_s = np.cumsum(rng.normal(1.0, 0.04, beats))
    found = compare(Series.of_beats(time_s), Series.of_beats(time_s + rng.normal(0, 0.002, beats)), lag_s=0.0)
    plot_agreement(found, ("left", "right"), tmp_path / "both.png")
    width, height = _size(tmp_path / "both.png")
    assert 1000 <= width <= 4000
    assert 800 <= height <= 4000
