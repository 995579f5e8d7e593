"""The operator's settings, from the environment and a `.env` file."""

from pathlib import Path

import pytest

from bot.settings import Settings, read_settings
from shared.errors import BadInput


@pytest.fixture(autouse=True)
def bare(monkeypatch, tmp_path):
    """Start each test with no setting made, in an empty folder."""
    for name in Settings.model_fields:
        monkeypatch.delenv(f"WARMHEAP_{name.upper()}", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)


def test_nothing_set_means_an_sqlite_file_in_the_users_data_folder(tmp_path):
    """Without any setting everything is kept in one SQLite file under the user's data folder."""
    assert read_settings().database_url == f"sqlite:///{tmp_path}/data/warmheap/warmheap.sqlite"


def test_the_environment_wins_over_the_env_file(monkeypatch, tmp_path):
    """A variable of the environment goes before the same one in `.env`; the others are taken from there."""
    Path(tmp_path, ".env").write_text("WARMHEAP_DATABASE_URL=sqlite:///a.db\nWARMHEAP_PROFILE=b.toml\n")
    monkeypatch.setenv("WARMHEAP_DATABASE_URL", "sqlite:///c.db")

    settings = read_settings()

    assert settings.database_url == "sqlite:///c.db"
    assert settings.profile == Path("b.toml")


def test_an_empty_variable_counts_as_unset(monkeypatch):
    """`WARMHEAP_TELEGRAM_TOKEN=` opens no channel."""
    monkeypatch.setenv("WARMHEAP_TELEGRAM_TOKEN", "")

    assert read_settings().telegram_token is None


def test_the_token_never_shows_when_settings_are_printed(monkeypatch):
    """A secret does not come out in a log line or an error."""
    monkeypatch.setenv("WARMHEAP_TELEGRAM_TOKEN", "77:hush")

    assert "hush" not in repr(read_settings())


def test_a_bad_value_names_its_variable(monkeypatch):
    """A setting that cannot be used is refused in one line with its name."""
    monkeypatch.setenv("WARMHEAP_TELEGRAM_API", "api.example")

    with pytest.raises(BadInput, match=r"(?i)^setting WARMHEAP_TELEGRAM_API: .*api\.example"):
        read_settings()


def test_a_data_folder_that_cannot_be_made_is_named(tmp_path):
    """Where the default database has no place, one line names the folder and the setting that moves it."""
    Path(tmp_path, "data").write_text("in the way")

    with pytest.raises(BadInput, match=r"data/warmheap: Not a directory; set WARMHEAP_DATABASE_URL"):
        read_settings().make_room()


@pytest.mark.parametrize("address", ["compost.example", "https://compost.example/"])
def test_a_public_address_is_a_scheme_and_a_host(monkeypatch, address):
    """One without its scheme, or with a path, is told by its setting."""
    monkeypatch.setenv("WARMHEAP_PUBLIC_URL", address)

    with pytest.raises(BadInput, match=r"(?i)^setting WARMHEAP_PUBLIC_URL: "):
        read_settings()
