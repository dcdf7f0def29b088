"""Why nothing will do: which part of an installation breaks a tolerance by itself."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from auralize.circuit.network import PERFECT, Network
from auralize.circuit.sizing import Measure, only, without_resistance


@dataclass(frozen=True)
class Reason:
    """Why no length or no size will do."""

    words: str
    value: float | None = None
    """What the measure makes of that alone; None where the words say it all."""


@dataclass(frozen=True)
class Limit:
    """What a measure may be; of a ``damping`` factor amplifier and transformers have their part."""

    measure: Measure
    most: float
    damping: bool


def why_no_length(network: Network, limit: Limit, run: str) -> tuple[Reason, ...]:
    """Which part breaks a limit alone, the ``run`` being as short in the network as it can be."""
    return _broken_by(network, limit, [run])


def why_no_size(network: Network, limit: Limit, runs: Sequence[str]) -> tuple[Reason, ...]:
    """Why no size of the ``runs`` will do, of which the network has the thickest that there is.

    All but the runs breaks the limit, or their inductance does, or it takes still more copper.
    """
    others = [name for name in network.runs if name not in runs]
    rest = only(
        network,
        runs=others,
        joints=network.runs,
        terminals=network.loads,
        transformers=network.transformers,
        amplifier=True,
    )
    if limit.measure(rest) > limit.most:
        return _broken_by(rest, limit, runs)
    bare = limit.measure(without_resistance(network, runs))
    if bare > limit.most:
        return (Reason("thicker copper does not help, as its inductance alone breaks it", bare),)
    return (Reason("it takes thicker copper"),)


def _broken_by(network: Network, limit: Limit, fitted: Sequence[str]) -> tuple[Reason, ...]:
    """The parts that break a limit alone; else the other runs, or everything, together."""
    kept: Collection[str] = () if limit.damping else tuple(network.transformers)
    found = []
    for words, part in _parts(network, kept, fitted, limit.damping):
        value = limit.measure(part)
        if value > limit.most:
            found.append(Reason(words, value))
    others = [name for name in network.runs if name not in fitted]
    if not found and len(others) > 1:
        together = limit.measure(only(network, runs=others, joints=others, transformers=kept))
        if together > limit.most:
            return (Reason("the other runs break it together", together),)
    whole = Reason("no part alone breaks it, but all together do", limit.measure(network))
    return tuple(found) or (whole,)


def _parts(
    network: Network, kept: Collection[str], fitted: Sequence[str], damping: bool
) -> Iterator[tuple[str, Network]]:
    """Each part in words, and the network with no loss but in it."""
    for name, run in network.runs.items():
        if name not in fitted:
            part = only(network, runs=[name], joints=[name], transformers=kept)
            yield f"run {name} alone breaks it", part
            continue
        if run.added is not None:
            coil = only(network, runs=[name], transformers=kept)
            yield f"the coil of {name} alone breaks it", coil
        if run.near != PERFECT or run.far != PERFECT:
            joints = only(network, joints=[name], transformers=kept)
            yield f"the joints of {name} alone break it", joints
    for name, load in network.loads.items():
        if load.contact != PERFECT:
            terminals = only(network, terminals=[name], transformers=kept)
            yield f"the terminals of {name} alone break it", terminals
    if damping:
        yield "the amplifier's output alone breaks it", only(network, amplifier=True)
        for name in network.transformers:
            yield f"transformer {name} alone breaks it", only(network, transformers=[name])
