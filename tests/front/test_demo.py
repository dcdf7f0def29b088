"""The demonstration, listened to in figures: what is in the files against what the circuit says."""

import argparse
import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from auralize_demo.demo import FIRST, RENDERED, make_demo

from auralize.circuit.solution import solve
from auralize.commands.demo import run
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


@pytest.mark.parametrize("part", RENDERED)
def test_spectrum_of_every_file_is_programme_times_response(mill, part):
    folder, _ = mill
    edges = 1000 * 10 ** (np.arange(-17, 14) / 10 + 0.05)  # third octaves, 20 Hz to 20 kHz
    _, frequency, programme, bins = power_in_bands(folder / "programme.wav", edges)
    rig = load_rig(folder / part.rig_file)
    kept = "" if part.across == "both" else f"-{part.across}"
    for name in part.choices:
        solution = solve(rig[name].network, frequency)
        listen = rig[name].listen
        drop = solution.drop(listen, part.across)
        responses = {"receiving": solution.receiving[listen], "drop": drop}
        for signal in part.signals:
            path = folder / f"programme.{name}.{signal}{kept}.flac"
            gain = json.loads(sidecar(path).read_text())["gain_db"]["total"]
            got = power_in_bands(path, edges)[0]
            response = np.abs(responses[signal]) ** 2
            wanted = np.bincount(bins, programme * response, len(edges) + 1)[1:-1]
            error = 10 * np.log10(got / wanted) - gain
            assert np.max(np.abs(error)) < 0.02


def test_everything_named_is_there(mill):
    folder, text = mill
    named = set(re.findall(r"programme[\w.-]*\.(?:wav|flac)", text))
    assert len(named) == 1 + len(FIRST)
    assert all((folder / name).exists() for name in named)
    assert not list(folder.glob(".*"))


def test_it_takes_less_than_30_megabytes(mill):
    assert sum(path.stat().st_size for path in mill[0].iterdir()) < 30e6


def test_it_fits_one_screen(monkeypatch, capsys, mill):
    """24 lines of 80 columns, with all that the command says besides."""
    text = mill[1].replace(str(mill[0]), "tide-mill")
    monkeypatch.setattr("auralize.commands.demo.installed", lambda *_: lambda *_: text)
    run(argparse.Namespace(folder=Path("tide-mill"), replace=False))
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert any("start quiet" in line.lower() for line in lines)


def test_the_same_every_time(mill, tmp_path):
    folder, text = mill
    again = make_demo(tmp_path, lambda share: None)
    # Where lines break depends on the folder's name.
    assert again.replace(str(tmp_path), str(folder)).split() == text.split()
    for path in sorted(folder.iterdir()):
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name
