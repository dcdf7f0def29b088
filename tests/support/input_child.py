"""A bench on a live input, in a process of its own: for the tests of what comes in.

    cd tests; python -m support.input_child INPUT VOLUMES

Writes JSON lines; reads commands, one a line: play, pause, hear source, hear receiving, hear drop, match,
volume dB, stop. Begins at the source; nothing sounds before it was asked for twice.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from dataclasses import asdict
from pathlib import Path

from auralize.gains import LOUDNESS, SOURCE, End
from auralize.live.engine import Engine
from auralize.live.input_feed import InputFeed
from auralize.rig.reading import load_rig
from support.live_session import RIG

LOOK = 0.02  # s
CHOICE = "reel"


def do(bench: Engine, command: str) -> None:
    """What was asked for."""
    word, _, rest = command.partition(" ")
    if word == "play":
        bench.play()
    elif word == "pause":
        bench.pause()
    elif word == "seek":
        bench.seek(float(rest))
    elif word == "match":
        bench.set_match(LOUDNESS)
    elif word == "volume":
        bench.set_volume(float(rest))
    elif word == "hear":
        bench.hear(SOURCE if rest == "source" else End(rest, CHOICE))  # type: ignore[arg-type]


def main() -> None:
    choices = load_rig(RIG).choices
    bench = Engine(InputFeed(sys.argv[1]), [choices[CHOICE]], volumes=Path(sys.argv[2]))
    bench.start()
    commands: list[str] = []

    def read() -> None:
        for line in sys.stdin:
            commands.append(line.strip())

    threading.Thread(target=read, daemon=True).start()
    while True:
        command = commands.pop(0) if commands else ""
        if command == "stop":
            break
        do(bench, command)
        status = bench.status()
        assert status.live_input is not None
        line = {
            "state": status.state,
            "input": asdict(status.live_input),
            "output_latency": status.latency,
            "position": status.position,
            "playing": status.playing,
            "underruns": status.underruns,
            "gains": asdict(status.gains),
            "certainty": status.certainty,
            "peak": status.peak_dbfs,
            "events": [event.text for event in bench.events()],
        }
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()
        time.sleep(LOOK)
    bench.stop()


if __name__ == "__main__":
    main()
