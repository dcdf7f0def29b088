"""What was rendered, as text: every file with every gain that was applied."""

from __future__ import annotations

import math
from collections.abc import Sequence

from auralize.errors import one_line
from auralize.figures.columns import WIDTH, columns, decibels_text, hanging
from auralize.gains import CEILING, Gains
from auralize.renderer.batch import Batch
from auralize.renderer.facts import Rendered, RenderedFile
from auralize.units import rounded


def as_gains(done: Rendered, width: int = WIDTH, *, alone: bool = True) -> str:
    """What was written, and every gain that was applied.

    Where the table is wider than ``width``, names stand above the figures. Not ``alone``: what is true
    of several sources is left to `as_summary`.
    """
    head = (
        f"{one_line(done.source.path.name)}: {decibels_text(done.source_loudness)} LUFS, "
        f"true peak {decibels_text(done.source_true_peak)} dBTP; {done.match.words}"
    )
    rows: list[tuple[str, ...]] = [
        ("file", "match", "make-up", "headroom", "gain", "loudness", "peak")
    ]
    rows.append(("", "dB", "dB", "dB", "dB", "LUFS", "dBTP"))
    rows += [
        (
            one_line(o.path.name),
            *_gains(o.gains),
            decibels_text(o.loudness),
            decibels_text(o.true_peak),
        )
        for o in done.outputs
    ]
    cautions = [hanging(output.caution, width) for output in done.outputs if output.caution]
    clipped = [_clipped(output) for output in done.outputs if output.clipped]
    earlier = ", ".join(one_line(path.name) for path in done.replaced)
    replaced = [f"Earlier files of these names were replaced: {earlier}."] if earlier else []
    return "\n".join(
        [
            head,
            _table(rows, width),
            *_softened(done.softened),
            *(hanging(sentence, width) for sentence in done.told),
            *clipped,
            *replaced,
            *cautions,
            *([_aligned([done])] if alone else []),
        ]
    )


def _aligned(done: Sequence[Rendered]) -> str:
    worst = max(output.filter_error for one in done for output in one.outputs)
    error = (
        f"lie below {math.ceil(worst)} dB of the response" if math.isfinite(worst) else "are none"
    )
    return hanging(f"Aligned with the source to the sample; filter errors {error}.")


def _table(rows: Sequence[tuple[str, ...]], width: int) -> str:
    whole = columns(rows)
    if max(map(len, whole.splitlines())) <= width:
        return whole
    figures = columns([("", *others) for _, *others in rows]).splitlines()
    heads, told = figures[:2], zip(rows[2:], figures[2:], strict=True)
    return "\n".join([*heads, *(f"{name}\n{line}" for (name, *_), line in told)])


def as_summary(batch: Batch) -> str:
    """What became of several sound files, what is true of all, and why of some nothing did."""
    count = len(batch.done) + len(batch.failed)
    return "\n".join(
        [
            *([_aligned(batch.done)] if batch.done else []),
            f"{len(batch.done)} of {count} sound files were rendered.",
            *(hanging(f"Not rendered: {why}") for _, why in batch.failed),
        ]
    )


def _softened(decibels: float) -> list[str]:
    text = rounded(decibels, ".2f")
    if text == "0.00":
        return []
    return [
        f"The make-up asked for made all files {text} dB softer: no peak may pass {CEILING:g} dBTP."
    ]


def _gains(gains: Gains) -> tuple[str, ...]:
    return tuple(
        rounded(g, "+.2f") for g in (gains.match, gains.makeup, gains.headroom, gains.total)
    )


def _clipped(output: RenderedFile) -> str:
    return f"{one_line(output.path.name)}: {output.clipped} samples were over full scale and were clipped."
