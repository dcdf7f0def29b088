"""`python -m auralize`."""

from auralize.commands.main import main

raise SystemExit(main())
