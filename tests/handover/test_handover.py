"""What is handed over against what `render` and `figures` say of the same rig, source and region."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import subprocess
import sys
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from auralize.commands.main import main
from auralize.errors import DesignError
from auralize.figures import sentences
from auralize.figures.against import difference
from auralize.figures.against_text import matched_words
from auralize.filters.fir import RunFilters, design_run
from auralize.gains import LOUDNESS, Match
from auralize.handover import demonstration_text, handover, text
from auralize.handover.levels import gains, signals
from auralize.handover.page import page_text
from auralize.handover.page_data import rig_fingerprint
from auralize.renderer.files import Designs
from auralize.renderer.take import WHOLE, Take
from auralize.rig.reading import load_rig
from auralize.temporaries import temporary_beside
from auralize.trials.compared import built, sha256_of_choice
from auralize.units import rounded
from support.command import RATE, RIG, Array, Bench, Tell, Told, output, refusal

RIG_TWIN = RIG.replace(
    'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"',
    'construction = "twin"\nconductor = "0.75 mm2"\ninsulation = "1 mm"\n',
)
PATH = Path(__file__).parents[2] / "audio_demo" / "path.toml"
COILS = Path(__file__).parents[2] / "audio_demo" / "lay.toml"
REGION = ("--from", "0.3", "--for", "0.8")
HAND = ("handover", "sluice.toml", "bells.wav", "--into", "show")


def noise(seconds: float = 1.5, channels: int = 2, rate: int = RATE, level: float = 0.1) -> Array:
    random = np.random.default_rng(7)
    return random.normal(0.0, level, (round(seconds * rate), channels))


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path)
    made.rig.write_text(RIG_TWIN, encoding="utf-8")
    sf.write(made.programme, noise(), RATE, "PCM_24")
    return made


@pytest.fixture(autouse=True)
def bare_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """The data alone in place of a page: they are what this is about."""
    monkeypatch.setattr(handover, "page_text", lambda data, *_: json.dumps(data))


@pytest.fixture
def tell(bench: Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Tell:
    monkeypatch.chdir(bench.folder)

    def call(*arguments: object) -> Told:
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            code = int(stop.code or 0)
        return Told(code, *capsys.readouterr())

    return call


def data(bench: Bench) -> Any:
    return json.loads((bench.folder / "show" / "page.html").read_text("utf-8"))


def held(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


GAINS = ("match", "makeup", "headroom", "total")
WAYS: dict[str, tuple[str, ...]] = {
    "installed": (),
    "loudness": ("--match", "loudness"),
    "1 kHz": ("--match", "1 kHz"),
    "equal": ("--make-up", "equal", "--match", "loudness"),
    "30 dB": ("--make-up", "30 dB"),
}
OFFERED = {"match": "installed", "drops": "one", "makeup": None}
BEGINS: dict[tuple[str, ...], dict[str, object]] = {
    WAYS["loudness"]: {"match": "loudness"},
    WAYS["1 kHz"]: {"match": 1000.0},
    WAYS["equal"]: {"match": "loudness", "drops": "equal"},
    WAYS["30 dB"]: {"makeup": 30.0},
}
"""What the page begins with, where it is not as installed."""


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
def test_gains_and_levels_are_those_of_render(
    bench: Bench, tell: Tell, way: tuple[str, ...]
) -> None:
    """To the digits that `render` writes: gains to 1e-4 dB, levels to 1e-3 dB."""
    said = output(tell(*HAND, *REGION, *way))
    output(
        tell(
            "render", "sluice.toml", "bells.wav", "--into", "heard", *REGION, *way,
            "--signals", "receiving,drop,source",
        )
    )  # fmt: skip
    page = data(bench)
    named = {(number, one["name"]) for number, one in enumerate(page["choices"])}
    levels = {
        (name, one["signal"]): one
        for number, name in named
        for one in page["signals"]
        if one["choice"] == number
    }
    levels[None, "source"] = page["programme"]
    assert page["offered"] == {**OFFERED, **BEGINS.get(way, {})}
    assert "Start quiet" in said
    facts = [json.loads(path.read_text()) for path in (bench.folder / "heard").glob("*.json")]
    assert len(facts) == 5
    for fact in facts:
        level, its = levels[fact["choice"], fact["signal"]], fact["gain_db"]
        total = its["total"]
        assert level["loudness"] + total == pytest.approx(fact["loudness_lufs"], abs=1e-3)
        peak = 20.0 * np.log10(level["peak"]) + total
        assert peak == pytest.approx(fact["true_peak_dbtp"], abs=1e-3)
        what = {"receiving": "receiving end"}.get(fact["signal"], fact["signal"])
        row = f"{what} of {fact['choice']}" if fact["choice"] else "source"
        (line,) = [line for line in said.splitlines() if line.startswith(f"{row}  ")]
        assert line.split()[-4:] == [rounded(its[name], "+.2f") for name in GAINS]
        assert page["programme"]["sha256"] == fact["source_sha256"]
        at = {one["name"]: one["fingerprint"] for one in page["choices"]}
        assert at.get(fact["choice"]) == fact["rig"]


def test_curves_are_those_of_figures(bench: Bench, tell: Tell) -> None:
    output(tell(*HAND, *REGION))
    figured = json.loads(output(tell("figures", "sluice.toml", "--at", "20 Hz,20 kHz", "--json")))
    response = data(bench)["response"]
    for of, choice in zip(response["of"], figured["choices"], strict=True):
        for at, line in zip((0, -1), choice["lines"], strict=True):
            assert response["frequency"][at] == pytest.approx(line["frequency"])
            assert of["loss"][at] == pytest.approx(line["loss_db"], abs=1e-4)
            assert of["drop"][at] == pytest.approx(line["drop_db"], abs=1e-4)


def test_how_little_two_differ_is_what_the_bench_tells(bench: Bench, tell: Tell) -> None:
    """The words that stand in a log of the bench, for both ends that can be compared."""
    output(tell(*HAND, *REGION))
    rig = load_rig(bench.rig)
    for told in data(bench)["differences"]:
        first, second = (list(rig.choices.values())[at] for at in told["choices"])
        one = difference(second, first, told["signal"], told["across"])
        assert told["words"] == matched_words(one)
    assert {told["signal"] for told in data(bench)["differences"]} == {"receiving", "drop"}


@pytest.mark.parametrize("kind", ["flac", "wav"])
def test_the_programme_inside_is_the_region_to_the_sample(
    bench: Bench, tell: Tell, kind: str
) -> None:
    """Of 24 bit, so nothing is rounded; but for the fades where it was cut off."""
    output(tell(*HAND, *REGION, "--sound", kind))
    page, whole = data(bench), sf.read(bench.programme, always_2d=True)[0]
    inside = base64.b64decode(page["programme"]["data"])
    samples, rate = sf.read(io.BytesIO(inside), always_2d=True)
    assert page["programme"]["kind"] == f"audio/{kind}"
    assert (page["programme"]["from"], page["programme"]["whole"]) == (0.3, False)
    assert (rate, len(samples)) == (page["rate"], page["frames"]) == (RATE, round(0.8 * RATE))
    first, fade = round(0.3 * RATE), RATE // 100
    region = whole[first : first + len(samples)]
    np.testing.assert_array_equal(samples[fade:-fade], region[fade:-fade])
    assert np.all(np.abs(samples) <= np.abs(region))
    made, _ = sf.read(bench.folder / "show" / "demonstration" / f"01-source.{kind}", always_2d=True)
    assert np.abs(made / np.abs(made).max() - samples / np.abs(samples).max()).max() < 1e-5


def test_responses_are_the_filters_in_32_bit(bench: Bench, tell: Tell) -> None:
    output(tell(*HAND, *REGION))
    page, rig = data(bench), load_rig(bench.rig)
    for told, choice in zip(page["choices"], rig.choices.values(), strict=True):
        # A log of the page is compared with the rig as one of the bench is.
        assert (told["built"], told["rig_sha256"]) == (built(choice), sha256_of_choice(rig, choice))
    for one in page["signals"]:
        choice = list(rig.choices.values())[one["choice"]]
        fir = design_run(choice.network, choice.listen, RATE).of(one["signal"], one["across"])
        taps = np.frombuffer(base64.b64decode(one["taps"]), "<f4")
        assert page["delay"] == fir.delay
        # half a step of a mantissa of 24 bit
        np.testing.assert_allclose(taps, fir.taps, rtol=2.0**-24, atol=1e-38)


def test_made_twice_it_is_the_same(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On another day, in another folder; the date is the sound file's own, or what was given."""
    os.utime(bench.programme, (86_400, 86_400))
    output(tell(*HAND, *REGION))
    made = held(bench.folder / "show")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    output(tell(*HAND, *REGION))
    assert held(bench.folder / "show") == made
    output(tell(*HAND[:-1], "other/show", *REGION))
    assert held(bench.folder / "other" / "show") == made
    assert data(bench)["date"] == "1970-01-02"
    output(tell(*HAND, *REGION, "--date", "2026-05-01", "--replace"))
    assert data(bench)["date"] == "2026-05-01"


def test_what_was_made_otherwise_is_not_replaced(bench: Bench, tell: Tell) -> None:
    """With other gains, or of another sound file of the same name; `--date` keeps the rest alike."""
    hand = (*HAND, "--from", "0.5", "--date", "2026-05-01")
    assert "Of bells.wav, 1 s from 0:00.500 on" in output(tell(*hand))  # to the end, no further
    for more in (("--match", "loudness"), ("--make-up", "6"), ("--make-up", "equal")):
        assert "with other options" in refusal(tell(*hand, *more))
    sf.write(bench.programme, 0.5 * noise(), RATE, "PCM_24")
    assert "from another source" in refusal(tell(*hand))


def test_the_page_itself_is_the_same_in_another_process(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its words and curves; sets of Python have another order in each process."""
    monkeypatch.setattr(handover, "page_text", page_text)
    output(tell(*HAND[:-1], "one", *REGION))
    output(bench.run(*HAND[:-1], "other", *REGION, PYTHONHASHSEED="1"))
    made = held(bench.folder / "one")
    assert b"<!DOCTYPE html>" in made["page.html"]
    assert held(bench.folder / "other") == made


def test_a_page_over_the_limit_gets_a_shorter_region(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """White noise packs badly: 24 bit at this rate are 64 kB for each second in Base64."""
    sf.write(bench.programme, noise(8.0), RATE, "PCM_24")
    for module in (handover, text):
        monkeypatch.setattr(module, "MOST_BYTES", 400_000)
    said = " ".join(output(tell(*HAND)).split())
    page = (bench.folder / "show" / "page.html").stat().st_size
    assert 320_000 < page <= 400_000
    seconds = data(bench)["programme"]["seconds"]
    assert 2.0 < seconds < 8.0
    assert f"bells.wav, {seconds:g} s from " in said
    assert "stays under 0.4 MB" in said
    said = output(tell(*HAND, "--for", "8 s", "--replace"))
    assert data(bench)["programme"]["seconds"] == 8.0
    assert "MB, over 0.4 MB)" in said


def made_up(text: str) -> set[str]:
    """Every make-up in a table of gains, but that of no drop."""
    return set(re.findall(r"^(?:drop|..-drop)\S* .*? ([+]\d+[.]\d\d) ", text, re.MULTILINE))


def test_steps_are_levels_and_responses_of_other_rigs(bench: Bench, tell: Tell) -> None:
    said = output(tell(*HAND, *REGION, "--steps", "runs.path.length = 50 m, 100 m, 200 m"))
    page = data(bench)
    steps = page["steps"]
    assert (steps["what"], steps["at"]) == ("length of the path run", ["50 m", "100 m", "200 m"])
    assert steps["start"] == 1
    assert steps["signals"][1] == page["signals"]
    bench.rig.write_text(RIG_TWIN.replace('"100 m"', '"200 m"'))
    alone = output(tell(*HAND[:-1], "longer", *REGION))
    longer = json.loads((bench.folder / "longer" / "page.html").read_text())
    assert longer["signals"] == steps["signals"][2]
    # One make-up for all steps, in page and set: that of the longest, whose drops are the loudest.
    (figure,) = made_up(alone)
    assert made_up(said) == {figure}
    assert made_up((bench.folder / "show" / "demonstration" / "gains.txt").read_text()) == {figure}


def test_drops_over_one_conductor_are_there_where_they_differ(bench: Bench, tell: Tell) -> None:
    def sides() -> list[str]:
        return [one["across"] for one in data(bench)["signals"] if one["choice"] == 0][1:]

    output(tell(*HAND, *REGION, "--choice", "thin"))
    assert sides() == ["both"]
    corroded = '[runs.path]\nfar = { plus = "0.3 ohm" }\n'
    bench.rig.write_text(RIG_TWIN.replace("[runs.path]\n", corroded))
    output(tell(*HAND, *REGION, "--choice", "thin", "--replace"))
    assert sides() == ["both", "plus", "minus"]


def test_a_coil_is_warned_of_wherever_somebody_reads(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    coils, flat = (load_rig(path).pick([]) for path in (COILS, bench.rig))
    assert (sentences.heat(coils), sentences.heat(flat)) == ([sentences.HEAT], [])
    for module in (sentences, demonstration_text):  # to work out a coil takes seconds
        monkeypatch.setattr(module, "heat", lambda choices: [sentences.HEAT])
    said = output(tell(*HAND, *REGION))
    text = (bench.folder / "show" / "demonstration" / "gains.txt").read_text("utf-8")
    for words in (said, text):
        assert sentences.HEAT in " ".join(words.split())


def replaced(**written: Any) -> Callable[[Bench], object]:
    """A source of another kind."""
    asked = {
        "seconds": 0.5,
        "channels": 2,
        "rate": RATE,
        "level": 0.1,
        "subtype": "PCM_24",
        **written,
    }
    subtype = asked.pop("subtype")
    return lambda bench: sf.write(bench.programme, noise(**asked), asked["rate"], subtype)


REFUSED: dict[str, tuple[Callable[[Bench], object], tuple[str, ...], str]] = {
    "many channels": (
        replaced(channels=6),
        (),
        "has 6 channels, and a page plays one or two; mix it",
    ),
    "a high rate": (replaced(rate=192_000), (), "up to 96000 Hz; convert it to 96000 Hz first"),
    "over full scale": (replaced(level=0.6, subtype="FLOAT"), (), "samples over full scale"),
    "a long region": (replaced(seconds=301.0, channels=1), ("--for", "301"), "300 s at most"),
    "a start after the end": (replaced(), ("--from", "5"), "an excerpt must begin before that"),
    "a match over Nyquist": (replaced(), ("--match", "5 kHz"), "needs a sample rate of twice that"),
    "no day": (replaced(), ("--date", "May"), "right is a day such as 2026-05-01"),
    "a step that cannot be": (
        replaced(),
        ("--steps", "runs.path.length = 5 m, 0 m"),
        "a length from 1 cm to 10 km; it was asked for as a step",
    ),
    "no steps": (replaced(), ("--steps", "20 m"), "--steps: '20 m' was found"),
    "a week": (replaced(), ("--date", "2026-W18"), "right is a day such as 2026-05-01"),
    "a step twice": (
        replaced(),
        ("--steps", "runs.path.length = 20 m, 20.0 m"),
        "20 m and 20.0 m are the same for these choices; right is each once",
    ),
}


@pytest.mark.parametrize(("make", "options", "words"), REFUSED.values(), ids=REFUSED)
def test_what_a_page_cannot_have_is_a_sentence(
    bench: Bench,
    tell: Tell,
    make: Callable[[Bench], object],
    options: tuple[str, ...],
    words: str,
) -> None:
    make(bench)
    assert words in refusal(tell(*HAND, *options))
    assert sorted(path.name for path in bench.folder.iterdir()) == ["bells.wav", "sluice.toml"]


def test_the_gains_of_the_library_are_those_of_the_command(bench: Bench) -> None:
    """And of any other way that the page offers, from the same levels."""
    rig = load_rig(bench.rig)
    done = handover.hand_over(
        rig, list(rig.choices.values()), bench.programme, bench.folder / "show"
    )
    one, both = (rig_fingerprint(some) for some in (done.choices[:1], done.choices))
    assert one != both  # a page of fewer choices is another
    assert done.gains == gains([done.measured], Match.of("installed"), None, "one")
    for heard, gained in gains([done.measured], LOUDNESS, None, "equal").items():
        part = next((p for p in done.measured.parts if p.heard == heard), None)
        level = part.level if part else done.measured.source
        if heard.words.startswith("receiving"):
            assert level.loudness + gained.match == pytest.approx(done.measured.source.loudness)
    assert done.page_bytes == (bench.folder / "show" / "page.html").stat().st_size
    assert all((bench.folder / "show" / file).is_file() for file in done.files)


def test_what_is_known_of_rig_and_filters_is_told(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Notes of the rig of README's second scene; a filter that misses, and one that is useless."""
    # A filter is known to be out by -30 dB: 3.2 % (10^(-30/20)).
    monkeypatch.setattr(Designs, "of", missing(Designs.of, -30.0))
    sf.write(bench.programme, np.zeros((1, 1)), RATE, "PCM_24")
    hand = ("handover", PATH, *HAND[2:], "--choice", "swapped")
    said = " ".join(output(tell(*hand)).split())
    assert "plus and minus swapped" in said
    assert "Caution: receiving end of swapped is off by up to 3.2 %" in said
    assert "0.125 ms from 0:00.000" in said
    assert "bells.wav: silent in this region" in said
    monkeypatch.setattr(Designs, "of", missing(Designs.of, 1.0))
    swapped = load_rig(PATH).pick(["swapped"])  # at a step, say, which no file of the set is of
    with pytest.raises(DesignError, match="choice swapped, receiving signal: no filter comes near"):
        signals(Take.of(bench.programme, WHOLE), swapped, Designs())


def missing(of: Callable[..., RunFilters], error: float) -> Callable[..., RunFilters]:
    """Designs whose receiving end is that many dB off, as if nothing better had been found."""

    def found(*arguments: Any) -> RunFilters:
        filters = of(*arguments)
        return replace(filters, receiving=replace(filters.receiving, error=error))

    return found


def test_page_and_set_are_never_of_two_programmes(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = handover.demonstration

    def changed_before(*arguments: Any) -> Any:
        replaced(level=0.05)(bench)
        return made(*arguments)

    monkeypatch.setattr(handover, "demonstration", changed_before)
    assert "bells.wav was changed or replaced while it was read" in refusal(tell(*HAND))
    assert not (bench.folder / "show").exists()


def test_too_many_choices_are_refused_before_any_work(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    choices = "".join(f'[choices.c{n}]\nruns.path.cable = "thin"\n' for n in range(40))
    bench.rig.write_text(f"{RIG_TWIN}\n{choices}")
    monkeypatch.setattr(handover, "differing", None)
    assert "33 choices at most, and 42 were asked for" in refusal(tell(*HAND))


def test_what_a_kill_hid_is_there_again_whatever_is_refused(bench: Bench, tell: Tell) -> None:
    """Under the name that one has which was killed between two renames: see test_folder.py."""
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    show = bench.folder / "show"
    hidden = temporary_beside(show).with_suffix(f".{zlib.crc32(b'show'):08x}")
    hidden = hidden.with_name(hidden.name.replace(f"-{os.getpid()}-", f"-{child.pid}-"))
    hidden.mkdir()
    replaced(channels=6)(bench)
    assert "has 6 channels" in refusal(tell(*HAND))
    assert show.is_dir()
    assert not hidden.exists()
