"""Reads a drawing back for the tests: well-formed, named, its points and its words with where they stand."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree

from firstpull.drawing.svg import text_width

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Words:
    """A text with the box it fills."""

    text: str
    size: float
    left: float
    right: float
    base: float


def read(drawing: str) -> ElementTree.Element:
    """The root element; fails when the drawing is not well-formed or not named for screen readers."""
    root = ElementTree.fromstring(drawing)
    assert root.tag == SVG + "svg"
    assert root.get("role") == "img"
    ids = [child.get("id") for child in root.iter() if child.get("id")]
    assert len(ids) == len(set(ids))
    named = (root.get("aria-labelledby") or "").split()
    assert len(named) == 2
    assert set(named) <= set(ids)
    assert (root.find(SVG + "title").text or "").strip()
    assert not re.search(r"nan|inf\b", re.sub(r">[^<]*<", "><", drawing))
    assert "style=" not in drawing
    return root


def view_box(root: ElementTree.Element) -> tuple[float, float]:
    """Width and height of the drawing."""
    left, top, width, height = (float(part) for part in root.get("viewBox").split())
    assert (left, top) == (0, 0)
    return width, height


def words(root: ElementTree.Element) -> list[Words]:
    """Every text with its box, translations of groups applied."""
    return list(_walk(root, 0.0, 0.0))


def _walk(node: ElementTree.Element, x: float, y: float) -> Iterator[Words]:
    moved = re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", node.get("transform", ""))
    if moved:
        x, y = x + float(moved[1]), y + float(moved[2])
    if node.tag == SVG + "text":
        size = float(node.get("font-size"))
        wide = text_width(node.text or "", size, bold=node.get("font-weight") == "700")
        left = (
            x + float(node.get("x")) - {"start": 0, "middle": wide / 2, "end": wide}[node.get("text-anchor", "start")]
        )
        yield Words(node.text or "", size, left, left + wide, y + float(node.get("y")))
    for child in node:
        yield from _walk(child, x, y)


def check_words(root: ElementTree.Element) -> None:
    """Every text is at least 14 px and lies inside the drawing."""
    width, height = view_box(root)
    for entry in words(root):
        assert entry.size >= 14, entry
        assert entry.left >= -0.5, entry
        assert entry.right <= width + 0.5, entry
        assert entry.base - 0.7 * entry.size > 0, entry
        assert entry.base <= height - 0.2 * entry.size, entry


def part(root: ElementTree.Element, name: str) -> ElementTree.Element:
    """The element marked as this part."""
    found = [node for node in root.iter() if node.get("data-part") == name]
    assert len(found) == 1, name
    return found[0]


def points(node: ElementTree.Element) -> list[tuple[float, float]]:
    """The points of a path of straight lines."""
    numbers = [float(value) for value in re.findall(r"-?\d+(?:\.\d+)?", node.get("d"))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))
