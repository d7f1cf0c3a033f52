"""CSV as spreadsheets write and read it: text that none takes for a formula, and what separates the cells.

A text that begins with = + - @, their full-width forms, a blank, a control character or an apostrophe gets
one apostrophe in front. Reading takes one apostrophe away from a text that begins with one. So every text
comes back as it was.
"""

from __future__ import annotations

import unicodedata

GUARD = "'"
_STARTERS = frozenset("=+-@＝＋－＠" + GUARD)


def guard(text: str) -> str:
    """The text as a CSV cell may hold it."""
    return GUARD + text if text and _is_risky(text[0]) else text


def unguard(cell: str) -> str:
    """The text that `guard` made this cell of; a cell that was never guarded stays as it is."""
    return cell[1:] if cell.startswith(GUARD) else cell


def _is_risky(letter: str) -> bool:
    # Some programs skip blanks before they look for a formula.
    return letter in _STARTERS or letter.isspace() or unicodedata.category(letter) in ("Cc", "Cf")


def separator_of(header: str) -> str:
    """What separates the cells of a header of plain names: a comma, a semicolon or a tab, whichever is there most."""
    return max(",;\t", key=header.count)
