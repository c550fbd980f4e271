"""A group of forty invented facilities, four of them planted: who is named, how long it takes, and how often by chance.

.venv/bin/python benchmarks/region.py            who is named in the group of forty, and what its parts take
.venv/bin/python benchmarks/region.py chance     how often chance is taken for a difference, by facilities' size
.venv/bin/python benchmarks/region.py each       reports for a group of eight side by side, from end to end
"""

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from kit.compared import compared
from kit.context.funnel import funnel
from kit.pages.many import many as reports
from kit.pages.report import Request
from kit.region import mixed_of, region_of
from kit.statements.region import in_line, spread_said
from kit.study import read_study
from kit.synthetic.many import many, write
from kit.warned import answers_of


def forty() -> None:
    made = timed("inventing", many)
    with TemporaryDirectory() as folder:
        timed("writing", write, made, folder)
        study = timed("reading and cleaning", read_study, folder)
    timed("standardizing", mixed_of, study)
    timed("comparing the group", compared, study)
    timed("asking every warning", answers_of, study)
    told = timed("side by side", region_of, study)
    planted = (made.faster, made.slower, made.all_start, made.none_starts)
    print("planted: closes faster {}, slower {}, all start {}, none starts {}".format(*planted))
    print(*in_line(told), *spread_said(told), sep="\n")


def chance(groups: int = 150) -> None:
    from tests.test_funnel import invented

    print("residents  share  named of 1,000 (2 expected)  ranges that hold the truth where facilities spread")
    for people in (12, 20, 35, 60):
        for middle in (0.25, 0.45):
            random = np.random.default_rng(2005)
            alike = [funnel(invented(random, 40, people, middle)[0], 5.0).homes for _ in range(groups)]
            named = 1000 * np.mean([(own["differs"] != "").mean() for own in alike])
            held = []
            for _ in range(groups):
                frame, truth = invented(random, 40, people, middle, between=0.08)
                own = funnel(frame, 5.0).homes
                held.append(((own["drawn_low"] <= truth) & (truth <= own["drawn_high"])).mean())
            print(f"{people:9d}  {middle:5.2f}  {named:27.1f}  {100 * np.mean(held):.1f}%", flush=True)


def each(facilities: int = 8) -> None:
    began = time.monotonic()
    with TemporaryDirectory() as folder:
        write(many(facilities), Path(folder) / "export")
        request = Request(Path(folder) / "export", Path(folder) / "reports")
        reports(request, say=lambda said: print(f"{time.monotonic() - began:7.1f} s  {said}", flush=True))


def timed(name, work, *given):
    began = time.monotonic()
    done = work(*given)
    print(f"{name:24} {time.monotonic() - began:7.1f} s", flush=True)
    return done


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    {"chance": chance, "each": each}.get(*sys.argv[1:2] or ["forty"], forty)()
