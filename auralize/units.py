"""Quantities as people write them ("62 m", "200 ft", "14 AWG", "35 degC"): parse, convert, show.

Everything inside the program is in SI units (temperatures in degrees Celsius); this module is the
only door in and out.
"""

from __future__ import annotations

import datetime
import math
import re
from functools import lru_cache
from typing import Final, Literal

from auralize.spellings import plain

Quantity = Literal[
    "length",
    "area",
    "temperature",
    "resistance",
    "inductance",
    "capacitance",
    "semi-inductance",
    "resistance per length",
    "inductance per length",
    "capacitance per length",
    "frequency",
    "volume",
    "level",
    "voltage",
    "power",
    "time",
]

FOOT: Final = 0.3048
"""m, exact (international foot, 1959)."""
INCH: Final = 0.0254
"""m, exact."""

_PREFIX: Final = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}


def _prefixed(unit: str, prefixes: str) -> dict[str, float]:
    return {p + unit: _PREFIX[p] for p in prefixes} | {unit: 1.0}


def _per_length(unit: str, prefixes: str) -> dict[str, float]:
    lengths = {"m": 1.0, "km": 1e3, "ft": FOOT, "kft": 1e3 * FOOT}
    tops = _prefixed(unit, prefixes).items()
    return {f"{top}/{per}": t / p for top, t in tops for per, p in lengths.items()}


UNITS: Final[dict[Quantity, dict[str, float]]] = {
    "length": {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "km": 1e3}
    | {"ft": FOOT, "in": INCH, "yd": 3 * FOOT, "mil": 1e-3 * INCH},
    "area": {"mm2": 1e-6, "cm2": 1e-4, "m2": 1.0},
    "temperature": {"degC": 1.0},
    "resistance": _prefixed("ohm", "mk"),
    "inductance": _prefixed("H", "num"),
    "capacitance": _prefixed("F", "pnum"),
    "semi-inductance": _prefixed("sH", "m"),
    "resistance per length": _per_length("ohm", "m"),
    "inductance per length": _per_length("H", "num"),
    "capacitance per length": _per_length("F", "pnu"),
    "frequency": _prefixed("Hz", "kM"),
    "volume": {"l": 1e-3, "m3": 1.0, "ft3": FOOT**3},
    "level": {"dB": 1.0},
    "voltage": _prefixed("V", "mk"),
    "power": _prefixed("W", "mk"),
    "time": {"s": 1.0, "ms": 1e-3, "min": 60.0},
}
"""Factor from each accepted unit to the SI unit of its quantity."""

_MORE_UNITS: Final[dict[Quantity, tuple[str, ...]]] = {
    "area": ("AWG",),
    "temperature": ("degF", "K"),
}
"""Units that are accepted besides, which no factor converts."""

EXAMPLES: Final[dict[Quantity, str]] = {
    "length": '"62 m" or "200 ft"',
    "area": '"2.5 mm2" or "14 AWG"',
    "temperature": '"35 degC" or "95 degF"',
    "resistance": '"8 ohm"',
    "inductance": '"0.5 mH"',
    "capacitance": '"10 uF"',
    "semi-inductance": '"0.02 sH" (ohm times root second)',
    "resistance per length": '"14.8 ohm/km"',
    "inductance per length": '"0.65 uH/m"',
    "capacitance per length": '"60 pF/m"',
    "frequency": '"1 kHz"',
    "volume": '"60 l"',
    "level": '"20 dB"',
    "voltage": '"100 V"',
    "power": '"50 W"',
    "time": '"2 s"',
}
"""How each quantity is written."""

_NAMES: Final = (
    {"metre": "m", "millimetre": "mm", "centimetre": "cm", "kilometre": "km", "litre": "l"}
    | {"foot": "ft", "feet": "ft", "inch": "in", "inches": "in", "yard": "yd", "mil": "mil"}
    | {"volt": "V", "watt": "W", "second": "s", "sec": "s", "minute": "min"}
)
"""Units written out as words, which may have an s at their end."""
_WORD: Final = re.compile(r"[A-Za-z]+")
_SPELLINGS: Final = (
    ("^2", "2"),
    ("^3", "3"),
    ("square mm", "mm2"),
    ("sq mm", "mm2"),
    ("sqmm", "mm2"),
    ("²", "2"),
    ("³", "3"),
    ("\u03a9", "ohm"),  # Greek capital omega
    ("\u2126", "ohm"),  # ohm sign
    ("\u00b5", "u"),  # micro sign
    ("\u03bc", "u"),  # Greek small mu
    ("ohms", "ohm"),
    ("°", "deg"),
    ("L", "l"),
)
_NUMBER: Final = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
_USUAL: Final = re.compile(r"([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?) ([A-Za-z][A-Za-z0-9/]*)")
"""As programs write it, in which there is nothing to be made out."""
_AUGHT: Final = re.compile(r"\s*(?:([1-4])/0|(0{1,4}))\s*AWG\s*$", re.IGNORECASE)
_ZERO: Final = re.compile(r"[+-]0(\.0*)?%?")
_MINUS: Final = "\u2212"
_LONGEST_TEXT: Final = 400
"""Characters of a quantity: more than a double has digits."""
_LONGEST_QUOTE: Final = 60
"""Characters of what was found that a sentence repeats."""


@lru_cache(maxsize=1024)  # limits of what may be are parsed again and again
def parse(text: str, quantity: Quantity) -> float:
    """Value of ``text`` in SI units (degrees Celsius for temperatures, dB for levels).

    Raises ValueError with one sentence that says what was found and what would be right.
    """
    if len(text) > _LONGEST_TEXT:
        raise ValueError(f"{quoted(text)} is too long to be {a(quantity)}")
    usual = _USUAL.fullmatch(text)
    if usual and usual[2] in UNITS[quantity] and math.isfinite(value := float(usual[1])):
        return value * UNITS[quantity][usual[2]]
    found = plain(text, quantity)
    if quantity == "area" and (aught := _AUGHT.match(found)):
        count = int(aught.group(1)) if aught.group(1) else len(aught.group(2))
        return gauge_area(1 - count)
    match = _NUMBER.match(found.replace(_MINUS, "-"))
    if match is None:
        raise ValueError(f"{quoted(text)} is not {a(quantity)}; write it like {EXAMPLES[quantity]}")
    value, unit = float(match.group(1)), _normal(match.group(2))
    if not math.isfinite(value):
        raise ValueError(f"{quoted(text)} is too large to be {a(quantity)}")
    if quantity == "area" and unit.upper() == "AWG":
        return gauge_area(value)
    if quantity == "temperature":
        return _celsius(value, unit, text)
    if unit not in UNITS[quantity]:
        raise ValueError(_unit_message(text, unit, quantity))
    return value * UNITS[quantity][unit]


def typed(text: str, quantity: Quantity, unit: str) -> float:
    """The same for a command line: a bare number is in ``unit``, and units are read in any case.

    For quantities whose units differ by more than case. Raises ValueError as `parse` does.
    """
    match = _NUMBER.match(text.replace(_MINUS, "-"))
    if match is None:
        return parse(text, quantity)
    given = match.group(2) or unit
    right = {name.casefold(): name for name in UNITS[quantity]}
    return parse(f"{match.group(1)} {right.get(given.casefold(), given)}", quantity)


def parse_frequency(text: str) -> float:
    """Frequency in Hz as a person types it on a command line ("1 kHz", "31.5", "10k")."""
    bare = re.sub(r"hz$", "", text.strip(), flags=re.IGNORECASE).rstrip()
    try:
        return parse(re.sub(r"K$", "k", bare) + "Hz", "frequency")
    except ValueError:
        raise ValueError(f'{quoted(text)} is not a frequency; write it like "1 kHz"') from None


def _normal(unit: str) -> str:
    if unit.upper() == "AWG":
        return "AWG"
    unit = _WORD.sub(lambda word: _unit(word.group()), unit)
    for spelling, standard in _SPELLINGS:
        unit = unit.replace(spelling, standard)
    return unit.replace(" ", "")


def _unit(word: str) -> str:
    """The sign of a unit that is written out, in any case; any other word as it is."""
    small = word.lower().replace("meter", "metre").replace("liter", "litre")
    return _NAMES.get(small) or _NAMES.get(small.removesuffix("s"), word)


def _unit_message(text: str, unit: str, quantity: Quantity) -> str:
    wanted = f"{a(quantity)} is written like {EXAMPLES[quantity]}"
    if not unit:
        return f"{quoted(text)} has no unit; {wanted}"
    if unit.startswith(","):
        return f"{quoted(text)} has a comma; write 2.5 or 1000 without, {wanted}"
    return (
        f"{quoted(text)} has a unit that does not fit; {wanted}, in {_any_of(units_of(quantity))}"
    )


def units_of(quantity: Quantity) -> list[str]:
    """All units that a quantity is read in."""
    return [*UNITS[quantity], *_MORE_UNITS.get(quantity, ())]


def _any_of(names: list[str]) -> str:
    *others, last = names
    return f"{', '.join(others)} or {last}" if others else last


def quoted(found: object) -> str:
    """What was found, as TOML would write it but for quotes, cut where it would fill the screen."""
    if isinstance(found, bool):
        return str(found).lower()
    if isinstance(found, datetime.date | datetime.time):
        return found.isoformat()
    try:
        whole = repr(found)
    except ValueError:  # an integer of more digits than Python writes out
        return "a number of thousands of digits"
    return whole if len(whole) <= _LONGEST_QUOTE else f"{whole[:_LONGEST_QUOTE]}..."


def a(noun: str) -> str:
    """The noun with its article."""
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


def _celsius(value: float, unit: str, text: str) -> float:
    if unit in ("degC", "C"):
        return value
    if unit in ("degF", "F"):
        return (value - 32.0) / 1.8
    if unit == "K":
        return value - 273.15
    raise ValueError(_unit_message(text, unit, "temperature"))


def gauge_diameter(gauge: float) -> float:
    """Diameter in m of a solid round wire of American wire gauge ``gauge`` (0 is 1/0, -3 is 4/0).

    ASTM B258: 0.127 mm * 92^((36 - n)/39), exact by definition. Valid from -3 (4/0) to 40.
    """
    if not -3 <= gauge <= 40:
        raise ValueError(f"{gauge:g} AWG is outside the gauge table; it runs from 4/0 to 40 AWG")
    return float(0.127e-3 * 92.0 ** ((36.0 - gauge) / 39.0))


def gauge_area(gauge: float) -> float:
    """Cross-section in m2 of American wire gauge ``gauge`` (ASTM B258)."""
    return math.pi / 4.0 * gauge_diameter(gauge) ** 2


def nearest_gauge(area: float) -> float:
    """American wire gauge (not rounded) of a cross-section in m2; the inverse of `gauge_area`."""
    return 36.0 - 39.0 * math.log(math.sqrt(4.0 * area / math.pi) / 0.127e-3, 92.0)


def show_length(metres: float) -> str:
    """``62 m (203 ft)``: both systems, three digits."""
    return f"{_three(metres)} m ({_three(metres / FOOT)} ft)"


def _three(value: float) -> str:
    """Three digits, and no power of ten: ``1310``, ``91.4``, ``0.0328``."""
    text = f"{value:.3g}"
    return f"{float(text):.0f}" if "e+" in text else text


def show_area(area: float) -> str:
    """``2.5 mm2 (13.1 AWG)``; the gauge need not be a whole number, but 4/0 to 40 is the table."""
    gauge = nearest_gauge(area)
    aught = f"{1.0 - gauge:.2g}/0" if gauge < 0.0 else f"{gauge:.3g}"
    return f"{area * 1e6:.3g} mm2 ({aught} AWG)"


def rounded(value: float, form: str) -> str:
    """``format(value, form)``, but without a sign where all of its digits are 0."""
    text = format(value, form)
    return text.lstrip("+-") if _ZERO.fullmatch(text) else text


def show(value: float, unit: str) -> str:
    """``value`` in SI with a prefix that keeps it readable: ``show(2e-6, "H")`` is ``2.00 uH``."""
    if value == 0.0 or not math.isfinite(value):
        return f"{rounded(value, '.0f')} {unit}"
    for prefix in ("p", "n", "u", "m", "", "k"):
        if abs(value) < 999.5 * _PREFIX[prefix]:
            return f"{value / _PREFIX[prefix]:#.3g} {prefix}{unit}".replace(". ", " ")
    return f"{value / 1e3:.0f} k{unit}"


def show_frequency(hertz: float) -> str:
    """``31.5 Hz``, ``16 kHz``: the way a third-octave band is named."""
    return f"{hertz / 1e3:.4g} kHz" if hertz >= 1000.0 else f"{hertz:.4g} Hz"


def decibels(ratio: float) -> float:
    """20 log10 of an amplitude ratio of 0 and above; -inf for 0."""
    return 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def amplitude(level: float) -> float:
    """Amplitude ratio of a level in dB; 0 for -inf."""
    return float(10.0 ** (level / 20.0))
