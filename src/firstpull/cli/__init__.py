"""The command line. Translates only: every verb lives in ``firstpull.jobs``."""

try:
    from firstpull.cli.main import main
except KeyboardInterrupt:  # stopped while it was still starting: as quiet as stopped later
    raise SystemExit(130) from None

__all__ = ["main"]
