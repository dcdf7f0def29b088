"""What a command imports, and its processor time as a multiple of NumPy's import in the same run.

    python tests/benchmarks/test_start.py

prints the medians of 15 rounds in seconds; the aim is 0.25 s for `figures`, 0.5 s for `render` of 1 s.
"""

from __future__ import annotations

import os
import statistics
import sys
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

RIG = str(files("auralize_demo") / "saltmarsh.toml")
SECOND = np.random.default_rng(1).normal(0.0, 0.1, (48_000, 2))
RUN = """\
import os, sys
from auralize.commands.main import main
assert main() == 0
heavy = {"scipy", "soundfile", "textual", "matplotlib", "importlib.metadata", "auralize.commands.bench"}
print(*heavy & set(sys.modules), file=sys.stderr)
if sys.platform == "linux" and len(os.listdir("/proc/self/task")) > 1:
    print("threads", file=sys.stderr)
"""
MOST = {"figures": 3.2, "render": 6.2}
"""Times NumPy; 2.3 and 4.6 on the machine where it was made."""


def started(*arguments: str, into: Path) -> tuple[float, set[str]]:
    """Processor time in s of a Python of its own, and which heavy modules, or threads, it ended with."""
    # Modules are compiled once, as where they were installed; threads of OpenBLAS are for `main` to stop.
    ours = {"PYTHONDONTWRITEBYTECODE", "OPENBLAS_NUM_THREADS"}
    kept = {k: v for k, v in os.environ.items() if k not in ours}
    said = into / "said"
    with said.open("w") as told, open(os.devnull, "w") as nowhere:
        words = [sys.executable, "-c", *arguments]
        streams = [
            (os.POSIX_SPAWN_DUP2, nowhere.fileno(), 1),
            (os.POSIX_SPAWN_DUP2, told.fileno(), 2),
        ]
        child = os.posix_spawn(sys.executable, words, kept, file_actions=streams)
        _, status, used = os.wait4(child, 0)
    assert status == 0, said.read_text()
    return used.ru_utime + used.ru_stime, set(said.read_text().split())


def medians(folder: Path, rounds: int) -> tuple[dict[str, float], dict[str, set[str]]]:
    """Processor time of each, in rounds, after one round to compile; what each ended with."""
    sound = folder / "second.wav"
    sf.write(sound, SECOND, 48_000)
    calls = {
        "numpy": ["import os; os.environ['OPENBLAS_NUM_THREADS'] = '1'; import numpy"],
        "figures": [RUN, "figures", RIG],
        "render": [RUN, "render", RIG, str(sound), "--into", str(folder), "--replace"],
    }
    for call in calls.values():
        started(*call, into=folder)
    taken: dict[str, list[float]] = {name: [] for name in calls}
    ended: dict[str, set[str]] = {}
    for _ in range(rounds):
        for name, call in calls.items():
            seconds, ended[name] = started(*call, into=folder)
            taken[name].append(seconds)
    return {name: statistics.median(each) for name, each in taken.items()}, ended


@pytest.mark.skipif(sys.platform == "win32", reason="has no `wait4`")
def test_commands_start_without_what_they_do_not_need(tmp_path: Path) -> None:
    seconds, ended = medians(tmp_path, 2)
    assert ended["figures"] == set()
    assert ended["render"] == {"soundfile"}
    for name, most in MOST.items():
        assert seconds[name] < most * seconds["numpy"], name


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        for what, median in medians(Path(made), 15)[0].items():
            print(f"{what:8} {median:.3f} s")
