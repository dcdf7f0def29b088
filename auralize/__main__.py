"""`python -m auralize`."""

from auralize.cli import main

raise SystemExit(main())
