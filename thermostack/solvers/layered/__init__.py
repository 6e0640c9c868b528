"""Three-dimensional conduction through rectangular blocks joined by contacts, semi-analytic: the default solver.

`impedance` is the physics inside a block, `coefficients` the geometry of contacts, `modes` the choice and the tails of
mode sums, `faces` the sums themselves, `system` continuity and balance, `loads` sources and probes, `solve` the driver.
"""

from thermostack.solvers.layered.fields import Hottest, LayeredField, layered_field
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.solve import layered

__all__ = ["Hottest", "LayeredField", "LayeredSettings", "layered", "layered_field"]
