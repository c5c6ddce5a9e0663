"""Room 11: the command line."""

import os

# Many small matrices: threads inside each only wait for each other. Must stand before numpy.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from ringout.cli.main import cli, main

__all__ = ["cli", "main"]
