"""The client with which the tests ask the bench in-process."""

from __future__ import annotations

import warnings

with warnings.catch_warnings():
    # the web framework wants another HTTP client for its test client than the one that is locked here
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

__all__ = ["TestClient"]
