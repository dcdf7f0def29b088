"""A scripted session with the bench, played on the default device and written down.

    cd tests; python -m support.live_session FOLDER SECONDS SWITCHES EDITS [BUFFER]

needs a sound server (see sound_server.py). FOLDER gets the programme, what the journal says was played
(played.f32), what it should have sounded like by another way (reference.f64), and figures.json.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from auralize.circuit.solution import ACROSS
from auralize.gains import INSTALLED, LOUDNESS, SOURCE, End, Match
from auralize.live.analysis import Spectrum
from auralize.live.engine import Engine
from auralize.live.keeper import BUFFER
from auralize.live.player import Block, Switch, replay
from auralize.live.programme import Programme
from auralize.rig.choice import Choice
from auralize.rig.editing import RigDraft
from support.timeline_reference import fading, reference

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000
LENGTH = 6.0
"""s of programme: a session hears all of it several times."""


def make_programme(path: Path, rate: int = RATE, seconds: float = LENGTH) -> None:
    """Noise that swells twice a second under three tones; different left and right; seeded."""
    time_axis = np.arange(round(seconds * rate)) / rate
    noise = np.random.default_rng(5).normal(0.0, 0.05, (len(time_axis), 2))
    noise *= 0.2 + 0.8 * (2.0 * time_axis % 1.0)[:, None]
    for frequency, level in ((55.0, 0.1), (440.0, 0.05), (3520.0, 0.02)):
        noise += level * np.sin(2 * np.pi * frequency * time_axis)[:, None] * [1.0, 0.7]
    sf.write(path, noise, rate, subtype="FLOAT")


COILED = """
[choices.coiled]
label = "as reel, with its last 20 m still on the reel"
runs.pond.cable = "reel"
runs.pond.lay = { shape = "coiled", barrel = "20 cm", width = "16 cm", coiled = "20 m" }
"""
"""A fourth choice, below those of the demo's rig."""

EDITS: tuple[tuple[tuple[str, ...], tuple[str | int, ...]], ...] = (
    (("runs", "pond", "length"), ("31 m", "48.5 m", "170 ft", "90 m")),
    (("cables", "reel", "conductor"), ("1.5 mm2", "4 mm2", "6 mm2")),
    (("runs", "pond", "temperature"), ("-10 degC", "35 degC", "60 degC")),
    (("runs", "pond", "lay", "barrel"), ("15 cm", "22 cm", "30 cm")),
    (("amplifier", "damping_factor"), (50, 100, 200)),
    (("loads", "stage", "Re"), ("4.2 ohm", "5 ohm", "7 ohm")),
)
"""What is edited, and what might be typed."""


def stretched(choice: Choice, factor: float) -> Choice:
    """The choice with its run longer by a factor."""
    runs = {n: replace(r, length=r.length * factor) for n, r in choice.network.runs.items()}
    return replace(choice, network=replace(choice.network, runs=runs))


class Session:
    """Drives a bench and keeps the times at which it asked for something."""

    def __init__(self, bench: Engine, draft: RigDraft, seed: int) -> None:
        self.bench, self.draft = bench, draft
        self.random = np.random.default_rng(seed)
        self.heard: list[tuple[float, int]] = []
        """Time of each call of `hear`, and switches done before it."""
        self.edited: list[tuple[float, int]] = []
        """The same for each edit, before the rig was changed."""
        self.took: list[float] = []
        self.latency = 0.0
        self.over = False
        self.picture: Spectrum | None = None
        self.pictures = 0
        """Of the analyser."""

    def look(self) -> None:
        """Have the analyser open until the session is over: a picture 12 times a second."""

        def work() -> None:
            names = list(self.draft.rig.choices)[:2]
            heard = [SOURCE, *(End("drop", name) for name in names), End("receiving", names[0])]
            while not self.over:
                picture = self.bench.spectrum(heard)
                if picture is not self.picture and picture is not None:
                    self.picture = picture
                    self.pictures += 1
                time.sleep(1 / 12)

        threading.Thread(target=work, daemon=True).start()

    def time_callbacks(self) -> None:
        """Take the time of every block that is made."""
        player = self.bench._listening.player
        render = player.render

        def timed(out: Block) -> None:
            start = time.perf_counter()
            render(out)
            self.took.append(time.perf_counter() - start)

        player.render = timed  # type: ignore[method-assign]

    def wait(self, what: str, done: object, seconds: float = 60.0) -> None:
        """Until ``done()`` is true."""
        assert callable(done)
        for _ in range(round(seconds / 0.005)):
            if done():
                return
            time.sleep(0.005)
        raise TimeoutError(f"{what}: {self.bench.status()}, {self.bench.events()}")

    def hear(self) -> None:
        """Something at random."""
        signal = str(self.random.choice(["source", "receiving", "drop"]))
        choice = str(self.random.choice(list(self.draft.rig.choices)))
        across = str(self.random.choice(ACROSS))
        before = self.bench.status().switches
        self.heard.append((time.perf_counter(), before))
        end = End(signal, choice, across)  # type: ignore[arg-type]
        self.bench.hear(SOURCE if signal == "source" else end)
        self.wait("switch", lambda: self.bench.status().switches > before)

    def edit(self) -> None:
        """Change the drop that is heard as the screen would; waits until that is heard."""
        place, typed = EDITS[len(self.edited) % len(EDITS)]
        value = typed[self.random.integers(len(typed))]
        name = "coiled" if "lay" in place else "reel"
        while value == self.draft.value(name, place):
            value = typed[self.random.integers(len(typed))]
        self.bench.hear(End("drop", name))
        time.sleep(0.05)
        before = self.bench.status().switches
        self.edited.append((time.perf_counter(), before))
        rig = self.draft.change(name, place, value)
        self.bench.update_choice(rig.choices[name])
        self.wait("edit", lambda: self.bench.status().switches > before)

    def run(self, seconds: float, switches: int, edits: int) -> None:
        """Switches spread over the time, with all that a listener does between them."""
        bench = self.bench
        others = [
            lambda: bench.loop((0.7, 1.1)),
            lambda: bench.loop(None),
            bench.pause,
            bench.play,
            lambda: bench.seek(float(self.random.uniform(0.0, LENGTH - 1.0))),
            lambda: bench.set_match(LOUDNESS),
            lambda: bench.set_volume(-12.0),
            lambda: bench.loop((2.0, LENGTH)),
            lambda: bench.set_match(Match.at(1000.0)),
            lambda: bench.set_volume(-15.0),
            lambda: bench.set_match(INSTALLED),
        ]
        began = time.perf_counter()
        for number in range(switches):
            due = began + seconds * (number + 1) / switches
            if number * edits // switches < (number + 1) * edits // switches:
                self.edit()
            self.hear()
            others[number % len(others)]()
            if bench.status().ended:
                bench.play()
            time.sleep(max(0.0, due - time.perf_counter()))
        self.latency = bench.status().latency


def figures(session: Session, folder: Path, programme: Path) -> dict[str, object]:
    """What can be said of a session that is over; writes what was played."""
    setup, entries = session.bench.journal
    source = Programme(programme, setup.rate)
    block = session.bench._listening.player.block
    played = np.concatenate(list(replay(setup, entries, source)))
    samples, _ = sf.read(programme, always_2d=True)
    expected = reference(setup, entries, samples, block)
    within = fading(entries, block)
    played.astype("<f4").tofile(folder / "played.f32")
    error = np.abs(played - expected).max(axis=1)
    made = [e.time for e in entries if any(isinstance(c, Switch) for c in e.commands)]
    delays = np.array([made[before] - asked for asked, before in session.heard])
    edit_delays = np.array([made[before] - asked for asked, before in session.edited])
    status = session.bench.status()
    return {
        "blocks": len(entries),
        "switches": status.switches,
        "edits": len(session.edited),
        "underruns": status.underruns,
        "starved": status.starved,
        "pictures": session.pictures,
        "pictures_lost": session.picture.lost if session.picture else None,
        "limited": bool(np.abs(played).max() > 0.89),
        "peak": float(np.abs(played).max()),
        "latency_ms": round(1e3 * session.latency, 1),
        "error_outside": float(error[~within].max()),
        "error_within": float(error[within].max()) if within.any() else 0.0,
        "callback_ms": _spread(np.array(session.took)),
        "switch_ms": _spread(delays),
        "edit_ms": _spread(edit_delays),
        "events": [event.text for event in session.bench.events()],
    }


def _spread(delays: NDArray[np.float64]) -> dict[str, float]:
    if not len(delays):
        return {}
    return {
        name: round(1e3 * float(np.quantile(delays, share)), 3)
        for name, share in (("median", 0.5), ("p99", 0.99), ("max", 1.0))
    }


def main() -> None:
    folder = Path(sys.argv[1])
    seconds, switches, edits = float(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    programme = folder / "programme.wav"
    make_programme(programme)
    rig_file = folder / "rig.toml"
    rig_file.write_text(RIG.read_text(encoding="utf-8") + COILED, encoding="utf-8")
    draft = RigDraft(rig_file)
    choices = list(draft.rig.choices.values())
    buffer = float(sys.argv[5]) if len(sys.argv) > 5 else BUFFER
    bench = Engine(programme, choices, volumes=folder / "v.json", buffer=buffer, journal=True)
    session = Session(bench, draft, seed=3)
    try:
        session.time_callbacks()
        bench.start()
        session.wait("device", lambda: bench.status().state == "running")
        session.wait("measured", lambda: bench.status().certainty == "measured")
        bench.play()
        session.look()
        session.run(seconds, switches, edits)
    finally:
        session.over = True
        bench.stop()
    (folder / "figures.json").write_text(json.dumps(figures(session, folder, programme), indent=1))


if __name__ == "__main__":
    main()
