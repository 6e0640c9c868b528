"""Two-dimensional conduction by finite volumes on a graded tensor grid: x–z and axisymmetric r–z sections.

`grid` makes the axes, `section` describes, `finite_volume` solves, `field` answers; `flat` and `stack_section` bring
the graph-and-arrays contract to a section: `strip` and `axisymmetric` are solvers like any other.
"""

from thermostack.solvers.sections.field import Field
from thermostack.solvers.sections.finite_volume import assemble, extrapolate, solve, solve_many
from thermostack.solvers.sections.grid import Axis, graded, uniform
from thermostack.solvers.sections.section import (
    Edge,
    Film,
    Fixed,
    Heat,
    Joint,
    OnLine,
    Patch,
    Radiation,
    Section,
    Void,
)
from thermostack.solvers.sections.stack_section import (
    CrossSection,
    axisymmetric,
    cross_section_of_discs,
    cross_section_of_strip,
    strip,
)

__all__ = [
    "Axis",
    "CrossSection",
    "Edge",
    "Field",
    "Film",
    "Fixed",
    "Heat",
    "Joint",
    "OnLine",
    "Patch",
    "Radiation",
    "Section",
    "Void",
    "assemble",
    "axisymmetric",
    "cross_section_of_discs",
    "cross_section_of_strip",
    "extrapolate",
    "graded",
    "solve",
    "solve_many",
    "strip",
    "uniform",
]
