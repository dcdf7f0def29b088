"""What length or size would do, as text: a column a choice, and a sentence for every none."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from auralize.circuit.sizing import SHORTEST_RUN
from auralize.figures.columns import MANY, WIDTH, factor_text, pages, three_digits
from auralize.units import rounded, show_frequency, show_length

if TYPE_CHECKING:
    from auralize.figures.blame import Reason
    from auralize.figures.fit import Fit, Kind, Size


def as_fits(title: str, found: Sequence[Fit], kind: Kind, tolerance: float) -> str:
    """What length or size would do, and why none where none does."""
    words = _words(found, kind)
    rows = [("", *(f.choice for f in found)), ("run", *(_runs(f.runs) for f in found))]
    rows.append((f"{words} now", *(_measured(f.now, kind) for f in found)))
    if kind != "heat":
        rows.append(("  which is at", *(_worst(f) for f in found)))
    if any(f.worst_load is not None for f in found):
        rows.append(("  at loudspeaker", *(f.worst_load or "" for f in found)))
    rows.append(("length now", *(show_length(f.length) for f in found)))
    if all(f.shortest is not None for f in found):
        rows.append(("longest that will do", *(_longest(f.longest) for f in found)))
    rows.append(("thinnest metric size", *(_size(f.metric) for f in found)))
    rows.append(("thinnest even gauge", *(_size(f.gauge) for f in found)))
    told = [_head(found, kind, tolerance), *_explained(found, kind)]
    lines = [textwrap.fill(line, WIDTH, subsequent_indent="  ") for line in told]
    return "\n".join([title, *lines, "", pages(rows)])


def _runs(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= MANY else f"{len(names)} runs"


def _words(found: Sequence[Fit], kind: Kind) -> str:
    if kind == "deviation":
        shown = dict.fromkeys(show_frequency(three_digits(f.reference_hz)) for f in found)
        return f"deviation from {' or '.join(shown)}"
    return {"loss": "loss", "damping": "damping factor", "heat": "share of power in the cable"}[
        kind
    ]


def _head(found: Sequence[Fit], kind: Kind, tolerance: float) -> str:
    """The tolerance, and over what it is judged."""
    over = "; ".join(dict.fromkeys(f.judged for f in found))
    words = _words(found, kind)
    if kind == "damping":
        return f"{words} of {tolerance:.3g} or more, {over}"
    limit = f"{tolerance * 100:.3g} %" if kind == "heat" else f"{tolerance:.3g} dB"
    return f"up to {limit} {words}, {over}"


_COUNTED: Final = {
    "heat": "The share is that of all cable and joints together.",
    "damping": "The loudspeaker looks back into cable, amplifier and transformers: all of them count.",
}


def _explained(found: Sequence[Fit], kind: Kind) -> Iterator[str]:
    """What the table leaves open."""
    from auralize.figures.typical import LEFT_OPEN
    from auralize.rig.cables import ANY_SIZE

    if kind in _COUNTED:
        yield _COUNTED[kind]
    if any(f.without_turns for f in found):
        yield "Only what the cable does is counted, not what the transformers lose themselves."
    if any(f.left_open for f in found):
        yield (
            f"Judged as rendered: {LEFT_OPEN}, and it may take a length or size that will do here over "
            "the limit."
        )
    if any(f.metric is None for f in found):
        yield "A measured cable has no size: describe it by its conductors to fit one."
    yield from dict.fromkeys(sentence for f in found for sentence in _nones(f, kind))
    sizes = [size for f in found for size in (f.metric, f.gauge)]
    unlisted = dict.fromkeys(s.thinnest for s in sizes if s is not None and s.unlisted)
    if unlisted:
        needs = "they need" if len(unlisted) > 1 else "it needs"
        yield (
            f"{', '.join(map(str, unlisted))}: by area, as IEC 60228 has no such size in that class; "
            f'in the rig file {needs} strands = "{ANY_SIZE}".'
        )


def _nones(fit: Fit, kind: Kind) -> Iterator[str]:
    """Why no length will do, and why no size."""
    if fit.shortest is not None and fit.no_length:
        coil = fit.shortest > SHORTEST_RUN
        start = f" from {show_length(fit.shortest)} on" if coil else ""
        yield f"{fit.choice}: no length{start} will do: {_reasons(fit.no_length, kind)}."
    failed = {
        name: _reasons(size.why, kind)
        for name, size in (("metric size", fit.metric), ("even gauge", fit.gauge))
        if size is not None and size.why
    }
    if fit.metric and fit.gauge and _same(fit.metric, fit.gauge):
        yield f"{fit.choice}: none of the sizes will do: {failed['metric size']}."
    else:
        yield from (f"{fit.choice}: no {name} will do: {why}." for name, why in failed.items())


def _same(one: Size, other: Size) -> bool:
    """Whether neither series will do, for the same reason."""
    first, second = ([reason.words for reason in size.why] for size in (one, other))
    return bool(first) and first == second


def _reasons(why: Sequence[Reason], kind: Kind) -> str:
    from auralize.figures.fit import shown

    return ", ".join(
        reason.words
        if reason.value is None
        else f"{reason.words} ({_measured(shown(reason.value, kind), kind)})"
        for reason in why
    )


def _size(size: Size | None) -> str:
    if size is None:
        return "measured"
    if size.largest is None:
        return "none fits"
    return size.thinnest or f"none up to {size.largest}"


def _measured(value: float, kind: Kind) -> str:
    if kind == "damping":
        return factor_text(value)
    if not math.isfinite(value):
        return "silent"
    return rounded(value, ".1%") if kind == "heat" else f"{rounded(value, '.2f')} dB"


def _worst(fit: Fit) -> str:
    if fit.worst is None or not math.isfinite(fit.now):
        return "everywhere"
    return show_frequency(three_digits(fit.worst)) if fit.worst > 0.0 else "DC"


def _longest(metres: float | None) -> str:
    from auralize.figures.fit import LONGEST_RUN

    if metres is None:
        return "none"
    return show_length(metres) if metres < LONGEST_RUN else "10 km and more"
