"""What would change a line: the facts that, were they proven, would bring it a better result.

Only reasons with a remedy are tried, in precedence order and together, until the line improves (at most five); then
each is left out again where it was not needed. Exact ranges are for the desk: a letter asks "if this service was done".
"""

from collections.abc import Callable, Mapping, Sequence

from rules.decision.assemble import question_words
from rules.decision.catalogue import KINDS, PRECEDENCE
from rules.decision.merge import MergedLine
from rules.measures.duties import DutyState, services_key
from schemas.decision import Remedy

MOST_REMEDIES = 5

Decide = Callable[[Mapping[str, int]], Sequence[MergedLine]]


def remedies_of(merged: Sequence[MergedLine], decide: Decide) -> tuple[Remedy, ...]:
    """Return the remedies of every line that is not paid in full; ``decide`` decides again under assumed facts."""
    found: list[Remedy] = []
    cache: dict[tuple[str, ...], Sequence[MergedLine]] = {}

    def decided(keys: tuple[str, ...]) -> Sequence[MergedLine]:
        if keys not in cache:
            cache[keys] = decide(dict.fromkeys(keys, 1))
        return cache[keys]

    for index, line in enumerate(merged):
        if line.outcome in ("pay", "pay_zero"):
            continue
        keys = _candidates(line)
        remedy = _remedy(index, line, keys, decided)
        if remedy is not None:
            found.append(remedy)
    return tuple(found)


def _candidates(line: MergedLine) -> dict[str, tuple[str, str]]:
    """Return assumable facts by key with desk and letter words, in the order of precedence of their reasons."""
    found: list[tuple[int, str, str, str]] = []
    for reason in line.shown.reasons:
        if KINDS[reason.code].remedy != "service_records" or reason.measures is None:
            continue
        name = reason.path.removeprefix("services.")
        group = reason.measures.group_of_line[line.shown.subject.line.line]
        state: DutyState = next(d for d in reason.measures.duties if d.duty == name and d.group == group.number)
        plain = name.replace("_", " ")
        late = [p for breach, p in state.breaches if breach == "late" and p.record is not None]
        for point in late:
            words = f"an inspection at the late {plain} service {point.record} that found the machine sound"
            if reason.policy.terms.services[name].late == "cures_if_inspected":
                found.append((PRECEDENCE[reason.code], f"inspection:{point.record}", words, words))
        key = services_key(name, group)
        details = line.world.details.get(key, [])
        if details:
            desk = f"records of the {plain} services due at {'; '.join(dict.fromkeys(details))}"
            hours = ", ".join(dict.fromkeys(text.split(" (")[0] for text in details))
            found.append(
                (
                    PRECEDENCE[reason.code],
                    key,
                    desk,
                    f"if the {plain} services due at {hours} were done in time, their records",
                )
            )
    for fact in line.facts:
        if fact.about in ("services", "evidence", "inspection"):
            words = question_words(fact, line.world.details)
            letter = words.split(" (")[0] if fact.about == "services" else words
            found.append((PRECEDENCE["fact_open"], fact.key, words, letter))
    return {key: (desk, letter) for _, key, desk, letter in sorted(found)}


def _remedy(
    index: int,
    line: MergedLine,
    keys: Mapping[str, tuple[str, str]],
    decided: Callable[[tuple[str, ...]], Sequence[MergedLine]],
) -> Remedy | None:
    tried: list[str] = []
    for key in list(keys)[:MOST_REMEDIES]:
        tried.append(key)
        if _better(decided(tuple(tried))[index], line):
            break
    else:
        return None
    best = decided(tuple(tried))[index]
    for key in tuple(tried[:-1]):
        without = tuple(k for k in tried if k != key)
        again = decided(without)[index]
        if _better(again, line) and again.maker >= best.maker:
            tried = list(without)
            best = again
    money = best.shown.money
    return Remedy(
        line=line.shown.subject.line.line,
        desk_words=" and ".join(keys[k][0] for k in tried),
        letter_words=" and ".join(keys[k][1] for k in tried),
        facts=tuple(tried),
        outcome=best.outcome,
        maker_pays=money.money(best.maker),
    )


def _better(after: MergedLine, before: MergedLine) -> bool:
    """Return whether a line improved: the maker pays more, or an undecided line is decided no worse."""
    if after.maker > before.maker:
        return True
    decided = after.outcome in ("pay", "pay_part", "pay_zero")
    return decided and before.outcome not in ("pay", "pay_part", "pay_zero") and after.maker >= before.maker
