"""The environment (and a `.env` file), read once into one frozen Settings."""

from pathlib import Path

import platformdirs
from pydantic import Field, SecretStr, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from bot.profile import first_fault
from shared.errors import BadInput


def _own_database() -> str:
    return f"sqlite:///{platformdirs.user_data_path('warmheap') / 'warmheap.sqlite'}"


class Settings(BaseSettings):
    """What the operator sets: each field is the variable `WARMHEAP_<FIELD>`.

    database_url     where everything is kept; an SQLite file in the user's data folder by default
    profile          the programme's local settings file (see `deploy/larkmoor.toml`)
    telegram_token   opens the Telegram channel
    telegram_api     base address of the Bot API, for a server of one's own
    """

    model_config = SettingsConfigDict(
        env_prefix="WARMHEAP_", env_file=".env", env_ignore_empty=True, extra="ignore", frozen=True
    )

    database_url: str = Field(default_factory=_own_database)
    profile: Path | None = None
    telegram_token: SecretStr | None = None
    telegram_api: str = Field(default="https://api.telegram.org", pattern=r"^https?://")


def read_settings() -> Settings:
    """Read the settings; raises BadInput with one line naming the variable and the mend."""
    try:
        return Settings()
    except ValidationError as trouble:
        raise BadInput(f"setting WARMHEAP_{first_fault(trouble)}") from None
