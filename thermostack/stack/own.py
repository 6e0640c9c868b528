"""Materials and interface classes of one's own, in code and in a file, in the same words and with units.

A range is written as a value with its spread, and stands for its 2.5 %, 50 % and 97.5 % points; where these follow no
such law, as three values, lowest, typical and highest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ..catalogue import InterfaceClass, Material, Range, TemperatureLaw
from ..catalogue import material as known_material
from ..errors import InputError, UnknownNameError, suggest
from ..units import DIMENSIONS, Value, convert, parse

__all__ = [
    "CLASS_KEYS",
    "MATERIAL_KEYS",
    "class_from",
    "class_table",
    "material_from",
    "material_table",
    "own_interface",
    "own_material",
]

_SIDE = 1.96
"""Standard deviations from the middle of a normal distribution to its 97.5 % point, as in `Range`."""

MATERIAL_KEYS = {
    "name": "text",
    "conductivity": "range of conductivity",
    "conductivity_in_plane": "range of conductivity",
    "law": "law",
    "density": "density",
    "heat_capacity": "heat capacity",
    "solidus": "temperature",
    "liquidus": "temperature",
    "max_service": "temperature",
    "electrical": "text",
    "aluminium_attack": "text",
    "is_aluminium": "flag",
    "hazards": "text",
    "source": "text",
    "notes": "text",
}
CLASS_KEYS = {
    "name": "text",
    "resistance": "range of specific resistance",
    "bond_line": "range of bond line",
    "conductivity": "range of conductivity",
    "contact_resistance": "specific resistance",
    "contact_factor": "fraction",
    "mount_sigma_ln": "fraction",
    "bad_mounts": "range of fraction",
    "demountable": "flag",
    "material": "material",
    "source": "text",
    "notes": "text",
}
_LAW_KEYS = {
    "kind": "text",
    "reference": "temperature",
    "exponent": "fraction",
    "slope": "temperature coefficient",
    "fit_range": "temperatures",
    "fit_error": "fraction",
    "fit_note": "text",
}


def own_material(name: str, conductivity: Any, **words: Any) -> Material:
    """Return a material of your own, for a `Layer` or `Die`.

    Parameters
    ----------
    name : str
    conductivity : value, or (lowest, typical, highest)
        At 300 K, such as ``"120 W/m/K"``, ``"120 W/m/K (x/ 1.05)"`` or ``"110 .. 130 W/m/K"``. [W/m/K]
    **words
        As in a file: ``conductivity_in_plane``, ``density``, ``heat_capacity``, ``solidus``, ``liquidus``,
        ``max_service`` (values); ``law``, such as ``{"kind": "power", "exponent": -1.3}``; ``electrical``,
        ``aluminium_attack``, ``hazards``, ``source``, ``notes`` (texts); ``is_aluminium`` (bool).

    Raises
    ------
    InputError
        No unit, wrong dimension, or an unknown word; the message names material and field.

    Examples
    --------
    >>> own_material("lid alloy", "360 W/m/K (x/ 1.03)", max_service="200 degC").conductivity.typical
    360.0
    """
    return material_from(_words({"name": name, "conductivity": conductivity, **words}, MATERIAL_KEYS))


def own_interface(
    name: str, resistance: Any, *, material: str | Material | None = None, **words: Any
) -> InterfaceClass:
    """Return an interface class of your own, for an `Interface` in any place.

    Parameters
    ----------
    name : str
    resistance : value, or (lowest, typical, highest)
        Specific resistance of the whole joint, such as ``"9 mm^2*K/W (x/ 1.3)"``.
    material : str or Material, optional
        What it is made of: melting, service temperature, electrical behaviour and hazards are that material's.
    **words
        As in a file: ``bond_line``, ``conductivity``, ``contact_resistance`` (values); ``contact_factor``,
        ``mount_sigma_ln``, ``bad_mounts`` (fractions); ``demountable`` (bool); ``source``, ``notes`` (texts).

    Raises
    ------
    InputError
        No unit, wrong dimension, or an unknown word; the message names class and field.

    Examples
    --------
    >>> own_interface("bench paste", "9 mm^2*K/W (x/ 1.3)", mount_sigma_ln=0.1).at("lid to plate").resistance.typical
    9e-06
    """
    known = {}
    if material is not None:
        made_of = known_material(material) if isinstance(material, str) else material
        known[made_of.name] = made_of
        words["material"] = made_of.name
    return class_from(_words({"name": name, "resistance": resistance, **words}, CLASS_KEYS), known)


def _words(given: dict[str, Any], keys: Mapping[str, str]) -> dict[str, Any]:
    for key in given:
        if key not in keys:
            raise UnknownNameError(f"there is no {key!r}; {suggest(key, keys)}", where=str(given["name"]))
    return {key: list(value) if isinstance(value, tuple) and len(value) == 3 else value for key, value in given.items()}


def material_from(table: Mapping[str, Any]) -> Material:
    """Return the material that a table of a file describes; raises InputError, placed at ``name.field``."""
    return Material.of(**_read(table, MATERIAL_KEYS, {}))


def class_from(table: Mapping[str, Any], materials: Mapping[str, Material]) -> InterfaceClass:
    """Return the interface class that a table of a file describes; `materials` holds what it may be made of."""
    return InterfaceClass.of(**_read(table, CLASS_KEYS, materials))


def material_table(material: Material) -> dict[str, Any]:
    """Return the table that describes a material; raises InputError where no table can."""
    table = _write(material, MATERIAL_KEYS, Material.of(material.name, material.conductivity))
    return _checked(material, table, lambda: material_from(table))


def class_table(of: InterfaceClass) -> dict[str, Any]:
    """Return the table that describes an interface class; raises InputError where no table can."""
    row = of.rows[0]
    plain = InterfaceClass.of(of.name, 1.0).rows[0]
    table = {**_write(row, CLASS_KEYS, plain), "name": of.name}
    known = {} if row.material is None else {row.material.name: row.material}
    return _checked(of, table, lambda: class_from(table, known))


def _checked(given: Material | InterfaceClass, table: dict[str, Any], again: Any) -> dict[str, Any]:
    try:
        same = again() == given
    except InputError:
        same = False
    if not same:
        kind = type(given).__name__
        raise InputError(f"the {kind} {given.name!r} holds more than a file can", where=given.name,
                         expected=f"one made by {kind}.of(…), or one that comes with the library")  # fmt: skip
    return table


# -- reading


def _read(table: Mapping[str, Any], keys: Mapping[str, str], materials: Mapping[str, Material]) -> dict[str, Any]:
    name = table.get("name", "")
    return {key: _field(value, keys[key], f"{name}.{key}", materials) for key, value in table.items()}


def _field(value: Any, form: str, where: str, materials: Mapping[str, Material]) -> Any:
    if form in ("text", "material") and not isinstance(value, str):
        raise InputError(f"{value!r} is not a text", where=where, expected="a text in quotes")
    if form == "text":
        return value
    if form == "material":
        return materials[value]
    if form == "flag":
        if not isinstance(value, bool):
            raise InputError(f"{value!r} is not true or false", where=where, expected="true or false")
        return value
    if form == "law":
        return _law(value, where)
    if form == "temperatures":
        if not isinstance(value, list) or len(value) != 2:
            raise InputError(f"{value!r} is not a pair", where=where, expected='a pair such as ["250 K", "450 K"]')
        return tuple(_exact(each, "temperature", where) for each in value)
    if form.startswith("range of "):
        return _range(value, form.removeprefix("range of "), where)
    return _exact(value, form, where)


def _law(value: Any, where: str) -> TemperatureLaw:
    right = 'a table such as { kind = "power", exponent = -1.3 }'
    if not isinstance(value, dict):
        raise InputError(f"{value!r} is not a temperature law", where=where, expected=right)
    if unknown := set(value) - set(_LAW_KEYS):
        problem = f"a temperature law has no {min(unknown)!r}"
        raise InputError(problem, where=where, expected=", ".join(_LAW_KEYS))
    fields = {key: _field(each, _LAW_KEYS[key], where, {}) for key, each in value.items()}
    try:
        return TemperatureLaw(**fields)
    except InputError as error:
        raise InputError(f"{error.where}: {error.problem}", where=where, expected=error.expected) from error


def _number(value: Value) -> float:
    """Return the SI number of a value; one that is written in SI to its last bit."""
    return value.magnitude if value.unit == DIMENSIONS[value.dimension].si else value.si


def _exact(value: Any, dimension: str, where: str) -> float:
    parsed = parse(value, dimension, where)
    if parsed.kind != "exact":
        raise InputError(f"{value!r} has a spread, which has no place here", where=where,
                         expected=f"a value such as {DIMENSIONS[dimension].example!r}")  # fmt: skip
    return _number(parsed)


def _range(value: Any, dimension: str, where: str) -> Range:
    """Return the 2.5 %, 50 % and 97.5 % points of a value."""
    if isinstance(value, list) and len(value) == 3:
        low, typical, high = (_exact(each, dimension, where) for each in value)
    else:
        parsed = parse(value, dimension, where)
        typical = _number(parsed)
        exact_unit = parsed.unit == DIMENSIONS[dimension].si
        spread = parsed.spread if exact_unit else parsed.spread_si
        if parsed.kind == "lognormal":
            factor = math.exp(_SIDE * math.log(parsed.spread))
            low, high = typical / factor, typical * factor
        else:
            half = {"exact": 0.0, "normal": _SIDE, "rectangular": 0.95}[parsed.kind] * spread
            low, high = typical - half, typical + half
    try:
        return Range(low, typical, high)
    except InputError as error:
        example = DIMENSIONS[dimension].example
        right = f'{example!r}, "{example} (x/ 1.3)", or three that rise: ["lowest", "typical", "highest"], above zero'
        raise InputError(f"{value!r} is not a range: {error.problem}", where=where, expected=right) from error


# -- writing


def _write(given: Any, keys: Mapping[str, str], plain: Any) -> dict[str, Any]:
    """Return key and text of every field that differs from the plain one's."""
    table = {}
    for key, form in keys.items():
        value = getattr(given, key)
        told = value != getattr(plain, key) or key in ("name", "conductivity", "resistance", "kind")
        if told and value is not None:
            table[key] = _text(value, form)
    return table


def _text(value: Any, form: str) -> Any:
    if form in ("text", "flag"):
        return value
    if form == "material":
        return value.name
    if form == "law":
        return _write(value, _LAW_KEYS, TemperatureLaw())
    if form == "temperatures":
        return [_exact_text(each, "temperature") for each in value]
    if form.startswith("range of "):
        return _range_text(value, form.removeprefix("range of "))
    return _exact_text(value, form)


def _in(si: float, dimension: str) -> list[tuple[str, str]]:
    """Return number and unit, as they are usually shown and, to the last bit, in SI."""
    meant = DIMENSIONS[dimension]
    return [(f"{convert(si, dimension):.12g}", meant.shown_in), (repr(float(si)), meant.si)]


def _exact_text(si: float, dimension: str) -> str:
    texts = [f"{number} {unit}".rstrip() for number, unit in _in(si, dimension)]
    return next((text for text in texts if _exact(text, dimension, "") == si), texts[-1])


def _range_text(given: Range, dimension: str) -> str | list[str]:
    """Return the shortest text that reads back as the same three numbers."""
    if given.low == given.typical == given.high:
        return _exact_text(given.typical, dimension)
    for number, unit in _in(given.typical, dimension):
        scale = float(number) / given.typical
        sd, half = ((given.high - given.low) * scale / width for width in (2 * _SIDE, 1.9))
        for spread in (f"x/ {given.factor:.10g}", f"sd {sd:.10g} {unit}", f"limits {half:.10g} {unit}"):
            try:
                if _range(text := f"{number} {unit} ({spread.rstrip()})".replace("  ", " "), dimension, "") == given:
                    return text
            except InputError:
                continue  # of another kind of spread
    return [_exact_text(each, dimension) for each in (given.low, given.typical, given.high)]
