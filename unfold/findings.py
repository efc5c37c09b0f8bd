"""What a stage noticed and the reader of the report has to know: nothing is dropped or guessed in silence."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing noticed, for the report.

    `code` is a short word in kebab case that never changes (`unit-inferred`, `wall-open-end`); `text` is one
    sentence for the user with the figures in it; `wall` the wall's id when it concerns one wall.
    """

    level: Literal["note", "warning"]
    code: str
    text: str
    wall: str | None = None
