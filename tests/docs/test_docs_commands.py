"""The commands and the code that README and how-tos show are run as they stand."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from firstpull.cli import main

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs" / "how-to").glob("*.md"))]


def _commands(page: Path) -> list[str]:
    blocks = re.findall(r"```console\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.startswith("firstpull ")]


def _type(line: str, folder: Path) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["--data", str(folder / "data"), "--by", "Ada", *shlex.split(line)[1:]])
    return int(ended.value.code or 0)


@pytest.mark.parametrize("document", [page for page in PAGES if _commands(page)], ids=lambda page: page.name)
def test_shown_commands_work(
    document: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each command of a page works, in the page's order, beside the files of examples/."""
    for example in (ROOT / "examples").iterdir():
        shutil.copy(example, tmp_path)
    monkeypatch.chdir(tmp_path)
    for line in _commands(document):
        code = _type(line, tmp_path)
        out = capsys.readouterr()
        assert code == 0, (line, out.out, out.err)


def test_the_code_of_the_readme_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The lines of Python in the README run and print the set length, reckoned by hand."""
    shutil.copy(ROOT / "examples" / "job.toml", tmp_path)
    monkeypatch.chdir(tmp_path)
    code = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    code[0] = code[0].replace(
        'open("job.toml", encoding="utf-8").read()', '__import__("pathlib").Path("job.toml").read_text("utf-8")'
    )
    exec("\n".join(code), {})
    # 15.5 − (3.0 − mean of 2.16, 2.19, 2.17 + 3.4)
    assert float(capsys.readouterr().out) == pytest.approx(11.27333, abs=1e-5)


@pytest.mark.parametrize(
    "document", [*PAGES, ROOT / "CONTRIBUTING.md", ROOT / "CHANGELOG.md"], ids=lambda page: page.name
)
def test_links_lead_somewhere(document: Path) -> None:
    """Every link of a page to a file of ours leads to one."""
    for target in re.findall(r"\]\((?!https?://)([^)#]+)", document.read_text(encoding="utf-8")):
        assert (document.parent / target).exists(), target
