"""Room 11: the command line."""

from ringout.cli.main import cli, main

__all__ = ["cli", "main"]
