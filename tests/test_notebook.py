"""The notebook runs from top to bottom, and shows what it says."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOK = Path(__file__).parent.parent / "notebooks" / "from_survey_to_removal_list.ipynb"


@pytest.mark.filterwarnings("default")
def test_the_notebook_runs():
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(NOTEBOOK.parent)}}).execute()
    printed = "".join(
        output.get("text", "") for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs
    )
    assert "of new cases avoided" in printed
    assert "rose rosette" in printed
