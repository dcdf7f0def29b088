"""Who may load what: the core knows no screen and no audio device, the circuit knows physics only."""

import json
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import auralize

ROOT = Path(__file__).parents[2]
MODULES = sorted(
    {"auralize"}
    | {m.name for m in pkgutil.walk_packages(auralize.__path__, "auralize.")}
    - {"auralize.__main__"}
)

HEAVY = {
    *("numpy", "scipy", "soundfile", "sounddevice", "textual", "matplotlib", "tomlkit"),
    *("dask", "distributed"),
    *("auralize_tui", "auralize_demo"),
}


def loaded_by(statement: str) -> set[str]:
    """Names of all modules in a fresh interpreter after ``statement``."""
    code = f"import json, sys\n{statement}\nprint(json.dumps(sorted(sys.modules)))"
    result = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    return set(json.loads(result.stdout.splitlines()[-1]))


def roots(names: set[str]) -> set[str]:
    return {name.partition(".")[0] for name in names}


def test_the_modules_are_found() -> None:
    assert {
        "auralize.commands.main",
        "auralize.rig.reading",
        "auralize.renderer.files",
        "auralize.circuit.pair",
        "auralize.live.device",
        "auralize.live.engine",
    } <= set(MODULES)


@pytest.mark.parametrize(
    "module", ["auralize", "auralize.commands.main", "auralize.commands.parser"]
)
def test_the_front_doors_load_nothing_heavy(module: str) -> None:
    leaked = roots(loaded_by(f"import {module}")) & HEAVY
    assert not leaked, f"import {module} loaded {leaked}"


def test_the_whole_core_is_reachable_without_screen_and_device() -> None:
    loaded = loaded_by(f"import {', '.join(MODULES)}")
    assert set(MODULES) <= loaded
    # The module that talks to the device loads PortAudio when something is to be played, not before.
    leaked = roots(loaded) & {"textual", "sounddevice", "auralize_tui", "dask", "distributed"}
    assert not leaked, f"importing the core loaded {leaked}"
    # Half a second that only some commands need; they load it when they do.
    assert "scipy.signal" not in loaded


def test_the_circuit_loads_nothing_of_the_package_but_units() -> None:
    circuit = [name for name in MODULES if name.startswith("auralize.circuit")]
    assert len(circuit) > 5
    loaded = loaded_by(f"import {', '.join(circuit)}")
    ours = {n for n in loaded if n.startswith("auralize") and not n.startswith("auralize.circuit")}
    assert ours <= {"auralize", "auralize.units", "auralize.spellings"}
    assert "soundfile" not in loaded


def test_the_demo_s_programme_needs_no_screen_and_no_device() -> None:
    loaded = loaded_by("import auralize_demo.demo, auralize_demo.programme")
    assert not roots(loaded) & {"textual", "sounddevice", "auralize_tui"}


def test_the_layers_are_kept() -> None:
    command = Path(sys.executable).parent / "lint-imports"
    result = subprocess.run(
        [command, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stdout + result.stderr
    assert " 0 broken" in result.stdout
