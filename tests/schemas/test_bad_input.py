"""Documents with one fault each, refused at the right line in words that help; and nothing else ever comes out."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from rules.policy_book.book import BookRefused, build_book
from schemas.cases import CaseTable
from schemas.claim import Claim
from schemas.conventions import Conventions
from schemas.documents import DocumentRefused, ParsedDocument, parse_document, validated
from schemas.machine import Machine
from schemas.policy.document import CoveragePolicy
from schemas.reference_tables import ReferenceTable
from schemas.service_record import ServiceRecord
from tests.rules.policy_book.examples import CONVENTIONS, FULL, SHORT, tree_of

pytestmark = pytest.mark.fast

BAD_INPUT = Path(__file__).parents[1] / "bad_input"
KINDS: dict[str, Any] = {
    "policies": CoveragePolicy,
    "conventions": Conventions,
    "tables": TypeAdapter(ReferenceTable),
    "machines": Machine,
    "service-records": ServiceRecord,
    "claims": Claim,
    "case-tables": CaseTable,
}
FILES = sorted(BAD_INPUT.rglob("*.yaml"))
MUST_HOLD = re.compile(r"""^# message must hold: (["'])(.*)\1$""", re.MULTILINE)
AT_LINE = re.compile(r"^# at line: (\d+)$", re.MULTILINE)


def refusal_of(file: Path) -> DocumentRefused:
    text = file.read_text(encoding="utf-8")
    with pytest.raises(DocumentRefused) as refused:
        validated(KINDS[file.parent.name], parse_document(text, file.name))
    return refused.value


@pytest.mark.parametrize("file", FILES, ids=[f"{f.parent.name}/{f.stem}" for f in FILES])
def test_a_fault_is_refused_where_it_stands_in_words_that_help(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    words = [match[2] for match in MUST_HOLD.finditer(text)]
    (line,) = AT_LINE.findall(text)
    refused = refusal_of(file)
    (fault,) = refused.faults
    assert fault.line == int(line), str(fault)
    assert words
    for word in words:
        assert word in str(fault), str(fault)
    assert str(fault).startswith(f"{file.name}:{line}:")


@pytest.mark.parametrize("file", FILES, ids=[f"{f.parent.name}/{f.stem}" for f in FILES])
def test_a_message_is_whole_and_names_no_machinery(file: Path) -> None:
    for fault in refusal_of(file).faults:
        assert fault.message
        for word in ("pydantic", "Traceback", "Decimal(", "Input should", "NoneType", "tuple", "dict_type"):
            assert word not in str(fault)


def test_there_are_faults_of_every_kind_and_many() -> None:
    assert {file.parent.name for file in FILES} == set(KINDS)
    assert len(FILES) >= 60


def test_what_does_not_fit_together_is_all_told_in_one_reading_each_at_its_own_key() -> None:
    text = (BAD_INPUT / "policies" / "retrofit-unsaid.yaml").read_text(encoding="utf-8")
    text = text.replace("  items: [parts]\n", "  items: [parts, travel]\n").replace(
        "layer: base\n", "layer: base\nsupersedes: [1]\n"
    )
    with pytest.raises(DocumentRefused) as refused:
        validated(CoveragePolicy, parse_document(text, "policy.yaml"))
    told = [fault.path for fault in refused.value.faults]
    assert told == ["supersedes[0]", "applies_to.fitted", "prorating.items[1]"]


# --- Whatever is written, a document is taken or refused ------------------------------------------

GOOD = {
    "policies": FULL,
    "conventions": CONVENTIONS,
    "tables": "table: t\nversion: 1\nkind: prices\ncurrency: EUR\nrows: [{part: A, from: 2026-01-01, net: 1}]\n",
    "machines": "serial: A\nmodel: B\nbuilt_on: 2026-01-10\nuse: rental\nregion: FR\nreadings: [{id: R, on: 2026-05-01,"
    " hours: 5}]\n",
    "service-records": "record: S\nserial: A\non: 2026-05-11\ntasks: [oil]\nby: owner\nfluids: [{fluid: oil}]\n",
    "claims": "claim: C\nserial: A\ndealer: D\ncurrency: EUR\nfailed_on: 2027-02-01\n"
    "lines: [{line: a, item: parts, net: 1}]\n",
    "case-tables": "policies: [a@1]\nbase: {machine: {}, claim: {}}\n"
    "cases: [{name: a case of ten letters, expect: {a: {outcome: pay}}}]\n",
}
ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-(10**9), max_value=10**9),
    st.text(max_size=12),
    st.sampled_from(
        ["0 months", "1/0", "-1", "1e5", "NaN", "10%", "9999 years", "2026-02-29", "a@0", "", " ", "١٢", "0x10"]
    ),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.text(max_size=6), st.integers(), max_size=2),
)


def places(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield path
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in items:
        yield from places(value, (*path, key))


def replaced(node: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    copy = dict(node) if isinstance(node, dict) else list(node)
    copy[path[0]] = replaced(node[path[0]], path[1:], value)
    return copy


def faults_of(read: Callable[[], object]) -> tuple[Any, ...]:
    """Return the faults of what is read, none when it is taken; anything but a refusal goes on to the test."""
    try:
        read()
    except (DocumentRefused, BookRefused) as refused:
        return (*refused.faults,) or ("a refusal without a fault",)
    return ()


def document_of(tree: Any) -> ParsedDocument:
    places_of = parse_document("a: 1", "mutated.yaml")
    return ParsedDocument("mutated.yaml", tree, places_of._places)


@pytest.mark.parametrize("kind", GOOD)
def test_the_documents_to_mutate_are_good_ones(kind: str) -> None:
    assert validated(KINDS[kind], parse_document(GOOD[kind], f"{kind}.yaml"))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_a_mutated_tree_is_taken_or_refused(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(GOOD)))
    tree = tree_of(GOOD[kind])
    for _ in range(data.draw(st.integers(1, 3))):
        tree = replaced(tree, data.draw(st.sampled_from(list(places(tree)))), data.draw(ODD))
    assert all(fault.message for fault in faults_of(lambda: validated(KINDS[kind], document_of(tree))))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_a_mutated_text_is_taken_or_refused(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(GOOD)))
    text = GOOD[kind]
    at = data.draw(st.integers(0, len(text)))
    length = data.draw(st.integers(0, 12))
    text = text[:at] + data.draw(st.text(max_size=8)) + text[at + length :]
    name = data.draw(st.sampled_from(["a.yaml", "a.json"]))
    faults = faults_of(lambda: validated(KINDS[kind], parse_document(text, name)))
    assert all(1 <= fault.line <= text.count("\n") + 2 for fault in faults)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_mutated_policies_make_a_book_or_are_refused(data: st.DataObject) -> None:
    trees = [tree_of(text) for text in (SHORT, FULL)]
    index = data.draw(st.integers(0, 1))
    trees[index] = replaced(trees[index], data.draw(st.sampled_from(list(places(trees[index])))), data.draw(ODD))
    counted = validated(Conventions, document_of(tree_of(CONVENTIONS)))

    def read() -> None:
        build_book([validated(CoveragePolicy, document_of(tree)) for tree in trees], [counted])

    assert all(fault.message for fault in faults_of(read))
