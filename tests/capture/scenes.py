"""Pictures that a lens may see, drawn for the tests: fingers, rooms, walls, darkness. All are invented.

Brightness levels are those of 8-bit frames. Every picture passes through sensor noise and rounding.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float64]  # (height, width, 3) red, green, blue, 0 to 255 and beyond
WIDTH, HEIGHT = 640, 480


def as_frame(picture: Picture, seed: int = 0, noise: float = 2.0, blotchy: bool = False) -> NDArray[np.uint8]:
    """Blue, green, red bytes with sensor noise; blotchy noise spans neighbouring pixels."""
    rng = np.random.default_rng(seed)
    shaken = rng.normal(0.0, noise, picture.shape)
    if blotchy:
        shaken = cv2.GaussianBlur(shaken, (3, 3), 0.8) * 2.0
    return np.clip(np.rint((picture + shaken)[:, :, ::-1]), 0, 255).astype(np.uint8)


def _grid(width: int, height: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    return x / width, y / height


def torch_finger(width: int = WIDTH, height: int = HEIGHT, side: float = 0.15) -> Picture:
    """A fingertip over lens and lamp of a phone: deep red, clipped near the lamp, darker away from it."""
    x, y = _grid(width, height)
    fall = np.exp(-1.1 * np.hypot(x - side, 0.8 * (y - 0.4)))
    return np.stack([330 * fall, 46 * fall**1.8, 30 * fall**2.2], axis=2)


def webcam_finger(
    width: int = WIDTH, height: int = HEIGHT, colour: tuple[float, float, float] = (53, 38, 27)
) -> Picture:
    """A fingertip on a webcam in room light: dim, brownish, brighter where the light comes in."""
    x, y = _grid(width, height)
    light = 0.65 + 0.7 * y - 0.25 * (x - 0.4) ** 2
    return light[:, :, None] * np.array(colour, dtype=np.float64)


def room(seed: int, width: int = WIDTH, height: int = HEIGHT, blur: float = 0.0, gain: float = 1.0) -> Picture:
    """A room of wall, furniture, texture and a lamp; `blur` in pixels for a picture out of focus."""
    rng = np.random.default_rng(seed)
    x, y = _grid(width, height)
    picture = np.ones((height, width, 3)) * rng.uniform(90, 170) * rng.uniform(0.9, 1.1, 3)
    picture *= (0.8 + 0.4 * x * rng.uniform(-1, 1))[:, :, None]
    for _ in range(22):
        colour = tuple(float(value) for value in rng.uniform(15, 230, 3))
        left, top = int(rng.integers(0, width)), int(rng.integers(0, height))
        wide, tall = int(rng.integers(20, width // 3)), int(rng.integers(20, height // 2))
        if rng.random() < 0.6:
            cv2.rectangle(picture, (left, top), (left + wide, top + tall), colour, -1)
        else:
            cv2.ellipse(picture, (left, top), (wide // 2, tall // 3), float(rng.uniform(0, 180)), 0, 360, colour, -1)
    weave = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 2.5)
    picture *= (1.0 + 0.25 * weave / weave.std() * (y > 0.4))[:, :, None]
    cv2.circle(picture, (int(rng.integers(0, width)), height // 6), 25, (255, 250, 235), -1)
    if blur:
        picture = cv2.GaussianBlur(picture, (0, 0), blur)
    return picture * gain


def plain_wall(level: float = 130.0, width: int = WIDTH, height: int = HEIGHT) -> Picture:
    """An even grey wall with the darker corners that every lens adds."""
    x, y = _grid(width, height)
    corners = 1.0 - 0.5 * ((x - 0.5) ** 2 + (y - 0.5) ** 2)
    return (level * corners)[:, :, None] * np.array([1.0, 1.0, 0.97])


def half_covered(finger: Picture, scene: Picture, angle_deg: float, share: float = 0.5) -> Picture:
    """The finger over part of the scene, with the blurred edge of a thing right before the lens."""
    height, width = finger.shape[:2]
    x, y = _grid(width, height)
    along = (x - 0.5) * np.cos(np.radians(angle_deg)) + (y - 0.5) * np.sin(np.radians(angle_deg))
    edge = np.quantile(along, share)
    cover = 1.0 / (1.0 + np.exp((along - edge) / 0.012))
    return cover[:, :, None] * finger + (1 - cover[:, :, None]) * scene
