"""Three-dimensional conduction through rectangular blocks joined by contacts, semi-analytic: the default solver."""

from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.solve import layered

__all__ = ["LayeredSettings", "layered"]
