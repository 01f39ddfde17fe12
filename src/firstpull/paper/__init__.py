"""Paper: the setup card as PDF, set with vendored open fonts and nothing of the system's."""

from firstpull.paper.card import CARD_SCHEMA, card_pdf

__all__ = ["CARD_SCHEMA", "card_pdf"]
