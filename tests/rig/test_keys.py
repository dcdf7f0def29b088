"""The reference says of every key what its reader does: kind, default, what it may be, if it is needed."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from test_known_keys import CASES
from test_limits import (
    DRIVER,
    IRON,
    JOINTED,
    PLAIN,
    REEL,
    SPLIT,
    TABLED,
    TAP,
    TWIN,
    UP,
    laid,
    rig,
)

from auralize import units
from auralize.errors import RigError
from auralize.rig.key import Key
from auralize.rig.keys import SECTIONS, TOP_KEYS, declared
from auralize.rig.keys_text import as_reference
from auralize.rig.reading import load_rig, read_rig
from auralize.rig.table import Table

DEMO = Path(__file__).parents[2] / "audio_demo"
TWIST = {"conductor": "2.5 mm2", "insulation": "0.8 mm", "lay_length": "80 mm"}
CROSSOVER = {
    "type": "crossover",
    "nominal": "8 ohm",
    "ways": {"low": ["series 1 mH", "to woofer"], "high": ["series 5 uF", "to horn"]},
    "drivers": {
        "woofer": {"Re": "5.5 ohm", "fs": "42 Hz", "Qms": 5.0, "Qes": 0.4},
        "horn": {"resistance": "8 ohm"},
    },
}
PROBES: dict[str, dict[str, Any]] = {
    **{f"known keys {n}": data for n, (data, _, _) in enumerate(CASES)},
    "single cores": rig(TWIN | {"construction": "single cores"}),
    "insulated": rig({"construction": "twin", "conductor": "2.5 mm2", "insulation": "1 mm"}),
    "minus": rig(TWIN | {"minus": "4 mm2"}),
    "own capacitance": rig(TWIN | {"capacitance": "60 pF/m"}),
    "joints": JOINTED,
    "everything of a lay": laid(
        shape="coiled", mean_diameter="40 cm", turns=5, width="10 cm", iron=IRON
    ),
    "crossover": rig(load=CROSSOVER),
    "tap and step-up": rig(transformers={**TAP["transformers"]}),
    "vented": rig(load=DRIVER),
    "typical": rig(load={"type": "typical", "kind": "column", "nominal": "8 ohm"}),
    "like another": rig(
        loads={
            "stage": {"at": "pond", "type": "resistor", "resistance": "8 ohm"},
            "bar": {"at": "pond", "like": "stage"},
        },
        listen="stage",
    ),
    "contact": rig(load={"type": "resistor", "resistance": "8 ohm", "contact": "9 mohm"}),
    **{
        construction: rig({"construction": construction, **TWIST})
        for construction in ("twisted pair", "three-core", "four-core")
    },
}
FROM_FILES = {
    "measured": rig(
        load={"type": "measured", "nominal": "8 ohm", "file": "z.txt", "dc_resistance": "6 ohm"}
    ),
    "measured cable": rig({"construction": "measured", "file": "c.txt"}),
    "two-port": rig({"construction": "measured", "file": "c.s2p", "measured_length": "10 m"}),
}
DEMOS = sorted(DEMO.glob("*.toml"))
NOT_ASKED_SO = {"lay", "iron", "second", "near", "far", "contact"}
"""Tables, or a value that may be one: not read by a call with their kind."""

Call = tuple[tuple[str, ...], str, str, str | None, tuple[str, ...]]
"""Place, key, kind, default, what it may be."""


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[Call]:
    """What the readers ask for, of every rig that is a probe."""
    made: list[Call] = []

    def watch(method: str, kind: str) -> None:
        before = getattr(Table, method)

        def watched(self: Table, key: str, *rest: Any, **named: Any) -> Any:
            default = named.get("default", rest[-1] if len(rest) in _DEFAULT_AT[method] else None)
            takes = rest[0] if method == "quantity" else kind
            among = tuple(rest[0]) if method == "one_of" else ()
            made.append((self.place, key, takes, _shown(default), among))
            return before(self, key, *rest, **named)

        monkeypatch.setattr(Table, method, watched)

    for method, kind in _KINDS.items():
        watch(method, kind)
    for data in PROBES.values():
        read_rig(copy.deepcopy(data))
    for path in DEMOS:
        load_rig(path)
    for data in FROM_FILES.values():
        with pytest.raises(RigError):  # there is no such file, but its keys were asked for
            read_rig(data, tmp_path / "rig.toml")
    return made


_KINDS = {
    "one_of": "one of",
    "text": "text",
    "whole": "whole number",
    "number": "number",
    "flag": "true or false",
    "quantity": "quantity",
}
_DEFAULT_AT = {"one_of": {2}, "text": {1}, "whole": {3}, "number": {3}, "flag": (), "quantity": {4}}


def _shown(default: Any) -> str | None:
    if isinstance(default, bool):
        return str(default).lower()
    return f"{default:g}" if isinstance(default, int | float) else default


def home(place: tuple[str, ...], key: str) -> tuple[str, ...]:
    """Where the keys of a table stand that has those of another."""
    if place[2:3] == ("drivers",) and key != "resistance":
        return place[:2]
    return place[:-1] if place[-1:] == ("second",) else place


def fits(key: Key, call: Call) -> bool:
    """Whether a declaration says what a call does."""
    _, name, takes, default, among = call
    if key.name != name:
        return False
    kinds = {takes, *ALSO.get(takes, ())}
    closed = takes != "one of" or key.takes != "one of" or set(key.among) == set(among)
    computed = default is not None and key.default.startswith(COMPUTED)
    said = not default or default in key.default or default in key.words or computed
    return key.takes in kinds and closed and said


ALSO = {"one of": ("name",), "text": ("name", "one of"), "number": ("whole number",)}
"""What is read by a call of this kind as well, or through it."""
COMPUTED = ("from ", "usual", "as ", "all", "the ", "its name")
"""Defaults that follow from other keys, and stand in words."""


def test_every_call_is_declared(calls: list[Call]) -> None:
    wrong = {
        call
        for call in calls
        if not any(fits(key, call) for key in declared(home(call[0], call[1])))
        and call[:2] != ((), "label")  # a choice's own, laid over the whole
        and not {*call[0][-1:]} & {"near", "far", "contact"}  # plus and minus
    }
    assert not wrong, "declare these in auralize/rig/keys*.py, as the readers have them"


def test_every_declared_key_is_asked_for(calls: list[Call]) -> None:
    asked = {(tuple(place), key) for place, key, *_ in calls}
    for section in SECTIONS:
        if section.word == "choices" or section.table == "[loads.NAME.ways]":
            continue
        for key in section.keys:
            if key.name in NOT_ASKED_SO:
                continue
            assert any(name == key.name and key in declared(place) for place, name in asked), (
                f"{section.table} {key.name} is asked for by no reader"
            )


def test_the_top_is_all_that_may_stand_there() -> None:
    with pytest.raises(RigError, match="known are") as caught:
        read_rig({**PLAIN, "xyz": 1})
    known = set(str(caught.value).partition("known are ")[2].split(", "))
    assert known | {"title", "choices"} == set(TOP_KEYS) | {"label"}


@pytest.mark.parametrize("section", SECTIONS, ids=lambda s: f"{s.table} {s.words}"[:40])
def test_every_example_is_one(section: Any) -> None:
    for key in section.keys:
        (value,) = tomllib.loads(f"{key.name} = {key.example}").values()
        if key.takes in units.UNITS:
            assert units.parse(value, key.takes) >= 0.0
        elif key.takes == "one of":
            assert value in key.among
        elif "number" in key.takes:
            assert isinstance(value, int | float)


NEEDED: list[tuple[dict[str, Any], str]] = [
    (PLAIN, "cables.reel"),
    (PLAIN, "runs.pond"),
    (PLAIN, "loads.stage"),
    (rig(load=DRIVER), "loads.stage"),
    (SPLIT, "runs.pond.lay"),
    (REEL, "runs.pond.lay"),
    (laid(shape="coiled", mean_diameter="40 cm", iron=IRON), "runs.pond.lay.iron"),
    (rig({"construction": "twisted pair", **TWIST}), "cables.reel"),
    (rig(TABLED), "cables.reel"),
    (TAP, "transformers.tap"),
    (UP, "transformers.tap"),
]


@pytest.mark.parametrize(("data", "place"), NEEDED)
def test_what_is_marked_as_needed_is(data: dict[str, Any], place: str) -> None:
    """Leave one key out at a time: those that are missed are marked, and no others."""
    keys = place.split(".")

    def table(whole: dict[str, Any]) -> dict[str, Any]:
        for key in keys:
            whole = whole[key]
        return whole

    for left_out in table(data):
        less = copy.deepcopy(data)
        del table(less)[left_out]
        marks = {key.need for key in declared(tuple(keys)) if key.name == left_out}
        missed = refused(less)
        assert not missed or marks & {"*", "+"} or left_out in WITH_ANOTHER, left_out
        assert missed or marks != {"*"}, f"{left_out} is not needed"


def refused(data: dict[str, Any]) -> bool:
    try:
        read_rig(data)
    except RigError:
        return True
    return False


WITH_ANOTHER = {"box", "Vas", "L2", "R2", "width", "shape"}
"""Needed only beside another key that was given."""


def test_the_reference_fits_a_terminal() -> None:
    text = as_reference()
    assert max(map(len, text.splitlines())) <= 80
    for section in SECTIONS:
        assert all(f" {key.name} = {key.example}" in text for key in section.keys)
