"""How cautions name parts and temperatures."""

from __future__ import annotations

from collections.abc import Iterable

from thermostack.catalogue import Material
from thermostack.cautions.scene import Item
from thermostack.stack.parts import Die
from thermostack.units import Value, show

__all__ = ["celsius", "coldest_of", "data_of", "listed_as", "named", "verb"]


def named(parts: Iterable[Item | Die | str]) -> tuple[str, ...]:
    """Return the names of parts."""
    return tuple(p if isinstance(p, str) else p.name for p in parts)


def listed_as(parts: Iterable[Item | Die | str]) -> str:
    """Return the quoted names of parts as words of a sentence."""
    names = [f"'{name}'" for name in named(parts)]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def verb(parts: Iterable[object], one: str, more: str) -> str:
    """Return the form of a verb that fits so many parts."""
    return one if len(tuple(parts)) == 1 else more


def celsius(kelvin: float) -> str:
    """Return a temperature [K] as text."""
    return show(kelvin, "temperature")


def data_of(of: Material) -> str:
    """Return where the data of a material come from."""
    return f"material data of {of.name}: {of.provenance_detail or of.provenance}"


def coldest_of(value: Value) -> float:
    """Return the low end of a temperature: its lower limit, or two standard uncertainties below its mean."""
    return value.si - (value.spread_si if value.kind == "rectangular" else 2 * value.standard_uncertainty)
