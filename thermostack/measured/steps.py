"""Conductivity and contact resistance of a filling from joints of several thicknesses (ASTM D5470)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..tables import Column, Table
from ..units import DIMENSIONS, Value, ValueLike, convert, parse

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["ThicknessSteps", "reduce_thickness_steps"]

Float = NDArray[np.float64]

_RIGHT = 'thickness=["0.25 mm", "0.5 mm", "0.75 mm"], resistance=["94 mm^2*K/W", "169 mm^2*K/W", "251 mm^2*K/W"]'
_DOUBT = 0.05
"""Probability of the scatter below which the stated uncertainties are called too small."""


@dataclass(frozen=True, eq=False)
class ThicknessSteps:
    """The line r = R_c + t/k through joints of several thicknesses. Made by `reduce_thickness_steps`.

    Attributes
    ----------
    thickness, resistance : ndarray, shape (n,)
        As given. [m, m² K/W]
    intercept : float
        Contact resistance of both faces together R_c. [m² K/W]
    slope : float
        1/k. [m K/W]
    covariance : ndarray, shape (2, 2)
        Of intercept and slope, in SI.
    weighted : bool
        Whether the stated uncertainties of the points were used; else those of the line come from their scatter.
    chi_squared : float or None
        Sum of squares of the weighted residuals; of a weighted line.
    """

    thickness: Float
    resistance: Float
    intercept: float
    slope: float
    covariance: Float
    weighted: bool
    chi_squared: float | None

    @property
    def degrees_of_freedom(self) -> int:
        """Points less the two that a line takes."""
        return self.thickness.size - 2

    @property
    def correlation(self) -> float:
        """Correlation of contact resistance and slope; close to −1 where the thinnest joint is not thin."""
        spread = math.sqrt(self.covariance[0, 0] * self.covariance[1, 1])
        return float(self.covariance[0, 1] / spread) if spread > 0 else 0.0

    @property
    def residuals(self) -> Float:
        """Resistance of each joint minus the line. [m² K/W]"""
        return self.resistance - self.intercept - self.slope * self.thickness

    @property
    def residual_sd(self) -> float:
        """Standard deviation of the points about the line. [m² K/W]"""
        return math.sqrt(float(np.sum(self.residuals**2)) / self.degrees_of_freedom)

    @property
    def scatter_probability(self) -> float | None:
        """Probability of a scatter as large as found, were the stated uncertainties right; of a weighted line."""
        if self.chi_squared is None:
            return None
        from scipy.stats import chi2

        return float(chi2.sf(self.chi_squared, self.degrees_of_freedom))

    @cached_property
    def conductivity(self) -> Value:
        """Apparent conductivity of the filling, for ``Interface(..., conductivity=...)``."""
        k = 1 / self.slope
        return _value(k, k**2 * math.sqrt(self.covariance[1, 1]), "conductivity")

    @cached_property
    def contact(self) -> Value:
        """Contact resistance of both faces together, for ``Interface(..., contact=...)``.

        Raises
        ------
        InputError
            The line meets zero thickness below zero, as it may within its uncertainty.
        """
        u = math.sqrt(self.covariance[0, 0])
        if self.intercept < 0:
            shown, half = (f"{convert(x, 'specific resistance'):.3g}" for x in (self.intercept, u))
            raise InputError(
                f"the line gives {shown} ± {half} mm²·K/W at zero thickness, which is no contact resistance",
                where="contact",
                expected="thinner joints, thicknesses without a common error, or contact='0 mm^2*K/W' written so",
            )
        return _value(self.intercept, u, "specific resistance")

    def at(self, bond_line: ValueLike) -> Value:
        """Return the specific resistance of a joint of this bond line, for ``Interface(..., resistance=...)``.

        Its uncertainty has the correlation of contact resistance and conductivity in it, which two inputs of an
        interface do not have; that of the bond line, where it has one, too.
        """
        t = parse(bond_line, "bond line", "bond_line")
        if t.si < 0:
            raise InputError(f"{str(t)!r} is not possible", where="bond_line", expected="a thickness, such as '45 um'")
        row = np.array([1.0, t.si])
        variance = float(row @ self.covariance @ row) + (self.slope * t.standard_uncertainty) ** 2
        return _value(self.intercept + self.slope * t.si, math.sqrt(variance), "specific resistance")

    @cached_property
    def table(self) -> Table:
        """A row a joint, with the line and what it says below."""
        columns = (
            Column("thickness_um", "thickness [µm]"),
            Column("resistance_mm2K_per_W", "resistance [mm²·K/W]"),
            Column("line_mm2K_per_W", "line [mm²·K/W]"),
            Column("residual_mm2K_per_W", "residual [mm²·K/W]", ".3f"),
        )
        line = self.resistance - self.residuals
        data = [convert(self.thickness, "bond line")]
        data += [convert(each, "specific resistance") for each in (self.resistance, line, self.residuals)]
        rows = tuple(tuple(float(x) for x in row) for row in zip(*data, strict=True))
        return Table(columns, rows, "Resistance over thickness", self._notes())

    def _notes(self) -> tuple[str, ...]:
        intercept = convert(self.intercept, "specific resistance")
        spread = convert(math.sqrt(self.covariance[0, 0]), "specific resistance")
        k, u = 1 / self.slope, math.sqrt(self.covariance[1, 1]) / self.slope**2
        notes = [
            f"conductivity {k:.4g} ± {u:.2g} W/m/K, contact resistance {intercept:.4g} ± {spread:.2g} mm²·K/W of both "
            f"faces together (one standard uncertainty, {self.degrees_of_freedom} degrees of freedom; correlation with "
            f"the slope {self.correlation:+.2f})"
        ]
        if self.weighted:
            p = self.scatter_probability
            assert p is not None
            notes.append(f"weighted with the stated uncertainties: χ² = {self.chi_squared:.3g}, p = {p:.2g}")
            if p < _DOUBT:
                notes.append("the points scatter by more than their stated uncertainties, or lie on no line: these and "
                             "the uncertainties above are too small")  # fmt: skip
        else:
            scatter = convert(self.residual_sd, "specific resistance")
            notes.append(f"uncertainties from the scatter of the points, {scatter:.3g} mm²·K/W")
        if intercept < 0:
            notes.append("the contact resistance comes out below zero, which it cannot be")
        return tuple(notes)

    def to_dict(self) -> Any:
        """Return the rows as plain numbers, with units in the names."""
        return self.table.to_dict()

    def to_pandas(self) -> Any:
        """Return the rows as a pandas DataFrame."""
        return self.table.to_pandas()

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the joints over their thickness, and the line with its uncertainty."""
        from ..plots import thickness_steps

        return thickness_steps(self, ax=ax)

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()


def reduce_thickness_steps(thickness: Sequence[ValueLike], resistance: Sequence[ValueLike]) -> ThicknessSteps:
    """Return conductivity and contact resistance of a filling from joints of several thicknesses (ASTM D5470).

    Parameters
    ----------
    thickness : sequence of values
        Of each joint, such as ``"0.25 mm"`` or ``"250 um (sd 5 um)"``; three or more.
    resistance : sequence of values
        Specific resistance of each joint with its contacts, such as ``"94 mm^2*K/W (sd 2 mm^2*K/W)"``. Either all have
        a standard uncertainty, or none.

    Returns
    -------
    ThicknessSteps
        With ``.conductivity`` and ``.contact``, ready for an `Interface`, and ``.table``.

    Raises
    ------
    InputError
        Fewer than three joints, not as many resistances as thicknesses, all of one thickness, some with and some
        without uncertainty, or a resistance that does not rise with the thickness.

    Notes
    -----
    Without uncertainties the line of least squares, whose own uncertainties come from the scatter about it; with them
    the weighted one, which takes the errors of both co-ordinates into account [1]_. Errors are taken to be
    independent: one that all joints share (of the meter bars' conductivity, of the zero of a gauge) comes on top.

    References
    ----------
    .. [1] York, Evensen, López Martínez and De Basabe Delgado, Am. J. Phys. 72 (2004) 367 (from memory).

    Examples
    --------
    >>> steps = reduce_thickness_steps(
    ...     ["0.25 mm", "0.5 mm", "0.75 mm"], ["94 mm^2*K/W", "169 mm^2*K/W", "251 mm^2*K/W"])
    >>> str(steps.conductivity), str(steps.contact)
    ('3.1847134 W/m/K (sd 0.081980037 W/m/K)', '14.333333 mm^2*K/W (sd 4.365267 mm^2*K/W)')
    """
    t, u_t = _read(thickness, "bond line", "thickness")
    r, u_r = _read(resistance, "specific resistance", "resistance")
    if t.size != r.size:
        raise InputError(f"{t.size} thicknesses and {r.size} resistances", where="resistance", expected="one for each")
    if t.size < 3:
        raise InputError(
            f"{t.size} joint{'s' if t.size != 1 else ''}: a line takes two, and leaves nothing to tell its uncertainty",
            where="thickness",
            expected=f"three or more, such as {_RIGHT}",
        )
    if np.ptp(t) == 0:
        raise InputError("all joints are of one thickness", where="thickness", expected="thicknesses that differ")
    if (u_r > 0).any() != (u_r > 0).all() or ((u_t > 0).any() and not (u_r > 0).all()):
        raise InputError(
            "some values have a standard uncertainty and some have none",
            where="resistance",
            expected="an uncertainty for every resistance, such as '94 mm^2*K/W (sd 2 mm^2*K/W)', or for none",
        )
    weighted = bool((u_r > 0).all())
    intercept, slope, covariance = _york(t, r, u_t, u_r) if weighted else _least_squares(t, r)
    if not slope > 0:
        raise InputError(
            "the resistance does not rise with the thickness, so that no conductivity follows",
            where="resistance",
            expected=f"values such as {_RIGHT}",
        )
    chi = float(np.sum((r - intercept - slope * t) ** 2 / (u_r**2 + (slope * u_t) ** 2))) if weighted else None
    return ThicknessSteps(t, r, intercept, slope, covariance, weighted, chi)


def _least_squares(t: Float, r: Float) -> tuple[float, float, Float]:
    intercept, slope, covariance = _york(t, r, np.zeros_like(t), np.ones_like(r))
    scatter = float(np.sum((r - intercept - slope * t) ** 2)) / (t.size - 2)
    return intercept, slope, covariance * scatter


def _york(t: Float, r: Float, u_t: Float, u_r: Float) -> tuple[float, float, Float]:
    """Return intercept, slope and their covariance for independent errors of both co-ordinates."""
    slope = float(np.polyfit(t, r, 1)[0])
    for _ in range(100):
        w = 1 / (u_r**2 + (slope * u_t) ** 2)
        mean_t, mean_r = np.average(t, weights=w), np.average(r, weights=w)
        away = w * ((t - mean_t) * u_r**2 + slope * (r - mean_r) * u_t**2)
        before, slope = slope, float(np.sum(w * away * (r - mean_r)) / np.sum(w * away * (t - mean_t)))
        if abs(slope - before) <= 1e-12 * abs(slope):
            break
    else:
        raise InputError(
            "no line fits within the stated uncertainties",
            where="thickness",
            expected="uncertainties of the thicknesses that are smaller than the steps between them",
        )
    middle = np.average(mean_t + away, weights=w)  # of the points moved on to the line
    u_slope = 1 / np.sum(w * (mean_t + away - middle) ** 2)
    covariance = np.array([[1 / np.sum(w) + middle**2 * u_slope, -middle * u_slope], [-middle * u_slope, u_slope]])
    return float(mean_r - slope * mean_t), slope, covariance


def _read(given: Sequence[ValueLike], dimension: str, where: str) -> tuple[Float, Float]:
    if isinstance(given, str) or not isinstance(given, Sequence):
        raise InputError(f"{given!r} is not a list", where=where, expected=_RIGHT)
    values = [parse(value, dimension, f"{where} {n}") for n, value in enumerate(given, 1)]
    for n, value in enumerate(values, 1):
        if value.si <= 0:
            example = DIMENSIONS[dimension].example
            raise InputError(
                f"{str(value)!r} is not possible",
                where=f"{where} {n}",
                expected=f"a value above zero, such as {example!r}",
            )
    return np.array([value.si for value in values]), np.array([value.standard_uncertainty for value in values])


def _value(si: float, u: float, dimension: str) -> Value:
    """Return a value of so much and one standard uncertainty, in the unit in which it is shown, to eight digits."""
    centre, spread = (float(f"{convert(x, dimension):.8g}") for x in (si, u))
    unit = DIMENSIONS[dimension].shown_in
    return Value(centre, unit, dimension, "normal", spread) if spread > 0 else Value(centre, unit, dimension)
