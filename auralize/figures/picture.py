"""Loss, drop and impedance over frequency as a picture (PNG, SVG or PDF), for all choices of a rig."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from auralize.circuit.conductor import Real
from auralize.circuit.signals import over
from auralize.circuit.solution import Across
from auralize.errors import RequestError
from auralize.figures.curves import Curves, curves
from auralize.files import write_bytes
from auralize.outputs import among, check_ours, file_name, fingerprint, marked, origin
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENDINGS: Final = (".png", ".svg", ".pdf")
_TICKS: Final = {20: "20", 50: "50", 100: "100", 200: "200", 500: "500", 1e3: "1k", 2e3: "2k"} | {
    5e3: "5k",
    1e4: "10k",
    2e4: "20k",
}
# Told apart without colour: each choice has a dash of its own.
_DASHES: Final = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)))


def plot_name(
    rig: Rig,
    choices: Sequence[Choice],
    suffix: str,
    across: Across = "both",
    every_load: bool = False,
) -> str:
    """What a plot is called, after all that makes it what it is."""
    stem = "rig" if rig.path is None else rig.path.stem
    moved = [choice.place_tag for choice in choices if choice.place_tag]
    heard = "every-load" if every_load else "".join(moved[:1])
    drop = "" if across == "both" else f"drop-{across}"
    which = among(list(dict.fromkeys(choice.name for choice in choices)), list(rig))
    return file_name([stem, which, heard, drop, "plot"], suffix)


def save_plot(
    title: str,
    choices: Sequence[Choice],
    path: Path,
    across: Across = "both",
    *,
    replaces: bool = False,
) -> str:
    """Write a page with four panels (loss, drop, the load's impedance in ohm and degrees); say what it is.

    Where the choices are heard at several loudspeakers, each curve names its own. Raises AuralizeError
    where matplotlib (extra "plot") is missing, the drop cannot be told, or the file cannot be written: a
    file of that name which this call did not make, unless it ``replaces``.
    """
    if path.suffix.lower() not in ENDINGS:
        wanted = ", ".join(ENDINGS)
        raise RequestError(f"{path}: this ending is not known; right is one of {wanted}")
    call = fingerprint("plot", title, [choice.identity for choice in choices], across)
    check_ours(path, call, replaces)
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise RequestError(
            "plots need matplotlib, which is not installed; `pip install matplotlib` brings it"
        ) from None
    page = Figure(figsize=(8.0, 11.0), layout="constrained")
    panels: Any = page.subplots(4, 1, sharex=True)
    page.suptitle(title)
    several = len({choice.listen for choice in choices}) > 1
    names = [f"{c.name}: {c.listen}" if several else c.name for c in choices]
    for number, (choice, name) in enumerate(zip(choices, names, strict=True)):
        found = curves(choice, across)
        style = {"linestyle": _DASHES[number % len(_DASHES)], "label": name}
        for panel, (_, curve) in zip(panels, _PANELS, strict=True):
            panel.plot(found.frequency, curve(found), **style)
    drop = f"drop{over('drop', across)}"
    for panel, (words, _) in zip(panels, _PANELS, strict=True):
        _dress(panel, words.format(drop=drop))
    panels[-1].set_xlabel("frequency, Hz")
    panels[0].legend()
    image = io.BytesIO()
    suffix = path.suffix.lower()
    rigs = ", ".join(dict.fromkeys(choice.fingerprint for choice in choices))
    about = {"Subject" if suffix == ".pdf" else "Description": f"{origin()}, rig {rigs}"}
    page.savefig(image, format=suffix[1:], metadata=about)
    write_bytes(path, marked(image.getvalue(), suffix, call))
    return f"{path}: loss, {drop} and load from 20 Hz to 20 kHz, {'; '.join(names)}"


_PANELS: Final[tuple[tuple[str, Callable[[Curves], Real]], ...]] = (
    ("loss, dB", lambda found: found.loss_db),
    ("{drop}, dB re sending end", lambda found: found.drop_db),
    ("load, ohm", lambda found: found.load_ohm),
    ("load, degrees", lambda found: found.load_degrees),
)


def _dress(panel: Axes, words: str) -> None:
    panel.set_xscale("log")
    panel.set_xlim(20.0, 20_000.0)
    panel.set_xticks(list(_TICKS), list(_TICKS.values()))
    panel.minorticks_off()
    panel.set_ylabel(words)
    panel.grid(visible=True, alpha=0.4)
