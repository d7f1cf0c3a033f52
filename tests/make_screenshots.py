"""The pictures that README shows, made again from an invented journal.

    QT_QPA_PLATFORM=offscreen python tests/make_screenshots.py [FOLDER]

Writes light and dark PNGs of the pages, at 1280 x 800, into ui/screenshots unless another folder is named. Everything
in them is invented: the runner, the mornings, the runs and the finger. The phone's page is taken from Chromium, with
its fake camera, where there is one.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from pathlib import Path
from types import SimpleNamespace

from PySide6.QtCore import QEventLoop, QTimer
from PySide6.QtGui import QColor, QImage, QPainter

from dawnbeat.capture.phone.server import FIREWALL
from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.recordings.invented.runs import fill_with_invented_runs
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import MainWindow, make_app

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # for what it shares with the tests

WIDTH, HEIGHT = 1280, 800
PAGES = ("read", "mornings", "zones", "runs", "bench")
FOLDER = Path(__file__).resolve().parents[1] / "ui" / "screenshots"
SAMPLE = Path(__file__).resolve().parents[1] / "recordings" / "motion-burst"


def wait(seconds: float) -> None:
    """Let the window work for a while."""
    loop = QEventLoop()
    QTimer.singleShot(int(1000 * seconds), loop.quit)
    loop.exec()


def take(folder: Path, theme: str) -> None:
    """One picture a page in one theme."""
    with tempfile.TemporaryDirectory() as place, Journal.open(Path(place, "journal")) as journal:
        fill_with_invented_mornings(journal, date.today())
        fill_with_invented_runs(journal, date.today())
        context = AppContext(journal, ChoiceStore(Path(place, "settings")))
        context.choose(theme=theme, met=True)
        window = MainWindow(context, "mornings")
        window.resize(WIDTH, HEIGHT)
        window.show()
        for page in PAGES:
            context.go(page, SAMPLE if page == "bench" else None)
            wait(2.0)
            path = folder / f"{page}-{theme}.png"
            if not window.grab().save(str(path)):
                raise SystemExit(f"can't write {path}")
            print(path)
        if theme == "light":
            take_way_of_the_phone(window, context, folder / "phone-light.png")
        window.close()
        wait(0.2)


def take_way_of_the_phone(window: MainWindow, context: AppContext, path: Path) -> None:
    """The code and the address, with an address that leads nowhere."""
    from dawnbeat.capture.phone.identity import Address
    from dawnbeat.capture.phone.link import News
    from dawnbeat.ui.window.read.page import ReadPage

    context.go("read", None)
    page = window.findChild(ReadPage)
    nowhere = SimpleNamespace(
        url="HTTPS://192.168.1.20:8765/EXAMPLEXEXAMPLEXEXAMPLEX23",
        ip="192.168.1.20",
        fingerprint=":".join(f"{37 * each % 256:02X}" for each in range(32)),
        firewall=FIREWALL.format(port=8765),
        news=News("waiting"),
    )
    page.stack.setCurrentWidget(page.phone)
    page.phone.open(nowhere, [Address("192.168.1.20", "wlan0")])
    wait(1.0)
    window.grab().save(str(path))
    print(path)


def take_page_of_the_phone(path: Path) -> None:
    """The page on the phone: before, while it measures, and with the finger off."""
    import shutil

    from dawnbeat.capture.phone.identity import certificate_for
    from dawnbeat.capture.phone.server import PhoneServer
    from dawnbeat.capture.phone.source import wait_for_phone
    from tests.capture.phone.browser import NAMES, chromium
    from tests.capture.phone.test_browser import write_camera

    if not any(map(shutil.which, NAMES)):
        print(f"no Chromium: {path} is left as it is")
        return
    # Chromium may write to its profile for a moment after it was told to end.
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        camera = Path(place, "finger.y4m")
        write_camera(camera)
        certificate = certificate_for("127.0.0.1", Path(place))
        server = PhoneServer("127.0.0.1", certificate, Path(place, "clips"), port=0)
        pictures = []
        with chromium(Path(place, "profile"), camera) as page:
            page.call("Emulation.setDeviceMetricsOverride", width=360, height=720, deviceScaleFactor=1.5, mobile=True)

            def take() -> None:
                page.picture(Path(place, "picture.png"))
                pictures.append(QImage(str(Path(place, "picture.png"))))

            page.visit(server.url)
            take()
            page.press("live")
            source = wait_for_phone(server)
            frames = source.frames()
            for _ in range(260):
                next(frames)
            source.tell("reading", 73.0, 62.0, "All is well: breathe as you like.")
            page.until("document.getElementById('left').textContent === '1:13'")
            page.evaluate("document.getElementById('light').textContent = ''")
            take()
            source.close()
            page.until("!document.getElementById('over').hidden")
            take()
    gap = 24
    width = sum(each.width() for each in pictures) + gap * (len(pictures) - 1)
    whole = QImage(width, pictures[0].height(), QImage.Format.Format_RGB32)
    whole.fill(QColor("#7f849c"))
    painter, left = QPainter(whole), 0
    for each in pictures:
        painter.drawImage(left, 0, each)
        left += each.width() + gap
    painter.end()
    whole.save(str(path))
    print(path)


def main() -> None:
    """Make them all."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    app = make_app()
    for theme in ("light", "dark"):
        take(folder, theme)
    take_page_of_the_phone(folder / "phone-page.png")
    del app


if __name__ == "__main__":
    main()
