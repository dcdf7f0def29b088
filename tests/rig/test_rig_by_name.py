"""A rig as an object: its choices by name, what it says of itself, rigs that come from no file."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from auralize.errors import RigError
from auralize.rig.reading import ONLY_CHOICE, Rig, load_rig, read_rig

DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"


@pytest.fixture(scope="module")
def rig() -> Rig:
    return load_rig(DEMO)


def data() -> dict[str, Any]:
    return tomllib.loads(DEMO.read_text(encoding="utf-8"))


def test_choices_are_found_by_name(rig: Rig) -> None:
    assert rig["reel"] is rig.choices["reel"]
    assert "reel" in rig
    assert "rell" not in rig
    assert 3 not in rig
    assert list(rig) == ["reel", "bought", "beams"]
    assert len(rig) == 3
    assert rig.pick([]) == [rig[name] for name in rig]


def test_a_name_that_is_not_there_is_told_with_those_that_are(rig: Rig) -> None:
    for ask in (lambda: rig["rell"], lambda: rig.pick(["reel", "rell"])):
        with pytest.raises(RigError) as caught:
            ask()
        assert str(caught.value) == (
            f"{DEMO}: choice 'rell' is not in it (did you mean 'reel'?); "
            "right is one of reel, bought, beams"
        )
    with pytest.raises(RigError, match=r"choice 'xyz' is not in it; right is one of reel, bought"):
        rig["xyz"]


def test_a_loudspeaker_that_is_not_there_is_told_with_those_that_are() -> None:
    choice = load_rig(DEMO.with_name("lobby.toml"))["bell"]
    known = ", ".join(choice.loads)
    first = next(iter(choice.loads))
    with pytest.raises(RigError) as caught:
        choice.at(first.upper())
    assert str(caught.value) == (
        f"choice 'bell' has no load {first.upper()!r} (did you mean {first!r}?); "
        f"right is one of {known}"
    )
    assert choice.at(None) is choice
    assert choice.at(known.split(", ")[-1]).listen == known.split(", ")[-1]


def test_rig_and_choice_say_what_they_are(rig: Rig) -> None:
    assert repr(rig) == f"<Rig {rig.title!r}: reel, bought, beams>"
    bought = rig["bought"]
    assert repr(bought) == (
        f"<Choice 'bought', heard at {bought.listen}: pond {bought.runs['pond'].words}>"
    )
    at_the_amplifier = {
        "amplifier": {"resistance": "10 mohm"},
        "loads": {"stage": {"type": "resistor", "resistance": "8 ohm", "at": "amplifier"}},
    }
    plain = read_rig(at_the_amplifier)
    assert repr(plain[ONLY_CHOICE]) == f"<Choice {ONLY_CHOICE!r}, heard at stage: no cable>"


def test_a_rig_needs_no_file() -> None:
    found = read_rig(data())
    assert found.path is None
    assert {n: c.network for n, c in found.choices.items()} == {
        n: c.network for n, c in load_rig(DEMO).choices.items()
    }
    assert read_rig({k: v for k, v in data().items() if k != "title"}).title == "rig"
    assert read_rig({k: v for k, v in data().items() if k != "title"}, "mill.toml").title == "mill"


def test_errors_of_a_rig_without_a_file_name_the_rig() -> None:
    wrong = data()
    wrong["runs"]["pond"]["length"] = "-3 m"
    with pytest.raises(RigError, match=r"^rig: runs\.pond\.length"):
        read_rig(wrong)
    with pytest.raises(RigError, match=r"^rig: choice 'rell' is not in it"):
        read_rig(data())["rell"]
    with pytest.raises(RigError, match=r"^rig: amplifier: "):
        read_rig({})


def test_measurements_of_a_rig_without_a_file_are_looked_for_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "stage.txt").write_text("20 8 0\n200 8 0\n2000 8 0\n20000 8 0\n")
    monkeypatch.chdir(tmp_path)
    found = read_rig(
        {
            "amplifier": {"resistance": "10 mohm"},
            "loads": {
                "stage": {
                    "type": "measured",
                    "file": "stage.txt",
                    "nominal": "8 ohm",
                    "at": "amplifier",
                }
            },
        }
    )
    assert found[ONLY_CHOICE].loads["stage"].nominal == 8.0


def test_a_record_says_what_a_run_is_made_of() -> None:
    for choice in load_rig(DEMO).choices.values():
        assert list(choice.runs) == list(choice.network.runs)
        for name, run in choice.runs.items():
            assert run.run is choice.network.runs[name]
            assert run.run.cable is run.cable.cable
            assert (run.lay is None) == (run.run.added is None)
        assert {n: load.connected for n, load in choice.loads.items()} == choice.network.loads


def test_a_changed_choice_is_still_heard_where_it_was() -> None:
    lobby = load_rig(DEMO.with_name("lobby.toml"))
    before = lobby["bell"].at(list(lobby["bell"].loads)[-1])
    run = next(iter(before.runs))
    after = lobby.changed(before, {("runs", run, "length"): "5 m"})
    assert after.listen == before.listen
    assert after.runs[run].run.length == 5.0
    assert lobby["bell"].runs[run].run.length != 5.0
