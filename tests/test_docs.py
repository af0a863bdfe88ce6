"""What is written about the tool is true of it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands() -> list[str]:
    """Names of the commands as click knows them."""
    from diagnose.cli.group import diagnose as group

    return sorted(group.list_commands(None))


def test_the_readme_opens_with_the_job():
    paragraphs = README.split("\n\n")
    assert paragraphs[0] == "# diagnose"
    assert "will not start" in paragraphs[1]


@pytest.mark.parametrize("name", commands())
def test_every_command_is_in_the_readme_and_has_help(name):
    from diagnose.cli.group import diagnose as group

    assert f"`diagnose {name}" in README
    assert group.get_command(None, name).help


def test_every_command_in_the_readme_exists():
    told = set(re.findall(r"`diagnose ([a-z-]+)", README))
    assert told <= set(commands())


def test_the_test_command_is_the_one_that_ci_runs():
    block = README.split("<!-- tests -->")[1].split("```")[1]
    assert "-m pytest" in block
    assert "<!-- tests -->" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_scripted_job_in_the_readme_can_be_read(tmp_path, shipped):
    from diagnose.reading.script import read_script

    block = next(b for b in README.split("```yaml")[1:] if "steps:" in b).split("```")[0]
    file = tmp_path / "job.yaml"
    file.write_text(block, encoding="utf-8")
    assert read_script(file, shipped).events


@pytest.mark.parametrize("room", sorted(p.parent.name for p in (ROOT / "diagnose").glob("*/__init__.py")))
def test_every_room_is_in_developers(room):
    assert f"{room}/" in DEVELOPERS


@pytest.mark.parametrize("module", sorted((ROOT / "diagnose").rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT)))
def test_every_module_says_what_it_is(module):
    first = module.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith('"""')


def test_nothing_else_lies_at_the_top():
    wanted = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "diagnose", "knowledge", "tests"}
    here = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert here - {"build", "dist"} - {n for n in here if n.endswith(".egg-info")} == wanted


def test_the_knowledge_ships_inside_the_wheel():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"] == {"knowledge": "diagnose/knowledge"}


def test_every_yaml_file_of_the_knowledge_says_what_it_holds():
    for file in (ROOT / "knowledge").rglob("*.yaml"):
        assert file.read_text(encoding="utf-8").startswith("#"), file
        assert yaml.compose(file.read_text(encoding="utf-8")) is not None
