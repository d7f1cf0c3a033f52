"""What fools the verdict: readings of light that no steady finger made, and of fingers that are hard but sane.

    python tests/benchmarks/adversaries.py [--readings 15] [--seed 1] [--only WORD]

Each family draws its readings by chance from a seed, two minutes each, and prints how many were called usable and how
many of these were wrong: usable with a pulse more than 3 bpm or an RMSSD more than 20 % off, or pulse_usable with a
pulse more than 3 bpm off. Where nothing pulses, every figure is wrong. Nothing here is taken from a recording; the
sizes are those of ordinary rooms, lamps, cameras and networks (from memory, no source), drawn wide.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table

from dawnbeat.shared.reading import Analysis
from dawnbeat.signal.analysis import analyse
from tests.benchmarks import adversaries_camera as camera
from tests.benchmarks import adversaries_drawing as drawing
from tests.benchmarks import adversaries_heart as heart
from tests.benchmarks import adversaries_light as light
from tests.benchmarks.adversaries_drawing import Reading

MOST_BPM_OFF = 3.0
MOST_RMSSD_OFF = 0.20


@dataclass(frozen=True)
class Family:
    """A kind of light with how to draw it. kind: "sane", "disturbed", or "untold" where no bare trace can tell."""

    name: str
    kind: str
    draw: Callable[[np.random.Generator], Reading]


FAMILIES: tuple[Family, ...] = (
    *(Family(f"{name}, no pulse", "disturbed", light.lamp_alone(wobble)) for name, wobble in light.LAMPS.items()),
    *(Family(f"{name}, no pulse", "disturbed", light.move_alone(wobble)) for name, wobble in light.MOVES.items()),
    *(Family(f"{name} over a pulse", "disturbed", light.lamp_over(wobble)) for name, wobble in light.LAMPS.items()),
    *(Family(f"{name} over a pulse", "disturbed", light.move_over(wobble)) for name, wobble in light.MOVES.items()),
    Family("one colour: a lamp, no pulse", "disturbed", drawing.in_one_colour(light.lamp_alone(light.pulsing_lamp))),
    Family("one colour: a lamp over a pulse", "disturbed", drawing.in_one_colour(light.lamp_over(light.pulsing_lamp))),
    Family(
        "one colour: a fading lamp, no pulse", "disturbed", drawing.in_one_colour(light.lamp_alone(light.fading_lamp))
    ),
    Family("coloured lamp, no pulse", "disturbed", light.coloured_lamp),
    Family("amber lamp, no pulse", "disturbed", light.amber_lamp),
    Family("glowing wire, no pulse", "disturbed", light.glowing_wire),
    Family("noise", "disturbed", light.noise_only),
    Family("a second person's pulse", "disturbed", light.second_pulse),
    Family("stamps that wander", "disturbed", camera.wandering_stamps),
    Family("stamps that are late", "disturbed", camera.delayed_stamps),
    Family("frames in bursts", "disturbed", camera.bursts),
    Family("frames lost and late", "disturbed", camera.lost_and_late),
    Family("an unsteady camera, stamps true", "disturbed", camera.unsteady),
    Family("an unsteady camera, stamps late", "disturbed", camera.unsteady_and_late),
    Family("stamps of a coarse clock", "disturbed", camera.coarse_stamps),
    Family("repeated frames", "disturbed", camera.repeated_frames),
    Family("10 frames sent as 30", "disturbed", camera.ten_as_thirty),
    Family("24 frames sent as 30", "disturbed", camera.moved_grid),
    Family("a constant wrong rate", "untold", camera.wrong_rate),
    Family("late frames, evened in a file", "untold", camera.evened_file),
    Family("unnoticed losses", "untold", camera.unnoticed_losses),
    Family("clipped in every colour", "disturbed", camera.clipped),
    Family("bent by clipping", "disturbed", camera.soft_clipped),
    Family("whole grey levels", "disturbed", camera.whole_levels),
    Family("half grey levels", "disturbed", camera.half_levels),
    Family("held blocks", "disturbed", camera.held_blocks),
    Family("faint", "disturbed", camera.faint),
    Family("light that wanders", "disturbed", camera.wandering_light),
    Family("bigeminy", "disturbed", heart.bigeminy),
    Family("bigeminy, hardly felt", "disturbed", heart.bigeminy_hardly_felt),
    Family("bigeminy behind a dicrotic wave", "untold", heart.bigeminy_hidden),
    Family("every second beat hardly felt", "disturbed", heart.alternating_hardly_felt),
    Family("trigeminy", "disturbed", heart.trigeminy),
    Family("every second beat weak", "disturbed", heart.alternating),
    Family("fibrillation", "disturbed", heart.fibrillation),
    Family("flutter", "disturbed", heart.flutter),
    Family("many premature beats", "disturbed", heart.many_premature),
    Family("beats that don't come", "disturbed", heart.dropped_beats),
    Family("clean", "sane", heart.clean),
    Family("tone curve", "sane", camera.tone_curve),
    Family("strongly dicrotic", "sane", heart.strongly_dicrotic),
    Family("dicrotic, of parts", "sane", heart.dicrotic_of_parts),
    Family("stiff vessels", "sane", heart.stiff_vessels),
    Family("gaps", "sane", heart.gaps),
    Family("one colour", "sane", heart.one_colour),
    Family("red clipped", "sane", heart.red_clipped),
    Family("true jitter", "sane", heart.true_jitter),
    Family("changing rate", "sane", heart.changing_rate),
    Family("60 frames a second", "sane", heart.sixty),
    Family("slow heart", "sane", heart.slow_heart),
    Family("after exertion", "sane", heart.after_exertion),
    Family("fast heart, any wave", "sane", heart.fast_heart),
    Family("deep breathing", "sane", heart.deep_breathing),
    Family("few premature beats", "sane", heart.few_premature),
)


@dataclass(frozen=True)
class Outcome:
    """What the verdict said of one reading, and whether that was wrong."""

    usable: bool
    pulse_usable: bool
    irregular: bool
    wrong: bool
    said: str


def draw(family: Family, seed: int, number: int) -> Reading:
    """One reading of a family; the same seed and number give the same one."""
    return family.draw(np.random.default_rng([seed, number, *family.name.encode()]))


def outcome(reading: Reading, found: Analysis) -> Outcome:
    """The verdict held against the truth."""
    verdict, metrics = found.verdict, found.metrics
    pulse_off = (
        reading.pulse_bpm is None
        or metrics.mean_hr_bpm is None
        or abs(metrics.mean_hr_bpm - reading.pulse_bpm) > MOST_BPM_OFF
    )
    rmssd_off = reading.rmssd_ms is not None and (
        metrics.rmssd_ms is None or abs(metrics.rmssd_ms / reading.rmssd_ms - 1.0) > MOST_RMSSD_OFF
    )
    wrong = (verdict.usable and (pulse_off or rmssd_off)) or (verdict.pulse_usable and pulse_off)
    code = "" if verdict.usable else verdict.findings[0].code
    return Outcome(verdict.usable, verdict.pulse_usable, verdict.irregular, wrong, code)


def outcomes_of(name: str, seed: int, readings: int) -> list[Outcome]:
    """All outcomes of the family of that name."""
    (family,) = (each for each in FAMILIES if each.name == name)
    found = []
    for number in range(readings):
        reading = draw(family, seed, number)
        found.append(outcome(reading, analyse(reading.trace)))
    return found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--readings", type=int, default=15)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    began_s = time.perf_counter()
    chosen = [family for family in FAMILIES if given.only in family.name]
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        found = list(
            pool.map(
                outcomes_of,
                [family.name for family in chosen],
                [given.seed] * len(chosen),
                [given.readings] * len(chosen),
            )
        )
    table = Table(title=f"{given.readings} readings of each family", box=SIMPLE, padding=(0, 1, 0, 0))
    for title in ("family", "kind", "usable", "pulse", "irreg.", "wrong", "why not, mostly"):
        left = title in ("family", "kind", "why not, mostly")
        table.add_column(title, justify="left" if left else "right", no_wrap=True)
    for family, each in zip(chosen, found, strict=True):
        codes = [one.said for one in each if one.said]
        table.add_row(
            family.name,
            family.kind,
            str(sum(one.usable for one in each)),
            str(sum(one.pulse_usable for one in each)),
            str(sum(one.irregular for one in each)),
            str(sum(one.wrong for one in each)),
            max(set(codes), key=codes.count) if codes else "",
        )
    screen_out = Console(width=110)
    screen_out.print(table)
    told = [one for family, each in zip(chosen, found, strict=True) if family.kind != "untold" for one in each]
    sane = [one for family, each in zip(chosen, found, strict=True) if family.kind == "sane" for one in each]
    if told:
        screen_out.print(f"wrong: {100 * np.mean([one.wrong for one in told]):.1f} % of {len(told)} readings")
    if sane:
        screen_out.print(f"sane and usable: {100 * np.mean([one.usable for one in sane]):.1f} % of {len(sane)}")
    screen_out.print(f"{time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
