"""Policies and conventions for the tests: a short one to change, and full ones that hold every kind of clause."""

from collections.abc import Iterable
from copy import deepcopy
from typing import Any

from rules.policy_book.book import PolicyBook, build_book
from rules.policy_book.compiled import CompiledPolicy
from schemas.conventions import Conventions
from schemas.documents import parse_document
from schemas.policy.document import CoveragePolicy

CONVENTIONS = """\
conventions: counted
version: 1
title: Counted for the tests
last_covered_day: day_before_anniversary
month_end: clamp_from_start
hours_at_cap: covered
percent_window: of_interval
calendar_percent: of_thirty_day_months
one_off_points: keep_their_hours
same_day_service: counts
share: exact
money: {round: half_up, at: line}
deduction_order: [allowance, share, deductible, caps]
exchange_rate_on: repair_ended_on
rate_gap: previous_published
facts: {missing: need_info, contradicts_itself: need_info, contradicts_other_record: refer}
absent_service_record: {counts_as: ask_first, not_done_when: [records_complete], answer_within: 30 days}
meter: {most_hours_a_day: 24, stuck_after: 120 days, single_spike: drop_with_note}
"""

SHORT = """\
policy: sprayer
version: 1
title: Orchard sprayer
layer: base
conventions: counted@1
currency: EUR
in_force: {from: 2026-01-01, selected_by: start_of_term}
source: {document: Owner booklet, edition: 1}
applies_to: {clause: "1", models: [QF40, QF60], owner: any, components: whole_machine, fitted: [factory]}
term:
  clause: "2"
  starts: {earliest_of: [retail_delivery]}
  ends: {first_of: [{months: 36}, {machine_hours: 2000}]}
  tested_on: failed_on
  hours_count_from: zero
pays:
  parts: {clause: "4", basis: dealer_net, price_on: repair_ended_on, handling: 15%, excess_borne_by: dealer}
  anything_else: {clause: "5", nothing: true, borne_by: owner}
"""

DUTY = """\
clause: "3"
tasks: [change_oil]
due: {at_hours: [100, 500], then_every: 500}
window: {hours: {early: 10%, late: 10%}}
early: counts
late: cures_from_its_date
next_due_from: due_point_inside_window
judged: every_closed_window
performed_by: [authorised_dealer]
proof: [{grade: A, all: [dealer_invoice]}]
repairs_count: true
bookings_count: false
new_component: keeps_schedule
links: [wheel_drive]
missed: {deny: linked_components}
done_wrong_by_dealer: owner_kept_whole
borne_by: owner
"""

FULL = """\
policy: full
version: 3
title: Everything a policy can say
layer: drive
conventions: counted@1
currency: EUR
in_force: {from: 2026-01-01, until: 2030-12-31, selected_by: start_of_term}
supersedes: [2]
extends_earlier: {started_from: 2025-01-01}
source: {document: Owner booklet, edition: 7}
owner_class: consumer
applies_to:
  clause: "1"
  models: [QF40, "QF6*"]
  serials: [{from: QF-100, until: QF-200}]
  built: {from: 2020-01-01, until: 2029-12-31}
  use: [residential]
  regions: [DE, US-CA]
  owner: first
  components: [wheel_drive, pump]
  except_components: [battery]
  fitted: [factory, retrofit_kit, replacement]
term:
  clause: "2"
  text: As the booklet says.
  starts:
    earliest_of: [retail_delivery, {demo_reaches: 50}, {event: dealer_invoice, plus: 6 months}]
    otherwise: [built]
  ends:
    first_of: [{months: 36}, {days: 900, from: built}, {machine_hours: 2000}, {component_hours: 1500}, {wear: 1/4}]
  tested_on: failed_on
  hours_count_from: zero
  retrofit_kit: {term: longer_of_machine_and_span, span: 90 days, schedule: from_fitting}
  replacement: {term: of_the_machine, schedule: of_the_machine}
carve_outs:
  - clause: "2.1"
    components: [belt]
    starts: {earliest_of: [built]}
    ends: {last_of: [{days: 60}, {machine_hours: 90}]}
  - {clause: "2.2", components: [shear_bolt], never: true}
services:
  break_in:
    clause: "3.1"
    tasks: [change_oil, change_filter]
    due:
      at_hours: [{at: 50, from_hours: 40, until_hours: 60}, {at: 200, early: 20, late: 10%}]
      then_every: 250
      calendar: {every: 12 months, holds_from: start_of_term, in_storage: runs}
    window: {hours: {early: 25, late: 10%, at_most: 30}, calendar: {early: 30, late: 30}}
    early: counts
    late: cures_from_its_date
    next_due_from: actual
    judged: every_closed_window
    performed_by: [authorised_dealer, owner]
    proof: [{grade: A, all: [dealer_invoice]}, {grade: B, all: [parts_receipt, log_entry]}]
    fluid: {fluids: drive_oils, grace: 6 months, at_least_litres: 3}
    repairs_count: true
    bookings_count: false
    new_component: keeps_schedule
    activates: false
    advised_on: 2026-02-01
    links: [wheel_drive]
    missed: {fall_back_to: older@1, reach: linked_components}
    wrong_fluid: {share: 1/2, reach: everything}
    done_wrong_by_dealer: owner_kept_whole
    borne_by: owner
  grease:
    clause: "3.2"
    tasks: [grease]
    due: {then_every: 100}
    window: {hours: {early: 10, late: 10}}
    early: does_not_count
    late: never_cures
    next_due_from: due_point
    judged: last_closed_window
    performed_by: [independent]
    proof: [{grade: C, all: [statement]}]
    fluid: {fluids: greases, grace: null}
    repairs_count: false
    bookings_count: true
    new_component: own_schedule
    activates: true
    links: [pump]
    missed: {deny: everything}
    wrong_fluid: refer
    done_wrong_by_dealer: counts_as_missed
    borne_by: dealer
prorating:
  clause: "4"
  axes:
    - {by: machine_hours, share: {points: [[0, 1], [900, 1], [2400, 0]], between: linear}}
    - {by: complete_months, share: {steps: [[0, 1], [24, 1/2]]}}
    - {by: wear, share: {zero_at: 1, credit: whole_term, free_until: "0.25"}}
  combine: worse_of
  free_while: {first_of: [{months: 12}, {machine_hours: 500}]}
  items: [parts]
  wear_floor: 2
  owner_pays_on: allowed_amount
  borne_by: owner
  examples: [{by: machine_hours, at: 1650, share: 1/2}]
pays:
  parts:
    clause: "5.1"
    share: 1/2
    basis: dealer_net
    price_on: repair_ended_on
    handling: 15%
    handling_at_most: 200
    until: {first_of: [{months: 30}]}
    after_borne_by: owner
    at_most: 5000
    excess_borne_by: dealer
  labour:
    clause: "5.2"
    hours: lesser_of_actual_and_flat_rate
    rate: 60
    rate_on: repair_ended_on
    hours_in: tenths
    without_flat_rate: actual
    excess_borne_by: dealer
  travel: {clause: "5.3", per_unit: "0.60", unit: km, units_at_most: 100, excess_borne_by: owner}
  freight: {clause: "5.4", as_invoiced: invoice_needed, handling: 5%, excess_borne_by: dealer}
  sublet: {clause: "5.5", fixed: 80, excess_borne_by: dealer}
  diagnosis: {clause: "5.6", hours_at_most: 2, rate: registered, rate_on: repair_ended_on, excess_borne_by: dealer}
  fluids: {clause: "5.7", nothing: true, borne_by: owner}
  supplies: {clause: "5.8", of_labour: 5%, excess_borne_by: dealer}
  anything_else: {clause: "5.9", nothing: true, borne_by: owner}
  either_or: {clause: "5.10", items: [parts, labour], after: {months: 24}, picks: higher, borne_by: owner}
exclusions:
  - {clause: "6.1", wear: [belt], unless: caused_by_covered_failure, borne_by: owner}
  - {clause: "6.2", consumables: [filter], unless: never, borne_by: owner}
  - {clause: "6.3", causes: [collision, flood], borne_by: owner}
  - {clause: "6.4", alterations: [altered], reach: everything, borne_by: owner}
deductible: {clause: "7", amount: 100, borne_by: owner}
caps:
  - {clause: "8.1", over: claim, at: {amount: 9000}, items: [parts], components: [pump], excess_borne_by: owner}
  - {clause: "8.2", over: component_lifetime, at: {of: part_list_price}, items: all, excess_borne_by: owner}
"""

PRICED = """\
clause: "4"
axes: [{by: complete_30_day_units, share: {owner_prices: [[0, 0], [24, "40.00"]]}}]
items: [parts]
owner_pays_on: list_price
borne_by: owner
"""


def tree_of(text: str) -> Any:
    return parse_document(text, "example.yaml").tree


def merged(tree: Any, change: Any) -> Any:
    """Return a copy of ``tree`` with ``change`` laid over it; None takes a key away."""
    if not isinstance(tree, dict) or not isinstance(change, dict):
        return deepcopy(change)
    result = {key: deepcopy(value) for key, value in tree.items() if key not in change or change[key] is not None}
    for key, value in change.items():
        if value is not None:
            result[key] = merged(result[key], value) if key in result else deepcopy(value)
    return result


def policy(change: Any = None, base: str = SHORT) -> CoveragePolicy:
    return CoveragePolicy.model_validate(merged(tree_of(base), change or {}))


def duty(change: Any = None) -> Any:
    return merged(tree_of(DUTY), change or {})


def conventions(change: Any = None) -> Conventions:
    return Conventions.model_validate(merged(tree_of(CONVENTIONS), change or {}))


def book(*policies: CoveragePolicy, counted: Iterable[Conventions] = ()) -> PolicyBook:
    return build_book(policies, [*counted] or [conventions()])


def compiled(change: Any = None, base: str = SHORT) -> CompiledPolicy:
    one = policy(change, base)
    return book(one).policy(str(one.ref))


def full_book(change: Any = None) -> PolicyBook:
    """Return the full policy with the versions it replaces and falls back to."""
    older = policy({"policy": "older", "applies_to": {"fitted": ["factory", "retrofit_kit", "replacement"]}} | LATER)
    replaced = policy({"policy": "full", "version": 2, "layer": "drive"})
    return book(policy(change, FULL), replaced, older)


LATER = {
    "term": {
        "retrofit_kit": {"term": "of_the_machine", "schedule": "of_the_machine"},
        "replacement": {"term": "of_the_machine", "schedule": "of_the_machine"},
    }
}


def falling(target: str, **change: Any) -> dict[str, Any]:
    """Return a change of terms: who misses a service falls back to another policy."""
    missed = {"fall_back_to": target, "reach": "linked_components"}
    return {"services": {"oil": duty({"missed": {"deny": None, **missed}})}, **change}
