"""A choice of a rig: one way to build the installation, ready to be solved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from auralize.circuit.network import Network, Placed, Run
from auralize.circuit.power import Drive
from auralize.errors import RigError
from auralize.rig.cables import ReadCable
from auralize.rig.lays import ReadLay
from auralize.rig.loads import ReadLoad
from auralize.rig.table import guess


@dataclass(frozen=True)
class ReadRun:
    """A run as the circuit has it, what it is in a few words, and what it was made from."""

    run: Run
    words: str
    cable: ReadCable
    cable_name: str
    """What the cable is called in the rig file."""
    lay: ReadLay | None
    """None where the lay adds nothing."""


@dataclass(frozen=True)
class ReadTransformer:
    """A transformer in its place, and the W that it takes if it is a tap of a constant-voltage line."""

    placed: Placed
    tap: float | None


@dataclass(frozen=True, repr=False)
class Choice:
    """One way to build the installation, ready to be solved."""

    name: str
    label: str
    network: Network
    """The circuit. Runs and transformers that lead to no load are in it no more than below."""
    listen: str
    """Name of the load whose terminals are the receiving end."""
    runs: Mapping[str, ReadRun]
    transformers: Mapping[str, ReadTransformer]
    loads: Mapping[str, ReadLoad]
    rating: float | None = None
    """W that the amplifier can deliver."""
    drive: Drive | None = None
    """What the rig is driven with, where it says so."""
    notes: tuple[str, ...] = ()
    """What is to be known of measured data and of faults."""

    def __repr__(self) -> str:
        runs = "; ".join(f"{name} {run.words}" for name, run in self.runs.items())
        return f"<Choice {self.name!r}, heard at {self.listen}: {runs or 'no cable'}>"

    def at(self, load: str | None) -> Choice:
        """The same, heard at another loudspeaker (None: as it is); raises RigError."""
        if load is None:
            return self
        if load not in self.loads:
            known = ", ".join(self.loads)
            raise RigError(
                f"choice {self.name!r} has no load {load!r}{guess(load, self.loads)}; "
                f"right is one of {known}"
            )
        return replace(self, listen=load)
