"""The README and DEVELOPERS.md say what is there."""

import re
from pathlib import Path

import pytest

from bot.__main__ import _parser
from bot.settings import Settings

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^    (\w+)(?: |$)", _parser().format_help(), re.MULTILINE)


@pytest.mark.parametrize("field", Settings.model_fields)
def test_every_setting_is_in_the_readme(field: str) -> None:
    """An operator finds each variable there."""
    assert f"`WARMHEAP_{field.upper()}`" in README


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    """And each command."""
    assert f"`warmheap {command}" in README


def test_there_are_commands_to_document() -> None:
    """The list above is read from the program's own help."""
    assert {"chat", "serve", "rehearse", "forecast", "understand"} <= set(COMMANDS)


def test_only_the_agreed_folders_stand_at_the_top() -> None:
    """The whole is seen in one look."""
    shown = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    built = {"node_modules", "warmheap.egg-info"}
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "bot",
        "scheduler",
        "storage",
        "shared",
        "tests",
        "deploy",
    }

    assert shown - built <= agreed


@pytest.mark.parametrize(
    "path",
    sorted(
        set(re.findall(r"`((?:bot|scheduler|storage|shared|tests|deploy)/[\w./]+)`", README + DEVELOPERS))
    ),
)
def test_every_file_that_is_named_exists(path: str) -> None:
    """A moved file is moved in the text as well."""
    assert (ROOT / path).exists()
