"""JSON that people can read and that two equal runs write byte for byte the same."""

import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

LENGTH_DECIMALS = 4  # of a millimetre: a tenth of a micron, far below any uncertainty here


def plain(value: Any, decimals: int = LENGTH_DECIMALS) -> Any:
    """Turn NumPy values and tuples into what JSON knows; round floats; a float that is not finite becomes null."""
    kind = type(value)  # most values are of these types themselves, and documents have a hundred thousand of them
    if kind is float:
        return round(value, decimals) + 0.0 if math.isfinite(value) else None
    if kind is str or kind is int or kind is bool or value is None:
        return value
    if isinstance(value, np.ndarray):
        if value.dtype.kind == "f" and np.isfinite(value).all():  # nearly every ring: rounded at once
            return (np.round(value.astype(float), decimals) + 0.0).tolist()
        return plain(value.tolist(), decimals)
    if isinstance(value, list | tuple):
        return [plain(item, decimals) for item in value]
    if isinstance(value, dict):
        return {key: plain(item, decimals) for key, item in value.items()}
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return plain(float(value), decimals)
    return value


def json_text(document: dict[str, Any]) -> str:
    """Write a document of plain values with one line a field, and points and short number lists on one line."""
    return "".join(_parts(document, "")) + "\n"


def _parts(value: Any, indent: str) -> Iterator[str]:
    deeper = indent + "  "
    if isinstance(value, dict) and value:
        yield "{\n"
        for number, (key, item) in enumerate(value.items()):
            yield (",\n" if number else "") + f"{deeper}{json.dumps(key)}: "
            yield from _parts(item, deeper)
        yield f"\n{indent}}}"
    elif isinstance(value, list) and any(isinstance(item, dict) for item in value):
        yield "[\n"
        for number, item in enumerate(value):
            yield (",\n" if number else "") + deeper
            yield from _parts(item, deeper)
        yield f"\n{indent}]"
    else:
        yield json.dumps(value, ensure_ascii=False, allow_nan=False)
