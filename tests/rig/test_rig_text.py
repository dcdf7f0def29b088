"""Texts, names and values that hardly fit into a rig file, and files that are none."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.errors import RigError
from auralize.rig.reading import ONLY_CHOICE, load_rig, read_rig
from support.rig_text import CABLE, DRIVER, LOAD, RUN, amplifier, cable, refusal, text, written

# --- names and texts that do not fit into one line ------------------------------------------------


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (text('"ampli\\nfier" = 3'), "fier"),
        (text(cables=cable() + cable('"\\u001b[31m"', conductor='"x"')), "the name '\\x1b[31m'"),
        (text(cables=cable() + cable('""', conductor='"x"')), 'cables."".conductor'),
        (
            text(cables=cable() + cable('"2.5 twin"', conductor='"x"')),
            'cables."2.5 twin".conductor',
        ),
    ],
    ids=["line break", "escape sequence", "empty", "with a point"],
)
def test_an_odd_name_is_quoted_as_toml_would(tmp_path: Path, content: str, place: str) -> None:
    assert place in refusal(written(tmp_path, content))


@pytest.mark.parametrize("field", ["title", "label"])
@pytest.mark.parametrize("value", ['"a\\nb"', '"\\u001b[2J"'], ids=["line break", "escape"])
def test_texts_for_the_screen_are_one_line_of_print(tmp_path: Path, field: str, value: str) -> None:
    """They go to the terminal as they are: an escape sequence in a file from elsewhere would act."""
    content = (
        text(f"title = {value}")
        if field == "title"
        else text(choices=f"[choices.a]\nlabel = {value}")
    )
    assert field in refusal(written(tmp_path, content))


@pytest.mark.parametrize(
    "value", ['"' + "x" * 100_000 + '"', '"' + "1" * 5000 + ' ohm"'], ids=["letters", "digits"]
)
def test_a_value_without_end_is_not_repeated_in_full(tmp_path: Path, value: str) -> None:
    sentence = refusal(written(tmp_path, text(amplifier=amplifier(resistance=value))))
    assert sentence.startswith("amplifier.resistance: ")
    assert len(sentence) < 400


# --- files that are no rig file at all ------------------------------------------------------------

NO_TOML = {
    "broken line": "amplifier = \n",
    "key twice": text(amplifier=amplifier() + 'resistance = "2 ohm"\n'),
    "table twice": text(cables=cable() + cable()),
    "table over a value": 'amplifier = "x"\n' + text(),
    "unclosed quote": text('title = "Saltmarsh'),
    "a NUL at the end": text() + "\0",
    "integer beyond all": text(amplifier=amplifier(resistance="1" * 5000)),
    "deep lists": "a = " + "[" * 5000 + "]" * 5000,
    "deep tables": "a = " + "{a=" * 2000 + "1" + "}" * 2000,
}


@pytest.mark.parametrize("content", NO_TOML.values(), ids=NO_TOML.keys())
def test_what_is_no_toml_is_refused_as_such(tmp_path: Path, content: str) -> None:
    assert "TOML" in refusal(written(tmp_path, content))


@pytest.mark.parametrize(
    ("content", "line"),
    [(text() + "x = \n", text().count("\n") + 1), ("\n\namplifier = [\n", 4)],
    ids=["last", "unclosed"],
)
def test_a_fault_in_the_toml_is_given_with_its_line(
    tmp_path: Path, content: str, line: int
) -> None:
    sentence = refusal(written(tmp_path, content))
    assert f"line {line}" in sentence or "end of document" in sentence


def test_deep_dotted_keys_on_both_sides_are_refused(tmp_path: Path) -> None:
    deep = ".".join(["runs", *["a"] * 2000])
    content = f"{deep} = 1\n" + text(runs="", choices=f"[choices.a]\n{deep} = 2")
    refusal(written(tmp_path, content))


NO_TEXT = {
    "latin-1": 'title = "Mühle"\n'.encode("latin-1") + text().encode(),
    "utf-16": text().encode("utf-16"),
    "sound": b"RIFF\xff\xff\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00\x80\xbb\x00\x00",
    "random": np.random.default_rng(1).bytes(4096),
}


@pytest.mark.parametrize("content", NO_TEXT.values(), ids=NO_TEXT.keys())
def test_what_is_no_text_is_refused_as_such(tmp_path: Path, content: bytes) -> None:
    assert "UTF-8" in refusal(written(tmp_path, content))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "tide-mill.toml")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "directory" in refusal(tmp_path)


def test_a_path_through_a_file_is_refused(tmp_path: Path) -> None:
    assert "not a directory" in refusal(written(tmp_path, text()) / "x.toml")


def test_a_link_to_nowhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").symlink_to(tmp_path / "b.toml")
    assert "no such file" in refusal(tmp_path / "a.toml")


def test_a_huge_file_is_refused(tmp_path: Path) -> None:
    """64 MB of holes, as a file of sound or a disk image would be."""
    path = written(tmp_path, "")
    with path.open("r+b") as file:
        file.truncate(64 << 20)
    refusal(path)


@pytest.mark.parametrize(
    "content",
    [
        text().replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + text().encode(),
        ("# " + "x" * 1_000_000 + "\n" + text()).encode(),
        text().rstrip("\n").encode(),
    ],
    ids=["CR LF", "byte order mark", "a megabyte of comment", "no last line end"],
)
def test_what_editors_do_to_a_file_does_no_harm(tmp_path: Path, content: bytes) -> None:
    assert load_rig(written(tmp_path, content)).choices[ONLY_CHOICE].loads["stage"].nominal == 8.0


# --- anything at all at any place -----------------------------------------------------------------

VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["-1 m", "nan ohm", "1e999 mm2", "0 AWG", "twin", "pond", "amplifier", ""]),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.sampled_from(["a", "type", "cable", "construction"]), st.integers()),
)
PLACES = st.sampled_from(
    [
        ("title",),
        ("listen",),
        ("amplifier",),
        ("cables",),
        ("runs",),
        ("loads",),
        ("choices",),
        *(("amplifier", key) for key in ("resistance", "inductance", "damping_factor", "into")),
        *(("cables", "reel", key) for key in (*CABLE, "spacing", "fill", "strands", "material")),
        *(("cables", "reel", key) for key in ("lay_length", "permittivity", "capacitance", "x")),
        *(("runs", "pond", key) for key in (*RUN, "temperature", "from")),
        *(("loads", "stage", key) for key in (*LOAD, *DRIVER, "at", "box", "Vas", "Le")),
        *(("choices", "a", key) for key in ("label", "runs", "cables", "type", "spacing")),
        ("choices", "a", "runs", "pond"),
        ("choices", "a", "cables", "reel"),
    ]
)


@given(changes=st.lists(st.tuples(PLACES, VALUES), min_size=1, max_size=3))
@settings(derandomize=True, max_examples=300, deadline=None)
def test_any_value_at_any_place_is_read_or_refused(
    changes: list[tuple[tuple[str, ...], Any]],
) -> None:
    data: dict[str, Any] = {
        "amplifier": {"resistance": "0.05 ohm"},
        "cables": {"reel": {key: value.strip('"') for key, value in CABLE.items()}},
        "runs": {"pond": {key: value.strip('"') for key, value in RUN.items()}},
        "loads": {"stage": {key: value.strip('"') for key, value in LOAD.items()}},
    }
    for place, value in changes:
        inner: Any = data
        for key in place[:-1]:
            inner = inner.setdefault(key, {}) if isinstance(inner, dict) else {}
        if isinstance(inner, dict):
            inner[place[-1]] = value
    try:
        read_rig(data, Path("tide-mill.toml"))
    except RigError as error:
        assert str(error).startswith("tide-mill.toml: ")  # noqa: PT017
