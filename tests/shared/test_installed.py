"""Files that come with the program are found, and a missing one is named."""

from __future__ import annotations

import re

import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.installed import shipped_recording, software_version


def test_the_rehearsal_video_and_its_beats_are_shipped():
    assert shipped_recording("rehearsal.avi").stat().st_size < 2_000_000
    assert shipped_recording("rehearsal.beats.csv").read_text().startswith("time_s\n")


def test_a_file_that_is_not_there_is_named():
    with pytest.raises(DawnbeatError, match=r"nothing\.avi"):
        shipped_recording("nothing.avi")


def test_the_installed_version_is_a_version():
    assert re.fullmatch(r"\d+\.\d+(\.\d+)?([a-z.+].*)?", software_version())
