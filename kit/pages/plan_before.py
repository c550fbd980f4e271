"""The plan of the last report of the same scope, and what was changed in it since."""

from __future__ import annotations

import json
from pathlib import Path

from kit.plan import Plan
from kit.statements.plan_changes import plan_changes


def changed_in_plan(scope: Path, plan: Plan) -> list[str]:
    """What was edited in the plan since the last issued report of a scope; since the last draft where none is issued.

    `scope` is the folder of the quarters. A report whose run.json cannot be read is passed over.
    """
    runs = [run for file in scope.glob("*/r*/internal/run.json") if (run := _run(file))]
    last = max([run for run in runs if run["issued"]] or runs, key=lambda run: run["made"], default=None)
    if last is None:
        return plan_changes(None, False, "", plan)
    return plan_changes(last.get("plan"), last["rules"] != plan.rules, last["since"], plan)


def _run(file: Path) -> dict:
    """What run.json tells of a report, and which it is in words; nothing where it tells no rules."""
    folder = file.parents[1]
    try:
        run = json.loads(file.read_text(encoding="utf-8"))
        issued = (folder / "issued.json").exists()
        since = f"{folder.parent.name} {folder.name}, {'issued' if issued else 'a draft'}"
        return run | {"made": run["made"], "rules": run["rules"], "issued": issued, "since": since}
    except (OSError, ValueError, LookupError, TypeError):
        return {}
