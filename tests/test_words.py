"""One word and one form for one thing, in all that runners read: what was given up stays away."""

from __future__ import annotations

import itertools
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


# What each was given up for: broken off; how much; pulse; save, rescue; measure again; use from today; replace; use.
@pytest.mark.parametrize(
    "given_up",
    [
        *(r"\binterrupted\b", r"Based on", r"[Tt]he week is below", r"(?<!resting )\b[Hh]eart rates?\b"),
        *(r"dawnbeat keep\b", r"[Tt]ake it again", r"Take (it…|them from)", r"Take the fuller", r"maximum take\b"),
        *(r"Stop and keep", r"[Kk]ept as reading", r"Keep from today"),
    ],
)
def test_a_word_that_was_given_up_stays_away(given_up: str) -> None:
    assert not _lines(given_up)
    texts = [ROOT / "README.md", ROOT / "ui/window/shell/keys.tsv", ROOT / "capture/phone/page.html"]
    assert not [path.name for path in texts if re.search(given_up, path.read_text(encoding="utf-8"))]


def test_what_goes_into_the_bin_is_not_deleted() -> None:
    assert not _lines(r"[Dd]elet\w*\b.*\bthe bin\b(?!.* for good)")
    assert _lines(r"[Dd]elet\w*\b.*\bthe bin for good")


def test_every_picture_of_the_readme_says_what_to_see() -> None:
    blocks = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")
    after = [below for block, below in itertools.pairwise(blocks) if block.startswith("![")]
    assert len(after) >= 8
    assert [each for each in after if not each.startswith("See ")] == []
