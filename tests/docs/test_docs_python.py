"""The Python that the how-tos on parts show runs as it stands."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAID = {
    "gauge-study": "4.437 2.326\n2.257 4900.1\n13\n",
    "identify": "Measure the free length\nEX-M6-30 one\n",
    "statistics": "4.4369 2.3259 91.75\n2.257\n13.5\n",
    "standardise": "['EX-M6-30'] True\n",
}


@pytest.mark.parametrize("document", sorted(SAID))
def test_the_python_of_the_page_works(
    document: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beside the files of examples/ the lines print what they should."""
    for example in (ROOT / "examples").iterdir():
        shutil.copy(example, tmp_path)
    monkeypatch.chdir(tmp_path)
    text = (ROOT / "docs" / "how-to" / f"{document}.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    exec(compile(code, f"{document}.md", "exec"), {})
    assert capsys.readouterr().out == SAID[document]
