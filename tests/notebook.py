"""The notebook of docs/, executed: what its cells give now.

PYTHONPATH=. python tests/notebook.py      writes docs/notebook.ipynb again, with what the cells give
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

NOTEBOOK = Path(__file__).parents[1] / "docs" / "notebook.ipynb"
CELLS = (
    (
        "markdown",
        "# From readings to a verdict\n\nAn invented loom that comes with the project. The page beside this "
        "notebook says more: [notebook.md](notebook.md).",
    ),
    (
        "code",
        "import loomtest\n\n"
        'harness = loomtest.load_harness("../sample_runs/orchard_tractor")\n'
        'readings = loomtest.load_readings("../sample_runs/orchard_tractor/1_before", harness)\n'
        "verdict = loomtest.judge(harness, readings)\n"
        "wires = loomtest.frame(verdict)\n"
        'wires[wires.verdict != "pass"][["wire", "from", "to", "expected_ohms", "ohms", "verdict"]]',
    ),
    ("markdown", "One row a fault, with the sentence for a person:"),
    ("code", 'print("\\n\\n".join(loomtest.frame(verdict, "findings").text))'),
    ("markdown", "What changed since: before and after the work, the pairs that moved."),
    (
        "code",
        'mended = loomtest.load_readings("../sample_runs/orchard_tractor/3_final", harness)\n'
        "pairs = loomtest.frame(loomtest.compare(harness, readings, mended))\n"
        'pairs.change.value_counts().to_dict()',
    ),
)  # fmt: skip


def unexecuted() -> Any:
    """The notebook without outputs."""
    import nbformat

    cells = []
    for number, (kind, text) in enumerate(CELLS):
        make = nbformat.v4.new_markdown_cell if kind == "markdown" else nbformat.v4.new_code_cell
        cells.append(make(text, id=f"cell-{number}"))
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    return nbformat.v4.new_notebook(cells=cells, metadata=kernel)


def executed() -> Any:
    """The notebook as its cells run now, in the folder where it lies."""
    from nbclient import NotebookClient

    notebook = unexecuted()
    NotebookClient(
        notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(NOTEBOOK.parent)}}
    ).execute(cwd=str(NOTEBOOK.parent))
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)  # when each ran: another time at each writing
    notebook.metadata.pop("language_info", None)
    return notebook


def said(notebook: Any) -> list[tuple[str, list[str]]]:
    """Each cell's source and its outputs as plain text."""
    return [
        (
            "".join(cell["source"]),
            [
                "".join(output.get("text") or output["data"]["text/plain"])
                for output in cell.get("outputs", [])
            ],
        )
        for cell in notebook["cells"]
    ]


if __name__ == "__main__":
    text = json.dumps(executed(), indent=1, ensure_ascii=False, sort_keys=True)
    NOTEBOOK.write_text(text + "\n", encoding="utf-8", newline="\n")
