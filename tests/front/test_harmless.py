"""What is read cannot act: no file that is given can run code, open a connection or write a file."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = sorted(p for f in ("auralize", "tui", "audio_demo") for p in (ROOT / f).rglob("*.py"))
MODULES = {
    *("pickle", "marshal", "shelve", "dill", "joblib", "yaml", "code", "codeop", "runpy", "ctypes"),
    *("subprocess", "pty", "socket", "socketserver", "ssl", "urllib", "http", "ftplib", "smtplib"),
    *("xmlrpc", "requests", "httpx", "aiohttp", "webbrowser", "telnetlib", "asyncio", "imp"),
}
CALLS = {"eval", "exec", "compile", "__import__", "system", "popen", "execv", "spawnv", "fromfile"}
JUSTIFIED: dict[str, set[str]] = {
    "auralize/__init__.py": {"import_module"},  # its own modules, by a table in the code
    "auralize/commands/parser.py": {"import_module"},  # the same
}


def acting(tree: ast.AST) -> set[str]:
    """What of a module could run code, or talk to the network."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names if a.name.partition(".")[0] in MODULES}
        elif isinstance(node, ast.ImportFrom):
            root = (node.module or "").partition(".")[0]
            found |= {node.module or ""} if root in MODULES and node.level == 0 else set()
        elif isinstance(node, ast.Call):
            name = getattr(node.func, "id", None)
            if isinstance(node.func, ast.Attribute):
                name = node.func.attr
                if name == "compile" and getattr(node.func.value, "id", "") == "re":
                    continue
            if name in CALLS | {"import_module"}:
                found.add(name)
            if any(k.arg in ("allow_pickle", "shell") for k in node.keywords):
                found.add(str(name))
    return found


@pytest.mark.parametrize(
    "code",
    [
        "eval('1')",
        "import pickle",
        "from urllib.request import urlopen",
        "import os\nos.system('x')",
        "np.load(f, allow_pickle=True)",
        "builtins.exec(x)",
        "import_module(name)",
    ],
)
def test_what_could_act_is_found(code: str) -> None:
    assert acting(ast.parse(code))


def test_nothing_in_the_sources_runs_code_or_opens_a_connection() -> None:
    assert len(SOURCES) > 80
    for path in SOURCES:
        name = path.relative_to(ROOT).as_posix()
        found = acting(ast.parse(path.read_text("utf-8")))
        if name.startswith("tui/"):
            found -= {"asyncio"}  # the screen's own loop
        assert found <= JUSTIFIED.get(name, set()), name


WATCH = """
import json, os, sys
from pathlib import Path
import auralize as au
from auralize.audio.reader import probe, read_blocks
from auralize.rig.measured import read_cable, read_impedance
from auralize.rig.touchstone import read_touchstone
from auralize.trials.checking import summarise
import scipy.interpolate
folder, watching, seen = Path(sys.argv[1]), False, []
ACTS = ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn", "os.fork", "os.remove",
        "os.rename", "os.mkdir", "os.rmdir", "os.truncate", "os.chmod", "os.link", "os.symlink", "ftplib",
        "urllib", "pickle", "marshal", "code.", "ctypes")
def hook(event, arguments):
    if not watching:
        return
    if event == "open":
        name, mode, flags = arguments
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND):
            seen.append([event, str(name)])
        elif isinstance(name, (str, bytes)) and str(name).startswith(str(folder.parent)):
            if not str(name).startswith(str(folder)):
                seen.append(["read", str(name)])
    elif event.startswith(ACTS):
        seen.append([event, repr(arguments)])
sys.addaudithook(hook)
for watching in (False, True):  # the first round imports what is needed
    for path in sorted(folder.iterdir()):
        for read in (au.load_rig, read_impedance, read_cable, read_touchstone, probe,
                     lambda p: list(read_blocks(p, 4096)), lambda p: summarise([p])):
            try:
                read(path)
            except au.AuralizeError:
                pass
watching = False
print(json.dumps(seen))
"""
RIG = """title = {title}
amplifier = {{ resistance = "20 mohm" }}
[cables.reel]
construction = "measured"
file = {file}
[runs.pond]
cable = "reel"
length = {length}
[loads.stage]
type = "resistor"
resistance = "8 ohm"
"""
HOSTILE = {
    "code.toml": RIG.format(
        title='"{{__import__}}"', file='"x.txt"', length="\"__import__('os')\""
    ),
    "shell.toml": RIG.format(title='"$(touch owned)"', file='"`touch owned`"', length='"1 m; rm"'),
    "out.toml": RIG.format(title='"a"', file='"../secret.txt"', length='"1 m"'),
    "net.toml": RIG.format(title='"a"', file='"http://127.0.0.1:9/z.txt"', length='"1 m"'),
    "share.toml": RIG.format(title='"a"', file='"//127.0.0.1/share/z.txt"', length='"1 m"'),
    "table.txt": "20 8 0\n40 os.system('touch_owned') 0\n80 8 0\n160 8 0\n",
    "port.s1p": "# HZ S RI R __import__('os')\n20 0 0\n",
    "log.jsonl": '{"record":"opening","__class__":"os.system","py/object":"os.system"}\n',
    "pickle.wav": "cos\nsystem\n(S'touch owned'\ntR.",
}


def test_hostile_files_open_nothing_but_themselves(tmp_path: Path) -> None:
    folder = tmp_path / "given"
    folder.mkdir()
    (tmp_path / "secret.txt").write_text("20 0.01 6e-7 6e-11\n" * 4)
    for name, content in HOSTILE.items():
        (folder / name).write_text(content)
    told = subprocess.run(
        [sys.executable, "-c", WATCH, str(folder)],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        timeout=300,
    )
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout) == []
    assert sorted(p.name for p in folder.iterdir()) == sorted(HOSTILE)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["given", "secret.txt"]
