"""The choices of a rig as source text in Faust, an open language for audio processors.

One processor with two channels: source, receiving end and drop of every choice as second-order sections at
the usual sample rates, a switch for the choice and one for the signal, with a cross-fade between them.
Language and libraries: GRAME, "Faust Quick Reference", and `stdfaust.lib` of Debian's package faust 2.54.
"""

from __future__ import annotations

import math
import re
import textwrap
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from auralize.audio.loudness import k_weighting, power_response
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.network import Network
from auralize.circuit.power import pink_noise
from auralize.circuit.signals import Signal, over, signal_words, voltage
from auralize.circuit.solution import Across, Solution, solve
from auralize.errors import one_line
from auralize.files import encoded, write_bytes
from auralize.filters.export import gain_words, inverted, inverts
from auralize.filters.quality import caution, check, of_magnitude
from auralize.filters.sections import IIR_GOAL, Iir, design_iir
from auralize.outputs import among, check_ours, file_name, fingerprint, marked, origin
from auralize.rig.choice import Choice

RATES: Final = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
"""Hz at which the text has coefficients; a host at another rate gets those of the nearest."""
FADE: Final = 0.015
"""s from one choice, or signal, to the next."""
MOST_MAKEUP: Final = 40
"""dB, the end of the slider for the drops."""
MATCHED_BY: Final = "pink noise from 20 Hz to 20 kHz, K-weighted after ITU-R BS.1770"
LONGEST_WORDS: Final = 60
"""Characters of a label; hosts show far fewer."""
_SIGNALS: Final[tuple[Signal, ...]] = ("receiving", "drop")
_SILENCE: Final = np.array([[0.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
_NOTHING: Final = np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
_SIGNS: Final = " .,+-_"
"""Besides letters and digits, what stands in a label as it is: the rest may mean something in Faust."""
_WIDTH: Final = 110
_WEIGHTED_AT: Final = 48_000
"""Hz; the rate of BS.1770's own tables."""


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
class Panel:
    """What the processor begins with, and what else makes the text what it is."""

    title: str
    across: Across
    rates: tuple[int, ...]
    makeup: int
    """dB of the slider for the drops."""


def faust_name(rig: str, choices: Sequence[Choice], every: Sequence[str], panel: Panel) -> str:
    """What the file is called. Faust's tools name a class after it, so it has letters, digits and _ alone."""
    names = among([choice.name for choice in choices], every)
    conductor = "" if panel.across == "both" else f"drop-{panel.across}"
    rates = "" if panel.rates == RATES else "+".join(f"{rate}Hz" for rate in panel.rates)
    name = file_name([rig, names, choices[0].place_tag, conductor, rates], "")
    bare = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    word = re.sub(r"[^A-Za-z0-9]+", "_", bare).strip("_")
    return f"{word if word[:1].isalpha() else f'rig_{word}'.strip('_')}.dsp"


def export_faust(
    choices: Sequence[Choice],
    panel: Panel,
    matches: Sequence[float],
    path: Path,
    *,
    replaces: bool = False,
) -> str:
    """Write the text; say what it is. ``matches`` are dB, one for each choice.

    Raises AuralizeError for a rate or a drop that cannot be, a response that no sections come near, or a
    file that cannot be written: a file of that name which this call did not make, unless it ``replaces``.
    """
    identities = [choice.identity for choice in choices]
    call = fingerprint("filter dsp", identities, panel.across, panel.rates)
    check_ours(path, call, replaces)
    branches = [
        design_branch(choice, match, panel) for choice, match in zip(choices, matches, strict=True)
    ]
    write_bytes(path, marked(encoded(faust_text(panel, branches)), ".dsp", call))
    return _facts(panel, branches)


def pink_loudness(choice: Choice, signal: Signal, across: Across = "both") -> float:
    """LU of pink noise in one signal relative to the source; minus infinity for silence.

    Stationary, so that nothing is gated; K-weighted as at 48 kHz.
    """
    noise = pink_noise(1.0, 1.0)
    weight = power_response(k_weighting(_WEIGHTED_AT), np.array(noise.frequency) / _WEIGHTED_AT)
    weight = weight * np.array(noise.share)
    power = np.abs(choice.response(noise.frequency, signal, across)) ** 2
    ratio = float(power @ weight / weight.sum())
    return 10.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def design_branch(choice: Choice, match: float, panel: Panel) -> Branch:
    """Design all that the text needs of a choice; raises AuralizeError as `export_faust` does."""
    choice.check_signal("drop", panel.across)
    solved = _solver(choice.network)
    found: dict[Signal, list[Iir]] = {signal: [] for signal in _SIGNALS}
    for rate in panel.rates:
        for signal in _SIGNALS:
            found[signal].append(_designed(choice, solved, signal, panel.across, rate))
    cautions = []
    for signal, iirs in found.items():
        what = f"the {signal} signal{over(signal, panel.across)} of choice {choice.name}"
        error = of_magnitude(max(iir.error for iir in iirs))
        check(what, error)
        told = caution(f"this filter of {what}", error, of_magnitude(IIR_GOAL))
        cautions += [told] if told else []
    return Branch(choice, {s: tuple(iirs) for s, iirs in found.items()}, match, tuple(cautions))


def _solver(network: Network) -> Callable[[Real], Solution]:
    """`solve`, which keeps the last solution: both signals are designed at the same frequencies."""
    kept: list[Solution] = []

    def solved(frequency: Real) -> Solution:
        if not kept or not np.array_equal(kept[0].frequency, frequency):
            kept[:] = [solve(network, frequency)]
        return kept[0]

    return solved


def _designed(
    choice: Choice, solved: Callable[[Real], Solution], signal: Signal, across: Across, rate: int
) -> Iir:
    """Silence where there is none of the signal; turned over where plus and minus are swapped."""

    def response(frequency: Real) -> Complex:
        return voltage(solved(frequency), choice.listen, signal, across)

    if not voltage(solve(choice.network, [20.0, 1000.0]), choice.listen, signal, across).any():
        return Iir(_SILENCE, rate, 0.0)
    found = design_iir(response, rate)
    return inverted(found) if inverts(choice) else found


# --- text -----------------------------------------------------------------------------------------


def faust_text(panel: Panel, branches: Sequence[Branch]) -> str:
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
        parts += [_filter(number, signal, one.sections[signal]) for signal in _SIGNALS]
    parts.append(_mix(branches))
    return "\n".join(parts) + "\n"


def _head(panel: Panel, branches: Sequence[Branch]) -> list[str]:
    """Comments on the whole."""
    about = "\n\n".join(_ABOUT).format(
        gain="; ".join(dict.fromkeys(gain_words(one.choice) for one in branches)),
        rates=_kilohertz(panel.rates),
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


def _kilohertz(rates: Sequence[int]) -> str:
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


def _told(number: int, one: Branch, panel: Panel) -> str:
    """Comments on one choice."""
    lines = [
        f"matched {one.match:+.2f} dB; "
        + ", ".join(
            f"{signal_words(signal, panel.across)} within {one.error(signal):.2g} dB"
            for signal in _SIGNALS
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


def _facts(panel: Panel, branches: Sequence[Branch]) -> str:
    """What was written, in one line."""
    drop = signal_words("drop", panel.across)
    errors = {signal: max(one.error(signal) for one in branches) for signal in _SIGNALS}
    matched = ", ".join(f"{one.choice.name} {one.match:+.2f} dB" for one in branches)
    facts = (
        f"Faust text of {', '.join(one.choice.name for one in branches)}: source, receiving end and "
        f"{drop} as second-order sections for {_kilohertz(panel.rates)}, delay 0 samples, "
        f"magnitude within {errors['receiving']:.2g} dB (receiving end) "
        f"and {errors['drop']:.2g} dB ({drop}); matched by pink noise: {matched}; make-up for drops "
        f"starts at {panel.makeup} dB; {origin()}"
    )
    return ". ".join([facts, *(told for one in branches for told in one.cautions)])
