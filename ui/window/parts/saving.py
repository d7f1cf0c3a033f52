"""Files in and out of the window: what was dropped on it, and what it saves, copies and prints.

Files are written whole and for the user alone. Pictures are plots on paper with heading, legend and margin, as SVG,
PDF or PNG. A PNG is drawn with a theme three times as large, not blown up: every line, letter and mark is as sharp as
in print.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import (
    QBuffer,
    QByteArray,
    QIODevice,
    QMarginsF,
    QMimeData,
    QRect,
    QRectF,
    QSize,
    QSizeF,
    QStandardPaths,
    Qt,
)
from PySide6.QtGui import QFont, QFontMetricsF, QGuiApplication, QImage, QImageWriter, QPageSize, QPainter, QPdfWriter
from PySide6.QtWidgets import QFileDialog, QWidget

from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.files import write_private
from dawnbeat.ui.window.parts.theme import LIGHT, Theme

_PICTURES = "PNG picture (*.png);;SVG, for print and editing (*.svg);;PDF, for print (*.pdf)"
_SCREEN_DPI = 96
_PRINT_TIMES = 3.0  # 288 dots an inch
PART_HEIGHT = 250.0
_WIDTH, _MARGIN, _GAP = 960.0, 28.0, 8.0


class Says(Protocol):
    """Where it is told what was saved."""

    def say(self, sentence: str) -> None:
        """Tell what happened."""
        ...


def paths_in(dropped: QMimeData) -> list[Path]:
    """The local files and folders of something that is dropped."""
    return [Path(url.toLocalFile()) for url in dropped.urls() if url.isLocalFile()]


_last_folder: Path | None = None


def ask_save(parent: QWidget | None, title: str, name: str, kind: str) -> Path | None:
    """Ask where to save a file, suggesting a name; None where the runner changed their mind.

    kind: such as "CSV (*.csv)". The suffix is added where it is missing.
    """
    global _last_folder
    folder = _last_folder or Path(
        QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation) or Path.home()
    )
    chosen, _ = QFileDialog.getSaveFileName(parent, title, str(folder / name), kind)
    if not chosen:
        return None
    path = Path(chosen)
    if not path.suffix:
        path = path.with_suffix(Path(name).suffix)
    _last_folder = path.parent
    return path


def write_whole(path: Path, content: bytes, doing: str) -> None:
    """Write a file whole or not at all, 0600; raises DawnbeatError, `doing` completes "can't ..."."""
    with plain_errors(doing, path):
        write_private(path, content)


def save(where: Says, parent: QWidget, title: str, name: str, kind: str, write: Callable[[Path], str | None]) -> None:
    """Ask for a name, write, and say what was saved or what went wrong.

    write: writes the path; what it returns, such as "3 runs", is said.
    """
    path = ask_save(parent, title, name, kind)
    if path is None:
        return
    try:
        what = write(path)
    except DawnbeatError as error:
        where.say(str(error))
        return
    where.say(f"Saved {what} in {path.name}." if what else f"Saved {path.name}.")


class Paints(Protocol):
    """Something that can draw itself on paper."""

    def paint_on(self, painter: QPainter, rect: QRectF, scale: float) -> None:
        """Draw within the rectangle. scale: how many times larger than on the screen at 100 %."""
        ...


@dataclass(frozen=True)
class Part:
    """One plot of a figure. height: against 1 of the usual; title: above it; legend: below it.

    x, width: the share of the figure's width; parts that don't begin at 0 stand beside the one before.
    """

    what: Paints
    height: float = 1.0
    title: str = ""
    legend: str = ""
    x: float = 0.0
    width: float = 1.0


@dataclass(frozen=True)
class Figure:
    """Parts below one another, with a heading. name: of the file, too."""

    name: str
    parts: Sequence[Part]
    heading: str = ""

    @property
    def title(self) -> str:
        """The words above."""
        return self.heading or self.name


def size_of(figure: Figure) -> QSizeF:
    """How large a figure is in pixels of a screen."""
    return QSizeF(_WIDTH, _draw(figure, None, 1.0))


def paint(figure: Figure, painter: QPainter, scale: float = 1.0) -> None:
    """Draw a figure from the painter's origin on, in pixels. scale: how many times larger than on a screen."""
    _draw(figure, painter, scale)


def _draw(figure: Figure, painter: QPainter | None, scale: float) -> float:
    """Draw, or only measure; returns the height."""
    theme = Theme(LIGHT, 100, scale)
    font = QFont(QGuiApplication.font())
    left, width = _MARGIN * scale, (_WIDTH - 2 * _MARGIN) * scale
    y = _MARGIN * scale

    def words(text: str, times: float, ink: str, at: float, across: float) -> float:
        font.setPointSizeF(theme.pt(times) * _SCREEN_DPI / 96)
        flags = Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft
        metrics = QFontMetricsF(font)
        if painter is not None:
            painter.setFont(font)
            metrics = QFontMetricsF(font, painter.device())
        room = metrics.boundingRect(QRectF(at, y, across, 1e5), int(flags), text)
        if painter is not None:
            painter.setPen(theme.colour(ink))
            painter.drawText(QRectF(at, y, across, room.height() + 2), int(flags), text)
        return room.height() + _GAP * scale / 2

    if painter is not None:
        # A little over the edge, or a hairline of white would show.
        painter.fillRect(QRectF(-1, -1, _WIDTH * scale + 2, 1e5), theme.colour("sheet"))
    y += words(figure.title, 1.1, "ink", left, width)
    row_top = y
    for part in figure.parts:
        if part.x == 0.0:
            row_top = y
        at, across = left + part.x * width, part.width * width
        y = row_top
        if part.title:
            y += words(part.title, 0.85, "ink", at, across)
        height = part.height * PART_HEIGHT * scale
        if painter is not None:
            painter.save()
            part.what.paint_on(painter, QRectF(at, y, across, height), scale)
            painter.restore()
        y += height
        if part.legend:
            y += words(part.legend, 0.8, "soft", at, across)
        y += _GAP * scale
    return y - _GAP * scale + _MARGIN * scale


def packed(figure: Figure, kind: str) -> bytes:
    """A figure as the bytes of a file. kind: png, svg or pdf; raises DawnbeatError for another."""
    size = size_of(figure)
    data = QByteArray()
    buffer = QBuffer(data)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    if kind == "png":
        QImageWriter(buffer, QByteArray(b"png")).write(image_of(figure))
    elif kind == "svg":
        from PySide6.QtSvg import QSvgGenerator

        drawing = QSvgGenerator()
        drawing.setOutputDevice(buffer)
        drawing.setTitle(figure.title)
        drawing.setResolution(_SCREEN_DPI)
        drawing.setSize(size.toSize())
        drawing.setViewBox(QRect(0, 0, round(size.width()), round(size.height())))
        _paint_whole(figure, drawing, 1.0)
    elif kind == "pdf":
        page = QPdfWriter(buffer)
        page.setTitle(figure.title)
        page.setResolution(_SCREEN_DPI)
        inch = QSizeF(size.width() / _SCREEN_DPI, size.height() / _SCREEN_DPI)
        page.setPageSize(QPageSize(inch, QPageSize.Unit.Inch, "", QPageSize.SizeMatchPolicy.ExactMatch))
        page.setPageMargins(QMarginsF(0, 0, 0, 0))
        _paint_whole(figure, page, 1.0)
    else:
        raise DawnbeatError(f"a picture can't be saved as .{kind}: end its name in .png, .svg or .pdf")
    buffer.close()
    return bytes(data.data())


def image_of(figure: Figure, times: float = _PRINT_TIMES) -> QImage:
    """A figure as an image, so many times as fine as a screen."""
    size = size_of(figure)
    image = QImage(QSize(round(times * size.width()), round(times * size.height())), QImage.Format.Format_RGB32)
    # What an inch is to letters must not change with the fineness: they are drawn larger already.
    per_metre = round(_SCREEN_DPI / 0.0254)
    image.setDotsPerMeterX(per_metre)
    image.setDotsPerMeterY(per_metre)
    _paint_whole(figure, image, times)
    image.setDotsPerMeterX(round(times * per_metre))
    image.setDotsPerMeterY(round(times * per_metre))
    return image


def _paint_whole(figure: Figure, device: Any, scale: float) -> None:
    painter = QPainter(device)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    try:
        paint(figure, painter, scale)
    finally:
        painter.end()


def save_picture(where: Says, parent: QWidget, figure: Figure) -> None:
    """Ask for a name and save a figure as PNG, SVG or PDF, by the ending."""
    name = re.sub(r"[^a-z0-9]+", "-", figure.name.lower()).strip("-")

    def write(path: Path) -> None:
        write_whole(path, packed(figure, path.suffix.lower().lstrip(".")), "save the picture")

    save(where, parent, "Save the picture", f"dawnbeat-{name}.png", _PICTURES, write)


def copy_picture(where: Says, figure: Figure) -> None:
    """Put a figure on the clipboard, fine enough for print."""
    QGuiApplication.clipboard().setImage(image_of(figure))
    where.say(f"Copied: {figure.title}.")


def print_picture(where: Says, parent: QWidget, figure: Figure) -> None:
    """Ask for a printer and print a figure as wide as the page."""
    from PySide6.QtPrintSupport import QPrintDialog, QPrinter

    printer = QPrinter()
    if QPrintDialog(printer, parent).exec():
        print_on(printer, figure)
        where.say(f"Sent to the printer: {figure.title}.")


def print_on(printer: Any, figure: Figure) -> None:
    """Draw a figure on a page, as large as fits."""
    printer.setResolution(_SCREEN_DPI)
    page, size = QRectF(printer.pageLayout().paintRectPixels(_SCREEN_DPI)), size_of(figure)
    painter = QPainter(printer)
    times = min(page.width() / size.width(), page.height() / size.height())
    painter.scale(times, times)
    try:
        paint(figure, painter)
    finally:
        painter.end()
