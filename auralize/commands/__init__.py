"""The command line: reads what was asked, calls the library, prints.

In: words of a shell. Out: text on stdout, one sentence on stderr, an exit code.
May import: everything but screens, each command only what it needs and only when it runs.
"""
