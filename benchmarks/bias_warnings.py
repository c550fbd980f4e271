"""Do warnings earn their place? How often each fires where its fault was planted, and how often where nothing was.

    .venv/bin/python benchmarks/bias_warnings.py [--replicates N] [--planted N]

Facts are planted at about twice what they are held against, at strengths fixed in benchmarks/planted_bias.py. Tests are
given a difference of so many of their own standard errors, or of five of their own hundredths, points or weeks, added
to the difference of every invented facility as it is. Whole reports are those of clean invented facilities of 130
residents. No test at 5% can see two standard errors more often than about every other time; it is printed all the same.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from math import isfinite, isnan

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the replicates already keep both cores busy

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from invented_facility import Scenario  # noqa: E402
from planted_bias import STRENGTHS, drawn_study, evidence_of, invented_study  # noqa: E402

from kit.bias import arms  # noqa: E402
from kit.bias.evidence import CARE, FACT, SHOWN, STOPS, TEST, Evidence  # noqa: E402
from kit.bias.warnings import ALPHA, warnings  # noqa: E402

SEED = 20261126
DRAWS = 2  # no warning but one asks for limits, and that one draws its own
STARTERS = {15: 130, 25: 130, 40: 130, 80: 130, 160: 300}  # of so many residents
ERRORS = (1.0, 2.0, 2.8)
FIVE = {"departures": 5.0, "deaths": 5.0, "intervals": 0.05, "assessor": 0.05, "missing_covariates": 0.05,
        "drift": 5.0, "bad_stretch": 5.0, "first_week_jump": 5.0}  # fmt: skip
ALWAYS_TRUE = ("one_facility", "looks")  # facts of every invented facility: one house, and a plan that names no quarter


def evidence(starters: int, number: int) -> Evidence:
    scenario = Scenario(residents=STARTERS[starters], starters=starters)
    generator = np.random.default_rng([SEED, starters, number])
    return evidence_of(invented_study(scenario, generator), DRAWS, number)


def clean(number: int) -> pd.DataFrame:
    """The warnings of a clean invented facility."""
    return warnings(evidence(40, number))[["warning", "kind", "seriousness", "fires", "not_computed"]]


def planted(number: int) -> pd.DataFrame:
    """The warnings of a clean draw of the invented group, and of the same with each fault."""
    asked = evidence_of(drawn_study(np.random.default_rng([SEED, number])), DRAWS, number)
    told = [warnings(asked).assign(planted="nothing")]
    for place, (name, (_, plant)) in enumerate(STRENGTHS.items()):
        told.append(warnings(plant(asked, np.random.default_rng([SEED, number, place]))).assign(planted=name))
    kept = ["planted", "warning", "kind", "seriousness", "number", "threshold", "fires", "not_computed"]
    return pd.concat(told)[kept]


@contextmanager
def moved(errors: float, amount: float) -> Iterator[None]:
    """Every difference between arms moved by so many of its standard errors, and by an amount in its own unit."""
    kept = arms.apart
    arms.apart = lambda *given: _move(*kept(*given), errors, amount)
    try:
        yield
    finally:
        arms.apart = kept


def _move(gap: float, error: float, errors: float, amount: float) -> tuple[float, float]:
    return gap + errors * error + amount, error


def powers(asked: tuple[int, int]) -> pd.DataFrame:
    """Every test moved by each size: test, moved, alone (its own chance below 5%), told (all together, and large)."""
    starters, number = asked
    whole = evidence(starters, number)
    base = warnings(whole)
    base = base[base["kind"] == TEST].set_index("warning")
    rows = []
    for size in (0.0, *ERRORS, "five"):
        for name, five in FIVE.items():
            with moved(0.0 if size == "five" else size, five if size == "five" else 0.0):
                found = arms.CHECKS[name].find(whole)
            if not isnan(found.p):
                others = base["p"].drop(name).dropna().to_numpy()
                rows.append((starters, name, size, found.p < ALPHA, _told(found, others)))
    return pd.DataFrame(rows, columns=["starters", "test", "moved", "alone", "told"])


def _told(found, others: np.ndarray) -> bool:
    """Whether it fires beside the others as they are: Holm's first steps, and the threshold."""
    smaller = (others < found.p).sum()
    together = found.p * (len(others) + 1 - smaller) < ALPHA
    return bool(together and not abs(found.number) < found.threshold)


def show_facts(many: pd.DataFrame, reports: pd.DataFrame) -> float:
    """How often each fact fires where planted, in clean draws, and in clean facilities; the mean of the first.

    Thresholds grow where a draw holds few: how many times its own threshold the number came to stands beside.
    """
    print("| fact | planted | times its threshold | fires there | in the clean draws | in clean facilities |")
    print("| --- | --- | ---: | ---: | ---: | ---: |")
    rates = {}
    for name, (says, _) in STRENGTHS.items():
        asked = many[many["warning"] == name]
        own, here = asked.groupby("planted")["fires"].mean(), asked[asked["planted"] == name]
        times = (here["number"] / here["threshold"]).median()
        there = reports[(reports["warning"] == name) & (reports["not_computed"] == "")]["fires"]
        rates[name], quiet = own[name], f"{there.mean():.1%}" if len(there) else "–"
        told = f"{times:.1f}" if isfinite(times) else "–"
        print(f"| {name} | {says} | {told} | {own[name]:.0%} | {own['nothing']:.1%} | {quiet} |")
    others = reports[(reports["kind"] == FACT) & ~reports["warning"].isin(STRENGTHS)]
    for name, rows in others.groupby("warning", sort=False):
        here = many[(many["warning"] == name) & (many["planted"] == "nothing")]["fires"].mean()
        print(f"| {name} | not planted | – | – | {here:.1%} | {rows['fires'].mean():.1%} |")
    short = [f"{name} {rate:.0%}" for name, rate in rates.items() if rate < 0.95]
    print(f"\nBelow 95%: {'; '.join(short) or 'none'}")
    return float(np.mean(list(rates.values())))


def show_tests(rows: pd.DataFrame) -> float:
    """Power and false alarms of each test; the mean power at 2.8 standard errors with 80 starters, each alone."""
    sizes = (0.0, *ERRORS, "five")
    print("\n| starters | test | " + " | ".join(_head(size) for size in sizes) + " |")
    print("| ---: | --- |" + 5 * " ---: |")
    for (starters, test), own in rows.groupby(["starters", "test"], sort=False):
        by = own.groupby("moved", sort=False)[["alone", "told"]].mean()
        cells = [f"{by.loc[size, 'alone']:.0%} / {by.loc[size, 'told']:.0%}" for size in sizes]
        print(f"| {starters} | {test} | {' | '.join(cells)} |")
    at = rows[rows["starters"] == 80].groupby("moved", sort=False)["alone"].mean()
    seen = ", ".join(f"{at[size]:.0%} at {_head(size)}" for size in ERRORS)
    print(f"\nWith 80 starters, each test alone: {seen}.")
    return float(at[2.8])


def _head(size: float | str) -> str:
    return "false, alone / told" if size == 0 else "at five" if size == "five" else f"{size:g} errors"


def show_reports(reports: pd.DataFrame) -> tuple[float, float]:
    """Whole reports on clean facilities: how many carry a warning that stops, and how many to be read with care."""
    by = reports[reports["kind"] != SHOWN].groupby("report")
    stops = by.apply(lambda rows: (rows["fires"] & (rows["seriousness"] == STOPS)).any(), include_groups=False)
    care = by.apply(lambda rows: (rows["fires"] & (rows["seriousness"] == CARE)).sum(), include_groups=False)
    print(f"\nClean reports: {len(stops)}; any that stops {stops.mean():.1%};", end=" ")
    print(f"read with care {care.mean():.2f} on average, two or more {(care >= 2).mean():.1%}")
    fired = reports[reports["fires"] & ~reports["warning"].isin(ALWAYS_TRUE)]["warning"].value_counts() / len(stops)
    print("Fired in clean reports: " + ("; ".join(f"{name} {rate:.1%}" for name, rate in fired.items()) or "none"))
    return float(stops.mean()), float(care.mean())


def show_confusion(many: pd.DataFrame) -> None:
    """Warnings that a planted fault set off besides its own, beyond what the clean draws do; and pairs that are one."""
    table = many.groupby(["planted", "warning"])["fires"].mean().unstack()
    print("\n| planted | sets off besides its own (share of draws beyond the clean ones) |", "| --- | --- |", sep="\n")
    for name in STRENGTHS:
        beyond = (table.loc[name] - table.loc["nothing"]).drop(name)
        beyond = beyond[beyond > 0.01].sort_values(ascending=False)
        print(f"| {name} | {'; '.join(f'{other} {rate:.0%}' for other, rate in beyond.items()) or '–'} |")
    fires = many.pivot_table(index=["planted", "index"], columns="warning", values="fires", aggfunc="max")
    names = [name for name in fires if fires[name].any()]
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :] if _one(fires[a], fires[b])]
    together = "; ".join(f"{one} and {other}" for one, other in pairs) or "none"
    print(f"\nFire together in more than 90% of runs in which either fires: {together}")


def _one(first: pd.Series, second: pd.Series) -> bool:
    either = (first | second).astype(bool)
    return (first & second)[either].mean() > 0.9


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=100, help="clean facilities")
    parser.add_argument("--planted", type=int, default=40, help="draws in which faults are planted, and tests moved")
    given = parser.parse_args()
    with ProcessPoolExecutor() as pool:
        reports = _joined(pool.map(clean, range(given.replicates), chunksize=5), "report")
        many = _joined(pool.map(planted, range(given.planted)), "index")
        wanted = [(starters, number) for starters in STARTERS for number in range(given.planted)]
        tests = pd.concat(list(pool.map(powers, wanted, chunksize=5)))
    facts_power, tests_power = show_facts(many, reports), show_tests(tests)
    any_stop, mean_care = show_reports(reports)
    show_confusion(many)
    asked = reports[reports["kind"] != SHOWN]["warning"].nunique()
    print(f"\nwarnings: n={asked} facts_power={facts_power:.2f} tests_power80={tests_power:.2f}", end=" ")
    print(f"any_stop_clean={any_stop:.2f} mean_clean={mean_care:.2f}")


def _joined(frames: Iterable[pd.DataFrame], name: str) -> pd.DataFrame:
    """The frames one below the other, each with its number in a column."""
    return pd.concat([frame.assign(**{name: number}) for number, frame in enumerate(frames)], ignore_index=True)


if __name__ == "__main__":
    main()
