"""Logs: pick the files, say what each column is, see the steady window and move it, take the readings."""

from __future__ import annotations

import html
import math
import os
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from ..errors import InputError, ThermostackWarning
from ..measured.flags import SteadyError
from ..measured.headers import Header, headers_of, mapping_of
from ..measured.log import Log
from ..measured.read import read_log
from ..measured.reading import Reading
from ..measured.swapped import warn_if_swapped
from .latest import Latest, Stop
from .parts import Alert, Frame, choice, columns, heading
from .series import series

__all__ = ["LogPanel", "LogsPanel"]

KINDS = (
    ("not used", ""), ("time", "time"), ("temperature of the part", "sensor"), ("coolant temperature", "coolant"),
    ("room temperature", "ambient"), ("package power", "power"), ("clock", "clock"), ("throttling flag", "limit"),
    ("fan speed", "fan"), ("pump speed", "pump"), ("something else", "other"),
)  # fmt: skip
GRID = 0.1
"""Of the window's handles. [min]"""
DATES = (("found out", ""), ("day first", "day first"), ("month first", "month first"))


class LogPanel:
    """One log: a file, its columns, its window, its reading.

    Parameters
    ----------
    title : str
        Such as ``"before"``.
    path : str, optional
        A file to begin with.
    changed : callable, optional
        Called when there is another reading, or none any more.
    truncating : bool
        Whether the sensors cut off what is below a step.

    Attributes
    ----------
    reading : Reading or None
    """

    def __init__(self, title: str, path: str | os.PathLike[str] | None = None, changed: Any = None, *,
                 truncating: bool = False) -> None:  # fmt: skip
        self.title = title
        self.alert = Alert()
        self.log: Log | None = None
        self.reading: Reading | None = None
        self._changed = changed or (lambda: None)
        self._own: tempfile.TemporaryDirectory[str] | None = None
        self._file: Path | None = None
        self._headers: tuple[Header, ...] = ()
        self._work = Latest("soon", pause=0.15)
        self._filling = False
        self._shown = (0.0, 1.0)
        self.upload = widgets.FileUpload(
            accept=".csv,.tsv,.txt,.log", multiple=False, description=f"upload the log {title}"
        )
        self.upload.observe(lambda change: self._uploaded(change["new"]), "value")
        self.path = widgets.Text(
            description=f"or the path of the log {title}", continuous_update=False,
            placeholder="such as ../examples/before.csv", layout={"width": "100%"},
        )  # fmt: skip
        self.path.observe(lambda change: self._picked(change["new"]), "value")
        self.columns = widgets.VBox()
        self.kinds: list[Any] = []
        self.units: list[Any] = []
        self.truncating = widgets.Checkbox(
            value=truncating, indent=False, description="sensors cut off below a whole step"
        )
        self.truncating.observe(lambda _: self._steady(), "value")
        self.dates = choice("dates are", DATES, "", lambda _: self._read())
        self.window = widgets.FloatRangeSlider(
            value=(0.0, 1.0), min=0.0, max=1.0, step=GRID, description="window [min]",
            tooltip=f"window of the log {title} in min", readout_format=".1f", disabled=True, layout={"width": "100%"},
        )  # fmt: skip
        self.window.observe(lambda _: self._moved(), "value")
        self.found = widgets.Button(description="find the window", tooltip=f"find the steady window of the log {title}")
        self.found.on_click(lambda _: self._steady())
        self.picture, self.status, self.table = widgets.HTML(), widgets.HTML(), widgets.HTML()
        pick = widgets.VBox(
            [self.upload, self.path, self.columns, self.dates, self.truncating, self.window, self.found]
        )
        answer = widgets.VBox([self.picture, self.status])
        self.view = widgets.VBox(
            [widgets.HTML(f"<h4>{html.escape(title)}</h4>"), self.alert.view, columns(pick, answer), self.table]
        )
        if path is not None:
            self.path.value = os.fspath(path)

    # -- a file

    def _uploaded(self, files: Any) -> None:
        if not files:
            return
        with self.alert.guard():
            self._own = tempfile.TemporaryDirectory()
            name = Path(files[0]["name"].replace("\\", "/")).name or "log.csv"
            target = Path(self._own.name) / name
            target.write_bytes(bytes(files[0]["content"]))
            self._open(target)

    def _picked(self, text: str) -> None:
        if text.strip():
            with self.alert.guard():
                self._open(Path(text.strip()).expanduser())

    def _open(self, path: Path) -> None:
        """Look at the columns of a file, guess what they are, and read it."""
        self._forget()
        headers = headers_of(path)
        self._file, self._headers = path, headers
        self._filling = True
        try:
            self.kinds = [
                choice(header.text[:34], KINDS, header.kind or "", lambda _: self._read()) for header in headers
            ]
            self.units = [
                widgets.Text(description=f"unit of {header.name}", continuous_update=False, value="",
                             placeholder="s, degC, W …", layout={"width": "100%"})
                if not header.unit and header.kind in (None, "sensor", "coolant", "ambient", "power", "clock") else None
                for header in headers
            ]  # fmt: skip
            rows: list[Any] = []
            for header, kind, unit in zip(headers, self.kinds, self.units, strict=True):
                kind.tooltip = f"what {header.text} is"
                rows.append(kind)
                if unit is not None:
                    unit.observe(lambda _: self._read(), "value")
                    rows.append(unit)
            fold = widgets.Accordion([widgets.VBox(rows)], titles=(f"columns of {path.name}",), selected_index=None)
            self.columns.children = [fold]
        finally:
            self._filling = False
        self._read()

    def _forget(self) -> None:
        self.log = self.reading = None
        self.window.disabled = True
        self.picture.value = self.status.value = self.table.value = ""
        self._changed()

    def _read(self) -> None:
        if self._filling or self._file is None:
            return
        with self.alert.guard():
            units = ["" if unit is None else unit.value.strip() for unit in self.units]
            mapping = mapping_of(self._headers, [kind.value for kind in self.kinds], units)
            self.log = read_log(self._file, mapping, dates=self.dates.value or None)
            self._steady()

    # -- a window

    def _steady(self) -> None:
        """Find the window."""
        self._reading(None)

    def _moved(self) -> None:
        """Take another window; a browser that only puts the handles on their grid has not moved it."""
        if self._filling or self.log is None:
            return
        if max(abs(a - b) for a, b in zip(self.window.value, self._shown, strict=True)) < 0.6 * GRID:
            return
        start, end = (60 * each for each in self.window.value)
        self._reading((round(start, 1), min(round(end, 1), float(self.log.time[-1]))))

    def _reading(self, window: tuple[float, float] | None) -> None:
        log = self.log
        if log is None:
            return
        cut = log.of_role("sensor") if self.truncating.value else ()
        if window is not None:  # the picture follows at once, the figures when they are worked out
            self.picture.value = series(log, self.reading, window)

        def work(stop: Stop) -> Reading:
            if window is None:
                return log.steady(truncating=cut)
            return log.steady(truncating=cut, window=(f"{window[0]} s", f"{window[1]} s"))

        def arrived(reading: Reading) -> None:
            self.alert.clear()
            self.reading = reading
            self._show(log, reading, reading.window)

        def failed(error: Exception) -> None:
            self.reading = None
            self._show(log, None, window)
            self.alert.show(error)
            if isinstance(error, SteadyError) and error.flags:
                flags = "".join(f"<li>{html.escape(str(flag))}</li>" for flag in error.flags)
                self.status.value = f'<div class="tst-status">What was noticed:<ul>{flags}</ul></div>'

        self._work.ask(work, arrived, failed)

    def _show(self, log: Log, reading: Reading | None, window: tuple[float, float] | None) -> None:
        minutes = float(log.time[-1]) / 60
        self._filling = True
        try:
            self.window.disabled = False
            self.window.max = GRID * math.ceil(minutes / GRID)
            start, end = window or (0.0, float(log.time[-1]))
            self._shown = (GRID * round(start / 60 / GRID), GRID * round(end / 60 / GRID))
            self.window.value = self._shown
        finally:
            self._filling = False
        self.picture.value = series(log, reading, window)
        self.status.value = "".join(f'<div class="tst-status">{html.escape(note)}</div>' for note in log.notes)
        self.table.value = "" if reading is None else f'<div class="tst-scroll">{reading._repr_html_()}</div>'
        self._changed()


class LogsPanel(Frame):
    """Two logs, before and after a mod, and what the readings say side by side.

    Parameters
    ----------
    before, after : path, optional
        Files to begin with.
    truncating : bool
        Whether the sensors cut off what is below a step.

    Attributes
    ----------
    before, after : LogPanel
        With ``.reading``.
    """

    def __init__(
        self, before: str | os.PathLike[str] | None = None, after: str | os.PathLike[str] | None = None, *,
        truncating: bool = False,
    ) -> None:  # fmt: skip
        super().__init__()
        self._listeners: list[Callable[[], None]] = []
        self.summary = widgets.HTML()
        self.before = LogPanel("before", before, self._both, truncating=truncating)
        self.after = LogPanel("after", after, self._both, truncating=truncating)
        self.frame(heading("From two logs to readings"), self.before.view, self.after.view, self.summary)
        self._both()

    @property
    def readings(self) -> tuple[Reading, Reading]:
        """Both readings, before and after.

        Raises
        ------
        InputError
            One of them is not there yet.
        """
        for panel in (self.before, self.after):
            if panel.reading is None:
                raise InputError(
                    f"the log {panel.title} has no reading", where="LogsPanel", expected="a file with a steady part"
                )
        assert self.before.reading is not None
        assert self.after.reading is not None
        return self.before.reading, self.after.reading

    def listen(self, listener: Callable[[], None]) -> None:
        """Call `listener` whenever a reading has come, or gone."""
        self._listeners.append(listener)

    def _both(self) -> None:
        self._side_by_side()
        for listener in self._listeners:
            listener()

    def _side_by_side(self) -> None:
        if not hasattr(self, "after") or self.before.reading is None or self.after.reading is None:
            self.summary.value = ""
            return
        with self.alert.guard():
            before, after = self.readings
            with warnings.catch_warnings():  # it is shown in the panel
                warnings.simplefilter("ignore", ThermostackWarning)
                note = warn_if_swapped([before], [after])
            rows = "".join(
                f'<tr><th scope="row" style="text-align:left">{html.escape(r.source)}</th><td>{r.power:.1f}</td>'
                f"<td>{1e3 * float(r.resistance.mean()):.1f}</td></tr>" for r in (before, after)
            )  # fmt: skip
            table = (
                '<table><caption>Side by side</caption><thead><tr><th scope="col">log</th>'
                '<th scope="col">power [W]</th>'
                '<th scope="col">all sensors together over the coolant [mK/W]</th></tr></thead>'
                f"<tbody>{rows}</tbody></table>"
            )
            self.summary.value = table + (f"<p>{html.escape(str(note))}</p>" if note else "")
