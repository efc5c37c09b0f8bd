"""The pieces that a report is made of; they hold plain text, and each writer escapes and sets it in its own way."""

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 2 starts a part, level 3 a wall. `anchor` is what links point to."""

    level: int
    text: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One or a few sentences; a lead stands out."""

    text: str
    lead: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table; every row has as many cells as the header. `weights` share out the width on paper."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    weights: tuple[float, ...]
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture by its name (`plan` or a wall's id), with what it shows in words."""

    name: str
    words: str


@dataclass(frozen=True, slots=True)
class Terms:
    """Words and what they mean, a sentence each."""

    entries: tuple[tuple[str, str], ...]


STRONG_CELLS = frozenset({"does not conform", "warning"})
"""Words that stand out where they fill a table's cell: a reader who only skims must not miss them."""


def unbroken(text: str) -> str:
    """Tie a number to its unit and its uncertainty, so that no line ends between them."""
    for tied in (" ± ", " mm", " %", " m²", " cm²"):
        text = text.replace(tied, tied.replace(" ", "\N{NO-BREAK SPACE}"))
    return text


Block: TypeAlias = Heading | Paragraph | Table | Picture | Terms


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report."""

    title: str
    blocks: tuple[Block, ...]
