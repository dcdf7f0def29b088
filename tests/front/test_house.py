"""The house's own rules of size and privacy, over everything that is installed."""

import ast
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = {"auralize": "auralize", "tui": "auralize_tui", "audio_demo": "auralize_demo"}
"""Where the sources are, and under what name they are installed."""
SOURCES = sorted(path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py"))
TREES = {path: ast.parse(path.read_text("utf-8")) for path in SOURCES}

LONGEST_MODULE = 350
LONGEST_CLASS = 200
LONGEST_FUNCTION = 50


def lines_of(node: ast.stmt) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


def too_long(path: Path) -> Iterator[str]:
    where = path.relative_to(ROOT)
    lines = len(path.read_text("utf-8").splitlines())
    if lines > LONGEST_MODULE:
        yield f"{where}: {lines} lines"
    for node in ast.walk(TREES[path]):
        limit = 0
        if isinstance(node, ast.ClassDef):
            limit = LONGEST_CLASS
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            limit = LONGEST_FUNCTION
        if limit and lines_of(node) > limit:
            yield f"{where}:{node.lineno}: {node.name}, {lines_of(node)} lines"


def test_modules_classes_and_functions_are_short() -> None:
    assert len(SOURCES) > 80
    offenders = [line for path in SOURCES for line in too_long(path)]
    assert not offenders, "\n".join(offenders)


def is_private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__")


def is_ours(node: ast.ImportFrom | ast.Import) -> bool:
    if isinstance(node, ast.ImportFrom):
        roots = {(node.module or "").partition(".")[0]}
        return node.level > 0 or bool(roots & set(FOLDERS.values()))
    return any(alias.name.partition(".")[0] in FOLDERS.values() for alias in node.names)


def reaching_in(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Private names that a module takes from another: imported, or by way of what was imported."""
    imports = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom) and is_ours(node)
    ]
    bound = set()
    for node in imports:
        for alias in node.names:
            if any(is_private(part) for part in alias.name.split(".")):
                yield node.lineno, alias.name
            bound.add(alias.asname or alias.name.partition(".")[0])
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and is_private(node.attr):
            inside = node.value
            while isinstance(inside, ast.Attribute):
                inside = inside.value
            if isinstance(inside, ast.Name) and inside.id in bound:
                yield node.lineno, node.attr


def test_nobody_takes_a_private_name_from_another_module() -> None:
    offenders = [
        f"{path.relative_to(ROOT)}:{line}: {name}"
        for path, tree in TREES.items()
        for line, name in reaching_in(tree)
    ]
    assert not offenders, "\n".join(offenders)


@pytest.mark.parametrize(
    "code",
    [
        "from auralize.rig.reading import _choice",
        "from .words import _word as word",
        "from auralize.rig import reading\nreading._choice()",
        "from auralize.rig.reading import Rig as R\nR._of",
        "import auralize.rig.reading\nprint(auralize.rig.reading._choice)",
        "def f():\n    from auralize.trials.session import Session\n    Session._close",
    ],
)
def test_private_names_are_found(code: str) -> None:
    assert list(reaching_in(ast.parse(code)))


def test_every_folder_with_modules_is_installed() -> None:
    """A package that is missing from the list would be missing from the wheel alone."""
    there = set()
    for folder, installed in FOLDERS.items():
        for init in (ROOT / folder).rglob("__init__.py"):
            below = init.parent.relative_to(ROOT / folder).parts
            there.add(".".join([installed, *below]))
    setuptools = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    assert set(setuptools["packages"]) == there
    assert {path.parent for path in SOURCES} == {
        init.parent for folder in FOLDERS for init in (ROOT / folder).rglob("__init__.py")
    }
