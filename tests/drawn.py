"""Small studies drawn as text: a table is lines of words, a day is a day number, the cut-off is day 200."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from kit.study import Study, read_study
from tests.exports import OPENING

PLAN = (
    OPENING
    + """
[[regimens]]
name = "monopolar"
modality = "stimulation"
setup = "monopolar"
[[regimens]]
name = "bipolar"
modality = "stimulation"
setup = "bipolar"
[[regimens]]
name = "ultrasound"
modality = "ultrasound"
"""
)
WOUNDS = """
wound resident kind
W1    R1       pressure_injury
"""

TWO_HOUSES = {
    "residents": "resident facility\nR1 Quellmoor\nR2 Tarnwick\nR3 .\n",
    "wounds": "wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R3 venous\n",
    "measurements": "wound day length width state\nW1 10 4 3 open\nW2 10 4 3 open\nW3 10 4 3 open\n",
    "sessions": "wound day modality status\nW1 12 ultrasound given\nW2 12 ultrasound given\n",
    "departures": "resident day reason\nR1 150 left\nR2 160 left\n",
    "spans": "resident wound span from_day\nR1 . comfort_goal 20\n. W2 hold 20\n",
}


def drawn(measurements: str, wounds: str = WOUNDS, plan: str = PLAN, **tables: str) -> Study:
    """The study of tables drawn as text: the first line names columns, a dot is an empty cell."""
    with TemporaryDirectory() as folder:
        for name, text in {"wounds": wounds, "measurements": measurements, **tables}.items():
            (Path(folder) / f"{name}.csv").write_text(as_csv(text), encoding="utf-8")
        (Path(folder) / "study-plan.toml").write_text(plan, encoding="utf-8")
        return read_study(folder)


def as_csv(text: str) -> str:
    rows = [line.split() for line in text.strip().splitlines()]
    return "\n".join(",".join("" if cell == "." else cell for cell in row) for row in rows) + "\n"
