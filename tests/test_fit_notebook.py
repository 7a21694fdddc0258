"""The notebook of how fits deceive runs from top to bottom, and shows what it says."""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOK = Path(__file__).parent.parent / "notebooks" / "where_fits_deceive.ipynb"


@pytest.mark.long
@pytest.mark.timeout(0)
@pytest.mark.filterwarnings("default")
def test_the_notebook_shows_the_deceits():
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    NotebookClient(notebook, timeout=3600, resources={"metadata": {"path": str(NOTEBOOK.parent)}}).execute()
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    printed = "".join(output.get("text", "") for cell in cells for output in cell.outputs)
    print(printed)
    middle = r"([0-9.]+) \(([0-9.]+) to ([0-9.]+)\)"
    rate = [
        float(x) for x in re.search(rf"rate, true 6: two surveys {middle}, all days unknown {middle}", printed).groups()
    ]
    assert rate[1] > 6.0  # the whole interval of the usual fit lies above the truth
    assert rate[4] < 6.0 < rate[5]
    found, of = map(int, re.search(r"finds a wind: (\d+) of (\d+)", printed).groups())
    assert found >= of / 2
    assert "the last of these maps finds no wind" in printed
    scale = [float(x) for x in re.search(rf"with background {middle}, without {middle}", printed).groups()]
    assert scale[1] < 1 < scale[2]
    assert scale[4] > 1  # without background the whole interval lies above the truth
