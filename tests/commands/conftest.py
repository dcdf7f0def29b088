"""Fixtures of the tests in this folder."""

from pathlib import Path

import pytest
import soundfile as sf

from auralize.commands.main import main
from support.command import RATE, RIG, Bench, Tell, Told, tone


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path)
    made.rig.write_text(RIG, encoding="utf-8")
    made.results.mkdir()
    sf.write(made.programme, tone(), RATE, subtype="PCM_24")
    return made


@pytest.fixture
def tell(bench: Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Tell:
    """Runs `main` in the bench's folder."""

    def call(*arguments: object) -> Told:
        monkeypatch.chdir(bench.folder)
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            code = int(stop.code or 0)
        return Told(code, *capsys.readouterr())

    return call
