"""Time and memory of a render against a plain copy of the same file, in one run.

    python tests/benchmarks/bench_render.py 60

makes a stereo 24-bit file of that many minutes, renders one choice of the demo (receiving end and drop)
in a process of its own, and prints the ratio of times and the peak memory.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile as sf

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE = 48_000


def make_programme(path: Path, minutes: float) -> None:
    """Noise with a swell every second. Written in small pieces: a child's peak memory begins at ours."""
    second = (
        np.random.default_rng(11).normal(0.0, 0.1, (RATE, 2)) * np.linspace(0.2, 1.0, RATE)[:, None]
    )
    with sf.SoundFile(path, "w", RATE, 2, "PCM_24") as file:
        for _ in range(round(minutes * 60)):
            file.write(second)


def measure(minutes: float) -> tuple[float, float, float]:
    """(seconds to copy, seconds to render, peak MB of the rendering process)."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "long.wav"
        make_programme(source, minutes)
        start = time.perf_counter()
        shutil.copyfile(source, Path(folder) / "copy.wav")
        copying = time.perf_counter() - start
        program = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); {_MEASURED}"
        command = ["render", str(RIG), str(source), "--choice", "reel", "--into", folder]
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", program, *command], check=True, capture_output=True, text=True
        )
        rendering = time.perf_counter() - start
        return copying, rendering, float(done.stderr.split()[-1])


_MEASURED = (
    "from bench_render import peak_memory; from auralize.commands.main import main; "
    "code = main(sys.argv[1:]); print(peak_memory(), file=sys.stderr); sys.exit(code)"
)


def peak_memory() -> float:
    """Most memory in MB that this process has had.

    Linux counts in getrusage what the parent had before it started us, so the kernel's own line is read.
    """
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = (x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) * 1024 / 1e6
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6  # bytes on macOS


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    copying, rendering, peak = measure(minutes)
    print(f"{minutes:g} min stereo 24 bit at {RATE} Hz, one choice, receiving end and drop:")
    print(f"  copy {copying:.2f} s, render {rendering:.2f} s: ratio {rendering / copying:.0f}")
    print(
        f"  {minutes * 60 / rendering:.0f} times faster than playing it; peak memory {peak:.0f} MB"
    )


if __name__ == "__main__":
    main()
