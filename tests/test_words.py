"""One word and one form for one thing, in all that runners read: what was given up stays away."""

from __future__ import annotations

import re

import pytest

from tests.test_rooms import ALLOWED, ROOT

SOURCES = [path for room in ALLOWED for path in sorted((ROOT / room).rglob("*.py"))]


def _lines(pattern: str, but: tuple[str, ...] = ()) -> list[str]:
    found = re.compile(pattern)
    return [
        f"{path.relative_to(ROOT)}: {line.strip()}"
        for path in SOURCES
        if path.relative_to(ROOT).as_posix() not in but
        for line in path.read_text(encoding="utf-8").splitlines()
        if found.search(line)
    ]


def test_differences_get_their_sign_in_one_place() -> None:
    # Two that are said only where they are far from zero keep a sign of their own.
    said_far_from_zero = ("morning/answer_text.py", "capture/phone/link.py")
    assert not _lines(r"\{.*:\+z?\.\d*[fg{]", ("shared/wording.py", *said_far_from_zero))


@pytest.mark.parametrize("dash", ["–", "—"])
def test_a_range_is_said_with_to(dash: str) -> None:
    assert not _lines(rf"[\d}}] ?{dash} ?[\d{{]")
