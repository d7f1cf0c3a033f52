"""The contact gauge: frame by frame, how well the finger covers the lens, and the mean colour under it."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dawnbeat.capture.frames import Frame, Sample
from dawnbeat.capture.patches import PATCHES, clipped_shares, eroded, finger_patches, patches_of
from dawnbeat.shared.trace import BoolArray, FloatArray

State = Literal["covered", "partly covered", "uncovered", "dark"]

GOOD = "good: hold still"
COVER = "cover the whole lens"
LIGHTER = "press more lightly"
MORE_LIGHT = "more light"
TOO_BRIGHT = "too bright: tilt the lamp away"

# Levels are of 255. Chosen on rendered frames and on the recordings' own brightness, no source.
_DARK, _DIM = 8.0, 15.0
_WHOLE, _SOME = 0.8, 0.2
_GREEN_CLIPPED = 0.2
_RED_CLIPPED, _NOTHING_ELSE = 0.5, 4.0
# Real fingers under a lamp pulsate by 0.25 % of the brightness (weakest hundredth of three-second spans) to 3
# %.
_WEAK_PULSATION = 0.001

_RAMP_S = 1.0
_FADE_S = 3.0
_FEWEST, _FEWEST_INNER = PATCHES // 10, 6
_WHOLE_FRAME = np.ones(PATCHES)
_PULSATION_SPAN_S = 3.0
_PULSATION_EVERY_S = 0.5


@dataclass(frozen=True, slots=True)
class Contact:
    """How well the finger covers the lens right now.

    covered: share of the frame under the finger, 0 to 1. brightness: mean of the frame over all channels, 0
    to 255. state: in words. advice: one sentence. good: whether a reading can go on like this.
    """

    covered: float
    brightness: float
    state: State
    advice: str
    good: bool


def contact_of(covered: float, colour: FloatArray, clipped: FloatArray, pulsation: float | None = None) -> Contact:
    """Put numbers into words.

    covered: share of patches that look like skin. colour, clipped: (3,) means and clipped shares of the frame
    in red, green and blue. pulsation: standard deviation of the last three seconds over their mean, slow
    drift taken out, in the channel where it is largest; None where it isn't known yet. Pressing hard drives
    the blood out, and a still picture can't show it: only a pulse that is missing under a well covered lens
    does.
    """
    brightness = float(colour.mean())
    state: State
    if brightness < _DARK:
        state, covered = "dark", 0.0
    elif covered >= _WHOLE:
        state = "covered"
    else:
        state = "partly covered" if covered >= _SOME else "uncovered"
    red_only = clipped[0] > _RED_CLIPPED and max(colour[1], colour[2]) < _NOTHING_ELSE
    if state == "dark":
        advice = MORE_LIGHT
    elif state != "covered":
        advice = COVER
    elif clipped[1] > _GREEN_CLIPPED or red_only:
        advice = TOO_BRIGHT
    elif brightness < _DIM:
        advice = MORE_LIGHT
    elif pulsation is not None and pulsation < _WEAK_PULSATION:
        advice = LIGHTER
    else:
        advice = GOOD
    return Contact(covered, brightness, state, advice, advice == GOOD)


class ContactGauge:
    """Reduces frames to samples, and keeps what the last seconds say about the contact.

    Only patches under the finger count for the mean colour. One that is lost stops counting at once, one that
    is won counts more and more over a second. From frame to frame the mean moves only as the same patches
    with the same weights move, so that a patch that enters or leaves makes no step in the band of the pulse;
    what that holds back from the true mean fades over three seconds. Where nothing is covered, the whole
    frame counts.
    """

    def __init__(self) -> None:
        self._any_finger = False
        self._weights: FloatArray | None = None
        self._held_back = np.zeros(3)
        self._last_mean: FloatArray = np.zeros((PATCHES, 3))
        self._last_s = 0.0
        self._pulse = _Pulsation()
        self._contact: Contact | None = None

    @property
    def contact(self) -> Contact | None:
        """The contact at the last frame; None before the first."""
        return self._contact

    def measure(self, frame: Frame) -> Sample:
        """The frame's mean colour and contact; frames come in order of time."""
        if frame.image is None:
            return self._pass_on(frame)
        patches = patches_of(frame.image)
        clipped = clipped_shares(frame.image)
        mask = finger_patches(patches)
        colour = self._colour(frame.time_s, patches.mean, mask)
        contact = self._contact_at(frame.time_s, float(mask.mean()), patches.mean.mean(axis=0), colour, clipped)
        red, green, blue = colour.tolist()
        return Sample(frame.time_s, red, green, blue, contact.covered, *clipped.tolist())

    def _pass_on(self, frame: Frame) -> Sample:
        sample = frame.sample
        if sample is None:
            raise ValueError("a frame has neither an image nor a sample")
        colour = np.array([sample.red, sample.green, sample.blue])
        clipped = np.array([sample.clipped_red, sample.clipped_green, sample.clipped_blue])
        self._contact_at(frame.time_s, sample.covered, colour, colour, clipped)
        return sample

    def _contact_at(
        self, time_s: float, covered: float, frame_colour: FloatArray, colour: FloatArray, clipped: FloatArray
    ) -> Contact:
        contact = contact_of(covered, frame_colour, clipped)
        if contact.state == "covered":
            pulsation = self._pulse.at(time_s, colour, clipped)
            if contact.good and pulsation is not None:
                contact = contact_of(covered, frame_colour, clipped, pulsation)
        else:
            self._pulse.forget()
        self._contact = contact
        return contact

    def _colour(self, time_s: float, mean: FloatArray, mask: BoolArray) -> FloatArray:
        step_s = min(max(time_s - self._last_s, 0.0), 1.0)
        any_finger = int(np.count_nonzero(mask)) >= _FEWEST
        target = _counting(mask) if any_finger else _WHOLE_FRAME
        old = self._weights
        if old is None or any_finger != self._any_finger:
            # The finger has just come or gone: what was before has nothing to do with what is now.
            weights, self._held_back = target, np.zeros(3)
        else:
            weights = np.minimum(target, old + step_s / _RAMP_S)
            total = weights.sum()
            if total < 1.0:  # all that counted is lost and others are left
                weights, total = target, target.sum()
            self._held_back = self._held_back * math.exp(-step_s / _FADE_S)
            if not np.array_equal(weights, old):
                self._held_back += (old / old.sum() - weights / total) @ self._last_mean
        self._weights, self._any_finger = weights, any_finger
        self._last_mean, self._last_s = mean, time_s
        colour: FloatArray = weights @ mean / weights.sum() + self._held_back
        return np.clip(colour, 0.0, 255.0)


def _counting(mask: BoolArray) -> FloatArray:
    """The weights of a mask: where there are enough others, patches at the finger's edge don't count."""
    inner = eroded(mask)
    return (inner if np.count_nonzero(inner) >= _FEWEST_INNER else mask).astype(np.float64)


class _Pulsation:
    """How much the last three seconds pulsate, looked at twice a second."""

    def __init__(self) -> None:
        self._rows: deque[tuple[float, float, float, float]] = deque()
        self._looked_s = -math.inf
        self._value: float | None = None

    def forget(self) -> None:
        self._rows.clear()
        self._value = None

    def at(self, time_s: float, colour: FloatArray, clipped: FloatArray) -> float | None:
        self._rows.append((time_s, *colour.tolist()))
        while time_s - self._rows[0][0] > _PULSATION_SPAN_S:
            self._rows.popleft()
        if time_s - self._looked_s >= _PULSATION_EVERY_S:
            self._looked_s = time_s
            self._value = self._look(clipped)
        return self._value

    def _look(self, clipped: FloatArray) -> float | None:
        table = np.array(self._rows)
        if len(table) < 24 or table[-1, 0] - table[0, 0] < 0.9 * _PULSATION_SPAN_S:
            return None
        mean = table[:, 1:].mean(axis=0)
        usable = (mean > _NOTHING_ELSE) & (clipped < 0.05)
        if not usable.any():
            return None
        # A cubic takes out what is slower than about 0.7 Hz.
        cubic = np.vander((table[:, 0] - table[0, 0]) / _PULSATION_SPAN_S - 0.5, 4)
        left_over = table[:, 1:] - cubic @ np.linalg.lstsq(cubic, table[:, 1:], rcond=None)[0]
        return float((left_over.std(axis=0) / np.maximum(mean, 1e-9))[usable].max())
