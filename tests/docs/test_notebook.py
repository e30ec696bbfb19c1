"""The notebook of the documents runs from beginning to end, in a kernel of its own, and shows what it promises."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

DOCS = Path(__file__).parents[2] / "docs"
NOTEBOOKS = sorted((DOCS / "notebooks").glob("*.ipynb"))


def run(notebook, folder):
    NotebookClient(
        notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}}
    ).execute()
    return [o for cell in notebook.cells if cell.cell_type == "code" for o in cell.outputs]


@pytest.fixture
def quiet(monkeypatch, tmp_path):
    """No history, no configuration of whoever runs it; ports of the kernel are its own."""
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    monkeypatch.setenv("JUPYTER_PLATFORM_DIRS", "1")
    monkeypatch.setenv("PYDEVD_DISABLE_FILE_VALIDATION", "1")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_it_runs_and_shows_tables_pictures_and_numbers(path, tmp_path, quiet):
    shown = run(nbformat.read(path, as_version=4), tmp_path)
    kinds = {kind for o in shown for kind in o.get("data", {})}
    assert {"text/html", "image/png", "text/plain"} <= kinds
    html = "".join(o.data["text/html"] for o in shown if "text/html" in o.get("data", {}))
    assert "simulated" in html and "<table" in html
    assert "oz-in" in "".join(o.get("text", "") for o in shown)


def test_a_notebook_that_fails_is_noticed(tmp_path, quiet):
    broken = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("import heavyspot; heavyspot.nothing")])
    with pytest.raises(CellExecutionError, match="nothing"):
        run(broken, tmp_path)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_it_is_kept_without_what_it_gave(path):
    cells = nbformat.read(path, as_version=4).cells
    assert all(not c.get("outputs") and not c.get("execution_count") for c in cells)
