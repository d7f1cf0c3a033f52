from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.capture import contact as words
from dawnbeat.capture.contact import Contact, ContactGauge, contact_of
from dawnbeat.capture.frames import Frame, Image, Sample
from dawnbeat.capture.patches import PATCHES, clipped_shares, eroded, patches_of
from tests.capture import scenes

SKINS = [(53, 38, 27), (38, 85, 46), (46, 63, 47), (53, 51, 40), (95, 62, 41), (140, 90, 70)]


def contact(image: Image) -> Contact:
    gauge = ContactGauge()
    gauge.measure(Frame(0.0, 0, image))
    assert gauge.contact is not None
    return gauge.contact


@pytest.mark.parametrize(("width", "height"), [(640, 480), (160, 120), (1920, 1080), (480, 640), (1280, 720)])
@pytest.mark.parametrize("side", [0.0, 0.15, 0.5])
def test_a_torch_lit_finger_is_good_though_red_clips(width: int, height: int, side: float) -> None:
    image = scenes.as_frame(scenes.torch_finger(width, height, side))
    seen, sample = contact(image), ContactGauge().measure(Frame(0.0, 0, image))
    assert (seen.state, seen.good, seen.advice) == ("covered", True, words.GOOD)
    assert seen.covered > 0.95
    assert sample.clipped_red > 0.1
    assert sample.clipped_green < 0.01


@pytest.mark.parametrize("skin", SKINS)
@pytest.mark.parametrize(("noise", "blotchy"), [(2.0, False), (4.0, True)])
def test_a_webcam_finger_in_room_light_is_good_whatever_the_white_balance(
    skin: tuple[float, float, float], noise: float, blotchy: bool
) -> None:
    image = scenes.as_frame(scenes.webcam_finger(colour=skin), noise=noise, blotchy=blotchy)
    seen = contact(image)
    assert (seen.state, seen.good) == ("covered", True)
    assert contact(image[::4, ::4]).state == "covered"


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("blur", "gain"), [(0.0, 1.0), (12.0, 1.0), (40.0, 1.0), (0.0, 0.25), (12.0, 0.25)])
def test_a_room_is_no_finger_sharp_blurred_or_dim(seed: int, blur: float, gain: float) -> None:
    image = scenes.as_frame(scenes.room(seed, blur=blur, gain=gain), seed, noise=3.0)
    seen = contact(image)
    assert not seen.good
    assert seen.advice == words.COVER
    assert seen.covered < 0.5
    if blur == 0.0:
        assert seen.state == "uncovered"


@pytest.mark.parametrize("level", [110.0, 130.0, 200.0])
def test_a_plain_wall_is_no_finger(level: float) -> None:
    seen = contact(scenes.as_frame(scenes.plain_wall(level)))
    assert (seen.state, seen.good) == ("uncovered", False)


def test_a_dim_plain_wall_is_told_by_its_missing_pulse() -> None:
    """One frame can't tell it from a finger; three seconds without a pulse can."""
    gauge = ContactGauge()
    for number in range(120):
        gauge.measure(Frame(number / 30, 0, scenes.as_frame(scenes.plain_wall(60, 160, 120), number)))
    assert gauge.contact is not None
    assert (gauge.contact.good, gauge.contact.advice) == (False, words.LIGHTER)


@pytest.mark.parametrize("angle_deg", [0, 45, 90, 135, 180, 225, 270, 315])
@pytest.mark.parametrize("finger", [scenes.torch_finger, scenes.webcam_finger])
def test_a_half_covered_lens_is_told_at_every_angle(angle_deg: int, finger) -> None:
    for scene in (scenes.room(angle_deg), scenes.plain_wall()):
        seen = contact(scenes.as_frame(scenes.half_covered(finger(), scene, angle_deg)))
        assert seen.state == "partly covered"
        assert 0.25 < seen.covered < 0.6
        assert (seen.good, seen.advice) == (False, words.COVER)


@pytest.mark.parametrize("noise", [0.5, 3.0])
def test_a_dark_frame_asks_for_light(noise: float) -> None:
    seen = contact(scenes.as_frame(scenes.plain_wall(3.0), noise=noise))
    assert (seen.state, seen.covered, seen.advice) == ("dark", 0.0, words.MORE_LIGHT)


def test_a_very_dim_finger_asks_for_light() -> None:
    seen = contact(scenes.as_frame(scenes.webcam_finger(colour=(15, 11, 9)), noise=2.0))
    assert (seen.state, seen.advice) == ("covered", words.MORE_LIGHT)


def test_light_that_clips_more_than_red_is_too_bright() -> None:
    seen = contact(scenes.as_frame(scenes.torch_finger() * np.array([1.0, 9.0, 3.0])))
    assert (seen.state, seen.advice) == ("covered", words.TOO_BRIGHT)


def test_red_that_clips_with_nothing_beside_it_is_too_bright() -> None:
    seen = contact_of(1.0, np.array([254.0, 1.0, 0.5]), np.array([0.9, 0.0, 0.0]))
    assert seen.advice == words.TOO_BRIGHT


@pytest.mark.parametrize(("depth", "advice"), [(0.0003, words.LIGHTER), (0.004, words.GOOD), (0.03, words.GOOD)])
def test_a_pulse_that_is_pressed_away_asks_for_less_pressure(depth: float, advice: str) -> None:
    finger = scenes.webcam_finger(160, 120)
    gauge = ContactGauge()
    for number in range(135):
        beat = 1.0 + depth * np.sin(2 * np.pi * 1.1 * number / 30) + 0.01 * np.sin(0.02 * number)
        gauge.measure(Frame(number / 30, 0, scenes.as_frame(finger * beat, number)))
    assert gauge.contact is not None
    assert gauge.contact.advice == advice


@pytest.mark.parametrize(("width", "height"), [(640, 480), (1920, 1080), (160, 120), (17, 13), (8, 6), (1, 1)])
def test_patch_means_are_exact(width: int, height: int) -> None:
    image = np.random.default_rng(2).integers(0, 256, (height, width, 3), dtype=np.uint8)
    mean = patches_of(image).mean
    assert mean.shape == (PATCHES, 3)
    if (width, height) == (640, 480):
        blocks = image[:, :, ::-1].reshape(12, 40, 16, 40, 3).mean(axis=(1, 3)).reshape(PATCHES, 3)
        np.testing.assert_allclose(mean, blocks, atol=1e-9)
    if width >= 160:  # what the edges leave out is little
        np.testing.assert_allclose(mean.mean(axis=0), image.reshape(-1, 3).mean(axis=0)[::-1], atol=0.5)
    assert np.isfinite(patches_of(image).detail).all()


def test_clipping_is_counted_by_channel() -> None:
    image = np.full((480, 640, 3), 100, dtype=np.uint8)
    image[:, :320, 2] = 255
    image[:120, :, 0] = 253
    np.testing.assert_allclose(clipped_shares(image), [0.5, 0.0, 0.25], atol=0.02)


def test_eroding_takes_the_rim_but_not_the_frames_edge() -> None:
    mask = np.zeros((12, 16), dtype=np.bool_)
    mask[:, :8] = True
    assert eroded(mask.ravel()).reshape(12, 16)[:, :7].all()
    assert not eroded(mask.ravel()).reshape(12, 16)[:, 7:].any()


def test_the_mean_under_the_finger_shows_the_pulse_that_a_moving_room_hides() -> None:
    finger = scenes.webcam_finger(320, 240)
    room = scenes.room(4, 640, 240)
    time_s = np.arange(240) / 30.0
    pulse = -0.006 * np.sin(2 * np.pi * 1.2 * time_s)
    gauge = ContactGauge()
    found, whole = [], []
    for number, depth in enumerate(pulse):
        shift = round(60 + 60 * np.sin(1.9 * time_s[number]))
        picture = scenes.half_covered(finger * (1 + depth), room[:, shift : shift + 320], 10, 0.65)
        image = scenes.as_frame(picture, number, noise=2.0)
        found.append(gauge.measure(Frame(time_s[number], 0, image)).green)
        whole.append(float(image[:, :, 1].mean()))
    likeness = abs(np.corrcoef(np.diff(found[30:]), np.diff(pulse[30:]))[0, 1])
    likeness_whole = abs(np.corrcoef(np.diff(whole[30:]), np.diff(pulse[30:]))[0, 1])
    assert likeness > 0.9  # sensor noise alone allows 0.94
    assert likeness_whole < 0.5
    assert np.mean(found) == pytest.approx(38, rel=0.2)


def test_patches_that_leave_make_no_step_in_the_band_of_the_pulse() -> None:
    """The finger slips off a third of the frame, where it was twice as bright: no frame-to-frame jump."""
    finger = scenes.webcam_finger(160, 120)
    finger *= np.linspace(0.7, 1.6, 160)[None, :, None]
    bare = scenes.half_covered(finger, scenes.room(3, 160, 120), 0, 0.67)
    gauge = ContactGauge()
    green = []
    for number in range(210):
        picture = finger if number < 60 else bare
        green.append(gauge.measure(Frame(number / 30, 0, scenes.as_frame(picture, number, noise=1.0))).green)
    levels = np.array(green)
    before, after = levels[:55].mean(), levels[-1]
    assert before - after > 4.0  # the mean really is another in the end
    assert np.abs(np.diff(levels)).max() < 0.15


def test_a_source_of_colours_passes_through_with_its_own_contact() -> None:
    gauge = ContactGauge()
    sample = Sample(1.0, 60.0, 50.0, 40.0, 0.5)
    assert gauge.measure(Frame(1.0, 0, None, sample)) is sample
    assert gauge.contact is not None
    assert gauge.contact.state == "partly covered"
