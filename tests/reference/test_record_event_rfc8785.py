"""Rundgren, A., Jordan, B., Erdtman, S.: JSON Canonicalization Scheme (JCS). RFC 8785, IETF, June 2020.

Exact text, no tolerance. Numbers of Appendix B that lie beyond 2⁵³ − 1 are refused by the record on purpose.
"""

from __future__ import annotations

import struct

import pytest

from firstpull.errors import BadInput
from firstpull.record.chain import canonical_json, plain_json


def test_section_3_2_2_sample() -> None:
    """The sample of section 3.2.2 without its number beyond 2⁵³ gives the text of section 3.2.3."""
    sample = {
        "numbers": [4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\u000f\nA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    assert canonical_json(plain_json(sample)) == (
        '{"literals":[null,true,false],"numbers":[4.5,0.002,1e-27],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_section_3_2_3_sorting() -> None:
    """Keys are sorted by their UTF-16 code units, as in the example of section 3.2.3."""
    names = {
        "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
        "\U0001f600": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis",
    }  # fmt: skip
    text = canonical_json(plain_json(names))
    order = [
        "Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis", "Euro Sign", "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]  # fmt: skip
    assert sorted(order, key=text.index) == order


@pytest.mark.parametrize(
    ("bits", "printed"),
    [
        (0x0000000000000000, "0"),
        (0x8000000000000000, "0"),
        (0x0000000000000001, "5e-324"),
        (0x8000000000000001, "-5e-324"),
        (0x3EB0C6F7A0B5ED8D, "0.000001"),
        (0x3EB0C6F7A0B5ED8C, "9.999999999999997e-7"),
        (0x41B3DE4355555553, "333333333.3333332"),
        (0x41B3DE4355555557, "333333333.33333343"),
        (0xBECBF647612F3696, "-0.0000033333333333333333"),
    ],
)
def test_appendix_b_numbers(bits: int, printed: str) -> None:
    """Numbers are written as in Appendix B."""
    assert canonical_json(plain_json(struct.unpack(">d", bits.to_bytes(8, "big"))[0])) == printed


@pytest.mark.parametrize(
    "bits", [0x7FEFFFFFFFFFFFFF, 0x4340000000000000, 0x44B52D02C7E14AF6, 0x7FFFFFFFFFFFFFFF, 0x7FF0000000000000]
)
def test_appendix_b_numbers_not_recorded(bits: int) -> None:
    """Numbers beyond 2⁵³ − 1, NaN and infinity of Appendix B have no place in the record."""
    with pytest.raises(BadInput):
        plain_json(struct.unpack(">d", bits.to_bytes(8, "big"))[0])
