"""For every test: where hypothesis keeps its examples, and the same examples on every CI run."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, print_blob=True)
if os.environ.get("CI"):
    settings.load_profile("ci")
