"""The plan before the mod: how many mounts, how long a log and a soak, what to hold fixed and record, a checklist."""

from __future__ import annotations

import html
from typing import Any

import ipywidgets as widgets

from ..errors import InputError
from ..planning import Plan, plan
from ..report import Page, page
from ..stack.stack import Stack
from . import told
from .bench import Bench
from .export import Export
from .latest import Latest, Stop
from .parts import Frame, choice, columns, dimmed, figures, foldable, heading

__all__ = ["PlanPanel"]


class PlanPanel(Frame):
    """A variant before and one after a mod, and the test that would tell its drop from scatter.

    Parameters
    ----------
    bench : Bench, or whatever a `Bench` is made of
        Variants to choose from; inputs that were moved on it count.
    title : str
        Of the page, to begin with.
    **choices
        Of `plan`, such as ``loop_volume="1.5 L"`` or ``rank=True``.

    Attributes
    ----------
    plan : Plan or None
        The latest, until it is asked for anew.
    """

    def __init__(self, bench: Any, *, title: str = "Plan of a test", **choices: Any) -> None:
        super().__init__()
        self.bench = bench if isinstance(bench, Bench) else Bench(bench)
        self._choices = choices
        self._work = Latest("asked", pause=0.0)
        self._asked: tuple[Stack, Stack, str, float] | None = None
        self.plan: Plan | None = None
        variants = [(label, i) for i, label in enumerate(self.bench.labels)]
        self.before = choice("variant before the mod", variants, self.bench.against, lambda _: self._changed())
        self.after = choice("variant after the mod", variants, self.bench.shown, lambda _: self._changed())
        self.drop = widgets.Text(
            description="drop to be told", placeholder="such as 3 K", continuous_update=False,
            tooltip="drop to be told; else the predicted one, 1 K and 2 K", layout={"width": "100%"},
        )  # fmt: skip
        self.drop.observe(lambda _: self._changed(), "value")
        self.scatter = widgets.FloatSlider(
            value=0.5, min=0.0, max=3.0, step=0.1, description="scatter of the bench [K]", readout_format=".1f",
            tooltip="scatter of the bench from log to log [K]", layout={"width": "100%"},
        )  # fmt: skip
        self.scatter.observe(lambda _: self._changed(), "value")
        self.button = widgets.Button(description="plan", tooltip="plan the test", button_style="primary")
        self.button.on_click(lambda _: self._plan())
        self.export = Export("plan with its checklist", title, "plan.html", self._page, self.alert)
        self.status, self.figures, self.said, self.picture = (widgets.HTML() for _ in range(4))
        self.checklist, self.tables = widgets.HTML(), widgets.HTML()
        controls = widgets.VBox([
            widgets.VBox([self.before, self.after, self.drop, self.scatter, self.button]),
            widgets.VBox([widgets.HTML("<h4>to print</h4>"), self.export.view]),
        ])  # fmt: skip
        answer = widgets.VBox([self.status, self.figures, self.said, self.picture, self.export.link])
        self.frame(heading("Before the mod: the test"), columns(controls, answer), self.checklist, self.tables)
        self.bench.listen(self._heard, answers=False)
        self._changed()

    # -- what is asked

    def _ask(self) -> tuple[Stack, Stack, str, float]:
        before, after = (self.bench.stack(chosen.value) for chosen in (self.before, self.after))
        return before, after, self.drop.value.strip(), self.scatter.value

    def _heard(self, event: str) -> None:
        if event in ("moved", "variant"):
            self._changed()

    def _changed(self) -> None:
        """Say whether what is shown is of something else."""
        if self._work.busy:
            return
        with self.alert.guard(keep=True):
            stale = self._asked is not None and self._ask() != self._asked
            for shown in (self.figures, self.said, self.picture, self.checklist, self.tables):
                dimmed(shown, stale)
            if stale:
                self.export.offer(False)
                self._say("What is shown is of other stacks: plan again.")
            elif self._asked is None:
                self._say("Takes some five seconds: tests are simulated with the scatter of their mounts.")
            elif self.plan is not None:
                self.export.offer(True)
                self._say(self.plan.notes[1])

    def _say(self, text: str) -> None:
        self.status.value = f'<div class="tst-status" role="status">{html.escape(text)}</div>'

    def _plan(self) -> None:
        with self.alert.guard():
            asked = self._ask()
            before, after, drop, scatter = asked
            # ranking what to record takes longer than all the rest: only where it is asked for
            wanted: dict[str, Any] = {"bench": f"{scatter:.6g} K", "rank": False, **self._choices}
            if drop:
                wanted["drops"] = drop
            self.export.offer(False)
            self._say("simulating tests …")
            self.button.disabled = True

            def work(stop: Stop) -> Plan:
                return plan(before, after, **wanted)

            def arrived(found: Plan) -> None:
                self._asked, self.plan = asked, found
                self.button.disabled = False
                self._show(found)
                self._changed()

            self._work.ask(work, arrived, self._failed)

    def _failed(self, error: Exception) -> None:
        self.button.disabled = False
        self.alert.show(error)
        self._changed()

    def _show(self, found: Plan) -> None:
        entries = [
            ("predicted drop", told.shown(found.predicted), "K", f"at {found.before.power:.0f} W, mean of the die"),
            ("mounts of each state", str(found.mounts), "", "before, and as many after"),
            ("steady part of a log", f"{found.log / 60:.0f}", "min", f"known to {found.reading:.2g} K"),
            ("mount to mount", f"{found.scatter_of_a_mount:.1f}", "K", "standard deviation, good mounts"),
        ]
        self.figures.value = figures(entries)
        self.said.value = "".join(f"<p>{html.escape(text)}</p>" for text in found.sentences)
        self.picture.value = told.chances(found)
        self.checklist.value = foldable(
            "Checklist", f'<div class="tst-list">{found.checklist._repr_html_()}</div>', shown=True
        )
        notes = "".join(f"<li>{html.escape(note)}</li>" for note in found.notes)
        tables = "".join(f'<div class="tst-scroll">{table._repr_html_()}</div>' for table in found.tables)
        self.tables.value = foldable("Tables, and how it was reckoned", f"{tables}<ul>{notes}</ul>")

    # -- the page

    def _page(self, title: str) -> Page:
        if self.plan is None:
            raise InputError("no plan yet", where="page", expected="press plan first")
        return page(self.plan, title=title)
