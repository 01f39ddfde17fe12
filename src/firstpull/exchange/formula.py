"""A formula as a person writes it, such as “standard + difference − standard * alpha * dt”: read, checked, computed.

Names, numbers, + − * / ** and a few functions; nothing else runs.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from firstpull.errors import BadInput

_FUNCTIONS: dict[str, Callable[..., Any]] = {
    "sqrt": np.sqrt, "exp": np.exp, "log": np.log, "sin": np.sin, "cos": np.cos, "tan": np.tan, "abs": np.abs,
}  # fmt: skip
_NUMBERS = {"pi": math.pi}
_TWO: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Pow: lambda a, b: a**b,
}
_LONGEST, _DEEPEST = 2000, 60
_HINT = f"Names of inputs, numbers, + - * / **, and {', '.join(_FUNCTIONS)}."


def read_formula(text: str, names: frozenset[str], *, where: str) -> Callable[[Mapping[str, Any]], Any]:
    """The formula as a function of its inputs by name, numbers or NumPy arrays. Raises BadInput for anything else."""
    if not text.strip() or len(text) > _LONGEST:
        raise BadInput(f"A formula of up to {_LONGEST} signs.", where=where, hint=_HINT)
    plain = text.replace("−", "-").replace("·", "*").replace("^", "**").strip()
    try:
        tree = ast.parse(plain, mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise BadInput("This formula can not be read.", where=where, hint=_HINT)
    _check(tree, names, where=where, depth=0)
    return lambda inputs: _value(tree, inputs)


def _check(node: ast.expr, names: frozenset[str], *, where: str, depth: int) -> None:
    if depth > _DEEPEST:
        raise BadInput("This formula is nested too deep.", where=where, hint="Write it in a simpler way.")
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and not isinstance(node.value, bool):
        return
    if isinstance(node, ast.Name):
        if node.id not in names and node.id not in _NUMBERS:
            raise BadInput(f"“{node.id}” is not an input.", where=where, hint=f"Inputs: {', '.join(sorted(names))}.")
        return
    if isinstance(node, ast.BinOp) and type(node.op) in _TWO:
        children = [node.left, node.right]
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.USub, ast.UAdd)):
        children = [node.operand]
    elif (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in _FUNCTIONS
        and len(node.args) == 1
        and not node.keywords
    ):
        children = list(node.args)
    else:
        raise BadInput("This formula holds something else than arithmetic.", where=where, hint=_HINT)
    for child in children:
        _check(child, names, where=where, depth=depth + 1)


def _value(node: ast.expr, inputs: Mapping[str, Any]) -> Any:
    if isinstance(node, ast.Constant):
        return float(node.value) if isinstance(node.value, (int, float)) else math.nan  # floats never grow endlessly
    if isinstance(node, ast.Name):
        return inputs[node.id] if node.id in inputs else _NUMBERS[node.id]
    if isinstance(node, ast.BinOp):
        return _TWO[type(node.op)](_value(node.left, inputs), _value(node.right, inputs))
    if isinstance(node, ast.UnaryOp):
        value = _value(node.operand, inputs)
        return -value if isinstance(node.op, ast.USub) else value
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return _FUNCTIONS[node.func.id](_value(node.args[0], inputs))
    return math.nan
