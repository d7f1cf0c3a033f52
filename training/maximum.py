"""The maximum pulse: dated entries, which of them counts, what a run proposes, how it is tested, and formulas by age.

What is said wherever a maximal test, symptoms or a formula is mentioned stands here too. The steps of the tests are
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Literal, get_args

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import short_day
from dawnbeat.training.zones import MAXIMUM_HIGH, MAXIMUM_LOW

if TYPE_CHECKING:
    # A zone by age needs no numpy, and is answered at once.
    from dawnbeat.training.run import Run

Kind = Literal["field test", "hill repeats", "hard mile", "race", "lab test", "run", "formula"]
KINDS: tuple[Kind, ...] = get_args(Kind)
KIND_WORDS: dict[Kind, str] = {
    "field test": "highest pulse of a test on the track or a hill",
    "hill repeats": "highest pulse of hill repeats to the limit",
    "hard mile": "highest pulse of a hard mile after warming up",
    "race": "highest pulse of a race",
    "lab test": "measured in a laboratory",
    "run": "highest pulse of an imported run, spikes left out",
    "formula": "from age, not measured",
}
Formula = Literal["tanaka", "nes", "gellish", "fox"]
FORMULAS: tuple[Formula, ...] = get_args(Formula)

MOST_ADDED_BPM = 3
MEASURED_DAYS = 3 * 365
_AGE_LOW, _AGE_HIGH, ADULT_AGE = 5, 110, 18


@dataclass(frozen=True)
class AgeFormula:
    """intercept - slope * age. error_bpm: standard error of one person's value, by `error_source`."""

    name: str
    intercept: float
    slope: float
    error_bpm: float
    source: str
    error_source: str


AGE_FORMULAS: dict[Formula, AgeFormula] = {
    "tanaka": AgeFormula(
        "208 - 0.7 age",
        208.0,
        0.7,
        10.0,
        "Tanaka, Monahan & Seals 2001, J Am Coll Cardiol 37:153-156",
        "about 10 bpm, the same paper",
    ),
    "nes": AgeFormula(
        "211 - 0.64 age",
        211.0,
        0.64,
        10.8,
        "Nes et al. 2013, Scand J Med Sci Sports 23:697-704",
        "10.8 bpm, the same paper",
    ),
    "gellish": AgeFormula(
        "207 - 0.7 age",
        207.0,
        0.7,
        10.0,
        "Gellish et al. 2007, Med Sci Sports Exerc 39:822-829",
        "none is given with it; that of the like formulas, about 10 bpm, is used here",
    ),
    "fox": AgeFormula(
        "220 - age",
        220.0,
        1.0,
        12.0,
        "Fox, Naughton & Haskell 1971, Ann Clin Res 3:404-432",
        "none was published with it; later studies give 10 to 12 bpm, 12 is used here",
    ),
}


@dataclass(frozen=True)
class AgeMaximum:
    """A maximum by age with its standard error: two runners in three lie within one of it."""

    bpm: float
    error_bpm: float
    formula: AgeFormula
    age: float

    @property
    def label(self) -> str:
        """One line that says where the figure comes from and how far it may be off."""
        minor = f"; {BELOW_18}" if self.age < ADULT_AGE else ""
        return (
            f"{self.bpm:.0f} bpm by {self.formula.name} at {self.age:g} (standard error {self.error_bpm:g} bpm, so one "
            f"runner in three is further off than that; {self.formula.source}): a measured maximum is better{minor}"
        )


def maximum_by_age(age: float, formula: Formula = "tanaka") -> AgeMaximum:
    """The maximum by a formula; raises DawnbeatError for an unknown one or an age outside 5 to 110."""
    one_of("formula", formula, FORMULAS)
    if not _AGE_LOW <= age <= _AGE_HIGH:
        raise DawnbeatError(f"an age of {age:g} years can't be right: give one from {_AGE_LOW} to {_AGE_HIGH}")
    chosen = AGE_FORMULAS[formula]
    return AgeMaximum(chosen.intercept - chosen.slope * age, chosen.error_bpm, chosen, age)


def maxima_by_age(age: float) -> tuple[AgeMaximum, ...]:
    """Every formula side by side, so that nobody rests zones on one; raises DawnbeatError as `maximum_by_age`."""
    return tuple(maximum_by_age(age, formula) for formula in FORMULAS)


@dataclass(frozen=True)
class Maximum:
    """One dated entry. bpm: as measured. added_bpm: 0 to 3 beats where the runner could have gone on.

    Adding 2 or 3 beats is common practice, no source. id: None until it is kept. run_id: the run that it
    came from, or None. Raises DawnbeatError for what can't be a maximum.
    """

    date: date
    kind: Kind
    bpm: float
    added_bpm: int = 0
    note: str = ""
    run_id: int | None = None
    id: int | None = None

    def __post_init__(self) -> None:
        one_of("kind", self.kind, KINDS)
        if not 0 <= self.added_bpm <= MOST_ADDED_BPM:
            raise DawnbeatError(f"{self.added_bpm} beats added: add at most {MOST_ADDED_BPM}, or measure again")
        if self.kind == "formula" and self.added_bpm:
            raise DawnbeatError("beats are added to a measured maximum only, not to a formula: leave them out")
        if not MAXIMUM_LOW <= self.counts_as_bpm <= MAXIMUM_HIGH:
            raise DawnbeatError(
                f"a maximum of {self.bpm:g} bpm can't be right: give {MAXIMUM_LOW:g} to {MAXIMUM_HIGH:g}"
            )

    @property
    def counts_as_bpm(self) -> float:
        """The maximum that zones use, with the beats added."""
        return self.bpm + self.added_bpm

    @property
    def measured(self) -> bool:
        """False for a formula by age."""
        return self.kind != "formula"

    @property
    def label(self) -> str:
        """One line that says where the figure comes from."""
        added = f" with {self.added_bpm} added" if self.added_bpm else ""
        return f"{self.counts_as_bpm:.0f} bpm{added}, {self.kind} of {short_day(self.date)}"


def maximum_on(entries: Sequence[Maximum], day: date) -> Maximum | None:
    """The entry that counts on a day: the highest measured in the three years before it, the newer of equals.

    Without one, the newest older measurement; without any, the newest formula. A maximum falls slowly with
    the years and a tired day shows a lower one, so a lower newer entry does not replace a higher one at once.
    """
    known = [each for each in entries if each.date <= day]
    measured = [each for each in known if each.measured]
    recent = [each for each in measured if each.date > day - timedelta(days=MEASURED_DAYS)]
    if recent:
        return max(recent, key=lambda each: (each.counts_as_bpm, each.date))
    older = measured or known
    return max(older, key=lambda each: (each.date, each.id or 0)) if older else None


@dataclass(frozen=True)
class MaximumProposal:
    """A run whose highest pulse is above the maximum that counts. present: that maximum, or None."""

    run: Run
    bpm: float
    present: Maximum | None

    @property
    def caution(self) -> str:
        """What to bear in mind before it is taken; empty for a race, which does reach the maximum."""
        return "" if self.run.race else SELDOM_REACHED

    @property
    def words(self) -> str:
        """The proposal in one plain sentence or two."""
        beside = "no maximum is known yet" if self.present is None else f"the maximum is {self.present.label}"
        return (
            f"Run {self.run.id} of {short_day(self.run.local_date)} held {self.bpm:.0f} bpm for "
            f"five seconds, and {beside}. "
            "Look at its curve first: a loose sensor can invent beats."
        )

    def entry(self) -> Maximum:
        """The entry that taking it would keep."""
        return Maximum(self.run.local_date, "race" if self.run.race else "run", self.bpm, run_id=self.run.id)


def maximum_proposal(runs: Sequence[Run], entries: Sequence[Maximum], today: date) -> MaximumProposal | None:
    """The run with the highest pulse, where it is above the maximum that counts; else None."""
    with_peak = [(run.figures.peak_bpm, run) for run in runs if run.counts and run.figures.peak_bpm is not None]
    if not with_peak:
        return None
    peak, run = max(with_peak, key=lambda each: each[0])
    present = maximum_on(entries, today)
    # Below what any maximum can be, as after a month of walks, there is nothing to propose.
    if peak < MAXIMUM_LOW or (present is not None and peak <= present.counts_as_bpm):
        return None
    return MaximumProposal(run, peak, present)


MAXIMAL_TEST = (
    "A maximal test is the hardest thing a heart is asked to do. Ask a doctor first if you "
    "are over 40, new to running, "
    "pregnant, take medicine for heart or blood pressure, have a heart, lung or metabolic illness, or a close relative "
    "died young of the heart; local guidance comes before this text.",
    "Don't test when you are ill, feverish, short of sleep or getting over an infection, in heat, or alone.",
    "Stop at once for chest pain or pressure, dizziness, faintness, a pulse that stumbles or races, unusual "
    "breathlessness, or pain; if it does not pass within minutes, call the emergency number.",
    "Warm up for 15 minutes, and walk and jog afterwards instead of standing still.",
)
ADDED_BEATS = (
    "Where you could have gone on, runners commonly add 2 or 3 beats (common practice, no source); it is never done "
    "by itself."
)
SELDOM_REACHED = (
    "An ordinary run seldom reaches the maximum: only a race or a test does, and a maximum that is too low makes all "
    "zones too low."
)
BELOW_18 = (
    "the formulas were made for adults and say little below 18: train by feel and the talk test, and ask a doctor or "
    "coach first"
)


ProtocolKey = Literal["hills", "mile", "threshold"]
PROTOCOL_KEYS: tuple[ProtocolKey, ...] = get_args(ProtocolKey)

WHO_MUST_NOT = (
    "Not for you without a doctor's yes: with a heart, lung, kidney or metabolic illness, high blood pressure, "
    "medicine for heart or blood pressure, chest pain, fainting or palpitations at any time, in pregnancy, over 40 or "
    "new to hard running, or where a close relative died young of the heart. An effort to the limit is when a hidden "
    "illness of the heart shows first; that is why a doctor comes before the test."
)
_WARM_UP = "Warm up: 15 minutes easy, then four times 15 seconds brisk with a minute easy after each."
_COOL_DOWN = "Walk for two minutes, then jog for ten; don't stand still."


@dataclass(frozen=True)
class Protocol:
    """One test. steps: in their order. reading: how its result is taken from the run. kind: of the maximum kept."""

    key: ProtocolKey
    name: str
    kind: Literal["hill repeats", "hard mile"] | None
    steps: tuple[str, ...]
    reading: str


PROTOCOLS: dict[ProtocolKey, Protocol] = {
    "hills": Protocol(
        "hills",
        "Hill repeats for the maximum",
        "hill repeats",
        (
            "Rested, not alone, on a cool day: a hill that takes two to three minutes, steep enough to work, even "
            "underfoot.",
            _WARM_UP,
            "Run up strong but in control, jog down.",
            "Run up harder, so that you could not talk at the top, jog down.",
            "Run up as hard as you can hold, and in the last 30 seconds give all you have left.",
            _COOL_DOWN,
        ),
        "The highest pulse that the run held for five seconds, artefacts left out, near the top of the last climb.",
    ),
    "mile": Protocol(
        "mile",
        "A hard mile for the maximum",
        "hard mile",
        (
            "Rested, not alone, on a cool day: a track or a flat stretch of 1600 m, four laps.",
            _WARM_UP,
            "Run two laps at about the pace of your best 5 km.",
            "Run the third lap faster, so that you want to stop at its end.",
            "Run the last lap as hard as you can, the last 200 m at a sprint.",
            _COOL_DOWN,
        ),
        "The highest pulse that the run held for five seconds, artefacts left out, in the last lap.",
    ),
    "threshold": Protocol(
        "threshold",
        "Thirty minutes for the threshold",
        None,
        (
            "Rested, on a cool day, alone in the sense that nobody paces you: a flat road or a track.",
            _WARM_UP,
            "Run 30 minutes as far as you can, evenly: the first five no faster than you could hold for an hour.",
            "Mark the beginning, so that you can find it in the run.",
            _COOL_DOWN,
        ),
        "The mean pulse of the last 20 minutes is the threshold pulse, the pace of all 30 its pace.",
    ),
}
