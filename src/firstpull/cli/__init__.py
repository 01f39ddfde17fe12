"""The command line. Translates only: every verb lives in ``firstpull.jobs``."""


def main() -> None:
    raise SystemExit("not wired yet")
