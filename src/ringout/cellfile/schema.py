"""The outer shape of a cell file as models, from which the JSON Schema for editors is made.

Loaded only by `ringout schema` and by tests; reading a file has messages of its own.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

_NAME = r"^[A-Za-z][A-Za-z0-9_]*$"
_PLACE = r"[A-Za-z][A-Za-z0-9_]*(-[A-Za-z0-9_]+)?(:[^\s:]+)?"

# An editor reads `revision: 1` as a number and `spare: true` as a truth value; here all is text.
Text: TypeAlias = str | int | float | bool
Setting: TypeAlias = Text | list[Text] | dict[str, Text] | None
Name: TypeAlias = Annotated[str, Field(pattern=_NAME)]
Place: TypeAlias = Annotated[str, Field(pattern=f"^{_PLACE}$")]
JoinWords: TypeAlias = Annotated[
    str,
    Field(
        pattern=rf"^\s*{_PLACE}(\s+{_PLACE}){{1,2}}\s*$",
        description="From where, over which core, to where: `S1:13  W1:BN  K1-X1:1`.",
    ),
]


class _Fields(BaseModel):
    model_config = ConfigDict(extra="forbid")


class ItemFields(BaseModel):
    """An item: its part, and what the part lets one set."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Setting]

    part: Text = Field(description="Name of the part, as `ringout parts` lists it.")
    note: Text | None = Field(default=None, description="What it is for.")


class CableFields(ItemFields):
    """A cable or cordset: its part and its length."""

    length: Text | None = Field(default=None, description="Length with unit, such as `6 m`.")


class JoinFields(_Fields):
    """A join in its long form."""

    from_: Place = Field(alias="from", description="Terminal at one end, such as `S1:13`.")
    over: Place | None = Field(default=None, description="Core, such as `W1:BN`.")
    to: Place = Field(description="Terminal at the other end, such as `K1-X1:1`.")
    length: Text | None = Field(default=None, description="Length of a direct link.")
    area: Text | None = Field(default=None, description="Cross-section of a direct link.")
    note: Text | None = Field(default=None, description="A remark.")


class SignalFields(BaseModel):
    """A signal: its channel, and what it means."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Setting]

    channel: str = Field(
        pattern=r"^[A-Za-z][A-Za-z0-9_]*\.[^\s.]+$", description="Item and channel: `K1.I4`."
    )
    on: str | None = Field(
        default=None, description="When the input must be on: `S1 pressed and not B1 target`."
    )
    drives: Text | None = Field(default=None, description="What the output works: `Q1`, `P1.red`.")
    filter: Text | None = Field(default=None, description="Input filter, such as `3 ms`.")
    shortest: Text | None = Field(
        default=None, description="Shortest pulse that must not be missed, such as `20 ms`."
    )
    note: Text | None = Field(default=None, description="What it is for.")


class HouseFields(_Fields):
    """House rules: what is usual where the cell is built."""

    market: Literal["iec", "us"] | None = Field(
        default=None, description="Whose sizes and colours are usual."
    )
    ferrule_series: Text | None = Field(default=None, description="Colour series of the ferrules.")
    clamp_thread: Text | None = Field(
        default=None, description="Thread of the clamp screws, as in M3; gives their torque."
    )
    spare: Text | None = Field(default=None, description="Spare that is to be left.")


class LiveFields(_Fields):
    """Where a controller's channels are read while the machine runs."""

    modbus: Text | None = Field(
        default=None, description="Address of a Modbus TCP server: `robot-k1` or `HOST:PORT`."
    )
    opcua: Text | None = Field(
        default=None, description="Address of an OPC UA server: `opc.tcp://HOST:PORT`."
    )
    unit: int | Text | None = Field(default=None, description="Modbus unit number.")
    inputs: int | Text | None = Field(
        default=None,
        description="Modbus: address of I1, the others follow. OPC UA: node with `{channel}`.",
    )
    outputs: int | Text | None = Field(default=None, description="The same for outputs.")
    table: Literal["discrete", "coils", "input-registers", "holding-registers"] | None = Field(
        default=None, description="Where Modbus keeps the inputs; registers hold 16 each."
    )
    map: dict[str, int | str] | None = Field(
        default=None, description="Channels that stand elsewhere: `{I9: 40}`."
    )
    security: Literal["none", "sign", "encrypt"] | None = Field(
        default=None, description="OPC UA: how messages are protected."
    )
    user: Text | None = Field(default=None, description="OPC UA: user; never the password.")
    certificate: Text | None = Field(
        default=None, description="OPC UA: file of the client's certificate."
    )
    key: Text | None = Field(default=None, description="OPC UA: file of its private key.")
    trust: Text | None = Field(
        default=None,
        description="OPC UA: file of the certificate the controller must show, or its issuer's.",
    )


class IncludedFile(_Fields):
    """A file that a cell file includes: some of its items, cables, joins, signals."""

    include: str | list[str] | None = Field(
        default=None, description="Further files, in the same folder or below."
    )
    note: Text | None = Field(default=None, description="A remark on the whole.")
    items: dict[Name, Text | ItemFields] | None = Field(
        default=None, description="Everything with a designation: name and part."
    )
    cables: dict[Name, Text | CableFields] | None = Field(
        default=None, description="Cables, cordsets and single wires: name, part, length."
    )
    joins: list[JoinWords | JoinFields] | None = Field(
        default=None, description="What is joined to what, one line a conductor."
    )
    signals: dict[Name, SignalFields] | None = Field(
        default=None, description="The controller's channels by the names programs use."
    )
    expect: list[str] | None = Field(
        default=None,
        description="What must hold: `K1-X1:4 to K1-X1:3 is 23..24.5 V while S1 pressed`.",
    )


class CellFile(IncludedFile):
    """A cell: what is in it, and what is joined to what."""

    cell: Text = Field(description="What the cell is called.")
    revision: Text | None = Field(default=None, description="Revision of this file.")
    ambient: str | None = Field(
        default=None, description="Temperature around the cell, such as `10..45 °C`."
    )
    accept: (
        list[Annotated[str, Field(pattern=r"^\s*[TNWCF]\d{3}\s+on\s+\S+\s+because\s+\S")]] | None
    ) = Field(default=None, description="Findings taken as they are: `F214 on S2 because ...`.")
    house: HouseFields | None = Field(default=None, title="House", description="House rules.")
    live: dict[Name, LiveFields] | None = Field(
        default=None, description="Where controllers are read live: item and address."
    )


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a cell file, for editors that check while one types."""
    schema = CellFile.model_json_schema(by_alias=True)
    _close_names(schema)
    dialect = "https://json-schema.org/draft/2020-12/schema"
    return {"$schema": dialect, **schema, "title": "Cell file"}


def _close_names(schema: Any) -> None:
    """Let no name stand that does not have the shape of one."""
    if isinstance(schema, dict):
        if "patternProperties" in schema:
            schema["additionalProperties"] = False
        for below in schema.values():
            _close_names(below)
    elif isinstance(schema, list):
        for below in schema:
            _close_names(below)
