"""What a picture shows, panel by panel: curves of choices, what their lays leave open, a programme."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.power import Drive
from auralize.circuit.signals import Signal, over
from auralize.circuit.solution import Across
from auralize.figures.curves import Curves, curves, less, lowest_and_highest, open_ends
from auralize.figures.reference import SWEEP
from auralize.rig.choice import Choice

LEAST_DB: Final = 3.0
"""dB that an axis spans at least, so that nothing looks dramatic that is not."""
_LEAST_OHM: Final = 4.0
_LEAST_DEGREES: Final = 30.0


@dataclass(frozen=True)
class PanelCurve:
    """One line over the frequencies of its panel; values that are not finite are gaps."""

    number: int | None
    """Of the choice it belongs to; None for one that is the same for all."""
    values: Real
    low: Real | None = None
    high: Real | None = None
    """Between which what is left open may move it."""
    inner: tuple[Real, Real] | None = None
    """Between which it is half of the time, where that is known."""


@dataclass(frozen=True)
class Panel:
    """Curves over one axis."""

    words: str
    curves: tuple[PanelCurve, ...]
    least: float
    """What the axis spans at least."""
    zero: bool = False
    """Whether its curves are differences, which are seen against zero."""
    bars: tuple[Real, Real] | None = None
    """Third octaves in Hz and their levels, in place of curves."""
    frequency: Real = field(default_factory=lambda: SWEEP)
    """Hz, at which the curves are told."""


def panels(
    choices: Sequence[Choice], across: Across, against: Choice | None, sound: Drive | None
) -> list[Panel]:
    """Loss, drop and load of choices; or what they differ by from one, each at its own loudspeaker.

    Raises RequestError where the drop ``across`` these conductors cannot be told.
    """
    found = _absolute(choices, across) if against is None else _relative(choices, across, against)
    return found if sound is None else [*found, _spectrum(sound)]


def _absolute(choices: Sequence[Choice], across: Across) -> list[Panel]:
    each = [curves(choice, across) for choice in choices]
    ends = [open_ends(choice) for choice in choices]
    drops = ends if across == "both" else [open_ends(choice, across) for choice in choices]
    drop = f"drop{over('drop', across)}"
    return [
        Panel("loss, dB", _spread(each, ends, lambda one: one.loss_db), LEAST_DB),
        Panel(
            f"{drop}, dB re sending end", _spread(each, drops, lambda one: one.drop_db), LEAST_DB
        ),
        Panel("load, ohm", _once([one.load_ohm for one in each]), _LEAST_OHM),
        Panel("load, degrees", _once([one.load_degrees for one in each]), _LEAST_DEGREES),
    ]


def _spread(
    each: Sequence[Curves], ends: Sequence[Sequence[Curves]], of: Callable[[Curves], Real]
) -> tuple[PanelCurve, ...]:
    return tuple(
        _curve(number, of(one), [of(end) for end in more])
        for number, (one, more) in enumerate(zip(each, ends, strict=True))
    )


def _curve(number: int, values: Real, more: Sequence[Real]) -> PanelCurve:
    if not more:
        return PanelCurve(number, values)
    return PanelCurve(number, values, *lowest_and_highest([values, *more]))


def _once(each: Sequence[Real]) -> tuple[PanelCurve, ...]:
    """A curve a choice, or a single one where they are all the same."""
    if all(np.array_equal(one, each[0]) for one in each):
        return (PanelCurve(None, each[0]),)
    return tuple(PanelCurve(number, one) for number, one in enumerate(each))


def _relative(choices: Sequence[Choice], across: Across, against: Choice) -> list[Panel]:
    found: list[Panel] = []
    signals: list[tuple[Signal, Across]] = [("receiving", "both"), ("drop", across)]
    for signal, side in signals:
        loads = {choice.listen for choice in choices}
        zero = {load: _level(curves(against.at(load), side), signal) for load in loads}
        each = tuple(
            _curve(
                number,
                less(_level(curves(choice, side), signal), zero[choice.listen]),
                [less(_level(end, signal), zero[choice.listen]) for end in open_ends(choice, side)],
            )
            for number, choice in enumerate(choices)
        )
        what = "what arrives" if signal == "receiving" else f"drop{over('drop', side)}"
        found.append(Panel(f"{what}, dB over {against.name}", each, LEAST_DB, zero=True))
    return found


def _level(one: Curves, signal: Signal) -> Real:
    return one.received_db if signal == "receiving" else one.kept_db


def _spectrum(sound: Drive) -> Panel:
    share = np.array(sound.share)
    level = 10.0 * np.log10(share / share.max())
    return Panel(
        f"{sound.words}, dB re loudest third octave",
        (),
        LEAST_DB,
        bars=(np.array(sound.frequency), level),
    )
