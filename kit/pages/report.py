"""A report: the study is read, the notebooks are run, and a numbered folder appears whole or not at all."""

from __future__ import annotations

import hashlib
import html
import json
import platform
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path

import nbformat
import pandas as pd
from matplotlib.figure import Figure
from nbconvert import HTMLExporter
from threadpoolctl import threadpool_limits

from kit.alive import own_temporary, sweep_temporary, temporary_files_in
from kit.context.costs import costs_by_regimen
from kit.context.next_plan import next_plan
from kit.context.resources import resources
from kit.context.worth import worth_of
from kit.delivered import delivered, worklist_of
from kit.delivery.shortfalls import ALL, together
from kit.endings import no_core_dumps
from kit.faults import ExportError
from kit.followed import standing_in
from kit.healing.description import Description
from kit.intake.naming import file_said
from kit.kept import of_one_run
from kit.pages.comparison_figures import comparison_figure
from kit.pages.cost_figures import plane_figure, stack_figure
from kit.pages.costs_page import costs_html
from kit.pages.delivery_figures import fates_figure
from kit.pages.display import png, svg
from kit.pages.figures import closing_figure, missed_figure
from kit.pages.findings import findings, last_record
from kit.pages.folders import earlier_quarters, folder_name, period_of, revision, sweep_drafts
from kit.pages.issued_quarters import issued_quarters
from kit.pages.issuing import issued_in, no_longer_whole
from kit.pages.kernel import Run, one_kernel
from kit.pages.ledger import LEDGER, complete_ledger
from kit.pages.page import frame_html, page_html
from kit.pages.plan_before import changed_in_plan
from kit.pages.printing import print_pages
from kit.pages.restated import restated
from kit.pages.sheet import SHEET, read_numbers, sheet_html, write_numbers
from kit.pages.trend_figures import trend_figure
from kit.pages.workbooks import write_tables, write_wounds
from kit.plan import Plan
from kit.sensitivity.specifications import specifications
from kit.sharing.counted import counted
from kit.sharing.telling import told
from kit.statements.plan_changes import as_kept
from kit.statements.sent import rows_used
from kit.study import Study, map_of, read_study, study_then
from kit.synced import synced_said
from kit.warned import answers_of, ways_of
from kit.words import FEW_NAMES, day

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
COSTS = "costs.html"
# Notebooks that need no comparison run while the page makes it; last comes what this process then begins for them.
ALONE, LAST = ("01", "02", "03", "06"), "07"
SOON = 0.2  # seconds
Say = Callable[[str], None]
Kernel = Callable[[], AbstractContextManager[Run]]


@dataclass(frozen=True)
class Request:
    """What to report on. Empty `plan` and `columns` mean the plan and the map that lie with the export.

    `pdf` asks for page and sheet as PDF too, where there is a browser that prints.
    """

    export: Path
    reports: Path
    plan: Path | str = ""
    columns: Path | str = ""
    facility: str = ""
    notebooks: Path = NOTEBOOKS
    pdf: bool = True


@contextmanager
def _own_answers() -> Iterator[None]:
    """Everything is computed anew; what the page worked out, its notebooks read, and the other way round."""
    with own_temporary() as home, of_one_run(home):
        yield


@_own_answers()
def report(request: Request, say: Say = lambda sentence: None, kernel: Kernel = one_kernel) -> Path:
    """Make the quarter's report and return its folder: reports/<scope>/<period>/r<number>.

    `say` is told what happens; `kernel` is where the notebooks run. Raises ExportError, PlanError or NotebookError,
    each in one line; whatever is raised, no folder is left behind. What runs that were killed have left is swept, and
    their ledgers are completed, before.
    """
    no_core_dumps()
    for sentence in synced_said((file_said(Path(request.export)), request.export), ("reports/", request.reports)):
        say(sentence)
    _tidy(Path(request.reports))
    say("Reading and cleaning the export")
    whole = read_study(request.export, request.plan, request.columns)
    study = whole.at(request.facility) if request.facility else whole
    _refuse_nothing_open(study)
    _refuse_another_quarter(study)
    say(rows_used(study))
    scope = request.facility or _scope(study)
    group = whole if request.facility and len(whole.facilities) > 1 else None
    home = "All-facilities" if scope == ALL else scope
    earlier = earlier_quarters(Path(request.reports), home, study.plan)
    issued = issued_quarters(Path(request.reports), home, study.plan)
    for sentence in issued.unread:
        say(sentence)
    then = restated(study, issued, partial(_study_then, request), _map_print(request))
    with revision(Path(request.reports), home, period_of(study.plan)) as (draft, final):
        internal = draft / "internal"
        internal.mkdir()
        with _notebooks_meanwhile(request, internal, say, kernel) as books:
            say("Comparing with what would have been expected")
            found, description = findings(study, scope, group, earlier, issued, then)
            say("Writing page and sheet")
            changes = changed_in_plan(Path(request.reports) / folder_name(home), study.plan)
            _write_page(internal, found, description, study, final.name, books, changes)
            _write_costs(internal, found, study, final.name)
            (internal / "next-plan.toml").write_text(next_plan(study.plan, answers_of(study)), encoding="utf-8")
            _write_sheet(draft, found, study, final)
            if request.pdf:
                say(print_pages(draft))
            if request.notebooks == NOTEBOOKS:  # what the last notebook will ask for
                say("Asking the same under other rules of the plan")
                specifications(study, answers_of(study), ways_of(study))
            standing = standing_in(whole, request.facility)
            say("Waiting for the notebooks")
        say("Writing tables")
        run = _run_of(found, request, final.name, study.plan)
        (internal / "run.json").write_text(json.dumps(run, indent=1) + "\n", encoding="utf-8")
        with temporary_files_in(draft):  # files with rows of persons come last
            write_tables(internal, found, study)
            write_wounds(internal, worklist_of(study), standing, study.plan)
    _enter_in_ledger(final)
    for sentence in no_longer_whole(final.parent):
        say(sentence)
    return final


def _study_then(request: Request, begins: int, ends: int) -> Study:
    """The study of the same request for an earlier quarter."""
    whole = study_then(request.export, begins, ends, request.plan, request.columns)
    return whole.at(request.facility) if request.facility else whole


def _tidy(reports: Path) -> None:
    if reports.exists() and not reports.is_dir():
        raise ExportError(f"{reports.name}: a file of that name is in the way; name another folder with --reports")
    sweep_drafts(reports)
    sweep_temporary()
    for home in reports.glob("*/*"):
        with suppress(OSError):  # a ledger that is kept busy waits for the next run
            complete_ledger(home)


def _enter_in_ledger(final: Path) -> None:
    try:
        complete_ledger(final.parent)
    except OSError as refused:
        raise ExportError(
            f"{LEDGER}: not written ({refused.strerror}); close whatever keeps it open. {final.name} is whole, "
            "and the next run adds its line"
        ) from None


def _refuse_nothing_open(study: Study) -> None:
    if not study.episodes["entry_day"].notna().any():
        raise ExportError(
            "no wound was ever measured open before the cut-off; check the cut-off, the column map, and that wounds "
            "and residents name the same people"
        )


def _refuse_another_quarter(study: Study) -> None:
    last = last_record(study)
    if study.plan.cutoff is not None and last < study.plan.quarter_begins:
        raise ExportError(
            f"the last record of the export is of {day(last, study.plan)}, before the plan's quarter begins; name the "
            "quarter that the export covers in the plan's windows"
        )


def _scope(study: Study) -> str:
    return study.facilities[0] if len(study.facilities) == 1 else ALL


@contextmanager
def _notebooks_meanwhile(request: Request, internal: Path, say: Say, kernel: Kernel) -> Iterator[list[tuple[str, str]]]:
    """The notebooks run while the page is made, and are awaited afterwards; (file, title) of each, in their order.

    What stops the page stops the notebooks: the kernel ends first, and with it what waits for it. Two processes are at
    work, so that in each the libraries use one thread.
    """
    notebooks = sorted(request.notebooks.glob("[0-9]*.ipynb"))
    inturn = sorted(
        notebooks, key=lambda notebook: (notebook.stem.startswith(LAST), not notebook.stem.startswith(ALONE))
    )
    say("Starting the kernel in which the notebooks run")
    with threadpool_limits(1), ThreadPoolExecutor(1) as beside, kernel() as run:
        going = beside.submit(_run_notebooks, inturn, request, internal, say, run)
        yield [(f"{notebook.stem}.html", title_of(nbformat.read(notebook, 4))) for notebook in notebooks]
        while not going.done():
            wait([going], timeout=SOON)  # an interrupt is heard between two waits, on Windows too
        going.result()


def _run_notebooks(notebooks: list[Path], request: Request, internal: Path, say: Say, run: Run) -> None:
    """Run the notebooks one after another and keep each as a page."""
    parameters = {
        "export": str(Path(request.export).resolve()),
        "plan": str(Path(request.plan).resolve()) if request.plan else "",
        "columns": str(Path(request.columns).resolve()) if request.columns else "",
        "facility": request.facility,
    }
    for notebook in notebooks:
        say(f"Notebook {notebook.stem}")
        node = run(notebook, parameters)
        page = frame_html(title_of(node), _body(node, parameters))
        (internal / f"{notebook.stem}.html").write_text(page, encoding="utf-8")


def title_of(node: nbformat.NotebookNode) -> str:
    """The question a notebook opens with."""
    return node.cells[0].source.splitlines()[0].lstrip("# ").strip()


def _body(node: nbformat.NotebookNode, parameters: dict[str, str]) -> str:
    """The notebook as its readers need it: words and results, the code left out; of paths only the last name."""
    shown = nbformat.from_dict(node)
    # The cell that papermill adds has another id in every run.
    shown.cells = [cell for cell in node.cells if "injected-parameters" not in cell.metadata.get("tags", [])]
    body, _ = _exporter().from_notebook_node(shown)
    files = {name: file_said(Path(value)) for name, value in parameters.items() if value and name != "facility"}
    given = ", ".join(f"{name} {value}" for name, value in {**parameters, **files}.items() if value)
    ran = html.escape(f"Run with: {given}. The notebook itself, with its code, lies in notebooks/.")
    back = '<nav aria-label="This report"><a href="page.html">Back to the page</a></nav>'
    return f'{back}{body}<p class="small">{ran}</p>'


@cache
def _exporter() -> HTMLExporter:
    """What makes pages of notebooks; its templates take longer to read than a page to make."""
    return HTMLExporter(
        template_name="basic", exclude_input=True, exclude_output_prompt=True, exclude_anchor_links=True
    )


def _write_page(
    internal: Path,
    found: dict,
    description: Description,
    study: Study,
    revision_name: str,
    books: list,
    changes: list[str],
) -> None:
    closing = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    beside = comparison_figure(found["comparison"])
    missed = missed_figure(pd.DataFrame(found["reasons"], columns=["reason", "missed", "shortened"]))
    fates = delivered(study).fates
    fates = fates if len(study.facilities) <= FEW_NAMES else together(fates)
    due = fates_figure(fates, wide=5.6) if len(fates) else None
    points = pd.DataFrame(found["trend"]["points"])
    trend = trend_figure(points) if len(points) else None
    drawn = {"closing": closing, "missed": missed, "beside": beside, "due": due, "trend": trend}
    _keep_figures(internal, drawn)
    sheets = [(f"../shareable/{SHEET}", "The sheet for handing on"), (COSTS, "Money, gain and doubt"), *books]
    page = page_html(found, closing, beside, study.plan, revision_name, sheets, _today(), due, changes, trend)
    (internal / "page.html").write_text(page, encoding="utf-8")


def _keep_figures(internal: Path, drawn: dict[str, Figure | None]) -> None:
    """Each figure that there is, in figures/ as PNG and SVG."""
    figures = internal / "figures"
    figures.mkdir(exist_ok=True)
    for name, figure in ((name, figure) for name, figure in drawn.items() if figure is not None):
        (figures / f"{name}.png").write_bytes(png(figure))
        (figures / f"{name}.svg").write_bytes(svg(figure))


def _write_costs(internal: Path, found: dict, study: Study, revision_name: str) -> None:
    """The sheet for those who pay: gain beside money where gain is told, else what a started wound cost."""
    plan, answers = study.plan, answers_of(study)
    plane = plane_figure(worth_of(study), plan, answers.horizon_weeks)
    figure = plane or stack_figure(costs_by_regimen(resources(study, answers), plan), plan)
    _keep_figures(internal, {"costs": figure})
    page = costs_html(found, figure, plan, revision_name, _today())
    (internal / COSTS).write_text(page, encoding="utf-8")


def _write_sheet(draft: Path, found: dict, study: Study, final: Path) -> None:
    """The edition that may be handed on: no number in it, alone or beside those issued before, gives a few away."""
    shareable = draft / "shareable"
    shareable.mkdir()
    issued = [read_numbers(folder) for folder in issued_in(final.parent)]
    rows = told(counted(study), study.plan, issued)
    (shareable / SHEET).write_text(sheet_html(rows, found, study, final.name, _today()), encoding="utf-8")
    write_numbers(shareable, rows)


def _run_of(found: dict, request: Request, revision_name: str, plan: Plan) -> dict:
    """How a revision was made: when, from what, with which versions."""
    libraries = ("numpy", "pandas", "scipy", "statsmodels", "matplotlib", "seaborn", "papermill", "pyarrow")
    return {
        "revision": revision_name,
        "made": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        "fingerprints": {**found["fingerprints"], "map": _map_print(request)},
        "facility": request.facility,
        "cutoff": found["cutoff"],
        "rules": found["rules"],
        "plan": as_kept(plan),
        "fewest": plan.sharing.fewest,
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in libraries},
    }


def _map_print(request: Request) -> str:
    """Twelve hexadecimal digits of the column map; "own names" where there is none."""
    columns = map_of(request.export, request.columns)
    return hashlib.sha256(columns.read_bytes()).hexdigest()[:12] if columns else "own names"


def _today() -> str:
    today = datetime.now(UTC)
    return f"{today.day} {today:%B %Y}"
