"""The same question under other rules: each row is the plan with one or two of its choices changed, answered again.

A specification curve: Simonsohn, Simmons & Nelson 2020, Nat Hum Behav 4:1208, from memory. It shows how much of the
number is a matter of rules; what all rules have in common, such as what no chart holds, it does not show.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from functools import lru_cache, partial
from itertools import combinations, product

import numpy as np
import pandas as pd

from kit.healing.answers import Answers, in_brief
from kit.healing.comparison import CLOSED, any_modality, laid_out
from kit.healing.emulation import Layout
from kit.healing.other_answers import ALIKE
from kit.healing.trials import Weeks, judged, known_weeks
from kit.kept import kept
from kit.plan import COVARIATES, Plan
from kit.sensitivity.bounds import no_number, not_made
from kit.study import Study
from kit.words import count
from kit.wounds.episodes import episodes

DRAWS = 100  # of residents in each row but the plan's own: enough for limits of rows that decide nothing
SIZES, PLANNED, ALL = "size and its course alone", "what the plan names", "all that is charted"
EVERYBODY, IN_COMMON = "all", "those with somebody like them"
AS_PLANNED = "as the plan has it"
# What may be chosen, and the values tried beside the plan's own; each name is a column.
OFFERED = {
    "run_in_days": (0, 7, 14, 28),
    "fresh_days": (5, 7, 10),
    "confirm_days": (7, 14, 28),
    "horizon_weeks": (12, 8, 4),
    "levelled": (SIZES, PLANNED, ALL),
}
FAR = (0, 28)  # run-ins that are tried together with another choice: those between would say little more
IN_WORDS = {
    "run_in_days": "{} days of usual care first",
    "fresh_days": "sizes fresh for {} days",
    "confirm_days": "closings undone within {} days",
    "horizon_weeks": "closed by week {}",
    "levelled": "{} levelled",
}


@dataclass(frozen=True)
class Choice:
    """One set of rules under which the question is asked."""

    run_in_days: int
    fresh_days: int
    confirm_days: int
    horizon_weeks: int
    levelled: str = PLANNED


def specifications(
    study: Study, answers: Answers, others: pd.DataFrame | None = None, draws: int = DRAWS
) -> pd.DataFrame:
    """Any modality beside none under the plan's rules, with one of them changed, and with two of them changed.

    Changed are: days of run-in, days for which a size is fresh, days within which a closing may be undone, the horizon
    (where closing is what is compared), and what the weights level. `others`, as `kit.healing.other_answers` returns
    it, gives the row without wounds that nobody resembled. A choice that alone changes nothing is not tried with a
    second one, and rows that level the same, because so few starters carry no more, stand once.

    Columns out: edit (in words), changes (0, 1 or 2), run_in_days, fresh_days, confirm_days, horizon_weeks, levelled,
    compared, covariates (those that were levelled), amount, low, high (points of 100; 95%, from the answer's draws in
    the plan's own row, from those of `others` in its row, and from `draws` elsewhere), starters (missing where not
    counted), is_plan, not_computed.

    The horizon of a row is the one asked for, even where the data would choose another. Every row needs what the plan
    asks of a comparison. Where the answer has no number no row has one, nor is it worked out.
    """
    own, why, measure = own_choice(answers), not_made(answers), answers.measure
    first = _row(own, own, answers.told.iloc[0], measure, why)
    if why:
        return _table([first, *(_row(choice, own, None, measure, why) for choice in singles(own, measure))])
    table = _table([first, *_edited(study, answers, draws), *_alike(first, others)])
    return table.drop_duplicates([*list(OFFERED)[:-1], "covariates", "compared"], ignore_index=True)


@lru_cache(maxsize=4)
def _edited(study: Study, answers: Answers, draws: int) -> tuple[dict, ...]:
    """Every row but the plan's own; they take seconds, and a table and a sentence ask for the same."""
    told = f"{answers.measure} {own_choice(answers)} {answers.told.to_csv()} {answers.layout.plan.fingerprint}"
    name = f"specifications-{draws}-{hashlib.sha256(told.encode()).hexdigest()[:12]}"
    make = partial(_answered, study, answers, draws)
    return kept(study, name, make, lambda rows: {"rows": list(rows)}, lambda parts: tuple(parts["rows"]))


def _answered(study: Study, answers: Answers, draws: int) -> tuple[dict, ...]:
    """Rows that judge the same weeks over the same horizon are answered one after another: those are laid out once."""
    own, measure = own_choice(answers), answers.measure
    first, alone = _row(own, own, answers.told.iloc[0], measure, ""), singles(own, measure)
    rows: dict[Choice, dict] = {}
    moving: list[Choice] = []

    def ask(choices: Iterable[Choice]) -> None:
        rows.update({one: _asked(study, one, own, measure, draws) for one in choices if one not in rows})

    for choice in sorted(alone, key=lambda one: one.levelled == own.levelled):  # what is levelled first
        ask([choice])
        if _moves(rows[choice], first):
            moving.append(choice)
            ask(pair for pair in pairs(moving, own) if _laid_out_as(pair) == _laid_out_as(choice))
    both = pairs([choice for choice in alone if choice in moving], own)
    ask(sorted(both, key=_laid_out_as))
    return tuple(rows[choice] for choice in (*alone, *both))


def _laid_out_as(choice: Choice) -> tuple[int, ...]:
    """All that is chosen but what is levelled."""
    return choice.confirm_days, choice.fresh_days, choice.run_in_days, choice.horizon_weeks


def _table(rows: list[dict]) -> pd.DataFrame:
    return pd.DataFrame(rows).astype({"starters": "Int64"})


def _moves(row: dict, first: dict) -> bool:
    """Whether a choice changes the number at all; one that does not would only repeat others beside a second one."""
    return not np.isclose(row["amount"], first["amount"], rtol=0, atol=1e-9)


def own_choice(answers: Answers) -> Choice:
    """The rules of the plan, with the horizon that the answer has."""
    plan = answers.layout.plan
    days = plan.comparison.run_in_days, plan.sizes.fresh_days, plan.following.confirm_days
    return Choice(*days, answers.horizon_weeks)


def singles(own: Choice, measure: str) -> list[Choice]:
    """Every set of rules that differs from the plan's in one choice; the horizon only where closing is compared."""
    offered = OFFERED if measure == CLOSED else OFFERED | {"horizon_weeks": ()}
    return [
        replace(own, **{name: value})
        for name, values in offered.items()
        for value in values
        if value != getattr(own, name)
    ]


def pairs(alone: list[Choice], own: Choice) -> list[Choice]:
    """Every two of these single choices together, but run-ins between the farthest."""
    edits = {name: [one for one in alone if changed(one, own) == [name]] for name in OFFERED}
    edits["run_in_days"] = [one for one in edits["run_in_days"] if one.run_in_days in FAR]
    return [
        replace(first, **{name: getattr(second, name)})
        for one, name in combinations(OFFERED, 2)
        for first, second in product(edits[one], edits[name])
    ]


def edited(plan: Plan, choice: Choice, measure: str) -> Plan:
    """The plan with the rules of a choice; without regimens, since only any modality is asked for."""
    named = plan.comparison.covariates
    rest = tuple(name for name in COVARIATES if name not in named)
    comparison = {
        "run_in_days": choice.run_in_days,
        "horizons": (choice.horizon_weeks,),
        "covariates": {SIZES: (), PLANNED: named, ALL: (*named, *rest)}[choice.levelled],
    }
    if measure == CLOSED:  # a horizon as short as that of the early response would be taken to ask for it
        comparison["early_weeks"] = min(plan.comparison.early_weeks, choice.horizon_weeks // 2)
    parts = {
        "comparison": plan.comparison.model_copy(update=comparison),
        "sizes": plan.sizes.model_copy(update={"fresh_days": choice.fresh_days}),
        "following": plan.following.model_copy(update={"confirm_days": choice.confirm_days}),
    }
    return plan.model_copy(update=parts | {"regimens": ()})


def in_words(choice: Choice, own: Choice) -> str:
    """How a choice differs from the plan's own: `closed by week 8, sizes fresh for 10 days`."""
    told = [words.format(getattr(choice, name)) for name, words in IN_WORDS.items() if name in changed(choice, own)]
    return ", ".join(told) or AS_PLANNED


def changed(choice: Choice, own: Choice) -> list[str]:
    """The names of what a choice has changed."""
    return [name for name in OFFERED if getattr(choice, name) != getattr(own, name)]


def _asked(study: Study, choice: Choice, own: Choice, measure: str, draws: int) -> dict:
    """A row of the table, answered anew."""
    layout = replace(
        _layout(study, replace(choice, levelled=PLANNED), measure), plan=edited(study.plan, choice, measure)
    )
    [(told, needs)] = in_brief(layout, [any_modality(layout)], draws)
    return _row(choice, own, told, measure, _missing(needs) or no_number(told, measure))


def _missing(needs: pd.DataFrame) -> str:
    """The first of what a comparison needs that there is too little of, in words; blank where there is enough."""
    if needs["met"].all():
        return ""
    need = needs[~needs["met"]].iloc[0]
    what = {"starters": "wound that started", "closings": "closing"}.get(need["need"], "resident")
    return f"too few under these rules: {count(int(need['found']), what)}, {int(need['needed'])} are needed"


@lru_cache(maxsize=1)
def _layout(study: Study, choice: Choice, measure: str) -> Layout:
    """The trials by these rules; what is levelled changes none of them."""
    weeks = _weeks(study, choice.run_in_days, choice.fresh_days, choice.confirm_days).weeks
    return laid_out(weeks, study.measurements, edited(study.plan, choice, measure), choice.horizon_weeks)


@lru_cache(maxsize=1)
def _weeks(study: Study, run_in_days: int, fresh_days: int, confirm_days: int) -> Weeks:
    """The weeks judged by other rules; the horizon changes none of them."""
    comparison = study.plan.comparison.model_copy(update={"run_in_days": run_in_days})
    plan = study.plan.model_copy(update={"comparison": comparison})
    known, seen = _known(study, fresh_days, confirm_days), _episodes(study, confirm_days)
    return judged(known, seen, study.spans, study.departures, plan)


@lru_cache(maxsize=1)
def _known(study: Study, fresh_days: int, confirm_days: int) -> pd.DataFrame:
    """The weeks before they are judged; days of usual care change none of them."""
    sizes = study.plan.sizes.model_copy(update={"fresh_days": fresh_days})
    frames = (study.residents, study.wounds, study.measurements, study.stages, study.spans)
    return known_weeks(_episodes(study, confirm_days), *frames, study.plan.model_copy(update={"sizes": sizes}))


@lru_cache(maxsize=4)
def _episodes(study: Study, confirm_days: int) -> pd.DataFrame:
    """The wounds of the study; of what may be chosen only the closing rule changes them."""
    following = study.plan.following.model_copy(update={"confirm_days": confirm_days})
    frames = (study.residents, study.wounds, study.measurements, study.sessions, study.departures)
    return episodes(*frames, study.plan.model_copy(update={"following": following}))


def _row(choice: Choice, own: Choice, told: pd.Series | None, measure: str, why: str) -> dict:
    parts = ("difference", "low", "high")
    amount, low, high = (np.nan if why else 100 * float(told[f"{measure}_{part}"]) for part in parts)
    row = {"edit": in_words(choice, own), "changes": len(changed(choice, own)), **asdict(choice), "compared": EVERYBODY}
    return row | {
        "covariates": "" if told is None else told["covariates"],
        "amount": amount,
        "low": low,
        "high": high,
        "starters": pd.NA if told is None else int(told["starters"]),
        "is_plan": choice == own,
        "not_computed": why,
    }


def _alike(first: dict, others: pd.DataFrame | None) -> list[dict]:
    """The plan's row once more, without wounds that nobody resembled, as it was answered already."""
    if others is None:
        return []
    found = others[others["way"] == ALIKE].iloc[0]
    numbers = {name: found[name] for name in ("amount", "low", "high", "not_computed")}
    return [first | numbers | {"edit": ALIKE, "changes": 1, "compared": IN_COMMON, "is_plan": False, "starters": pd.NA}]
