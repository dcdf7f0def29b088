"""How people of the trade write quantities ("16 ga", "10' 6\\"", "4R7"): put into number and unit.

What comes in is a text as typed, what goes out one that `units` reads. It imports nothing of the package.
"""

from __future__ import annotations

import math
import re
from typing import Final

_NUMBER: Final = r"\d+(?:\.\d+)?"
_GAUGE: Final = re.compile(
    rf"(?P<mark>AWG|ga(?:uge)?|no\.?)?\s*(?P<hash>\#)?\s*(?P<gauge>[1-4]/0|{_NUMBER})\s*"
    r"(?P<unit>AWG|gauge|ga\.?)?",
    re.IGNORECASE,
)
_CORES: Final = re.compile(rf"\d+\s*[x×*]\s*(?P<size>{_NUMBER})\s*(?P<unit>\S.*)?", re.IGNORECASE)
_CONDUCTORS: Final = re.compile(r"(?:AWG\s*|#)?(?P<gauge>\d+)\s*/\s*[1-9]\d*\s*(?:AWG|ga)?", re.I)
_STRANDS: Final = re.compile(r"(?P<count>\d+)\s*/\s*(?P<across>0?\.\d+)\s*(?:mm)?", re.IGNORECASE)
_SQUARE: Final = re.compile(rf"({_NUMBER})\s*(?:qmm|sq\.?|square|mm\s*sq\.?)", re.IGNORECASE)
_FOOT: Final = r"(?:feet|foot|ft\.?|['\u2032\u2019])"
_INCH: Final = r"(?:inch(?:es)?|in\.?|\"|''|[\u2033\u201d])"
_FEET: Final = re.compile(
    rf"(?:(?P<feet>{_NUMBER})\s*{_FOOT})?\s*(?:(?P<inches>{_NUMBER})\s*{_INCH})?", re.IGNORECASE
)
_CODE: Final = re.compile(r"(\d+)\s*([RK])\s*(\d*)", re.IGNORECASE)
_OHM: Final = re.compile(r"ohms?", re.IGNORECASE)
_HERTZ: Final = re.compile(r"(k?)(?:hz|hertz)\s*$", re.IGNORECASE)
_DEGREES: Final = re.compile(r"(?:º|degrees?|deg\.?)\s*", re.IGNORECASE)


def plain(text: str, quantity: str) -> str:
    """The text as number and unit where it is written in a way of the trade, else as it is.

    Raises ValueError, with one sentence, for what is clear but is another thing than was asked for.
    """
    stripped = text.strip()
    if quantity == "area":
        return _area(stripped, text)
    if quantity == "length":
        return _length(stripped, text)
    if quantity == "resistance" and (code := _CODE.fullmatch(stripped)):
        return _coded(*code.groups())
    if quantity.startswith("resistance"):
        return _OHM.sub("ohm", text)
    if quantity == "frequency":
        return _HERTZ.sub(lambda unit: unit.group(1).lower() + "Hz", text)
    if quantity == "temperature":
        return _DEGREES.sub("deg", text).replace("elsius", "").replace("ahrenheit", "")
    return text


def _area(stripped: str, text: str) -> str:
    if cores := _CORES.fullmatch(stripped):
        size = f"{cores['size']} {cores['unit'] or 'mm2'}"
        raise ValueError(f'{text!r} counts conductors; right is the size of one, "{size}"')
    if strands := _STRANDS.fullmatch(stripped):
        area = int(strands["count"]) * math.pi / 4.0 * float(strands["across"]) ** 2
        raise ValueError(
            f"{text!r} reads like strands and the diameter of one in mm; right is their area, such "
            f'as "{area:.2g} mm2"'
        )
    if conductors := _CONDUCTORS.fullmatch(stripped):
        raise ValueError(
            f"{text!r} reads like a gauge and a number of conductors; right is the gauge alone, "
            f'"{conductors["gauge"]} AWG"'
        )
    gauge = _GAUGE.fullmatch(stripped)
    if gauge and (gauge["mark"] or gauge["hash"] or gauge["unit"]):
        return f"{gauge['gauge']} AWG"
    return _SQUARE.sub(r"\1 mm2", text) if _SQUARE.fullmatch(stripped) else text


def _length(stripped: str, text: str) -> str:
    found = _FEET.fullmatch(stripped)
    if found is None or found["feet"] is None:
        return f"{found['inches']} in" if found and found["inches"] else text
    if found["inches"] is None:
        return f"{found['feet']} ft"
    return f"{12.0 * float(found['feet']) + float(found['inches'])!r} in"


def _coded(whole: str, letter: str, decimals: str) -> str:
    """IEC 60062 (value from memory): the letter stands where the point would."""
    return f"{whole}.{decimals or 0} {'k' if letter in 'kK' else ''}ohm"
