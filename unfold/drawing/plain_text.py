"""Text from outside made safe to print: names of files and stations may hold anything at all."""

import re

# line breaks and tabs; other control characters; halves of surrogate pairs (undecodable bytes of a file name, PEP 383);
# characters that turn the direction of what follows (Unicode Annex 9)
_BLANKS = re.compile(r"\s+")
_UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def plain_text(text: str) -> str:
    """Return one line of text that every writer can encode; what cannot be printed becomes a replacement character."""
    if text.isprintable():
        return text
    kept = _BLANKS.sub(lambda found: found[0] if found[0] == "\N{NO-BREAK SPACE}" else " ", text)
    return _UNPRINTABLE.sub(REPLACEMENT, kept)
