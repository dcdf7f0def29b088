"""The page as one text: the template with what it says, what it plays, and what plays it."""

from __future__ import annotations

import base64
import hashlib
import json
import tomllib
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any, Final

from auralize.errors import RequestError
from auralize.handover.contents import contents
from auralize.handover.svg import plain
from auralize.rig.choice import Choice

SCRIPTS: Final = ("numbers.js", "sound.js", "trial.js", "spectrum.js", "screen.js")
"""In the order in which each builds on those before it."""
_SCRIPTED: Final = ("screen", "sound", "trial")
"""Parts of the texts that scripts take their words from."""
_POLICY: Final = (
    "default-src 'none'; script-src {script}; style-src {style}; img-src data:; media-src data: blob:; "
    "form-action 'none'; base-uri 'none'"
)
"""Content-Security-Policy (W3C, level 3): nothing from outside, and no script but the page's own."""


def page_text(data: Mapping[str, Any], choices: Sequence[Choice], first: Choice) -> str:
    """The whole page in HTML, with the same figures and words for whoever has no JavaScript.

    ``data`` is what it plays, of the ``choices`` in their order, which are compared with the ``first``.
    `check_library` says whether it can be made at all.
    """
    from jinja2 import Environment, StrictUndefined

    texts = tomllib.loads(_read("texts.toml"))
    style, script = _read("page.css"), "".join(_read(name) for name in SCRIPTS)
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=lambda shown: plain(shown) if type(shown) is str else shown,  # not what is safe
    )
    page = environment.from_string(_read("page.html")).render(
        contents(data, choices, first, texts),
        data=data,
        texts=texts,
        t=texts["page"],
        policy=_POLICY.format(script=_hash(script), style=_hash(style)),
        style=style,
        script=script,
        texts_inside=_inside({part: texts[part] for part in _SCRIPTED}),
        data_inside=_inside(data),
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
