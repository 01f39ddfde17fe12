"""Set up and start firstpull on a machine that has only Python 3.11 and pip.

    python3 run.py            set up, then open the bench with the demo workshop
    python3 run.py test       set up, then run the checks and the tests
    python3 run.py COMMAND …  set up, then run any firstpull command, for example: python3 run.py lookup thread M6

Standard library only. It brings its own pinned uv into .tools/ beside this file and the packages of uv.lock into
.venv/; the system's Python is not touched.
"""

from __future__ import annotations

import os
import ssl
import subprocess
import sys
from pathlib import Path

UV_PIN = "0.13.9"
HERE = Path(__file__).resolve().parent
TOOLS = HERE / ".tools"


def main(arguments: list[str]) -> int:
    if sys.version_info < (3, 11):
        print(f"firstpull needs Python 3.11 or newer; this is {sys.version.split()[0]}.", file=sys.stderr)
        return 2
    try:
        uv = _uv()
    except (OSError, subprocess.CalledProcessError) as problem:
        print(f"Could not bring uv {UV_PIN} with pip ({problem}).", file=sys.stderr)
        print("Check that “python3 -m pip --version” works and that a package index can be reached.", file=sys.stderr)
        return 2
    tests = arguments[:1] == ["test"]
    command = [*([] if tests else ["--no-dev"]), "--locked", "--python", sys.executable]
    if tests:
        command += ["python", "-m", "tests", *arguments[1:]]
    else:
        command += ["firstpull", *(arguments or ["--demo", "bench"])]
    if not (HERE / ".venv").exists():
        print("Setting up: bringing the packages of uv.lock into .venv/ (once) …", file=sys.stderr)
    environment = {
        key: value for key, value in os.environ.items() if key not in ("VIRTUAL_ENV", "PYTHONPATH", "PYTHONHOME")
    }
    environment["UV_PYTHON_DOWNLOADS"] = "never"
    if _has_certificates():
        environment.setdefault("UV_SYSTEM_CERTS", "true")  # a workplace's own certificates count, as they do for pip
    environment.setdefault("UV_PROJECT_ENVIRONMENT", str(HERE / ".venv"))
    try:
        return subprocess.call([str(uv), "run", "--quiet", "--project", str(HERE), *command], env=environment)
    except KeyboardInterrupt:
        return 130


def _uv() -> Path:
    """The pinned uv in .tools/, brought with pip when it is missing or of another version."""
    uv = TOOLS / "bin" / ("uv.exe" if os.name == "nt" else "uv")
    stamp = TOOLS / "uv-version"
    if uv.exists() and stamp.exists() and stamp.read_text().strip() == UV_PIN:
        return uv
    print(f"Setting up: bringing uv {UV_PIN} into .tools/ …", file=sys.stderr)
    # --target works where pip refuses to change a system's Python
    pip = [
        sys.executable,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--no-warn-script-location",
    ]
    subprocess.run([*pip, "--upgrade", "--target", str(TOOLS), f"uv=={UV_PIN}"], check=True)
    stamp.write_text(UV_PIN + "\n")
    return uv


def _has_certificates() -> bool:
    """Whether this machine keeps certificates where its Python looks for them."""
    places = ssl.get_default_verify_paths()
    return any(Path(place).exists() for place in (places.cafile, places.capath) if place)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
