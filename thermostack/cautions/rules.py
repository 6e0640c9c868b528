"""Which cautions apply."""

from __future__ import annotations

import math
from collections.abc import Mapping

from thermostack.cautions import changes, substances, work
from thermostack.cautions import temperatures as temperatures_
from thermostack.cautions.caution import Caution, ordered
from thermostack.cautions.scene import Scene, is_bare, items_of, mod_of
from thermostack.errors import InputError, UnknownNameError, suggest
from thermostack.stack.stack import Stack

__all__ = ["cautions"]


def cautions(
    stack: Stack,
    temperatures: Mapping[str, tuple[float, float]] | None = None,
    *,
    limit: float | None = None,
    baseline: Stack | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions that apply to a stack and to the mod that leads to it, the gravest first.

    Parameters
    ----------
    stack : Stack
    temperatures : mapping of str to (float, float), optional
        Predicted temperatures of the lower and the upper face by part name, and of the junction under
        ``"junction"``. [K] Without them no caution asks for a temperature, but those of the coolant.
    limit : float, optional
        Highest junction temperature that the user wants. [K]
    baseline : Stack, optional
        The stack that the mod starts from. Without it, what the mod does is read from the stack's own edits, which
        know the parts that are gone by name only.

    Returns
    -------
    tuple of Caution
        Danger to a person first, then to the part, then to the result; each rule at most once.

    Raises
    ------
    InputError
        If a temperature or the limit is not finite and above zero, or a temperature is not a pair.
    UnknownNameError
        If a temperature is given for a part that the stack does not have.
    """
    items, mod = items_of(stack), mod_of(stack, baseline)
    checked = _checked(stack, temperatures or {})
    if limit is not None and not (math.isfinite(limit) and limit > 0):
        raise InputError(f"{limit!r} is no temperature", where="limit", expected="kelvin, above zero")
    scene = Scene(stack, items, mod, is_bare(stack, items, mod), checked, limit)
    rules = (*work.RULES, *changes.RULES, *substances.RULES, *temperatures_.RULES)
    return ordered(caution for rule in rules for caution in rule(scene))


def _checked(stack: Stack, given: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    known = [*(part.name for part in stack.parts()), "junction"]
    for name, pair in given.items():
        if name not in known:
            raise UnknownNameError(f"no part is named {name!r}; {suggest(name, known)}", where="temperatures")
        if len(pair) != 2 or not all(math.isfinite(t) and t > 0 for t in pair):
            raise InputError(f"{pair!r} is no pair of temperatures", where=f"temperatures.{name}",
                             expected="kelvin of the lower and the upper face")  # fmt: skip
    return {name: (float(pair[0]), float(pair[1])) for name, pair in given.items()}
