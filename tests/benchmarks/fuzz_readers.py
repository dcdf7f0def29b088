"""Spoilt files through every reader: tracebacks, hangs, memory, numbers that are none, files left behind.

    python tests/benchmarks/fuzz_readers.py [MINUTES] [SEED] [READER]

spoils valid rigs, tables, Touchstone files, logs and sound files at random, and has each read by a child
process that may take 10 s of its own time (60 s by the clock, as others may keep the machine busy) and
500 MB. READER is how the names of the files to spoil begin: rig, table, pair, load, log, sound; all if
none is given. Prints what went wrong once for each kind, keeps the file in a folder that it names, and
ends with exit code 1 if anything did.
"""

from __future__ import annotations

import json
import os
import random
import re
import resource
import select
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1]))
from support.mutants import beside, read, seeds, spoilt

MOST_SECONDS: Final = 10.0
"""Of the reader's own time: processor time, whatever else the machine does."""
HANGS: Final = 60.0
"""s by the clock after which a reader is taken not to come back."""
MOST_BYTES: Final = 500_000_000


def _child() -> None:
    """Read the files that are named on stdin; a line of JSON for each."""
    warnings.simplefilter("error")
    for name, contents in seeds().items():  # imports and caches before the memory is limited
        with tempfile.TemporaryDirectory() as folder:
            beside(Path(folder))
            (Path(folder) / name).write_bytes(contents[0])
            read(Path(folder) / name)
    size = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (size + MOST_BYTES, size + MOST_BYTES))
    print(json.dumps("ready"), flush=True)
    for line in sys.stdin:
        began = _own_time()
        try:
            result = "right" if read(Path(line.strip())) else "refused"
        except BaseException:
            result = traceback.format_exc()
        if (spent := _own_time() - began) > MOST_SECONDS and result in ("right", "refused"):
            result = f"slow: {spent:.0f} s of its own time"
        print(json.dumps(result), flush=True)


def _own_time() -> float:
    """s of processor time that this process has had."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


class _Reader:
    """A child process, started anew when it was lost."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, __file__, "--child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,  # the decoder of MP3 tells there of each damage itself
            text=True,
        )
        assert self._answer(120.0) == "ready"

    def _answer(self, seconds: float) -> str:
        assert self.process.stdout is not None
        if not select.select([self.process.stdout], [], [], seconds)[0]:
            return "hangs"
        line = self.process.stdout.readline()
        return json.loads(line) if line else "died"

    def ask(self, path: Path) -> str:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{path}\n")
        self.process.stdin.flush()
        answer = self._answer(HANGS)
        if answer in ("hangs", "died"):
            self.close()
            self._start()
        return answer

    def close(self) -> None:
        self.process.kill()
        self.process.communicate()


def _kind(answer: str) -> str:
    """What tells one fault from another: where it was raised, and the exception."""
    places = re.findall(r'File ".*?([^/"]+\.py)", line (\d+)', answer)
    return f"{places[-1] if places else ''} {answer.strip().splitlines()[-1][:200]}"


def _sort(answer: str) -> str:
    """What sort of answer it is, for the counts."""
    last = answer.strip().splitlines()[-1]
    for sort, sign in (("nan", "is nan"), ("nan", "are nan"), ("memory", "MemoryError")):
        if sign in last:
            return sort
    return "traceback" if answer.startswith("Traceback") else last.partition(":")[0]


def main(minutes: float, seed: int, only: str) -> int:
    chance, reader, begin = random.Random(seed), _Reader(), time.monotonic()
    kept, counts = Path(tempfile.mkdtemp(prefix="spoilt-")), Counter[str]()
    faults: dict[str, Path] = {}
    valid = [(name, one) for name, all_ in seeds().items() for one in all_ if name.startswith(only)]
    try:
        while time.monotonic() - begin < 60.0 * minutes:
            name, content = chance.choice(valid)
            with tempfile.TemporaryDirectory() as folder:
                beside(Path(folder))
                path = Path(folder) / name
                path.write_bytes(spoilt(content, chance))
                before = set(os.listdir(folder))
                answer = reader.ask(path)
                if left := set(os.listdir(folder)) - before:
                    answer = f"left behind: {left}"
                counts[f"{name} {_sort(answer)}"] += 1
                if answer in ("right", "refused"):
                    continue
                if (kind := f"{name}: {_kind(answer)}") not in faults:
                    faults[kind] = kept / f"{len(faults)}-{name}"
                    faults[kind].write_bytes(path.read_bytes())
                    print(f"{kind}\n  {faults[kind]}", flush=True)
    finally:
        reader.close()
    print(f"{counts.total()} files, seed {seed}: {len(faults)} kinds of fault")
    print("\n".join(f"  {what}: {count}" for what, count in sorted(counts.items())))
    if not faults:
        kept.rmdir()
    return 1 if faults else 0


if __name__ == "__main__":
    if sys.argv[1:] == ["--child"]:
        _child()
    else:
        minutes, seed, only = (*sys.argv[1:], *("3", "1", "")[len(sys.argv) - 1 :])
        sys.exit(main(float(minutes), int(seed), only))
