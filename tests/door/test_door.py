"""The door for those who come with Python: what it gives, against the command's own path and closed forms."""

import doctest
import importlib
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st

import auralize as au
from auralize.renderer import arrays, options

DEMO = Path(__file__).parents[2] / "audio_demo"
RATE = 48_000
ROOMS = (
    "auralize",
    "auralize.rig.choice",
    "auralize.rig.reading",
    "auralize.figures.rows",
    "auralize.figures.fit",
    "auralize.renderer.arrays",
    "auralize.renderer.batch",
)


@pytest.fixture(scope="module")
def rig():
    return au.load_rig(DEMO / "saltmarsh.toml")


def noise(frames, channels=2, seed=0):
    return np.random.default_rng(seed).normal(0.0, 0.1, (frames, channels))


# ---- what the docstrings say


@pytest.mark.parametrize("room", ROOMS)
def test_the_examples_in_the_docstrings_are_true(room, tmp_path, monkeypatch):
    (tmp_path / "saltmarsh.toml").write_bytes((DEMO / "saltmarsh.toml").read_bytes())
    sf.write(tmp_path / "programme.wav", noise(RATE), RATE, "PCM_24")
    monkeypatch.chdir(tmp_path)
    found = doctest.testmod(importlib.import_module(room), optionflags=doctest.ELLIPSIS)
    assert found.failed == 0
    assert found.attempted >= 2


def test_everything_at_the_door_is_there_says_what_it_does_and_shows_it(rig):
    for name in au.__all__:
        assert getattr(au, name).__doc__, name
    assert set(au.__all__) <= set(dir(au))
    for function in (au.load_rig, au.read_rig, au.render, au.render_file, au.by_choice, au.fit):
        assert ">>> " in function.__doc__


def test_what_is_not_there_is_told_with_what_is():
    with pytest.raises(AttributeError, match=r"auralize has no 'rendr'; it has .*render_file"):
        au.rendr  # noqa: B018


def test_importing_the_package_loads_nothing_heavy():
    code = "import sys, auralize; print(*{m.partition('.')[0] for m in sys.modules})"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    heavy = {
        "numpy",
        "scipy",
        "soundfile",
        "sounddevice",
        "textual",
        "rich",
        "tomlkit",
        "matplotlib",
    }
    assert not heavy & set(loaded.stdout.split())


def test_every_error_is_one_that_python_knows():
    errors = [getattr(au, name) for name in au.__all__ if name.endswith("Error")]
    for error in errors:
        assert issubclass(error, au.AuralizeError)
        assert error is au.AuralizeError or issubclass(error, ValueError | OSError)


# ---- rigs


def test_a_rig_from_a_dictionary_is_checked_as_one_from_a_file(rig):
    data = tomllib.loads((DEMO / "saltmarsh.toml").read_text())
    same = au.read_rig(data)
    f = [20.0, 1000.0, 20_000.0]
    assert np.array_equal(same["reel"].response(f), rig["reel"].response(f))
    data["runs"]["pond"]["length"] = "62 parsec"
    with pytest.raises(au.RigError, match=r"^rig: runs\.pond\.length.*62 parsec"):
        au.read_rig(data)


def test_wrong_names_are_told_with_the_right_ones(rig):
    with pytest.raises(au.RigError, match=r"did you mean 'reel'.*reel, bought, beams"):
        rig["real"]
    with pytest.raises(au.RequestError, match=r"did you mean 'drop'.*receiving, drop, sending"):
        rig["reel"].response([1.0], signal="dorp")
    with pytest.raises(au.RequestError, match="right is one of receiving, drop, sending"):
        au.render(noise(10), RATE, rig["reel"], signal="dorp")
    with pytest.raises(au.RequestError, match="match 'level' was found"):
        au.render_file("none.wav", rig, "nowhere", match="level")
    with pytest.raises(au.RequestError, match="signals: 'dorp' is not known"):
        au.render_file("none.wav", rig, "nowhere", signals=["dorp"])


def test_the_response_at_0_hz_is_the_divider_of_resistances():
    """Ohm's law for 0.1 ohm, 20 m there and back, 8 ohm; cables are read from a table, to 1e-7."""
    rig = au.read_rig(
        {
            "amplifier": {"resistance": "0.1 ohm"},
            "cables": {
                "reel": {
                    "construction": "twin",
                    "conductor": "1 mm2",
                    "insulation": "0.8 mm",
                }
            },
            "runs": {"pond": {"cable": "reel", "length": "20 m"}},
            "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
        }
    )
    (choice,) = rig.choices.values()
    loop = 2 * 20 * 1.7241e-8 / 1e-6  # IACS copper at 20 degC (value from memory)
    whole = 8.1 + loop
    assert choice.response([0.0])[0] == pytest.approx(8 / whole, rel=1e-7)
    assert choice.response([0.0], "drop")[0] == pytest.approx(loop / whole, rel=1e-7)
    assert choice.response([0.0], "drop", "plus")[0] == pytest.approx(loop / whole / 2, rel=1e-7)
    assert choice.response([0.0], "sending")[0] == pytest.approx((8 + loop) / whole, rel=1e-7)


def test_reversed_at_the_loudspeaker_is_inverted_in_response_and_sound():
    data = tomllib.loads((DEMO / "saltmarsh.toml").read_text())
    data["loads"]["stage"]["reversed"] = True
    turned, straight = au.read_rig(data)["reel"], au.load_rig(DEMO / "saltmarsh.toml")["reel"]
    for signal in ("receiving", "drop", "sending"):
        f = [100.0, 5000.0]
        assert np.allclose(turned.response(f, signal), -straight.response(f, signal), rtol=1e-12)
        x = noise(2000)
        assert np.allclose(
            au.render(x, RATE, turned, signal), -au.render(x, RATE, straight, signal), rtol=1e-12
        )


# ---- figures


def test_rows_are_the_figures_that_the_command_prints(rig):
    rows = {row["choice"]: row for row in au.by_choice(rig)}
    assert list(rows) == ["reel", "bought", "beams"]
    # README, `auralize figures`: held against the command's output by test_readme.
    assert rows["reel"]["reference_hz"] == 1000.0
    assert rows["reel"]["damping_hz"] == 0.0
    assert rows["reel"]["damping_factor"] == pytest.approx(7.92, abs=0.005)
    assert rows["reel"]["cable_share"] == pytest.approx(0.145, abs=0.0005)
    table = au.by_frequency([rig["reel"], rig["beams"]], at=[63.0, 8000.0])
    assert [(row["choice"], row["frequency"]) for row in table] == [
        ("reel", 63.0),
        ("reel", 8000.0),
        ("beams", 63.0),
        ("beams", 8000.0),
    ]
    assert table[3]["loss_db"] == pytest.approx(-2.91, abs=0.005)
    level = 20 * np.log10(
        np.abs(rig["beams"].response([8000.0]) / rig["beams"].response([8000.0], "sending"))
    )
    assert table[3]["loss_db"] == pytest.approx(float(level[0]), abs=1e-9)
    assert len(au.by_frequency(rig["reel"])) == 10


# ---- sound


@pytest.mark.parametrize("signal", ["receiving", "drop", "sending"])
@pytest.mark.parametrize("shape", [(5000,), (5000, 1), (5000, 3)])
def test_an_array_is_rendered_as_a_file_is(rig, tmp_path, signal, shape):
    samples = np.random.default_rng(1).normal(0.0, 0.05, shape)
    sf.write(tmp_path / "a.wav", samples, RATE, "DOUBLE")
    done = au.render_file(tmp_path / "a.wav", rig["reel"], tmp_path, signals=[signal], makeup=0.0)
    (output,) = done.outputs
    assert output.gains.total == 0.0
    written, _ = sf.read(output.path, always_2d=samples.ndim == 2)
    found = au.render(samples, RATE, rig["reel"], signal)
    assert found.shape == samples.shape
    assert np.abs(found - written).max() < 1e-15


def test_an_array_longer_than_a_slice_is_the_plain_convolution(rig):
    samples = noise(arrays.FRAMES_AT_ONCE + 777, 1)[:, 0]
    fir = au.design_filter(rig["beams"], RATE, "drop")
    wanted = np.convolve(samples, fir.taps)[fir.delay :]
    found = au.render(samples, RATE, rig["beams"], "drop", tail=0.01)
    assert len(found) == len(samples) + 480
    assert np.abs(found - wanted[: len(found)]).max() < 1e-13


ACROSS = ("both", "plus", "minus")


def test_over_one_conductor_of_a_symmetric_run_it_is_half(rig):
    samples = noise(3000)
    both, plus, minus = (au.render(samples, RATE, rig["reel"], "drop", across=a) for a in ACROSS)
    assert np.allclose(plus, both / 2, rtol=1e-12, atol=0)
    assert np.allclose(minus, both / 2, rtol=1e-12, atol=0)


def test_over_both_is_over_plus_and_over_minus_where_they_differ():
    samples, corroded = noise(3000), au.load_rig(DEMO / "path.toml")["corroded"]
    both, plus, minus = (au.render(samples, RATE, corroded, "drop", across=a) for a in ACROSS)
    assert np.abs(plus + minus - both).max() < 1e-14
    assert np.abs(plus - minus).max() > 0.1 * np.abs(both).max()
    for across, found in zip(ACROSS, (both, plus, minus), strict=True):
        processor = au.Processor(corroded, RATE, 2, "drop", across=across)
        late = processor.process(np.concatenate([samples, np.zeros((processor.latency, 2))]))
        assert np.abs(late[processor.latency :] - found).max() < 1e-13


def test_what_is_over_no_conductor_is_refused(rig):
    with pytest.raises(au.RequestError, match="across 'pluss' is not known"):
        au.design_filter(rig["reel"], RATE, "drop", across="pluss")
    behind = au.load_rig(DEMO / "path.toml")["sound"].at("gate")
    for ask in (
        lambda: behind.response([100.0], "drop", across="plus"),
        lambda: au.render(noise(100), RATE, behind, "drop", across="minus"),
        lambda: au.Processor(behind, RATE, 2, "drop", across="minus"),
        lambda: au.by_frequency(behind, at=[100.0], across="plus"),
    ):
        with pytest.raises(au.RequestError, match="choice 'sound': there is a transformer"):
            ask()


def test_the_drop_by_frequency_says_what_it_is_over():
    corroded = au.load_rig(DEMO / "path.toml")["corroded"]
    for across in ACROSS:
        (row,) = au.by_frequency(corroded, at=[1000.0], across=across)
        drop, sent = (corroded.response([1000.0], s, across)[0] for s in ("drop", "sending"))
        assert row["drop_across"] == across
        assert row["drop_db"] == pytest.approx(20 * np.log10(abs(drop / sent)), rel=1e-12)


@settings(max_examples=25, deadline=None)
@given(
    cuts=st.lists(st.integers(0, 700), min_size=1, max_size=12),
    hop=st.sampled_from([1, 64, 256]),
    seed=st.integers(0, 1000),
)
def test_blocks_of_any_length_come_out_as_long_and_as_the_whole_is(cuts, hop, seed):
    reel = au.load_rig(DEMO / "saltmarsh.toml")["reel"]
    samples = noise(sum(cuts), 2, seed)
    processor = au.Processor(reel, 8000, 2, "drop", hop=hop)
    blocks = np.split(samples, np.cumsum(cuts)[:-1])
    found = [processor.process(block) for block in blocks]
    assert [len(block) for block in found] == cuts
    late = np.concatenate([*found, processor.process(np.zeros((processor.latency, 2)))])
    if len(samples):
        wanted = au.render(samples, 8000, reel, "drop")
        assert np.abs(late[processor.latency :] - wanted).max() < 1e-13
    processor.reset()
    assert not processor.process(np.zeros((50, 2))).any()


def test_what_cannot_be_rendered_is_refused_in_a_sentence(rig):
    reel = rig["reel"]
    for samples, message in (
        (np.zeros((0, 2)), r"shape \(0, 2\)"),
        (np.zeros((2, 2, 2)), r"shape \(2, 2, 2\)"),
        ([1.0, np.nan], "NaN or an infinite value"),
    ):
        with pytest.raises(au.RequestError, match=message):
            au.render(samples, RATE, reel)
    with pytest.raises(au.RequestError, match="right is 0 s or more"):
        au.render([1.0], RATE, reel, tail=-1.0)
    with pytest.raises(au.DesignError, match="4000 Hz"):
        au.render([1.0], 4000, reel)
    with pytest.raises(au.RequestError, match="channels=0"):
        au.Processor(reel, RATE, 0)
    with pytest.raises(au.RequestError, match=r"shape \(7,\) was given; right is \(frames, 2\)"):
        au.Processor(reel, RATE, 2).process(np.zeros(7))


def test_things_say_what_they_are(rig):
    assert repr(rig["reel"]).startswith("<Choice 'reel', heard at stage: pond 62 m")
    fir = au.design_filter(rig["reel"], RATE)
    assert repr(fir) == (
        f"<Fir of {len(fir.taps)} taps at 48000 Hz, delay 256 samples, error {fir.error:.0f} dB>"
    )
    words = repr(au.Processor(rig["reel"], RATE, 2, "drop"))
    assert words == "<Processor: drop of 'reel' at 48000 Hz, 2 channels, 511 frames late>"


def test_matches_are_understood_as_the_command_does():
    assert au.Match.of("installed") == au.Match("installed")
    assert au.Match.of(1000.0) == au.Match.of(1000) == au.Match.at(1000.0)
    assert au.Match.of(au.Match("loudness")).words == "receiving ends matched in loudness"
    for wrong in (9.9, 40_001.0, float("nan"), "1 kHz"):
        with pytest.raises(au.RequestError, match="from 10 Hz to 40 kHz"):
            au.Match.of(wrong)
    assert options.RenderOptions().match.words == "levels as installed"
