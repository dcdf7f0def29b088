"""The page as one text: what is compared in words, drawings, curves and figures, and what plays it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from importlib.resources import files
from typing import Any, Final

from auralize.circuit.power import Drive
from auralize.circuit.signals import signal_words
from auralize.circuit.solution import Across
from auralize.errors import RequestError
from auralize.figures.against import differences
from auralize.figures.against_text import comparisons, held_against
from auralize.figures.columns import MANY
from auralize.figures.facts import short_facts
from auralize.figures.loudspeakers_text import loudspeaker_rows, loudspeakers_head
from auralize.figures.numbers import Figures, figures
from auralize.figures.panels import Panel, panels
from auralize.figures.sentences import is_caution, sentences
from auralize.figures.text import comparison_rows, frequency_rows
from auralize.filters.quality import caution, goal_of
from auralize.handover.installation import installation
from auralize.handover.plots import COLOURS, plot
from auralize.handover.svg import plain
from auralize.rig.choice import Choice
from auralize.rig.work import working_out
from auralize.units import show_frequency

SCRIPTS: Final = ("numbers.js", "sound.js", "trial.js", "spectrum.js", "screen.js")
"""In the order in which each builds on those before it."""
_COLUMNS: Final = 6
"""Choices beside each other in a table, which a sheet of paper has room for."""
_HYPHEN: Final = re.compile(r"^-(?=\d)")
_POLICY: Final = (
    "default-src 'none'; script-src {script}; style-src {style}; img-src data:; media-src data: blob:; "
    "form-action 'none'; base-uri 'none'"
)
"""Content-Security-Policy (W3C, level 3): nothing from outside, and no script but the page's own."""


def page_text(
    data: Mapping[str, Any],
    choices: Sequence[Choice],
    first: Choice,
    sound: Drive | None = None,
    across: Across = "both",
) -> str:
    """The whole page in HTML, with the same sounds, figures and words for whoever has no JavaScript.

    Parameters
    ----------
    data : mapping
        What the page plays; its choices are ``choices``, in their order.
    choices, first
        What is compared, and with which of them.
    sound
        The programme's spectrum, by which levels are weighted; None: that of the rig, or pink noise.
    across
        Which conductors the figures of the drop are over.

    Raises
    ------
    RequestError
        Where the drop across these conductors cannot be told.
    """
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    texts = tomllib.loads(_read("texts.toml"))
    style, script = _read("page.css"), "".join(_read(name) for name in SCRIPTS)
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=lambda shown: plain(shown) if type(shown) is str else shown,
    )
    told = _told(data, choices, first, sound, across, texts)
    drawn = {
        "told": [one | {"drawing": Markup(one["drawing"])} for one in told.pop("told")],
        "plots": [Markup(one) for one in told.pop("plots")],
    }
    inside = {
        "style": Markup(style),
        "script": Markup(script),
        "texts_inside": Markup(
            _inside({part: texts[part] for part in ("screen", "sound", "trial")})
        ),
        "data_inside": Markup(_inside(data)),
    }
    policy = _POLICY.format(script=_hash(script), style=_hash(style))
    template = environment.from_string(_read("page.html"))
    page = template.render(
        **told, **drawn, **inside, data=data, texts=texts, t=texts["page"], policy=policy
    )
    return page.lstrip("\n") + "\n"


def check_library() -> None:
    """Raise RequestError where Jinja2 (extra "handover") is missing: before any work."""
    try:
        import jinja2  # noqa: F401
    except ImportError:
        raise RequestError(
            "a page needs Jinja2, which is not installed; `pip install jinja2` brings it"
        ) from None


def _read(name: str) -> str:
    return files(__package__).joinpath(name).read_text("utf-8")


def _inside(data: Any) -> str:
    """Data as JSON that no element can end in, whatever it says."""
    return json.dumps(data, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")


def _hash(text: str) -> str:
    """What a policy knows a script or a style of the page by."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _told(
    data: Mapping[str, Any],
    choices: Sequence[Choice],
    first: Choice,
    sound: Drive | None,
    across: Across,
    texts: Mapping[str, Any],
) -> dict[str, Any]:
    """All that the page says beside its player."""
    found = []
    for choice in choices:
        with working_out(f"the figures of choice {choice.name}"):
            found.append(figures(choice, across=across))
    compared = differences(choices, first, sound, across)
    shown = _panels(choices, first, across)
    words, programme = texts["page"], data["programme"]
    names = [choice.name for choice in choices]
    return {
        "about": words["made"].format(version=data["version"], date=data["date"]),
        "programme": words["programme_words"].format(
            name=programme["name"], seconds=programme["seconds"], start=programme["from"]
        ),
        "matches": list(_matches(data, words)),
        "sides": list(dict.fromkeys(s["across"] for s in data["signals"] if s["signal"] == "drop")),
        "told": [
            _of_choice(one, choice, figured, texts)
            for one, choice, figured in zip(data["choices"], choices, found, strict=True)
        ],
        "compared": comparisons(compared),
        "held_against": held_against(),
        "plots": [plot(panel, names, texts["drawing"]) for panel in shown],
        "colours": COLOURS,
        "bands": any(curve.low is not None for panel in shown for curve in panel.curves),
        "tables": [_signed(comparison_rows(part)) for part in _parts(found)],
        "cautions": [*_cautions(found), *_of_filters(data)],
    }


def _of_choice(
    one: Mapping[str, Any], choice: Choice, found: Figures, texts: Mapping[str, Any]
) -> dict[str, Any]:
    """What the page says of a choice."""
    return {
        "name": one["name"],
        "label": one["label"],
        "facts": one["facts"] if len(found.runs) <= MANY else short_facts(choice),
        "drawing": installation(choice, texts["drawing"]),
        "sentences": sentences(found),
        "frequencies": _signed(frequency_rows(found)),
        "loudspeakers": _signed(loudspeaker_rows(found.loudspeakers)) if found.loudspeakers else [],
        "loudspeakers_head": loudspeakers_head(found.loudspeakers) if found.loudspeakers else "",
    }


def _matches(data: Mapping[str, Any], words: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """The ways of matching: "installed", "loudness", or a frequency in Hz."""
    for way in data["ways"]["match"]:
        if isinstance(way, str):
            told = words[f"match_{way}"]
        else:
            told = words["match_level"].format(hertz=show_frequency(way))
        yield {"words": told, "offered": way == data["offered"]["match"]}


def _panels(choices: Sequence[Choice], first: Choice, across: Across) -> list[Panel]:
    """Loss, drop, and where there are others what they differ by from the first."""
    loss, drop, *_ = panels(choices, across, None, None)
    if len(choices) == 1:
        return [loss, drop]
    return [loss, drop, *panels(choices, across, first, None)]


def _signed(rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """The same rows with a true minus, which is read aloud, before numbers."""
    return [[_HYPHEN.sub("\u2212", cell) for cell in row] for row in rows]


def _parts(found: Sequence[Figures]) -> Iterator[Sequence[Figures]]:
    """As many choices at a time as a table has columns for."""
    for start in range(0, len(found), _COLUMNS):
        yield found[start : start + _COLUMNS]


def _cautions(found: Sequence[Figures]) -> Iterator[tuple[str, str]]:
    for figured in found:
        for sentence in sentences(figured):
            if is_caution(sentence):
                yield figured.choice, sentence.strip()


def _of_filters(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Where what is heard is not what was worked out."""
    for one in data["signals"]:
        signal, error = one["signal"], one["filter_error"]
        words = signal_words(signal, one["across"])
        if error is not None and (told := caution(words, error, goal_of(signal))):
            yield data["choices"][one["choice"]]["name"], told
