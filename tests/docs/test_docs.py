"""Documents that cannot rot: made pages are fresh, keys and findings are all named."""

import contextlib
import io
import json
import re
import sys
import tomllib
from pathlib import Path

import pytest
from conftest import there

import heavyspot

from heavyspot.sources.sidecar import Sidecar, SidecarChannel, parse_sidecar
from heavyspot.workshop.model.model_file import (
    LimitFile,
    ModelFile,
    PlaneFile,
    ScatterFile,
    load_model_file,
)
from heavyspot.workshop.rotor.model_file import RotorFile, RotorPlaneFile
from heavyspot.workshop.shop_file import ShopFile

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


def test_command_line_page_is_fresh():
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        from cli_reference import reference
    finally:
        sys.path.pop(0)
    assert (DOCS / "reference/cli.md").read_text() == reference(), "run scripts/cli_reference.py"


def test_the_list_of_public_names_is_fresh():
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        from python_reference import listed, written
    finally:
        sys.path.pop(0)
    page = (DOCS / "reference/python.md").read_text()
    assert page == written(page), "run scripts/python_reference.py"
    assert listed().count("\n") > 80 and all(line.count(" |") >= 2 for line in listed().splitlines())


def test_the_analysts_first_lines_run(tmp_path):
    (first, *_) = re.findall(r"```python\n(.*?)```", (DOCS / "reference/python.md").read_text(), re.S)
    heavyspot.Workshop(tmp_path / "data").close()
    with contextlib.chdir(tmp_path), contextlib.redirect_stdout(io.StringIO()) as said:
        exec(compile(first, "python.md", "exec"), {})
    assert " g at " in said.getvalue()


def test_every_number_of_the_adviser_is_on_its_page():
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        from adviser_constants import page
    finally:
        sys.path.pop(0)
    assert (DOCS / "reference/adviser-constants.md").read_text() == page(), "run its script"


def test_sidecar_schema_is_fresh_and_accepts_the_guide():
    import jsonschema

    schema = json.loads((DOCS / "reference/sidecar.schema.json").read_text())
    assert schema == Sidecar.model_json_schema(by_alias=False)
    text = (DOCS / "guides/bring-a-recording.md").read_text()
    example = json.loads(there(re.search(r"```json\n(.*?)```", text, re.S))[1])
    jsonschema.validate(example, schema)
    assert parse_sidecar(example, name="x").rotation == "clockwise"


@pytest.mark.parametrize(
    ("page", "models"),
    [
        ("model-file.md", (ModelFile, PlaneFile, LimitFile, ScatterFile)),
        ("sidecar.md", (Sidecar, SidecarChannel)),
        ("shop-file.md", (ShopFile,)),
        ("rotor-file.md", (RotorFile, RotorPlaneFile)),
    ],
)
def test_every_key_is_documented(page, models):
    text = (DOCS / "reference" / page).read_text()
    for model in models:
        for key in model.model_fields:
            assert f"`{key}`" in text or key in ("kind", "plane", "limit", "scatter"), (page, key)


def test_every_finding_is_documented():
    text = (DOCS / "reference/findings.md").read_text()
    for path in (ROOT / "src").rglob("*.py"):
        for code in re.findall(r'"((?:reference|sensor|oil|contact|vector|response|cut|speed|recording)\.[a-z_]+)"', path.read_text()):
            assert code in text, code


def test_examples_work():
    assert load_model_file(DOCS / "examples/larch52.toml").name == "Larch 52"
    text = (DOCS / "guides/describe-a-model.md").read_text()
    smallest = tomllib.loads(there(re.search(r"```toml\n(.*?)```", text, re.S))[1])
    ModelFile.model_validate(smallest)


def test_links_lead_somewhere():
    for page in [ROOT / "README.md", *DOCS.rglob("*.md")]:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text()):
            assert (page.parent / target).exists(), (page.name, target)


def test_public_names_are_documented():
    import heavyspot

    text = (DOCS / "reference/python.md").read_text()
    for name in heavyspot.__all__:
        assert hasattr(heavyspot, name)
        assert name in text or name == "__version__", name
