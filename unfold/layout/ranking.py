"""Which scheme the job gets: proposals for the whole job, each nested, ranked and explained.

Ranked by, in this order: panels that no sheet gives, strips narrower than wanted, sheets, boxes that a joint runs into,
asymmetry, joints lined up with openings, the narrowest panel, and the length of the joints.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from unfold.layout.nesting import CuttingRules, Part, StockSheet, nest_panels, quick_sheet_bound
from unfold.layout.packing_search import QUICK
from unfold.layout.proposal import Proposal
from unfold.layout.result import Scheme
from unfold.layout.schemes import propose
from unfold.layout.site import Site
from unfold.layout.veins import Chain, part_of_chain
from unfold.settings.layout import CuttingSettings, LayoutSettings, StockSettings

BEST_OF_EACH = "best of each wall"
NESTED = 6  # proposals that are nested; the others are ranked out by a lower bound of their sheets
LISTED = 8


@dataclass(frozen=True, slots=True)
class JobProposal:
    """One proposal for all walls."""

    name: str
    walls: Mapping[str, Proposal]

    def rank(self, sheets: int) -> tuple[float, ...]:
        """Smaller is better: what cannot be cut, narrow strips, sheets, then the walls' own figures."""
        proposals = list(self.walls.values())
        return (
            sum(one.too_large for one in proposals),
            sum(one.narrow for one in proposals),
            sheets,
            sum(one.boxes_hit for one in proposals),
            round(sum(one.asymmetry for one in proposals), 2),
            -sum(one.aligned for one in proposals),
            -round(min((one.least_strip_mm for one in proposals), default=0.0)),
            round(sum(one.joint_mm for one in proposals)),
        )


@dataclass(frozen=True, slots=True)
class Chosen:
    """The chosen proposal and the table of those that were considered."""

    walls: Mapping[str, Proposal]
    names: Mapping[str, str]
    schemes: tuple[Scheme, ...]


def stock_sheets(stock: Sequence[StockSettings]) -> list[StockSheet]:
    """The stock as the nesting takes it."""
    return [StockSheet(kind.id, kind.length, kind.width, kind.count) for kind in stock]


def cutting_rules(cutting: CuttingSettings) -> CuttingRules:
    """The cutting rules as the nesting takes them."""
    return CuttingRules(cutting.kerf, cutting.trim, cutting.method == "saw")


def choose_scheme(sites: Mapping[str, Site], settings: LayoutSettings) -> Chosen:
    """Propose joints for every wall, rank the proposals for the whole job, and choose the first."""
    by_wall = {wall: propose(site, settings) for wall, site in sites.items()}
    by_wall = {wall: proposals for wall, proposals in by_wall.items() if proposals}
    if not by_wall:
        return Chosen({}, {}, ())
    candidates = _job_proposals(by_wall, settings)
    bounded = sorted(candidates, key=lambda one: (one.rank(_bound(one, settings)), one.name))[:NESTED]
    counted = [(one, *_nested(one, settings)) for one in bounded]
    counted.sort(key=lambda entry: (entry[0].rank(entry[1]), entry[0].name))
    best = counted[0][0]
    listed = tuple(_scheme(one, sheets, share, one is best) for one, sheets, share in counted[:LISTED])
    return Chosen(best.walls, {wall: one.name for wall, one in best.walls.items()}, listed)


def _job_proposals(by_wall: Mapping[str, Mapping[str, Proposal]], settings: LayoutSettings) -> list[JobProposal]:
    """One proposal for each rule that some wall follows, and one that takes the best of each wall."""
    best = {wall: _best_of_wall(proposals, settings) for wall, proposals in by_wall.items()}
    names = sorted({name for proposals in by_wall.values() for name in proposals})
    jobs = [JobProposal(BEST_OF_EACH, best)]
    jobs += [JobProposal(name, {wall: of.get(name, best[wall]) for wall, of in by_wall.items()}) for name in names]
    if settings.joints.scheme == BEST_OF_EACH:
        return jobs[:1]
    distinct: dict[tuple[object, ...], JobProposal] = {}
    for job in reversed(jobs):
        distinct[tuple(one.pattern for one in job.walls.values())] = job
    return list(distinct.values())


def _best_of_wall(proposals: Mapping[str, Proposal], settings: LayoutSettings) -> Proposal:
    """The first of a wall's proposals; sheets are bounded only where what counts more leaves several."""
    distinct = {id(one): one for one in proposals.values()}.values()  # rules that agree share one
    least = min((one.too_large, one.narrow) for one in distinct)
    equal = [one for one in distinct if (one.too_large, one.narrow) == least]
    if len(equal) == 1:
        return equal[0]
    return min(equal, key=lambda one: (_bound(JobProposal("", {"": one}), settings), one.rank, one.name))


def _parts(job: JobProposal, settings: LayoutSettings) -> list[Part]:
    parts = []
    for wall, proposal in job.walls.items():
        for number, (width, height) in enumerate(proposal.sizes_mm):
            ring = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
            parts.append(part_of_chain(Chain(((f"{wall}-{number}", ring),)), settings))
    return parts


def _bound(job: JobProposal, settings: LayoutSettings) -> int:
    return quick_sheet_bound(_parts(job, settings), stock_sheets(settings.stock), cutting_rules(settings.cutting))


def _nested(job: JobProposal, settings: LayoutSettings) -> tuple[int, float]:
    """Sheets that a proposal takes, and the share of their area that becomes panels."""
    parts = _parts(job, settings)
    nesting = nest_panels(parts, stock_sheets(settings.stock), cutting_rules(settings.cutting), QUICK)
    sheet_area = {kind.id: kind.length * kind.width for kind in settings.stock}
    used = sum(count * sheet_area[kind] for kind, count in nesting.sheets_used.items())
    placed = sum(float(np.prod(np.ptp(part.ring_mm, axis=0))) for part in parts if part.id in nesting.placements)
    return sum(nesting.sheets_used.values()), placed / used if used else 0.0


def _scheme(job: JobProposal, sheets: int, used_share: float, chosen: bool) -> Scheme:
    proposals = list(job.walls.values())
    panels = sum(len(one.sizes_mm) for one in proposals)
    least = min((one.least_strip_mm for one in proposals), default=0.0)
    joint = sum(one.joint_mm for one in proposals)
    parts = [
        f"{sheets} sheets",
        f"{sum(one.narrow for one in proposals)} narrow strips",
        f"{sum(one.boxes_hit for one in proposals)} boxes at a joint",
        f"asymmetry {sum(one.asymmetry for one in proposals) / len(proposals):.0%}",
        f"{sum(one.aligned for one in proposals)} joints in line with openings",
    ]
    too_large = sum(one.too_large for one in proposals)
    if too_large:
        parts.insert(0, f"{too_large} panels larger than any sheet")
    return Scheme(job.name, panels, sheets, used_share, least, joint, chosen, ", ".join(parts))
