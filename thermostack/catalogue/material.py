"""What a material is: conductivity and its change with temperature, melting, hazards, and where it all comes from."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermostack.catalogue.ranges import Range, as_range, check_positive
from thermostack.errors import InputError, ThermostackWarning

__all__ = ["AluminiumAttack", "Electrical", "Material", "Provenance", "TemperatureLaw"]

Float = NDArray[np.float64]

Electrical = Literal["conductor", "semiconductor", "weak conductor", "insulator"]
AluminiumAttack = Literal["none", "slow", "severe"]
Provenance = Literal["confirmed", "computed", "from memory", "given by the user"]


@dataclass(frozen=True)
class TemperatureLaw:
    """Relative change of a conductivity with temperature.

    Parameters
    ----------
    kind : {"constant", "power", "linear"}
        Constant: 1. Power: (T/T_ref)**exponent. Linear: 1 + slope (T − T_ref).
    reference : float
        Temperature T_ref at which the relative change is 1. [K]
    exponent : float
        Of the power law; 0 otherwise.
    slope : float
        Of the linear law, relative to the value at T_ref; 0 otherwise. [1/K]
    fit_range : tuple of float, optional
        Lowest and highest temperature for which the law was shown to hold. [K]
    fit_error : float, optional
        Largest relative deviation from the data within `fit_range`; ``None`` where not known.
    fit_note : str
        What to know of the fit.

    Raises
    ------
    InputError
        If a value is not finite, not positive where it must be, or does not belong to the kind.
    """

    kind: Literal["constant", "power", "linear"] = "constant"
    reference: float = 300.0
    exponent: float = 0.0
    slope: float = 0.0
    fit_range: tuple[float, float] | None = None
    fit_error: float | None = None
    fit_note: str = ""

    def __post_init__(self) -> None:
        if self.kind not in ("constant", "power", "linear"):
            raise InputError(f"{self.kind!r} is no temperature law", where="kind", expected="constant, power or linear")
        check_positive(self.reference, "reference")
        for name, kind in (("exponent", "power"), ("slope", "linear")):
            value = getattr(self, name)
            if not math.isfinite(value) or (value != 0) > (self.kind == kind):
                raise InputError(f"{value!r} for a {self.kind} law", where=name, expected=f"only in a {kind} law")
        if self.fit_range is not None:
            low, high = (check_positive(t, "fit_range") for t in self.fit_range)
            if not low < high:
                raise InputError(f"{self.fit_range!r} does not rise", where="fit_range", expected="(lowest, highest)")

    def relative(self, temperature: ArrayLike) -> Float:
        """Return k(T)/k(T_ref), also outside the fit range (see `holds_at`).

        Parameters
        ----------
        temperature : array_like
            Absolute temperature, any shape. [K]

        Returns
        -------
        ndarray
            Same shape. [-]

        Raises
        ------
        InputError
            If a temperature is not finite and above zero, or the law gives no positive conductivity there.
        """
        T = np.asarray(temperature, dtype=np.float64)
        if not np.all(np.isfinite(T) & (T > 0)):
            raise InputError("a temperature is not finite and above 0 K", where="temperature", expected="kelvin")
        if self.kind == "power":
            return np.asarray((T / self.reference) ** self.exponent)
        if self.kind == "linear":
            relative = np.asarray(1.0 + self.slope * (T - self.reference))
            if not np.all(relative > 0):
                raise InputError(
                    f"the linear law gives no positive conductivity between {T.min():.4g} and {T.max():.4g} K",
                    where="temperature",
                    expected=f"about {self.reference:g} K",
                )
            return relative
        return np.ones_like(T)

    def holds_at(self, temperature: ArrayLike) -> bool:
        """Say whether all temperatures [K] lie in the fit range; a constant without one is never refused."""
        if self.fit_range is None:
            return True
        T = np.asarray(temperature, dtype=np.float64)
        return T.size == 0 or bool(self.fit_range[0] <= T.min() and T.max() <= self.fit_range[1])


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material with its sources. SI. ``None`` means not known, or not applicable.

    Use `Material.of` for a material of your own: it takes plain numbers.

    Parameters
    ----------
    name, key : str
        What it is called, and its short key.
    conductivity, conductivity_in_plane : Range
        Through the thickness and along it, at the law's reference temperature. [W/(m K)]
    aliases : tuple of str
        Further names.
    family : str
        Kind of material: metal, solder, filled polymer, …
    description : str
        Which variety the values are of.
    range_meaning : str
        What the limits of `conductivity` mean.
    law : TemperatureLaw
        Change of both conductivities with temperature.
    density, heat_capacity : float, optional
        [kg/m³] and [J/(kg K)], at 300 K.
    solidus, liquidus : float, optional
        Where melting begins and ends. [K] A gallium alloy and a phase-change pad are *meant* to be above it.
    max_service : float, optional
        Highest temperature of lasting use. [K]
    electrical : {"conductor", "semiconductor", "weak conductor", "insulator"}
        Whether it can short what it touches.
    aluminium_attack : {"none", "slow", "severe"}
        What it does to aluminium.
    is_aluminium : bool
        Whether it is itself destroyed by gallium alloys.
    hazards, notes : str
        What can go wrong, and what to know of the values; empty for nothing noted.
    source, provenance, provenance_detail : str
        Where the values come from. `provenance` is that of the typical conductivity; the detail goes value by value.
    cross_check : str
        Independent values at hand.

    Raises
    ------
    InputError
        Names material and field.
    """

    name: str
    key: str
    conductivity: Range
    conductivity_in_plane: Range
    aliases: tuple[str, ...] = ()
    family: str = ""
    description: str = ""
    range_meaning: str = "95 % limits"
    law: TemperatureLaw = TemperatureLaw()
    density: float | None = None
    heat_capacity: float | None = None
    solidus: float | None = None
    liquidus: float | None = None
    max_service: float | None = None
    electrical: Electrical = "conductor"
    aluminium_attack: AluminiumAttack = "none"
    is_aluminium: bool = False
    hazards: str = ""
    source: str
    provenance: Provenance
    provenance_detail: str = ""
    cross_check: str = ""
    notes: str = ""

    def __post_init__(self) -> None:
        if not (isinstance(self.name, str) and self.name.strip()):
            raise InputError(f"{self.name!r} is no name", where="material.name", expected="a text")
        for field in ("conductivity", "conductivity_in_plane"):
            if not isinstance(getattr(self, field), Range):
                raise InputError(
                    f"{getattr(self, field)!r} is no Range",
                    where=f"{self.name}.{field}",
                    expected="a Range, or use Material.of for plain numbers",
                )
        for field in ("density", "heat_capacity", "solidus", "liquidus", "max_service"):
            if getattr(self, field) is not None:
                check_positive(getattr(self, field), f"{self.name}.{field}")
        if self.solidus is not None and self.liquidus is not None and self.solidus > self.liquidus:
            raise InputError(
                f"solidus {self.solidus:g} K is above liquidus {self.liquidus:g} K", where=f"{self.name}.solidus"
            )
        for field, allowed in (
            ("electrical", Electrical),
            ("aluminium_attack", AluminiumAttack),
            ("provenance", Provenance),
        ):
            if getattr(self, field) not in get_args(allowed):
                raise InputError(
                    f"{getattr(self, field)!r} is not known",
                    where=f"{self.name}.{field}",
                    expected=" or ".join(repr(a) for a in get_args(allowed)),
                )
        if not self.source.strip():
            raise InputError("no source", where=f"{self.name}.source", expected='a source, or the word "assumed"')

    @classmethod
    def of(
        cls,
        name: str,
        conductivity: Range | float | tuple[float, float, float],
        *,
        conductivity_in_plane: Range | float | tuple[float, float, float] | None = None,
        law: TemperatureLaw | None = None,
        density: float | None = None,
        heat_capacity: float | None = None,
        solidus: float | None = None,
        liquidus: float | None = None,
        max_service: float | None = None,
        electrical: Electrical = "conductor",
        aluminium_attack: AluminiumAttack = "none",
        is_aluminium: bool = False,
        hazards: str = "",
        source: str = "given by the user",
        notes: str = "",
    ) -> Material:
        """Return a material of your own from plain SI numbers; fields as in the class.

        Parameters
        ----------
        conductivity, conductivity_in_plane : Range, float or (low, typical, high)
            A single number is taken as exact. In-plane is the same as through-plane when left out. [W/(m K)]

        Raises
        ------
        InputError
            Names material and field.
        """
        through = as_range(conductivity, f"{name}.conductivity")
        in_plane = conductivity_in_plane
        return cls(
            name=name,
            key=name,
            conductivity=through,
            conductivity_in_plane=(
                through if in_plane is None else as_range(in_plane, f"{name}.conductivity_in_plane")
            ),
            law=law or TemperatureLaw(),
            density=density,
            heat_capacity=heat_capacity,
            solidus=solidus,
            liquidus=liquidus,
            max_service=max_service,
            electrical=electrical,
            aluminium_attack=aluminium_attack,
            is_aluminium=is_aluminium,
            hazards=hazards,
            source=source,
            provenance="given by the user",
            notes=notes,
        )

    @property
    def attacks_aluminium(self) -> bool:
        """Whether it attacks aluminium at all."""
        return self.aluminium_attack != "none"

    @property
    def conducts_electricity(self) -> bool:
        """Whether it can short what it touches, if only weakly."""
        return self.electrical != "insulator"

    def relative(self, temperature: ArrayLike, *, warn: bool = True) -> Float:
        """Return k(T)/k(T_ref), the same for through-plane and in-plane.

        Parameters
        ----------
        temperature : array_like
            Absolute temperature, any shape. [K]
        warn : bool
            Warn when a temperature lies outside the fit range; the text is always the same, so that Python's
            default filter shows it once.

        Returns
        -------
        ndarray
            Same shape as `temperature`. [-]

        Raises
        ------
        InputError
            If a temperature is not finite and above zero, or the law gives no positive conductivity there.
        """
        return self._relative(temperature, warn, stacklevel=3)

    def _relative(self, temperature: ArrayLike, warn: bool, stacklevel: int) -> Float:
        try:
            factor = self.law.relative(temperature)
        except InputError as error:
            raise error.at(self.name) from None
        if warn and self.law.fit_range is not None and not self.law.holds_at(temperature):
            low, high = self.law.fit_range
            warnings.warn(
                f"{self.name}: the change of conductivity with temperature is shown to hold for {low:g} to {high:g} K "
                "only and was used outside",
                ThermostackWarning,
                stacklevel=stacklevel,
            )
        return factor

    def conductivity_at(self, temperature: ArrayLike, *, warn: bool = True) -> Float:
        """Return the typical through-plane conductivity [W/(m K)] at `temperature` [K]; see `relative`."""
        return np.asarray(self.conductivity.typical * self._relative(temperature, warn, stacklevel=3))

    def conductivity_in_plane_at(self, temperature: ArrayLike, *, warn: bool = True) -> Float:
        """Return the typical in-plane conductivity [W/(m K)] at `temperature` [K]; see `relative`."""
        return np.asarray(self.conductivity_in_plane.typical * self._relative(temperature, warn, stacklevel=3))
