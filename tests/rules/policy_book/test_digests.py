"""The digest of a policy: what must not change it, and that everything else does."""

import random
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.policy_book.book import PolicyBook
from schemas.documents import parse_document, validated
from schemas.policy.document import CoveragePolicy
from tests.rules.policy_book.examples import FULL, SHORT, book, conventions, falling, full_book, policy, tree_of

pytestmark = pytest.mark.fast


def read(text: str) -> CoveragePolicy:
    return validated(CoveragePolicy, parse_document(text, "sprayer.yaml"))


def shuffled(node: Any, chance: random.Random) -> Any:
    if isinstance(node, dict):
        keys = list(node)
        chance.shuffle(keys)
        return {key: shuffled(node[key], chance) for key in keys}
    return [shuffled(item, chance) for item in node] if isinstance(node, list) else node


def plain_text(node: Any) -> Any:
    """Return a tree with its numbers as text, which a YAML writer needs for Decimals."""
    if isinstance(node, dict):
        return {key: plain_text(value) for key, value in node.items()}
    if isinstance(node, list):
        return [plain_text(value) for value in node]
    return node if isinstance(node, str | bool | int | None) else str(node)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), flow=st.booleans())
def test_order_of_keys_and_formatting_change_no_digest(seed: int, flow: bool) -> None:
    tree = shuffled(plain_text(tree_of(SHORT)), random.Random(seed))
    text = yaml.safe_dump(tree, sort_keys=False, default_flow_style=flow, indent=2 + seed % 5)
    assert book(read(text)).policy("sprayer@1").digest == book(policy()).policy("sprayer@1").digest


def test_saying_the_format_or_a_share_in_another_way_changes_no_digest() -> None:
    before = book(policy()).policy("sprayer@1").digest
    parts = {"parts": {"handling": "3/20"}}
    ends = {"first_of": [{"months": 36}, {"machine_hours": "2000.0"}]}
    for same in ({"format": 1}, {"pays": parts}, {"term": {"ends": ends}}):
        assert book(policy(same)).policy("sprayer@1").digest == before, same


def _leaves(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[tuple[Any, ...], Any]]:
    if isinstance(node, dict):
        return [leaf for key, value in node.items() for leaf in _leaves(value, (*path, key))]
    if isinstance(node, list):
        return [leaf for index, value in enumerate(node) for leaf in _leaves(value, (*path, index))]
    return [(path, node)]


def _with(tree: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    copy = dict(tree) if isinstance(tree, dict) else list(tree)
    copy[path[0]] = _with(tree[path[0]], path[1:], value)
    return copy


PINNED = ("policy", "version", "conventions", "currency", "layer", "supersedes")


def test_any_change_of_the_terms_changes_the_digest() -> None:
    tree = tree_of(FULL)
    digests = {full_book().policy("full@3").digest}
    counted = 1
    for path, value in _leaves(tree):
        if path[0] in PINNED or path[-1] == "selected_by":
            continue  # a book of this size refuses another one
        other = value + 1 if isinstance(value, int) and not isinstance(value, bool) else f"{value}x"
        try:
            changed = CoveragePolicy.model_validate(_with(tree, path, other))
        except ValueError:
            continue
        counted += 1
        digests.add(full_book_of(changed).policy("full@3").digest)
    assert counted > 80
    assert len(digests) == counted


def full_book_of(full: CoveragePolicy) -> PolicyBook:
    others = [p.terms for p in full_book().by_name.values() if p.name != "full@3"]
    return book(full, *others)


def test_a_change_of_the_conventions_changes_the_digest() -> None:
    pinned = [conventions(), conventions({"month_end": "roll_to_next_month"}), conventions({"money": {"at": "step"}})]
    assert len({book(policy(), counted=[one]).policy("sprayer@1").digest for one in pinned}) == 3


def test_a_change_of_a_fall_back_changes_the_digest_of_all_that_lead_to_it() -> None:
    names = ("a@1", "b@1")
    chain = [policy(falling("b@1", policy="a")), policy(falling("c@1", policy="b"))]
    before = book(*chain, policy({"policy": "c"}))
    after = book(*chain, policy({"policy": "c", "term": {"ends": {"first_of": [{"months": 12}]}}}))
    assert all(before.policy(name).digest != after.policy(name).digest for name in names)
