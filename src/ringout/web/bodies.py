"""What is sent to the JSON API."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

MOST_TEXT = 500_000  # some thousand channels; more would keep all others waiting
_SHA256 = r"^([0-9a-f]{64})?$"


class TextBody(BaseModel):
    """A text to check in the place of the cell file."""

    model_config = ConfigDict(extra="forbid")
    text: str = Field(max_length=MOST_TEXT)


class FileBody(TextBody):
    """A text to save: `digest` is the SHA-256 of the file it was made from, empty for none."""

    digest: str = Field(pattern=_SHA256)


class UndoBody(BaseModel):
    """The file as seen, whose last save is to be taken back."""

    model_config = ConfigDict(extra="forbid")
    digest: str = Field(pattern=_SHA256)


class EntryBody(BaseModel):
    """An entry for the cell file: its kind and what is typed, by field of the form."""

    model_config = ConfigDict(extra="forbid")
    kind: str = Field(max_length=20)
    digest: str = Field(pattern=_SHA256)
    words: dict[str, str] = Field(max_length=200)
