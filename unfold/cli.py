"""The command line: verbs to functions, no logic."""

import argparse
import gc
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from unfold import __version__
from unfold.errors import UnfoldError
from unfold.progress import end_progress, terminal_progress

EXAMPLES = """\
examples:
  unfold run hall.e57 --out hall-job              measure one scan file
  unfold run north.las south.las --out hall-job   several files of one room, in one coordinate system
  unfold run hall.ply --unit ft --out hall-job    a format that states no unit
  unfold settings > job.toml                      every setting with its default and source
  unfold layout hall-job --settings job.toml      lay the panels again, without the scan

exit status: 0 done; 1 the job could not be done (one line says why and what to do); 2 wrong command line or settings
"""

SELDOM = 1_000_000
"""New objects between two searches for cycles; a job makes millions of objects and hardly a cycle of them."""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="unfold",
        description="From a scan of a room to measured, unfolded walls that a fabricator can cut panels for.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"unfold {__version__}")
    verbs = top.add_subparsers(dest="verb", required=True, metavar="VERB")
    _add_run(verbs)
    _add_layout(verbs)
    verbs.add_parser("settings", help="print a commented job.toml with every default and its source").set_defaults(
        act=_settings
    )
    _add_bench(verbs)
    return top


def _add_run(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    run = verbs.add_parser("run", help="measure the walls of a scan and lay panels on them")
    run.add_argument("scans", nargs="+", type=Path, metavar="SCAN", help="a scan file of any open format")
    run.add_argument("--out", required=True, type=Path, metavar="JOB", help="the job folder to make or replace")
    run.add_argument("--settings", type=Path, metavar="job.toml", help="settings; see `unfold settings`")
    run.add_argument("--unit", choices=["m", "mm", "cm", "ft", "us-ft", "in"], help="unit of files that state none")
    run.set_defaults(act=_run)


def _add_layout(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    layout = verbs.add_parser("layout", help="lay the panels of an existing job again")
    layout.add_argument("folder", type=Path, metavar="JOB", help="a job folder that `unfold run` left")
    layout.add_argument("--settings", type=Path, metavar="job.toml", help="new settings; default: JOB/job.toml")
    layout.set_defaults(act=_layout)


def _add_bench(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    bench = verbs.add_parser("bench", help="measure time and memory against decoding alone, as ratios in one run")
    bench.add_argument(
        "--millions", type=float, nargs="+", default=[5, 20, 80], metavar="N", help="millions of points: 5 20 80"
    )
    bench.add_argument("--formats", nargs="+", choices=["e57", "laz"], default=["e57", "laz"])
    bench.add_argument("--repeats", type=int, default=3, help="runs of each figure; the median is printed (default 3)")
    bench.add_argument("--out", type=Path, metavar="FILE", help="also write the table to this Markdown file")
    bench.set_defaults(act=_bench)


def _run(arguments: argparse.Namespace) -> None:
    from unfold.job import run_job

    job = run_job(arguments.scans, arguments.out, arguments.settings, arguments.unit, terminal_progress())
    end_progress()
    print(f"{len(job.elevations.walls)} walls measured; see {arguments.out / 'report.html'}")


def _layout(arguments: argparse.Namespace) -> None:
    from unfold.lay_again import lay_again

    layout = lay_again(arguments.folder, arguments.settings, terminal_progress())
    end_progress()
    print(f"{layout.totals.panels} panels on {layout.totals.sheets} sheets; see {arguments.folder / 'layout.json'}")


def _settings(_: argparse.Namespace) -> None:
    from unfold.settings.document import settings_toml

    print(settings_toml(), end="")


def _bench(arguments: argparse.Namespace) -> None:
    from unfold.bench import run_bench

    run_bench(arguments.millions, arguments.formats, arguments.repeats, arguments.out)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit status: 0 done, 1 cannot be done, 2 wrong command line or settings."""
    parsed = parser().parse_args(arguments)
    signal.signal(signal.SIGTERM, _stop)
    gc.set_threshold(SELDOM)
    try:
        parsed.act(parsed)
    except UnfoldError as error:
        end_progress()
        print(f"unfold: {error}", file=sys.stderr)
        return error.exit_status
    except KeyboardInterrupt:
        end_progress()
        print("unfold: stopped; nothing was written", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 1
    return 0


def _stop(signal_number: int, _: object) -> NoReturn:
    raise KeyboardInterrupt(signal_number)
