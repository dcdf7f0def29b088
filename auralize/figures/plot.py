"""Loss, drop and impedance over frequency as a picture (PNG, SVG or PDF), for all choices of a rig."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from auralize.circuit.power import Drive
from auralize.circuit.signals import over
from auralize.circuit.solution import Across
from auralize.figures.panels import Panel, panels
from auralize.figures.picture import PLAIN, Look, PanelPage, check_picture, page_image
from auralize.figures.typical import variants
from auralize.files import write_bytes
from auralize.outputs import fingerprint, origin
from auralize.rig.choice import Choice


def save_plot(
    title: str,
    choices: Sequence[Choice],
    path: Path,
    across: Across = "both",
    *,
    against: Choice | None = None,
    sound: Drive | None = None,
    look: Look = PLAIN,
    replaces: bool = False,
) -> str:
    """Write a page with a panel each for loss, drop, the load's impedance in ohm and degrees; say what it is.

    With ``against`` it has what arrives and the drop less those of that choice. A ``sound`` gets a panel
    with its spectrum. Raises AuralizeError where matplotlib (extra "plot") is missing, the drop cannot be
    told, or the file cannot be written: one that this call did not make, unless it ``replaces``.
    """
    identities = [choice.identity for choice in choices]
    other = None if against is None else against.identity
    call = fingerprint("plot", title, identities, across, other, sound, look)
    check_picture(path, call, replaces)
    shown, what = tuple(panels(choices, across, against, sound)), _what(across, against)
    made = _made_from(choices)
    labels = tuple(_label(choice, choices) for choice in choices)
    page = PanelPage(title, labels, shown, _caption(choices, what, shown, made), made)
    write_bytes(path, page_image(page, look, path.suffix.lower(), call))
    names = "; ".join(_name(choice, choices) for choice in choices)
    return f"{path}: {what} from 20 Hz to 20 kHz, {names}"


def _what(across: Across, against: Choice | None) -> str:
    drop = f"drop{over('drop', across)}"
    other = "" if against is None else f"what arrives and the {drop} against {against.name}"
    return other or f"loss, {drop} and load"


def _made_from(choices: Sequence[Choice]) -> str:
    """What made it, when, and from which rigs."""
    return f"{origin()}, rig {', '.join(dict.fromkeys(choice.fingerprint for choice in choices))}"


def _name(choice: Choice, choices: Sequence[Choice]) -> str:
    several = len({one.listen for one in choices}) > 1
    return f"{choice.name}: {choice.listen}" if several else choice.name


def _label(choice: Choice, choices: Sequence[Choice]) -> str:
    """Its name, and its label where that says more; of several loudspeakers which, and no more."""
    name = _name(choice, choices)
    return name if choice.label == choice.name or name != choice.name else f"{name}: {choice.label}"


def _caption(choices: Sequence[Choice], what: str, shown: Sequence[Panel], made: str) -> str:
    """What it is, when it was drawn and by what, and from which rig."""
    open_lay = any(curve.low is not None for panel in shown for curve in panel.curves)
    bands = " Bands: what the lay of a cable leaves open." if open_lay else ""
    invented = " Typical loads are invented." if any(variants(one) for one in choices) else ""
    return f"{what[0].upper()}{what[1:]}.{bands}{invented} {made}"
