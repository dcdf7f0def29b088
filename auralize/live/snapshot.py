"""How a listening is, in one look."""

from __future__ import annotations

import math

from auralize.gains import Source
from auralize.live.incoming import Incoming
from auralize.live.known import Known
from auralize.live.player import Player
from auralize.live.progress import Progress
from auralize.live.sources import seconds
from auralize.live.status import ListeningStatus
from auralize.live.transport import Transport
from auralize.live.wanted import Wanted
from auralize.units import decibels


def snapshot(
    transport: Transport | Incoming,
    player: Player,
    wanted: Wanted,
    known: Known,
    progress: Progress,
    slot: int | None,
    editing: bool,
) -> ListeningStatus:
    """While a ``slot`` is heard, nothing in it could tell which."""
    heard, rate, loop = wanted.heard, player.setup.rate, transport.looped
    fir = None if isinstance(heard, Source) else known.fir(heard)
    return ListeningStatus(
        position=transport.position / rate,
        length=seconds(transport.length, rate),
        playing=transport.playing,
        ended=transport.ended,
        loop=(loop[0] / rate, loop[1] / rate) if loop else None,
        heard=heard,
        slot=slot,
        match=wanted.match,
        gains=known.gains_of(heard),
        certainty=known.certainty,
        filter_error=fir.error if fir else -math.inf,
        volume=wanted.volume,
        peak_dbfs=decibels(player.peak) if slot is None else -math.inf,
        rms_dbfs=decibels(math.sqrt(player.power)) if slot is None else -math.inf,
        limiting=player.limiting and slot is None,
        editing=editing,
        switches=player.switches,
        starved=transport.starved,
        **progress.told,
        drops=wanted.drops,
        makeup=wanted.makeup,
        silent=known.silent(heard),
        rising=player.rising if slot is None else 0.0,
    )
