from __future__ import annotations

import re
import zlib
from datetime import date

import pytest
from PySide6.QtCore import QSizeF
from PySide6.QtGui import QFontMetricsF, QImage, QPainter
from PySide6.QtWidgets import QApplication

from dawnbeat.journal.ranges import DEFAULT
from dawnbeat.journal.store import Journal
from dawnbeat.shared.morning import Context
from dawnbeat.ui.window.mornings.month_report import _Sheet, month_pdf, noted_words, wrapped


def drawn(pdf: bytes) -> bytes:
    """What the page draws, unpacked."""
    parts = re.findall(rb"stream\r?\n(.*?)endstream", pdf, flags=re.DOTALL)
    unpacked = b""
    for part in parts:
        try:
            unpacked += zlib.decompress(part)
        except zlib.error:
            continue
    return unpacked


@pytest.mark.usefixtures("qapp")
def test_a_month_is_one_page_of_a4(ninety_days: Journal) -> None:
    pdf = month_pdf(ninety_days, 2025, 5, DEFAULT)
    assert pdf.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    # ISO 216: A4 is 210 x 297 mm.
    assert [float(each) * 25.4 / 72 for each in box.groups()] == pytest.approx([210, 297], abs=1)


@pytest.mark.usefixtures("qapp")
def test_a_month_with_mornings_draws_more_than_an_empty_one(ninety_days: Journal) -> None:
    full, empty = (drawn(month_pdf(ninety_days, year, 5, DEFAULT)) for year in (2025, 2020))
    assert len(full) > 3 * len(empty) > 0


def test_the_month_of_an_empty_journal_is_a_page_too(qapp: QApplication, journal: Journal) -> None:
    assert month_pdf(journal, date.today().year, 2, DEFAULT).startswith(b"%PDF-")


def test_what_matters_most_is_noted_first() -> None:
    context = Context(sleep=3, hours_slept=7.5, ill=True, alcohol=False, yesterday_run="8 km  easy", note="sore throat")
    assert noted_words(context) == "felt ill, sore throat, 8 km easy, 7.5 h slept, sleep 3"
    assert noted_words(Context()) == ""


@pytest.mark.usefixtures("qapp")
def test_a_long_note_goes_on_in_the_next_line_and_is_cut_only_where_the_page_is_full() -> None:
    image = QImage(700, 1000, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    try:
        sheet = _Sheet(painter, QSizeF(700, 1000), DEFAULT)
        long = "slept badly after a late supper, a stiff calf, and 8 km of hills the day before in heavy rain"
        row, lines = sheet.fitted([long, "", "short"], 250, 400)
        assert len(lines[0]) > 1
        assert " ".join(lines[0]).replace("\u00a0", " ") == long
        assert lines[1:] == [[], ["short"]] or lines[1:] == [[""], ["short"]]
        assert row * (sum(map(len, lines)) + 1) <= 400
        smaller, lines = sheet.fitted([long] * 20, 250, 400)
        assert smaller < row
        assert smaller * (sum(map(len, lines)) + 1) <= 400
        assert all(" ".join(each).replace("\u00a0", " ") == long for each in lines)
        full, lines = sheet.fitted([20 * long] * 31, 250, 400)
        assert full * (sum(map(len, lines)) + 1) <= 400
        assert all(each[-1].endswith("…") for each in lines)
        metrics = QFontMetricsF(painter.font(), image)
        assert "".join(wrapped(80 * "w", 100, metrics)) == 80 * "w"
        assert all(metrics.horizontalAdvance(each) <= 100 for each in wrapped(80 * "w", 100, metrics))
    finally:
        painter.end()
