"""Look-ups of the trade: threads, sheet gauges, drills, materials, screws and cautions.

Data lie as CSV in ``trade/data``, one source per row; “from memory” is said where it is so. Formulas name their
document. Nothing here computes a setting; that is mechanics' work.
"""
