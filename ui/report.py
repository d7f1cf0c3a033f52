"""A reading in the terminal: verdict first, then the numbers with their units and how sure they are."""

from __future__ import annotations

import dataclasses
from collections import Counter
from typing import IO, TYPE_CHECKING, Any

from rich import box
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from dawnbeat.morning.reading_text import verdict_lines, verdict_title
from dawnbeat.shared.errors import printable

if TYPE_CHECKING:
    from dawnbeat.shared.reading import Analysis

NOT_MEDICAL = (
    "Not a medical device. "
    "See a doctor about chest pain, fainting, palpitations or a pulse that keeps coming irregularly."
)


def reading(name: str, analysis: Analysis) -> RenderableType:
    """The reading of one recording as something rich can print."""
    usable, title = analysis.verdict.usable, verdict_title(analysis.verdict)
    rate = f", {analysis.frame_rate_hz:.1f} frames a second" if analysis.frame_rate_hz else ""
    parts: list[RenderableType] = [
        Text.assemble((printable(name), "bold"), f"  {analysis.duration_s:.0f} s{rate}"),
        Text(
            title if usable else title.replace("not usable", "NOT USABLE"), style="bold" if usable else "bold reverse"
        ),
    ]
    parts += [Text(f"  {'' if usable else 'because '}{reason}") for reason in verdict_lines(analysis.verdict)]
    if analysis.intervals95:
        if not usable:
            which = "The figures of variability" if analysis.verdict.pulse_usable else "The figures"
            parts.append(Text(f"  {which} below are for looking into it, not to be relied on.", style="italic"))
        parts.append(Padding(_figures(analysis), (0, 0, 0, 2)))
    parts.append(Text(f"  {_left_out(analysis)}"))
    if analysis.channel:
        parts.append(Text(f"  colour: {analysis.channel}"))
    return Group(*parts)


def _figures(analysis: Analysis) -> Table:
    table = Table(box=box.SIMPLE, show_edge=False, pad_edge=False)
    table.add_column("")
    table.add_column("value", justify="right")
    table.add_column("unit")
    table.add_column("95 % interval", justify="right")
    for each in dataclasses.fields(analysis.metrics):
        about, value = each.metadata, getattr(analysis.metrics, each.name)
        if value is not None and about["decimals"] is not None:
            unit = "" if about["whole"] else about["unit"]
            _add_figure(table, about["title"], value, unit, about["decimals"], analysis.intervals95.get(each.name))
    if analysis.timing_error_ms is not None:
        _add_figure(table, "timing error of a beat", analysis.timing_error_ms, "ms", 1)
    return table


def _add_figure(
    table: Table, title: str, value: float, unit: str, decimals: int, span: tuple[float, float] | None = None
) -> None:
    around = f"{span[0]:.{decimals}f} to {span[1]:.{decimals}f}" if span else ""
    table.add_row(title, f"{value:.{decimals}f}", unit, around)


def _left_out(analysis: Analysis) -> str:
    metrics = analysis.metrics
    counted = Counter(reason for reason in analysis.intervals.left_out if reason is not None)
    kept = len(analysis.intervals) - sum(counted.values())
    words = f"{metrics.kept_beats} beats kept; {kept} of {len(analysis.intervals)} intervals count"
    if counted:
        words += "; left out: " + ", ".join(f"{number} {reason}" for reason, number in counted.most_common())
    return words


class _PlainConsole(Console):
    """A terminal that shows the letters of a text and obeys none: a note can hold what would move its cursor."""

    def render_str(self, text: str, **how: Any) -> Text:
        return super().render_str(printable(text), **how)


def console(output: IO[str] | None = None) -> Console:
    """The terminal; wide enough where the output goes to a file. Brackets in a name are letters, not a style."""
    terminal = _PlainConsole(file=output, highlight=False, markup=False, emoji=False)
    if terminal.is_terminal:
        return terminal
    return _PlainConsole(file=output, width=max(terminal.width, 110), highlight=False, markup=False, emoji=False)
