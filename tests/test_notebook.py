"""The notebook runs from top to bottom, and shows what it says."""

from dataclasses import replace
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from spreadmap.values.settings import AheadSettings, GridSettings

NOTEBOOK = Path(__file__).parent.parent / "notebooks" / "from_survey_to_removal_list.ipynb"


def check(printed: str) -> None:
    assert "of new cases avoided" in printed
    assert "rose rosette" in printed
    assert " 1  R" in printed  # the head of the removal list


def test_the_code_runs_from_top_to_bottom(monkeypatch, capsys):
    """In this process, with few members and wide cells."""
    monkeypatch.chdir(NOTEBOOK.parent)
    names: dict = {}
    for cell in nbformat.read(NOTEBOOK, as_version=4).cells:
        if cell.cell_type == "code":
            exec(compile(cell.source, NOTEBOOK.name, "exec"), names)
            names["settings"] = replace(
                names["settings"], ahead=AheadSettings(draws=2, members=4), grid=GridSettings(cell_m=10.0)
            )
    check(capsys.readouterr().out)


@pytest.mark.long
@pytest.mark.filterwarnings("default")
def test_the_notebook_runs_in_a_kernel():
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(NOTEBOOK.parent)}}).execute()
    check(
        "".join(
            output.get("text", "") for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs
        )
    )
