"""Every reason code: its text, its place in the order of precedence, who bears what it takes, and its remedy.

Reasons of a line are listed in this order, whatever the order of the input. A bearer of None is said by the policy's
clause, so that the text of such a code names nobody who bears anything. A remedy names what a dealer or a person could
supply; the day and the hours of a failure that are on file are never one, nor is the start of the term that they are
held against: whoever is told which of them would be paid has been told what to write. A reading that is missing or
impossible is asked for, without saying which one would help.
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Effect = Literal["deny", "refer", "ask", "fall_back", "lower_share", "cut", "note"]
RemedyKind = Literal["service_records", "evidence", "statement", "table_row"]


@dataclass(frozen=True, slots=True)
class ReasonKind:
    code: str
    effect: Effect
    text: str  # the finding in a sentence, without figures
    bearer: Literal["owner", "dealer", None]
    remedy: RemedyKind | None


# The published order of precedence, first to last.
_KINDS = (
    # Which coverage
    ReasonKind("no_coverage_for_machine", "deny", "No coverage names this machine.", "owner", None),
    ReasonKind(
        "no_version_in_force",
        "deny",
        "No version of the coverage was in force on the date that selects it.",
        "owner",
        None,
    ),
    ReasonKind(
        "serial_out_of_range", "deny", "The serial number lies outside the range the coverage names.", "owner", None
    ),
    ReasonKind(
        "built_out_of_range", "deny", "The build date lies outside the range the coverage names.", "owner", None
    ),
    ReasonKind("use_not_covered", "deny", "The coverage does not reach machines in this use.", "owner", None),
    ReasonKind("region_not_covered", "deny", "The coverage does not reach machines in this region.", "owner", None),
    ReasonKind("later_owner", "deny", "The coverage ends with the first owner.", "owner", None),
    ReasonKind(
        "fitting_not_covered", "deny", "The coverage does not reach a component fitted in this way.", "owner", None
    ),
    ReasonKind("model_not_named", "deny", "The coverage does not name this model.", "owner", None),
    ReasonKind("component_not_named", "deny", "The coverage does not name this component.", "owner", None),
    ReasonKind("component_never_covered", "deny", "This component is never covered.", "owner", None),
    # Term
    ReasonKind("outer_limit_passed", "deny", "The outer time limit had passed.", "owner", None),
    ReasonKind("term_elapsed", "deny", "The term had ended.", "owner", None),
    ReasonKind("hour_limit_passed", "deny", "The hour limit was exceeded.", "owner", None),
    ReasonKind("worn_out", "deny", "The part was worn beyond the limit.", "owner", None),
    ReasonKind("every_limit_passed", "deny", "The last of the limits had passed.", "owner", None),
    # What happened to the machine
    ReasonKind("excluded_cause", "deny", "The cause of the failure is excluded.", None, None),
    ReasonKind("part_altered", "deny", "A part had been altered.", None, None),
    ReasonKind("part_of_other_make", "deny", "A part of another make was fitted.", None, None),
    ReasonKind("wear_item", "deny", "The part wears out in ordinary use.", None, None),
    ReasonKind("consumable", "deny", "The item is used up in ordinary use.", None, None),
    # Services
    ReasonKind(
        "coverage_not_activated",
        "deny",
        "The service that activates the coverage is not proven.",
        None,
        "service_records",
    ),
    ReasonKind("service_missed", "deny", "A required service is missing.", None, "service_records"),
    ReasonKind(
        "service_late",
        "deny",
        "A required service was late, and a late one does not restore the coverage.",
        None,
        "service_records",
    ),
    ReasonKind(
        "service_fluid_not_approved",
        "deny",
        "No record shows that a required service used a fluid of the list.",
        None,
        None,
    ),
    ReasonKind(
        "service_by_other_hands",
        "deny",
        "A required service was done by someone the coverage does not accept.",
        None,
        "service_records",
    ),
    # For a person
    ReasonKind("serial_differs", "refer", "The removed part is not the one on file as fitted.", None, "statement"),
    ReasonKind(
        "symptom_first", "refer", "The trouble was noted before the overdue service was done.", None, "statement"
    ),
    ReasonKind("before_term", "refer", "The failure lies before the start of term.", None, None),
    ReasonKind("no_hour_meter", "refer", "The machine has no hour meter, and its hours decide.", None, None),
    ReasonKind("exchange_rate_missing", "refer", "An exchange rate is missing.", None, "table_row"),
    ReasonKind("price_not_listed", "refer", "The part is on no price list in force.", None, "table_row"),
    ReasonKind("amount_missing", "refer", "The line states no amount to pay.", None, "statement"),
    ReasonKind("labour_undecided", "refer", "It is a share of labour that is not decided.", None, None),
    ReasonKind("cause_undecided", "refer", "The failure said to have ruined it is not decided.", None, None),
    ReasonKind(
        "choice_undecided",
        "refer",
        "Which of two kinds of items is paid hangs on a line that is not decided.",
        None,
        None,
    ),
    ReasonKind("price_paid_missing", "ask", "What the owner paid for the part is not on file.", None, "statement"),
    ReasonKind("labour_rate_missing", "refer", "The dealer's labour rate is not on file.", None, "table_row"),
    ReasonKind("no_flat_rate_time", "refer", "The operation has no flat-rate time.", None, "table_row"),
    ReasonKind("cap_price_missing", "refer", "The price that the cap depends on is not on file.", None, "table_row"),
    ReasonKind("too_many_open_facts", "refer", "Too many facts are open to decide.", None, None),
    # Open facts
    ReasonKind("dates_contradict", "ask", "Days of the claim contradict one another.", None, "statement"),
    ReasonKind("fact_open", "ask", "A fact that changes the result is missing or doubtful.", None, "evidence"),
    # Items and money
    ReasonKind("item_not_paid", "deny", "Items of this kind are not paid.", None, None),
    ReasonKind("item_period_over", "deny", "The shorter period of these items had ended.", None, None),
    ReasonKind("invoice_missing", "cut", "The outside bill is not on file.", None, "evidence"),
    ReasonKind("either_or", "cut", "From this point of the term only one of two kinds of items is paid.", None, None),
    ReasonKind("price_above_list", "cut", "The typed price is above the price list.", None, None),
    ReasonKind("handling_capped", "cut", "Handling is capped.", None, None),
    ReasonKind("operations_overlap", "cut", "Operations done in one visit overlap.", None, None),
    ReasonKind("time_above_flat_rate", "cut", "The time is above the flat-rate time.", None, None),
    ReasonKind("hours_in_tenths", "cut", "Time counts in full tenths of an hour.", None, None),
    ReasonKind("rate_above_registered", "cut", "The rate is above the registered one.", None, None),
    ReasonKind("fixed_share", "cut", "A fixed share of these items is paid.", None, None),
    ReasonKind("above_allowance", "cut", "The amount is above the allowance.", None, None),
    ReasonKind("prorated_to_nothing", "cut", "Covered, but the paid share has fallen to nothing.", None, None),
    ReasonKind("prorated", "cut", "The paid share has fallen with use or age.", None, None),
    ReasonKind(
        "service_lowers_share",
        "cut",
        "A required service was not done as it should be, which lowers the paid share.",
        None,
        "service_records",
    ),
    ReasonKind("deductible", "cut", "The deductible is taken off.", None, None),
    ReasonKind("cap_reached", "cut", "The cap is reached.", None, None),
    # Notes: they decide nothing
    ReasonKind("window_open", "note", "A service was due and its window was still open.", None, None),
    ReasonKind("service_cured", "note", "A service was late; cover counts again from its date.", None, None),
    ReasonKind("service_early", "note", "A service was done before its window; it counts.", None, None),
    ReasonKind("service_booked", "note", "A service was booked in time and delayed by the dealer.", None, None),
    ReasonKind("service_noted", "note", "A service was not done as it should be; that is only noted.", None, None),
    ReasonKind("records_open", "note", "Service records are not on file; they change nothing here.", None, None),
    ReasonKind("dates_set_aside", "note", "Days on file contradict one another; they change nothing here.", None, None),
    ReasonKind("papers_came_later", "note", "The papers of a service came in after its date.", None, None),
    ReasonKind(
        "dealer_fault_in_service",
        "note",
        "By its record a dealer of the maker did the service wrongly; that is not held against the owner.",
        None,
        None,
    ),
    ReasonKind(
        "dealer_work_not_told",
        "note",
        "What a dealer of the maker did in the service is not wholly on file; that is not held against the owner.",
        None,
        None,
    ),
    ReasonKind("grade_of_evidence", "note", "A service is proven by evidence of a lower grade.", None, None),
    ReasonKind("reading_inferred", "note", "A reading follows from the ones round it.", None, None),
    ReasonKind("caused_by_covered_failure", "note", "Paid because a covered failure ruined it.", None, None),
    ReasonKind("reading_set_aside", "note", "A reading was set aside.", None, None),
    ReasonKind("meter_changed", "note", "The hour meter was changed.", None, None),
    ReasonKind("typed_unchecked", "note", "A price, rate, time or fluid was taken as typed.", None, None),
    ReasonKind("part_superseded", "note", "The part number was superseded.", None, None),
    ReasonKind("converted", "note", "Amounts were converted at a published rate.", None, None),
)

KINDS = MappingProxyType({kind.code: kind for kind in _KINDS})
PRECEDENCE = MappingProxyType({code: place for place, code in enumerate(KINDS)})
