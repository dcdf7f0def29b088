"""Errors that a user can mend: one root, and each a ValueError or an OSError as well."""

import ast
import importlib
import pkgutil
from pathlib import Path

import pytest

import auralize
from auralize.commands import keys
from auralize.commands.main import main
from auralize.errors import AuralizeError

ROOT = Path(__file__).parents[1]
SOURCES = sorted(f for d in ("auralize", "tui", "audio_demo") for f in (ROOT / d).rglob("*.py"))


def children(kind: type[BaseException]) -> set[type[BaseException]]:
    direct = set(kind.__subclasses__())
    return direct.union(*(children(child) for child in direct))


for module in pkgutil.walk_packages(auralize.__path__, "auralize."):
    if not module.name.endswith("__main__"):
        importlib.import_module(module.name)
ERRORS = sorted(children(AuralizeError), key=lambda kind: kind.__name__)


def test_every_error_is_a_value_error_or_an_os_error() -> None:
    for module in pkgutil.walk_packages(auralize.__path__, "auralize."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    found = children(AuralizeError)
    assert {kind.__name__ for kind in found} >= {
        "RigError",
        "FileError",
        "TrialError",
        "DeviceError",
    }
    assert not [kind for kind in found if not issubclass(kind, ValueError | OSError)]


@pytest.mark.parametrize("kind", ERRORS)
def test_an_error_shows_its_sentence_and_nothing_else(kind: type[AuralizeError]) -> None:
    assert str(kind("mill.toml: no")) == "mill.toml: no"


def test_nothing_raises_the_root_itself() -> None:
    assert len(SOURCES) > 50
    raised = [
        (path.name, node.lineno)
        for path in SOURCES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == "AuralizeError"
    ]
    assert not raised


@pytest.mark.parametrize(
    ("error", "lacking"),
    [(MemoryError(), "memory"), (RuntimeError("can't start new thread"), "threads")],
)
def test_what_the_system_does_not_let_us_have_is_a_sentence(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: Exception,
    lacking: str,
) -> None:
    def refused(_: object) -> None:
        raise error

    monkeypatch.setattr(keys, "run", refused)
    assert main(["keys"]) == 2
    assert capsys.readouterr().err == (
        f"auralize: the system lets this program have no more {lacking} (ulimit)\n"
    )
