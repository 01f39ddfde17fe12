"""Words and drawings into a PDF: our own templates, the vendored fonts alone, PDF/A with tags, the same bytes each time."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, Final

from firstpull.errors import BadInput
from firstpull.paper.glyphs import FONT_FOLDER

STANDARDS: Final = ("a-2a", "ua-1")
"""What every paper conforms to: for archives (ISO 19005-2, level A) and for screen readers (ISO 14289-1)."""


def typeset(template: Path, inputs: dict[str, str], *, archive: bool = True) -> bytes:
    """The PDF of ``template`` with ``inputs`` (texts); an ``archive`` file must name its date. Raises BadInput when it can not be set."""
    import typst

    try:
        made = typst.compile(
            _source(template),
            font_paths=_fonts(),
            sys_inputs=inputs,
            format="pdf",
            timestamp=0,
            pdf_standards=list(STANDARDS if archive else STANDARDS[1:]),
        )
    except typst.TypstError as problem:
        raise BadInput("The paper could not be set.", where="paper", hint=str(problem)[:200])
    if not isinstance(made, bytes):
        raise BadInput("The paper could not be set.", where="paper", hint="The typesetter gave no PDF.")
    return made


@cache
def _source(template: Path) -> bytes:
    return template.read_bytes()


@cache
def _fonts() -> Any:
    """Only the vendored fonts: neither the system's nor the typesetter's own."""
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONT_FOLDER)])
