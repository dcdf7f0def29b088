"""What a session compares: named, described and fingerprinted for its log, and recognised again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Final, Protocol

from auralize.circuit.signals import Signal
from auralize.circuit.solution import ACROSS, Across
from auralize.gains import End
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.trials.plan import LONGEST_TEXT, Compared, Plan, TrialError

COMPARED: Final[tuple[tuple[Signal, Across], ...]] = (
    ("receiving", "both"),
    *(("drop", across) for across in ACROSS),
)
"""What can be compared."""
SAME_GAIN_DB: Final = 0.01
"""dB within which a choice is taken to be what it was when a session began."""


class Recognised(Protocol):
    """A programme that is known again, by whatever it is made of."""

    @property
    def name(self) -> str:
        """What it is, in a few words."""

    def fingerprint(self) -> str:
        """64 hexadecimal digits; raises AuralizeError where it cannot be read."""


def compared(rig: Rig, heard: End, gain: float) -> Compared:
    """A choice of a rig as it is heard at a gain in dB, for the plan of a session."""
    choice = rig.choices[heard.choice]
    return Compared(heard.words, gain, built(choice), sha256_of_choice(rig, choice))


def pair_of(plan: Plan, rig: Rig) -> list[End]:
    """What a session compares, found again in a rig; raises AuralizeError where it is not there."""
    every = (End(signal, name, across) for signal, across in COMPARED for name in rig.choices)
    known = {heard.words: heard for heard in every}
    missing = [choice.name for choice in plan.choices if choice.name not in known]
    if missing:
        raise TrialError(f"that session was held on another rig: it has {missing[0]}")
    return [known[choice.name] for choice in plan.choices]


def check_same(plan: Plan, rig: Rig, gains: Sequence[float]) -> None:
    """Raise TrialError where what a session compares would not sound as it did."""
    for heard, gain, was in zip(pair_of(plan, rig), gains, plan.choices, strict=True):
        now = compared(rig, heard, gain)
        if now.built != was.built:
            raise TrialError(
                f"{was.name} is now {now.built} and was {was.built}; that session needs the rig as it was"
            )
        if now.rig_sha256 != was.rig_sha256:
            raise TrialError(
                f"the rig of {was.name} is not what it was; that session needs it as it was"
            )
        if abs(now.gain_db - was.gain_db) > SAME_GAIN_DB:
            raise TrialError(
                f"{was.name} has changed since: its gain is {now.gain_db:+.2f} dB now and was "
                f"{was.gain_db:+.2f} dB; that session needs the rig as it was"
            )


def check_programme(plan: Plan, programme: Recognised) -> None:
    """Raise TrialError where a session was held on another programme."""
    if plan.programme_sha256 != programme.fingerprint():
        raise TrialError(f"that session was held on another programme: {plan.programme}")


def built(choice: Choice) -> str:
    """What a choice is made of on the way to its loudspeaker."""
    way = {name: choice.runs[name] for name in choice.network.path(choice.listen)}
    parts = [
        f"{name} {run.words}" + (f", {run.lay.words}" if run.lay is not None else "")
        for name, run in way.items()
    ]
    return "; ".join(parts)[:LONGEST_TEXT] or "no cable"


def sha256_of_choice(rig: Rig, choice: Choice) -> str:
    """Hexadecimal SHA-256 of all that a rig file says of a choice, but for its label."""
    said = {key: value for key, value in rig.of(choice).items() if key != "label"}
    return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()
