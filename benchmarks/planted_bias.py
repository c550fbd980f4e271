"""Studies to be asked what could mislead: clean ones, and the same with one fault planted in their records.

Two kinds of clean study: invented facilities (benchmarks/invented_facility.py), as many as are wanted, whose charts
hold sizes, starts and departures and no more; and 130 of the 300 residents of the clean invented group, drawn again and
again, whose charts hold everything. A fault is planted into the tables; the comparison is made anew only where the
fault changes which weeks there are.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from invented_facility import Scenario, plan_of, simulate

from kit.bias.evidence import Evidence
from kit.faults import found
from kit.healing.answers import answer
from kit.healing.other_answers import other_answers
from kit.healing.trials import REASONS, weeks_of
from kit.study import Study, read_study
from kit.vocabulary import TABLES

CLEAN = Path(__file__).parents[1] / "data" / "synthetic" / "clean"
RESIDENTS = 130
NEVER = pd.DataFrame({"quarter_ends": pd.Series(dtype="int64"), "plan": pd.Series(dtype=object)})
STAGES = pd.DataFrame({name: pd.Series(dtype=object) for name in ("wound", "stage_of_record", "stage_change")}).assign(
    day=pd.Series(dtype="int64"), source_row=pd.Series(dtype="int64")
)
FAULTS = pd.DataFrame({name: pd.Series(dtype=object) for name in ("table", "column", "fault", "fate")}).assign(
    source_row=pd.Series(dtype="int64")
)


def invented_study(scenario: Scenario, generator: np.random.Generator) -> Study:
    """An invented facility as a study: no row has a fault, and what its charts do not hold is missing."""
    made, tables = simulate(scenario, generator), {}
    for name, table in TABLES.items():
        given = getattr(made, name, pd.DataFrame())
        columns = [*dict.fromkeys([*given.columns, *(column.name for column in table.columns)])]
        tables[name] = given.reindex(columns=columns).assign(source_row=np.arange(2, len(given) + 2))
    spans = tables["spans"].astype(object)
    tables["spans"] = spans.assign(**{name: spans[name].astype("Int64") for name in ("from_day", "to_day")})
    sized = tables["measurements"]["size"] > 0
    tables["measurements"]["size_from"] = np.where(sized, "rectangle", None)
    rows = {name: len(frame) for name, frame in tables.items()}
    account = pd.DataFrame({"table": list(rows), "rows_in": rows.values(), "kept": rows.values(), "set_aside": 0})
    houses = [frame[["source_row"]].assign(table=name, file="", row=0, facility="F1") for name, frame in tables.items()]
    return Study(
        plan=plan_of(scenario), **tables, episodes=made.episodes, stages=STAGES, faults=FAULTS, account=account,
        houses=pd.concat([part for part in houses if len(part)], ignore_index=True),
        sources=pd.DataFrame({"table": list(rows), "sha256": ""}), status_recorded=True,
    )  # fmt: skip


@cache
def _clean() -> Study:
    return read_study(CLEAN)


def drawn_study(generator: np.random.Generator) -> Study:
    """So many residents of the clean invented group, with everything that its charts hold of them."""
    whole = _clean()
    people = generator.choice(whole.residents["resident"], RESIDENTS, replace=False)
    wounds = whole.wounds[whole.wounds["resident"].isin(people)].reset_index(drop=True)
    names = ("measurements", "sessions", "procedures", "episodes", "stages")
    of_wounds = {name: _kept(getattr(whole, name), "wound", wounds["wound"]) for name in names}
    of_people = {name: _kept(getattr(whole, name), "resident", people) for name in ("residents", "departures")}
    theirs = whole.spans["resident"].isin(people) | whole.spans["wound"].isin(wounds["wound"])
    rows = {name: of_wounds[name]["source_row"] for name in ("measurements", "sessions")}
    houses = [_where(whole.houses, name, own) for name, own in rows.items()]
    counts = whole.account["table"].map({name: len(own) for name, own in rows.items()}).fillna(0).astype("int64")
    return replace(
        whole, wounds=wounds, **of_wounds, **of_people, spans=whole.spans[theirs].reset_index(drop=True),
        houses=pd.concat(houses), faults=whole.faults.head(0),
        account=whole.account.assign(rows_in=counts, kept=counts, set_aside=0),
    )  # fmt: skip


def _where(houses: pd.DataFrame, table: str, rows: pd.Series) -> pd.DataFrame:
    return houses[(houses["table"] == table) & houses["source_row"].isin(rows)]


def _kept(frame: pd.DataFrame, key: str, names: pd.Series) -> pd.DataFrame:
    return frame[frame[key].isin(names)].reset_index(drop=True)


def evidence_of(study: Study, draws: int, seed: int) -> Evidence:
    """What warnings are read from, with few draws: none of them asks for the limits of the answer."""
    tables = (study.residents, study.wounds, study.measurements, study.stages, study.spans, study.departures)
    weeks = weeks_of(study.episodes, *tables, study.plan)
    answers = answer(weeks, study.measurements, study.plan, draws, seed)
    others = other_answers(answers, weeks, study.episodes, study.measurements, study.plan, draws)
    return Evidence(study, weeks, answers, others, NEVER)


# --- faults, each planted at twice the least that its warning is held against ---

Plant = Callable[[Evidence, np.random.Generator], Evidence]


def _with(evidence: Evidence, **tables: pd.DataFrame) -> Evidence:
    return replace(evidence, study=replace(evidence.study, **tables))


def _some(frame: pd.DataFrame, part: float, rng: np.random.Generator) -> np.ndarray:
    return rng.random(len(frame)) < part


def _unmeasured(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Rounds fall out until three fifths of the days are without a fresh size."""
    table = evidence.study.measurements
    lost = _some(table, 0.6, rng) & (table["state"] == "open") & table.duplicated("wound")
    return evidence_of(replace(evidence.study, measurements=table[~lost].reset_index(drop=True)), 2, 1)


def _copied(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    table = evidence.study.measurements.sort_values(["wound", "day"])
    before = table.groupby("wound")[["length", "width"]].shift()
    hit = _some(table, 0.25, rng) & (table["size"] > 0) & before.notna().all(axis=1)
    sizes = table[["length", "width"]].mask(hit, before)
    return _with(evidence, measurements=table.assign(length=sizes["length"], width=sizes["width"]).sort_index())


def _heaped(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Half of the readings at the half centimetre, which is an index of about 300 where 100 is none."""
    table = evidence.study.measurements
    hit = _some(table, 0.5, rng) & (table["size"] > 0)
    sizes = table[["length", "width"]].mask(hit, (2 * table[["length", "width"]]).round() / 2)
    return _with(evidence, measurements=table.assign(length=sizes["length"], width=sizes["width"]))


def _back_staged(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    stages = evidence.study.stages
    hit = stages["wound"].isin(_of(stages["wound"], 0.1, rng)) & ~stages.duplicated("wound", keep="last")
    return _with(
        evidence, stages=stages.assign(stage_change=stages["stage_change"].astype(object).mask(hit, "backstaged"))
    )


def _switched(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    table = evidence.study.measurements
    late = 2 * table.groupby("wound").cumcount() >= table.groupby("wound")["day"].transform("size") - 1
    hit = table["wound"].isin(_of(table["wound"], 0.1, rng)) & late & table["size_from"].notna()
    return _with(evidence, measurements=table.assign(size_from=table["size_from"].astype(object).mask(hit, "tracing")))


def _of(names: pd.Series, part: float, rng: np.random.Generator) -> np.ndarray:
    every = names.unique()
    return every[rng.random(len(every)) < part]


def _debrided(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    layout = evidence.answers.layout
    rows = layout.weeks.iloc[layout.starters.week]
    hit = rows[_some(rows, 0.35, rng)]
    more = pd.DataFrame({"wound": hit["wound"], "day": hit["begins"], "procedure": "debridement"})
    return _with(evidence, procedures=pd.concat([evidence.study.procedures, more], ignore_index=True))


def _treater_judges(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    study = evidence.study
    treats = study.sessions.dropna(subset=["therapist"]).drop_duplicates("wound").set_index("wound")["therapist"]
    table = study.measurements
    hit = (table["state"] == "closed") & table["wound"].isin(treats.index) & _some(table, 0.4, rng)
    return _with(
        evidence,
        measurements=table.assign(assessor=table["assessor"].astype(object).mask(hit, table["wound"].map(treats))),
    )


def _late_closing(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    episodes = evidence.study.episodes
    late = episodes["last_open_day"].mask(_some(episodes, 0.4, rng), episodes["end_day"] - 21)
    return _with(evidence, episodes=episodes.assign(last_open_day=late))


def _marked(name: str, part: float) -> Plant:
    """A mark of episodes set on part of them; of closings that held, taken away."""
    return lambda evidence, rng: _with(evidence, episodes=_mark(evidence.study.episodes, name, part, rng))


def _mark(episodes: pd.DataFrame, name: str, part: float, rng: np.random.Generator) -> pd.DataFrame:
    hit = _some(episodes, part, rng)
    return episodes.assign(**{name: episodes[name] & ~hit if name == "confirmed" else episodes[name] | hit})


def _stopped_early(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    study = evidence.study
    began = study.episodes[study.episodes["start_day"].notna()]
    stopped = began[_some(began, 0.3, rng)].set_index("wound")["start_day"]
    hit = (study.sessions["day"] > study.sessions["wound"].map(stopped) + 7).fillna(False).to_numpy(dtype=bool)
    told = {"status": "missed", "reason": "payer"}
    changed = {name: study.sessions[name].astype(object).mask(hit, word) for name, word in told.items()}
    return _with(evidence, sessions=study.sessions.assign(**changed))


def _unlinked(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    rows = evidence.study.sessions["source_row"]
    return _with(evidence, faults=found("sessions", rows[rng.random(len(rows)) < 0.6], "unmatched"))


def _set_aside(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    study = evidence.study
    part = 0.1 * len(study.houses) / len(study.measurements)
    return _with(
        evidence,
        faults=found("measurements", study.measurements["source_row"][_some(study.measurements, part, rng)], "clash"),
    )


def _running(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    started = int((evidence.study.episodes["in_cohort"] & evidence.study.episodes["start_day"].notna()).sum())
    return replace(evidence, weeks=replace(evidence.weeks, running=int(rng.binomial(started, 0.2))))


def _outside(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Two starts in five are in a week that the chart keeps out."""
    weeks = evidence.weeks.weeks
    seen = weeks.loc[weeks["starts"] != "", "wound"].nunique()
    more = pd.DataFrame({"reason": [REASONS[1]], "starters": [rng.binomial(seen, 0.4)], "residents": [1]})
    kept = evidence.answers.outside[evidence.answers.outside["reason"] != REASONS[1]]
    return replace(evidence, answers=replace(evidence.answers, outside=pd.concat([kept, more], ignore_index=True)))


def _co_treatment(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    layout = evidence.answers.layout
    rows = layout.weeks.iloc[layout.starters.week]
    hit = rows[_some(rows, 0.35, rng)]
    more = pd.DataFrame({"wound": hit["wound"], "span": "negative_pressure", "from_day": hit["begins"].astype("Int64")})
    spans = evidence.study.spans
    return _with(evidence, spans=_added(spans, more))


def _low_worth(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    told = evidence.answers.told
    return replace(
        evidence, answers=replace(evidence.answers, told=told.assign(effective_residents=told["others_residents"] / 20))
    )


def _comfort(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Contraindications are recorded of residents with a wound that started, and of nobody else."""
    study = evidence.study
    wounds = study.episodes.loc[study.episodes["start_day"].notna(), ["wound", "start_day", "end_day"]]
    hit = wounds[_some(wounds, 0.5, rng)]
    owner = hit["wound"].map(study.wounds.set_index("wound")["resident"])
    more = pd.DataFrame({"resident": owner, "span": "contraindication", "from_day": hit["end_day"].astype("Int64")})
    others = study.spans[~study.spans["span"].isin(["contraindication", "comfort_goal"])]
    return _with(evidence, spans=_added(others, more))


def _started_later(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Of wounds beside that never start, so many start a month after one of their weeks beside."""
    layout = evidence.answers.layout
    rows = layout.weeks.iloc[layout.others.week]
    never = rows.loc[rows["start_day"].isna()].drop_duplicates("wound").set_index("wound")["ends"]
    chosen = never[never.index.isin(_of(pd.Series(never.index), 0.6, rng))] + 28
    days = layout.weeks["start_day"].fillna(layout.weeks["wound"].map(chosen).astype("Int64"))
    moved = replace(layout, weeks=layout.weeks.assign(start_day=days))
    return replace(evidence, answers=replace(evidence.answers, layout=moved))


def _all_or_none(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """Of the residents of whom no wound started forty are of a facility of their own."""
    study = evidence.study
    began = study.episodes.loc[study.episodes["start_day"].notna(), "resident"]
    never = study.residents.loc[~study.residents["resident"].isin(began), "resident"]
    moved = study.residents["resident"].isin(rng.choice(never, min(40, len(never)), replace=False))
    there = study.episodes["resident"].isin(study.residents.loc[moved, "resident"])
    houses = study.episodes["facility"].astype(object).mask(there, "another")
    return evidence_of(replace(study, episodes=study.episodes.assign(facility=houses)), 2, 1)


def _measured_more(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    """In the four weeks before it, wounds that started have another round in more than every other week."""
    study = evidence.study
    start = study.measurements["wound"].map(study.episodes.set_index("wound")["start_day"])
    before = (start - study.measurements["day"]).between(4, 31).fillna(False)
    more = study.measurements[before & _some(study.measurements, 0.6, rng)]
    both = pd.concat([study.measurements, more.assign(day=more["day"] + 3)], ignore_index=True)
    return _with(evidence, measurements=both)


def _added(spans: pd.DataFrame, more: pd.DataFrame) -> pd.DataFrame:
    more = more.reindex(columns=spans.columns).assign(source_row=0).astype(spans.dtypes)
    return pd.concat([spans, more], ignore_index=True)


def _plan_edited(evidence: Evidence, rng: np.random.Generator) -> Evidence:
    return replace(
        evidence, earlier=pd.DataFrame({"quarter_ends": [evidence.study.plan.cutoff - 91], "plan": ["another"]})
    )


STRENGTHS: dict[str, tuple[str, Plant]] = {
    "unmeasured": ("three rounds in five fall out", _unmeasured),
    "copied": ("a fifth and more of sizes repeat", _copied),
    "heaped": ("half of readings at the half centimetre", _heaped),
    "back_staged": ("a tenth of pressure injuries", _back_staged),
    "switched": ("a tenth of wounds", _switched),
    "debrided": ("35% of starts", _debrided),
    "treater_judges": ("40% of closings", _treater_judges),
    "late_closing": ("40% of closings", _late_closing),
    "vanished": ("a fifth of wounds", _marked("vanished", 0.2)),
    "reopened": ("a fifth of wounds", _marked("reopened", 0.2)),
    "unconfirmed": ("40% of closings", _marked("confirmed", 0.4)),
    "stopped_early": ("30% of starts", _stopped_early),
    "unlinked": ("60% of sessions", _unlinked),
    "set_aside": ("a tenth of rows", _set_aside),
    "running": ("a fifth of starts", _running),
    "plan_edited": ("yes or no", _plan_edited),
    "low_worth": ("a twentieth, half of the threshold", _low_worth),
    "outside": ("40% of starts", _outside),
    "co_treatment": ("35% of starts", _co_treatment),
    "started_later": ("three in five of those who never start", _started_later),
    "all_or_none": ("none of forty residents of a facility", _all_or_none),
    "measured_more": ("0.6 rounds a week more before a start", _measured_more),
    "comfort": ("half of those started, nobody else", _comfort),
}
