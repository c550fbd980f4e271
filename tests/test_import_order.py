"""Nothing in kit imports upwards: a module may import only what stands before it in ROOMS."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

# The order in which data travels. A folder's own name, its __init__.py, stands after its modules.
# A new module gets its line here, a module that goes loses it.
ROOMS = [
    "command_words",
    "vocabulary",
    "glossary",
    "faults",
    "intake.lexicon",
    "intake.naming",
    "plan",
    "words",
    "measures",
    "intake.mapping",
    "intake.texts",
    "intake.workbooks",
    "intake.files",
    "intake.finding",
    "intake.places",
    "intake.layouts",
    "intake.readers",
    "intake.template",
    "intake.stages",
    "intake.size_words",
    "intake.headers",
    "intake.treatments",
    "intake.cells",
    "intake.patterns",
    "intake.pseudonyms",
    "intake.days",
    "intake.values",
    "intake.written",
    "intake.numbering",
    "intake.screening",
    "intake.scanning",
    "intake.fitting",
    "intake.placing",
    "intake.drafting",
    "intake.drafted",
    "intake.contradictions",
    "intake.sizes",
    "intake.courses",
    "intake.linking",
    "intake.cleaning",
    "intake",
    "wounds.staging",
    "wounds.regimens",
    "wounds.episodes",
    "wounds.course",
    "wounds",
    "synced",
    "endings",
    "alive",
    "kept",
    "side_by_side",
    "study",
    "quarter",
    "healing.resampling",
    "healing.curves",
    "healing.description",
    "healing.weeks",
    "healing.covariates",
    "healing.trials",
    "healing.reach",
    "healing.designs",
    "healing.weights",
    "healing.contrasts",
    "healing.reductions",
    "healing.emulation",
    "healing.parts",
    "healing.comparison",
    "healing.homes",
    "healing.answers",
    "healing.cox",
    "healing.intervals",
    "healing.e_values",
    "healing.other_arms",
    "healing.other_designs",
    "healing.other_answers",
    "healing",
    "compared",
    "trajectories.summaries",
    "trajectories.delayed",
    "trajectories.walk",
    "trajectories.sums",
    "trajectories.likelihood",
    "trajectories.engine",
    "trajectories.inference",
    "trajectories.courses",
    "trajectories.changes",
    "trajectories.models",
    "trajectories.slopes",
    "trajectories.standing",
    "trajectories",
    "followed",
    "delivery.decisions",
    "delivery.context",
    "delivery.dose",
    "delivery.agreement",
    "delivery.orders",
    "delivery.shortfalls",
    "delivery.stretches",
    "delivery.settings",
    "delivery.calendar",
    "delivery.published",
    "delivery.comfort",
    "delivery.early_wounds",
    "delivery.early_dose",
    "delivery.safety",
    "delivery.stops",
    "delivery.burden",
    "delivery.signs",
    "delivery.open_wounds",
    "delivery.worklist",
    "delivery.documentation",
    "delivery",
    "delivered",
    "sensitivity.bounds",
    "sensitivity.specifications",
    "sensitivity.leave_one_out",
    "sensitivity.before_start",
    "sensitivity",
    "bias.evidence",
    "bias.holm",
    "bias.beside",
    "bias.sides",
    "bias.digits",
    "bias.judged",
    "bias.debridement",
    "bias.rows",
    "bias.measurement",
    "bias.following",
    "bias.design",
    "bias.selection",
    "bias.pair",
    "bias.steps",
    "bias.balance",
    "bias.arms",
    "bias.shown",
    "bias.warnings",
    "bias",
    "warned",
    "context.published_trials",
    "context.pooling",
    "context.evidence",
    "context.after_start",
    "context.expected",
    "context.case_mix",
    "context.funnel",
    "context.one_sided",
    "context.program",
    "context.not_comparable",
    "context.same_horizon",
    "context.other_rows",
    "context.beside_published",
    "context.resources",
    "context.costs",
    "context.plane",
    "context.gain",
    "context.worth",
    "context.could_have_seen",
    "context.staggered",
    "context.limits",
    "context.next_plan",
    "context.refining",
    "context.trend",
    "context.restated",
    "context",
    "region",
    "sharing.searching",
    "sharing.telling",
    "sharing.counted",
    "sharing",
    "statements.sent",
    "statements.comparing",
    "statements.sizes",
    "statements.quarter",
    "statements.delivery",
    "statements.care",
    "statements.misleading",
    "statements.decisions",
    "statements.money",
    "statements.worth",
    "statements.costs",
    "statements.numbers",
    "statements.reviews",
    "statements.evidence",
    "statements.beside_published",
    "statements.region",
    "statements.next_quarter",
    "statements.refining",
    "statements.about",
    "statements.plan_changes",
    "statements.shared",
    "statements.trend",
    "statements",
    "checking",
    "pages.display",
    "pages.figures",
    "pages.comparison_figures",
    "pages.comparison_tables",
    "pages.size_figures",
    "pages.size_tables",
    "pages.delivery_figures",
    "pages.delivery_tables",
    "pages.care_figures",
    "pages.care_tables",
    "pages.sensitivity_figures",
    "pages.sensitivity_tables",
    "pages.warning_tables",
    "pages.evidence_figures",
    "pages.evidence_tables",
    "pages.beside_published_figures",
    "pages.beside_published_tables",
    "pages.funnel_figures",
    "pages.funnel_tables",
    "pages.next_quarter_figures",
    "pages.next_quarter_tables",
    "pages.cost_figures",
    "pages.cost_tables",
    "pages.trend_figures",
    "pages.trend_tables",
    "pages.printing",
    "pages.folders",
    "pages.ledger",
    "pages.plan_before",
    "pages.kernel",
    "pages.page",
    "pages.costs_page",
    "pages.sheet",
    "pages.issuing",
    "pages.issued_quarters",
    "pages.restated",
    "pages.findings",
    "pages.worklist",
    "pages.workbooks",
    "pages.documentation",
    "pages.report",
    "pages.many",
    "pages",
    "synthetic.world",
    "synthetic.people",
    "synthetic.sores",
    "synthetic.healing_course",
    "synthetic.rounds",
    "synthetic.charting",
    "synthetic.starts",
    "synthetic.care",
    "synthetic.procedures",
    "synthetic.spans",
    "synthetic.group",
    "synthetic.troubles",
    "synthetic.slips",
    "synthetic.stories",
    "synthetic.cells",
    "synthetic.messy",
    "synthetic.draft",
    "synthetic.flaws_of_course",
    "synthetic.flaws_of_linking",
    "synthetic.flaws",
    "synthetic.export",
    "synthetic.many",
    "synthetic",
    "__main__",
]
# What invents the data may not lean on what reads them, or a fault in both would never show.
CONFINED = {"synthetic": ["vocabulary", "plan", "synthetic"]}
HEAVY = {"pandas", "numpy", "matplotlib", "lifelines", "papermill"}
KIT = Path(__file__).parent.parent / "kit"


def modules(kit):
    """Every module below a folder called kit, by name without the leading 'kit.'; kit itself is ''."""
    names = {}
    for file in sorted(kit.rglob("*.py")):
        parts = file.relative_to(kit).with_suffix("").parts
        names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file
    return names


def imports(name, file):
    """Every dotted name that a file imports, absolute, wherever the import stands."""
    package = ["kit", *name.split(".")] if name else ["kit"]
    if file.name != "__init__.py":
        package.pop()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            base = [*above, *([node.module] if node.module else [])]
            yield from (".".join([*base, alias.name]) for alias in node.names)


def kit_imports(kit):
    """Module name -> names of the kit modules that it imports."""
    files = modules(kit)
    return {name: {module_in(full, files) for full in imports(name, file)} - {None} for name, file in files.items()}


def module_in(full, files):
    """'kit.plan.read_plan' is a name in the module 'plan'; None for a name from outside kit."""
    first, *rest = full.split(".")
    while rest and ".".join(rest) not in files:
        rest.pop()
    return ".".join(rest) if first == "kit" else None


def complaints(tree, rooms=ROOMS, confined=CONFINED):
    """What is wrong with the imports of a tree (module name -> imported kit modules), a sentence each."""
    place = {name: number for number, name in enumerate(["", *rooms])}
    found = [f"{name} is not in ROOMS" for name in tree if name not in place]
    found += [f"{name} is in ROOMS and does not exist" for name in rooms if name not in tree]
    for name, imported in sorted(tree.items()):
        for other in sorted(imported - {name}):
            if place.get(other, -1) > place.get(name, len(place)):
                found.append(f"{name or 'kit'} imports {other}, which stands later")
            elif not may_import(name, other, tree, confined):
                found.append(f"{name or 'kit'} imports {other} from outside its bounds")
    return found


def may_import(name, other, tree, confined):
    is_folder = any(module.startswith(f"{name}.") for module in tree)
    bounds = confined.get(name.partition(".")[0], [name] if is_folder else None)
    return bounds is None or any(f"{other}.".startswith(f"{room}.") for room in bounds)


# --- kit itself ---


def test_kit_imports_nothing_upwards():
    assert complaints(kit_imports(KIT)) == []


# Published studies are pooled by statsmodels, and held against metafor: no number of a facility comes of it.
@pytest.mark.parametrize(("library", "users"), [("lifelines", set()), ("statsmodels", {"context.pooling"})])
def test_what_the_numbers_are_held_against_makes_none_of_them(library, users):
    assert {name for name, file in modules(KIT).items() if library in roots(imports(name, file))} == users


def test_importing_kit_imports_nothing_heavy():
    code = "import kit, sys; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], cwd=KIT.parent, capture_output=True, text=True, check=True)
    assert not HEAVY & set(loaded.stdout.split())


def roots(names):
    return {name.partition(".")[0] for name in names}


# --- the checker ---


def lay(folder, **sources):
    """Write modules, a double underscore in a name for a dot; returns the tree of their imports."""
    for name, source in {"__init__": "", **sources}.items():
        file = folder / "kit" / f"{name if name == '__init__' else name.replace('__', '/', 1)}.py"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(source)
    return kit_imports(folder / "kit")


def test_downward_imports_in_every_spelling_pass(tmp_path):
    tree = lay(
        tmp_path,
        plan="import numpy as np",
        intake__readers="from kit import plan",
        intake__cleaning="import kit.intake.readers\nfrom ..plan import read\nfrom . import readers",
        intake____init__="from .cleaning import clean\nfrom kit.intake.readers import read",
        study="from kit.intake import clean",
    )
    assert tree["intake.cleaning"] == {"plan", "intake.readers"}
    assert tree["study"] == {"intake"}
    assert complaints(tree, ["plan", "intake.readers", "intake.cleaning", "intake", "study"]) == []


def test_an_upward_import_fails(tmp_path):
    tree = lay(tmp_path, plan="from kit.study import Study", study="")
    assert complaints(tree, ["plan", "study"]) == ["plan imports study, which stands later"]


def test_an_upward_import_inside_a_folder_fails(tmp_path):
    tree = lay(tmp_path, intake__readers="from .cleaning import clean", intake__cleaning="", intake____init__="")
    expected = ["intake.readers imports intake.cleaning, which stands later"]
    assert complaints(tree, ["intake.readers", "intake.cleaning", "intake"]) == expected


def test_an_import_hidden_in_a_function_fails(tmp_path):
    tree = lay(tmp_path, plan="def read():\n    from kit import study\n    return study", study="")
    assert complaints(tree, ["plan", "study"]) == ["plan imports study, which stands later"]


def test_an_import_by_kit_itself_fails(tmp_path):
    tree = lay(tmp_path, __init__="from kit.plan import read", plan="")
    assert complaints(tree, ["plan"]) == ["kit imports plan, which stands later"]


def test_an_unlisted_module_fails(tmp_path):
    tree = lay(tmp_path, plan="", helpers="")
    assert complaints(tree, ["plan"]) == ["helpers is not in ROOMS"]


def test_a_listed_module_that_does_not_exist_fails(tmp_path):
    assert complaints(lay(tmp_path, plan=""), ["plan", "study"]) == ["study is in ROOMS and does not exist"]


def test_a_folder_may_re_export_only_its_own(tmp_path):
    tree = lay(tmp_path, plan="", intake__readers="", intake____init__="from kit.plan import read")
    expected = ["intake imports plan from outside its bounds"]
    assert complaints(tree, ["plan", "intake.readers", "intake"]) == expected


def test_a_confined_room_may_not_import_beyond_its_bounds(tmp_path):
    tree = lay(
        tmp_path,
        plan="",
        measures="",
        synthetic__people="from kit import measures, plan",
        synthetic____init__="",
    )
    expected = ["synthetic.people imports measures from outside its bounds"]
    assert complaints(tree, ["plan", "measures", "synthetic.people", "synthetic"]) == expected
