"""The way to the phone's page: the code to scan, the address in letters, and what the phone's browser will warn of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel, QSizePolicy

from dawnbeat.morning.reading_text import LAMP, PHONE_WARNING, phone_line
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import ComboBox, label, named
from dawnbeat.ui.window.parts.layouts import column_of, labelled, row_of, scrolled, stack
from dawnbeat.ui.window.parts.theme import Painted

if TYPE_CHECKING:
    from dawnbeat.capture.phone.identity import Address
    from dawnbeat.capture.phone.server import PhoneServer
    from dawnbeat.ui.window.parts.background import Work

_LOOK_EVERY_MS = 300
_QUIET_MODULES = 4  # ISO/IEC 18004 asks for so much white around a code
_WHITE, _BLACK = QColor("#ffffff"), QColor("#000000")


class PhoneView(View):
    """opened: the server that waits for a phone; failed: why there is none. cancel: no reading is wanted. elsewhere:
    the address of another network of this computer is to be opened.
    """

    opened = Signal(object)
    failed = Signal(str)
    cancel = Signal()
    elsewhere = Signal(str)

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.code = Code(context)
        self.address = _copied("The phone's address")
        self.fingerprint = _copied("The certificate's fingerprint")
        self.state = label("large", "Where the phone stands")
        self.firewall = label("soft", "What to check where nothing comes up")
        self.network = named(ComboBox(), "Network of this computer that is open to the phone")
        self.network.activated.connect(self._another)
        self._networks = labelled("Network", self.network)
        tip = "Go back without a reading; the address is closed"
        self.main = controls.button("Cancel", "Esc", tip, self.cancel.emit, "Read")
        self._server: PhoneServer | None = None
        self._work: Work | None = None
        self._timer = QTimer(self, interval=_LOOK_EVERY_MS)
        self._timer.timeout.connect(self.look)
        self._lay_out()
        self.arrange()

    def begin(self, where: str) -> None:
        """Open an address off the window's thread. where: one of this computer's, else the usual one."""
        from dawnbeat.capture.phone.identity import addresses, needed
        from dawnbeat.morning.sources import open_phone

        def opened() -> tuple[PhoneServer, list[Address]]:
            needed("segno")  # before anything is open
            return open_phone(where), addresses()

        self._server = None
        self.code.show_address("")
        for each in (self.address, self.fingerprint, self.firewall):
            each.setText("")
        self._networks.hide()
        self.state.setText("Opening an address for the phone…")
        self._work = self.context.background.run(lambda _task: opened(), self._is_open, self._is_refused)

    @property
    def opening(self) -> bool:
        """Whether an address is wanted and not there yet."""
        return self._work is not None

    def give_up(self) -> None:
        """The address is wanted no more; one that is opened yet is closed again."""
        self._work = None

    def _is_open(self, opened: tuple[PhoneServer, list[Address]]) -> None:
        server, networks = opened
        if self._work is None:
            self.context.background.run(lambda _task: server.stop())
            return
        self._work = None
        self.opened.emit(server)
        self.open(server, networks)

    def _is_refused(self, why: str) -> None:
        wanted, self._work = self._work is not None, None
        if wanted:
            self.failed.emit(why)

    def open(self, server: PhoneServer, networks: list[Address]) -> None:
        """Show the way to this address. networks: all that could be opened."""
        self._server = server
        self.code.show_address(server.url)
        self.address.setText(server.url)
        pairs = server.fingerprint.split(":")
        self.fingerprint.setText("\n".join(":".join(pairs[at : at + 16]) for at in (0, 16)))
        self.firewall.setText(f"Nothing comes up on the phone? {server.firewall}")
        self.network.offer((str(each), each.ip) for each in networks)
        self.network.setCurrentIndex(self.network.findData(server.ip))
        self._networks.setVisible(len(networks) > 1)
        self.look()
        self._timer.start()

    def look(self) -> None:
        """Say where the phone stands now."""
        if self._server is None or not self.isVisible():
            self._timer.stop()
            return
        words = phone_line(self._server.news)
        if words != self.state.text():
            self.state.setText(words)
            self.context.say(words)

    def _another(self, index: int) -> None:
        ip = self.network.itemData(index)
        if self._server is not None and ip != self._server.ip:
            self.elsewhere.emit(ip)

    def arrange(self) -> None:
        """Letters that are told apart, as large as the text asks for."""
        theme = self.context.theme
        for each, times in ((self.address, 1.15), (self.fingerprint, 0.85)):
            each.setStyleSheet(f"font-family: monospace; font-size: {theme.pt(times):.1f}pt;")

    def _lay_out(self) -> None:
        sends = (
            "The page asks for the camera, measures your fingertip on the phone, and sends numbers only. The address "
            "works for one phone, and closes with the reading or after ten minutes."
        )
        words = column_of(
            label("large", "", "Scan this code with the phone, or type the address into its browser:"),
            self.address,
            label("", "", f"{PHONE_WARNING} The fingerprint:"),
            self.fingerprint,
            label("soft", "", sends),
            self.firewall,
            self._networks,
            None,
            gap=10,
        )
        words.setAlignment(self._networks, Qt.AlignmentFlag.AlignLeft)
        row = row_of(self.code, (words, 1), gap=28)
        row.setAlignment(self.code, Qt.AlignmentFlag.AlignTop)
        area = scrolled(row, margins=(0, 0, 0, 0))  # large text needs more height than a small screen has
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        foot = row_of(self.main, (label("small", "", LAMP), 1), gap=14)
        heading = label("title", "", "Use a phone", wraps=True)
        stack(self, heading, self.state, (area, 1), foot, margins=(36, 24, 36, 20), gap=16)


class Code(Painted):
    """An address as a code to scan, black on white in every theme: scanners need it so."""

    def __init__(self, context: AppContext) -> None:
        super().__init__(context, "Code with the phone's address")
        self._rows: list[bytes] = []
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def show_address(self, url: str) -> None:
        """Draw the code of this address; empty for none."""
        from dawnbeat.capture.phone.identity import needed

        code = needed("segno").make(url, micro=False, error="m") if url else None
        self._rows = [] if code is None else [bytes(row) for row in code.matrix_iter(border=_QUIET_MODULES)]
        self.setAccessibleDescription(url)
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Large enough to be scanned from a hand's length."""
        side = self.context.theme.px(300)
        return QSize(side, side)

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Whole pixels to a module, so that the edges stay sharp."""
        painter = self.painter()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.fillRect(QRectF(self.rect()), _WHITE)
        if not self._rows:
            return
        module = max(1, min(self.width(), self.height()) // len(self._rows))
        left = (self.width() - module * len(self._rows)) // 2
        for y, row in enumerate(self._rows):
            for x, dark in enumerate(row):
                if dark:
                    painter.fillRect(left + x * module, left + y * module, module, module, _BLACK)


def _copied(name: str) -> QLabel:
    """Words that can be marked and copied, by mouse and keys."""
    made = label("", name)
    made.setTextInteractionFlags(
        Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
    )
    return made
