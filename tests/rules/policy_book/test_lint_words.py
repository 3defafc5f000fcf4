"""Words of a clause that contradict its terms: each slip beside words that say the same terms rightly; read by hand."""

import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel

from rules.policy_book.clause_numbers import UNITS, place_of
from rules.policy_book.compiled import CompiledPolicy, each_clause
from rules.policy_book.lint_words import word_warnings
from schemas.policy.clause import Clause
from schemas.policy.document import CoveragePolicy
from schemas.quantities import Span, Tolerance
from service.policy_files import load_policies
from tests.rules.policy_book.examples import book, duty, merged, policy
from tests.rules.policy_book.warned import LABOUR, LINEAR, OR, Change, carve_out, ends, found, prorating

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[3] / "fixtures"


def oil(text: str | None = None, **change: Any) -> Change:
    """At 100 h, at 500 h and every 500 h, a tenth early or late; quiet otherwise."""
    return {"services": {"oil": duty(merged(change, {"text": text}))}}


def yearly(every: str = "12 months", **change: Any) -> Change:
    """By the calendar alone, 30 days early or late."""
    limb = {"every": every, "holds_from": "start_of_term", "in_storage": "runs"}
    due = {"at_hours": None, "then_every": None, "calendar": limb}
    return oil(due=due, window={"hours": None, "calendar": {"early": 30, "late": 30}}, **change)


def pays(item: str, **rule: Any) -> Change:
    return {"pays": {item: rule}}


TERM: Change = ends({"months": 24}, {"machine_hours": 1200})
AT_40_TO_60: Change = {"at_hours": [{"at": 50, "from_hours": 40, "until_hours": 60}], "then_every": None}
STEPS: Change = {"steps": [[0, 1], [12, "4/5"], [24, "3/5"]]}
POINTS: Change = {"points": [[0, 1], [900, 1], [2400, 0]], "between": "linear"}
TRAVEL: Change = {"clause": "4.8", "per_unit": "0.80", "unit": "km", "units_at_most": 120, "excess_borne_by": "owner"}
DIAGNOSIS: Change = {
    "clause": "4.7", "hours_at_most": "0.5", "rate": "registered", "rate_on": "failed_on", "excess_borne_by": "owner",
}  # fmt: skip
SUBLET: Change = {"clause": "4.6", "as_invoiced": "invoice_needed", "handling": "5%", "excess_borne_by": "owner"}
DEDUCTIBLE: Change = {"clause": "7", "amount": "100.00", "borne_by": "owner"}
CAP: Change = {"clause": "8", "over": "claim", "at": {"amount": 4000}, "items": "all", "excess_borne_by": "owner"}
MISSED: Change = {"deny": None, "share": "1/3", "reach": "linked_components"}

# Terms, the path of the clause, words that say them rightly, words with one slip: what they say, what they leave out.
Slip = tuple[str, str, str]
CASES: dict[str, tuple[Change, str, list[str], list[Slip]]] = {
    "a term in months and hours": (
        {"term": TERM},
        "term",
        [
            "24 months or 1,200 h from delivery.",
            "Two years or 1200 hours, whichever comes first.",
            "Twenty-four months or one thousand two hundred operating hours.",
            "A 24-month cover, at most 1 200 h; see clause 30.12 of edition 2026, 30 pages.",
            "The engine's 24 months (1.200 h).",
            "24 months; the invoices are kept for 120 months.",  # no month of the terms is left out
            "In the second year, too, up to 1,200 h.",  # from 12 to 24 months
            "24/36 months and 1,200/2,000 h, as the registration says.",
            "What is left of the 36 months of the older promise, but 24 months or 1,200 h at most.",
            "Months are counted as the booklet says.",
            "The cover is told on 15 January 2026.",
        ],
        [
            ("30 months or 1,200 h.", "30 months", "24 months"),
            ("Three years or 1,200 h.", "Three years", "24 months"),
            ("24 months or 1,000 h.", "1,000 h", "1,200 h"),
            ("Two years and six months or 1,200 h.", "Two years and six months", "24 months"),
            ("720 days or 1,200 h.", "720 days", "24 months"),
            ("A year and a half, 18 months, or twelve hundred hours.", "18 months", "24 months"),
            ("In the fourth year, too, up to 1,200 h.", "fourth year", "24 months"),
        ],
    ),
    "a start that counts otherwise": (
        {"term": {"starts": {"otherwise": [{"event": "built", "plus": "6 months"}]}, **ends({"months": 24})}},
        "term",
        ["24 months; the delivery is registered within 30 days.", "Two years, or from six months after building."],
        [
            ("24 months, or from 9 months after building.", "9 months", "6 months"),
            ("30 months, or from 6 months after building.", "30 months", "24 months"),
            ("36 months.", "36 months", "24 months and 6 months"),
        ],
    ),
    "months that are years and a part": (
        {"term": ends({"months": 30})},
        "term",
        [
            "Two years and six months.",
            "Two and a half years.",
            "2½ years.",
            "2 1/2 years.",
            "24 months and another 6 months.",
        ],
        [("Two years.", "Two years", "30 months"), ("24 months.", "24 months", "30 months")],
    ),
    "days": (
        {"carve_outs": [carve_out("belt", ends={"first_of": [{"days": 90}]})]},
        "carve_outs[0]",
        ["The belt has 90 days.", "Ninety days for the belt.", "3 periods of 30 days."],
        [("The belt has 60 days.", "60 days", "90 days"), ("The belt has 3 months.", "3 months", "90 days")],
    ),
    "a year in days": (
        {"carve_outs": [carve_out("belt", ends={"first_of": [{"days": 365}]})]},
        "carve_outs[0]",
        ["One year.", "365 days."],
        [("Two years.", "Two years", "365 days")],
    ),
    "six weeks": (
        {"carve_outs": [carve_out("belt", ends={"first_of": [{"days": 42}]})]},
        "carve_outs[0]",
        ["The belt has six weeks."],
        [("The belt has four weeks.", "four weeks", "42 days")],
    ),
    "services by the hour": (
        oil(),
        "services.oil",
        [
            "The oil is changed at 100 h, at 500 h and then every 500 h, 10 % early or late.",
            "At 100 h, again 400 h later and every 500 h after that, a tenth of the interval early or late.",
            "At 100 h (90 to 110 h), at 500 h (460 to 540 h) and every 500 h (450–550 h and so on).",
            "At 100, 500, 1,000, 1,500 h and so on.",
            "At 100 h and then in intervals of 500 h, ten per cent either side.",
            "Once at 100 h, then 500 h apart.",
            "Each 500 h, the first time at 100 h, within 14 days of the due hours.",
            "At 100 h and every five hundred hours. A look at the oil each day is good practice.",
        ],
        [
            ("At 100 h, at 400 h and then every 500 h.", "400 h", "500 h"),
            ("At 100 h, at 500 h and then every 400 h.", "400 h", "500 h"),
            ("At 75 h, at 500 h and then every 500 h.", "75 h", "100 h"),
            ("At 75, 500 and 1,000 h and so on.", "75 h", "100 h"),
            ("At 100 h, at 500 h and then every 500 h, 15 % early or late.", "15 %", "10 %"),
            ("At 100 h, at 500 h and then every 500 h, a fifth early or late.", "a fifth", "10 %"),
        ],
    ),
    "services on a grid": (
        oil(due={"at_hours": [500]}, window={"hours": {"early": 50, "late": 50}}),
        "services.oil",
        ["The oil is changed every 500 h, fifty hours early or late.", "Every 500 h, from 450 to 550 h at the first."],
        [
            ("The oil is changed every 250 h, 50 h early or late.", "250 h", "500 h"),
            ("The oil is changed every 500 h, 25 h early or late.", "25 h", "50 h"),
        ],
    ),
    "hard bounds": (
        oil(due=AT_40_TO_60, window={"hours": None}),
        "services.oil",
        ["Break-in at 50 h, between 40 and 60 h.", "Between 40 and 60 h.", "At 50 h, 10 h early or late."],
        [
            ("Break-in at 50 h, between 30 and 60 h.", "30 h", "40 h"),
            ("Break-in at 55 h.", "55 h", "50 h, 40 h and 60 h"),
        ],
    ),
    "services by the calendar": (
        yearly(),
        "services.oil",
        [
            "Once a year, 30 days early or late.",
            "Each year, a month early or late, the oil of every machine is changed.",
            "Every 12 months.",
            "Yearly, in the first year and in the second.",
            "At intervals of one year; the oil is looked at each day.",
        ],
        [
            ("Twice a year, 30 days early or late.", "Twice a year", "12 months"),
            ("Every six months.", "six months", "12 months"),
            ("Once a year, 45 days early or late.", "45 days", "30 days"),
            ("Every second year.", "second year", "12 months"),
        ],
    ),
    "half a year": (
        yearly("6 months"),
        "services.oil",
        ["Every half year.", "Every six months.", "Twice a year."],
        [("Once a year.", "Once a year", "6 months")],
    ),
    "a lower share for a missed service": (
        yearly(missed=MISSED),
        "services.oil",
        ["Each year. Without it we pay one third.", "Each year, or two thirds of it are the owner's.", "Each year."],
        [("Each year. Without it we pay half.", "half", "1/3")],
    ),
    "steps": (
        prorating(STEPS),
        "prorating",
        [
            "All in the first year, 80 % in the second year, then 60 %.",
            "Each year of age takes a fifth; after 24 months we pay three fifths.",
            "The owner pays 20 % from 12 months and 40 % from 24 months.",
            "100 % for 12 months, four-fifths to two years, 3/5 of it later.",
        ],
        [
            ("All in the first year, 75 % in the second, 60 % after two years.", "75 %", "80 %"),
            ("The owner pays 20 % from 12 months and 50 % from 24 months.", "50 %", "60 %"),
            ("80 % from 12 months, 60 % from 36 months.", "36 months", "24 months"),
        ],
    ),
    "a straight line": (
        prorating(POINTS, "machine_hours"),
        "prorating",
        ["Up to 900 h we pay the whole; from there our part falls evenly to nothing at 2,400 h, over 1,500 h."],
        [("Up to 1,000 h we pay the whole; it falls to nothing at 2,400 h.", "1,000 h", "900 h")],
    ),
    "a line without a free period": (
        prorating(LINEAR),
        "prorating",
        ["The share falls evenly over ten years.", "It falls for each month of 120 months."],
        [("The share falls evenly over eight years.", "eight years", "120 months")],
    ),
    "parts with a mark-up": (
        pays("parts", text=None, handling_at_most="150.00"),
        "pays.parts",
        [
            "Parts at dealer net and 15 %, at most 150.00 a line.",
            "Parts are paid to 100 %, and 15 per cent for handling up to EUR 150.",
            "Dealer net with €150 at most for handling.",
        ],
        [
            ("Parts at dealer net and 10 % for handling.", "10 %", "15 %"),
            ("Handling of 15 %, at most 200.00.", "200.00", "150 EUR"),
            ("Handling of 15 %, at most 150 USD.", "150 USD", "150 EUR"),
            ("Handling of 15 %, at most EUR 1,500.", "1,500", "150 EUR"),
        ],
    ),
    "half of it": (
        pays("parts", share="1/2"),
        "pays.parts",
        ["Half the price of parts, and 15 % for handling.", "We pay 50 %, the owner 50 %; handling 15 %."],
        [
            ("100 % of the price, and 15 % for handling.", "100 %", "50 %"),
            ("A third of the price.", "A third", "50 % and 15 %"),
        ],
    ),
    "labour for a period at a rate": (
        pays("labour", **LABOUR | {"rate": "60.00"}, until={"first_of": [{"months": 6}]}, after_borne_by="owner"),
        "pays.labour",
        [
            "Labour for 6 months, in full tenths, at 60.00 an hour.",
            "Labour in the first six of the 36 months, at 60 EUR per hour.",
            "Half a year of labour.",
        ],
        [
            ("Labour for 12 months at 60.00 an hour.", "12 months", "6 months"),
            ("Labour for 6 months at 80.00 an hour.", "80.00", "60 EUR"),
        ],
    ),
    "travel": (
        pays("travel", **TRAVEL),
        "pays.travel",
        ["Travel at 0.80 a kilometre for at most 120 km.", "120 kilometres at 0.80 each."],
        [
            ("Travel at 0.80 a kilometre for at most 100 km.", "100 km", "120 km"),
            ("Travel at 0.90 a kilometre for at most 120 km.", "0.90", "0.80 EUR"),
            ("Travel at 0.80 for at most 120 miles.", "120 miles", "120 km"),
        ],
    ),
    "outside work": (
        pays("sublet", **SUBLET),
        "pays.sublet",
        ["Outside work as invoiced and 5 %.", "As invoiced and a twentieth of it."],
        [("Outside work as invoiced and 10 %.", "10 %", "5 %")],
    ),
    "half an hour": (
        pays("diagnosis", **DIAGNOSIS),
        "pays.diagnosis",
        ["Half an hour to find the fault.", "30 minutes.", "0.5 h."],
        [("A quarter of an hour to find the fault.", "A quarter of an hour", "0.5 h")],
    ),
    "either or": (
        {"pays": {"labour": LABOUR, "either_or": {**OR, "picks": "higher"}}},
        "pays.either_or",
        ["In the third year parts or labour.", "From the 25th month on.", "After two years."],
        [("In the fifth year parts or labour.", "fifth year", "24 months")],
    ),
    "a deductible": (
        {"deductible": DEDUCTIBLE},
        "deductible",
        ["The owner bears 100.00 of each claim.", "The owner bears EUR 100.", "100 euros."],
        [("The owner bears 120.00 of each claim.", "120.00", "100 EUR")],
    ),
    "a cap": (
        {"caps": [CAP]},
        "caps[0]",
        ["No claim is paid above 4000.00.", "At most 4,000.00 a claim."],
        [("No claim is paid above 5,000.00.", "5,000.00", "4,000 EUR")],
    ),
}  # fmt: skip


def with_words(terms: Change, path: str, text: str) -> CoveragePolicy:
    """Return the policy with the words in the clause of the path."""
    names = path.replace("[0]", ".0").split(".")
    changed = merged(terms, {})
    place = changed
    for name in names:
        place = place[int(name)] if isinstance(place, list) else place.setdefault(name, {})
    place["text"] = text
    return policy(changed)


RIGHT = [(case, text) for case, (_, _, right, _) in CASES.items() for text in right]
WRONG = [(case, *slip) for case, (_, _, _, slips) in CASES.items() for slip in slips]


@pytest.mark.parametrize(("case", "text"), RIGHT)
def test_words_that_say_the_terms_rightly_are_not_warned_of(case: str, text: str) -> None:
    terms, path, _, _ = CASES[case]
    assert found(book(with_words(terms, path, text)), "words_contradict_terms") == []


@pytest.mark.parametrize(("case", "text", "said", "left_out"), WRONG)
def test_a_slip_between_words_and_terms_is_warned_of(case: str, text: str, said: str, left_out: str) -> None:
    terms, path, _, _ = CASES[case]
    (warning,) = found(book(with_words(terms, path, text)), "words_contradict_terms")
    assert warning.path == f"{path}.text"
    assert f" say {said}, which its terms do not; its terms say {left_out}, which" in warning.message
    assert warning.way_out == "Owners can hold the maker to the words: correct them, or the terms."


# --- Every clause of the fixtures ----------------------------------------------------------------


@cache
def worded() -> list[tuple[CompiledPolicy, str, Clause]]:
    """Return every clause of the fixtures that has words of its own."""
    books = [load_policies(FIXTURES / place).book for place in ("demo", "cases")]
    return [
        (one, path, clause)
        for made in books
        for one in made.by_name.values()
        for path, clause in each_clause(one.terms)
        if clause.text is not None
    ]


NUMBER_AND_UNIT = re.compile(r"\d[\d,]*(?:\.\d+)?(?= (?:months|days|h|%|km)\b| %)")
NOT_IN_ITS_TERMS = {("quillfen-traction-battery@1", "prorating", "30")}  # the terms count units, not their days


def test_no_clause_of_the_fixtures_is_warned_of() -> None:
    assert len(worded()) > 150
    policies = {one_policy.name: one_policy for one_policy, _, _ in worded()}
    assert [str(w) for one_policy in policies.values() for w in word_warnings(one_policy)] == []


def test_a_slip_in_any_number_of_the_words_of_the_fixtures_is_seen() -> None:
    """Each number before a unit is made half as large again and six more, which stands in no terms of the fixtures."""
    slips = [(*one, match) for one in worded() for match in NUMBER_AND_UNIT.finditer(one[2].text or "")]
    unseen = set()
    for one_policy, path, clause, match in slips:
        assert clause.text is not None
        other = Fraction(match[0].replace(",", "")) * 3 / 2 + 6
        text = f"{clause.text[: match.start()]}{float(other):,g}{clause.text[match.end() :]}"
        terms = with_text_at(one_policy.terms, clause, text)
        if not list(word_warnings(replace(one_policy, terms=terms))):
            unseen.add((one_policy.name, path, match[0]))
    assert len(slips) > 100
    assert unseen == NOT_IN_ITS_TERMS


def with_text_at(model: Any, clause: Clause, text: str) -> Any:
    """Return a copy of a model in which this one clause has other words."""
    if model is clause:
        return clause.model_copy(update={"text": text})
    if isinstance(model, BaseModel):
        return model.model_copy(
            update={name: with_text_at(getattr(model, name), clause, text) for name in type(model).model_fields}
        )
    if isinstance(model, tuple):
        return tuple(with_text_at(one, clause, text) for one in model)
    return {k: with_text_at(v, clause, text) for k, v in model.items()} if isinstance(model, dict) else model


# --- Every number of the models ------------------------------------------------------------------


NUMBERS = {int, Decimal, Fraction, Span, Tolerance}
NO_UNIT_OF_A_READER = {"Prorating.wear_floor"}


def models_in(kind: Any) -> Iterator[type[BaseModel]]:
    """Yield every model that a type is made of."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        yield kind
        for info in kind.model_fields.values():
            yield from models_in(info.annotation)
    elif get_origin(kind) is not Literal:
        for inner in get_args(kind):
            yield from models_in(inner)


def is_number(kind: Any) -> bool:
    if kind in NUMBERS:
        return True
    return get_origin(kind) is not Literal and any(map(is_number, get_args(kind)))


def test_the_unit_of_every_number_of_a_clause_is_known() -> None:
    clauses = [model for model in models_in(CoveragePolicy) if issubclass(model, Clause)]
    fields = {
        (model, name)
        for clause in clauses
        for model in models_in(clause)
        for name, info in model.model_fields.items()
        if is_number(info.annotation)
    }
    unknown = {f"{model.__name__}.{name}" for model, name in fields if place_of(model, name) is None}
    assert unknown == NO_UNIT_OF_A_READER
    assert {place_of(*field) for field in fields} - {None} == set(UNITS)
