"""Recomputes what a decision's document says of itself: comparisons, steps, sums, outcomes, questions and digests.

It reads the document alone (and the published order of reason codes) and shares nothing with ``rules``. Each finding is
a sentence; a sound document gives none. The rounding mode is not in the document: a rounded amount lies less than a
minor unit from the exact one.
"""

import hashlib
import json
import operator
import re
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

Doc = dict[str, Any]
BEARERS = ("owner", "dealer", "other_payer", "open")
FIELDS = {"owner": "owner_owes", "dealer": "dealer_bears", "other_payer": "other_payer", "open": "open"}
OPERATORS = {
    "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge, "==": operator.eq, "!=": operator.ne,
}  # fmt: skip
READ = {
    "h": Fraction, "day": date.fromisoformat, "months": int, "share": Fraction, "amount": Fraction, "text": str,
}  # fmt: skip
UNDECIDED = ("need_info", "refer")
ASKED = ("fact_open", "dates_contradict")  # reasons with a question of their own
SECTIONS = {
    "outcome": ("claim", "serial", "dealer", "status", "lines", "payout", "questions", "proposals", "deadlines"),
    "derivation": ("measures", "firings"),
    "envelope": ("engine", "format", "cautions", "decided_on", "remedies"),
}


def check(document: Doc, order: Mapping[str, int]) -> list[str]:
    """Return what is wrong with a decision's document; ``order`` gives the place of every reason code."""
    found: list[str] = []
    for line in document["lines"]:
        parts = (_amounts(line), _steps(line), _bearers(line), _outcome(line), _reasons(line, order), _share(line))
        found += [f"line {line['line']}: {text}" for part in parts for text in part]
    found += [*_status(document), *_questions(document), *_payout(document), *_remedies(document)]
    found += _digests(document)
    return found


def _minor(line: Doc) -> Fraction:
    """Return one minor unit of the line's currency."""
    return Fraction(Decimal(1).scaleb(int(Decimal(line["claimed"]).as_tuple().exponent)))


def _amounts(line: Doc) -> Iterator[str]:
    borne = sum(Decimal(line[field]) for field in ("maker_pays", *FIELDS.values()))
    if Decimal(line["claimed"]) + Decimal(line["added"]) != borne:
        yield f"claimed {line['claimed']} and added {line['added']} are not the {borne} that is borne"
    for field in ("claimed", "added", "allowed", "maker_pays", *FIELDS.values()):
        if Decimal(line[field]) < 0:
            yield f"{field} {line[field]} is less than nothing"
    if Decimal(line["maker_pays"]) > Decimal(line["allowed"]):
        yield f"the maker pays {line['maker_pays']}, more than the {line['allowed']} allowed"


def _steps(line: Doc) -> Iterator[str]:
    steps, unit = line["steps"], _minor(line)
    first = steps[0]
    if first["step"] != "claimed" or {first["before"], first["after"]} != {line["claimed"]}:
        yield f"the first step is not the claimed {line['claimed']}"
    if abs(Fraction(first["exact"]) - Fraction(first["after"])) >= unit:
        yield f"claimed {first['after']} is not {first['exact']} rounded"
    for before, step in pairwise(steps):
        if step["before"] != before["after"]:
            yield f"step {step['step']} begins with {step['before']}, the one before it ended with {before['after']}"
        yield from _one_step(before, step, unit)
    decided = not _open_reasons(line)
    last = Decimal(steps[-1]["after"])
    if (decided and last != Decimal(line["maker_pays"])) or last < Decimal(line["maker_pays"]):
        yield f"the steps end with {last}, and the maker pays {line['maker_pays']}"


def _one_step(before: Doc, step: Doc, unit: Fraction) -> Iterator[str]:
    start, after, exact = Fraction(before["exact"]), Fraction(step["after"]), Fraction(step["exact"])
    if step["step"] == "added" and step["bearer"] is not None:
        if exact != start or step["before"] != step["after"]:
            yield f"step added at once to {step['bearer']} changes the running amount"
        return
    expected = start
    if step["factor"] is not None:
        expected = start * Fraction(step["factor"])
    elif step["amount"] is not None:
        signed = Fraction(step["amount"]) if step["step"] == "added" else -Fraction(step["amount"])
        expected = max(start + signed, Fraction(0))
    else:
        yield f"step {step['step']} says neither a factor nor an amount"
    rounded_before = exact == after and abs(after - expected) < unit
    if exact != expected and not rounded_before and exact != 0:
        yield f"step {step['step']} comes to {exact}, and {expected} follows from the one before"
    whole = step["step"] in ("deductible", "caps", "open") and step["amount"] is not None
    taken = Fraction(step["before"]) - Fraction(step["amount"]) == after if whole else False
    if not taken and abs(after - exact) >= unit:
        yield f"step {step['step']}: {after} is not {exact} rounded"


def _open_reasons(line: Doc) -> list[Doc]:
    return [r for r in line["reasons"] if r["code"] in ("too_many_open_facts", *ASKED)]


def _bearers(line: Doc) -> Iterator[str]:
    """What the steps move is what the bearers bear, where the line is decided."""
    if _open_reasons(line):
        return
    moved, added = dict.fromkeys(BEARERS, Decimal(0)), Decimal(0)
    for step in line["steps"]:
        change = Decimal(step["before"]) - Decimal(step["after"])
        if step["step"] == "added":
            at_once = step["bearer"] is not None
            added += Decimal(step["amount"]) if at_once else -change
            if at_once:
                moved[step["bearer"]] += Decimal(step["amount"])
        elif step["bearer"] is not None:
            moved[step["bearer"]] += change
    if added != Decimal(line["added"]):
        yield f"the steps add {added}, the line says {line['added']}"
    for who, amount in moved.items():
        if amount != Decimal(line[FIELDS[who]]):
            yield f"the steps move {amount} to {who}, the line says {line[FIELDS[who]]}"


def _outcome(line: Doc) -> Iterator[str]:
    outcome = line["outcome"]
    maker, claimed, still_open = (Decimal(line[f]) for f in ("maker_pays", "claimed", "open"))
    cut = any(Decimal(step["before"]) > Decimal(step["after"]) for step in line["steps"])
    holds = {
        "pay": maker > 0 and not cut and not still_open,
        "pay_part": maker > 0 and cut and not still_open,
        "pay_zero": maker == 0 and not still_open,
        "deny": maker == 0 and not still_open and Decimal(line["added"]) == 0,
    }
    if outcome not in UNDECIDED and not holds.get(outcome, False):
        yield f"{outcome} does not fit: {maker} of {claimed}, {still_open} open"
    if outcome in UNDECIDED and not line["reasons"]:
        yield f"{outcome} without a reason"
    if (outcome in ("deny", "pay_part") or (outcome == "pay_zero" and claimed)) and not line["reasons"]:
        yield f"{outcome} without a reason"
    if outcome not in UNDECIDED and _open_reasons(line):
        yield f"{outcome}, although a fact is open"


def _reasons(line: Doc, order: Mapping[str, int]) -> Iterator[str]:
    for kind in ("reasons", "notes"):
        places = [order.get(reason["code"], -1) for reason in line[kind]]
        if -1 in places:
            yield f"{kind} hold a code that is not published"
        if places != sorted(places):
            yield f"{kind} are out of order"
        for reason in line[kind]:
            comparison = reason["comparison"]
            if comparison is not None and not _holds(comparison):
                yield f"{reason['code']}: {comparison['left']} {comparison['operator']} {comparison['right']} is false"
            yield from _worn(reason)
            yield from _counted(reason)
            yield from _due(reason)


AT_BEGINNING = "machine hours at "  # the start of term, or the fitting


def _worn(reason: Doc) -> Iterator[str]:
    """The worn share follows from what was measured: what is gone, of what there was down to where it is used up."""
    facts, comparison = dict(reason["facts"]), reason["comparison"]
    if not {"new", "left", "used up at"} <= set(facts):
        return
    if comparison is None or comparison["quantity"] != "worn share":
        yield f"{reason['code']} shows a measured wear and compares no worn share"
        return
    new, left, end = (Fraction(facts[name]) for name in ("new", "left", "used up at"))
    share = min((new - left) / (new - end), Fraction(1))
    if Fraction(comparison["left"]) != share:
        yield f"{reason['code']}: {new} new and {left} left are {share} worn, not {comparison['left']}"


def _counted(reason: Doc) -> Iterator[str]:
    """Hours that count against a limit are the machine's, less those it had at the start of term or at the fitting."""
    facts, comparison = dict(reason["facts"]), reason["comparison"]
    if "hours counted" not in facts:
        return
    counting = ("hours counted", "machine hours")
    hours = {name: _span(text) for name, text in facts.items() if name in counting or name.startswith(AT_BEGINNING)}
    least, most = hours["hours counted"]
    if comparison is None or Decimal(comparison["left"]) != least:
        yield f"{reason['code']} counts {least} h and does not compare them"
    begun = [value for name, value in hours.items() if name.startswith(AT_BEGINNING)]
    if len(begun) != ("machine hours" in hours):
        yield f"{reason['code']} shows what was taken off without what it was taken from, or the other way round"
    elif begun and [whole - begun[0][0] for whole in hours["machine hours"]] != [least, most]:
        yield f"{reason['code']}: {facts['machine hours']} less {begun[0][0]} h are not {facts['hours counted']}"


def _due(reason: Doc) -> Iterator[str]:
    """A window that is compared is one of the first due point told; hours and a day are due by what comes first."""
    due, comparison = dict(reason["facts"]).get("due"), reason["comparison"]
    for point in [] if due is None else due.split("; "):
        if ") or " in point and not point.endswith("whichever comes first"):
            yield f"{reason['code']}: {point} does not say that it is due by whichever comes first"
    if due is None or comparison is None or not comparison["quantity"].endswith("after the window"):
        return
    last, day = comparison["right"], comparison["unit"] == "day"
    if day:
        on = date.fromisoformat(last)
        last = f"{on.day} {on:%B %Y}"
    ends = re.findall(r"to (\d+ \w+ \d+)\)" if day else r"–([\d,.]+) h\)", due.split("; ")[0])
    if last not in ends and not any(not day and Decimal(end.replace(",", "")) == Decimal(last) for end in ends):
        yield f"{reason['code']} compares {comparison['right']}, which ends no window of {due}"


def _span(text: str) -> tuple[Decimal, Decimal]:
    """Return the least and the most that hours are told to be: 1,200.0 h, or 1,200.0 to 1,240.0 h."""
    ends = [Decimal(end.replace(",", "")) for end in text.removesuffix(" h").split(" to ")]
    return ends[0], ends[-1]


def _holds(comparison: Doc) -> bool:
    read = READ[comparison["unit"]]
    try:
        left, right = read(comparison["left"]), read(comparison["right"])
    except ValueError:
        return False  # not readable in its own unit
    return bool(OPERATORS[comparison["operator"]](left, right))


def _share(line: Doc) -> Iterator[str]:
    """Where the share alone cut what was allowed, the maker pays the share of it."""
    after_allowance = {s["step"] for s in line["steps"]} & {"deductible", "caps", "open", "either_or"}
    shares = [s for s in line["steps"] if s["step"] == "share"]
    by_factor = len(shares) <= 1 and all(s["factor"] is not None for s in shares)
    if (
        line["share"] is None
        or line["outcome"] not in ("pay", "pay_part", "pay_zero")
        or after_allowance
        or not by_factor
    ):
        return
    due = Fraction(line["allowed"]) * Fraction(line["share"])
    if abs(due - Fraction(line["maker_pays"])) > _minor(line):
        yield f"{line['share']} of {line['allowed']} is not the {line['maker_pays']} that the maker pays"


def _status(document: Doc) -> Iterator[str]:
    claims_nothing = [x["outcome"] == "pay_zero" and not Decimal(x["claimed"]) for x in document["lines"]]
    outcomes = {x["outcome"] for x, nothing in zip(document["lines"], claims_nothing, strict=True) if not nothing}
    outcomes = outcomes or {"pay_zero"}
    rest = outcomes - {"deny"}
    if not rest:
        status = "denied"
    elif outcomes == {"pay"}:
        status = "paid_in_full"
    elif rest == {"pay_zero"}:
        status = "nothing_due"
    elif "refer" in rest <= {"refer", "need_info"}:
        status = "held_for_person"
    elif rest == {"need_info"}:
        status = "waiting_for_dealer"
    elif rest <= {"pay", "pay_part", "pay_zero"}:
        status = "paid_in_part"
    else:
        status = "partly_decided"
    if document["status"] != status:
        yield f"the status of {sorted(outcomes)} is {status}, not {document['status']}"


def _questions(document: Doc) -> Iterator[str]:
    asked = {(q["id"], line) for q in document["questions"] for line in q["lines"]}
    named = {
        (value, line["line"])
        for line in document["lines"]
        for reason in line["reasons"]
        if reason["code"] in ASKED
        for key, value in reason["facts"]
        if key == "fact"
    }
    if asked != named:
        yield f"questions and open facts differ: {sorted(asked ^ named)}"
    due = [["answer_question", q["id"], q["answer_by"]] for q in document["questions"] if q["answer_by"] is not None]
    if [d for d in document["deadlines"] if d[0] == "answer_question"] != due:
        yield "the days to answer by are not among the deadlines"


def _payout(document: Doc) -> Iterator[str]:
    payout = document["payout"]
    sums: dict[str, Fraction] = {}
    for line in document["lines"]:
        sums[line["currency"]] = sums.get(line["currency"], Fraction(0)) + Fraction(line["maker_pays"])
    rates: dict[frozenset[str], list[tuple[str, Fraction]]] = {}
    for row in payout["rates"]:
        match = re.search(r": 1 ([A-Z]{3}) = (\S+) ([A-Z]{3})$", row)
        if match is None:
            yield f"the rate row {row} is not readable"
            return
        rates.setdefault(frozenset((match[1], match[3])), []).append((match[1], Fraction(match[2])))
    total = Fraction(0)
    held = " ".join(payout["held"])
    for currency, amount in sums.items():
        if currency == payout["currency"] or not amount:
            total += amount
            continue
        known = rates.get(frozenset((currency, payout["currency"])), [])
        if len(known) == 1 and f" {currency}:" not in held:
            total += amount * known[0][1] if known[0][0] == currency else amount / known[0][1]
        elif not (not known and f" {currency}:" in held):
            return  # several rates for one pair: the document does not say which sum each one converts
    unit = Fraction(Decimal(1).scaleb(int(Decimal(payout["amount"]).as_tuple().exponent)))
    if abs(total - Fraction(payout["amount"])) >= unit:
        yield f"the lines come to {total} {payout['currency']}, the payout says {payout['amount']}"


def _remedies(document: Doc) -> Iterator[str]:
    """What would change a line brings the claim as a whole more, and says so of every line that it changes."""
    now = {line["line"]: line for line in document["lines"]}
    for remedy in document["remedies"]:
        name, also, payout = remedy["line"], dict(remedy["also"]), remedy["payout"]
        if name not in now or not set(also) <= set(now) - {name}:
            yield f"a remedy of line {name} changes {sorted(also)}, of lines {sorted(now)}"
            continue
        after = {name: remedy["maker_pays"], **also}
        more = {line: Decimal(amount) - Decimal(now[line]["maker_pays"]) for line, amount in after.items()}
        if (payout is not None) != bool(also):
            yield f"a remedy of line {name} tells the payout where no other line changes, or does not where one does"
        if any(not more[line] for line in also):
            yield f"a remedy of line {name} names another line that it leaves as it is"
        if more[name] < 0:
            yield f"a remedy of line {name} takes {-more[name]} from it"
        if remedy["outcome"] in UNDECIDED and not any(more.values()):
            continue  # it says what the line waits for, and promises nothing
        if payout is None:
            comes_to_more = more[name] > 0
        else:
            lines = [{**line, "maker_pays": after.get(key, line["maker_pays"])} for key, line in now.items()]
            yield from (
                f"with the remedy of line {name}: {said}" for said in _payout({"lines": lines, "payout": payout})
            )
            held = payout["held"] or document["payout"]["held"]
            comes_to_more = bool(held) or Decimal(payout["amount"]) > Decimal(document["payout"]["amount"])
        if not comes_to_more:
            yield f"the remedy of line {name} brings the claim no more"


def _digests(document: Doc) -> Iterator[str]:
    for name, keys in SECTIONS.items():
        section = {key: document[key] for key in keys}
        if name == "envelope":
            section["claim_file"] = document["digests"]["claim_file"]
        text = json.dumps(section, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        if document["digests"][name] != f"sha256:{hashlib.sha256(text.encode()).hexdigest()}":
            yield f"the digest of the {name} is not that of its bytes"
