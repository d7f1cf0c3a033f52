"""`dawnbeat mornings` and `dawnbeat note`: the history in the terminal, and the runner's words in it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import typer

from dawnbeat.shared.errors import DawnbeatError, printable
from dawnbeat.ui.commands.options import JournalFolder, day_of, open_journal

if TYPE_CHECKING:
    from rich.console import Console

    from dawnbeat.journal.ranges import RangeSettings
    from dawnbeat.journal.store import Journal
    from dawnbeat.shared.morning import Context, StoredReading
    from dawnbeat.ui.terminal import FittedTable

_NUMBER, _LN_RMSSD, _VERDICT = 2, 5, 6
# A narrower terminal has no room for what was noted beside the figures.
_LEAST_NOTED = 16
# What a narrow terminal loses of the readings, after what was noted, and of the months.
_GO_FIRST = {"lnRMSSD": 2, "Posture": 3, "Time": 4}
_GOES = {"Variation, %": 1, "Pulse changed, bpm": 2, "RMSSD changed, %": 3}


def mornings(
    weeks: int = typer.Option(4, help="How many weeks to list."),
    months: bool = typer.Option(False, "--months", help="Month against month and year against year instead."),
    as_json: bool = typer.Option(False, "--json", help="One line of JSON: today's answer, and the readings."),
    journal: JournalFolder = None,
) -> None:
    """Show the last weeks and where today stands.

    Lists the readings with their 95 % intervals, then compares this morning and this week with your own usual range.
    """
    from dawnbeat.morning.choices import chosen_ranges
    from dawnbeat.ui.terminal import console

    if not 1 <= weeks <= 520:
        raise DawnbeatError(f"--weeks {weeks} is out of range: give 1 to 520")
    screen = console()
    with open_journal(journal) as opened:
        if as_json:
            from dawnbeat.morning.answering import grounds
            from dawnbeat.ui.as_json import mornings_line

            today = date.today()
            readings = opened.readings(today - timedelta(days=7 * weeks - 1), today)
            screen.print(mornings_line(grounds(opened, today, chosen_ranges()).answer(), readings), soft_wrap=True)
            return
        if months:
            _print_periods(screen, opened)
            return
        print_mornings(screen, opened, date.today(), weeks, chosen_ranges())
        for orphan in opened.orphans():
            screen.print()
            if orphan.finished:
                said = (
                    f"A recording belongs to no reading: {orphan.path}. It is being taken now, or was cut short; "
                    "`dawnbeat rescue` saves its reading."
                )
            else:
                said = (
                    f"A copy of a recording was cut short: {orphan.path}. It makes no reading, and what it was copied "
                    "from lies where it was: delete the folder once nothing is being copied."
                )
            screen.print(said, soft_wrap=True)


def _print_periods(screen: Console, journal: Journal) -> None:
    from dawnbeat.journal.periods import HEADINGS, by_month, by_year, cells
    from dawnbeat.ui.terminal import Column, FittedTable

    found = journal.mornings()
    if not found:
        screen.print("No mornings yet: `dawnbeat read` takes one.")
        return
    for periods in (by_month(found), by_year(found)):
        shown = FittedTable(
            None,
            [Column(heading, words=n > 1, least=8, goes=_GOES.get(heading, 0)) for n, heading in enumerate(HEADINGS)],
        )
        for each in periods:
            shown.add_row(*cells(each))
        screen.print(shown)
        screen.print()
    screen.print(
        "95 % intervals; a change in brackets can't be told from none. Variation is that of lnRMSSD from morning to "
        "morning. Ill, short and not comparable mornings and other postures are left out of the means."
    )


def print_mornings(
    screen: Console, journal: Journal, today: date, weeks: int, ranges: RangeSettings | None = None
) -> None:
    """Print table, sparkline and today's paragraph. ranges: windows of the usual range; None for the usual ones."""
    from rich.padding import Padding

    from dawnbeat.journal.listing import sparkline
    from dawnbeat.journal.ranges import DEFAULT
    from dawnbeat.morning.answer_text import headline, lead, lines, rests_on
    from dawnbeat.morning.answering import grounds
    from dawnbeat.morning.reading_text import verdict_lines
    from dawnbeat.shared.wording import short_day

    drawn_from = grounds(journal, today, ranges or DEFAULT)
    for line in lines(drawn_from.answer()):
        screen.print(line)
    before = [each.date for each in drawn_from.mornings if each.date < today]
    if drawn_from.today.morning is None and before:
        last = grounds(journal, before[-1], ranges or DEFAULT).answer()
        screen.print(f"On {short_day(before[-1])}: {headline(last)}. {lead(last)}")
    screen.print()
    first = today - timedelta(days=7 * weeks - 1)
    readings = journal.readings(first, today)
    if readings:
        screen.print(_table(readings))
        for each in readings:
            if not each.verdict.usable:
                why = "; ".join(verdict_lines(each.verdict))
                screen.print(
                    Padding(f"{each.local_date} {each.began:%H:%M} not usable: {why}", (0, 0, 0, 2), expand=False)
                )
        screen.print()
        by_day = {morning.date: morning.ln_rmssd for morning in journal.mornings(first, today) if morning.usable}
        days = [by_day.get(first + timedelta(days=day)) for day in range(7 * weeks)]
        screen.print(f"lnRMSSD by day  {sparkline(days)}")
    else:
        newest = max((each.local_date for each in journal.readings()), default=None)
        said = "No reading yet" if newest is None else f"No reading since {short_day(newest)}"
        screen.print(f"{said}: `dawnbeat read` takes one.")
    screen.print()
    for line in rests_on(drawn_from.today):
        screen.print(Padding(line, (0, 0, 0, 2), expand=False))


def _table(readings: list[StoredReading]) -> FittedTable:
    """One line a reading, unless the terminal is narrower than its figures."""
    from dawnbeat.journal.listing import HEADINGS, table
    from dawnbeat.ui.terminal import Column, FittedTable

    headings = [*HEADINGS[:_NUMBER], "No.", *HEADINGS[_NUMBER : _VERDICT + 1]]
    noted = "what was noted (`dawnbeat note DAY` shows it)"
    shown = FittedTable(
        None,
        [
            *(Column(heading, goes=_GO_FIRST.get(heading, 0)) for heading in headings),
            Column("Noted", least=_LEAST_NOTED, cut=True, goes=1, called=noted),
        ],
    )
    for row, each in zip(table(readings), readings, strict=True):
        shown.add_row(*_in_terminal(row, each.id), _noted(each.context))
    return shown


def _in_terminal(row: tuple[str, ...], number: int) -> list[str]:
    """The cells of one reading up to the verdict, with the number that other commands call it by; lnRMSSD without its
    interval.
    """
    cells = list(row[: _VERDICT + 1])
    cells[_LN_RMSSD] = cells[_LN_RMSSD].split(" (")[0]
    return [*cells[:_NUMBER], str(number), *cells[_NUMBER:]]


def _noted(context: Context) -> str:
    """What stands out of a morning, in few words; `dawnbeat note DAY` shows all of it."""
    parts = [
        "ill" if context.ill else "",
        "alcohol" if context.alcohol else "",
        context.note or "",
        context.yesterday_run or "",
        f"slept {context.hours_slept:g} h" if context.hours_slept is not None else "",
    ]
    return ", ".join(" ".join(part.split()) for part in parts if part)


def note(
    day: str = typer.Argument(..., help="The day, such as 2026-05-03, or today or yesterday."),
    words: list[str] = typer.Argument(
        None,
        help="Items, such as: sleep=3 hours=7.5 note='slept badly'; those that are not named stay, "
        "and nothing after the equals sign takes one away.",
    ),
    posture: str | None = typer.Option(None, help="lying, sitting or standing, to correct what was stored."),
    pick: int | None = typer.Option(None, help="Let the reading with this number count for its day."),
    as_json: bool = typer.Option(False, "--json", help="One line of JSON: the reading of that day, with its notes."),
    journal: JournalFolder = None,
) -> None:
    """Show or edit what you said of a morning.

    sleep, stress, fatigue and soreness go from 1 (very, very good or low) to 7 (very, very bad or high); hours are
    those slept; ill and alcohol are yes or no; run is yesterday's run and note anything else, both in plain words.
    """
    from dawnbeat.journal.listing import context_from_line, line_of
    from dawnbeat.morning.answer_text import headline, lead
    from dawnbeat.morning.answering import grounds, keep_answer
    from dawnbeat.morning.choices import chosen_ranges
    from dawnbeat.shared.morning import posture_from
    from dawnbeat.ui.as_json import note_line

    with open_journal(journal) as opened:
        chosen = day_of(day)
        reading = opened.counting(chosen)
        if pick is not None:
            if pick not in {each.id for each in opened.day(chosen)}:
                raise DawnbeatError(f"reading {pick} is not one of {chosen}: `dawnbeat note {chosen}` lists them")
            reading = opened.pick(pick)
        if posture is not None:
            reading = opened.set_posture(reading.id, posture_from(posture))
        if words:
            reading = opened.edit_context(reading.id, context_from_line(_one_line(words), reading.context))
        today = grounds(opened, chosen, chosen_ranges()) if chosen == date.today() else None
        if today is not None and words:
            keep_answer(opened, reading, today)
        others = [each for each in opened.day(chosen) if each.id != reading.id]
        if as_json:
            print(note_line(reading, [each.id for each in others]))
            return
        print(_headline(reading))
        print(printable(line_of(reading.context)) or "nothing noted")
        if today is not None:
            answer = today.answer()
            print(f"{headline(answer)}. {lead(answer)}")
        if others:
            print("also that day; --pick NUMBER lets one of them count:")
            print("\n".join(f"  {_headline(each)}" for each in others))


def _headline(reading: StoredReading) -> str:
    verdict = "usable" if reading.verdict.usable else "not usable"
    counts = ", counts for its day" if reading.counts else ""
    return f"{reading.began:%Y-%m-%d %H:%M}  reading {reading.id}, {reading.posture}, {verdict}{counts}"


def _one_line(words: list[str]) -> str:
    """The words as the shell split them, quoted again so that a note keeps its spaces."""
    import shlex

    return " ".join(shlex.quote(word) for word in words)
