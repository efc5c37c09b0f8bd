"""Exact answers for small nesting jobs: how few sheets of one kind hold all parts. Sizes include the kerf."""

from itertools import combinations

import numpy as np
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, milp

from unfold.arrays import Ints

Envelopes = list[tuple[int, int]]


def fewest_free(sizes: Ints, may_turn: bool, length: int, width: int, most: int) -> int:
    """Fewest sheets without the condition that cuts run through, by constraint programming (CP-SAT), proven.

    Sheets stand side by side; a part keeps within one of them. Tries every number of sheets up to `most`.
    """
    for sheets in range(1, most + 1):
        if _fits_free(sizes, may_turn, length, width, sheets):
            return sheets
    raise ValueError(f"{most} sheets do not hold the parts")


def _fits_free(sizes: Ints, may_turn: bool, length: int, width: int, sheets: int) -> bool:
    model = cp_model.CpModel()
    along, across, widths = [], [], []
    loads: list[list[cp_model.LinearExpr | int]] = [[] for _ in range(sheets)]
    for number, (a, b) in enumerate(sizes.tolist()):
        poses = [(a, b), (b, a)] if may_turn and a != b else [(a, b)]
        poses = [(w, h) for w, h in poses if w <= length and h <= width]
        chosen = [model.new_bool_var(f"pose {number} {pose}") for pose in range(len(poses))]
        model.add_exactly_one(chosen)
        on_sheet = [model.new_bool_var(f"part {number} on {sheet}") for sheet in range(min(number + 1, sheets))]
        model.add_exactly_one(on_sheet)  # sheets are alike: part i needs none beyond the i-th
        for sheet, is_there in enumerate(on_sheet):
            loads[sheet].append(a * b * is_there)
        for (w, h), is_chosen in zip(poses, chosen, strict=True):
            starts = cp_model.Domain.from_intervals([[s * length, (s + 1) * length - w] for s in range(sheets)])
            x = model.new_int_var_from_domain(starts, "x")
            y = model.new_int_var(0, width - h, "y")
            for sheet, is_there in enumerate(on_sheet):
                model.add(x >= sheet * length).only_enforce_if(is_there, is_chosen)
                model.add(x + w <= (sheet + 1) * length).only_enforce_if(is_there, is_chosen)
            widths.append(h)
            along.append(model.new_optional_fixed_size_interval_var(x, w, is_chosen, "along"))
            across.append(model.new_optional_fixed_size_interval_var(y, h, is_chosen, "across"))
    model.add_no_overlap_2d(along, across)
    model.add_cumulative(along, widths, width)  # implied, and so are the areas; both help the proof
    for load in loads:
        model.add(sum(load) <= length * width)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 30.0
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE):
        raise TimeoutError("the exact solver did not finish")
    return status != cp_model.INFEASIBLE


def fewest_guillotine(sizes: Ints, may_turn: bool, length: int, width: int) -> int:
    """Fewest sheets when every cut runs through: the sets that one sheet holds, then the least cover by HiGHS."""
    n = len(sizes)
    envelopes: dict[int, Envelopes] = {}
    for part, (a, b) in enumerate(sizes.tolist()):
        envelopes[1 << part] = _least([(a, b), (b, a)] if may_turn else [(a, b)], length, width)
    for count in range(2, n + 1):
        for parts in combinations(range(n), count):
            chosen = sum(1 << part for part in parts)
            envelopes[chosen] = _least(_joined(chosen, envelopes), length, width)
    feasible = [chosen for chosen, found in envelopes.items() if found]
    holds = np.array([[chosen >> part & 1 for chosen in feasible] for part in range(n)])
    answer = milp(
        np.ones(len(feasible)), constraints=LinearConstraint(holds, 1.0, np.inf), bounds=Bounds(0.0, 1.0),
        integrality=np.ones(len(feasible), np.int64),
    )  # fmt: skip
    assert answer.success
    return round(answer.fun)


def _joined(chosen: int, envelopes: dict[int, Envelopes]) -> Envelopes:
    """All envelopes of a set from those of two halves, side by side or stacked: the last cut in reverse."""
    found: Envelopes = []
    half = (chosen - 1) & chosen
    while half > chosen - half:
        for w, h in envelopes[half]:
            for v, g in envelopes[chosen - half]:
                found += [(w + v, max(h, g)), (max(w, v), h + g)]
        half = (half - 1) & chosen
    return found


def _least(envelopes: Envelopes, length: int, width: int) -> Envelopes:
    """Keep the envelopes that fit the sheet and that no other one is within."""
    kept: Envelopes = []
    for w, h in sorted(set(envelopes)):
        if w <= length and h <= width and (not kept or h < kept[-1][1]):
            kept.append((w, h))
    return kept
