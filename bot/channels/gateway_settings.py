"""The settings file of an HTTP gateway; `deploy/gateway.toml` shows every entry with a comment."""

import os
import string
from math import inf
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from bot.profile import read_toml


def _from_environment(text: str) -> str:
    """`$NAME` stands for a variable of the environment, so that no secret need stand in the file."""
    try:
        return string.Template(text).substitute(os.environ)
    except KeyError as missing:
        raise ValueError(f"the environment has no variable {missing.args[0]}; set it") from None
    except ValueError:
        raise ValueError("write a dollar sign that begins no name as $$") from None


Secret = Annotated[str, AfterValidator(_from_environment)]


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Sending(_Section):
    """How a text is handed over, and how the answer is read.

    fields        what is sent: {to}, {from}, {text} and {reference} are filled in, tables and lists kept
    sent, busy    HTTP statuses: taken; surely not taken, to be tried again
    success       where in a JSON answer success is told, and by which values
    blocked       words or codes in a refusal by which a number is blocked upstream, taken as an opt-out
    safe_to_repeat   the gateway drops a second text with the same reference
    """

    url: str = Field(pattern=r"^https?://")
    method: Literal["POST", "PUT", "GET"] = "POST"
    body: Literal["json", "form", "query"] = "json"
    fields: dict[str, Any]
    headers: dict[str, Secret] = Field(default_factory=dict)
    user: str | None = None
    password: Secret = ""
    timeout_s: float = Field(default=20, gt=0, le=25)
    per_second: float = Field(default=inf, gt=0)
    sent: tuple[int, ...] = (200, 201, 202)
    busy: tuple[int, ...] = (401, 403, 404, 429, 503)
    success: str | None = None
    success_is: tuple[str, ...] = ("true", "ok")
    message_id: str | None = None
    blocked: tuple[str, ...] = ()
    safe_to_repeat: bool = False


class Receiving(_Section):
    """How the gateway brings a text: a secret in a header, or a signature, and where the parts stand.

    signed             what is signed: {body} and, against old requests brought again, {timestamp}
    from_, text, id    where in the body; dots lead into tables and lists (messages.0.text)
    media              where a file is named that came along, or how many; such a text is a picture with words
    """

    path: str = Field(default="/sms", pattern=r"^/[\w/.-]+$")
    secret_header: str = "X-Secret"
    secret: Secret | None = None
    signature_header: str = "X-Signature"
    signature_key: Secret | None = None
    signature_prefix: str = ""
    signed: str = "{body}"
    digest: Literal["sha256", "sha1", "sha512"] = "sha256"
    encoding: Literal["hex", "base64"] = "hex"
    timestamp_header: str = "X-Timestamp"
    timestamp_tolerance_s: float = Field(default=300, gt=0)
    from_: str = Field(default="from", alias="from")
    text: str = "text"
    id: str = "id"
    media: str | None = None

    @model_validator(mode="after")
    def _guarded(self) -> "Receiving":
        if not self.secret and not self.signature_key:
            raise ValueError("set secret or signature_key, so that nobody else can bring texts")
        return self


class GatewaySettings(_Section):
    """One gateway."""

    send: Sending
    receive: Receiving | None = None


def read_gateway(path: Path) -> GatewaySettings:
    """Read a gateway's settings file.

    Raises BadInput with one line naming the file, the entry and the mend.
    """
    return read_toml(GatewaySettings, "gateway", path)
