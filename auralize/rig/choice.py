"""A choice of a rig: one way to build the installation, ready to be solved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from auralize.circuit.network import Network
from auralize.circuit.power import Programme
from auralize.errors import RigError
from auralize.rig.cables import ReadCable
from auralize.rig.lays import ReadLay


@dataclass(frozen=True)
class Choice:
    """One way to build the installation, ready to be solved."""

    name: str
    label: str
    network: Network
    listen: str
    """Name of the load whose terminals are the receiving end."""
    nominal: Mapping[str, float]
    """Rated impedance in ohm of each load."""
    described: Mapping[str, str]
    """What each run is, in a few words."""
    lays: Mapping[str, ReadLay]
    """What the lay adds, for those runs where it adds anything."""
    cables: Mapping[str, ReadCable]
    """The cable of each run."""
    cable_names: Mapping[str, str]
    """What it is called in the rig file."""
    taps: Mapping[str, float]
    """W that each transformer of a constant-voltage line takes at its tap."""
    rating: float | None = None
    """W that the amplifier can deliver."""
    programme: Programme | None = None
    """What the rig is driven with, where it says so."""
    notes: tuple[str, ...] = ()
    """What is to be known of measured data and of faults."""

    def at(self, load: str | None) -> Choice:
        """The same, heard at another loudspeaker (None: as it is); raises RigError."""
        if load is None:
            return self
        if load not in self.network.loads:
            known = ", ".join(self.network.loads)
            raise RigError(f"choice {self.name!r} has no load {load!r}; right is one of {known}")
        return replace(self, listen=load)
