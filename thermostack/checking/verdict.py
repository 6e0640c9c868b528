"""The verdict: whether the described stack explains the drop that was measured, in words with the figures."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import UnknownNameError, suggest
from ..tables import Column, Table, format_number
from .formulas import comparison_error, en_number, two_sided_p, validation_uncertainty
from .predictive import Drawn

__all__ = ["SURPRISING", "Drop", "Finding", "Verdict", "drop_at", "verdict_on"]

Float = NDArray[np.float64]
Finding = Literal["explained", "not explained", "cannot tell"]

SURPRISING = 0.05
"""Two-sided tail probability below which a drop is not explained."""
AT = ("equal power", "equal workload")


@dataclass(frozen=True, eq=False)
class Drop:
    """A drop as it was measured, as it was to be expected, and the error between them (ASME V&V 20).

    Attributes
    ----------
    at : str
        "equal power" or "equal workload".
    sensor : str
        Name of a sensor; "mean" for the mean of the drops of all, "hottest" for the sensor that was hottest before.
    measured : float
        D. [K]
    expected : float
        S: mean of what was to be expected of the true drop. [K]
    low, high : float
        95 % of measured drops would lie between these, were all as described. [K]
    u_input, u_num, u_D, covariance : float
        By the inputs, the numerical solution, the data; covariance of the errors of S (by inputs) and D. [K, K²]
    u_val : float
        √(u_input² + u_num² + u_D² − 2 covariance): standard deviation of E. [K]
    p : float
        Two-sided tail probability of the measured drop.
    samples : ndarray, shape (S,)
        Measured drops that were to be expected. [K]
    """

    at: str
    sensor: str
    measured: float
    expected: float
    low: float
    high: float
    u_input: float
    u_num: float
    u_D: float  # noqa: N815 - as the standard writes it
    covariance: float
    u_val: float
    p: float
    samples: Float

    @property
    def error(self) -> float:
        """Comparison error E = S − D. [K]"""
        return comparison_error(self.expected, self.measured)

    @property
    def en(self) -> float:
        """Eₙ = E/(2 u_val)."""
        return en_number(self.error, 2.0 * self.u_val)

    @property
    def width(self) -> float:
        """Width of the 95 % interval. [K]"""
        return self.high - self.low

    def to_dict(self) -> dict[str, Any]:
        """Return the figures as plain data."""
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__ if name != "samples"}
        return {**plain, "error": self.error, "en": self.en}


def drop_at(drawn: Drawn, at: str, sensor: str) -> Drop:
    """Return one of the drops of a check.

    Parameters
    ----------
    drawn : Drawn
    at : {"equal power", "equal workload"}
    sensor : str
        A sensor that was read before and after, "mean", or "hottest".

    Raises
    ------
    UnknownNameError
        No drop is taken at this, or the sensor was not read before and after.
    """
    known = ("mean", "hottest", *drawn.drops.sensors)
    if at not in AT:
        raise UnknownNameError(f"no drop at {at!r}; {suggest(str(at), AT)}", where="at")
    if sensor not in known:
        raise UnknownNameError(
            f"{sensor!r} was not read before and after; {suggest(str(sensor), known)}", where="sensor"
        )
    k = AT.index(at)
    read = drawn.drops.of(drawn.model.observed, drawn.coolant)[0, k]
    weight = np.zeros(len(read))
    if sensor == "mean":
        weight[:] = 1.0 / len(read)
    else:
        name = hottest(drawn) if sensor == "hottest" else sensor
        weight[drawn.drops.sensors.index(name)] = 1.0
    true, repeated = (drawn.figure(each)[:, k] @ weight for each in (drawn.true, drawn.repeated))
    numerical = np.einsum("md,sd->sm", drawn.drops.weights[k], drawn.numerical) @ weight
    of_data = repeated - true - numerical
    low, high = np.quantile(repeated, [0.025, 0.975])
    u_input, u_num, u_D = (float(np.std(each, ddof=1)) for each in (true, numerical, of_data))
    # δ_S = S − truth moves against the truth, δ_D = D − truth
    covariance = -float(np.cov(true, of_data)[0, 1])
    return Drop(
        at, sensor, float(read @ weight), float(true.mean()), float(low), float(high), u_input, u_num, u_D, covariance,
        validation_uncertainty(u_input, u_num, u_D, covariance), two_sided_p(repeated, float(read @ weight)), repeated,
    )  # fmt: skip


def hottest(drawn: Drawn) -> str:
    """Return the sensor that was hottest in the baseline, by the mean of its readings that are used."""
    model, drops = drawn.model, drawn.drops
    rises = np.zeros(len(drops.sensors))
    for i in drops.before:
        each = model.measured[i]
        first = model.measured[next(iter(drops.before))]
        for m, sensor in enumerate(drops.sensors):
            probe = first.probes[first.reading.sensors.index(sensor)]
            rises[m] += each.reading.rise[each.probes.index(probe)] / each.reading.power
    return drops.sensors[int(np.argmax(rises))]


@dataclass(frozen=True, eq=False)
class Verdict:
    """Whether the described stack explains the measured drop.

    Attributes
    ----------
    finding : {"explained", "not explained", "cannot tell"}
    drop : Drop
        At equal power, mean over the sensors.
    resolve : float
        What had to be resolved: the widest 95 % interval with which "explained" may be said. [K]
    given : bool
        Whether it was predicted from a stack calibrated on the readings before: after, given before.
    """

    finding: Finding
    drop: Drop
    resolve: float
    given: bool

    @property
    def p(self) -> float:
        """Two-sided tail probability of the measured drop."""
        return self.drop.p

    @property
    def surprising_above(self) -> float:
        """The smallest drop that would have been called surprisingly large. [K]"""
        return self.drop.high

    @property
    def surprising_below(self) -> float:
        """The largest drop that would have been called surprisingly small. [K]"""
        return self.drop.low

    @property
    def sentences(self) -> tuple[str, ...]:
        """The verdict in words, with the figures."""
        d = self.drop
        measured, expected, low, high = (_kelvin(x) for x in (d.measured, d.expected, d.low, d.high))
        least = 2.0 / (len(d.samples) + 1)
        p = f"p < {format_number(least * 1.001, 2)}" if d.p <= least else f"p = {format_number(d.p, 2)}"
        basis = "after, given what was read before" if self.given else "before any reading was used"
        first = {
            "explained": "Explained by the described stack",
            "not explained": "Not explained by the described stack",
            "cannot tell": "Cannot tell",
        }[self.finding]
        why = {
            "explained": f"the measured drop of {measured} lies within what was to be expected",
            "not explained": f"the measured drop of {measured} is "
            + ("larger" if d.measured > d.expected else "smaller")
            + " than was to be expected",
            "cannot tell": f"the measured drop of {measured} is no surprise, but with a 95 % interval of "
            f"{_kelvin(d.width)} drops {_kelvin(self.resolve)} apart are not told apart",
        }[self.finding]
        return (
            f"{first}: {why} ({p}).",
            f"At equal power {expected} was expected ({basis}), and 95 of 100 such measurements between {low} and "
            f"{high}: a drop above {high} or below {low} would have surprised.",
            f"E = S − D = {_kelvin(d.error)}, u_val = {_kelvin(d.u_val)} (inputs {_kelvin(d.u_input)}, numerical "
            f"{_kelvin(d.u_num)}, data {_kelvin(d.u_D)}, covariance {format_number(d.covariance, 2)} K²); "
            f"Eₙ = E/(2 u_val) = {format_number(d.en, 2)}.",
        )

    def __str__(self) -> str:
        return "\n".join(self.sentences)

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(text)}</p>" for text in self.sentences)

    def to_dict(self) -> dict[str, Any]:
        """Return the verdict as plain data."""
        return {
            "finding": self.finding, "p": self.p, "resolve": self.resolve, "given": self.given,
            "surprising_above": self.surprising_above, "surprising_below": self.surprising_below,
            "drop": self.drop.to_dict(), "sentences": list(self.sentences),
        }  # fmt: skip


def _kelvin(x: float) -> str:
    return f"{x:.2f} K".replace("-", "−") if abs(x) < 1 else f"{x:.1f} K".replace("-", "−")


def verdict_on(drop: Drop, resolve: float | None, given: bool) -> Verdict:
    """Return the verdict on a drop.

    *Not explained* where p < 0.05; else *explained*, or *cannot tell* where the 95 % interval is wider than what must
    be resolved: by default the expected drop itself.
    """
    resolve = abs(drop.expected) if resolve is None else resolve
    finding: Finding = "explained" if drop.width <= resolve else "cannot tell"
    return Verdict("not explained" if drop.p < SURPRISING else finding, drop, resolve, given)


def drops_table(drops: list[Drop]) -> Table:
    """Return a row a drop."""
    columns = (
        Column("at", "drop at"), Column("sensor", "sensor"), Column("measured", "measured [K]", ".2f"),
        Column("expected", "expected [K]", ".2f"), Column("low", "95 % from [K]", ".2f"),
        Column("high", "to [K]", ".2f"), Column("error", "E = S − D [K]", ".2f"), Column("u_val", "u_val [K]", ".2f"),
        Column("en", "Eₙ", ".2f"),
        Column("p", "p", ".4f"),
    )  # fmt: skip
    rows = tuple((d.at, d.sensor, d.measured, d.expected, d.low, d.high, d.error, d.u_val, d.en, d.p) for d in drops)
    notes = (
        "Equal power: rises per watt times the baseline's power, what the joints did. Equal workload: before minus "
        "after over the coolant as they were, what the user sees.",
    )
    return Table(columns, rows, "Drops, measured and expected", notes)
