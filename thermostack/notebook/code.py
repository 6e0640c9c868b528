"""The Python that makes what is on the screen: a stack as calls of the library's own classes, and its mods."""

from __future__ import annotations

import inspect
from collections.abc import Iterable

from ..catalogue import InterfaceClass, Material
from ..stack.parts import Die, Interface, PowerMap
from ..stack.stack import Stack
from ..units import Value

__all__ = ["python_of"]

WIDTH = 100


def python_of(stacks: Iterable[Stack], limit: str) -> str:
    """Return code that makes stacks and compares them (predicts the one).

    Parameters
    ----------
    stacks : iterable of Stack
        The baseline first.
    limit : str
        Of the junction, such as ``"95 degC"``.

    Notes
    -----
    Mounts are not told: joints of the stacks count as made once for each.
    """
    lines, names = ["import thermostack as ts", ""], []
    for number, stack in enumerate(stacks):
        name = "baseline" if number == 0 else "mod" if number == 1 else f"mod_{number}"
        names.append(name)
        lines += [f"{name} = {_call(stack)}", ""]
    if len(names) > 1:
        lines.append(f"ts.compare({', '.join(names)}, limit={limit!r})")
    else:
        lines.append(f"ts.predict({names[0]}).headroom({limit!r})")
    return "\n".join(lines) + "\n"


def _call(stack: Stack) -> str:
    text = (
        f"ts.Stack(\n    {stack.label!r},\n    dies={_text(stack.dies, 1)},\n    layers={_text(stack.layers, 1)},\n"
        f"    coolant={_text(stack.coolant, 1)},\n"
    )
    if stack.board is not None:
        text += f"    board={_text(stack.board, 1)},\n"
    if stack.sensors:
        text += f"    sensors={_text(stack.sensors, 1)},\n"
    return text + ")"


def _text(value: object, depth: int) -> str:
    """Return a part, or a field of one, as it is written in Python."""
    if isinstance(value, Value):
        return repr(str(value)) if value.unit or value.kind != "exact" else repr(value.magnitude)
    if isinstance(value, Material | InterfaceClass):
        return repr(value.name)
    if isinstance(value, PowerMap) and not value.regions:
        return _text(value.total, depth)
    if isinstance(value, tuple):
        if value and isinstance(value[0], Value):
            return f"({', '.join(_text(each, depth) for each in value)})"
        return _broken("[", [_text(each, depth + 1) for each in value], "]", depth)
    if value is None or isinstance(value, str | bool | int | float):
        return repr(value)
    arguments = []
    for name, parameter in inspect.signature(type(value)).parameters.items():
        own = getattr(value, name)
        if name == "mount" or _is_default(own, parameter.default):
            continue
        if isinstance(value, Die) and name == "joint" and len(own) == 1:
            own = own[0]
        text = _text(own, depth + 1)
        positional = parameter.default is inspect.Parameter.empty or (
            isinstance(value, Interface) and name == "interface"
        )
        arguments.append(text if positional else f"{name}={text}")
    return _broken(f"ts.{type(value).__name__}(", arguments, ")", depth)


def _broken(start: str, entries: list[str], end: str, depth: int) -> str:
    """Return entries on one line where they fit, else one a line."""
    one = f"{start}{', '.join(entries)}{end}"
    if len(one) + 4 * depth <= WIDTH and "\n" not in one:
        return one
    pad = "    " * (depth + 1)
    return f"{start}\n" + "".join(f"{pad}{entry},\n" for entry in entries) + "    " * depth + end


def _is_default(value: object, default: object) -> bool:
    if isinstance(value, tuple) and value and isinstance(value[0], Value):
        return tuple(map(str, value)) == default
    return value is None or value == default or (isinstance(value, Value) and str(value) == default)
