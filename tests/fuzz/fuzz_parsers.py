"""Coverage-guided fuzzing of one parser with atheris::

    .venv/bin/python tests/fuzz/fuzz_parsers.py job --runs 100000
    .venv/bin/python tests/fuzz/fuzz_parsers.py csv --runs 0 --seconds 600     until the time is up

Exits with 0 when every input gave our error or a right answer. Otherwise the input is left as ``crash-…`` in the
folder it was started from.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


def main() -> None:
    """Read the arguments, put the seeds into a folder and hand over to the fuzzer."""
    sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]
    import atheris

    with atheris.instrument_imports(include=["firstpull"]):
        from fuzz.parser_targets import TARGETS, seeds

    parser = argparse.ArgumentParser(description="Fuzz one parser.")
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--runs", type=int, default=10_000, help="how many inputs; 0 for no limit")
    parser.add_argument("--seconds", type=int, default=0, help="stop after this time; 0 for no limit")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="firstpull-fuzz-"))
    for index, data in enumerate(seeds(options.target)):
        (folder / f"seed-{index}").write_bytes(data)
    limits = [f"-atheris_runs={options.runs}"] if options.runs else []
    limits += [f"-max_total_time={options.seconds}"] if options.seconds else []
    atheris.Setup(
        [sys.argv[0], *limits, f"-seed={options.seed}", "-max_len=20000", "-verbosity=0", str(folder)],
        TARGETS[options.target],
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
