"""Predict the temperatures of a stack, and show which layer limits."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from .cautions import Caution, cautions
from .ensemble import Ensemble, ensemble_of
from .ensemble.tables import budget_rows, figures_table
from .errors import InputError
from .field import HotPoint, StackField, model_with_hot_points
from .local import answer
from .operating import OperatingPoint, to_limit
from .perfect import junction_without
from .propagate import Budget, Summary
from .solvers import solver_named
from .stack.stack import Stack
from .tables import Column, Table
from .units import ValueLike, convert, parse, quantity

if TYPE_CHECKING:
    import pint
    from matplotlib.axes import Axes

__all__ = ["DEFAULT_SOLVER", "Prediction", "predict"]

DEFAULT_SOLVER = "layered"


@dataclass(frozen=True, eq=False)
class Prediction:
    """Temperatures of a stack at its operating point.

    Made by `predict`. Temperatures are steady, at the described power and coolant temperature.

    Attributes
    ----------
    stack : Stack
    solver : str
        Name of the method.
    point : OperatingPoint
        All the numbers at the centres of all inputs, in SI.
    ensemble : Ensemble or None
        The same over their spreads, where samples were asked for.
    limit : value or None
        Junction temperature to which cautions and headroom look.
    """

    stack: Stack
    solver: str
    point: OperatingPoint
    ensemble: Ensemble | None = None
    limit: ValueLike | None = None

    # -- single figures

    @property
    def junction(self) -> pint.Quantity:
        """Hottest temperature of an active face; of an even map, the centre of the die. [°C]"""
        return quantity(self._absolute(self.point.junction_rise[0]), "temperature")

    @property
    def mean(self) -> pint.Quantity:
        """Mean temperature of the active face of the die (of the hottest, where there are several). [°C]"""
        return quantity(self._absolute(self.point.probe("mean", self.hottest_die)[0]), "temperature")

    @property
    def resistance(self) -> pint.Quantity:
        """Junction to coolant, per watt of all dies. [K/W]"""
        return quantity(self.point.junction_rise[0] / self.point.total[0], "resistance")

    @property
    def specific_resistance(self) -> pint.Quantity:
        """Rise of the die's mean over the coolant per heat flux of the die: mm²·K/W on the die."""
        area = self.point.model.die_area(self.hottest_die, self.point.values)
        power = self.point.die_power(self.hottest_die)[0]
        return quantity(self.point.probe("mean", self.hottest_die)[0] * float(area) / power, "specific resistance")

    @property
    def hottest_die(self) -> str:
        """Name of the die with the hottest active face."""
        return self.point.hottest_die

    def headroom(self, limit: ValueLike) -> pint.Quantity:
        """Power that may be added, in the same map, until the part is at `limit`; negative above it. [W]

        It is there when the hottest of the stack's sensors on dies and regions reads so much, or, where it has none,
        when the junction is so hot.

        Parameters
        ----------
        limit : temperature
            Such as ``"95 degC"``.
        """
        at = _limit(limit, self.point)
        return quantity(to_limit(self.point, solver_named(self.solver), at)[0] - self.point.total[0], "power")

    @property
    def heat_imbalance(self) -> float:
        """Heat made minus heat that leaves, relative to the heat made."""
        return float(self.point.imbalance[0])

    def _absolute(self, rise: float) -> float:
        return float(self.point.coolant[0] + rise)

    # -- how sure

    @property
    def sampled(self) -> Ensemble:
        """The samples.

        Raises
        ------
        InputError
            None were asked for.
        """
        if self.ensemble is None:
            raise InputError(
                "no samples were asked for", where=self.stack.label, expected="predict(stack, samples=10_000)"
            )
        return self.ensemble

    @cached_property
    def uncertainty(self) -> Table:
        """Median, standard uncertainty and interval of each figure; needs samples."""
        return figures_table(self.sampled)

    def summary_of(self, quantity: str = "junction", *, below: ValueLike | None = None) -> Summary:
        """Return what the samples say of a temperature ("junction", "die mean", "sensor <name>"), SI; needs samples.

        Parameters
        ----------
        quantity : str
        below : temperature, optional
            For the chance of less than it.
        """
        limits = () if below is None else (parse(below, "temperature", "below").si,)
        return self.sampled.summary(quantity, below=limits)

    @cached_property
    def budget(self) -> Budget:
        """Linear uncertainty budget of the junction temperature: which input matters; needs samples."""
        return budget_rows(self.sampled.budget())

    # -- anywhere

    @cached_property
    def field(self) -> StackField:
        """Temperature and heat flux anywhere: maps of faces, sections; by the layered solver only."""
        return StackField(self.point)

    @cached_property
    def hottest(self) -> HotPoint:
        """Hottest point of the active faces, and where it lies; by the layered solver only."""
        return self.field.hottest(self.hottest_die)

    # -- tables

    @cached_property
    def sensors(self) -> Table:
        """What each sensor reads: those of the stack, or a mean for each region or die where it has none."""
        return Table(
            (
                Column("sensor", "sensor"),
                Column("at", "at"),
                Column("reading_degC", "reads [°C]", ".1f"),
                Column("rise_K", "over coolant [K]", ".1f"),
            ),
            tuple(
                (name, at, convert(float(t[0]), "temperature"), float(t[0] - self.point.coolant[0]))
                for name, at, t in self.point.readings()
            ),
            title="Sensors",
        )

    @cached_property
    def breakdown(self) -> Table:
        """Where the temperature drops, a row a layer, from the hottest die up to the coolant; the rows add up."""
        return self.breakdown_of(self.hottest_die)

    def breakdown_of(self, die: str) -> Table:
        """Return the breakdown for one die of several."""
        point, rows = self.point, []
        total = float(point.probe("mean", die)[0])
        watts = float(point.total[0])
        for row in point.model.rows[die]:
            drop, below = float(point.difference(row)[0]), float(point.below(row)[0])
            straight = float(point.one_dimensional(row)[0] * point.crossing(row)[0])
            rows.append(
                (
                    row.part,
                    straight / watts,
                    (drop - straight) / watts,
                    drop / watts,
                    100 * drop / total,
                    drop,
                    convert(self._absolute(below), "temperature"),
                    convert(self._absolute(below - drop), "temperature"),
                )
            )
        rows.append(
            (
                f"{die}, mean to coolant",
                *(sum(r[i] for r in rows) for i in range(1, 6)),  # type: ignore[misc]
                rows[0][6],
                convert(self._absolute(0.0), "temperature"),
            )
        )
        columns = (
            Column("part", "part"),
            Column("one_dimensional_K_per_W", "one-dimensional [K/W]", ".4f"),
            Column("spreading_K_per_W", "spreading [K/W]", ".4f"),
            Column("resistance_K_per_W", "together [K/W]", ".4f"),
            Column("share_percent", "share [%]", ".1f"),
            Column("drop_K", "drop [K]", ".2f"),
            Column("below_degC", "below [°C]", ".1f"),
            Column("above_degC", "above [°C]", ".1f"),
        )
        return Table(columns, tuple(rows), title=f"Breakdown, {self.stack.label}", notes=self.notes)

    @cached_property
    def remainders(self) -> Table:
        """What would be left of the junction's rise if each part were perfect, a row a part; solved anew for each."""
        rise = float(self.point.junction_rise[0])
        rows = []
        for row in self.point.model.rows[self.hottest_die]:
            left = float(junction_without(self.point, solver_named(self.solver), row)[0])
            rows.append((row.part, float(self.point.difference(row)[0]), left, rise - left))
        columns = (
            Column("part", "perfect"),
            Column("drop_K", "its drop as described [K]", ".2f"),
            Column("left_K", "left of the junction's rise [K]", ".2f"),
            Column("gain_K", "gained [K]", ".2f"),
        )
        note = f"of {rise:.2f} K; more or less than the part's own drop, since heat then spreads otherwise"
        return Table(columns, tuple(rows), title=f"If a part were perfect, {self.stack.label}", notes=(note,))

    @property
    def limiting(self) -> str:
        """Name of the part with the largest temperature drop."""
        rows = self.point.model.rows[self.hottest_die]
        return max(rows, key=lambda row: float(self.point.difference(row)[0])).part

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, and how far the method may be off."""
        error = float(self.point.error[0].max())
        assumed = [entry for entry in self.point.model.inputs.values() if entry.assumed]
        notes = list(self.point.model.notes)
        if assumed:
            notes.append("assumed: " + ", ".join(f"{entry.path} {entry.value}" for entry in assumed))
        notes.append(f"solver {self.point.response.solver}, own error estimate {error:.2g} K")
        return tuple(notes)

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What to be careful about."""
        limit = None if self.limit is None else parse(self.limit, "temperature", "limit").si
        return cautions(self.stack, self.temperatures, limit=limit)

    @property
    def temperatures(self) -> Mapping[str, tuple[float, float]]:
        """Temperature below and above each part, and of the junction. [K]"""
        found: dict[str, tuple[float, float]] = {}
        for rows in self.point.model.rows.values():
            for row in rows:
                below = self._absolute(float(self.point.below(row)[0]))
                above = below - float(self.point.difference(row)[0])
                # dies that share a layer each have a mean of their own on its lower face: the hottest counts
                known = found.get(row.part, (below, above))
                found[row.part] = (max(below, known[0]), max(above, known[1]))
        junction = self._absolute(self.point.junction_rise[0])
        return {**found, "junction": (junction, junction)}

    # -- showing

    @cached_property
    def summary(self) -> Table:
        """Return the answer in a few figures."""
        point = self.point
        rows: list[tuple[str, float, str]] = [
            ("junction (hottest point)", convert(self._absolute(point.junction_rise[0]), "temperature"), "°C"),
            (f"{self.hottest_die}, mean", float(self.mean.magnitude), "°C"),
            ("coolant", convert(float(point.coolant[0]), "temperature"), "°C"),
            ("power", float(point.total[0]), "W"),
            ("junction to coolant", float(self.resistance.magnitude), "K/W"),
            ("die mean to coolant, on the die", float(self.specific_resistance.magnitude), "mm²·K/W"),
        ]
        board = float(point.board_share[0])
        if point.model.board_contacts:
            rows.append(("share that leaves by the board", 100 * board, "%"))
        return Table(
            (Column("what", "what"), Column("value", "value"), Column("unit", "unit")),
            tuple(rows),
            title=self.stack.label,
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain numbers, with units in the names."""
        return {
            "stack": self.stack.name,
            "variant": self.stack.label,
            "solver": self.point.response.solver,
            "junction_degC": float(self.junction.magnitude),
            "mean_degC": float(self.mean.magnitude),
            "coolant_degC": float(convert(float(self.point.coolant[0]), "temperature")),
            "power_W": float(self.point.total[0]),
            "resistance_K_per_W": float(self.resistance.magnitude),
            "specific_resistance_mm2_K_per_W": float(self.specific_resistance.magnitude),
            "error_K": float(self.point.error[0].max()),
            "limiting": self.limiting,
            "breakdown": self.breakdown.to_dict(),
            "sensors": self.sensors.to_dict(),
            "uncertainty": None if self.ensemble is None else self.uncertainty.to_dict(),
            "cautions": [caution.text for caution in self.cautions],
            "notes": list(self.notes),
        }

    def __str__(self) -> str:
        from .cautions import as_text

        tables = [self.summary, self.breakdown, *self._of_samples]
        return "\n\n".join([*map(str, tables), as_text(self.cautions)])

    def __repr__(self) -> str:
        return f"<Prediction of {self.stack.label!r}: junction {self.junction.magnitude:.1f} °C, {self.solver}>"

    def _repr_html_(self) -> str:
        from .cautions import as_html

        tables = [self.summary, self.breakdown, *self._of_samples]
        return "".join(table._repr_html_() for table in tables) + as_html(self.cautions)

    @property
    def _of_samples(self) -> tuple[Table, ...]:
        if self.ensemble is None:
            return ()
        return self.uncertainty, self.budget.table(f"What the junction's uncertainty comes from, {self.stack.label}")

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the breakdown as bars."""
        from .plots import breakdown

        return breakdown(self, ax=ax)


def _limit(limit: ValueLike, point: OperatingPoint) -> float:
    value = parse(limit, "temperature", "limit").si
    if value <= float(point.coolant_at_rest.min()):
        cold = convert(float(point.coolant_at_rest.min()), "temperature")
        raise InputError(
            f"{limit!r} is not above the coolant at {cold:.4g} °C",
            where="limit",
            expected="a junction temperature, such as '95 degC'",
        )
    return value


def predict(
    stack: Stack,
    solver: str = DEFAULT_SOLVER,
    *,
    samples: int | None = None,
    seed: int = 0,
    limit: ValueLike | None = None,
    coverage: float = 0.95,
    emulate: bool = True,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> Prediction:
    """Predict the temperatures of a stack.

    Parameters
    ----------
    stack : Stack
    solver : {"one-dimensional", "axisymmetric", "layered"}
    samples : int, optional
        How many samples of the uncertain inputs to carry through, such as 10_000; without it the answer is that at
        the centres of all inputs. Rounded up to a multiple of 50.
    seed : int
        The same seed gives the same figures.
    limit : temperature, optional
        Junction temperature, for the headroom's samples and the cautions.
    coverage : float
        Of the intervals.
    emulate : bool
        Sample on an emulator of the solver (error stated); False solves each sample.
    executor : concurrent.futures.Executor, optional
        Computes the samples, in processes or on a cluster; the figures are the same.
    progress : bool, optional
        Whether to show a progress bar; by default in a terminal or notebook.

    Returns
    -------
    Prediction
        With ``.junction``, ``.mean``, ``.resistance``, ``.breakdown``, ``.sensors``, ``.headroom(limit)``,
        ``.cautions``, and of samples ``.uncertainty``, ``.budget``; shows itself as tables.

    Raises
    ------
    InputError
        The stack makes no sense as a whole, the solver cannot answer for it, or a spread is larger than its bound
        allows; the message names the parts.
    SolveError
        No operating point was found, or an emulator was refused.
    """
    point = answer(model_with_hot_points(stack, solver), solver)
    ensemble = None
    if samples is not None:
        at = None if limit is None else _limit(limit, point)
        ensemble = ensemble_of(
            [stack], solver, samples, seed=seed, limit=at, coverage=coverage, emulate=emulate, executor=executor,
            progress=progress,
        )  # fmt: skip
    return Prediction(stack, solver, point, ensemble, limit)
