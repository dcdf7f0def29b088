"""The page that a command made, opened: its gains are those of the policy for files, in every way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from auralize.gains import INSTALLED, LOUDNESS, End, Match
from auralize.handover.handover import PAGE, hand_over
from auralize.handover.levels import gains, measure_all, signals
from auralize.handover.options import HandoverOptions
from auralize.outputs import sha256_of
from auralize.renderer.files import Designs
from auralize.renderer.parts import Share
from auralize.renderer.take import WHOLE, Take
from auralize.rig.reading import load_rig
from auralize.rig.stepped import SteppedValue
from auralize.trials.compared import compared
from support.command import RATE, RIG

CORRODED = RIG.replace(
    'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"',
    'construction = "twin"\nconductor = "0.75 mm2"\ninsulation = "1 mm"\n',
).replace('runs.path.cable = "thin"', 'runs.path = { cable = "thin", far = { plus = "300 mohm" } }')


@pytest.mark.parametrize("steps", [None, "runs.path.length = 50 m, 100 m, 400 m"])
def test_gains_in_the_page_are_those_of_files(
    chromium: Any, tmp_path: Path, steps: str | None
) -> None:
    """To 1e-9 dB, of source, ends, drops over both, plus and minus, as it is and with steps."""
    (tmp_path / "sluice.toml").write_text(CORRODED)
    noise = np.random.default_rng(5).normal(0.0, 0.25, (RATE, 2)).clip(-0.99, 0.99)
    sf.write(tmp_path / "bells.wav", noise, RATE, "PCM_24")
    rig, match = load_rig(tmp_path / "sluice.toml"), Match.at(500.0)
    choices = list(rig.choices.values())
    options = HandoverOptions(match=match, steps=SteppedValue.of(steps) if steps else None)
    done = hand_over(rig, choices, tmp_path / "bells.wav", tmp_path / "show", options)
    chromium.open(tmp_path / "show" / PAGE)
    ends = [heard for heard in done.gains if isinstance(heard, End)]
    asked = [{"choice": None, "signal": "source"}] + [
        {"choice": list(rig).index(end.choice), "signal": end.signal, "across": end.across}
        for end in ends
    ]
    ways = [
        {"match": asked_match.data, "drops": drops, "makeup": makeup}
        for asked_match in (match, INSTALLED, LOUDNESS)
        for drops, makeup in (("one", None), ("one", 20.0), ("equal", None))
    ]
    began, *found = chromium.run(
        """
        await bench.ready;
        const gains = () => args[0].map((heard) => bench.sound.gains(heard));
        return [gains(), ...args[1].map((way) => { bench.sound.setWay(way); return gains(); })];
        """,
        asked,
        ways,
    )
    assert began == found[0]
    take, designs = Take.of(tmp_path / "bells.wav", WHOLE), Designs()
    every = [choices, *(options.steps.choices(rig, choices) if options.steps else [])]
    measured = [
        measure_all(take, signals(take, some, designs), Share(lambda done: None, 1, take.frames))
        for some in every
    ]
    for way, in_page in zip(ways, found, strict=True):
        expected = gains(measured, Match.of(way["match"]), way["makeup"], way["drops"])
        for its, ours in zip(in_page, expected.values(), strict=True):
            for name in ("match", "makeup", "headroom", "total"):
                assert its[name] == pytest.approx(getattr(ours, name), abs=1e-9), (way, name)
    assert {end.across for end in ends} == {"both", "plus", "minus"}
    # What a log of this page says, as one of the bench would.
    plan = chromium.run(
        """
        const inside = (id) => JSON.parse(document.getElementById(id).textContent);
        const pair = [0, 1].map((choice) => ({ choice, signal: "receiving", across: "both" }));
        const wish = { protocol: "triangle", trials: 1, listener: "Ute", pair };
        const trial = new Trial(bench.sound, inside("data"), wish, inside("texts").trial);
        trial.giveUp();
        return trial.plan;
        """
    )
    assert plan["programme"] == "bells.wav"  # all of it
    assert plan["programme_sha256"] == sha256_of(tmp_path / "bells.wav")
    for told, name in zip(plan["choices"], rig, strict=True):
        assert told == vars(compared(rig, End("receiving", name), told["gain_db"]))
    assert chromium.console == []
    assert chromium.requests == []
