"""The colours of the program in one place: ink, paper, and the blue-violet of the hour before sunrise.

The window, saved pictures, reports and the icon take them from here. No state is told by a colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Inks:
    """The colours of one theme, as #rrggbb.

    paper: the ground. sheet: what lies on it. ink: words and lines. soft: words of less weight. line: what only
    separates. edge: the outline of what can be pressed, moved or typed into. wash: what is chosen.
    """

    paper: str
    sheet: str
    ink: str
    soft: str
    line: str
    edge: str
    accent: str
    on_accent: str
    wash: str
    dark: bool


LIGHT = Inks(
    paper="#f3f4f8",
    sheet="#fcfcfe",
    ink="#1d2030",
    soft="#535871",
    line="#cdd0de",
    edge="#7f849c",
    accent="#4b44ad",
    on_accent="#fbfbff",
    wash="#dfdff4",
    dark=False,
)
DARK = Inks(
    paper="#12141d",
    sheet="#1a1d29",
    ink="#e5e7f0",
    soft="#a4a9c0",
    line="#3b4056",
    edge="#747a98",
    accent="#a9a4f6",
    on_accent="#14132c",
    wash="#33335f",
    dark=True,
)
