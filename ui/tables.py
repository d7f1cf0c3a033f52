"""Tables for the terminal of which no figure is cut: what has no room goes on in the next line, or is named.

Standard output that is no terminal has no width, and gets each row whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderResult
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from dawnbeat.shared.errors import printable


@dataclass(frozen=True)
class Column:
    """A column by its heading.

    words: it may go on in the next line, between words, once it is narrower than that; `least` is as narrow as it
    gets. cut: its words end at the end of their line, since another command shows them whole. goes: in which order a
    narrow terminal loses the column, 1 first, and 0 where it stays; it is then called `called`, else by its heading.
    """

    heading: str
    words: bool = False
    least: int = 0
    cut: bool = False
    goes: int = 0
    called: str = ""


class FittedTable:
    """Rows below headings, laid out for the width of the terminal that they are printed on.

    Where even the columns that stay have no room beside each other, each row becomes a few lines of its own.
    """

    def __init__(self, title: str | None, columns: Sequence[Column]) -> None:
        self.title, self.columns = title, tuple(columns)
        self.rows: list[tuple[str, ...]] = []
        self.caption = ""

    def add_row(self, *cells: str) -> None:
        """Add the cells of one row, one for each column."""
        assert len(cells) == len(self.columns)
        self.rows.append(cells)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """The title, the table and what is said below it."""
        width = options.max_width
        if self.title:
            yield Text(self.title, "italic")
        shown, least = self._that_fit(width)
        gone = [each for each in range(len(self.columns)) if each not in shown and any(row[each] for row in self.rows)]
        if not _fit(least, shown, width):
            least = [self._longest_word(column) for column in range(len(self.columns))]
        if _fit(least, shown, width):
            yield self._side_by_side(shown, least, width)
        else:
            yield from self._one_below_the_other(shown)
        if self.caption:
            yield Text(self.caption, "dim italic")
        if gone:
            names = ", ".join(self.columns[each].called or self.columns[each].heading for each in gone)
            yield Text(f"Too narrow here for {names}.", "dim italic")

    def _that_fit(self, width: int) -> tuple[list[int], list[int]]:
        """The columns that stay, and how narrow each column may be."""
        least = [self._least(column) for column in range(len(self.columns))]
        shown = list(range(len(self.columns)))
        for column in sorted(
            (each for each in shown if self.columns[each].goes), key=lambda each: self.columns[each].goes
        ):
            if _fit(least, shown, width):
                break
            shown.remove(column)
        return shown, least

    def _side_by_side(self, shown: Sequence[int], least: Sequence[int], width: int) -> Table:
        # Where two blanks between the columns are too many, one must do.
        loose = sum(least[each] for each in shown) + 2 * (len(shown) - 1) <= width
        room = width - (2 if loose else 1) * (len(shown) - 1)
        widths = _filled([least[each] for each in shown], [self._whole(each) for each in shown], room)
        table = Table(box=box.SIMPLE if loose else None, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
        for each, wide in zip(shown, widths, strict=True):
            column = self.columns[each]
            table.add_column(
                column.heading, width=wide, no_wrap=column.cut, overflow="ellipsis" if column.cut else "fold"
            )
        for row in self.rows:
            table.add_row(*(row[each] for each in shown))
        return table

    def _one_below_the_other(self, shown: Sequence[int]) -> Iterator[Padding]:
        for row in self.rows:
            filled = [each for each in shown if row[each]]
            for n, each in enumerate(filled):
                heading = self.columns[each].heading
                text = f"{heading}: {row[each]}" if heading else row[each]
                yield Padding(text, (0, 0, 0, 2 if n else 0), expand=False)

    def _whole(self, column: int) -> int:
        return max(map(_length, self._texts(column)))

    def _least(self, column: int) -> int:
        about = self.columns[column]
        if about.words or about.cut:
            return min(max(about.least, 1 if about.cut else self._longest_word(column)), self._whole(column))
        return max(_longest(about.heading), *(_length(row[column]) for row in self.rows), 0)

    def _longest_word(self, column: int) -> int:
        return max(map(_longest, self._texts(column)))

    def _texts(self, column: int) -> list[str]:
        return [self.columns[column].heading, *(row[column] for row in self.rows)]


def plain_table(title: str | None, headings: Sequence[str]) -> FittedTable:
    """An empty table of words, which keeps all of its columns."""
    return FittedTable(title, [Column(heading, words=True) for heading in headings])


def _fit(least: Sequence[int], shown: Sequence[int], width: int) -> bool:
    return sum(least[each] for each in shown) + len(shown) - 1 <= width


def _filled(widths: list[int], wanted: Sequence[int], room: int) -> list[int]:
    """The widths with the room that is left given out, each time to the narrowest column that wants more."""
    spare = room - sum(widths)
    while spare > 0 and (short := [n for n, wide in enumerate(widths) if wide < wanted[n]]):
        widths[min(short, key=widths.__getitem__)] += 1
        spare -= 1
    return widths


def _length(text: str) -> int:
    return cell_len(printable(text))


def _longest(text: str) -> int:
    return max(map(_length, text.split()), default=0)
