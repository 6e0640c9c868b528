"""Predict what a processor-package cooling mod brings, see which layer limits, and check a surprising result.

The names below are the public face; each is imported when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from .calibration import calibrate as calibrate
    from .catalogue import InterfaceClass as InterfaceClass
    from .catalogue import Material as Material
    from .catalogue import coolers as coolers
    from .catalogue import fluids as fluids
    from .catalogue import interfaces as interfaces
    from .catalogue import materials as materials
    from .cautions import Caution as Caution
    from .checking import Cause as Cause
    from .checking import Check as Check
    from .checking import check as check
    from .comparison import Comparison as Comparison
    from .comparison import compare as compare
    from .errors import FileError as FileError
    from .errors import InputError as InputError
    from .errors import SolveError as SolveError
    from .errors import ThermostackError as ThermostackError
    from .errors import ThermostackWarning as ThermostackWarning
    from .errors import UnitError as UnitError
    from .errors import UnknownNameError as UnknownNameError
    from .film import cooling as cooling
    from .goal import ValueFor as ValueFor
    from .goal import value_for as value_for
    from .measured.flags import SteadyError as SteadyError
    from .measured.join import join_logs as join_logs
    from .measured.log import Log as Log
    from .measured.read import read_log as read_log
    from .measured.reading import Reading as Reading
    from .measured.remounts import Remounts as Remounts
    from .measured.remounts import pool_mounts as pool_mounts
    from .measured.steps import ThicknessSteps as ThicknessSteps
    from .measured.steps import reduce_thickness_steps as reduce_thickness_steps
    from .measured.swapped import warn_if_swapped as warn_if_swapped
    from .methods import SideBySide as SideBySide
    from .methods import side_by_side as side_by_side
    from .mount import Mount as Mount
    from .mount import MountCheck as MountCheck
    from .mount import Package as Package
    from .mount import mount_check as mount_check
    from .planning import Checklist as Checklist
    from .planning import Plan as Plan
    from .planning import plan as plan
    from .prediction import Prediction as Prediction
    from .prediction import predict as predict
    from .report import Page as Page
    from .report import page as page
    from .stack import mods as mods
    from .stack.cooling import AirTower as AirTower
    from .stack.cooling import ChannelPlate as ChannelPlate
    from .stack.cooling import JetPlate as JetPlate
    from .stack.cooling import Radiator as Radiator
    from .stack.files import read_mount as read_mount
    from .stack.files import read_stack as read_stack
    from .stack.files import read_variants as read_variants
    from .stack.files import write_stack as write_stack
    from .stack.own import own_interface as own_interface
    from .stack.own import own_material as own_material
    from .stack.parts import Board as Board
    from .stack.parts import Coolant as Coolant
    from .stack.parts import Die as Die
    from .stack.parts import Interface as Interface
    from .stack.parts import Layer as Layer
    from .stack.parts import Leakage as Leakage
    from .stack.parts import Patch as Patch
    from .stack.parts import PowerMap as PowerMap
    from .stack.parts import Region as Region
    from .stack.parts import Sensor as Sensor
    from .stack.stack import Stack as Stack
    from .states import State as State
    from .sweeping import Sweep as Sweep
    from .sweeping import sweep as sweep
    from .units import Value as Value

_HOME = {
    ".calibration": ("calibrate",),
    ".cautions": ("Caution",),
    ".checking": ("Cause", "Check", "check"),
    ".comparison": ("Comparison", "compare"),
    ".errors": (
        "FileError", "InputError", "SolveError", "ThermostackError", "ThermostackWarning", "UnitError",
        "UnknownNameError",
    ),
    ".film": ("cooling",),
    ".goal": ("ValueFor", "value_for"),
    ".measured.flags": ("SteadyError",),
    ".measured.join": ("join_logs",),
    ".measured.log": ("Log",),
    ".measured.read": ("read_log",),
    ".measured.reading": ("Reading",),
    ".measured.remounts": ("Remounts", "pool_mounts"),
    ".measured.steps": ("ThicknessSteps", "reduce_thickness_steps"),
    ".measured.swapped": ("warn_if_swapped",),
    ".methods": ("SideBySide", "side_by_side"),
    ".mount": ("Mount", "MountCheck", "Package", "mount_check"),
    ".catalogue": ("InterfaceClass", "Material", "coolers", "fluids", "interfaces", "materials"),
    ".planning": ("Checklist", "Plan", "plan"),
    ".prediction": ("Prediction", "predict"),
    ".stack": ("mods",),
    ".stack.cooling": ("AirTower", "ChannelPlate", "JetPlate", "Radiator"),
    ".stack.files": ("read_mount", "read_stack", "read_variants", "write_stack"),
    ".stack.own": ("own_interface", "own_material"),
    ".stack.parts": (
        "Board", "Coolant", "Die", "Interface", "Layer", "Leakage", "Patch", "PowerMap", "Region", "Sensor",
    ),
    ".stack.stack": ("Stack",),
    ".report": ("Page", "page"),
    ".states": ("State",),
    ".sweeping": ("Sweep", "sweep"),
    ".units": ("Value",),
}  # fmt: skip
_WHERE = {name: module for module, names in _HOME.items() for name in names}
# the modules of the main job are named after their function, which is what `thermostack.predict` must mean
__all__ = [*sorted(_WHERE), "__version__"]


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'thermostack' has no attribute {name!r}")
    value = getattr(import_module(_WHERE[name], __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
