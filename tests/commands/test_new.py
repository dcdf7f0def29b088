"""A first rig file: written by options or by questions, read at once, and never over another file."""

from __future__ import annotations

import io
import os
import pty
import sys
import tomllib
from pathlib import Path

import pytest

from auralize.commands.main import main
from auralize.figures.numbers import figures
from auralize.rig.beginning import STARTERS
from auralize.rig.reading import load_rig
from support.command import AURALIZE

METRIC = ("--size", "2.5 mm2", "--length", "30 m", "--speaker", "8 ohm")
FEET = ("--size", "14 ga", "--length", "100 ft", "--speaker", "4R")


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    return tmp_path


@pytest.mark.parametrize("construction", STARTERS)
@pytest.mark.parametrize("answers", [METRIC, FEET], ids=["metric", "feet"])
def test_what_is_written_gives_figures_and_something_to_compare(
    construction: str, answers: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", "pond.toml", *answers, "--construction", construction]) == 0
    assert "auralize figures pond.toml" in capsys.readouterr().out
    thin, thick = (figures(choice) for choice in load_rig("pond.toml").choices.values())
    assert thick.dc_loop_ohm < thin.dc_loop_ohm
    assert main(["figures", "pond.toml"]) == 0


def test_by_hand() -> None:
    """30 m of 2.5 mm2, class 5: 7.98 ohm/km (IEC 60228), there and back."""
    main(["new", "pond.toml", *METRIC])
    assert figures(load_rig("pond.toml")["thin"]).dc_loop_ohm == pytest.approx(
        2 * 30 * 7.98e-3,
        rel=1e-6,  # that of a line: series and shunt together
    )


def test_every_line_that_can_be_unknown_has_a_comment() -> None:
    main(["new", "pond.toml", *METRIC])
    text = Path("pond.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["cables"]["thick"]["conductor"] == "4 mm2"
    assert len(text.splitlines()) < 40
    assumed = [line for line in text.splitlines() if "# assumed" in line]
    assert [line.split(" =")[0] for line in assumed] == [
        "damping_factor",
        "insulation",
        "insulation",
        "kind",
    ]


def test_the_second_size_can_be_chosen() -> None:
    main(["new", "pond.toml", *METRIC, "--against", "#10"])
    assert load_rig("pond.toml")["thick"].label == "#10 twin"


REFUSED = {
    "nothing": ((), "--size, --length, --speaker: missing"),
    "half": (METRIC[:4], "--speaker: missing"),
    "a cable for a conductor": (("--size", "2x2.5 mm2", *METRIC[2:]), "--size: '2x2.5 mm2' counts"),
    "no unit": ((*METRIC[:2], "--length", "30", *METRIC[4:]), "--length: '30' has no unit"),
    "a short": ((*METRIC[:4], "--speaker", "0.1 ohm"), "--speaker: '0.1 ohm' was found"),
    "no construction": ((*METRIC, "--construction", "coax"), "--construction: 'coax' was found"),
    "no second size": ((*METRIC, "--against", "thick"), "--against: 'thick' is not an area"),
    "a line break": ((*METRIC[:4], "--speaker", "8\x7fohm"), "--speaker: "),
}


@pytest.mark.parametrize(("options", "says"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused_and_nothing_written(
    options: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str], here: Path
) -> None:
    assert main(["new", "pond.toml", *options]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(f"auralize: {says}")
    assert said.err.count("\n") == 1
    assert list(here.iterdir()) == []


@pytest.mark.parametrize("there", ["file", "folder", "dead link"])
def test_what_is_there_stays(there: str, capsys: pytest.CaptureFixture[str], here: Path) -> None:
    path = here / "pond.toml"
    if there == "file":
        path.write_bytes(b"mine")
    elif there == "folder":
        path.mkdir()
    else:
        path.symlink_to("nowhere")
    before = os.lstat(path)
    assert main(["new", "pond.toml", *METRIC]) == 2
    assert "it is there already, and stays" in capsys.readouterr().err
    assert os.lstat(path) == before
    assert [p.name for p in here.iterdir()] == ["pond.toml"]


def test_a_name_of_another_kind_is_refused(capsys: pytest.CaptureFixture[str], here: Path) -> None:
    assert main(["new", "pond.wav", *METRIC]) == 2
    assert "ends in .toml" in capsys.readouterr().err
    assert list(here.iterdir()) == []


def asked(here: Path, typed: bytes) -> tuple[int, str]:
    """The command in a terminal of its own, in which all this is typed."""
    process, terminal = pty.fork()
    if process == 0:
        os.chdir(here)
        os.execv(AURALIZE, [str(AURALIZE), "new", "pond.toml"])
    os.write(terminal, typed)
    said = b""
    while True:
        try:
            more = os.read(terminal, 4096)
        except OSError:  # the other end is closed
            break
        if not more:
            break
        said += more
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), said.decode()


def test_in_a_terminal_it_asks_and_asks_again(here: Path) -> None:
    code, said = asked(here, b"2.5\n#14\n60 ft\n\n\n")
    assert code == 0, said
    assert "'2.5' has no unit" in said
    rig = load_rig(here / "pond.toml")
    assert rig["thin"].label == "#14 twin"
    assert rig.data["runs"]["line"]["length"] == "60 ft"


def test_a_terminal_that_ends_gets_no_file(here: Path) -> None:
    code, said = asked(here, b"#14\n\x04")
    assert code == 2
    assert "no answer came" in said
    assert list(here.iterdir()) == []


def test_the_thicker_of_two_sizes_is_called_so(tmp_path, capsys):
    path = tmp_path / "big.toml"
    asked = ["--length", "30 m", "--speaker", "8 ohm", "--size", "4 mm2"]
    assert main(["new", str(path), *asked, "--against", "1 mm2"]) == 0
    rig = tomllib.loads(path.read_text(encoding="utf-8"))
    assert [rig["cables"][name]["conductor"] for name in ("thin", "thick")] == ["1 mm2", "4 mm2"]
    path.unlink()
    assert main(["new", str(path), *asked, "--against", "4 mm2"]) == 2
    assert "--against: 4 mm2 is the same size" in capsys.readouterr().err
    assert not path.exists()
