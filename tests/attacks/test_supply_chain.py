"""What the program is made of: pinned by hash, listed, and checked or said not to be."""

import importlib.util
import json
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def tool(name):
    spec = importlib.util.spec_from_file_location(name, ROOT / ".ci" / f"{name}.py")
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


bill_of_materials, audit = tool("bill_of_materials"), tool("audit")


@pytest.mark.parametrize("name", audit.PINS)
def test_every_pin_has_hashes_and_names_no_registry(name):
    text = (ROOT / "requirements" / name).read_text(encoding="utf-8")
    found = bill_of_materials.pins(text)
    starts = [line for line in text.split("\n") if line and not line.startswith((" ", "#"))]
    assert len(found) == len(starts) > 20
    assert all(one["hashes"] for one in found)
    assert "://" not in text and "--index" not in text


def test_bill_and_page_list_every_pin_with_its_licence():
    text = (ROOT / "requirements" / "run.txt").read_text(encoding="utf-8")
    found = bill_of_materials.pins(text)
    listed = {(one["name"], one["version"]): one for one in
              bill_of_materials.bill("1.0", text)["components"]}  # fmt: skip
    page = (ROOT / "docs" / "reference" / "licences.md").read_text(encoding="utf-8")
    for one in found:
        component = listed[one["name"], one["version"]]
        assert [each["content"] for each in component["hashes"]] == one["hashes"]
        assert component["licenses"][0]["license"]["name"]
        assert f"| {one['name']} | {one['version']} |" in page


WEAK = {"name": "a", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]}


@pytest.mark.parametrize(
    ("out", "error", "status", "said"),
    [
        ("", "requests: Connection refused", 0, "NOT CHECKED"),
        ("", "no such option", 2, "the check failed"),
        (json.dumps({"dependencies": [WEAK]}), "", 1, "a 1: X-1, mended in 2"),
        (json.dumps({"dependencies": [{"name": "a", "version": "1"}]}), "", 0, "0 known"),
    ],
)
def test_the_audit_says_what_it_found_or_that_it_could_not_look(
    monkeypatch, capsys, out, error, status, said
):
    done = subprocess.CompletedProcess([], 1, out, error)
    monkeypatch.setattr(audit.subprocess, "run", lambda *_, **__: done)
    assert audit.main() == status
    assert said in capsys.readouterr().out
