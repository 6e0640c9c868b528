"""Materials and interface classes with their sources.

The values stand in the data files beside this package and are read when they are first asked for. Provenance is one of

* ``confirmed``: met in a source that was looked up;
* ``computed``: worked out from other values or with a property library named in the source;
* ``from memory``: recalled from the source named, which was not looked up;
* ``given by the user``.

Unless a row says otherwise, *low* and *high* are the 2.5 % and 97.5 % points of what is met in practice.
"""

from thermostack.catalogue.coolant import CoolerClass, Fluid, cooler_class, coolers, fluid, fluids
from thermostack.catalogue.interface import PLACES, InterfaceClass, InterfaceRow, Place
from thermostack.catalogue.load import effects, interface_class, interfaces, material, materials
from thermostack.catalogue.material import Material, TemperatureLaw
from thermostack.catalogue.ranges import Range

__all__ = [
    "PLACES",
    "CoolerClass",
    "Fluid",
    "InterfaceClass",
    "InterfaceRow",
    "Material",
    "Place",
    "Range",
    "TemperatureLaw",
    "cooler_class",
    "coolers",
    "effects",
    "fluid",
    "fluids",
    "interface_class",
    "interfaces",
    "material",
    "materials",
]
