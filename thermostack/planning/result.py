"""A plan: how the test of a mod has to be made so that it tells something."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ..cautions import Caution, as_html, as_text
from ..tables import Cell, Column, Table
from .checklist import Checklist
from .lengths import Noise
from .mounts import Mounts
from .power import TOLD, Trial
from .recording import BEFORE, NOTHING
from .soaking import Soak, duration

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Plan"]


@dataclass(frozen=True, eq=False)
class Plan:
    """How to test a mod. Made by `plan`.

    Attributes
    ----------
    before, after : Mounts
        What a mount of each state may come out as.
    drops : tuple of float
        Drops that are to be told from scatter; the first is the predicted one unless others were given. [K]
    trials : tuple of Trial
        What each number of mounts tells.
    bench : float
        Scatter from log to log that no joint makes. [K]
    noise : Noise
        Of a log.
    log : float
        How long a log's steady window must be. [s]
    soak : Soak
    fixed : Table
        What to hold fixed.
    record : Table
        What to record, ranked.
    cautions : tuple of Caution
        Of the mod.
    tests, seed : int
        Tests simulated for each number of mounts.
    told : dict of str to str
        Of the bench's figures, where each comes from.
    """

    before: Mounts
    after: Mounts
    drops: tuple[float, ...]
    trials: tuple[Trial, ...]
    bench: float
    noise: Noise
    log: float
    soak: Soak
    fixed: Table
    record: Table
    cautions: tuple[Caution, ...]
    tests: int
    seed: int
    told: dict[str, str]

    @property
    def predicted(self) -> float:
        """Drop of the die's mean over the coolant, every joint as usual. [K]"""
        return self.before.rise - self.after.rise

    @property
    def reading(self) -> float:
        """Standard uncertainty of the mean of a log so long. [K]"""
        return self.noise.uncertainty(self.log)

    def mounts_for(self, drop: float) -> int | None:
        """Return the fewest mounts of each state that tell a drop [K] in four of five tests; None beyond the trials."""
        return next((trial.mounts for trial in self.trials if trial.smallest <= drop), None)

    def mounts_by_theory(self, drop: float) -> int | None:
        """Return the same by normal theory: scatter known, no mount bad."""
        return next((trial.mounts for trial in self.trials if trial.normal <= drop), None)

    @property
    def mounts(self) -> int:
        """How many mounts of each state to make: for the first drop, at least 3, at most the most that was tried.

        With fewer than 3 a bad one cannot be told from the good.
        """
        return max(3, self.mounts_for(self.drops[0]) or self.trials[-1].mounts)

    # -- tables

    @cached_property
    def table(self) -> Table:
        """A row a number of mounts: the smallest drop told, and the chance to tell each drop."""
        columns = [
            Column("mounts", "mounts before and after"),
            Column("smallest_K", "smallest drop told [K]", ".2f"),
            Column("normal_K", "by normal theory, scatter known [K]", ".2f"),
            Column("student_K", "scatter from the mounts [K]", ".2f"),
        ]
        columns += [Column(f"told_{d:.3g}_K", f"{d:.3g} K told [%]", ".0f") for d in self.drops]
        columns += [Column(f"normal_{d:.3g}_K", f"{d:.3g} K by theory [%]", ".0f") for d in self.drops]
        columns.append(Column("false_percent", "drop seen where none is [%]", ".1f"))
        rows: list[tuple[Cell, ...]] = []
        for one in self.trials:
            student = None if math.isinf(one.student) else one.student
            shares = (*one.chances, *one.normal_chances, one.false_alarm)
            rows.append((one.mounts, one.smallest, one.normal, student, *(100 * share for share in shares)))
        return Table(tuple(columns), tuple(rows), "How many mounts tell a drop from scatter", self.notes)

    @cached_property
    def scatter(self) -> Table:
        """A row a state: what a remount makes anew, and how it scatters."""
        columns = (
            Column("state", "state"), Column("joints", "made anew with each mount"),
            Column("scatter_K", "scatter of good mounts [K]", ".2f"), Column("bad", "bad mounts [%]", ".0f"),
            Column("hotter_K", "a bad one is hotter by [K]", ".1f"),
        )  # fmt: skip
        rows = tuple(
            (
                state.stack.label,
                ", ".join(entry.path.rpartition(".")[0] for entry in state.joints) or None,
                state.scatter,
                100 * state.bad_share,
                state.bad_rise,
            )
            for state in (self.before, self.after)
        )
        notes = [f"on top: {self.bench:g} K from log to log ({self.told['bench']})"]
        for state in (self.before, self.after):
            notes += [f"{entry.path}: {entry.source}" for entry in state.joints]
            if state.assumed:
                notes.append(
                    f"{', '.join(state.assumed)}: one mount in eight bad (assumed; common practice, no source)"
                )
        return Table(columns, rows, "Scatter from mount to mount", tuple(dict.fromkeys(notes)))

    @cached_property
    def logs(self) -> Table:
        """A row a length of log: how well its mean is known, and a mount with it."""
        times = [self.noise.correlation_time * n for n in (50, 100, 200, 400)]
        lengths = sorted({*times, self.log})
        scatter = math.hypot(max(self.before.scatter, self.after.scatter), self.bench)
        rows = tuple(
            (duration(length), length / self.noise.correlation_time, u, math.hypot(u, scatter))
            for length, u in ((length, self.noise.uncertainty(length)) for length in lengths)
        )
        columns = (
            Column("length", "steady window", align="right"), Column("times", "correlation times", ".0f"),
            Column("u_K", "u of its mean [K]", ".3f"), Column("mount_K", "with the scatter of a mount [K]", ".2f"),
        )  # fmt: skip
        row, time = f"{self.noise.sd:.2g} K", duration(self.noise.correlation_time)
        note = f"one row of die minus coolant: sd {row}, correlation time {time} ({self.noise.source})"
        return Table(columns, rows, "How long a log", (note,))

    @property
    def tables(self) -> tuple[Table, ...]:
        """All tables, in the order of a page."""
        return (self.table, self.scatter, self.logs, self.soak.table, self.fixed, self.record)

    @property
    def notes(self) -> tuple[str, ...]:
        """How it was reckoned."""
        worst = 100 * math.sqrt(TOLD * (1 - TOLD) / self.tests)
        return (
            f"told: the difference of the pooled means is more than 1.96 of its standard uncertainties above zero; "
            f"smallest drop: told in {100 * TOLD:.0f} % of the tests",
            f"{self.tests} simulated tests for each number of mounts, seed {self.seed}; Monte Carlo error of a chance "
            f"up to {worst:.1f} %",
            "theory: two-sided test of normal means at 5 %, no mount bad",
            "a joint under the lid is made once: its own scatter is part of what the mod brings, and no remount of the "
            "cold plate shows it",
        )

    # -- words

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """What to do, with the figures behind it."""
        d = self.predicted
        way = "drops" if d >= 0 else "rises"
        said = [
            f"Predicted for {self.after.stack.label}: the mean of the die {way} by {abs(d):.1f} K at "
            f"{self.before.power:.0f} W."
        ]
        said += [self._told_by(drop) for drop in self.drops]
        said.append(
            f"Log at 1 s with a steady window of at least {duration(self.log)}: its mean is then known to "
            f"{self.reading:.2g} K, against {self.scatter_of_a_mount:.2g} K from mount to mount; beyond that, further "
            "mounts tell more than longer logs."
        )
        said.append(self._soaking)
        hours = 2 * self.mounts * (self.log + self.soak.advice) / 3600
        said.append(
            f"{self.mounts} mounts before and {self.mounts} after, each soaked and logged once, are up to {hours:.0f} "
            "h at the bench, besides the work of remounting."
        )
        return tuple(said)

    @property
    def scatter_of_a_mount(self) -> float:
        """Of good mounts with the bench's own, the larger of the two states. [K]"""
        return math.hypot(max(self.before.scatter, self.after.scatter), self.bench)

    def _told_by(self, drop: float) -> str:
        found, theory = self.mounts_for(drop), self.mounts_by_theory(drop)
        most = self.trials[-1].mounts
        if found is None:
            said = f"A drop of {drop:.3g} K is not told from scatter by {most} mounts before and {most} after"
        else:
            said = (
                f"A drop of {drop:.3g} K is told from scatter, in four tests of five, by {found} "
                f"mount{'s' * (found > 1)} before and {found} after"
            )
        by = f"normal theory without bad mounts asks for {theory or f'more than {most}'}"
        return f"{said} ({by})."

    @property
    def _soaking(self) -> str:
        soak = self.soak
        if soak.tower:
            return f"Soak for {duration(soak.advice)} after each change of the load: die minus air takes so long."
        middle = Soak(soak.loop, soak.loop, soak.stack, soak.rise, soak.step, soak.within, soak.source).advice
        span = f"{duration(middle)} to {duration(soak.advice)}" if soak.loop_upper > soak.loop else duration(middle)
        return (
            f"Soak for {span} after each change of the load, until the coolant drifts below 0.1 K/min; as described, "
            f"die minus coolant follows the load within {duration(soak.difference)}."
        )

    @cached_property
    def checklist(self) -> Checklist:
        """What to do at the bench, to print."""
        n, window, soak = self.mounts, duration(self.log), duration(self.soak.advice)
        one = f"soak {soak}, then log at 1 s until {window} are steady"
        top = ", ".join(entry.path.rpartition(".")[0] for entry in self.before.joints) or "the cold plate's joint"
        rows = [row for row in _rows(self.record) if row["when"] in BEFORE]
        record = [str(row["what"]) for row in rows if row.get("nats") is not None and row["apart"] != NOTHING]
        besides = [str(row["what"]) for row in rows if row.get("nats") is None]
        before: tuple[str, ...] = (
            "Note part, board, firmware, cooler, paste, room, tools and their versions; set the clock of every log.",
            "Fix clocks, voltage, workload, fan and pump speeds; write them down.",
            "Put probes for coolant in and out close to the block, compared in stirred water; log package power, with "
            "a second meter if there is one.",
            f"First mount: {one}, every core, at full load; then at about half the power; then idle.",
            f"Remake {top} and log again, until there are {n} mounts of the state before; look at each contact print "
            "and photograph it.",
            "Look at the readings before going on: what is missing now can never be measured.",
        )
        first = (f"Record, most telling first: {'; '.join(record)}.",) if record else ()
        if besides:
            first = (*first, f"Record as well: {'; '.join(besides)}.")
        before = (*before[:-1], *first, before[-1])
        mod = (
            "Read the cautions below, and the makers' documents.",
            "Measure what the opening shows: thickness of die and lid by micrometer, height of the die over its "
            "surroundings, state of the old joint (voids, cracks, print).",
            "Make the new joint; note what was used, and how much.",
        )
        after = (
            "Same settings, probes at the same places, same tool and sensors, same paste and mount force.",
            f"First mount: {one}, at the same full load, half power and idle.",
            f"Remount until there are {n} mounts of the state after; photograph each contact print.",
            "Log once more after a day of use: fresh joints change.",
        )
        steps = (("Before the mod", before), ("The mod", mod), ("After the mod", after))
        return Checklist(f"Checklist: {self.after.stack.label}", steps, self.cautions)

    # -- showing

    def to_dict(self) -> dict[str, Any]:
        """Return everything as plain data, SI with units in the names."""
        return {
            "before": self.before.stack.label,
            "after": self.after.stack.label,
            "predicted_drop_K": self.predicted,
            "drops_K": list(self.drops),
            "trials": [asdict(trial) for trial in self.trials],
            "mounts_needed": {f"{drop:.6g} K": self.mounts_for(drop) for drop in self.drops},
            "scatter": self.scatter.to_dict(),
            "bench_K": self.bench,
            "noise": asdict(self.noise),
            "log_s": self.log,
            "reading_K": self.reading,
            "soak": {**asdict(self.soak), "advice_s": self.soak.advice},
            "hold_fixed": self.fixed.to_dict(),
            "record": self.record.to_dict(),
            "checklist": self.checklist.to_dict(),
            "sentences": list(self.sentences),
            "notes": list(self.notes),
            "tests": self.tests,
            "seed": self.seed,
        }

    @property
    def title(self) -> str:
        """What it is a plan of."""
        return f"Plan: {self.after.stack.label}"

    def __str__(self) -> str:
        blocks = [self.title, "\n".join(self.sentences), *map(str, self.tables), as_text(self.cautions)]
        return "\n\n".join(blocks)

    def __repr__(self) -> str:
        return f"<Plan of {self.after.stack.label!r}: {self.mounts} mounts of each state>"

    def _repr_html_(self) -> str:
        import html

        said = "".join(f"<p>{html.escape(sentence)}</p>" for sentence in self.sentences)
        return said + "".join(table._repr_html_() for table in self.tables) + as_html(self.cautions)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance to tell each drop over the number of mounts."""
        from ..plots import told

        return told(self, ax=ax)


def _rows(table: Table) -> list[dict[str, Cell]]:
    """Return the rows of a table by column key."""
    keys = [column.key for column in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in table.rows]
