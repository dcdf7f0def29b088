"""The choices of a rig as one processor in Faust, an open language, for a plugin on somebody's own desk.

Source, receiving end and drop of every choice as second-order sections at the usual sample rates, and what
matches the choices for pink noise. The text itself is in `faust_text`.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from auralize.audio.loudness import k_weighting, power_response
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.network import Network
from auralize.circuit.power import pink_noise
from auralize.circuit.signals import Signal, over, signal_words, voltage
from auralize.circuit.solution import Across, Solution, solve
from auralize.files import encoded, write_bytes
from auralize.filters.export import inverted, inverts
from auralize.filters.faust_text import SIGNALS_IN, Branch, PluginPanel, faust_text, kilohertz
from auralize.filters.quality import caution, check, of_magnitude
from auralize.filters.sections import IIR_GOAL, Iir, design_iir
from auralize.outputs import among, check_ours, file_name, fingerprint, marked, origin
from auralize.rig.choice import Choice
from auralize.rig.work import working_out

RATES: Final = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
"""Hz at which the text has coefficients; a host at another rate gets those of the nearest."""
_SILENCE: Final = np.array([[0.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
_WEIGHTED_AT: Final = 48_000
"""Hz; the rate of BS.1770's own tables."""


def faust_name(
    rig: str, choices: Sequence[Choice], every: Sequence[str], panel: PluginPanel
) -> str:
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
    panel: PluginPanel,
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
    branches = []
    for number, (choice, match) in enumerate(zip(choices, matches, strict=True), 1):
        with working_out(f"the filters of choice {choice.name}, {number} of {len(choices)}"):
            branches.append(design_branch(choice, match, panel))
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


def design_branch(choice: Choice, match: float, panel: PluginPanel) -> Branch:
    """Design all that the text needs of a choice; raises AuralizeError as `export_faust` does."""
    choice.check_signal("drop", panel.across)
    solved = _solver(choice.network)
    found: dict[Signal, list[Iir]] = {signal: [] for signal in SIGNALS_IN}
    for rate in panel.rates:
        for signal in SIGNALS_IN:
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


def _facts(panel: PluginPanel, branches: Sequence[Branch]) -> str:
    """What was written, in one line."""
    drop = signal_words("drop", panel.across)
    errors = {signal: max(one.error(signal) for one in branches) for signal in SIGNALS_IN}
    matched = ", ".join(f"{one.choice.name} {one.match:+.2f} dB" for one in branches)
    facts = (
        f"Faust text of {', '.join(one.choice.name for one in branches)}: source, receiving end and "
        f"{drop} as second-order sections for {kilohertz(panel.rates)}, delay 0 samples, "
        f"magnitude within {errors['receiving']:.2g} dB (receiving end) "
        f"and {errors['drop']:.2g} dB ({drop}); matched by pink noise: {matched}; make-up for drops "
        f"starts at {panel.makeup} dB; {origin()}"
    )
    return ". ".join([facts, *(told for one in branches for told in one.cautions)])
