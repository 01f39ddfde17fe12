"""The command line. Translates only: every verb lives in ``firstpull.jobs``."""

from firstpull.cli.main import main

__all__ = ["main"]
