"""``quickly_made`` classes are frozen dataclasses like any other: only their ``__init__`` is another one."""

import copy
import inspect
import pickle
from dataclasses import FrozenInstanceError, dataclass, field, fields, replace
from typing import Generic, TypeVar

import pytest

from schemas import decision
from schemas.frozen import quickly_made

pytestmark = pytest.mark.fast

T = TypeVar("T")


@quickly_made
@dataclass(frozen=True, slots=True)
class Slotted(Generic[T]):
    zone: str
    amount: T
    marks: tuple[str, ...] = ()
    seen: dict[str, int] = field(default_factory=dict)


@quickly_made
@dataclass(frozen=True)
class Open:
    zone: str
    amount: int
    marks: tuple[str, ...] = ()
    seen: dict[str, int] = field(default_factory=dict)


BOTH = pytest.mark.parametrize("kind", [Slotted, Open])


@BOTH
def test_fields_defaults_and_equality_are_those_of_the_dataclass(kind: type) -> None:
    made = kind("north", 3, marks=("a",))
    assert (made.zone, made.amount, made.marks, made.seen) == ("north", 3, ("a",), {})
    assert made == kind(amount=3, zone="north", marks=("a",), seen={}) != kind("north", 4)
    assert repr(made) == f"{kind.__name__}(zone='north', amount=3, marks=('a',), seen={{}})"
    assert type(made) is kind
    assert kind("north", 3).seen is not kind("north", 3).seen


@BOTH
def test_an_instance_never_changes(kind: type) -> None:
    made = kind("north", 3)
    with pytest.raises(FrozenInstanceError):
        made.amount = 4
    with pytest.raises((FrozenInstanceError, TypeError)):  # with slots, of a name that is no field: a TypeError
        made.__class__ = object
    with pytest.raises(FrozenInstanceError):
        del made.zone
    assert made == kind("north", 3)


@BOTH
def test_replacing_copying_and_pickling_work(kind: type) -> None:
    made = kind("north", 3, seen={"a": 1})
    assert replace(made, zone="south") == kind("south", 3, seen={"a": 1})
    assert copy.deepcopy(made) == made == pickle.loads(pickle.dumps(made))


@BOTH
def test_wrong_arguments_are_refused(kind: type) -> None:
    assert list(inspect.signature(kind).parameters) == [f.name for f in fields(kind)]
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'amount'"):
        kind("north")
    with pytest.raises(TypeError, match="unexpected keyword argument 'colour'"):
        kind("north", 3, colour="red")


def test_what_it_cannot_make_is_refused_where_it_is_declared() -> None:
    @dataclass(frozen=True)
    class Checked:
        zone: str

        def __post_init__(self) -> None:
            raise AssertionError

    @dataclass(frozen=True, kw_only=True)
    class Named:
        zone: str

    @dataclass(frozen=True)
    class Derived:
        zone: str = field(init=False, default="north")

    for kind in (Checked, Named, Derived):
        with pytest.raises(TypeError, match=f"{kind.__name__}: only a plain dataclass can be made quickly"):
            quickly_made(kind)


def test_an_instance_without_slots_holds_its_fields_in_the_order_of_their_names() -> None:
    assert list(vars(Open("north", 3))) == ["amount", "marks", "seen", "zone"]
    assert list(vars(replace(Open("north", 3), marks=("b",)))) == ["amount", "marks", "seen", "zone"]


def test_every_part_of_a_decision_is_such_a_class() -> None:
    """Their instances are written as they stand, so one with fields in another order would not be canonical."""
    parts = [
        kind for kind in vars(decision).values() if isinstance(kind, type) and hasattr(kind, "__dataclass_fields__")
    ]
    assert len(parts) == 13
    for kind in parts:
        made = kind(**{f.name: None for f in fields(kind)})
        assert list(vars(made)) == sorted(f.name for f in fields(kind)), kind
