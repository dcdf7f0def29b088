"""A response as a filter that can be carried elsewhere: WAV or text (FIR), JSON (second-order sections)."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from auralize.audio.writer import AudioWriter
from auralize.circuit.conductor import Complex, Real
from auralize.circuit.signals import Signal, over, voltage
from auralize.circuit.solution import Across, solve
from auralize.errors import RequestError
from auralize.files import StagedText, commit_set, encoded, write_bytes
from auralize.filters.fir import MAGNITUDE_GOAL, Fir, design_minimum_phase, design_run
from auralize.filters.quality import caution, check, goal_of, of_magnitude
from auralize.filters.sections import IIR_GOAL, Iir, design_iir
from auralize.outputs import (
    check_ours,
    facts_beside,
    file_name,
    fingerprint,
    marked,
    origin,
    sidecar,
)
from auralize.rig.choice import Choice


def filter_name(
    rig: str,
    choice: Choice,
    signal: Signal,
    rate: int,
    minimum_phase: bool,
    suffix: str,
    across: Across = "both",
) -> str:
    """What the file of a filter is called, after all that makes it what it is."""
    kind = signal if across == "both" else f"{signal}-{across}"
    phase = "minimum-phase" if minimum_phase else ""
    return file_name([rig, choice.tag, kind, f"{rate / 1000.0:.10g}kHz", phase], suffix)


def export_filter(
    choice: Choice,
    signal: Signal,
    rate: int,
    minimum_phase: bool,
    path: Path,
    across: Across = "both",
    *,
    replaces: bool = False,
) -> str:
    """Write the filter of one signal, relative to the amplifier's own source voltage; say what it is.

    The ending of ``path`` decides: .wav or .txt for an FIR, .json for second-order sections. Raises
    AuralizeError for another ending, a rate or a drop that cannot be, or a file that cannot be written:
    a file of that name which this call did not make, unless it ``replaces``.
    """
    suffix = _ending(path, minimum_phase)
    call = fingerprint("filter", choice.identity, signal, across, rate, minimum_phase)
    check_ours(path, call, replaces)
    choice.check_signal(signal, across)
    what = f"{signal} signal{over(signal, across)}"

    def response(frequency: Real) -> Complex:
        return voltage(solve(choice.network, frequency), choice.listen, signal, across)

    if not response(np.array([20.0, 1000.0])).any():
        raise RequestError(
            f"choice {choice.name}: the {what} of {choice.listen} is silence, of which there is no filter"
        )
    if suffix == ".json":
        facts, text = _as_sections(choice, what, design_iir(response, rate))
        write_bytes(path, marked(encoded(text), suffix, call))
        return facts
    if minimum_phase:
        fir = design_minimum_phase(response, rate)
        if inverts(choice):
            fir = replace(fir, taps=-fir.taps)
    else:
        fir = design_run(choice.network, choice.listen, rate).of(signal, across)
    error, goal = fir.error, goal_of(signal)
    if minimum_phase:
        error, goal = of_magnitude(fir.error), of_magnitude(MAGNITUDE_GOAL)
    facts = _judged(_fir_facts(choice, what, fir, minimum_phase, suffix), what, error, goal)
    if suffix == ".txt":
        text = f"# {facts}\n" + "".join(f"{tap:.17g}\n" for tap in fir.taps)
        write_bytes(path, marked(encoded(text), suffix, call))
    else:
        _write_wav(path, fir, facts, call)
    return facts


def inverts(choice: Choice) -> bool:
    """Whether plus and minus are swapped at the loudspeaker."""
    return choice.network.loads[choice.listen].reversed


def _as_sections(choice: Choice, what: str, iir: Iir) -> tuple[str, str]:
    """The facts, and the text of the file."""
    made = inverted(iir) if inverts(choice) else iir
    facts = _judged(_iir_facts(choice, what, made), what, of_magnitude(made.error), _IIR_GOAL)
    return facts, json.dumps({"about": facts, **_sections(made)}, indent=2) + "\n"


def _ending(path: Path, minimum_phase: bool) -> str:
    """In lower case; raises RequestError for one that is not known or does not go with the rest."""
    suffix = path.suffix.lower()
    if suffix not in (".wav", ".txt", ".json"):
        raise RequestError(
            f"{path}: this ending is not known; right is .wav or .txt for an FIR, .json for an IIR"
        )
    if suffix == ".json" and minimum_phase:
        raise RequestError(f"{path}: an IIR is minimum phase as it is; leave --minimum-phase out")
    return suffix


_IIR_GOAL: Final = of_magnitude(IIR_GOAL)


def _judged(facts: str, what: str, error: float, goal: float) -> str:
    """The facts with a caution where there is one; raises DesignError where the filter is no use."""
    check(f"the {what}", error)
    told = caution(f"this filter of the {what}", error, goal)
    return facts if told is None else f"{facts}. {told}"


def inverted(iir: Iir) -> Iir:
    """The same, turned over."""
    sections = iir.sections.copy()
    sections[0, :3] *= -1.0
    return replace(iir, sections=sections)


def _fir_facts(choice: Choice, what: str, fir: Fir, minimum_phase: bool, suffix: str) -> str:
    kind = "minimum-phase FIR, magnitude" if minimum_phase else "FIR, complex response"
    error = f"{fir.error:.2g} dB" if minimum_phase else f"{fir.error:.0f} dB of it"
    return (
        f"{kind} of the {what}, choice {choice.name}: {len(fir.taps)} taps at {fir.rate} Hz, "
        f"{_delay(fir)}, {gain_words(choice)}, error within {error}; "
        f"{_convolving(fir) if suffix == '.wav' else ''}{_made(choice)}"
    )


def _delay(fir: Fir) -> str:
    milliseconds = f" ({1000.0 * fir.delay / fir.rate:.3f} ms)" if fir.delay else ""
    return f"delay {fir.delay} samples{milliseconds}"


def _convolving(fir: Fir) -> str:
    """What a convolver has to be told, so that gains and times are those of the run."""
    late = f", what stays dry delayed by {fir.delay} samples" if fir.delay else ""
    return f"in a convolver: {fir.rate} Hz, gain 0 dB, normalising off{late}; "


def _iir_facts(choice: Choice, what: str, iir: Iir) -> str:
    return (
        f"IIR of the {what}, choice {choice.name}: {len(iir.sections)} second-order sections "
        f"at {iir.rate} Hz, delay 0 samples, {gain_words(choice)}, magnitude within {iir.error:.2g} dB; "
        f"{_made(choice)}"
    )


def gain_words(choice: Choice) -> str:
    """What the filter's 0 dB is."""
    turns = f" ({choice.turns_words})" if choice.turns_words else ""
    return f"gain 0 dB re source voltage{turns}"


def _sections(iir: Iir) -> dict[str, object]:
    names = ("b0", "b1", "b2", "a0", "a1", "a2")
    sections = [dict(zip(names, row, strict=True)) for row in iir.sections.tolist()]
    return {
        "sample_rate_hz": iir.rate,
        "delay_samples": 0,
        "gain_db": 0.0,
        "magnitude_error_db": iir.error,
        "sections": sections,
    }


def _made(choice: Choice) -> str:
    return f"{origin()}, rig {choice.fingerprint}"


def _write_wav(path: Path, fir: Fir, facts: str, call: str) -> None:
    """One channel of 64-bit floats: taps as they are, full scale 1.0; and the same facts beside it."""
    with (
        StagedText(sidecar(path)) as beside,
        AudioWriter(path, fir.rate, 1, "DOUBLE", len(fir.taps), facts) as writer,
    ):
        writer.write(np.asarray(fir.taps, dtype=np.float64)[:, None])
        writer.finish()
        told = {
            "file": path.name,
            "about": facts,
            "sample_rate_hz": fir.rate,
            "taps": len(fir.taps),
            "delay_samples": fir.delay,
            "delay_ms": 1000.0 * fir.delay / fir.rate,
            "gain_db": 0.0,
            "normalise": False,
        }
        beside.stage(facts_beside(writer.sha256(), told, call))
        commit_set([writer.staged, beside.staged])
