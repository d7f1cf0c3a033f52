from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest
from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication, QLineEdit, QProgressBar
from pytestqt.qtbot import QtBot

from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.theme import BASE_PT, DARK, LIGHT, Inks


def luminance(colour: str) -> float:
    def linear(part: float) -> float:
        return float(part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4)

    c = QColor(colour)
    return 0.2126 * linear(c.redF()) + 0.7152 * linear(c.greenF()) + 0.0722 * linear(c.blueF())


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("inks", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ink", ["ink", "soft", "accent"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_words_stand_out_as_wcag_asks(inks: Inks, ink: str, ground: str) -> None:
    # W3C, Web Content Accessibility Guidelines 2.2, success criterion 1.4.3 (AA): 4.5 to 1 for text.
    assert contrast(getattr(inks, ink), getattr(inks, ground)) >= 4.5


@pytest.mark.parametrize("inks", [LIGHT, DARK], ids=["light", "dark"])
def test_words_on_the_accent_and_on_a_selection_stand_out_too(inks: Inks) -> None:
    assert contrast(inks.on_accent, inks.accent) >= 4.5
    assert contrast(inks.ink, inks.wash) >= 4.5


def test_the_measure_of_contrast_agrees_with_the_definition() -> None:
    # WCAG 2.2, definition of contrast ratio: 21 to 1 for black on white.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("percent", [100, 150, 200])
def test_the_text_grows_as_chosen(context: AppContext, qapp: QApplication, percent: int) -> None:
    context.choose(text_percent=percent)
    assert qapp.font().pointSizeF() == pytest.approx(BASE_PT * percent / 100)
    context.choose(text_percent=100)


def test_light_and_dark_can_be_chosen_whatever_the_system_says(context: AppContext, qapp: QApplication) -> None:
    seen: list[Inks] = []
    context.theme_changed.connect(lambda theme: seen.append(theme.inks))
    context.choose(theme="dark")
    context.choose(theme="light")
    assert seen == [DARK, LIGHT]
    assert qapp.palette().window().color() == QColor(LIGHT.paper)


@pytest.mark.parametrize("inks", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_what_can_be_pressed_moved_or_typed_into_stands_out(inks: Inks, ground: str) -> None:
    # WCAG 2.2, success criterion 1.4.11 (AA): 3 to 1 for the parts of controls.
    assert contrast(inks.edge, getattr(inks, ground)) >= 3.0


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_how_far_a_bar_has_come_stands_out_and_so_do_the_words_on_it(
    qtbot: QtBot, context: AppContext, theme: str
) -> None:
    # WCAG 2.2, 1.4.11: 3 to 1 for what tells a state; 1.4.3: 4.5 to 1 for text.
    context.choose(theme=theme)
    bar = QProgressBar()
    qtbot.addWidget(bar)
    bar.setRange(0, 2)
    bar.setValue(1)
    bar.setFormat("")
    bar.resize(400, 40)
    image = bar.grab().toImage()
    done, left = ([image.pixelColor(x, y).name() for y in range(3, 37)] for x in (100, 300))
    assert max(contrast(one, other) for one, other in zip(done, left, strict=True)) >= 3.0
    words = context.theme.inks.ink
    assert min(contrast(words, ground) for ground in (*done[8:24], *left[8:24])) >= 4.5
    assert contrast(image.pixelColor(300, 0).name(), context.theme.inks.sheet) >= 3.0
    context.choose(theme="system")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_placeholders_are_drawn_in_the_soft_ink(qtbot: QtBot, context: AppContext, theme: str) -> None:
    # WCAG 2.2, success criterion 1.4.3: what stands in an empty field is text, too.
    context.choose(theme=theme)
    field = QLineEdit()
    qtbot.addWidget(field)
    field.ensurePolished()
    drawn = field.palette().color(QPalette.ColorRole.PlaceholderText)
    inks = context.theme.inks
    assert drawn.alpha() == 255
    assert contrast(drawn.name(), inks.sheet) >= 4.5
    context.choose(theme="system")


def test_no_colour_stands_anywhere_but_in_the_palette() -> None:
    known = {value for inks in (LIGHT, DARK) for value in vars(inks).values()}
    root = Path(__file__).parents[3]
    for path in (*(root / "ui").rglob("*.py"), *(root / "ui").rglob("*.svg")):
        if path.name == "theme.py":
            continue
        found = set(re.findall(r"#[0-9a-f]{6}\b", path.read_text(encoding="utf-8")))
        found -= {"#000000", "#ffffff"}  # a code to be photographed is black on white
        assert found <= (known if path.suffix == ".svg" else set()), path


def test_the_page_on_the_phone_wears_the_same_inks() -> None:
    page = files("dawnbeat.capture.phone").joinpath("page.html").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", page, re.DOTALL)
    for said, inks in ((light, LIGHT), (dark, DARK)):
        colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", said))
        assert colours
        assert colours == {name: getattr(inks, name.replace("-", "_")) for name in colours}
