"""Fixtures of the tests in this folder."""

import os

import pytest


@pytest.fixture
def unsynced(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests with thousands of records: that they reach the disk is tested elsewhere."""
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)
