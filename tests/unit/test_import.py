"""The house: dependence runs downward only; the import is light; every public name is there and explained."""

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import thermostack as ts

ROOT = Path(ts.__file__).parent
ROOMS = [
    {"errors"},
    {"units"},
    {"tables", "clock", "textfile"},
    {"catalogue"},
    {"laws"},
    {"stack"},
    {"solvers"},
    {"model"},
    {"operating"},
    {"local", "perfect"},
    {"propagate", "measured"},
    {"inference"},
    {"cautions", "field", "film"},
    {"ensemble", "mount"},
    {"states"},
    {"prediction"},
    {"comparison", "sweeping", "methods", "live"},
    {"calibration", "goal"},
    {"checking"},
    {"planning"},
    {"plots", "report"},
    {"notebook"},
]
"""From the floor up. Rooms of one storey do not use each other."""
STOREY = {room: level for level, rooms in enumerate(ROOMS) for room in rooms}
FORBIDDEN = {
    "laws": {"units", "tables", "catalogue", "stack"},
    "solvers": {"units", "tables", "catalogue", "stack"},
    "catalogue": {"laws"},
    "measured": {"stack", "model", "solvers", "operating"},
}
"""What a room may not use although it lies below: solvers and laws know arrays only, readings know no stacks."""


def room_of(path):
    inside = path.relative_to(ROOT)
    return inside.parts[0].removesuffix(".py")


def imports_of(path):
    """Yield module, line and names of the functions around each import in a file, lazy ones too."""
    package = [ROOT.name, *path.relative_to(ROOT).parts[:-1]]

    def visit(node, around):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue
            if isinstance(child, ast.Import):
                for alias in child.names:
                    yield alias.name, child.lineno, around
            elif isinstance(child, ast.ImportFrom):
                base = package[: len(package) - child.level + 1] if child.level else []
                module = ".".join([*base, *([child.module] if child.module else [])])
                for alias in child.names:
                    yield f"{module}.{alias.name}", child.lineno, around
            named = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
            yield from visit(child, (*around, child.name) if named else around)

    yield from visit(ast.parse(path.read_text(encoding="utf-8")), ())


FILES = sorted(p for p in ROOT.rglob("*.py") if p != ROOT / "__init__.py")


def test_every_room_is_known():
    assert {room_of(p) for p in FILES} <= set(STOREY)


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_dependence_runs_downward(path):
    own = room_of(path)
    for module, line, around in imports_of(path):
        parts = module.split(".")
        if parts[0] != ROOT.name or len(parts) < 2:
            continue
        used = parts[1]
        where = f"{path.relative_to(ROOT)}:{line} uses {used}"
        assert used in STOREY, f"{where}, which is no room"
        if used == own or (used == "plots" and any("plot" in name for name in around)):
            continue  # a result draws itself: the pictures are fetched when .plot() is called
        assert STOREY[used] < STOREY[own], f"{where}, which does not lie below {own}"
        assert used not in FORBIDDEN.get(own, set()), f"{where}, which {own} must not know"


def fresh(code):
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", code], check=True, capture_output=True, text=True
    ).stdout


def test_import_is_light():
    heavy = ("matplotlib", "pandas", "jupyter", "IPython", "ipywidgets", "scipy", "skfem", "pytest")
    code = f"import sys, thermostack; print([m for m in {heavy!r} if m in sys.modules])"
    assert fresh(code).strip() == "[]"


def test_a_prediction_needs_no_pictures():
    heavy = ("matplotlib", "pandas", "jupyter", "IPython", "ipywidgets")
    code = (
        "import sys, thermostack as ts\n"
        "die = ts.Die('die', 'silicon', '0.7 mm', ('10 mm', '10 mm'), '100 W', ts.Interface('tim', 'ceramic paste'))\n"
        "s = ts.Stack('s', die, [ts.Layer('plate', 'copper', '3 mm', ('30 mm', '30 mm'))],"
        " ts.Coolant('25 degC', resistance='0.05 K/W', contains_plate=False))\n"
        "str(ts.predict(s, solver='one-dimensional'))\n"
        f"print([m for m in {heavy!r} if m in sys.modules])"
    )
    assert fresh(code).strip() == "[]"


def test_the_public_face():
    assert len(set(ts.__all__)) == len(ts.__all__)
    assert dir(ts) == sorted(ts.__all__)
    for name in ts.__all__:
        value = getattr(ts, name)
        if name.startswith("__"):
            continue
        text = inspect.getdoc(value) or ""
        assert len(text) > 20, f"{name} has no docstring"
        if inspect.isclass(value):
            bases = {inspect.getdoc(base) for base in value.__mro__[1:]}
            assert text not in bases, f"{name} has only the docstring of its base"
            assert not text.startswith(f"{name}("), f"{name} has only the docstring that dataclass makes"
    assert callable(ts.predict), "a module must not hide the function of its name"
    with pytest.raises(AttributeError, match="no attribute 'predicted'"):
        ts.predicted  # noqa: B018


def test_public_names_are_listed_where_they_live():
    from thermostack import _HOME

    for module, names in _HOME.items():
        home = __import__(f"thermostack{module}", fromlist=["__all__"])
        for name in names:
            assert name in home.__all__, f"{module} does not list {name}"
