"""README tells the truth: its tables are what the commands print, its example rig file is right."""

import re
import subprocess
import sys
from pathlib import Path

from auralize.commands.main import main
from auralize.commands.parser import COMMANDS
from auralize.rig.keys_text import MARKS, as_reference

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_tables_are_what_the_commands_print(capsys, monkeypatch, tmp_path):
    """Word for word, and in one piece."""
    for name in ("tests", "audio_demo"):
        (tmp_path / name).symlink_to(ROOT / name)
    monkeypatch.chdir(tmp_path)  # where what they write may be
    blocks = re.findall(
        r"<!-- from the output of: auralize (.*?) -->\n```text\n(.*?)```", README, re.S
    )
    assert len(blocks) == 2
    for command, shown in blocks:
        assert main(command.split()) == 0
        assert shown in capsys.readouterr().out


def test_its_rig_files_are_recipes_that_are_tested():
    shown = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    recipes = {p.read_text(encoding="utf-8") for p in (ROOT / "tests/front/recipes").glob("*.toml")}
    assert len(shown) == 1
    assert set(shown) <= recipes


def test_it_is_short():
    assert len(README.splitlines()) < 275


def test_every_command_is_in_it():
    for command in COMMANDS:
        assert f"`auralize {command}" in README


def test_it_points_to_the_reference_and_repeats_none_of_it():
    """`auralize keys` prints what the readers declare; a second copy here would drift."""
    assert "`auralize keys`" in README
    assert "(defaults in brackets)" not in README
    assert MARKS not in README
    for table in re.findall(r"`auralize keys (\w+)`", README):
        assert MARKS in as_reference(table)


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
