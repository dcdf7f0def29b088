"""What a picture shows, panel by panel: curves of choices, what their lays leave open, a programme."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from auralize.circuit.conductor import Real
from auralize.circuit.power import Drive
from auralize.circuit.signals import Signal, over
from auralize.circuit.solution import Across
from auralize.figures.curves import Curves, curves
from auralize.figures.lays import extremes
from auralize.figures.reference import SWEEP
from auralize.rig.choice import Choice

LEAST_DB: Final = 3.0
"""dB that an axis spans at least, so that nothing looks dramatic that is not."""
_LEAST_OHM: Final = 4.0
_LEAST_DEGREES: Final = 30.0


@dataclass(frozen=True)
class PanelCurve:
    """One line over `SWEEP`; values that are not finite are gaps."""

    number: int | None
    """Of the choice it belongs to; None for one that is the same for all."""
    values: Real
    low: Real | None = None
    high: Real | None = None
    """Between which what a lay leaves open may move it."""


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
    ends = [_ends(choice) for choice in choices]
    drops = ends if across == "both" else [_ends(choice, across) for choice in choices]
    drop = f"drop{over('drop', across)}"
    return [
        Panel("loss, dB", _spread(each, ends, lambda one: one.loss_db), LEAST_DB),
        Panel(
            f"{drop}, dB re sending end", _spread(each, drops, lambda one: one.drop_db), LEAST_DB
        ),
        Panel("load, ohm", _once([one.load_ohm for one in each]), _LEAST_OHM),
        Panel("load, degrees", _once([one.load_degrees for one in each]), _LEAST_DEGREES),
    ]


def _ends(choice: Choice, across: Across = "both") -> list[Curves]:
    return [curves(end, across) for end in extremes(choice, across)]


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
    whole = [values, *more]
    return PanelCurve(number, values, np.min(whole, axis=0), np.max(whole, axis=0))


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
        zero = {load: _level(against.at(load), signal, side) for load in loads}
        each = tuple(
            _curve(
                number,
                _less(_level(choice, signal, side), zero[choice.listen]),
                [
                    _less(_level(end, signal, side), zero[choice.listen])
                    for end in extremes(choice, side)
                ],
            )
            for number, choice in enumerate(choices)
        )
        what = "what arrives" if signal == "receiving" else f"drop{over('drop', side)}"
        found.append(Panel(f"{what}, dB over {against.name}", each, LEAST_DB, zero=True))
    return found


def _level(choice: Choice, signal: Signal, across: Across) -> Real:
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(np.abs(choice.response(SWEEP, signal, across)))


def _less(one: Real, other: Real) -> Real:
    """Their difference; a gap where either is silent."""
    both = np.isfinite(one) & np.isfinite(other)
    return np.where(both, np.where(both, one, 0.0) - np.where(both, other, 0.0), np.nan)


def _spectrum(sound: Drive) -> Panel:
    share = np.array(sound.share)
    level = 10.0 * np.log10(share / share.max())
    return Panel(
        f"{sound.words}, dB re loudest third octave",
        (),
        LEAST_DB,
        bars=(np.array(sound.frequency), level),
    )
