import json
import pickle
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from schemas.documents import DocumentRefused, Fault, Position, parse_document, path_text, validated, yaml_text
from schemas.documents.model_map import ModelMap
from schemas.documents.tree import DEEPEST_NESTING, MOST_CHARACTERS, MOST_NODES, TreeBuilder
from tests.schemas.bad_documents import BAD_FOR_THE_MODEL, BAD_JSON, BAD_YAML, GOOD
from tests.schemas.bad_documents.model import Coverage, InForce

pytestmark = pytest.mark.fast

POLICY = """\
# a policy, with what people write
policy: powertrain
version: 3
in_force: {from: 2025-01-01, selected_by: start_of_term}
term:
  clause: "4.2"
  share: 0.50
  first_of:
    - months: 36
    - hours: 2500
yes: no
"""


@contextmanager
def reading_by(parser: str) -> Iterator[None]:
    """Read YAML by libyaml or by PyYAML's own parser, which takes its place where libyaml is missing."""
    with pytest.MonkeyPatch.context() as patch:
        if parser == "pure":
            patch.setattr(yaml_text, "_LOADER", yaml.SafeLoader)
        yield


def refusal(text: str, name: str = "powertrain/3.yaml") -> DocumentRefused:
    with pytest.raises(DocumentRefused) as raised:
        parse_document(text, name)
    return raised.value


# --- Scalars --------------------------------------------------------------------------------------

SCALARS = [
    ("true", True),
    ("false", False),
    *[(word, word) for word in ("True", "yes", "no", "on", "off", "y", "NULL", "Null", "None")],
    *[(nothing, None) for nothing in ("null", "~", "")],
    ("48", 48),
    ("-7", -7),
    ("0", 0),
    *[(text, text) for text in ("007", "0o17", "0x1F", "1_000", "1:30", "+5", "1,000", "٣")],
    ("0.50", Decimal("0.50")),
    ("-12.5", Decimal("-12.5")),
    *[(text, text) for text in ("1e3", "1.5e3", ".5", "5.", ".inf", ".nan", "-.inf", "1.2.3", "00.5")],
    *[(text, text) for text in ("2026-05-11", "2026-05-11T09:30:00Z", "10%", "3/5", "=")],
    ('"48"', "48"),
    ("'true'", "true"),
    ('""', ""),
    ("'null'", "null"),
    ("|\n  two\n  lines", "two\nlines"),
    (">-\n  one\n  line", "one line"),
]


@pytest.mark.parametrize("loader", ["libyaml", "pure"])
@pytest.mark.parametrize(("written", "value"), SCALARS)
def test_a_yaml_scalar_reads_by_our_rules(written: str, value: Any, loader: str) -> None:
    with reading_by(loader):
        tree = parse_document(f"key: {written}", "x.yaml").tree
    assert isinstance(tree, dict)
    assert tree == {"key": value}
    assert type(tree["key"]) is type(value)
    assert str(tree["key"]) == str(value), "0.50 keeps its digits"


def test_keys_are_always_text() -> None:
    text = 'on: 1\n75: 2\n"76": 3\ntrue: 4\nnull: 5\n2026-05-11: 6\n5.10: 7\n"<<": 8\n"": 9'
    keys = ["on", "75", "76", "true", "null", "2026-05-11", "5.10", "<<", ""]
    assert parse_document(text, "x.yaml").tree == dict(zip(keys, range(1, 10), strict=True))


JSON_SCALARS = [
    ("1.50", Decimal("1.50")),
    ("-0", 0),
    ("true", True),
    ("null", None),
    ('"on"', "on"),
    (r'"\ud83d\ude00 \u00e9 \/ \n"', "😀 é / \n"),
    ("9" * 29, int("9" * 29)),
    ("9" * 30, int("9" * 30)),
    ('"' + "9" * 40 + '"', "9" * 40),
]


@pytest.mark.parametrize(("written", "value"), JSON_SCALARS)
@pytest.mark.parametrize("name", ["x.json", "X.JSON", "claim"])
def test_a_json_scalar_reads_alike(written: str, value: Any, name: str) -> None:
    tree = parse_document(f' {{"key": {written}}}', name).tree
    assert isinstance(tree, dict)
    assert tree == {"key": value}
    assert type(tree["key"]) is type(value)


def test_flow_yaml_that_is_not_json_is_read_as_yaml() -> None:
    assert parse_document("{policy: powertrain, hours: [75, 400,]}", "x").tree == {
        "policy": "powertrain",
        "hours": [75, 400],
    }


def test_a_byte_order_mark_before_the_text_is_skipped() -> None:
    assert parse_document("\ufeffa: 1", "x.yaml").tree == {"a": 1}
    assert parse_document('\ufeff{"a": 1}', "x.json").tree == {"a": 1}


# --- Positions ------------------------------------------------------------------------------------

POSITIONS = [
    ((), (2, 1)),
    (("policy",), (2, 1)),
    (("in_force", "from"), (4, 12)),
    (("term", "share"), (7, 3)),
    (("term", "first_of"), (8, 3)),
    (("term", "first_of", 1), (10, 7)),
    (("term", "first_of", 1, "hours"), (10, 7)),
    (("yes",), (11, 1)),
    (("term", "first_of", 7, "months"), (8, 3)),
    (("term", "missing"), (5, 1)),
    (("policy", "deeper", 0), (2, 1)),
    (("nowhere",), (2, 1)),
]


@pytest.mark.parametrize(("path", "expected"), POSITIONS)
def test_a_path_has_its_position_and_a_missing_one_that_of_its_nearest_ancestor(
    path: tuple[str | int, ...], expected: tuple[int, int]
) -> None:
    assert parse_document(POLICY, "x.yaml").position(path) == Position(*expected)


def test_json_positions_count_lines_and_columns_too() -> None:
    document = parse_document('\n{"a": 1,\n  "b": [10,\n {"c": true}, "d"]}', "x.json")
    paths: list[tuple[str | int, ...]] = [(), ("a",), ("b",), ("b", 0), ("b", 1), ("b", 1, "c"), ("b", 2)]
    assert [document.position(path) for path in paths] == [(2, 1), (2, 2), (3, 3), (3, 9), (4, 2), (4, 3), (4, 15)]


def test_a_fault_reads_like_a_sentence_with_its_place_and_way_out() -> None:
    document = parse_document(POLICY, "powertrain/3.yaml")
    fault = document.fault(("term", "first_of", 0, "months"), "36 months is too long.", "Write 24.")
    assert fault == Fault("powertrain/3.yaml", 9, 7, "term.first_of[0].months", "36 months is too long.", "Write 24.")
    assert str(fault) == "powertrain/3.yaml:9: term.first_of[0].months: 36 months is too long. Write 24."
    assert str(document.fault((), "it has no end.")) == "powertrain/3.yaml:2:1: it has no end."
    assert str(Fault("x", 3, None, "", "m", "")) == "x:3: m"
    assert path_text(("a-b", "5.1", 0, 'say "x"')) == 'a-b["5.1"][0]["say \\"x\\""]'


def test_faults_come_in_the_order_of_the_text_and_survive_a_process_boundary() -> None:
    refused = DocumentRefused([Fault("x", 2, 1, "", "second"), Fault("x", 1, 5, "", "first")])
    assert str(refused) == "x:1:5: first\nx:2:1: second"
    assert pickle.loads(pickle.dumps(refused)).faults == refused.faults


# --- Bad documents: one fault a case, with its line and words that the message must hold ----------


@pytest.mark.parametrize("loader", ["libyaml", "pure"])
@pytest.mark.parametrize(("text", "line", "said"), BAD_YAML)
def test_a_bad_yaml_document_is_refused_with_its_line_and_a_way_out(
    text: str, line: int, said: list[str], loader: str
) -> None:
    with reading_by(loader):
        refused = refusal(text, "x.yaml")
    assert (len(refused.faults), refused.faults[0].line) == (1, line)
    # The two parsers word their own part differently; where and the way out are ours.
    assert [words for words in said if words not in str(refused)] == []


@pytest.mark.parametrize(("text", "line", "said"), BAD_JSON)
def test_a_bad_json_document_is_refused_with_its_line_and_a_way_out(text: str, line: int, said: list[str]) -> None:
    refused = refusal(text, "x.json")
    assert (len(refused.faults), refused.faults[0].line) == (1, line)
    assert [words for words in said if words not in str(refused)] == []


def test_one_reading_shows_every_fault_that_does_not_hide_the_rest() -> None:
    refused = refusal("a: &x 1\na: 2\nb: !!str 3\nc: *x\nd: [")
    assert [fault.line for fault in refused.faults] == [1, 2, 3, 4, 5]


def test_a_document_full_of_faults_stops_at_fifty() -> None:
    assert len(refusal("[" + "!x a, " * 200 + "]").faults) == 50


# --- Limits ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["x.yaml", "x.json"])
def test_limits_are_taken_to_the_last_and_refused_one_past_it(name: str) -> None:
    start = "#\n" if name == "x.yaml" else ""  # a comment, so that the text is no JSON
    zeros = start + "[" + "0," * (MOST_NODES - 2) + "0]"
    document = parse_document(zeros, name)
    assert document.position((MOST_NODES - 2,)).column == 2 * (MOST_NODES - 1)
    assert "more than 200,000 values" in str(refusal(zeros[:-1] + ",0]", name))

    deepest = start + "[" * DEEPEST_NESTING + "0" + "]" * DEEPEST_NESTING
    assert parse_document(deepest, name).position((0,) * DEEPEST_NESTING).column == DEEPEST_NESTING + 1

    longest = start + '"' + "a" * (MOST_CHARACTERS - 2 - len(start)) + '"'
    assert isinstance(parse_document(longest, name).tree, str)
    assert "holds 5,000,001 characters; at most 5,000,000" in str(refusal(longest + " ", name))


# --- Any text -------------------------------------------------------------------------------------

SNIPPETS = [
    *("\n", "  ", "\t", "\r", "\x85", "\u2028", "\ufeff", "\ud800", "\x00"),
    *(": ", "- ", "? ", "[", "]", "{", "}", ",", "#", "|", ">", "'", '"', "%", "@", "---\n", "...", "<<: "),
    *("&a ", "*a", "!!str ", "\\", "\\ud800", "\\UFFFFFFFF", "\\x", "1e9", "9" * 40, "NaN", "null"),
]
JSON_POLICY = json.dumps({"policy": "powertrain", "term": {"share": 0.5, "first_of": [{"months": 36}, None, "é😀"]}})


@st.composite
def mutated_documents(draw: st.DrawFn) -> str:
    text = draw(st.sampled_from([POLICY, JSON_POLICY]))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 6)))
        text = text[:start] + draw(st.sampled_from(SNIPPETS) | st.text(max_size=2)) + text[end:]
    return text


def any_text() -> st.SearchStrategy[str]:
    everything = st.characters(codec=None)
    noise = st.lists(st.sampled_from(SNIPPETS) | st.text(everything, max_size=3)).map("".join)
    return st.text(everything) | st.binary().map(lambda data: data.decode("latin-1")) | noise | mutated_documents()


def leaves(tree: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    yield path, tree
    for key, item in tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ():
        yield from leaves(item, (*path, key))


@settings(max_examples=1500, deadline=None)
@given(any_text(), st.sampled_from(["x.yaml", "x.json"]), st.sampled_from(["libyaml", "pure"]))
def test_any_text_gives_a_tree_with_places_or_faults_and_no_other_error(text: str, name: str, parser: str) -> None:
    with reading_by(parser):
        try:
            document = parse_document(text, name)
        except DocumentRefused as refused:
            for fault in refused.faults:
                assert fault.message
                assert fault.way_out
                assert 1 <= fault.line <= len(re.split("\r\n|[\n\r\x85\u2028\u2029]", text))
            return
        for path, value in leaves(document.tree):
            assert type(value) in (dict, list, str, int, Decimal, bool, type(None))
            assert document.position(path) >= (1, 1)


def json_of(tree: Any) -> str:
    """Write a tree with its Decimals as numbers, which json.dumps would not."""
    if isinstance(tree, dict):
        return "{" + " ,".join(f"{json_of(key)}: {json_of(item)}" for key, item in tree.items()) + "\n}"
    if isinstance(tree, list):
        return "[\n" + ",".join(json_of(item) for item in tree) + "]"
    return format(tree, "f") if isinstance(tree, Decimal) else json.dumps(tree, ensure_ascii=False)


def trees() -> st.SearchStrategy[Any]:
    text = st.text(st.characters(exclude_categories=["Cc", "Cs", "Cn", "Co", "Cf", "Zl", "Zp"]), max_size=10)
    numbers = st.integers(-(10**20), 10**20) | st.decimals(-(10**9), 10**9, places=4)
    scalars = st.none() | st.booleans() | numbers | text
    nested = st.recursive(
        scalars, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(text, inner, max_size=4), max_leaves=20
    )
    return st.lists(nested, max_size=3) | st.dictionaries(text, nested, max_size=3)


@settings(max_examples=400, deadline=None)
@given(trees())
def test_json_reads_back_as_written_and_yaml_reads_the_same_text_alike(tree: Any) -> None:
    text = json_of(tree)
    document = parse_document(text, "x.json")
    assert document.tree == tree
    as_yaml = TreeBuilder("x.yaml").build(yaml_text.yaml_events(text, TreeBuilder("x.yaml")))
    assert as_yaml.tree == tree
    lines = text.split("\n")
    for path, value in leaves(tree):
        line, column = document.position(path)
        expected = json_of(path[-1]) if path and isinstance(path[-1], str) else json_of(value)
        assert lines[line - 1][column - 1 :].startswith(expected.split("\n")[0])


# --- Models ---------------------------------------------------------------------------------------


def test_a_good_document_becomes_its_model() -> None:
    coverage = validated(Coverage, parse_document(GOOD + "in_force: {from: 2026-01-01}\nsteps: [[0, 0.5]]", "x.yaml"))
    assert isinstance(coverage, Coverage)
    assert coverage.in_force == InForce.model_validate({"from": date(2026, 1, 1)})
    assert coverage.steps == ((0, Decimal("0.5")),)
    assert validated(TypeAdapter(list[int]), parse_document("[1, 2]", "x.json")) == [1, 2]


@pytest.mark.parametrize(("text", "line", "said"), BAD_FOR_THE_MODEL)
def test_what_the_model_refuses_is_told_in_plain_words_at_its_place(text: str, line: int, said: list[str]) -> None:
    with pytest.raises(DocumentRefused) as raised:
        validated(Coverage, parse_document(GOOD + text, "x.yaml"))
    assert [words for words in said if words not in str(raised.value)] == []
    assert {fault.line for fault in raised.value.faults} == {line}
    assert "Value error" not in str(raised.value)
    assert "Input should" not in str(raised.value)


def test_all_faults_are_told_in_the_order_of_the_text_and_fifty_at_most() -> None:
    with pytest.raises(DocumentRefused) as raised:
        validated(Coverage, parse_document("polcy: a\nterm: {kind: months, months: x}\nbasis: 3", "x.yaml"))
    assert [fault.line for fault in raised.value.faults] == [1, 1, 2, 3]
    assert 'Did you mean "policy"?' in str(raised.value)
    with pytest.raises(DocumentRefused, match=r'"x" is not a whole number[^$]*\n.*more faults are not listed'):
        validated(TypeAdapter(list[int]), parse_document("[" + "x," * 500 + "]", "x.yaml"))


FIELDS = [*Coverage.model_fields, "kind", "months", "hours", "limit", "early", "late", "next", "from", "span", "oil"]


def near_documents() -> st.SearchStrategy[Any]:
    """Trees with the model's own keys, at the right places and at wrong ones."""
    scalars = st.sampled_from([None, True, -1, 7, Decimal("0.5"), "months", "hours", "lifetime", "2026-02-30", ""])
    return st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(FIELDS), inner, max_size=6),
        max_leaves=25,
    )


@settings(max_examples=400, deadline=None)
@given(st.dictionaries(st.sampled_from(FIELDS), near_documents()))
def test_whatever_the_model_refuses_has_faults_with_a_line_and_a_message(tree: Any) -> None:
    document = parse_document(json_of(tree), "x.json")
    with pytest.raises(DocumentRefused) as raised:
        validated(Coverage, document)
    assert raised.value.faults
    assert all(fault.message and fault.line >= 1 for fault in raised.value.faults)
    assert "Input should" not in str(raised.value)


def test_a_list_is_not_called_too_short_because_its_items_are_wrong() -> None:
    with pytest.raises(DocumentRefused) as raised:
        validated(Coverage, parse_document(GOOD + "few: [x]", "x.yaml"))
    assert [fault.path for fault in raised.value.faults] == ["few[0]"]


def test_a_trail_through_an_unknown_member_of_a_union_is_followed_by_the_keys_of_the_document() -> None:
    spot = ModelMap({"type": "union", "choices": [{"type": "int"}]}).find(("renamed", "a", 0, "[key]"), {"a": [5]})
    assert (spot.path, spot.node, spot.keys()) == (("a", 0), 5, [])


def test_a_document_of_another_shape_altogether_is_told_so() -> None:
    for text, said in [("- a", "a list is not a mapping"), ("~", "nothing (null) is not"), ("text", '"text" is not a')]:
        with pytest.raises(DocumentRefused) as raised:
            validated(Coverage, parse_document(text, "x.yaml"))
        assert str(raised.value).startswith("x.yaml:1:1: ")
        assert said in str(raised.value)
