"""A service, or a repair that carried a service's tasks, as it is on file."""

from typing import Annotated

from pydantic import Field

from schemas.machine import Position
from schemas.policy.services import Evidence, Performer
from schemas.quantities import AS_SET, Day, Document, Hours, Number, RecordId, Word, in_order_of


class FluidUsed(Document):
    fluid: Word
    litres: Number | None = None


class ServiceRecord(Document):
    """One visit; it meets the duties whose tasks it carries."""

    record: RecordId
    serial: RecordId = Field(description="Serial of the machine.")
    on: Day
    reading: Hours | None = Field(default=None, description="Meter reading (h); null when nobody noted it.")
    tasks: Annotated[tuple[Word, ...], AS_SET] = ()
    by: Performer | None = None
    dealer: RecordId | None = None
    evidence: Annotated[tuple[Evidence, ...], AS_SET] = ()
    fluids: Annotated[tuple[FluidUsed, ...], in_order_of("fluid", "litres")] = ()
    position: Position = Field(default="none", description="Side served, where the sides are served apart.")
    provided_on: Day | None = Field(default=None, description="When the papers came in, if later than the visit.")
    inspected: bool | None = Field(
        default=None, description="After a missed service: found sound (true), not sound, or not looked at."
    )
    is_repair: bool = False
