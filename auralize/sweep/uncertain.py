"""One value of the rig file within a tolerance, and how it is spread there."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, cast, get_args

import numpy as np

from auralize.circuit.conductor import Real
from auralize.errors import RequestError
from auralize.rig.keys import declared
from auralize.rig.loads import LEGS
from auralize.rig.place_words import place_words
from auralize.rig.stepped import NUMBER, asked_place, asked_value
from auralize.units import Quantity, parse

Law = Literal["uniform", "normal", "list"]
"""Evenly between two limits; normal, not cut off; one of a list, each as likely."""

_RIGHT: Final = (
    'right is a value of the rig file within limits, such as "runs.pond.length = 62 m +- 2 m" or '
    '"... = 60 m to 64 m" (evenly), "... = 62 m +- 2 m as 2 sigma" (normal), "... = 60 m, 62 m" (a list)'
)
_QUANTITY: Final = re.compile(rf"({NUMBER})\s*(.*)")
_SIGMAS: Final = re.compile(rf"(.*\S)\s+as\s+({NUMBER})\s*sigma")
_PLUS_MINUS: Final = re.compile(r"\s*(?:\+-|\+/-|\u00b1)\s*")


@dataclass(frozen=True)
class UncertainValue:
    """A place in the rig file, and what its value may be."""

    place: tuple[str, ...]
    law: Law
    unit: str
    """Of all numbers here; nothing for plain numbers."""
    nominal: Any = None
    """As a rig file has it; None: what the rig itself says."""
    middle: float = 0.0
    """Between the limits, or the mean."""
    half: float = 0.0
    """Half the width between the limits, or sigma, the standard deviation."""
    values: tuple[Any, ...] = ()
    """The list, as a rig file has them."""

    @property
    def words(self) -> str:
        """What is not settled: "length of the pond run"."""
        return place_words(self.place)

    @property
    def low(self) -> float:
        """Lower limit of a uniform law."""
        return self.middle - self.half

    @property
    def high(self) -> float:
        """Upper limit."""
        return self.middle + self.half

    @property
    def spread_words(self) -> str:
        """How it is spread."""
        if self.law == "list":
            return f"{', '.join(map(str, self.values))}, each as likely"
        unit = f" {self.unit}" if self.unit else ""
        if self.law == "uniform":
            return f"evenly from {self.low:.6g} to {self.high:.6g}{unit}"
        return f"normal about {self.middle:.6g}{unit}, sigma {self.half:.4g}{unit}, not cut off"

    def numbers(self, chance: Real) -> list[Any]:
        """Values for chances of 0 to below 1: numbers in ``unit``, or what the list has."""
        if self.law == "list":
            return [self.values[int(at * len(self.values))] for at in chance]
        if self.law == "uniform":
            return (self.middle + (2.0 * chance - 1.0) * self.half).tolist()
        from scipy.special import ndtri

        deviations = ndtri(np.maximum(chance, np.finfo(float).tiny))
        return (self.middle + self.half * deviations).tolist()

    def written(self, number: Any) -> Any:
        """One of `numbers` as a rig file has it."""
        return f"{number!r} {self.unit}" if self.unit and self.law != "list" else number

    @classmethod
    def of(cls, text: str, said: Callable[[tuple[str, ...]], Any]) -> UncertainValue:
        """From "runs.pond.length = 62 m +- 2 m"; raises RequestError.

        ``said`` tells what the rig itself says at a place, for "+- 10 %" without a nominal value.
        """
        key, _, spread = text.partition("=")
        place, spread = asked_place(key), spread.strip()
        if not (place and spread and text.isprintable()):
            raise RequestError(f"tolerance: {text!r} was found; {_RIGHT}")
        sigmas = _SIGMAS.fullmatch(spread)
        nominal, *within = _PLUS_MINUS.split(sigmas[1] if sigmas else spread)
        try:
            if within:
                nominal = nominal or str(said(place))
                return _plus_minus(place, nominal, within, float(sigmas[2]) if sigmas else None)
            if sigmas:
                raise ValueError(_RIGHT)
            ends = spread.split(" to ")
            if len(ends) == 2 and "," not in spread:
                return _between(place, *ends)
        except ValueError as error:
            raise RequestError(f"tolerance: {text!r} was found; {error}") from None
        values = tuple(asked_value(one.strip()) for one in spread.split(","))
        if len(values) < 2 or "" in values:
            raise RequestError(f"tolerance: {text!r} was found; {_RIGHT}")
        return cls(place, "list", "", values=values)


def _plus_minus(
    place: tuple[str, ...], nominal: str, within: Sequence[str], sigmas: float | None
) -> UncertainValue:
    middle, unit = _number(nominal)
    if len(within) > 1:
        raise ValueError(_RIGHT)
    half, own = _number(within[0])
    if own == "%" and quantity_at(place) == "temperature":
        raise ValueError("a temperature has no percentage; right is a tolerance in degC or degF")
    width = abs(middle) * half / 100.0 if own == "%" else _in_unit(place, half, own, unit)
    law: Law = "uniform" if sigmas is None else "normal"
    if sigmas is not None:
        width = width / sigmas if sigmas > 0.0 else 0.0
    if not 0.0 < width < math.inf:
        raise ValueError("right is a tolerance above zero, and finite")
    written = f"{middle!r} {unit}" if unit else middle
    return UncertainValue(place, law, unit, written, middle, width)


def _between(place: tuple[str, ...], low: str, high: str) -> UncertainValue:
    bottom, unit = _number(low)
    top, other = _number(high)
    if other != unit:
        raise ValueError("right is one unit for both ends")
    if not bottom < top:
        raise ValueError("right is the lower end first")
    return UncertainValue(place, "uniform", unit, None, 0.5 * (bottom + top), 0.5 * (top - bottom))


def _number(text: str) -> tuple[float, str]:
    """A number and its unit, of which equal steps are equal steps of the quantity."""
    found = _QUANTITY.fullmatch(text.strip())
    if found is None:
        raise ValueError(_RIGHT)
    if not math.isfinite(float(found[1])):
        raise ValueError("right is a number that is finite")
    if found[2].upper() == "AWG":
        raise ValueError("gauges are no even scale; right is a size in mm2")
    return float(found[1]), found[2].strip()


def _in_unit(place: tuple[str, ...], half: float, own: str, unit: str) -> float:
    """Half the width of a tolerance, in the unit of its nominal value."""
    if own == unit:
        return half
    quantity = quantity_at(place)
    if quantity is None or not (unit and own):
        raise ValueError(f"right is a tolerance in {unit or 'no unit'}, or in %")
    zero, one, nothing, all_of_it = (
        parse(text, quantity) for text in (f"0 {unit}", f"1 {unit}", f"0 {own}", f"{half!r} {own}")
    )
    return (all_of_it - nothing) / (one - zero)


def quantity_at(place: tuple[str, ...]) -> Quantity | None:
    """What the rig file takes there; None where that is no quantity."""
    if place[-1] in LEGS:  # of a joint
        place = place[:-1]
    takes = {key.takes for key in declared(place[:-1]) if key.name == place[-1]}
    found = takes & set(get_args(Quantity))
    return cast(Quantity, found.pop()) if len(found) == 1 else None
