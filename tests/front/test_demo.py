"""The demonstration, listened to in figures: what is in the files against what the circuit says."""

import json
import re

import numpy as np
import pytest
import soundfile as sf
from auralize_demo.demo import RIG_FILES, make_demo

from auralize.circuit.solution import solve
from auralize.outputs import sidecar
from auralize.rig.reading import load_rig


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mill")
    shares = []
    text = make_demo(folder, shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
    return folder, text


def power_in_bands(path, edges):
    """Power of a file between each two edges in Hz."""
    samples, rate = sf.read(path, always_2d=True)
    spectrum = np.sum(np.abs(np.fft.rfft(samples, axis=0)) ** 2, axis=1)
    frequency = np.fft.rfftfreq(len(samples), 1 / rate)
    bins = np.searchsorted(edges, frequency)
    return np.bincount(bins, spectrum, len(edges) + 1)[1:-1], frequency, spectrum, bins


@pytest.mark.parametrize("rig_file", RIG_FILES[:2])
def test_spectrum_of_every_file_is_programme_times_response(mill, rig_file):
    folder, _ = mill
    edges = 1000 * 10 ** (np.arange(-17, 14) / 10 + 0.05)  # third octaves, 20 Hz to 20 kHz
    _, frequency, programme, bins = power_in_bands(folder / "programme.wav", edges)
    seen = 0
    for name, choice in load_rig(folder / rig_file).choices.items():
        solution = solve(choice.network, frequency)
        for signal, response in (
            ("receiving", solution.receiving[choice.listen]),
            ("drop", solution.drop(choice.listen)),
        ):
            path = folder / f"programme.{name}.{signal}.wav"
            if not path.exists():
                assert (signal, rig_file) == ("receiving", "lay.toml")
                continue
            seen += 1
            gain = json.loads(sidecar(path).read_text())["gain_db"]["total"]
            got = power_in_bands(path, edges)[0]
            wanted = np.bincount(bins, programme * np.abs(response) ** 2, len(edges) + 1)[1:-1]
            error = 10 * np.log10(got / wanted) - gain
            assert np.max(np.abs(error)) < 0.02
    assert seen >= 5


def test_everything_named_is_there(mill):
    folder, text = mill
    named = set(re.findall(r"programme[\w.-]*\.wav", text))
    assert named >= {"programme.wav", "programme.reel.drop.wav", "programme.apart.drop.wav"}
    assert all((folder / name).exists() for name in named)
    assert not list(folder.glob(".*"))


def test_it_fits_a_terminal_of_80_columns_but_for_tables(mill):
    prose = [line for line in mill[1].splitlines() if not re.search(r"\d\.\d\d ", line)]
    assert max(len(line) for line in prose) <= 90


def test_the_same_every_time(mill, tmp_path):
    folder, text = mill
    again = make_demo(tmp_path, lambda share: None)
    assert again.replace(str(tmp_path), str(folder)) == text
    for path in sorted(folder.iterdir()):
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name
