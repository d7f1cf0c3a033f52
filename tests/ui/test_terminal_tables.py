"""Whatever the width of the terminal, no word and no figure of a table is cut or broken."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from dawnbeat.ui.terminal import Column, FittedTable, plain_table

WORDS = st.text("abcdefghij0123456789-", min_size=1, max_size=10)
CELLS = st.lists(WORDS, max_size=6).map(" ".join)
COLUMNS = st.builds(
    Column, CELLS, words=st.booleans(), least=st.integers(0, 12), goes=st.integers(0, 5), called=st.just("")
)


def shown(table: FittedTable, width: int) -> list[str]:
    out = io.StringIO()
    Console(file=out, width=width, markup=False, highlight=False, emoji=False).print(table)
    return out.getvalue().splitlines()


@given(st.data(), st.lists(COLUMNS, min_size=1, max_size=6), st.integers(20, 150))
def test_every_word_stays_whole_at_every_width(data: st.DataObject, columns: list[Column], width: int) -> None:
    table = FittedTable(None, columns)
    for _ in range(data.draw(st.integers(1, 3))):
        table.add_row(*data.draw(st.lists(CELLS, min_size=len(columns), max_size=len(columns))))
    lines = shown(table, width)
    assert max(map(len, lines), default=0) <= width
    assert "…" not in "".join(lines)
    stays = [n for n, column in enumerate(columns) if not column.goes]
    found = {word.removesuffix(":") for line in lines for word in line.split()}
    for row in table.rows:
        for n in stays:
            assert found.issuperset(row[n].split())


def narrow() -> FittedTable:
    table = FittedTable("Runs", [Column("Began"), Column("Pace", goes=2), Column("Pulse", goes=1), Column("km")])
    table.add_row("2026-11-29 06:44", "5:26", "151", "10.69")
    return table


@pytest.mark.parametrize(
    ("width", "row", "gone"),
    [
        (40, "2026-11-29 06:44 5:26 151 10.69", None),
        (29, "2026-11-29 06:44 5:26 10.69", "Pulse"),
        (24, "2026-11-29 06:44 10.69", "Pace, Pulse"),
    ],
)
def test_a_narrow_terminal_loses_whole_columns_in_their_order_and_names_them(
    width: int, row: str, gone: str | None
) -> None:
    lines = [" ".join(line.split()) for line in shown(narrow(), width)]
    assert row in lines
    said = " ".join(lines).partition("Too narrow here for ")[2]
    assert said == ("" if gone is None else f"{gone}.")


def test_what_has_no_room_beside_the_rest_goes_below_it() -> None:
    lines = shown(narrow(), 12)
    assert [line.strip() for line in lines[1:4]] == ["Began:", "2026-11-29", "06:44"]
    assert "  km: 10.69" in [line.rstrip() for line in lines]


def test_words_go_on_in_the_next_line_and_figures_do_not() -> None:
    table = plain_table("Maxima", ("Date", "Kind"))
    table.add_row("2026-11-29", "highest pulse of a test on the track")
    lines = shown(table, 30)
    assert any(line.startswith("2026-11-29") for line in lines)
    assert " ".join(" ".join(lines).split()).count("track") == 1


def test_an_empty_column_that_has_no_room_is_not_missed() -> None:
    table = FittedTable(None, [Column("Began"), Column("Noted", least=16, cut=True, goes=1)])
    table.add_row("2026-11-29 06:44", "")
    assert not [line for line in shown(table, 16) if "Too narrow" in line]
