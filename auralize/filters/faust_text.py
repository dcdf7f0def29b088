"""Source text in Faust, an open language for audio processors: the words and the code, no design.

Language and libraries: GRAME, "Faust Quick Reference", and `stdfaust.lib` of Debian's package faust 2.54. How
its menus come to LV2 was seen in `lv2.cpp` of the same.
"""

from __future__ import annotations

import math
import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.signals import Signal, signal_words
from auralize.circuit.solution import Across
from auralize.errors import one_line
from auralize.filters.export import gain_words
from auralize.filters.sections import Iir
from auralize.outputs import origin
from auralize.rig.choice import Choice

FADE: Final = 0.015
"""s from one choice, or signal, to the next."""
MOST_MAKEUP: Final = 40
"""dB, the end of the slider for the drops."""
MATCHED_BY: Final = "pink noise from 20 Hz to 20 kHz, K-weighted after ITU-R BS.1770"
SIGNALS_IN: Final[tuple[Signal, ...]] = ("receiving", "drop")
LONGEST_WORDS: Final = 60
"""Characters of a label; hosts show far fewer."""
_SIGNS: Final = " .,+-_"
"""Besides letters and digits, what stands in a label as it is: the rest may mean something in Faust."""
_WIDTH: Final = 110
_NOTHING: Final = np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])


@dataclass(frozen=True)
class Branch:
    """One choice: its sections by signal, one set for each rate, and the dB that match it to the source."""

    choice: Choice
    sections: dict[Signal, tuple[Iir, ...]]
    match: float
    cautions: tuple[str, ...]

    def error(self, signal: Signal) -> float:
        """dB of magnitude, the largest of all rates."""
        return max(iir.error for iir in self.sections[signal])


@dataclass(frozen=True)
class PluginPanel:
    """What the processor begins with, and what else makes the text what it is."""

    title: str
    across: Across
    rates: tuple[int, ...]
    makeup: int
    """dB of the slider for the drops."""


def faust_text(panel: PluginPanel, branches: Sequence[Branch]) -> str:
    """The whole source text."""
    names = [f"{number} {plain(one.choice.name)}" for number, one in enumerate(branches, 1)]
    parts = [
        *_head(panel, branches),
        *(_told(number, one, panel) for number, one in enumerate(branches, 1)),
        _SWITCHES.format(
            title=plain(panel.title, _SIGNS + ":()"),
            choices=_menu(names, 1),
            last=len(branches),
            signals=_menu(["source", "receiving end", signal_words("drop", panel.across)], 0),
            makeup=panel.makeup,
            most=MOST_MAKEUP,
            fade=FADE,
            at=_nearest(panel.rates),
        ),
    ]
    for number, one in enumerate(branches, 1):
        parts += [_filter(number, signal, one.sections[signal]) for signal in SIGNALS_IN]
    parts.append(_mix(branches))
    return "\n".join(parts) + "\n"


def _head(panel: PluginPanel, branches: Sequence[Branch]) -> list[str]:
    """Comments on the whole."""
    about = "\n\n".join(_ABOUT).format(
        gain="; ".join(dict.fromkeys(gain_words(one.choice) for one in branches)),
        rates=kilohertz(panel.rates),
        by=MATCHED_BY,
        makeup=panel.makeup,
        most=MOST_MAKEUP,
    )
    paragraphs = [f"{one_line(panel.title)}; {origin()}", *about.split("\n\n"), "Choices:"]
    return [_comment(words) for words in paragraphs]


def _comment(words: str, indent: str = "") -> str:
    lead = f"// {indent}"
    return textwrap.fill(
        words, _WIDTH, initial_indent=lead, subsequent_indent=lead, break_on_hyphens=False
    )


def plain(text: str, signs: str = _SIGNS) -> str:
    """Text without what would mean something in Faust, or break its line."""
    composed = unicodedata.normalize("NFC", text)
    kept = "".join(sign if sign.isalnum() or sign in signs else "_" for sign in composed)
    return kept.strip()[:LONGEST_WORDS].strip() or "_"


_ABOUT: Final = (
    "What a loudspeaker cable run does, as one processor of two channels in Faust: the source, what arrives "
    "at the loudspeaker (receiving end), and what the cable keeps (drop).",
    "Second-order sections for {rates}; at another rate those of the nearest act, and are shifted in "
    "frequency as the rates are. Magnitudes are met from 20 Hz to 20 kHz, phases as far as a response is "
    "minimum phase. No latency. Single precision is enough.",
    "As installed, no gain is added: {gain}. Matched, each choice gets what brings its receiving end to the "
    "loudness of the source, for {by}; its drop gets the same. The make-up gain of drops is added both "
    "ways. It starts at {makeup} dB: what brings the loudest drop up to the source, no more than "
    "{most} dB.",
    "No headroom is taken off: leave some on the desk. Start quiet: a drop with make-up gain can be as loud "
    "as the programme.",
)

_SWITCHES: Final = """
declare name "{title}";
import("stdfaust.lib");

choice = whole(nentry("[1]choice{choices}", 1, 1, {last}, 1));
hear = whole(nentry("[2]hear{signals}", 1, 0, 2, 1));
matched = checkbox("[3]matched in loudness");
makeup = hslider("[4]drop make-up, dB", {makeup}, 0, {most}, 1);
whole = int(_ + 0.5);

// Over {fade} s from where it is to where it is sent, level at both ends (3 t^2 - 2 t^3): no switch clicks.
fade(x) = (step ~ (_, _, _)) : !, !, _ with {{
    step(left, from, now) = next, start, x + (start - x) * share * share * (3 - 2 * share)
    with {{
        next = max(0, ba.if(moved, frames, left) - 1);
        start = ba.if(moved, now, from);
        share = next / frames;
    }};
    moved = x != x';
    frames = int({fade} * ma.SR + 0.5);
}};

// By sample rate.
at({at};

// Of z - 1 instead of z, so that a resonance far below the sample rate survives single precision.
section(b, d1, d2, c1, c2) = (step ~ (_, _)) : !, !, _ with {{
    step(u1, u2, x) = u1 + v, u2 + u1, b * v + d1 * u1 + d2 * u2
    with {{ v = x - c1 * u1 - c2 * u2; }};
}};
"""


def _menu(names: Sequence[str], first: int) -> str:
    """Metadata by which a host names whole numbers: as a menu, and as the scale points of LV2."""
    numbered = list(enumerate(names, first))
    menu = ";".join(f"'{name}':{number}" for number, name in numbered)
    points = " ".join(f"{name.replace(' ', '_')} {number}" for number, name in numbered)
    return f"[style:menu{{{menu}}}][lv2:integer][lv2:enumeration][lv2:scalePoint {points}]"


def kilohertz(rates: Sequence[int]) -> str:
    """Sample rates in words."""
    *first, last = (f"{rate / 1000.0:.10g}" for rate in rates)
    return f"{', '.join(first)} and {last} kHz" if first else f"{last} kHz"


def _nearest(rates: Sequence[int]) -> str:
    """Arguments and body of the function that picks by sample rate."""
    letters = [f"r{number}" for number in range(len(rates))]
    body = letters[-1]
    for index in range(len(rates) - 2, -1, -1):
        between = math.sqrt(rates[index] * rates[index + 1])
        body = f"ba.if(ma.SR < {between:.0f}, {letters[index]}, {body})"
    return f"{', '.join(letters)}) = {body}"


def _told(number: int, one: Branch, panel: PluginPanel) -> str:
    """Comments on one choice."""
    lines = [
        f"matched {one.match:+.2f} dB; "
        + ", ".join(
            f"{signal_words(signal, panel.across)} within {one.error(signal):.2g} dB"
            for signal in SIGNALS_IN
        ),
        f"heard at {one_line(one.choice.listen)}; rig {one.choice.fingerprint}",
        *one.cautions,
    ]
    named = f"{number} {one_line(one.choice.name)}: {one_line(one.choice.label)}"
    return "\n".join([_comment(named, "  "), *(_comment(line, "      ") for line in lines)])


def _filter(number: int, signal: Signal, iirs: Sequence[Iir]) -> str:
    count = max(len(iir.sections) for iir in iirs)
    parts = [np.concatenate([i.sections, *[_NOTHING] * (count - len(i.sections))]) for i in iirs]
    rows = []
    for at in range(count):
        by_rate = zip(*(_shifted(sections[at]) for sections in parts), strict=True)
        columns = (f"at({', '.join(f'{value:.17g}' for value in values)})" for values in by_rate)
        rows.append("section(\n        " + ",\n        ".join(columns) + ")")
    return f"{signal}{number} =\n    " + "\n    : ".join(rows) + ";"


def _shifted(section: Real) -> list[float]:
    """b0 b1 b2 1 a1 a2 in powers of z - 1: b0, what multiplies the two sums, what they are fed back by.

    (b0 z^2 + b1 z + b2) / (z^2 + a1 z + a2) with z = 1 + d is
    (b0 d^2 + (2 b0 + b1) d + b0 + b1 + b2) / (d^2 + (2 + a1) d + 1 + a1 + a2).
    """
    b0, b1, b2, _, a1, a2 = section.tolist()
    return [b0, 2.0 * b0 + b1, math.fsum((b0, b1, b2)), 2.0 + a1, math.fsum((1.0, a1, a2))]


def _mix(branches: Sequence[Branch]) -> str:
    every = list(enumerate(branches, 1))
    matches = " + ".join(f"(choice == {number}) * {one.match:.6f}" for number, one in every)
    terms = ["source"]
    for number, _ in every:
        mine = f"(choice == {number})"
        terms += [
            f"receiving{number} * weight({mine} * (hear == 1))",
            f"drop{number} * weight({mine} * (hear == 2) * ba.db2linear(makeup))",
        ]
    return f"""\
match = ba.db2linear(matched * ({matches}));
weight(w) = fade(w * match);
source = _ * fade(hear == 0);
channel = _ <: {", ".join(terms)} :> _;
process = channel, channel;"""
