"""Every field of every policy model and of the conventions is said: changing it changes the text."""

from collections.abc import Container, Iterator
from copy import deepcopy
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache
from inspect import get_annotations
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import pytest
from pydantic import BaseModel, ValidationError

from rules.decision.catalogue import KINDS
from rules.policy_book.compiled import CompiledPolicy, each_clause
from rules.policy_book.show import terms_in_plain_english
from rules.policy_book.wording import RESTS_ON, cited_sentences, clause_sentences
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.quantities import Span, Tolerance, VersionRef
from tests.rules.policy_book.examples import FULL, PRICED, SHORT, compiled, conventions, full_book, policy, tree_of
from tests.rules.policy_book.warned import oil

pytestmark = pytest.mark.fast

Path = tuple[str | int, ...]
Field = tuple[str, str]

WITHOUT_A_CHOICE = {  # no other value may stand there while the rest of the document stays
    ("CoveragePolicy", "format"),
    ("Conventions", "format"),
    ("NotPaid", "nothing"),
    ("Points", "between"),
    ("FactHandling", "missing"),
    ("CarveOut", "never"),  # stands or falls with ends; both kinds are read below
}

PRICED_INSTEAD = tree_of(PRICED) | dict.fromkeys(("combine", "free_while", "wear_floor", "examples"))
HOURS_INSTEAD = dict.fromkeys(("per_unit", "unit", "units_at_most")) | {
    "hours_at_most": 4,
    "rate": 60,
    "rate_on": "failed_on",
}
# The full policy cannot hold everything at once; these changes bring in the rest.
VARIANTS: list[Any] = [
    {},
    {"term": {"ends": {"first_of": None, "last_of": [{"months": 36}, {"machine_hours": 2000}]}}},
    {"term": {"ends": "lifetime"}},
    {"prorating": PRICED_INSTEAD, "pays": {"travel": HOURS_INSTEAD}},
    {"services": {"grease": {"missed": "refer", "links": [], "wrong_fluid": "note_only"}}},
]
ROUNDED = {"share": {"places": 4, "round": "half_up"}}


def _field(model: type[BaseModel], name: str) -> Field:
    """Return a field by the class that states it: what item rules and clauses share is said for all of them alike."""
    return next((c.__name__, name) for c in reversed(model.__mro__) if name in get_annotations(c))


def _fields_of(model: type[BaseModel]) -> Iterator[tuple[str, Any]]:
    for name, info in model.model_fields.items():
        yield name, info.annotation


def _kinds(annotation: Any) -> Iterator[Any]:
    """Yield what an annotation is made of, unions and Annotated opened."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _kinds(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for part in get_args(annotation):
            yield from _kinds(part)
    else:
        yield annotation


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _wanted(root: type[BaseModel]) -> set[Field]:
    """Return every field that can be changed by itself; a field that holds one model changes with that model's."""
    return {
        _field(model, name)
        for model in _models_below(root, {}).values()
        for name, annotation in _fields_of(model)
        if not all(kind is NoneType or _is_model(kind) for kind in _kinds(annotation))
    }


def _models_below(model: type[BaseModel], found: dict[str, type[BaseModel]]) -> dict[str, type[BaseModel]]:
    if model.__name__ in found:
        return found
    found[model.__name__] = model
    for _, annotation in _fields_of(model):
        waiting = list(_kinds(annotation))
        while waiting:
            kind = waiting.pop()
            if _is_model(kind):
                _models_below(kind, found)
            elif get_origin(kind) in (tuple, dict):
                for part in get_args(kind):
                    waiting += _kinds(part)
    return found


def _alternatives(annotation: Any, value: Any) -> Iterator[Any]:
    """Yield other values for a field; some of them may not be allowed there."""
    for kind in _kinds(annotation):
        if kind is NoneType:
            yield None
        elif get_origin(kind) is Literal:
            yield from get_args(kind)
    match value:
        case bool():
            yield not value
        case int():
            yield value + 1
        case Decimal():
            yield from (value + 1, value * 2, value / 2)
        case Fraction():
            yield Fraction(3, 7)
        case date():
            yield from (value + timedelta(days=1), value - timedelta(days=1))
        case Span():
            yield from (replace(value, months=value.months + 1), Span(days=17))
        case Tolerance():
            yield from (Tolerance(amount=Decimal(7)), Tolerance(share=Fraction(1, 20)))
        case VersionRef():
            yield VersionRef("counted", 2)
        case str():
            yield from (f"{value}x", "USD", "7", f"{value}9", value[:-1])
        case tuple() | list():
            yield from (value[:-1], value[1:], [*value[:1], *reversed(value[1:])])
            for other in _element_choices(annotation):
                yield from ([*value, other], [*value[:-1], other])
        case dict():
            yield from ({k: v for k, v in value.items() if k != gone} for gone in value)


def _element_choices(annotation: Any) -> Iterator[Any]:
    for kind in _kinds(annotation):
        if get_origin(kind) is tuple:
            for part in _kinds(get_args(kind)[0]):
                yield from get_args(part) if get_origin(part) is Literal else ["another_one"]


def _walk(node: Any, path: Path = ()) -> Iterator[tuple[Path, BaseModel]]:
    """Yield every model in a document with the path of its tree, as keys are written."""
    if isinstance(node, BaseModel):
        yield path, node
        for name, info in type(node).model_fields.items():
            yield from _walk(getattr(node, name), (*path, info.alias or name))
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from _walk(value, (*path, key))
    elif isinstance(node, tuple):
        for index, value in enumerate(node):
            yield from _walk(value, (*path, index))


def _changed(tree: Any, path: Path, value: Any) -> Any:
    copy = deepcopy(tree)
    node = copy
    for part in path[:-1]:
        node = node[part]
    node[path[-1]] = value
    return copy


def _as_lists(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _as_lists(value) for key, value in node.items()}
    return [_as_lists(value) for value in node] if isinstance(node, list | tuple) else node


def _changes(document: BaseModel, parts: Container[str] | None = None) -> Iterator[tuple[Field, Any, BaseModel]]:
    """Yield each field of each model in the document with another value, and the document that then results.

    ``parts`` keeps to these keys of the document.
    """
    tree = _as_lists(document.model_dump(by_alias=True))
    for path, model in _walk(document):
        if parts is not None and (not path or path[0] not in parts):
            continue
        for name, info in type(model).model_fields.items():
            value = getattr(model, name)
            tried: list[Any] = []
            for other in _alternatives(info.annotation, value):
                if other == value or other in tried:
                    continue
                tried.append(other)
                try:
                    changed = type(document).model_validate(_changed(tree, (*path, info.alias or name), other))
                except ValidationError:
                    continue
                if changed != document:
                    yield _field(type(model), name), other, changed


def _shown(compiled: CompiledPolicy, terms: Any = None, pinned: Any = None) -> str:
    return terms_in_plain_english(
        replace(compiled, terms=terms or compiled.terms, conventions=pinned or compiled.conventions)
    )


@cache
def _said() -> tuple[tuple[str, list[tuple[Field, Any, CoveragePolicy, str]]], ...]:
    """Return for each variant its text, and each change of it with the text that results."""
    compiled = full_book().policy("full@3")
    found = []
    for change in VARIANTS:
        document = policy(change, FULL)
        changes = list(_changes(document, change or None))
        texts = [(f, o, c, _shown(compiled, c)) for f, o, c in changes if isinstance(c, CoveragePolicy)]
        found.append((_shown(compiled, document), texts))
    return tuple(found)


def changed_policies() -> Iterator[tuple[CoveragePolicy, CoveragePolicy]]:
    """Yield each variant of the full policy with each change of one field of it."""
    for change, (_, changes) in zip(VARIANTS, _said(), strict=True):
        document = policy(change, FULL)
        yield from ((document, changed) for _, _, changed, _ in changes)


def changed_conventions() -> Iterator[tuple[Conventions, Conventions]]:
    for document in (conventions(), conventions(ROUNDED)):
        yield from ((document, changed) for _, _, changed in _changes(document) if isinstance(changed, Conventions))


def test_every_field_of_every_policy_model_changes_the_text() -> None:
    exercised: set[Field] = set()
    for before, changes in _said():
        for field, other, _, text in changes:
            assert text != before, f"{field} as {other!r} is not said"
            exercised.add(field)
    assert _wanted(CoveragePolicy) - exercised - WITHOUT_A_CHOICE == set()


def test_every_convention_changes_the_text() -> None:
    compiled = full_book().policy("full@3")
    exercised: set[Field] = set()
    for document in (
        conventions(),
        conventions(ROUNDED),
        conventions({"absent_service_record": {"counts_as": "not_done"}}),
    ):
        before = _shown(compiled, pinned=document)
        for field, other, changed in _changes(document):
            assert _shown(compiled, pinned=changed) != before, f"{field} as {other!r} is not said"
            exercised.add(field)
    assert _wanted(Conventions) - exercised - WITHOUT_A_CHOICE == set()


def test_two_choices_of_one_field_never_read_alike() -> None:
    """A change must show not only against what stood there before but between all other values too."""
    for _, changes in _said():
        said: dict[str, BaseModel] = {}
        for _, _, changed, text in changes:
            assert said.setdefault(text, changed) == changed
    compiled = full_book().policy("full@3")
    for pinned in (conventions(), conventions(ROUNDED)):
        said = {}
        for _, _, changed in _changes(pinned):
            assert said.setdefault(_shown(compiled, pinned=changed), changed) == changed


WORDS = [  # worked by hand from the terms in examples.py: a clause, a reason that cites it, and what it rests on
    (
        "applies_to",
        "component_not_named",
        "Covered is the wheel drive and pump, except the battery, of models",
    ),
    ("applies_to", "later_owner", "It holds for the first owner only."),
    ("applies_to", "no_version_in_force", "In force from"),
    (
        "carve_outs[0]",
        "term_elapsed",
        "The belt: covered for 60 days or 90 h, whichever comes last",
    ),
    ("carve_outs[1]", "component_never_covered", "The shear bolt: never covered."),
    ("services.break_in", "service_missed", "is due at 50 h and 200 h, then every 250 h or 12 months, whichever comes"),
    ("services.break_in", "service_missed", "lines on the wheel drive are decided under older version 1 instead."),
    ("services.grease", "service_missed", "If it is missed, no line is covered."),
    ("services.break_in", "service_by_other_hands", "It may be done by"),
    ("services.break_in", "service_fluid_not_approved", "The fluid must stand on the list"),
    ("services.break_in", "symptom_first", "A late service"),
    (
        "prorating",
        "prorated",
        "100 % at 0 h, 100 % at 900 h and 0 % at 2,400 h, on straight lines",
    ),
    (
        "pays.parts",
        "item_period_over",
        "the dealer's net price plus 15 % handling. It is paid for 30 months",
    ),
    ("pays.parts", "price_above_list", "The price list in force on"),
    ("pays.labour", "hours_in_tenths", "Actual hours count in full tenths of an hour."),
    ("pays.travel", "above_allowance", "0.60 EUR a km, up to 100 km."),
    ("pays.either_or", "either_or", "From 24 months on, only parts or labour is paid: the higher of the two sums."),
    ("exclusions[1]", "consumable", "Not paid as consumables, not even when a covered failure ruined them: filter."),
    ("exclusions[2]", "excluded_cause", "A failure caused by collision or flood is not covered."),
    ("deductible", "deductible", "The owner bears 100 EUR of each claim, spread over its payable lines."),
    ("caps[0]", "cap_reached", "For parts on the pump, at most 9,000 EUR is paid over any one claim"),
    (
        "caps[1]",
        "cap_reached",
        "at most the list price of the part is paid over the whole life of the component, each side of a paired one",
    ),
]


@pytest.mark.parametrize(("path", "code", "words"), WORDS)
def test_a_clause_without_the_makers_words_is_cited_with_what_the_reason_rests_on(
    path: str, code: str, words: str
) -> None:
    cited = full_book().policy("full@3").clauses[path]
    assert words in cited.words(code)
    assert not cited.quoted


def test_a_reason_cites_no_more_of_a_clause_than_it_rests_on() -> None:
    cited = full_book().policy("full@3").clauses["services.break_in"]
    assert "It is proven by" not in cited.words("service_late")
    assert "It may be done by" not in cited.words("service_late")
    assert "40 to 60 h at the 50 h service" in " ".join(_shown(full_book().policy("full@3")).split())
    assert "40 to 60 h" not in cited.words("service_missed")  # a letter that cites the clause leaves windows out


def test_the_makers_own_words_are_cited_whole_and_as_the_makers() -> None:
    cited = full_book().policy("full@3").clauses["term"]
    assert cited.words("term_elapsed") == "As the booklet says."
    assert cited.quoted


def test_every_sentence_that_a_reason_rests_on_is_one_that_a_clause_tells() -> None:
    terms = policy(base=FULL)
    told = {about for path, clause in each_clause(terms) for about, _ in cited_sentences(path, clause, terms)}
    assert set(RESTS_ON) <= set(KINDS)
    missing = {about for abouts in RESTS_ON.values() for about in abouts} - told
    assert not missing


def test_every_clause_has_words_and_its_number_in_the_text() -> None:
    terms = policy(base=FULL)
    text = _shown(full_book().policy("full@3"))
    for path, clause in each_clause(terms):
        assert list(clause_sentences(path, clause, terms))
        assert f"\n{clause.clause} " in text, path


def test_the_text_keeps_to_the_width_of_a_page() -> None:
    compiled = full_book().policy("full@3")
    assert max(map(len, _shown(compiled).splitlines())) <= 110
    assert _shown(compiled, policy(base=SHORT)).startswith("Orchard sprayer\n===============\n")


def test_show_says_that_hours_and_calendar_keep_plans_of_their_own() -> None:
    calendar = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}
    due = {"at_hours": [], "then_every": 250, "calendar": calendar}
    days = {"calendar": {"early": 30, "late": 30}}
    on_grid, first = (
        " ".join(terms_in_plain_english(compiled(oil(due=due, window=days, next_due_from=counted))).split())
        for counted in ("due_point", "actual")
    )
    assert "is due every 250 h, and also every 12 months." in on_grid
    assert "Hours and calendar each keep a plan of their own: a service answers both only where" in on_grid
    assert "whichever comes first. Its window" not in on_grid
    assert "is due every 250 h or 12 months, whichever comes first. Its window" in first
    assert "plan of their own" not in first


@pytest.mark.parametrize(
    ("due", "words"),
    [
        # 50 and 300 are 350; then 650 and 950
        ({"at_hours": [50], "then_every": 300}, "Done when due, that is at 50, 350, 650, 950 h and so on. Its window"),
        ({}, "Done when due, that is at 100, 500, 1,000, 1,500, 2,000 h and so on. Its window"),
        ({"at_hours": None}, "is due every 500 h. Its window"),
        ({"then_every": None}, "is due at 100 h and 500 h. Its window"),
    ],
)
def test_show_tells_the_first_due_points(due: Any, words: str) -> None:
    text = " ".join(terms_in_plain_english(compiled(oil(due=due))).split())
    assert words in text
    assert ("that is at" in text) == ("that is at" in words)


def test_show_tells_due_points_by_hours_beside_a_calendar() -> None:
    calendar = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}
    days = {"calendar": {"early": 30, "late": 30}}
    text = " ".join(terms_in_plain_english(compiled(oil(due={"calendar": calendar}, window=days))).split())
    assert "By hours, that is at 100, 500, 1,000, 1,500, 2,000 h and so on." in text


def _sentences_of(terms: CoveragePolicy, path: str) -> str:
    clause = terms.term if path == "term" else terms.duty_at(path)
    return " ".join(clause_sentences(path, clause, terms))


def test_a_service_that_keeps_the_schedule_is_told_as_the_exception_of_the_fitting() -> None:
    """FULL: a kit counts services from its fitting, a replacement does not; break_in keeps the schedule, grease not."""
    terms = policy(base=FULL)
    term, grease = _sentences_of(terms, "term"), _sentences_of(terms, "services.grease")
    kept = "its services are counted from the fitting, save the break in, which follows the machine's schedule."
    assert kept in term
    assert "its services follow the machine's schedule." in term
    kit = "A component fitted later as a retrofit kit starts a schedule of its own"
    assert f"{kit}, one fitted as a replacement keeps the schedule." in grease
    assert "A component fitted later keeps the schedule." in _sentences_of(terms, "services.break_in")


SENTENCES: list[tuple[Any, str]] = [  # changes of the full policy, and a sentence of it
    ({"applies_to": {"models": ["QF60"]}}, "of model QF60, fitted"),
    ({"applies_to": {"models": ["QF*"]}}, "of models QF… (any ending), fitted"),
    ({"applies_to": {"models": ["QF40", "QF60"]}}, "of models QF40 and QF60, fitted"),
    ({"services": {"grease": {"tasks": ["grease"]}}}, "The grease service is due every 100 h."),
    ({"services": {"grease": {"tasks": ["grease", "drain_and_fill"]}}}, "service (grease, drain and fill) is due"),
    ({"prorating": {"free_while": {"first_of": [{"months": 12}]}}}, "The whole is paid within 12 months."),
    (
        {"prorating": {"free_while": {"first_of": [{"months": 12}, {"wear": "1/4"}]}}},
        "The whole is paid within 12 months and within 25 % wear.",
    ),
    (
        {"prorating": {"free_while": {"first_of": None, "last_of": [{"months": 12}, {"wear": "1/4"}]}}},
        "The whole is paid within 12 months or within 25 % wear.",
    ),
    ({"prorating": {"owner_pays_on": "allowed_amount"}}, "The rest, a share of the allowed amount, is borne by the"),
    ({"prorating": {"owner_pays_on": "list_price"}}, "The rest, a share of the list price, is borne by the owner, and"),
    (
        {"prorating": PRICED_INSTEAD},
        "from 24 complete 30-day units. The fixed price is borne by the owner, and what is allowed above it is paid,",
    ),
    ({"in_force": {"selected_by": "failed_on"}}, "; what counts is the day of the failure."),
]


@pytest.mark.parametrize(("change", "words"), SENTENCES)
def test_show_says_terms_in_sentences_that_can_be_read_one_way(change: Any, words: str) -> None:
    text = " ".join(terms_in_plain_english(replace(full_book().policy("full@3"), terms=policy(change, FULL))).split())
    assert words in text
