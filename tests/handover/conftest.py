"""The browsers that open what is handed over."""

from support.browsers import browser, chromium, firefox  # noqa: F401
