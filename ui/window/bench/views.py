"""What the bench shows of a recording, as tabs: each view is made when it is first looked at."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QSizePolicy, QTabWidget, QVBoxLayout, QWidget

from dawnbeat.capture.recording import Recording
from dawnbeat.morning.bench import BenchRun
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.window.bench.settings import WHERE
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Key, TabBar, label
from dawnbeat.ui.window.parts.layouts import stack

# Each is imported when it is made: together they would keep the window from drawing when the page is first shown.
if TYPE_CHECKING:
    from dawnbeat.ui.window.bench.compare import CompareView, ShapeView
    from dawnbeat.ui.window.bench.scoring import ScoringView
    from dawnbeat.ui.window.bench.traces import TracesView

_EMPTY = (
    "Open recordings with Ctrl+O, a whole folder with Ctrl+Shift+O, or drop them anywhere on this page.\n\n"
    "A recording is a folder with trace.csv, a CSV file with time_s, red, green and blue, or a video."
)
# The attribute of each view, the title of its tab and what the tab tells.
_TABS = (
    ("traces", "Traces", ""),
    ("shape", "Shape", "Edges of the beats over their median, and the spectrum"),
    ("compare", "Compare", "With a reference, another recording, or a second detector"),
    ("scoring", "Score", "A whole folder with these settings"),
)


class Views(QTabWidget):
    """The views in front of each other, as high as the one in front needs. opened: a recording that was scored."""

    opened = Signal(object)

    def __init__(self, context: AppContext, read: Callable[[Path], Recording], settings: Settings) -> None:
        """read: a recording with its reference. settings: what scoring uses until it is told others."""
        super().__init__()
        self.setTabBar(TabBar())
        self.context = context
        self._read, self._settings = read, settings
        self._paths: Sequence[Path] = ()
        self._run: BenchRun | None = None
        self._before: BenchRun | None = None
        self._begun: TracesView | None = None
        self._plots_first = False
        self._empty = label("large", "", _EMPTY)
        self._empty.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._empty.setContentsMargins(20, 0, 20, 0)
        self._holders: dict[str, QVBoxLayout] = {}
        for name, title, tip in _TABS:
            holder = QWidget()
            self._holders[name] = stack(holder)
            self.setTabToolTip(self.addTab(holder, title), tip)
        self._holders["traces"].addWidget(self._empty, 1)
        self.setDocumentMode(True)
        self.tabBar().setDrawBase(False)
        self.tabBar().setAccessibleName("Views")
        # Qt asks all views for what they need, and the highest of them is more than a screen.
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.currentChanged.connect(self._turned)
        controls.register(Key("Ctrl+Tab", "Next view, Ctrl+Shift+Tab the one before", WHERE))
        self._slices = QTimer(self, interval=0)
        self._slices.timeout.connect(self._make_some)

    # Made when wanted

    @property
    def made(self) -> set[str]:
        """Names of the views that are there already."""
        return {name for name, *_ in _TABS if name in self.__dict__}

    @functools.cached_property
    def traces(self) -> TracesView:
        """Everything over time."""
        view = self._begin()
        view.finish()
        view.put_plots_first(self._plots_first)
        self._holders["traces"].addWidget(view, 1)
        return view

    @functools.cached_property
    def shape(self) -> ShapeView:
        """The edges and the spectrum."""
        from dawnbeat.ui.window.bench.compare import ShapeView

        view = ShapeView(self.context)
        self._hold("shape", view)
        self.traces.viewed.connect(view.look_at)
        self.traces.chosen.connect(view.choose)
        view.edge.stepped.connect(self.traces.step)
        if self._run is not None:
            view.look_at(*self.traces.raw.visible_x())
            view.choose(self.traces.beat)
            view.draw(self._run)
        return view

    @functools.cached_property
    def compare(self) -> CompareView:
        """The run beside something else."""
        from dawnbeat.ui.window.bench.compare import CompareView

        view = CompareView(self.context, self._read)
        self._hold("compare", view)
        view.set_recordings(self._paths)
        if self._run is not None:
            view.draw(self._run)
        return view

    @functools.cached_property
    def scoring(self) -> ScoringView:
        """Many recordings with the same settings."""
        from dawnbeat.ui.window.bench.scoring import ScoringView

        view = ScoringView(self.context)
        self._hold("scoring", view)
        view.set_settings(self._settings)
        view.opened.connect(self.opened)
        return view

    def show_view(self, name: str) -> None:
        """Bring "traces", "shape", "compare" or "scoring" to the front."""
        self.setCurrentIndex([each for each, *_ in _TABS].index(name))

    def put_plots_first(self, wanted: bool) -> None:
        """Whether there is so little room that the traces stand above what they are changed with."""
        self._plots_first = wanted
        controls.restyle("" if wanted else "large", self._empty)
        if "traces" in self.made:
            self.traces.put_plots_first(wanted)

    def _hold(self, name: str, view: QWidget) -> None:
        self._holders[name].addWidget(view, 1)
        view.show()  # now, and not when Qt comes to it: views work only while somebody looks

    def prepare(self) -> None:
        """Make the plots of the traces, one whenever the window has nothing else to do."""
        if "traces" not in self.made:
            self._slices.start()

    def _begin(self) -> TracesView:
        if self._begun is None:
            from dawnbeat.ui.window.bench.traces import TracesView

            self._begun = TracesView(self.context)
            self._begun.hide()
            self._begun.setParent(self)
        return self._begun

    def _make_some(self) -> None:
        if "traces" in self.made or not self._begin().make_some():
            self._slices.stop()
            _ = self.traces

    def _turned(self, place: int) -> None:
        """Make the view that is looked at; the traces wait until there is something to draw."""
        if 0 < place < len(_TABS):
            getattr(self, _TABS[place][0])
        self.updateGeometry()

    # Told

    def draw(self, run: BenchRun, before: BenchRun | None) -> None:
        """Draw a run in all views that are there. before: the same recording with other settings."""
        self._run = run
        self._empty.hide()
        self.traces.show()
        self.traces.draw(run, before)
        if "shape" in self.made:
            self.shape.draw(run)
        if "compare" in self.made:
            self.compare.draw(run)

    def empty(self) -> None:
        """Say how to open a recording, in place of the traces."""
        self._empty.show()
        if "traces" in self.made:
            self.traces.hide()

    def set_recordings(self, paths: Sequence[Path]) -> None:
        """The recordings that are open."""
        self._paths = paths
        if "compare" in self.made:
            self.compare.set_recordings(paths)

    def set_settings(self, settings: Settings) -> None:
        """The settings that the next scoring uses."""
        self._settings = settings
        if "scoring" in self.made:
            self.scoring.set_settings(settings)

    def cancel(self) -> None:
        """Let the scoring processes go."""
        self._slices.stop()
        if "scoring" in self.made:
            self.scoring.cancel()

    # As high as the view in front

    def heightForWidth(self, width: int) -> int:  # noqa: N802  Qt's name
        """What the view in front needs, below the tabs."""
        inside = None if self.currentWidget() is None else self.currentWidget().layout()
        if inside is None:
            return self.minimumSizeHint().height()
        bar_px = self.tabBar().sizeHint().height()
        if inside.hasHeightForWidth():
            return bar_px + inside.totalMinimumHeightForWidth(width)
        return bar_px + inside.totalMinimumSize().height()
