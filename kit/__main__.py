"""The command line: `python -m kit report` and its few companions."""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from pathlib import Path

HERE = Path(__file__).resolve().parents[1]
INVENTED = HERE / "data" / "synthetic" / "lifelike"
EXAMPLES = """examples:
  python -m kit report
      the report on the invented export
  python -m kit report my-export
      on a folder of CSV files that use the kit's own column names and hold a study-plan.toml
  python -m kit report export.xlsx --plan plan.toml --columns columns.toml --facility Tarnwick
      on a workbook with a column map, for one facility
"""


def main(given: list[str] | None = None) -> int:
    """Run one command: 0 done, 1 stopped by the input, 2 asked wrongly, 3 stopped by a fault of the kit itself."""
    asked = _parser().parse_args(given)
    from kit.faults import ExportError
    from kit.plan import PlanError

    try:
        return asked.run(asked)
    except (ExportError, PlanError) as stopped:
        print(f"Stopped: {stopped}", file=sys.stderr)
        return 1
    except OSError as stopped:
        told = f"{stopped.strerror or type(stopped).__name__}: {Path(stopped.filename or '').name}"
        print(f"Stopped: {told}", file=sys.stderr)
        return 1
    except Exception as fault:  # a traceback may quote what stands in the export
        told = f"{type(fault).__name__}, {_where(fault)}"
        print(f"Stopped by a fault of the kit itself ({told}); please report this line", file=sys.stderr)
        return 3


def _where(fault: Exception) -> str:
    """The innermost line of the kit that a fault passed through: file and line, no content."""
    ours = HERE / "kit"
    lines = [frame for frame in traceback.extract_tb(fault.__traceback__) if Path(frame.filename).is_relative_to(ours)]
    return f"{Path(lines[-1].filename).name} line {lines[-1].lineno}" if lines else "outside it"


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="kit", description="Quarterly outcome reports for wound-healing modality programs.",
        epilog=EXAMPLES, formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    commands = parser.add_subparsers(required=True, metavar="command")
    report = commands.add_parser("report", help="make the quarter's report from an export")
    report.add_argument(
        "export", nargs="?", type=Path, default=INVENTED, help="folder or workbook (default: the invented export)"
    )
    report.add_argument("--plan", default="", help="study plan (default: study-plan.toml in the export's folder)")
    report.add_argument("--columns", default="", help="column map, where the export does not use the kit's own names")
    report.add_argument("--facility", default="", help="report on one facility of the export (default: all together)")
    report.add_argument(
        "--reports", type=Path, default=HERE / "reports", help="where reports are kept (default: reports/)"
    )
    report.set_defaults(run=_report)
    invent = commands.add_parser("invent", help="make the invented exports again")
    invent.add_argument("folder", nargs="?", type=Path, default=HERE / "data" / "synthetic", help="where they go")
    invent.set_defaults(run=_invent)
    dictionary = commands.add_parser("dictionary", help="print the keys of the plan and the data dictionary")
    dictionary.set_defaults(run=_dictionary)
    return parser


def _report(asked: argparse.Namespace) -> int:
    from kit.pages.kernel import NotebookError
    from kit.pages.report import Request, report

    request = Request(asked.export, asked.reports, asked.plan, asked.columns, asked.facility)
    began = time.monotonic()
    try:
        folder = report(
            request, say=lambda sentence: print(f"  {time.monotonic() - began:5.1f} s  {sentence}", flush=True)
        )
    except NotebookError as stopped:
        print(f"Stopped: {stopped}", file=sys.stderr)
        return 1
    print(f"The page is {folder / 'internal' / 'page.html'}")
    return 0


def _invent(asked: argparse.Namespace) -> int:
    from kit.synthetic.export import write_all

    write_all(asked.folder)
    print(f"The invented exports are in {asked.folder}")
    return 0


def _dictionary(asked: argparse.Namespace) -> int:
    from kit.plan import plan_keys
    from kit.vocabulary import dictionary

    print(plan_keys(), dictionary(), sep="\n", end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
