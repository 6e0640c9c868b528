"""From the text of a file to stacks: a part as it is described, and each of its mods applied."""

from __future__ import annotations

import inspect
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any, NoReturn

from ..catalogue import InterfaceClass, Material, interface_class, material
from ..errors import FileError, InputError, suggest
from . import mods_in_files, own
from .cooling import MODELS, Radiator
from .lines import Lines, Place
from .package import Mount, Package
from .parts import Board, Coolant, Die, Interface, Layer, Leakage, Patch, PowerMap, Region, Sensor
from .stack import Stack

__all__ = ["from_toml", "held_from_toml", "part_from_toml"]

TOP = ("name", "title", "die", "layer", "coolant", "board", "sensor", "material", "interface_class", "mod")
HELD = ("package", "mount")
"""Tables that are not of the stack, but of what holds it."""
TEXTS = ("name", "mount", "reference", "reads", "law", "fluid", "along")
"""Fields that are words."""
VERBS = ("replace", "without", "insert_after", "change", "remounted", *mods_in_files.EXAMPLES)
KEY_OF = {"patches": "patch", "regions": "region"}
"""A field that holds several is, in a file, a table for each, called by what one is."""

EXAMPLES = {
    "name": 'name = "lid"',
    "material": 'material = "copper"',
    "thickness": 'thickness = "2.4 mm"',
    "footprint": 'footprint = ["36 mm", "36 mm"]',
    "power": 'power = "230 W"',
    "total": 'total = "230 W"',
    "temperature": 'temperature = "26 degC"',
    "resistance": 'resistance = "12 mm^2*K/W"',
    "conductivity": 'conductivity = "5 W/m/K (x/ 1.2)"',
    "corner": 'corner = ["1 mm", "2 mm"]',
    "size": 'size = ["3 mm", "3 mm"]',
    "at": 'at = "lid"',
    "leakage": 'leakage = { power = "20 W", at = "70 degC" }',
    "leakage.power": 'power = "20 W"',
    "leakage.at": 'at = "70 degC"',
    "die": '[[die]] with name = "die", material = "silicon", …',
    "coolant": '[coolant] with temperature = "26 degC" and conductance = "35 kW/m^2/K"',
    "radiator": 'radiator = { resistance = "0.03 K/W" }',
    "kind": 'kind = "channel plate"',
    "gap": 'gap = "0.2 mm"',
    "fin_thickness": 'fin_thickness = "0.2 mm"',
    "fin_height": 'fin_height = "2 mm"',
    "jet_diameter": 'jet_diameter = "0.5 mm"',
    "pitch": 'pitch = "3 mm"',
    "stand_off": 'stand_off = "2 mm"',
    "fins": 'fins = "50"',
    "fin_width": 'fin_width = "120 mm"',
    "fin_depth": 'fin_depth = "50 mm"',
    "pipes": 'pipes = "12"',
    "pipe_diameter": 'pipe_diameter = "6 mm"',
    "pipe_resistance": 'pipe_resistance = "0.03 K/W"',
    "substrate": 'substrate = "1.17 mm (limits 0.1 mm)"',
    "force": 'force = "200 N"',
    "from": 'from = "relid"',
    "replace": 'replace.solder = { name = "liquid metal", interface = "gallium alloy" }',
    "without": 'without = ["lid", "paste"]',
    "insert_after": 'insert_after.lid = { name = "film", resistance = "3 mm^2*K/W" }',
    "change": 'change = { "paste.bond_line" = "40 um" }',
    "remounted": 'remounted = "paste" or remounted = true',
}


def from_toml(text: str, name: str = "<text>") -> tuple[Stack, ...]:
    """Return the stacks that a text in TOML describes: first the part as described, then each mod applied.

    Parameters
    ----------
    text : str
        See `thermostack.write_stack` for how to come by one.
    name : str
        What messages call it.

    Raises
    ------
    FileError
        Names line, part, field and a right value.
    """
    reader = _Reader(text, name)
    base = reader.base()
    return (base, *reader.variants(base))


def part_from_toml(text: str, name: str = "<text>") -> Stack:
    """Return the part as the text describes it; its mods are not looked at. Raises FileError."""
    return _Reader(text, name).base()


def held_from_toml(text: str, name: str = "<text>") -> tuple[Package | None, Mount | None]:
    """Return package and mount as the text describes them; None where it does not. Raises FileError."""
    return _Reader(text, name).held()


def _keys(kind: type) -> dict[str, bool]:
    """Return the keys of a part in a file, and whether each must be there."""
    parameters = inspect.signature(kind).parameters.values()
    return {KEY_OF.get(p.name, p.name): p.default is inspect.Parameter.empty for p in parameters}


class _Reader:
    """One text, with the materials and classes of its own and the lines at which things stand."""

    def __init__(self, text: str, name: str) -> None:
        self.file = name
        self.data = self._parse(text)
        self.lines = Lines(text)
        self.materials: dict[str, Material] = {}
        self.classes: dict[str, InterfaceClass] = {}
        self.known_keys(self.data, (*TOP, *HELD), ())
        if not self.data:
            self.fail("the file is empty", (), expected=f"{EXAMPLES['name']}, {EXAMPLES['die']}")
        self._own()

    def _parse(self, text: str) -> dict[str, Any]:
        try:
            return tomllib.loads(text)
        except (ValueError, RecursionError) as error:  # a ValueError too for an integer of 5000 digits
            found = re.search(r"\(at line (\d+), column \d+\)$", str(error))
            last = "at end of document" in str(error)
            line = f", line {found[1] if found else text.rstrip().count(chr(10)) + 1}" if found or last else ""
            problem = str(error) if isinstance(error, ValueError) else "brackets are nested too deeply"
            right = 'one `key = "value"` a line, texts in quotes, tables such as [[layer]]'
            raise FileError(f"not valid TOML: {problem}", where=self.file + line, expected=right) from error

    # -- saying what is wrong

    def fail(self, problem: str, place: Place, called: str = "", expected: str = "") -> NoReturn:
        """Raise a FileError at a place of the text."""
        raise self._error(problem, place, called, expected)

    def _error(self, problem: str, place: Place, called: str = "", expected: str = "") -> FileError:
        where = f"{self.file}, line {self.lines.find(place)}"
        return FileError(problem, where=f"{where}, {called}" if called else where, expected=expected)

    def placed(self, error: Exception, place: Place, called: str) -> FileError:
        """Return an error of a part as one of the file, at the line of the field that it names."""
        if isinstance(error, FileError):
            return error
        if not isinstance(error, InputError):
            return self._error(f"a number is too large: {error}", place, called)
        field = re.sub(r"^leakage_|_[xy]$", "", error.where.rpartition(".")[2])
        if error.where in ("die", "region", "interface", "patch", "layer", "sensor"):  # so far without a name
            field = "name"
        shown = error.where if called in error.where else f"{called}: {error.where}" if "." in error.where else called
        return self._error(error.problem, (*place, KEY_OF.get(field, field)), shown, error.expected)

    def known_keys(self, table: Mapping[str, Any], keys: Iterable[str], place: Place, called: str = "") -> None:
        """Refuse a key that has no meaning here."""
        keys = list(keys)
        for key in table:
            if key not in keys:
                hint = suggest(key, keys)
                if place and place[0] in ("layer", "die") and key in _keys(Layer) and "interface" in keys:
                    hint = f"a layer, which has a thickness, needs {EXAMPLES['material']}; an interface has a bond_line"
                self.fail(f"unknown key {key!r}; {hint}", (*place, key), called)

    def table(self, given: object, place: Place, called: str, right: str) -> dict[str, Any]:
        """Return a table, or say that it is none."""
        if not isinstance(given, dict):
            self.fail(f"{_short(given)} is not a table", place, called, right)
        return given

    def tables(self, given: object, place: Place, header: str) -> list[tuple[dict[str, Any], Place]]:
        """Return each table of an array, with its place."""
        if not isinstance(given, list):
            self.fail(f"{_short(given)} is not an array of tables", place, header, f"a table [[{header}]] for each")
        return [(self.table(each, (*place, n), header, f"[[{header}]]"), (*place, n)) for n, each in enumerate(given)]

    def text(self, given: object, place: Place, called: str, right: str) -> str:
        """Return a text that is not blank, or say that it is none."""
        if not isinstance(given, str) or not given.strip():
            self.fail(f"{_short(given)} is not a name", place, called, right)
        return given

    # -- materials and classes

    def _own(self) -> None:
        for table, place in self.tables(self.data.get("material", []), ("material",), "material"):
            name = self._own_name(table, place, own.MATERIAL_KEYS, "conductivity", self.materials)
            self.materials[_folded(name)] = self._made(partial(own.material_from, table), place, name)
        for table, place in self.tables(self.data.get("interface_class", []), ("interface_class",), "interface_class"):
            name = self._own_name(table, place, own.CLASS_KEYS, "resistance", self.classes)
            known = {}
            if "material" in table:
                known[table["material"]] = self.material(table["material"], (*place, "material"), f"{name}.material")
            self.classes[_folded(name)] = self._made(partial(own.class_from, table, known), place, name)

    def _own_name(
        self, table: dict[str, Any], place: Place, keys: Iterable[str], needed: str, taken: Mapping[str, object]
    ) -> str:
        self.needed(table, ("name",), place, str(place[0]))
        name = self.text(table["name"], (*place, "name"), str(place[0]), EXAMPLES["name"])
        self.known_keys(table, keys, place, name)
        self.needed(table, (needed,), place, name)
        if _folded(name) in taken:
            self.fail(f"{name!r} is described twice", (*place, "name"), name, "a name of its own for each")
        return name

    def material(self, given: object, place: Place, called: str) -> Material:
        """Return the material of this name: the file's own, else the library's."""
        name = self.text(given, place, called, EXAMPLES["material"])
        return self._looked_up(name, self.materials, material, place, called)  # type: ignore[no-any-return]

    def interface_class(self, given: object, place: Place, called: str) -> InterfaceClass:
        """Return the interface class of this name: the file's own, else the library's."""
        name = self.text(given, place, called, 'interface = "ceramic paste"')
        return self._looked_up(name, self.classes, interface_class, place, called)  # type: ignore[no-any-return]

    def _looked_up(
        self, name: str, mine: Mapping[str, Any], shipped: Callable[[str], Any], place: Place, called: str
    ) -> Any:
        if _folded(name) in mine:
            return mine[_folded(name)]
        try:
            return shipped(name)
        except InputError as error:
            near = [each.name for each in mine.values()]
            hint = f"; in this file: {suggest(name, near)}" if near else ""
            raise self._error(f"{error.problem}{hint}", place, called) from error

    # -- parts

    def needed(self, table: Mapping[str, Any], keys: Iterable[str], place: Place, called: str) -> None:
        """Refuse a table without one of these keys."""
        for key in keys:
            if key not in table:
                where = f"{called}.{key}" if called else key
                self.fail(
                    f"{key!r} is missing",
                    place,
                    where,
                    f"for example {EXAMPLES.get(where.partition('.')[2], EXAMPLES[key])}",
                )

    def _made(self, make: Callable[[], Any], place: Place, called: str) -> Any:
        try:
            return make()
        except (InputError, OverflowError) as error:
            raise self.placed(error, place, called) from error

    def part(self, kind: type, table: dict[str, Any], place: Place, inside: str = "") -> Any:
        """Return the part of this kind that a table describes; `inside` names one that has no name of its own."""
        keys = _keys(kind)
        name = table.get("name")
        called = inside or (name.strip() if isinstance(name, str) and name.strip() else kind.__name__.lower())
        self.known_keys(table, keys, place, called)
        self.needed(table, [key for key, must in keys.items() if must], place, called)
        fields = {
            {v: k for k, v in KEY_OF.items()}.get(key, key): self._field(kind, key, value, (*place, key), called)
            for key, value in table.items()
        }
        return self._made(partial(kind, **fields), place, called)

    def _field(self, kind: type, key: str, value: object, place: Place, called: str) -> object:
        path = f"{called}.{key}"
        if key == "material":
            return self.material(value, place, path)
        if key == "interface":
            return self.interface_class(value, place, path)
        if key == "joint":
            return [self.element(table, at) for table, at in self.tables(value, place, "die.joint")]
        if key in ("patch", "region"):
            inner = Patch if key == "patch" else Region
            return [self.part(inner, table, at) for table, at in self.tables(value, place, key)]
        if key == "power" and kind is Die and isinstance(value, dict):
            return self.part(PowerMap, value, place, path)
        if key == "leakage":
            return self.part(Leakage, self.table(value, place, path, EXAMPLES["leakage"]), place, path)
        if key == "model" and kind is Coolant and isinstance(value, dict):
            return self._cooling_model(value, place)
        if key == "radiator":
            return self.part(Radiator, self.table(value, place, path, EXAMPLES["radiator"]), place, called)
        if key in TEXTS or (key == "at" and kind is Sensor):
            return self.text(value, place, path, f"a text in quotes, such as {EXAMPLES['name']}")
        return value

    def _cooling_model(self, table: dict[str, Any], place: Place) -> object:
        self.needed(table, ("kind",), place, "coolant.model")
        kind = self.text(table["kind"], (*place, "kind"), "coolant.model.kind", EXAMPLES["kind"])
        if kind not in MODELS:
            self.fail(f"no model of cooling is named {kind!r}; {suggest(kind, MODELS)}", (*place, "kind"), "coolant")
        return self.part(MODELS[kind], {k: v for k, v in table.items() if k != "kind"}, place, "coolant")

    def element(self, table: dict[str, Any], place: Place) -> Layer | Interface:
        """Return a layer where the table has a material, else an interface."""
        return self.part(Layer if "material" in table else Interface, table, place)  # type: ignore[no-any-return]

    # -- stacks

    def base(self) -> Stack:
        """Return the part as described."""
        self.needed(self.data, ("name", "die", "coolant"), (), "")
        name = self.text(self.data["name"], ("name",), "name", 'name = "workstation part, as delivered"')
        title = self.text(self.data.get("title", name), ("title",), "title", 'title = "relid"').strip()
        dies = self.tables(self.data["die"], ("die",), "die")
        layers = self.tables(self.data.get("layer", []), ("layer",), "layer")
        sensors = self.tables(self.data.get("sensor", []), ("sensor",), "sensor")
        parts: dict[str, Any] = {}
        for kind, key in ((Coolant, "coolant"), (Board, "board")):
            if key in self.data:
                parts[key] = self.part(kind, self.table(self.data[key], (key,), key, f"one table [{key}]"), (key,))
        parts["dies"] = [self.part(Die, *each) for each in dies]
        parts["layers"] = [self.element(*each) for each in layers]
        parts["sensors"] = [self.part(Sensor, *each) for each in sensors]
        self.held()
        self._unique([(each, place) for group in (dies, layers, sensors) for each, place in group])
        title = title if title != name.strip() else ""
        return self._made(partial(Stack, name, **parts, title=title), ("name",), "")  # type: ignore[no-any-return]

    def held(self) -> tuple[Package | None, Mount | None]:
        """Return what lies below the dies, and how the cooler is held; None where the text does not say."""
        found = {
            key: self.part(kind, self.table(self.data[key], (key,), key, f"one table [{key}]"), (key,), key)
            for kind, key in zip((Package, Mount), HELD, strict=True)
            if key in self.data
        }
        return found.get("package"), found.get("mount")

    def _unique(self, tables: Iterable[tuple[dict[str, Any], Place]]) -> None:
        """Refuse a name that an earlier part has, at the line of the second."""
        seen = {"coolant"} | ({"board"} & set(self.data))

        def visit(table: dict[str, Any], place: Place) -> None:
            name = table.get("name", "").strip()
            if name in seen:
                self.fail(f"two parts are named {name!r}", (*place, "name"), name, "a name of its own for each")
            seen.add(name) if "name" in table else None
            for key in ("power", "region", "joint", "patch"):
                inner = table.get(key)
                for n, each in enumerate(inner if isinstance(inner, list) else []):
                    visit(each, (*place, key, n))
                if isinstance(inner, dict):
                    visit({"region": inner.get("region", [])}, (*place, key))

        for table, place in tables:
            visit(table, place)

    def variants(self, base: Stack) -> list[Stack]:
        """Return the stack that each mod leads to."""
        done: dict[str, Stack] = {}
        for table, place in self.tables(self.data.get("mod", []), ("mod",), "mod"):
            self.needed(table, ("name",), place, "mod")
            name = self.text(table["name"], (*place, "name"), "mod", 'name = "relid"').strip()
            if name in done:
                self.fail(f"two mods are named {name!r}", (*place, "name"), name, "a name of its own for each")
            self.known_keys(table, ("name", "from", "step", *VERBS), place, name)
            start = base
            if "from" in table:
                earlier = self.text(table["from"], (*place, "from"), name, EXAMPLES["from"]).strip()
                if earlier not in done:
                    self.fail(f"no earlier mod is named {earlier!r}; {suggest(earlier, done)}", (*place, "from"), name)
                start = done[earlier]
            done[name] = self._variant(start, table, place, name).named(name)
        return list(done.values())

    def _variant(self, stack: Stack, table: dict[str, Any], place: Place, name: str) -> Stack:
        verbs = [key for key in table if key in VERBS]
        steps = self.tables(table.get("step", []), (*place, "step"), "mod.step")
        if bool(verbs) == bool(steps):
            problem = "verbs beside steps" if verbs else "a mod that changes nothing"
            self.fail(
                problem, place, name, f"either verbs, such as {EXAMPLES['replace']}, or [[mod.step]] with one each"
            )
        for step, at in steps:
            self.known_keys(step, VERBS, at, name)
            if len(step) != 1:
                self.fail(f"a step with {len(step)} verbs", at, name, f"one verb, such as {EXAMPLES['without']}")
        again = [key for key in self.lines.keys(place) if key in VERBS]
        if len(again) != len(set(again)):
            twice = next(key for n, key in enumerate(again) if key in again[:n])
            self.fail(f"{twice!r} stands twice with another verb between, so that the order is lost", (*place, twice),
                      name, "[[mod.step]] with one verb each, in their order")  # fmt: skip
        for each, at in steps or [(table, place)]:
            for verb in (key for key in each if key in VERBS):
                stack = self._applied(stack, verb, each[verb], (*at, verb), name)
        return stack

    def _applied(self, stack: Stack, verb: str, given: Any, place: Place, name: str) -> Stack:
        """Return the stack after one verb of a mod."""
        called = f"{name}.{verb}"
        if verb in mods_in_files.EXAMPLES:
            return mods_in_files.applied(self, stack, verb, given, place, called)
        right = EXAMPLES[verb]
        if verb == "remounted":
            if given is not True:
                given = self.text(given, place, called, right)
            return self._made(partial(stack.remounted, "" if given is True else given), place, called)  # type: ignore[no-any-return]
        if verb == "without":
            if not isinstance(given, list) or not given or not all(isinstance(each, str) for each in given):
                self.fail(f"{_short(given)} is not a list of names", place, called, right)
            return self._made(partial(stack.without, *given), place, called)  # type: ignore[no-any-return]
        table = self.table(given, place, called, right)
        if not table:
            self.fail("no part is named", place, called, right)
        for target, value in table.items():
            at = (*place, target)
            if verb == "change":
                # change.paste.bond_line = … is the same as change = { "paste.bond_line" = … }
                fields = value if isinstance(value, dict) else {"": value}
                for field, new in fields.items():
                    path = f"{target}.{field}" if field else target
                    spot = (*at, field) if field else at
                    stack = self._made(partial(stack.change, path, new), spot, called)
                continue
            old = self._made(partial(stack.part, target), at, called)
            new_table = self.table(value, at, called, right)
            if verb == "insert_after" or isinstance(old, Layer | Interface):
                new = self.element(new_table, at)
            else:
                new = self.part(type(old), new_table, at)
            stack = self._made(partial(getattr(stack, verb), target, new), at, called)
        return stack


def _folded(name: str) -> str:
    """Return a name as it is looked up: capitals and spaces do not matter."""
    return " ".join(name.split()).casefold()


def _short(given: object) -> str:
    text = repr(given)
    return text if len(text) <= 60 else f"{text[:57]}…"
