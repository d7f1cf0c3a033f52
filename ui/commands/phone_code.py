"""The way to the phone's page, in a terminal: the code to scan, the address, and what the browser will warn of."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from dawnbeat.shared.errors import DawnbeatError

if TYPE_CHECKING:
    from rich.console import Console

    from dawnbeat.capture.frames import FrameSource
    from dawnbeat.capture.phone.link import News


def phone_in_terminal(where: str, screen: Console | None = None) -> FrameSource:
    """Open the address, show the way there on standard error, and wait until the phone sends.

    where: as `open_phone` takes it. Raises DawnbeatError when it can't be opened or is over before that; Ctrl+C closes
    the address.
    """
    from rich.text import Text

    from dawnbeat.capture.phone.identity import addresses, needed
    from dawnbeat.capture.phone.source import wait_for_phone
    from dawnbeat.morning.reading_text import LAMP, PHONE_WARNING, phone_line
    from dawnbeat.morning.sources import open_phone
    from dawnbeat.ui.report import console

    screen = screen or console(sys.stderr)
    needed("segno")  # before anything is open
    server = open_phone(where)
    try:
        # Dark on light whatever the terminal's own colours are, or scanners can't read it.
        screen.print(Text(code_in_letters(server.url), style="#000000 on #ffffff"), soft_wrap=True)
        screen.print("Scan this code with the phone, or type the address into its browser:")
        screen.print(Text(server.url, style="bold"), soft_wrap=True)
        screen.print(f"{PHONE_WARNING} The fingerprint:")
        screen.print(Text(server.fingerprint), soft_wrap=True)  # as it is: ":AB:" would become a picture
        others = [str(each) for each in addresses() if each.ip != server.ip]
        if others:
            screen.print(f"Only {server.ip} is open; --network names another of this computer: {', '.join(others)}.")
        screen.print(f"{server.firewall} The address works for one phone and ten minutes. {LAMP}")
        said = [""]

        def say(news: News) -> None:
            words = phone_line(news)
            if words != said[0]:
                said[0] = words
                screen.print(words)

        source = wait_for_phone(server, say)
        say(server.news)
        return source
    except KeyboardInterrupt:
        server.stop()
        raise DawnbeatError("it was stopped before the phone sent anything") from None
    except BaseException:
        server.stop()
        raise


def code_in_letters(url: str) -> str:
    """The code of an address in half blocks."""
    from dawnbeat.capture.phone.identity import needed

    rows = [[bool(module) for module in row] for row in needed("segno").make(url, micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    blocks = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
    return "\n".join(
        "".join(blocks[above, below] for above, below in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    )
