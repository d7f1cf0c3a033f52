"""What is told at the first start and under Help: how to hold the finger, what this is not, every key, the method."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QDialog, QTextBrowser, QWidget

from dawnbeat.morning.answer_text import NOT_FOR
from dawnbeat.shared.installed import software_version
from dawnbeat.shared.wording import unbroken
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, PageWidget
from dawnbeat.ui.window.parts.controls import Key, label, named, prose_px
from dawnbeat.ui.window.parts.layouts import PAGE_MARGINS, flow_of, scrolled, stack

# Every key before any page was made: where, key, what it does. Written from what the pages tell, and a test holds the
# two together.
KEYS_FILE = Path(__file__).with_name("keys.tsv")

FIRST_WORDS = (
    "Lay the tip of a finger on the lens so that it covers all of it, as lightly as a feather, and keep it still "
    "while you lie or sit.",
    "This is not a medical device and finds no illness; whatever it shows, chest pain, fainting or a heart that "
    "races or stumbles needs medical help.",
    "If a lamp or flash shines under the finger it can get hot: take the finger off before it hurts.",
    NOT_FOR,
)

# From tests/benchmarks/answers.py, 400 simulated runners; README shows the whole table.
ERROR_RATES = (
    "Measured on simulated runners. One who never changes is told something other than “keep the plan” on 8 of 100 "
    "days (the trial's rule by itself: 36). A first morning of fever, 2.5 standard deviations off in both measures, "
    "is told to keep the plan in 2 of 100. A lasting fall of RMSSD by 1.5 standard deviations is not yet seen by the "
    "fifth reading in 23 of 100, a lasting rise of the pulse in 21. One odd morning is told something other than keep "
    "in 19 of 100. After an illness noted the day before, the runner is always asked."
)

METHOD = (
    (
        "Recording, reading, morning",
        "A recording is the light of a fingertip over two minutes or so. A reading is what was worked out from it: "
        "resting pulse and RMSSD, how sure they are, and whether they can be used. A morning is a day with the one "
        "reading that counts for it; where there are several you choose. The usual range, the week and the answer "
        "are made of mornings.",
    ),
    (
        "From light to beats",
        "Blood takes in light, so each beat darkens the fingertip a little. Each frame becomes one mean colour "
        "with its own time; the rate is never assumed to be steady, and a gap of more than 0.2 s is never "
        "bridged. A beat is timed at the steepest fall of brightness, by laying the recording's own median beat "
        "over it, which is finer than one frame. Among five marks of the pulse wave the middle of that edge was "
        "found the most accurate (Peláez-Coca et al. 2022, IEEE J Biomed Health Inform 26).",
    ),
    (
        "What counts",
        "Intervals that movement, a weak pulse, a missed, extra or irregular beat or a gap has touched are left "
        "out with their reason, in the spirit of Lipponen & Tarvainen 2019 (J Med Eng Technol 43:173-181). "
        "Nothing is filled in, and no difference is taken across what was left out.",
    ),
    (
        "The figures",
        "RMSSD, SDNN, pNN50 and mean pulse as defined by the Task Force of ESC and NASPE 1996 (Circulation "
        "93:1043-1065). Every figure comes with a 95 % interval for the heart's own: what two minutes can say of a "
        "morning, what the timing of a camera adds, and what the way from heart to finger adds, about 10 to 15 ms "
        "in quadrature. The figure itself is not corrected. Below 15 ms light can't tell how low the heart's is.",
    ),
    (
        "Usable or not",
        "A reading is usable if enough of it was kept, the pulse stands well over the noise, and three "
        "ways of counting agree (the beats found, how often the wave repeats, its strongest rhythm). "
        "Otherwise it says what was in the way, and takes part in nothing.",
    ),
    (
        "An irregular pulse",
        "Each interval is predicted from the four before it. Breathing comes in waves and can be told; a pulse that "
        "keeps coming irregularly can't, and is said to be that, with its variability not used. So is a wave that "
        "may or may not be a beat, with both rates. Neither names a cause: show it to a doctor if it is new, comes "
        "again or goes with feeling unwell, and a pulse without a finding rules nothing out.",
    ),
    (
        "Usual range",
        "The mean of your mornings of the four weeks before this week, plus and minus half their standard deviation, "
        "on the logarithm of RMSSD, as in a trial of training guided by variability (Vesterinen et al. 2016, Med Sci "
        "Sports Exerc 48:1347-1354); the same for the resting pulse. At least 14 of the 28 mornings are wanted "
        "(common practice, no source). The week's average is held against it: the mean of its usable readings, at "
        "least three (Plews et al. 2014, Int J Sports Physiol Perform 9:783-790). A single morning has a wider band "
        "of its own, which holds 95 of 100. Only mornings in the usual posture, near the usual hour, by the same kind "
        "of sensor and of a minute or longer take part; ill ones and those you mark as not comparable stay out of the "
        "reference.",
    ),
    (
        "The morning's answer",
        "Weighed in this order. Health: illness noted today, or in the last three days until you say that you are "
        "well again; a pulse that came irregularly; a resting pulse far above usual on three mornings together. A "
        "far-off morning: pulse and RMSSD of today both strayed the worse way, or one of them very far. The week, or "
        "its last five mornings, against the usual range, and only further out than chance puts the average of so few "
        "mornings; above the range it says easy too, as in the trial, though that has two meanings (Plews et al. "
        "2013, Sports Med 43:773-781). How you feel against your own usual, which tells load at least as well as a "
        "measurement (Saw et al. 2016, Br J Sports Med 50:281-291; joined with variability in Nuuttila et al. 2022, "
        "Med Sci Sports Exerc 54:1690-1701): one bad sign alone changes nothing. Last the load of your runs, which "
        "never speaks alone. Where nothing speaks, keep the plan. What has no source here is common practice; the "
        "thresholds were set on simulated runners.",
    ),
    (
        "How often the answer is wrong",
        ERROR_RATES,
    ),
    ("Who it is not for", NOT_FOR),
    (
        "How you noted it",
        "Sleep, stress, fatigue and soreness from 1 to 7 are the four items of Hooper & Mackinnon 1995 (Sports "
        "Med 20:321-327).",
    ),
    (
        "A phone as the camera",
        "“Use a phone” on the page Read opens an address on this computer that one phone in the same network can "
        "use: for one reading, or ten minutes. The phone's browser warns when it gets there, since the certificate "
        "was made on this computer and no authority vouches for it. That is as it should be: look at the "
        "certificate in the warning's details, compare its SHA-256 fingerprint with the one beside the code, and go "
        "on if they are the same. If they differ, something stands between the two: don't go on, and press for a "
        "new address in a network that you trust. The certificate's key is in a file that you alone can read; delete "
        "phone-certificate.pem to have a new one made. The page measures each frame on the phone and sends numbers "
        "only. Where a browser can't light the lamp or time its frames, film for two and a half minutes with the "
        "phone's own camera and its lamp, and send the clip from the same page; it is deleted once it was read.",
    ),
    (
        "Your data",
        "Everything stays in one folder on this computer, readable by you alone. Nothing is sent anywhere; the "
        "only addresses ever used are a camera's that you typed yourself, and the one that you open for a phone.",
    ),
)


class FirstStart(QDialog):
    """Shown until it was closed once; the same words stay readable under Help."""

    def __init__(self, context: AppContext, parent: QWidget) -> None:
        super().__init__(parent)
        self.context = context
        self.setWindowTitle("Before the first reading")
        self.setModal(True)
        heading = label("title", "", "Before the first reading", wraps=True)
        said = [label("", "", words) for words in FIRST_WORDS]
        note = label("soft", "", "You find these words again under Help (F1).")
        page = scrolled(heading, *said, note, None, margins=(32, 26, 32, 8), gap=12)
        ready = controls.button("I have read this", "", "Go on (Enter)", self.accept, main=True)
        ready.setDefault(True)
        ready.setAccessibleDescription(" ".join(FIRST_WORDS))
        foot = flow_of(ready)
        foot.setContentsMargins(32, 8, 32, 24)
        stack(self, (page, 1), foot)
        # As high as its words, and no higher than the window that it stands on.
        room = parent.window().size()
        width = min(context.theme.px(600), room.width())
        needed = self.sizeHint().height() - page.sizeHint().height() + page.inside.heightForWidth(width)
        self.resize(width, min(needed, room.height()))

    def accept(self) -> None:
        """Remember that it was read."""
        with self.context.saying():
            self.context.choose(met=True)
        super().accept()


class _Prose(QTextBrowser):
    """Lines no longer than the eye follows, however wide the page is."""

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Another width."""
        super().resizeEvent(event)
        widest = prose_px(self.fontMetrics())
        if self.viewport().width() > widest:
            self.setLineWrapMode(self.LineWrapMode.FixedPixelWidth)
            self.setLineWrapColumnOrWidth(widest)
        else:
            self.setLineWrapMode(self.LineWrapMode.WidgetWidth)


def make_page(context: AppContext) -> PageWidget:
    """The page Help."""
    return HelpPage(context)


class HelpPage(PageWidget):
    """One long page to read; arrow keys scroll it."""

    key = "help"
    title = "Help"

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.words = named(_Prose(), "Help: how to hold the finger, keys, method and sources")
        self.words.setOpenLinks(False)
        stack(self, label("title", "", "Help"), (self.words, 1), margins=PAGE_MARGINS)
        context.theme_changed.connect(lambda _: self._write())

    def shown(self, what: Any = None) -> None:
        """Write again: pages add their keys when they are first made."""
        self._write()
        self.words.setFocus()

    def _write(self) -> None:
        theme = self.context.theme
        parts = ["<h2>How to hold the finger, and what this is not</h2>"]
        parts += [f"<p>{escape(unbroken(words))}</p>" for words in FIRST_WORDS]
        parts.append("<h2>Keys</h2><table cellspacing='0' cellpadding='3'>")
        for where, keys in controls.overview(kept_keys()).items():
            name = "Everywhere" if where == "everywhere" else where[0].upper() + where[1:]
            parts.append(f"<tr><td colspan='2'><br><i>{escape(name)}</i></td></tr>")
            parts += [
                f"<tr><td><b>{escape(controls.shown(key.keys))}</b>&nbsp;&nbsp;&nbsp;</td>"
                f"<td>{escape(unbroken(key.does))}</td></tr>"
                for key in keys
            ]
        parts.append("</table><h2>The method and its sources</h2>")
        parts += [f"<h3>{escape(title)}</h3><p>{escape(unbroken(words))}</p>" for title, words in METHOD]
        parts.append(f"<p style='color:{theme.inks.soft}'>Dawnbeat {escape(software_version())}</p>")
        at = self.words.verticalScrollBar().value()
        self.words.document().setDocumentMargin(theme.px(8))
        self.words.setHtml("".join(parts))
        self.words.verticalScrollBar().setValue(at)


def kept_keys() -> list[Key]:
    """Every key there is, whether its page was made yet or not."""
    rows = (line.split("\t") for line in KEYS_FILE.read_text(encoding="utf-8").splitlines())
    return [Key(keys, does, where) for where, keys, does in rows]
