"""What to record before the mod, and what each record could later tell apart.

The list is common practice; the ranking, where it is asked for, is the check's own: a result is imagined that
surprises, once by too large a drop and once by too small a one, and each measurement is ranked by how much it would
then be expected to tell about the cause (`checking.expected_information`).
"""

from __future__ import annotations

from dataclasses import dataclass

from ..checking import check
from ..measured.reading import Reading
from ..prediction import Prediction
from ..stack.roles import lid
from ..stack.stack import Stack
from ..states import State
from ..tables import Cell, Column, Table
from .mounts import remade

__all__ = ["RECORDS", "Record", "ranked", "what_to_record"]

SURPRISE = 2.5
"""Of the drop, in standard uncertainties of what is expected: p is about 0.01."""
WHEN = {"possible now": "can wait"}
"""Before the mod, what the check calls possible now is possible then as well."""
POWER, COOLANT = 0.01, 0.2
"""Standard uncertainty of an imagined reading: share of the power; of the coolant [K] (assumed)."""


@dataclass(frozen=True)
class Record:
    """Something that can be recorded.

    Attributes
    ----------
    what : str
    apart : str
        What it could later tell apart.
    takes : str
    when : {"only before the mod", "before and after", "any time"}
    """

    what: str
    apart: str
    takes: str
    when: str


RECORDS = (
    Record("every core by itself, not the hottest or a mean", "a void or a tilt (some cores) from a joint worse as a "
           "whole (all cores)", "the same log", "before and after"),
    Record("a second power level, and idle", "sensor and coolant offsets (the same K at any power) from joints (K that "
           "grow with the power)", "two soaks and logs more", "before and after"),
    Record("remounts of the cold plate", "one bad or one lucky mount from what the mod did", "a soak, a log and paste "
           "each", "only before the mod"),
    Record("power by a second meter", "a power meter that is off, or changed, from a better joint", "a clamp meter on "
           "the supply line", "before and after"),
    Record("coolant in and out close to the block, by probes compared in stirred water", "a probe that is off or "
           "drifts, and the flow, from the cooling side", "two probes", "before and after"),
    Record("temperature of the lid beside the plate", "the joint under the lid from all that lies above it", "a thin "
           "thermocouple on the rim", "only before the mod"),
    Record("the same load at another flow", "the cooling side from the joints", "a soak and a log", "before and after"),
    Record("clock, voltage and limits with every row", "another power map, or throttling, from cooling", "the same "
           "log", "before and after"),
    Record("contact print of the old joints", "a joint that touched in part from one that was thick", "a photograph "
           "at each opening", "only before the mod"),
    Record("height of the lid over the substrate, flatness of lid and plate", "a lid that stands on its rim, or was "
           "bent by the opening, from a thin joint", "a height gauge, a straight edge", "only before the mod"),
    Record("thickness of die and lid", "wrong sizes in the description from wrong joints", "a micrometer, once open",
           "any time"),
)  # fmt: skip
"""Records, most telling first as practitioners see it (*common practice, no source*)."""


def what_to_record(stack: Stack) -> Table:
    """Return what to record, as practitioners rank it; what the stack does not have is left out."""
    kept = [record for record in RECORDS if _possible(record, stack)]
    rows: list[tuple[Cell, ...]] = [
        (rank, one.what, one.apart, one.takes, one.when) for rank, one in enumerate(kept, 1)
    ]
    columns = (
        Column("rank", "rank"), Column("what", "record", wrap=36),
        Column("apart", "could later tell apart", wrap=46),
        Column("takes", "takes", wrap=24), Column("when", "when"),
    )  # fmt: skip
    note = "order: common practice, no source; plan(…, rank=True) asks the check"
    return Table(columns, tuple(rows), "What to record, most telling first", (note,))


def ranked(before: Prediction, after: Prediction, uncertainty: float, seed: int) -> Table:
    """Return measurements by what they would be expected to tell, were the result to surprise.

    Parameters
    ----------
    before, after : Prediction
        Of both stacks, by a solver that the check knows.
    uncertainty : float
        Of a sensor in an imagined reading: of a log, with the bench's scatter. [K]
    seed : int

    Returns
    -------
    Table
        A row a measurement: information [nat] after too large and after too small a drop, and the mean, by which they
        are ranked. Causes alike beforehand, by Laplace's approximation.
    """
    first, usual = _imagined(before, 0.0, uncertainty), _imagined(after, 0.0, uncertainty)
    plain = check(State(before.stack, first), State(after.stack, usual), seed=seed, draws=0, solver=before.solver)
    shift = SURPRISE * plain.drop().u_val
    told: dict[str, list[float]] = {}
    said: dict[str, tuple[str, str]] = {}
    for sign in (-1.0, 1.0):
        last = _imagined(after, sign * shift, uncertainty)
        found = check(State(before.stack, first), State(after.stack, last), seed=seed, draws=0, solver=before.solver)
        for one in found.next_measurements:
            told.setdefault(one.name, []).append(max(one.information.nats, 0.0))
            said[one.name] = one.when, one.takes
    here = [name for name in sorted(told, key=lambda name: -sum(told[name])) if said[name][0] != "needs a second part"]
    rows: list[tuple[Cell, ...]] = []
    for rank, name in enumerate(here, 1):
        when, takes = said[name]
        rows.append((rank, name, sum(told[name]) / len(told[name]), *told[name], takes, WHEN.get(when, when)))
    columns = (
        Column("rank", "rank"), Column("what", "record", wrap=36), Column("nats", "tells [nat]", ".3f"),
        Column("large_nats", "drop too large", ".3f"), Column("small_nats", "drop too small", ".3f"),
        Column("takes", "takes", wrap=34), Column("when", "when"),
    )  # fmt: skip
    notes = (
        f"expected fall of the uncertainty about the cause, were the drop {shift:.1f} K larger or smaller than "
        f"predicted (p about 0.01); read once before and once after, at full power; seed {seed}",
        "each by itself: a second level before tells more together with the same level after; what can only be read "
        "before the mod cannot be made up for",
    )
    return Table(columns, tuple(rows), "What to record, by what it could later tell apart", notes)


def _imagined(prediction: Prediction, shift: float, uncertainty: float) -> Reading:
    """Return a reading as predicted, all sensors off by a shift [K]."""
    point, stack = prediction.point, prediction.stack
    sensors = {}
    for name, at, temperature in point.readings():
        if at.startswith("coolant"):
            continue
        read = float(temperature[0]) + shift - 273.15
        sensors[name if stack.sensors else at] = f"{read:.6f} degC (sd {uncertainty:.6f} K)"
    power, coolant = float(point.total[0]), float(point.coolant[0]) - 273.15
    return Reading.of(
        sensors,
        power=f"{power:.6f} W (sd {POWER * power:.6f} W)",
        coolant=f"{coolant:.6f} degC (sd {COOLANT} K)",
        level="full load",
        source=f"imagined, {stack.label}",
    )


def _possible(record: Record, stack: Stack) -> bool:
    if record.what.startswith("temperature of the lid") or record.what.startswith("height of the lid"):
        return bool(lid(stack))
    if record.what.startswith("remounts"):
        return bool(remade(stack))
    return True
