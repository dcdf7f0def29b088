"""What the page plays and computes with: the programme once, the responses, their levels; ready for JSON."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.metering import Level
from auralize.circuit.conductor import Real
from auralize.figures.against import difference
from auralize.figures.against_text import matched_words
from auralize.figures.curves import curves
from auralize.figures.facts import facts
from auralize.gains import INSTALLED, LOUDNESS, End, level_gain
from auralize.handover.levels import Measured
from auralize.handover.options import HandoverOptions
from auralize.handover.programme import MEDIA_TYPES
from auralize.handover.steps import nearest
from auralize.outputs import VERSION, fingerprint
from auralize.renderer.parts import Part
from auralize.renderer.take import Take
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.trials.compared import built, sha256_of_choice

FORMAT: Final = "auralize handover 1"


@dataclass(frozen=True)
class PageMaterial:
    """All that was worked out for a page."""

    rig: Rig
    choices: Sequence[Choice]
    take: Take
    options: HandoverOptions
    source_sha256: str
    sound: bytes
    """The programme inside."""
    measured: Measured
    stepped: Sequence[Measured]
    """At every step of the options."""
    date: str


def page_data(made: PageMaterial) -> dict[str, Any]:
    """Plain data, in the same order each time."""
    take, rate = made.take, made.take.info.rate
    return {
        "format": FORMAT,
        "version": VERSION,
        "language": "en",
        "title": made.rig.title,
        "rig": {
            "file": made.rig.path.name if made.rig.path else "",
            "fingerprint": rig_fingerprint(made.choices),
        },
        "date": made.date,
        "rate": rate,
        "frames": take.frames,
        "channels": take.channels,
        "delay": made.measured.parts[0].fir.delay,
        "programme": _programme(made),
        "choices": [_choice(made.rig, choice) for choice in made.choices],
        "signals": _signals(made, made.measured),
        "ways": _ways(made),
        "offered": {
            "match": made.options.match.data,
            "drops": made.options.drops,
            "makeup": made.options.makeup,
        },
        "steps": _steps(made),
        "response": _responses(made.choices),
        "differences": _differences(made),
    }


def rig_fingerprint(choices: Sequence[Choice]) -> str:
    """Of all that a rig says of these choices but for words."""
    return fingerprint([choice.identity for choice in choices])


def _programme(made: PageMaterial) -> dict[str, Any]:
    take = made.take
    return {
        "name": take.info.path.name,
        "from": take.first / take.info.rate,
        "seconds": take.frames / take.info.rate,
        "whole": take.whole,
        "kind": MEDIA_TYPES[made.options.kind],
        "sha256": made.source_sha256,
        "data": base64.b64encode(made.sound).decode(),
        **_level(made.measured.source),
    }


def _choice(rig: Rig, choice: Choice) -> dict[str, Any]:
    return {
        "name": choice.name,
        "label": choice.label,
        "facts": facts(choice),
        "built": built(choice),
        "listen": choice.listen,
        "fingerprint": choice.fingerprint,
        "rig_sha256": sha256_of_choice(rig, choice),
    }


def _signals(made: PageMaterial, measured: Measured) -> list[dict[str, Any]]:
    number = {choice.name: at for at, choice in enumerate(made.choices)}
    return [_signal(made, part, number) for part in measured.parts]


def _signal(made: PageMaterial, part: Part, number: dict[str, int]) -> dict[str, Any]:
    heard, match = part.heard, made.options.match
    assert isinstance(heard, End)
    assert part.choice is not None
    return {
        "choice": number[heard.choice],
        "signal": heard.signal,
        "across": heard.across,
        "taps": as_floats(part.fir.taps),
        **_level(part.level),
        # dB that match its choice, where it is matched at one frequency
        "level_match": level_gain(part.choice, match.frequency) if match.way == "level" else None,
        "filter_error": _finite(part.fir.error),
    }


def _ways(made: PageMaterial) -> dict[str, Any]:
    matches = dict.fromkeys([INSTALLED, LOUDNESS, made.options.match])
    return {"match": [match.data for match in matches], "drops": ["one", "equal"]}


def _steps(made: PageMaterial) -> dict[str, Any] | None:
    steps = made.options.steps
    if steps is None:
        return None
    return {
        "what": steps.words,
        "at": list(steps.shown),
        "start": nearest(_receiving(made.measured), [_receiving(one) for one in made.stepped]),
        "facts": [
            [facts(part.choice) for part in _ends(one) if part.choice] for one in made.stepped
        ],
        "signals": [_signals(made, one) for one in made.stepped],
    }


def _ends(measured: Measured) -> list[Part]:
    return [p for p in measured.parts if isinstance(p.heard, End) and p.heard.signal == "receiving"]


def _receiving(measured: Measured) -> list[NDArray[np.float64]]:
    return [part.fir.taps for part in _ends(measured)]


def _responses(choices: Sequence[Choice]) -> dict[str, Any]:
    drawn = [curves(choice) for choice in choices]
    return {
        "frequency": [round(float(hertz), 3) for hertz in drawn[0].frequency],
        "of": [{"loss": _decibels(one.loss_db), "drop": _decibels(one.drop_db)} for one in drawn],
    }


def _differences(made: PageMaterial) -> list[dict[str, Any]]:
    """How little two of the choices differ once equally loud, as a blind trial tells at its end."""
    ends = [part.heard for part in made.measured.parts if isinstance(part.heard, End)]
    found = []
    for pair in combinations(range(len(made.choices)), 2):
        first, second = (made.choices[at] for at in pair)
        for end in ends:
            if end.choice == first.name and replace(end, choice=second.name) in ends:
                words = matched_words(difference(second, first, end.signal, end.across))
                kind = {"signal": end.signal, "across": end.across}
                found.append({"choices": list(pair), **kind, "words": words})
    return found


def as_floats(taps: NDArray[np.float64]) -> str:
    """Base64 of 32-bit floats, the lowest byte first."""
    return base64.b64encode(taps.astype("<f4").tobytes()).decode()


def _level(level: Level) -> dict[str, float | None]:
    return {"loudness": _finite(level.loudness), "peak": level.peak}


def _decibels(levels: Real) -> list[float | None]:
    return [_finite(round(float(level), 4)) for level in levels]


def _finite(level: float) -> float | None:
    """JSON has no infinity: the level of silence is null."""
    return level if math.isfinite(level) else None
