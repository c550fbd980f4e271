"""Run every notebook and keep the outputs of the cells that nbval checks; everything else is stripped.

    .venv/bin/python tests/refresh_notebooks.py

To be run, and the change read, whenever an answer is meant to change.
"""

from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).resolve().parents[1] / "notebooks"
MARK = "# NBVAL_CHECK_OUTPUT"
TAG = "nbval-check-output"  # the same, where a reader should not meet the mark


def is_checked(cell: nbformat.NotebookNode) -> bool:
    """Whether nbval holds what a cell shows against what is stored."""
    return cell.source.startswith(MARK) or TAG in cell.metadata.get("tags", [])


def refresh(path: Path) -> None:
    node = nbformat.read(path, as_version=4)
    run = NotebookClient(nbformat.from_dict(node), resources={"metadata": {"path": str(path.parent)}}).execute()
    for cell, ran in zip(node.cells, run.cells, strict=True):
        if cell.cell_type == "code":
            cell.execution_count = 1 if is_checked(cell) else None  # nbval takes None for never run
            cell.outputs = ran.outputs if is_checked(cell) else []
    nbformat.write(node, path)


if __name__ == "__main__":
    for notebook in [*sorted(NOTEBOOKS.glob("[0-9]*.ipynb")), *NOTEBOOKS.glob("tutorial/*.ipynb")]:
        refresh(notebook)
        print(f"refreshed {notebook.name}")
