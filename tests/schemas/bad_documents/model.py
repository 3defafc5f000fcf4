"""A model with one of each kind of field, for the documents that it refuses."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Discriminator, Field, Tag, field_validator
from pydantic_core import PydanticCustomError


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class InForce(Strict):
    since: date = Field(alias="from")
    until: date | None = None


class Months(Strict):
    kind: Literal["months"]
    months: int


class Limit(Strict):
    limit: int


class Hours(Strict):
    kind: Literal["hours"]
    hours: Limit


class Late(Strict):
    hours: int


class From(Strict):
    since: date = Field(alias="from")
    span: str


def _form(value: Any) -> str | None:
    return "late" if isinstance(value, dict) and "hours" in value else None


def _serial(text: str) -> str:
    if text.isdigit():
        raise PydanticCustomError("serial_without_prefix", "a serial number begins with letters.")
    return text


Serial = Annotated[str, AfterValidator(_serial)]


class Service(Strict):
    early: Annotated[Months | Hours, Field(discriminator="kind")] | None = None
    late: Late | str | None = None
    next: "Service | None" = None


class Coverage(Strict):
    policy: str
    term: Annotated[Months | Hours, Field(discriminator="kind")]
    in_force: InForce | None = None
    edition: str | None = None
    basis: Literal["dealer_net", "list"] = "list"
    hours: list[Annotated[int, Field(ge=0)]] = Field(default=[], max_length=3)
    point: tuple[int, int] | None = None
    steps: tuple[tuple[int, Decimal], ...] = ()
    share: str | None = None
    ends: Literal["lifetime"] | Late | From | Literal["fleet"] | list[Late] | None = None
    start: Annotated[Annotated[Months, Tag("months")] | Annotated[Late, Tag("late")], Discriminator(_form)] | None = (
        None
    )
    serial: Serial | None = None
    points: dict[int, int] = {}
    kin: Sequence[Late] = ()
    all_of: frozenset[str] = Field(default=frozenset({"a"}), min_length=2)
    few: tuple[int, ...] = Field(default=(0,), min_length=1)
    services: dict[Annotated[str, Field(pattern="^[a-z]+$")], Service] = {}

    @field_validator("share")
    @classmethod
    def _is_a_share(cls, share: str) -> str:
        if share == "many":
            raise ValueError("a share is written like 1/2, and many is not.")
        return share
