"""What was changed in the plan since the last report, key by key, in words."""

from __future__ import annotations

from kit.plan import Plan, keys_of

MOVES = "windows"  # the quarter moves on by itself
NO_EARLIER = "This is the first report of its kind here, so there is no earlier plan."
UNCHANGED = "The plan's rules are those of {since}."
NOT_KEPT = "The plan's rules were edited after {since}; what was changed was not kept then."


def plan_changes(before: dict | None, edited: bool, since: str, plan: Plan) -> list[str]:
    """A sentence for each key that differs, or one that says that none does.

    `before` is the plan of the earlier report as its run.json holds it (None: not kept), `edited` whether the
    fingerprints of its rules differ, `since` which report that was, in words (blank: there is none).
    """
    if not since:
        return [NO_EARLIER]
    if not edited:
        return [UNCHANGED.format(since=since)]
    if before is None:
        return [NOT_KEPT.format(since=since)]
    told = [_changed(key, meaning, _at(before, key), _at(as_kept(plan), key)) for key, meaning in keys_of()]
    return [f"Changed since {since}: {change}." for change in told if change] or [NOT_KEPT.format(since=since)]


def as_kept(plan: Plan) -> dict:
    """The plan as run.json keeps it."""
    return plan.model_dump(mode="json", exclude={MOVES: {"quarter_begins", "cutoff"}})


def _at(kept: dict, key: tuple[str, str]) -> object:
    part, name = key
    inner = kept.get(part)
    if isinstance(inner, list):  # regimens
        return [row.get(name) for row in inner]
    return inner.get(name) if isinstance(inner, dict) else None


def _changed(key: tuple[str, str], meaning: str, before: object, now: object) -> str:
    if before == now:
        return ""
    return f"{meaning.split(';')[0]} ({' '.join(key).replace('_', ' ')}): {_said(now)}, before {_said(before)}"


def _said(value: object) -> str:
    if isinstance(value, list):
        return " / ".join(map(_said, value)) or "none"
    if isinstance(value, float) and value.is_integer():
        return f"{value:.0f}"
    return "left out" if value in (None, "") else str(value).replace("_", " ")
