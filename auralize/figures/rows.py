"""Figures as rows: plain dictionaries that any table takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from auralize.audio.bands import OCTAVES
from auralize.circuit.solution import Across
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig

Choices = Rig | Choice | Sequence[Choice]
"""A whole rig, one choice, or several."""

_HEAD = (
    "choice", "label", "load", "dc_loop_ohm", "reference_hz", "loss_db", "deviation_db", "deviation_hz",
    "damping_factor", "damping_hz", "cable_share", "lowest_ohm", "lowest_hz",
)  # fmt: skip


def listed(choices: Choices) -> list[Choice]:
    """The choices one by one."""
    if isinstance(choices, Choice):
        return [choices]
    return list(choices.choices.values()) if isinstance(choices, Rig) else list(choices)


def by_choice(choices: Choices) -> list[dict[str, Any]]:
    """One row a choice: what stands at the head of ``auralize figures``.

    Parameters
    ----------
    choices : Rig, Choice or sequence of Choice

    Returns
    -------
    list of dict
        choice, label, load, dc_loop_ohm, reference_hz (1 kHz, or in the load's band) and loss_db there,
        deviation_db and deviation_hz (the largest departure from that), damping_factor and damping_hz (0:
        at DC), cable_share (of the programme's power, 0 to 1), lowest_ohm and lowest_hz (what the amplifier
        sees).

    Examples
    --------
    >>> import auralize as au
    >>> rows = au.by_choice(au.load_rig("saltmarsh.toml"))
    >>> [(row["choice"], round(row["loss_db"], 2)) for row in rows]
    [('reel', -1.39), ('bought', -0.92), ('beams', -1.24)]
    """
    from auralize.figures.numbers import figures  # those who only list need none

    found = [asdict(figures(choice, (1000.0,))) for choice in listed(choices)]
    return [{key: row[key] for key in _HEAD} for row in found]


def by_frequency(
    choices: Choices, at: Sequence[float] = OCTAVES, across: Across = "both"
) -> list[dict[str, Any]]:
    """One row a choice and frequency: loss, drop, load, cable and damping.

    Parameters
    ----------
    choices : Rig, Choice or sequence of Choice
    at : sequence of float
        Hz, 0 to 1 MHz; octaves where it is left out.
    across : {"both", "plus", "minus"}
        Which conductors the drop is over.

    Returns
    -------
    list of dict
        choice, drop_across, and the fields of `auralize.figures.numbers.Line`; levels of silence are
        ``-inf``.

    Examples
    --------
    >>> import auralize as au
    >>> rig = au.load_rig("saltmarsh.toml")
    >>> [row] = au.by_frequency(rig["reel"], at=[1000.0])
    >>> round(row["drop_db"], 2)
    -16.58
    """
    from auralize.figures.numbers import figures

    return [
        {"choice": choice.name, "drop_across": across, **asdict(line)}
        for choice in listed(choices)
        for line in figures(choice, tuple(float(f) for f in at), across).lines
    ]
