"""Tolerance sets: which straightedge, which gap; data files with their source beside them, or the user's own rules."""

import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any

import numpy as np

from unfold.errors import SettingsError
from unfold.settings.length import parse_length_mm
from unfold.settings.surface import SurfaceSettings


@dataclass(frozen=True, slots=True)
class Rule:
    """A straightedge and the widest gap allowed under it, millimetres."""

    id: str
    length_mm: float
    limit_mm: float


@dataclass(frozen=True, slots=True)
class ToleranceSet:
    """Rules that must all hold, where they come from, and how far that source was checked."""

    name: str
    title: str
    source: str
    status: str
    rules: tuple[Rule, ...]


def tolerance_names() -> list[str]:
    """Names of the sets that come with the project."""
    files = resources.files("unfold.tolerances").iterdir()
    return sorted(file.name.removesuffix(".toml") for file in files if file.name.endswith(".toml"))


def load_tolerance(settings: SurfaceSettings) -> ToleranceSet:
    """Give the tolerance set that the settings ask for.

    Raises SettingsError when there is no set of that name.
    """
    if settings.tolerance == "own":
        rules = tuple(Rule(rule.id, rule.length, rule.limit) for rule in settings.rule)
        return ToleranceSet("own", "The user's own rules", "job.toml", "the user's own", rules)
    if settings.tolerance not in tolerance_names():
        raise SettingsError(
            f"surface.tolerance: there is no tolerance set {settings.tolerance!r}",
            f"use one of {', '.join(tolerance_names())}, or 'own' with [[surface.rule]] tables",
        )
    text = resources.files("unfold.tolerances").joinpath(f"{settings.tolerance}.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    return ToleranceSet(
        settings.tolerance, data["title"], data["source"], data["status"], tuple(_rules(settings.tolerance, data))
    )


def _rules(name: str, data: dict[str, Any]) -> list[Rule]:
    rules = [
        Rule(rule["id"], parse_length_mm(rule["length"]), parse_length_mm(rule["limit"]))
        for rule in data.get("rule", [])
    ]
    for length in data.get("lengths", []):
        length_mm = parse_length_mm(length)
        limit = interpolated_limit_mm(length_mm, data["limits"]["distance_m"], data["limits"]["limit_mm"])
        rules.append(Rule(f"{name} {length}", length_mm, limit))
    return rules


def interpolated_limit_mm(length_mm: float, distance_m: list[float], limit_mm: list[float]) -> float:
    """Limit for a distance between high points: linear between the given ones, rounded to whole millimetres."""
    return float(np.floor(np.interp(length_mm / 1000.0, distance_m, limit_mm) + 0.5))
