"""A choice of a rig: one way to build the installation, ready to be solved."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from auralize.circuit.conductor import Complex
from auralize.circuit.network import Network, Placed, Run
from auralize.circuit.power import Drive
from auralize.circuit.signals import SIGNALS, Signal, voltage
from auralize.circuit.solution import ACROSS, Across, solve
from auralize.errors import RequestError, RigError
from auralize.rig.cables import ReadCable
from auralize.rig.lays import ReadLay
from auralize.rig.loads import ReadLoad
from auralize.rig.table import guess
from auralize.units import decibels, rounded

_ANYWHERE: Final = 1000.0
"""Hz; what can be told at one frequency can be told at all."""


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
    """W that the amplifier can deliver, where the rig says so ..."""
    rated_into: float | None = None
    """... and the load in ohm that this refers to, where it says that too."""
    drive: Drive | None = None
    """What the rig is driven with, where it says so."""
    notes: tuple[str, ...] = ()
    """What is to be known of measured data, of faults, and of another choice that is the same."""
    home: str = ""
    """The load that the rig itself listens at."""
    fingerprint: str = field(default="", compare=False)
    """A hash of all that the rig says of this choice but for words, files of measurements in it."""

    def __repr__(self) -> str:
        runs = "; ".join(f"{name} {run.words}" for name, run in self.runs.items())
        return f"<Choice {self.name!r}, heard at {self.listen}: {runs or 'no cable'}>"

    @property
    def content(self) -> Hashable:
        """Equal for two choices of a rig between which nothing differs but names and words."""
        network = self.network
        return (
            self.listen,
            self.rating,
            self.rated_into,
            self.drive,
            network.amplifier,
            frozenset(network.runs.items()),
            frozenset(network.transformers.items()),
            frozenset(self.loads.items()),
        )

    @property
    def tag(self) -> str:
        """What the choice is called in the names of files: with its loudspeaker, if not the rig's own."""
        return f"{self.name}.{self.place_tag}".removesuffix(".")

    @property
    def place_tag(self) -> str:
        """The loudspeaker, if it is not the rig's own."""
        return "" if self.listen == self.home else f"at-{self.listen}"

    @property
    def identity(self) -> tuple[str, str, str]:
        """What tells it from every other in the mark of a file."""
        return self.name, self.listen, self.fingerprint

    def response(
        self, frequency: ArrayLike, signal: Signal = "receiving", across: Across = "both"
    ) -> Complex:
        """Complex response from the amplifier's own source voltage to one signal.

        Relative to what the turns of transformers alone make of it (`turns_db`): 0 dB is no loss.

        Parameters
        ----------
        frequency : array_like, shape (n,)
            Hz, 0 and above.
        signal : {"receiving", "drop", "sending"}
            What arrives at the loudspeaker, what the run keeps, or what is sent; drop + receiving =
            sending.
        across : {"both", "plus", "minus"}
            Which conductors the drop is over; over plus and over minus add up to over both.

        Returns
        -------
        ndarray of complex, shape (n,)
            As it is rendered: inverted where plus and minus are swapped at the loudspeaker.

        Raises
        ------
        RequestError
            For a signal that is not known, a frequency below 0 Hz, or one conductor where the drop over
            it cannot be told: a transformer parts it.

        Examples
        --------
        >>> import auralize as au
        >>> reel = au.load_rig("saltmarsh.toml")["reel"]
        >>> abs(reel.response([1000.0], signal="receiving")).round(3)
        array([0.849])
        """
        for what, word, known in (("signal", signal, SIGNALS), ("across", across, ACROSS)):
            if word not in known:
                raise RequestError(
                    f"{what} {word!r} is not known{guess(str(word), known)}; "
                    f"right is one of {', '.join(known)}"
                )
        try:
            solution = solve(self.network, np.atleast_1d(np.asarray(frequency, dtype=np.float64)))
            found = voltage(solution, self.listen, signal, across)
        except ValueError as error:
            raise RequestError(f"choice {self.name!r}: {error}") from None
        return solution.polarity(self.listen) * found

    def check_signal(self, signal: Signal, across: Across = "both") -> None:
        """Raise RequestError for a signal that is not known, or a drop that cannot be told."""
        if signal not in SIGNALS or across != "both":
            self.response([_ANYWHERE], signal, across)

    @property
    def turns_db(self) -> float | None:
        """dB that the turns of the transformers on the way make; None where there are none."""
        network = self.network
        if network.way(self.listen) == network.path(self.listen):
            return None
        return decibels(network.ratio(self.listen))

    @property
    def turns_words(self) -> str:
        """What is to be said of these wherever a level is told; nothing without transformers."""
        if self.turns_db is None:
            return ""
        made = rounded(self.turns_db, "+.2f")
        return f"the transformers' turns make {made} dB, which is left out"

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
