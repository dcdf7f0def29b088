"""A bench that plays in a loop until it is told to stop, and says what happens: for the tests of trouble.

    cd tests; python -m support.live_child PROGRAMME VOLUMES

Writes JSON lines (time, state, device, position, events); reads commands, one a line: stop, next, start NAME.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path

from auralize.gains import End
from auralize.live.engine import Engine
from auralize.rig.reading import load_rig
from support.live_session import RIG

LOOK = 0.02  # s


def main() -> None:
    choices = load_rig(RIG).choices
    bench = Engine(Path(sys.argv[1]), [choices["reel"]], volumes=Path(sys.argv[2]))
    bench.start()
    bench.loop((0.5, 2.0))
    bench.play()
    bench.hear(End("receiving", "reel"))
    commands: list[str] = []

    def read() -> None:
        for line in sys.stdin:
            commands.append(line.strip())

    threading.Thread(target=read, daemon=True).start()
    while True:
        command = commands.pop(0) if commands else ""
        began = time.monotonic()
        if command == "stop":
            break
        if command == "next":
            bench.next_device()
        if command.startswith("start "):
            bench.start(command.removeprefix("start "))
        if command.startswith("volume "):
            bench.set_volume(float(command.removeprefix("volume ")))
        _say(bench, time.monotonic() - began)
        time.sleep(LOOK)
    began = time.monotonic()
    bench.stop()
    _say(bench, time.monotonic() - began)


def _say(bench: Engine, took: float) -> None:
    status = bench.status()
    line = {
        "time": time.monotonic(),
        "state": status.state,
        "device": status.device,
        "position": status.position,
        "volume": status.volume,
        "took": took,
        "events": [event.text for event in bench.events()],
    }
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
