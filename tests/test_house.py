"""The house keeps its plan: data flows one way, and every public function says what it takes."""

import ast
from pathlib import Path

import pytest

import unfold

STAGES = ["scan", "room", "surface", "elevation", "layout", "drawing"]
ROOT = Path(unfold.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Return the full names of every module that a file imports."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}:{node.lineno}: write the import in full, from unfold.stage.module"
            names.add(node.module or "")
    return names


def stages_of(names: set[str]) -> set[str]:
    """Return which stages some module names belong to."""
    return {name.split(".")[1] for name in names if name.startswith("unfold.")} & set(STAGES)


@pytest.mark.parametrize("stage", STAGES)
def test_no_stage_imports_a_later_one(stage: str) -> None:
    later = set(STAGES[STAGES.index(stage) + 1 :])
    for path in (ROOT / stage).rglob("*.py"):
        backwards = stages_of(imported(path)) & later
        assert not backwards, f"{path.relative_to(ROOT)} imports {backwards}: pass the value down, or move it upstream"


def test_only_the_job_knows_every_stage() -> None:
    allowed = {"job.py", "cli.py", "lay_again.py"}
    for path in MODULES:
        inside = path.relative_to(ROOT).parts
        if inside[0] in STAGES or inside[0] in allowed or inside[0] in {"job_folder", "settings", "bench"}:
            continue
        assert not stages_of(imported(path)), f"{path.relative_to(ROOT)} is shared by all stages and may import none"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_public_functions_are_described(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), f"{path.relative_to(ROOT)}: say in one sentence what belongs here"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path.relative_to(ROOT)}:{node.lineno}: describe {node.name}"
