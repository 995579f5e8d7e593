"""`deploy/try` and `deploy/check` as a newcomer meets them: run for real, in a copy of the project."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[2]
TOOLS = ("sh", "dirname", "cat", "cksum", "mkdir", "grep", "tail", "tee")


@pytest.fixture
def copy(tmp_path):
    """The scripts and `pyproject.toml` alone in a folder."""
    shutil.copytree(PROJECT / "deploy", tmp_path / "deploy")
    shutil.copy(PROJECT / "pyproject.toml", tmp_path)
    return tmp_path


def run(script: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [script, *arguments],
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def installed(copy: Path) -> Path:
    """A stand-in environment that counts as installed, whose programs only say how they were called."""
    programs = copy / ".venv" / "bin"
    programs.mkdir(parents=True)
    for name in ("python", "warmheap"):
        (programs / name).write_text(f'#!/bin/sh\necho "{name} $*, profile $WARMHEAP_PROFILE"\n')
        (programs / name).chmod(0o755)
    check_sum = subprocess.check_output(
        "cksum <pyproject.toml", shell=True, cwd=copy, text=True
    ).strip()  # fmt: skip
    (copy / ".venv" / "installed").write_text(f"{copy} . {check_sum}\n")
    return copy


@pytest.fixture
def no_python(tmp_path_factory):
    """A search path on which everything the scripts call is found, but no Python."""
    tools = tmp_path_factory.mktemp("tools")
    for tool in TOOLS:
        (tools / tool).symlink_to(str(shutil.which(tool)))
    return str(tools)


@pytest.mark.parametrize("script", ["try", "check"])
def test_without_python_one_line_says_what_to_install(copy, no_python, script):
    """On a machine without Python the script ends with one line naming the version it needs."""
    ended = run(copy / "deploy" / script, PATH=no_python)

    assert ended.returncode != 0
    assert ended.stderr.startswith("warmheap: needs Python 3.11 or newer")
    assert ended.stderr.count("\n") == 1


def test_a_folder_that_cannot_be_written_is_named(copy):
    """Where the environment cannot be made, one line names the folder and the way out."""
    (copy / ".venv").write_text("in the way")

    ended = run(copy / "deploy" / "try")

    assert ended.returncode != 0
    assert ended.stderr.startswith(f"warmheap: cannot write to {copy}/.venv; copy the project into a folder")
    assert ended.stderr.count("\n") == 1


def test_without_a_network_one_line_says_so(copy):
    """Where the package index cannot be reached, one line says so and nothing counts as installed."""
    ended = run(
        copy / "deploy" / "try", PIP_CONFIG_FILE="/dev/null", PIP_INDEX_URL="http://127.0.0.1:9/simple"
    )

    assert ended.returncode != 0
    assert "Installing" in ended.stdout
    assert (
        ended.stderr
        == "warmheap: could not reach the package index; connect to the internet and start again\n"
    )
    assert not (copy / ".venv" / "installed").exists()


def test_an_unchanged_project_starts_without_installing(copy):
    """The second time the chat opens at once, with the example profile and the arguments handed on."""
    ended = run(installed(copy) / "deploy" / "try", "--as", "Ana")

    assert ended.stdout == "warmheap chat --as Ana, profile deploy/larkmoor.toml\n"


def test_a_profile_of_ones_own_is_kept(copy):
    """A profile that is already set is not replaced by the example."""
    ended = run(installed(copy) / "deploy" / "try", WARMHEAP_PROFILE="mine.toml")

    assert ended.stdout.endswith("profile mine.toml\n")


def test_a_changed_project_is_installed_again(copy, no_python):
    """After `pyproject.toml` has changed, the old environment does not serve: Python is looked for again."""
    (installed(copy) / "pyproject.toml").write_text("[project]\n")

    ended = run(copy / "deploy" / "try", PATH=no_python)

    assert ended.stdout == ""
    assert ended.stderr.startswith("warmheap: needs Python")


def test_no_file_names_a_package_registry():
    """The scripts and the lock file leave it to the machine where packages come from."""
    files = [*(PROJECT / "deploy").iterdir(), *(PROJECT / "tests").rglob("package*.json")]

    named = [path.name for path in files if "registry." in path.read_text() or "pypi.org" in path.read_text()]
    assert len(files) >= 5
    assert named == []
