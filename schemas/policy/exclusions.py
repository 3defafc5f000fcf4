"""What is not covered whatever the age: wear, consumables, excluded causes, altered parts."""

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from schemas.policy.clause import Bearer, Clause
from schemas.quantities import EACH_ONCE, ListedWord, said_otherwise


class Excluded(Clause):
    borne_by: Bearer


class WearItems(Excluded):
    """Components that wear out; with ``unless`` they are paid when a covered failure ruined them."""

    wear: Annotated[tuple[Annotated[ListedWord, said_otherwise("name them one by one")], ...], EACH_ONCE] = Field(
        min_length=1
    )
    unless: Literal["caused_by_covered_failure", "never"]


class Consumables(Excluded):
    """Fluids, filters, belts: paid only when a covered failure made them unusable."""

    consumables: Annotated[tuple[Annotated[ListedWord, said_otherwise("name them one by one")], ...], EACH_ONCE] = (
        Field(min_length=1)
    )
    unless: Literal["caused_by_covered_failure", "never"]


class ExcludedCauses(Excluded):
    """Causes of failure the policy does not answer for."""

    causes: Annotated[tuple[Annotated[ListedWord, said_otherwise("name them one by one")], ...], EACH_ONCE] = Field(
        min_length=1
    )


class Alterations(Excluded):
    """Altered parts, or parts of another make."""

    alterations: Annotated[tuple[Literal["altered", "other_make"], ...], EACH_ONCE] = Field(min_length=1)
    reach: Literal["everything", "altered_component", "only_if_it_caused_the_failure"]


def _exclusion_kind(value: Any) -> str:
    def get(key: str) -> Any:
        return value.get(key) if isinstance(value, dict) else getattr(value, key, None)

    return next((k for k in ("wear", "consumables", "causes", "alterations") if get(k) is not None), "unrecognised")


Exclusion = Annotated[
    Annotated[WearItems, Tag("wear")]
    | Annotated[Consumables, Tag("consumables")]
    | Annotated[ExcludedCauses, Tag("causes")]
    | Annotated[Alterations, Tag("alterations")],
    Discriminator(
        _exclusion_kind,
        custom_error_type="exclusion",
        custom_error_message="this excludes nothing: name wear, consumables, causes or alterations",
    ),
]
