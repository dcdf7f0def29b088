"""README tells the truth: its tables are what the commands print, its example rig file is right."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from auralize.commands.main import main
from auralize.figures.numbers import figures
from auralize.rig.reading import read_rig

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_tables_are_what_the_commands_print(capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    blocks = re.findall(r"<!-- output of: auralize (.*?) -->\n```text\n(.*?)```", README, re.DOTALL)
    assert blocks
    for command, shown in blocks:
        assert main(command.split()) == 0
        assert capsys.readouterr().out == shown


def test_the_example_rig_file_is_right():
    (example,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    rig = read_rig(tomllib.loads(example), Path("example.toml"))
    found = {name: figures(choice) for name, choice in rig.choices.items()}
    # Copper, 0.00393 /K from 20 degC; 300 ft are 91.44 m.
    ratio = (1 + 0.00393 * 40) * 62 / 91.44
    assert found["warm"].dc_loop_ohm / found["long"].dc_loop_ohm == pytest.approx(ratio, rel=1e-6)
    assert set(found) == {"warm", "long"}


def test_the_script_from_python_prints_what_is_shown(tmp_path):
    """In a process of its own, as a reader would run it, in a folder with the demonstration's rig."""
    script, shown = re.search(
        r"```python\n(.*?)```.*?<!-- output of the script above -->\n```text\n(.*?)```",
        README,
        re.DOTALL,
    ).groups()
    (tmp_path / "tide-mill").mkdir()
    rig = (ROOT / "audio_demo" / "saltmarsh.toml").read_bytes()
    (tmp_path / "tide-mill" / "saltmarsh.toml").write_bytes(rig)
    run = subprocess.run(
        [sys.executable, "-W", "error", "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.stderr == ""
    assert run.stdout == shown
    lines = [line for line in script.splitlines() if line and not line.startswith("import")]
    assert len(lines) <= 10


def test_two_lines_set_everything_up():
    lines = re.findall(r"^python3 -m venv .*$", README, re.MULTILINE)
    assert len(lines) == 2
    assert "auralize demo" in lines[0]
    assert "pytest" in lines[1]
