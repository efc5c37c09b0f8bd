"""The documents keep up with the code: verbs and settings are named, links lead somewhere."""

import argparse
import re
from pathlib import Path

import pytest

from unfold.cli import parser

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
LINK = re.compile(r"\[[^\]]*\]\(([^)#]+)(?:#[^)]*)?\)")


def verbs() -> list[str]:
    actions = [action for action in parser()._actions if isinstance(action, argparse._SubParsersAction)]
    return sorted(actions[0].choices)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_to_a_file(page: Path) -> None:
    targets = [target for target in LINK.findall(page.read_text(encoding="utf-8")) if "://" not in target]
    assert [target for target in targets if not (page.parent / target).exists()] == []


@pytest.mark.parametrize("verb", verbs())
def test_every_verb_has_help_and_is_in_the_documents(verb: str) -> None:
    assert re.search(rf"^\s+{verb}\s+\S", parser().format_help(), re.MULTILINE), f"say in one line what {verb} does"
    assert any(f"unfold {verb}" in page.read_text(encoding="utf-8") for page in PAGES)


@pytest.mark.parametrize("stage", ["scan", "room", "surface", "elevation", "layout", "drawing"])
def test_every_stage_has_a_page(stage: str) -> None:
    assert (ROOT / "docs" / f"{stage}.md").exists()
