"""Every check of the project, in the order in which they fail fastest: ``python3 run.py test [pytest arguments]``.

With arguments only the tests run, so that one file can be tried quickly.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
LAYERS = "from importlinter.cli import lint_imports_command as run; raise SystemExit(run())"
GATES = (
    ("style", ["-m", "ruff", "check", "--quiet", "."]),
    ("format", ["-m", "ruff", "format", "--check", "--quiet", "."]),
    ("layers", ["-c", LAYERS]),
    ("types", ["-m", "mypy"]),
)


def main(arguments: list[str]) -> int:
    if not arguments:
        for name, command in GATES:
            began = time.monotonic()
            done = subprocess.run([sys.executable, *command], cwd=HERE, capture_output=True, text=True, check=False)
            print(
                f"{name:8} {'ok' if done.returncode == 0 else 'FAILED'} ({time.monotonic() - began:.0f} s)", flush=True
            )
            if done.returncode:
                print(done.stdout + done.stderr)
                return done.returncode
    return subprocess.call([sys.executable, "-m", "pytest", *arguments], cwd=HERE)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
