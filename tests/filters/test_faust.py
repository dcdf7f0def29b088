"""The Faust text, compiled by Faust itself: held against the circuit, solved at the same frequencies."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray

from auralize.audio.noise import period
from auralize.circuit.signals import voltage
from auralize.circuit.solution import solve
from auralize.errors import DesignError
from auralize.filters import faust
from auralize.filters.faust import (
    RATES,
    design_branch,
    export_faust,
    faust_name,
    pink_loudness,
)
from auralize.filters.faust_text import PluginPanel, faust_text, plain
from auralize.filters.sections import Iir
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig, read_rig
from auralize.rig.work import told_to
from support.faust_run import CONTROLS, Compiled, needed, ran

Array = NDArray[np.float64]
SOME_RATES = (44_100, 48_000, 96_000)
SECONDS = 1.5
"""After which an impulse has decayed by 200 dB in every choice here."""
RIG = {
    "title": "Saltmarsh Tide Mill: \"sluice\" / 'weir' [1]",
    "amplifier": {"resistance": "0.05 ohm"},
    "cables": {
        "thin": {"construction": "twin", "conductor": "0.75 mm2", "insulation": "0.8 mm"},
        "thick": {"construction": "twin", "conductor": "4 mm2", "insulation": "0.8 mm"},
    },
    "runs": {"path": {"length": "62 m", "cable": "thin"}},
    "loads": {
        "sluice": {
            "type": "driver", "nominal": "8 ohm", "Re": "5.8 ohm", "Le": "0.3 mH", "fs": "42 Hz",
            "Qms": 4.2, "Qes": 0.45,
        }
    },
    "choices": {
        "thin": {"label": "what is there"},
        "swapped": {"runs": {"path": {"cable": "thick"}}, "loads": {"sluice": {"reversed": True}}},
    },
}  # fmt: skip
MOST_DB = {"receiving": 0.02, "drop": 0.1}
HEARD = {"receiving": 1.0, "drop": 2.0}
MATCHES = (1.5, 0.25)
PANEL = PluginPanel(str(RIG["title"]), "both", SOME_RATES, 20)
BAND = (20.0, 20_000.0)
HOST = Path(__file__).parents[1] / "support" / "lv2_host.c"


@pytest.fixture(scope="session")
def rig() -> Rig:
    return read_rig(RIG)


@pytest.fixture(scope="session")
def text(rig: Rig) -> str:
    choices = zip(rig.choices.values(), MATCHES, strict=True)
    return faust_text(PANEL, [design_branch(choice, match, PANEL) for choice, match in choices])


@pytest.fixture(scope="session")
def made(text: str, tmp_path_factory: pytest.TempPathFactory) -> Compiled:
    """In single precision, as hosts do: what is within a tolerance so is within it in double."""
    return Compiled(text, tmp_path_factory.mktemp("made"), "single")


def settled(made: Compiled, rate: int, sound: Array, **controls: float) -> Array:
    """What comes out for one channel, after the fade with which everything begins; the other is silent."""
    ahead = round(0.02 * rate)
    fed = np.zeros((ahead + len(sound), 2))
    fed[ahead:, 0] = sound
    found = made.run(rate, [(controls, fed)])
    assert not found[:, 1].any()
    return found[ahead:, 0]


# --- responses ------------------------------------------------------------------------------------


def check_response(out: Array, choice: Choice, signal: str, rate: int) -> None:
    """An impulse response against the circuit."""
    frequency = np.fft.rfftfreq(len(out), 1.0 / rate)
    heard = (frequency >= BAND[0]) & (frequency <= BAND[1])
    ratio = np.fft.rfft(out)[heard] / choice.response(frequency[heard], signal)
    assert np.abs(20 * np.log10(np.abs(ratio))).max() < MOST_DB[signal]
    # Neither is turned over: phases are those of the circuit, as far as it is minimum phase.
    assert np.abs(np.angle(ratio)[frequency[heard] < 5_000.0]).max() < 0.5


@pytest.mark.parametrize("rate", SOME_RATES)
@pytest.mark.parametrize("signal", HEARD)
def test_impulse_responses_are_those_of_the_circuit(
    made: Compiled, rig: Rig, signal: str, rate: int
) -> None:
    impulse = np.zeros(round(SECONDS * rate))
    impulse[0] = 1.0
    for number, choice in enumerate(rig.choices.values(), 1):
        out = settled(made, rate, impulse, choice=number, hear=HEARD[signal], matched=0, makeup=0)
        check_response(out, choice, signal, rate)


def test_the_source_is_left_as_it_is(made: Compiled) -> None:
    sound = np.random.default_rng(5).uniform(-1, 1, 300)
    out = settled(made, 44_100, sound, choice=2, hear=0, matched=1, makeup=30)
    np.testing.assert_allclose(out, sound, atol=1e-6)  # single precision


def test_what_a_choice_gets_matched_and_made_up(made: Compiled) -> None:
    sound = np.random.default_rng(6).uniform(-1, 1, 300)
    for number, match in enumerate(MATCHES, 1):
        for hear, makeup, gain in ((1, 25, match), (2, 25, match + 25)):
            plain_one = settled(made, 48_000, sound, choice=number, hear=hear, matched=0, makeup=0)
            out = settled(made, 48_000, sound, choice=number, hear=hear, matched=1, makeup=makeup)
            np.testing.assert_allclose(out, 10 ** (gain / 20) * plain_one, rtol=1e-5, atol=1e-6)


def test_controls_begin_with_the_first_choice_as_it_arrives(made: Compiled) -> None:
    assert made.starts() == dict(zip(CONTROLS.values(), (1.0, 1.0, 0.0, 20.0), strict=True))


@pytest.mark.parametrize(("rate", "nearest"), [(60_000, 48_000), (88_200, 96_000)])
def test_at_another_rate_the_sections_of_the_nearest_act(
    made: Compiled, rate: int, nearest: int
) -> None:
    impulse = np.eye(1, 200)[0]
    controls = {"choice": 1, "hear": 2, "makeup": 0}
    out, wanted = (settled(made, at, impulse, **controls) for at in (rate, nearest))
    np.testing.assert_array_equal(out, wanted)


@pytest.mark.parametrize("value", [0.9, 1.1])
def test_a_host_that_sends_no_whole_numbers_is_understood(made: Compiled, value: float) -> None:
    sound = np.random.default_rng(7).uniform(-1, 1, 50)
    out = settled(made, 48_000, sound, choice=value, hear=2 * value)
    wanted = settled(made, 48_000, sound, choice=1, hear=2)
    np.testing.assert_array_equal(out, wanted)


# --- switching ------------------------------------------------------------------------------------

AWAY = {"choice": 1, "hear": 1, "matched": 0, "makeup": 20}
SWITCHES = {
    "to another choice": {"choice": 2},
    "to the drop": {"hear": 2},
    "to the source": {"hear": 0},
    "to a drop of another choice, matched": {"choice": 2, "hear": 2, "matched": 1},
    "matched": {"matched": 1},
}


@pytest.mark.parametrize("rate", [44_100, 96_000])
@pytest.mark.parametrize("switch", SWITCHES.values(), ids=SWITCHES)
def test_a_switch_is_a_smooth_cross_fade_of_15_ms(
    made: Compiled, switch: dict[str, float], rate: int
) -> None:
    """Sample by sample what mixing the two by hand gives: no step, no gap, filters already warm."""
    sound = np.random.default_rng(8).normal(0.0, 0.2, (rate // 5, 2))
    half = rate // 10
    whole = [made.run(rate, [(controls, sound)]) for controls in (AWAY, {**AWAY, **switch})]
    out = made.run(rate, [(AWAY, sound[:half]), (switch, sound[half:])])
    frames = np.arange(len(sound)) - half + 1
    time = np.clip(frames / round(0.015 * rate), 0.0, 1.0)[:, None]
    share = 3 * time**2 - 2 * time**3
    np.testing.assert_allclose(out, (1 - share) * whole[0] + share * whole[1], atol=2e-6)


def test_a_switch_does_not_click(made: Compiled) -> None:
    """A tone of 100 Hz through a switch has nothing above 2 kHz; a hard one there does, by far."""
    rate = 48_000
    tone = 0.5 * np.sin(2 * np.pi * 100 * np.arange(rate) / rate)[:, None] * np.ones(2)
    half = 24_120  # at a crest

    def above(sound: Array) -> float:
        window = np.hanning(2 * 4800)
        part = sound[half - 4800 : half + 4800, 0] * window
        high = np.fft.rfft(part)[2000 * 9600 // rate :]
        return 10 * np.log10(np.sum(np.abs(high) ** 2) / np.sum(np.abs(np.fft.rfft(part)) ** 2))

    other = {"choice": 2, "hear": 2}
    soft = made.run(rate, [(AWAY, tone[:half]), (other, tone[half:])])
    first, second = (made.run(rate, [(controls, tone)]) for controls in (AWAY, {**AWAY, **other}))
    hard = np.concatenate([first[:half], second[half:]])
    assert above(soft) < -100
    assert above(soft) < above(hard) - 75


# --- gains ----------------------------------------------------------------------------------------


def test_matched_is_as_loud_as_the_source_for_pink_noise(rig: Rig) -> None:
    """By another meter: pyloudnorm, over a period of noise that is filtered in the frequency domain."""
    rate = 48_000
    spectrum = np.fft.rfft(0.1 * period("pink", rate, 1)[:, 0])
    frequency = np.fft.rfftfreq(2 * len(spectrum) - 2, 1.0 / rate)
    spectrum[(frequency < BAND[0]) | (frequency > BAND[1])] = 0.0
    meter = pyloudnorm.Meter(rate)
    source = meter.integrated_loudness(np.fft.irfft(spectrum)[:, None])
    for signal in HEARD:
        sound = np.fft.irfft(spectrum * rig["thin"].response(frequency, signal))
        heard = meter.integrated_loudness(sound[:, None])
        # What gated blocks of 400 ms make of noise, one from another.
        assert pink_loudness(rig["thin"], signal) == pytest.approx(heard - source, abs=0.02)
    # Two conductors that are alike have half each.
    both, plus = (pink_loudness(rig["thin"], "drop", across) for across in ("both", "plus"))
    assert plus - both == pytest.approx(-20 * np.log10(2.0), abs=1e-6)


# --- text -----------------------------------------------------------------------------------------


def test_gains_errors_and_labels_stand_in_comments(text: str) -> None:
    said = " ".join(
        line.removeprefix("//").strip() for line in text.splitlines() if line[:2] == "//"
    )
    for words in (
        "matched +1.50 dB", "matched +0.25 dB", "1 thin: what is there", "2 swapped: swapped",
        "It starts at 20 dB", "pink noise", "44.1, 48 and 96 kHz", "gain 0 dB re source voltage",
        "No headroom is taken off", "Start quiet",
    ):  # fmt: skip
        assert words in said
    assert all(line.isprintable() for line in text.split("\n"))


HOSTILE = (
    "]\"'};process = 0; //",
    "\\",
    "a\nb",
    "\u202e\u05d0\u05d1 \U0001f50a",
    "",
    "9" * 10_000,
    "<mdoc>",
    "*/ x /*",
)


def test_hostile_words_stay_words(rig: Rig, text: str, tmp_path: Path) -> None:
    """Faust takes the text, and makes the same of it."""
    needed("faust")
    design = design_branch(rig["thin"], 0.0, replace(PANEL, rates=(8000,)))
    computed = set()
    for number, words in enumerate(HOSTILE):
        choice = replace(design.choice, name=words, label=words)
        panel = replace(PANEL, title=words, rates=(8000,))
        hostile = faust_text(panel, [replace(design, choice=choice, cautions=(words,))])
        assert len(hostile.splitlines()) < 3000
        (tmp_path / f"made{number}.dsp").write_text(hostile, encoding="utf-8")
        code = ran("faust", "-lang", "c", "-cn", "x", f"made{number}.dsp", cwd=tmp_path)
        assert code.count("addNumEntry(") == 2
        computed.add(code[code.index("void computex") :])
    assert len(computed) == 1
    assert plain("a b-c_d.1+2,3") == "a b-c_d.1+2,3"


@pytest.mark.parametrize(
    ("rig_stem", "wanted"),
    [
        ("tide-mill", "tide_mill"), ("62 m", "rig_62_m"), ("Mühle", "Muhle"), ("..", "rig"),
        ("mill/../x", "mill_x"),
    ],
)  # fmt: skip
def test_names_are_names_of_classes_too(rig: Rig, rig_stem: str, wanted: str) -> None:
    choices = list(rig.choices.values())
    every = list(rig.choices)
    panel = replace(PANEL, rates=RATES)
    assert faust_name(rig_stem, choices, every, panel) == f"{wanted}.dsp"
    one = faust_name(
        f"a{rig_stem}", choices[:1], every, replace(panel, across="plus", rates=(8000,))
    )
    assert one.startswith("a")
    assert one.endswith("_thin_drop_plus_8000Hz.dsp")


def test_sections_that_miss_by_far_are_told_and_useless_ones_refused(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    panel = replace(PANEL, rates=(8000,))
    for error, told in ((0.05, False), (0.5, True)):
        monkeypatch.setattr(
            faust,
            "design_iir",
            lambda r, rate, e=error: Iir(np.array([[1.0, 0, 0, 1, 0, 0]]), rate, e),
        )
        path, working = tmp_path / f"{error}.dsp", []
        with told_to(working.append):
            facts = export_faust([rig["thin"]], panel, [0.0], path)
        assert working[0] == "the filters of choice thin, 1 of 1"
        assert ("Caution: this filter of the drop signal of choice thin" in facts) == told
        assert ("Caution" in path.read_text(encoding="utf-8")) == told
        assert f"within {error:.2g} dB" in path.read_text(encoding="utf-8")
    monkeypatch.setattr(faust, "design_iir", lambda r, rate: Iir(np.ones((1, 6)), rate, 7.0))
    with pytest.raises(DesignError, match="no filter comes near this response"):
        export_faust([rig["thin"]], panel, [0.0], tmp_path / "none.dsp")
    assert not (tmp_path / "none.dsp").exists()


def test_the_drop_over_one_conductor_is_another(rig: Rig) -> None:
    panel = replace(PANEL, rates=(48_000,), across="plus")
    (iir,) = design_branch(rig["thin"], 0.0, panel).sections["drop"]
    f = np.geomspace(*BAND, 50)
    wanted = np.abs(voltage(solve(rig["thin"].network, f), "sluice", "drop", "plus"))
    np.testing.assert_allclose(np.abs(iir.response(f)), wanted, rtol=0.01)
    assert "'drop over plus':2" in faust_text(panel, [design_branch(rig["thin"], 0.0, panel)])


# --- plugin ---------------------------------------------------------------------------------------


def test_an_lv2_bundle_is_built_is_valid_and_sounds(text: str, rig: Rig, tmp_path: Path) -> None:
    """By Faust's own `faust2lv2`, as it comes; `lv2_validate` finds no error, and a host hears the drop."""
    needed("faust2lv2", "g++", "lv2_validate", "sord_validate")
    (tmp_path / "mill.dsp").write_text(text, encoding="utf-8")
    ran("faust2lv2", "mill.dsp", cwd=tmp_path, FAUSTTOOLSFLAGS="-O0")
    bundle = tmp_path / "mill.lv2"
    described = [str(bundle / name) for name in ("manifest.ttl", "mill.ttl")]
    assert "Found 0 errors" in ran("lv2_validate", *described, cwd=tmp_path)
    told = Path(described[1]).read_text(encoding="utf-8")
    assert '"2_swapped"; rdf:value 2' in told
    ran("cc", "-w", str(HOST), "-o", "host", "-ldl", cwd=tmp_path)
    rate, ahead = 48_000, 960
    sound = np.zeros((ahead + round(SECONDS * rate), 2), np.float32)
    sound[ahead] = 1.0
    numbers = map(str, (rate, len(sound), 2, 2, 0, 0))
    command = [tmp_path / "host", bundle / "mill.so", *numbers]
    done = subprocess.run(
        command, input=sound.tobytes(), capture_output=True, check=True, timeout=60
    )
    out = np.frombuffer(done.stdout, np.float32).reshape(-1, 2)[ahead:]
    np.testing.assert_array_equal(out[:, 0], out[:, 1])
    check_response(out[:, 0], rig["swapped"], "drop", rate)
