"""`dawnbeat zones`: pulse zones from the journal, or at once from numbers given."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import short_day

# Everything that opens a journal is imported where it is used: numbers given are answered at once.
from dawnbeat.training.maximum import MAXIMAL_TEST, maximum_by_age
from dawnbeat.training.zones import (
    METHODS,
    NOT_MEDICAL,
    ROUNDING,
    SAME_EFFORT,
    TALK_TEST,
    Anchors,
    Compared,
    Method,
    Scheme,
    Zones,
    compare,
    default_scheme,
    missing_for,
    zones,
    zones_to_json,
)
from dawnbeat.ui.as_json import line_of
from dawnbeat.ui.commands.options import JournalFolder, OneObject, SaveAsBefore, open_journal, show

if TYPE_CHECKING:
    from dawnbeat.journal.store import Journal
    from dawnbeat.training.maximum import Maximum
    from dawnbeat.training.zone_store import Proposal, ZoneSet

_METHOD_NAMES: dict[str, Method] = {"reserve": METHODS[0], "maximum": METHODS[1], "threshold": METHODS[2]}


def zones_command(
    resting: Annotated[float | None, typer.Option(help="Resting pulse in bpm.")] = None,
    maximum: Annotated[float | None, typer.Option(help="Maximum pulse in bpm, measured.")] = None,
    threshold: Annotated[
        float | None, typer.Option(help="Threshold pulse in bpm: mean of the last 20 minutes of a 30-minute test.")
    ] = None,
    age: Annotated[float | None, typer.Option(help="Age in years, for a maximum by formula as a last resort.")] = None,
    formula: Annotated[str, typer.Option(help="Formula by age: tanaka, nes, gellish or fox.")] = "tanaka",
    method: Annotated[str | None, typer.Option(help="What zones hang on: reserve, maximum or threshold.")] = None,
    boundaries: Annotated[str | None, typer.Option(help="Boundaries in per cent, such as 60,70,80,90.")] = None,
    names: Annotated[str | None, typer.Option(help="Names of the zones from the easiest, with commas between.")] = None,
    easy_top: Annotated[int, typer.Option(help="Number of the zone whose top is the top of easy.")] = 2,
    save: Annotated[bool, typer.Option("--save", help="Save these zones in the journal, from today on.")] = False,
    keep: SaveAsBefore = False,
    sets: Annotated[bool, typer.Option("--sets", help="List the dated zone sets of the journal.")] = False,
    review: Annotated[bool, typer.Option("--review", help="What speaks against the zones in force.")] = False,
    day: Annotated[str | None, typer.Option("--date", help="Zones of that day, as 2025-03-01.")] = None,
    as_json: OneObject = False,
    journal: JournalFolder = None,
) -> None:
    """Show your pulse zones.

    From the journal, or at once from numbers such as --resting 50 --maximum 190.
    """
    scheme = _scheme(method, boundaries, names, easy_top)
    if review:
        _review(journal, as_json)
        return
    if day is not None:
        from dawnbeat.shared.wording import day_from

        _of_a_day(journal, day_from(day), as_json)
        return
    if all(each is None for each in (resting, maximum, threshold, age)):
        _from_journal(journal, scheme, save or keep, sets, as_json)
    elif save or keep or sets:
        raise DawnbeatError("--save and --sets work on the journal's own pulses: leave the numbers out")
    else:
        notes = []
        if maximum is None and threshold is None and age is None and (kept := _kept_maximum(journal)) is not None:
            maximum = kept.counts_as_bpm
            notes.append(f"The maximum is that of the journal: {kept.label}.")
        _from_numbers(resting, maximum, threshold, age, formula, scheme, notes, as_json)


def _kept_maximum(folder: Path | None) -> Maximum | None:
    """The maximum that counts today in the journal; None without one, or without a journal, and none is begun."""
    from dawnbeat.journal.folder import DATABASE
    from dawnbeat.morning.choices import chosen_home
    from dawnbeat.training import zone_store

    if folder is None and not (chosen_home(None) / DATABASE).exists():
        return None
    with open_journal(folder) as journal:
        return zone_store.standing(journal, date.today()).maximum


def _scheme(method: str | None, boundaries: str | None, names: str | None, easy_top: int) -> Scheme | None:
    """The scheme asked for; None where nothing was edited, so that what is known decides the method."""
    if method is not None and method not in _METHOD_NAMES:
        raise DawnbeatError(f"method {method!r} is unknown: say {', '.join(_METHOD_NAMES)}")
    if method is None and boundaries is None and names is None and easy_top == 2:
        return None
    plain = default_scheme(_METHOD_NAMES[method or "reserve"])
    try:
        bounds = plain.boundaries_pct if boundaries is None else tuple(float(each) for each in boundaries.split(","))
    except ValueError as error:
        raise DawnbeatError(f"boundaries {boundaries!r}: give per cents such as 60,70,80,90") from error
    called = () if names is None else tuple(each.strip() for each in names.split(","))
    return Scheme(plain.method, bounds, called, easy_top)


def _from_numbers(
    resting: float | None,
    maximum: float | None,
    threshold: float | None,
    age: float | None,
    formula: str,
    scheme: Scheme | None,
    notes: list[str],
    as_json: bool,
) -> None:
    by_age = None
    if age is not None:
        by_age = maximum_by_age(age, formula)  # type: ignore[arg-type]
        notes.append(f"Maximum by age: {by_age.label}.")
        if maximum is not None:
            notes[-1] += " The maximum given is used."
    anchors = Anchors(resting, by_age.bpm if maximum is None and by_age is not None else maximum, threshold)
    schemes = [default_scheme(each) for each in METHODS]
    if scheme is not None:
        schemes = [scheme, *(each for each in schemes if each.method != scheme.method)]
    compared = compare(anchors, schemes)
    main = next((each.zones for each in compared if each.zones is not None), None) if scheme is None else None
    if main is None:
        method = METHODS[0] if scheme is None else scheme.method
        if missing := missing_for(anchors, method):
            options = [name for name in ("resting", "maximum", "threshold") if name in missing]
            other = "add one with `dawnbeat runs maximum add`"
            if missing != "a maximum":
                other = "leave all numbers out to use those of the journal"
            given = " and ".join(f"--{name}" for name in options)
            raise DawnbeatError(f"zones by {method} need {missing}: give {given}, or {other}")
        main = zones(anchors, scheme or default_scheme(method))
    if by_age is not None and maximum is None and main.scheme.method != "threshold pulse":
        share = main.scheme.boundaries_pct[main.scheme.easy_top - 1] / 100
        notes.append(f"With that error the top of easy may be off by about {by_age.error_bpm * share:.0f} bpm.")
    if as_json:
        typer.echo(line_of(_as_json(main, compared, {"notes": notes})))
        return
    _print_zones(main, compared, notes)


def _from_journal(folder: Path | None, scheme: Scheme | None, save: bool, sets: bool, as_json: bool) -> None:
    from dawnbeat.training import zone_store

    today = date.today()
    with open_journal(folder) as journal:
        if sets:
            _print_sets(zone_store.zone_sets(journal), as_json)
            return
        present = zone_store.set_on(zone_store.zone_sets(journal), today)
        if save or scheme is not None or present is None:
            wanted = scheme if scheme is not None else None if present is None else present.zones.scheme
            _check_known(journal, today, METHODS[0] if wanted is None else wanted.method)
        if save:
            zone_store.keep_zone_set(journal, zone_store.set_from_journal(journal, today, scheme))
        in_force = zone_store.set_on(zone_store.zone_sets(journal), today)
        if in_force is None or (scheme is not None and not save):
            in_force = zone_store.set_from_journal(journal, today, scheme)
        proposal = zone_store.proposal(journal, today)
        known = zone_store.standing(journal, today)
    compared = compare(
        # The other methods may rest on what this set does not hold.
        Anchors(
            in_force.zones.anchors.resting_bpm or known.anchors.resting_bpm,
            in_force.zones.anchors.maximum_bpm or known.anchors.maximum_bpm,
            in_force.zones.anchors.threshold_bpm or known.anchors.threshold_bpm,
        ),
        [in_force.zones.scheme, *(default_scheme(each) for each in METHODS if each != in_force.zones.scheme.method)],
    )
    notes = [f"In force from {short_day(in_force.from_date)}: {in_force.why}."]
    if in_force.id is None:
        notes.append("Not saved yet: `dawnbeat zones --save` uses them from today on.")
    if known.maximum is not None and not known.maximum.measured:
        notes.append(f"The maximum is {known.maximum.label}, so these zones may be well off.")
    if as_json:
        more = {"notes": notes, **_set_json(in_force), "proposal": _proposal_json(proposal)}
        typer.echo(line_of(_as_json(in_force.zones, compared, more)))
        return
    if proposal is not None:
        notes.append(f"{proposal.words} `dawnbeat zones --save` uses it.")
    _print_zones(in_force.zones, compared, notes)


def _review(folder: Path | None, as_json: bool) -> None:
    """What speaks against the zones in force; nothing is changed."""
    from dawnbeat.training import periods, run_store, zone_store
    from dawnbeat.training.maximum import maximum_proposal
    from dawnbeat.training.periods import judged_runs
    from dawnbeat.training.zone_review import review

    today = date.today()
    with open_journal(folder) as journal:
        judged = judged_runs(journal, today)
        known = zone_store.standing(journal, today)
        in_force = zone_store.set_on(zone_store.present_sets(journal, today), today)
        higher = maximum_proposal(run_store.runs(journal), zone_store.maxima(journal), today)
    if in_force is None:
        raise DawnbeatError("there are no zones yet: `dawnbeat zones` says what is missing")
    found = review(judged, known, in_force, periods.fixed_of(judged, today), today)
    said = [each.words for each in found] + ([] if higher is None else [f"{higher.words} {higher.caution}".strip()])
    if as_json:
        findings = [{"code": each.code, "values": dict(each.values), "words": each.words} for each in found]
        typer.echo(line_of({"findings": findings, "higher_maximum_bpm": None if higher is None else higher.bpm}))
        return
    show(
        f"Zones by {in_force.zones.scheme.method} from {short_day(in_force.from_date)}, top of easy "
        f"{in_force.zones.top_of_easy_bpm} bpm.",
    )
    show(*(f"- {line}" for line in said or ["Nothing in your runs and mornings speaks against them."]))
    show("None of this is applied by itself.", TALK_TEST, *MAXIMAL_TEST)


def _of_a_day(folder: Path | None, day: date, as_json: bool) -> None:
    """The zones of a past day, with the resting pulse, maximum and threshold pulse of that day."""
    from dawnbeat.training import zone_store

    with open_journal(folder) as journal:
        in_force = zone_store.set_on(zone_store.zone_sets(journal), day)
        scheme = None if in_force is None else in_force.zones.scheme
        found = zone_store.set_from_journal(journal, day, scheme)
    notes = [f"Of {short_day(day)}, with the pulses of that day: {found.why}."]
    if in_force is not None and in_force.from_date <= day:
        notes.append(f"Runs of that day are judged by the set of {short_day(in_force.from_date)}.")
    compared = compare(found.zones.anchors, [found.zones.scheme])
    if as_json:
        typer.echo(line_of(_as_json(found.zones, compared, {"notes": notes, **_set_json(found)})))
        return
    _print_zones(found.zones, compared, notes)


def _check_known(journal: Journal, today: date, method: Method) -> None:
    """Raise DawnbeatError where the journal lacks what a method needs, with how much of it there is."""
    from dawnbeat.journal.ranges import in_usual_posture
    from dawnbeat.training import zone_store
    from dawnbeat.training.resting import FEWEST, OLDEST_DAYS

    known = zone_store.standing(journal, today)
    missing = missing_for(known.anchors, method)
    if not missing:
        return
    todo, options = [], []
    if "resting" in missing:
        alike = in_usual_posture(journal.mornings(today - timedelta(days=OLDEST_DAYS - 1), today), today)
        usable = sum(each.usable for each in alike)
        lying = alike[0].posture if alike else "in one posture"
        wanted = f"{FEWEST} usable mornings {lying} within {OLDEST_DAYS} days"
        todo.append(f"a resting pulse needs {wanted}, there are {usable}")
        options.append("--resting 50")
    if "maximum" in missing:
        todo.append("add a maximum with `dawnbeat runs maximum add`")
        options.append("--maximum 190")
    if "threshold" in missing:
        todo.append("save a threshold pulse with `dawnbeat runs threshold RUN --save`")
        options.append("--threshold 170")
    raise DawnbeatError(
        f"the journal does not hold {missing} yet: {'; '.join(todo)}; or give numbers, as in "
        f"`dawnbeat zones {' '.join(options)}`"
    )


def _print_zones(main: Zones, compared: tuple[Compared, ...], notes: list[str]) -> None:
    from dawnbeat.ui.terminal import plain_table

    table = plain_table(f"Zones by {main.scheme.method}", ("Zone", "Pulse, bpm", "Share", "Talk test"))
    for zone in main.table():
        easy = "  (top of easy)" if zone.high_bpm == main.top_of_easy_bpm else ""
        table.add_row(zone.name, zone.span_words + easy, zone.share_words, zone.says)
    show(table)
    show(f"Top of easy: {main.top_of_easy_bpm} bpm.", style="bold")
    beside = plain_table(
        "Where the top of easy falls by each method", ("Method", "Top of easy", "Difference", "Boundaries, bpm")
    )
    for row in compared:
        if row.zones is None:
            beside.add_row(row.method, f"needs {row.missing}", "", "")
        else:
            difference = "" if not row.difference_bpm else f"{row.difference_bpm:+d} bpm"
            tops = " / ".join(str(top) for top in row.zones.tops_bpm)
            beside.add_row(row.method, f"{row.zones.top_of_easy_bpm} bpm", difference, tops)
    show(beside, *notes, TALK_TEST, SAME_EFFORT, ROUNDING, NOT_MEDICAL, *MAXIMAL_TEST)


def _print_sets(kept: list[ZoneSet], as_json: bool) -> None:
    if as_json:
        typer.echo(line_of({"sets": [{**zones_to_json(each.zones), **_set_json(each)} for each in kept]}))
        return
    if not kept:
        raise DawnbeatError("no zones are saved yet: `dawnbeat zones --save` saves those of today")
    from dawnbeat.ui.terminal import plain_table

    table = plain_table(
        "Zone sets; a run is judged by the set of its day", ("From", "Method", "Top of easy", "Boundaries, bpm", "Why")
    )
    for each in kept:
        tops = " / ".join(str(top) for top in each.zones.tops_bpm)
        table.add_row(
            each.from_date.isoformat(), each.zones.scheme.method, f"{each.zones.top_of_easy_bpm} bpm", tops, each.why
        )
    show(table)


def _as_json(main: Zones, compared: tuple[Compared, ...], more: dict[str, Any]) -> dict[str, Any]:
    return {
        **vars(main.anchors),
        **zones_to_json(main),
        "methods": [
            {
                "method": row.method,
                "top_of_easy_bpm": None if row.zones is None else row.zones.top_of_easy_bpm,
                "difference_bpm": row.difference_bpm,
                "tops_bpm": None if row.zones is None else list(row.zones.tops_bpm),
                "missing": row.missing,
            }
            for row in compared
        ],
        "rounding": ROUNDING,
        "cautions": [NOT_MEDICAL, *MAXIMAL_TEST],
        **more,
    }


def _set_json(each: ZoneSet) -> dict[str, Any]:
    return {"from_date": each.from_date.isoformat(), "why": each.why, "kept": each.id is not None}


def _proposal_json(proposal: Proposal | None) -> dict[str, Any] | None:
    if proposal is None:
        return None
    top = proposal.new.zones.top_of_easy_bpm
    return {"words": proposal.words, "moved_bpm": proposal.moved_bpm, "top_of_easy_bpm": top}
