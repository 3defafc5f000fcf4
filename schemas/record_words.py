"""What an editor says about the keys of records, tables and worked cases: words by `Model.key`, then examples.

Hours are hours on the machine's meter or of work, amounts are in the currency that is named beside them, and days are
calendar days at the machine's place, written year-month-day.
"""

from collections.abc import Mapping
from typing import Any, Final

_POSITION = "Side of a paired component; none: it has no side, or it is not stated."
_TABLE = {
    "kind": ("What the table holds.",),
    "table": ("Short name of the table, in small letters with hyphens.", "quillfen-prices"),
    "version": ("Version of the table: 1 or more.", 1),
    "rows": ("The rows; each holds from its day until the next row with the same key.",),
}
_FACTS = {
    "machine": ("The machine as in its own file; its events may stand directly here.",),
    "services": ("Service records by id; `like: a` copies another one.",),
    "claim": ("The claim as in its own file, lines by id.",),
    "dealer": ("The dealer as in its own file.",),
    "tables": ("Reference tables by name.",),
    "earlier_payments": ("Earlier payments by id.",),
    "decided_on": ("Day of the decision; left out, some days after the claim.", "2026-03-31"),
}


def _of(model: str, words: Mapping[str, tuple[Any, ...]]) -> dict[str, tuple[Any, ...]]:
    return {f"{model}.{key}": value for key, value in words.items()}


_PAYMENT: Final = {
    "id": ("Id of the payment.", "P-1"),
    "claim": ("Id of the claim it was made on.", "C-1904"),
    "paid_on": ("Day of the payment.", "2025-06-20"),
    "policy": ("The version it was paid under, name@version.", "quillfen-engine@1"),
    "component": ("The component it was for.", "engine"),
    "item": ("Kind of item that was paid.", "parts"),
    "amount": ("What the maker paid, in `currency`.", "3100.00"),
    "currency": ("Currency of the amount, by its ISO 4217 code.", "EUR"),
}

RECORD_WORDS: Final[Mapping[str, tuple[Any, ...]]] = {
    **_of(
        "Claim",
        {
            "claim": ("Id of the claim.", "C-2207"),
            "serial": ("Serial of the machine.", "QF60-0771"),
            "dealer": ("Id of the dealer who claims.", "D-04"),
            "currency": ("Currency of the claim's amounts, by its ISO 4217 code.", "EUR"),
            "failed_on": ("Day of the failure.", "2026-03-02"),
            "reported_on": ("Day on which the failure was reported.", "2026-03-03"),
            "part_received_on": ("Day on which the dealer received the part.", "2026-03-05"),
            "repair_began_on": ("First day of the repair.", "2026-03-06"),
            "repair_ended_on": ("Last day of the repair.", "2026-03-07"),
            "submitted_on": ("Day on which the claim was sent in.", "2026-03-10"),
            "complaint": ("What the owner complained of, in words.", "loses drive when warm"),
            "correction": ("What was done, in words.", "left drive replaced"),
            "position": (_POSITION, "left"),
            "symptom": ("When the trouble was first noted, where that was before the failure.",),
            "questions": ("Questions put to the dealer before on this claim.",),
            "lines": ("The lines of the claim, at least one, each with an id of its own.",),
        },
    ),
    **_of(
        "ClaimLine",
        {
            "line": ("Id of the line within the claim.", "1"),
            "item": ("Kind of item that is claimed.", "parts"),
            "position": (_POSITION, "left"),
            "part_number": ("Number of the part, as on the price list.", "QF-WD-100"),
            "quantity": ("Number of units.", 1),
            "operation": ("Code of the work, as in the table of flat-rate times.", "DRIVE-L"),
            "invoice": ("Id of the outside bill behind the line.", "R-118"),
            "removed_serial": ("Serial of the component that was taken out.", "WD-4471"),
            "wear": ("Wear measured on the failed part.",),
            "text": ("The dealer's own words for the line.", "hydrostatic drive"),
        },
    ),
    **_of(
        "EarlierQuestion",
        {
            "about": ("Subject of the question.", "services"),
            "asked_on": ("Day on which it was first asked; the days to answer run from it.", "2026-03-12"),
            "answered": ("Whether the dealer has answered.", False),
        },
    ),
    **_of(
        "Symptom",
        {
            "on": ("Day on which the trouble was first noted.", "2026-02-20"),
            "reading": ("Meter reading on that day (h).", 610),
        },
    ),
    **_of(
        "Wear",
        {
            "new": ("Measure of the new part, in the unit of the policy's floor.", 40),
            "left": ("Measure that is left on the failed part, in the same unit.", 12),
        },
    ),
    **_of(
        "Machine",
        {
            "serial": ("Serial of the machine.", "QF60-0771"),
            "model": ("Model code.", "QF60"),
            "built_on": ("Day on which it was built.", "2025-11-03"),
            "events": ("Days of its life by event, the build apart.", {"retail_delivery": "2026-03-02"}),
            "region": ("Region where it is used, as the policies name it, as finely as it is known.", "DE"),
            "price": ("Price of the machine, in `currency`; for caps on it.", "48500.00"),
            "currency": ("Currency of the price, by its ISO 4217 code.", "EUR"),
            "has_meter": ("Whether it has an hour meter.", True),
            "selling_dealer": ("Id of the dealer who sold it.", "D-04"),
            "owners": ("Its owners in order.",),
            "readings": ("Meter readings, those of claims and services apart.",),
            "meter_changes": ("Changes of the hour meter.",),
            "components": ("Components with serials of their own, fitted and removed.",),
            "storage": ("Periods in recorded storage.",),
            "alterations": ("Altered parts and parts of another make found on it.",),
            "demonstrations": ("Meter readings during demonstrations before the sale.",),
            "bookings": ("Service bookings asked for at a dealer.",),
        },
    ),
    **_of(
        "Reading",
        {
            "id": ("Id of the reading.", "R-1"),
            "on": ("Day of the reading.", "2026-05-11"),
            "hours": ("What the meter showed (h).", 79),
            "source": ("Who or what noted it.", "dealer"),
        },
    ),
    **_of(
        "MeterChange",
        {
            "id": ("Id of the change.", "MC-1"),
            "on": ("Day of the change.", "2026-10-01"),
            "kind": ("replaced: another meter; preset: the same one set to a reading.", "replaced"),
            "old_reading": ("Last reading before the change (h); left out, nobody noted it.", 1120),
        },
    ),
    **_of(
        "Owner",
        {
            "order": ("1 for the first owner, 2 for the next.", 1),
            "since": ("First day of the ownership.", "2026-03-02"),
        },
    ),
    **_of(
        "FittedComponent",
        {
            "id": ("Id of the fitting.", "F-1"),
            "component": ("The component, as the policies name it.", "wheel_drive"),
            "position": (_POSITION, "left"),
            "serial": ("Serial of the component.", "WD-4471"),
            "fitted_as": ("How it came there: from the factory, as a replacement, or with a kit.", "factory"),
        },
    ),
    **_of(
        "Storage",
        {
            "id": ("Id of the period.", "ST-1"),
            "since": ("First day in storage.", "2026-11-15"),
            "until": ("Last day in storage.", "2027-03-01"),
        },
    ),
    **_of(
        "Alteration",
        {
            "id": ("Id of the finding.", "AL-1"),
            "component": ("The component it was found on.", "engine"),
            "kind": ("altered: changed from the maker's form; other_make: of another make.", "altered"),
            "found_on": ("Day on which it was found.", "2026-09-14"),
        },
    ),
    **_of(
        "DemoEntry",
        {
            "on": ("Day of the reading.", "2026-02-01"),
            "hours": ("What the meter showed (h).", 12),
        },
    ),
    **_of(
        "Booking",
        {
            "id": ("Id of the booking.", "B-1"),
            "asked_on": ("Day on which it was asked for.", "2026-05-02"),
            "asked_at": ("Meter reading on that day (h); null where nobody noted it.", 70),
            "tasks": ("Tasks that were asked for, as the policies name them.", ["drain_and_fill"]),
            "earliest_slot_on": ("First day that the dealer could offer.", "2026-05-20"),
            "proven": ("Whether the booking is proven.", True),
        },
    ),
    **_of(
        "ServiceRecord",
        {
            "record": ("Id of the record.", "S-118"),
            "on": ("Day of the visit.", "2026-05-11"),
            "tasks": ("Tasks that were done, as the policies name them.", ["drain_and_fill", "replace_filter"]),
            "by": ("Who did it; left out where nobody is named.", "authorised_dealer"),
            "dealer": ("Id of the dealer who did it.", "D-04"),
            "evidence": ("What proves it.", ["dealer_invoice"]),
            "fluids": ("Fluids that were filled in.",),
            "is_repair": ("True for a repair that carried the tasks of a service.", False),
        },
    ),
    **_of(
        "FluidUsed",
        {
            "fluid": ("The fluid, as on the list of approved ones.", "hydro_46"),
            "litres": ("Quantity (l).", "7.5"),
        },
    ),
    **_of(
        "Dealer",
        {
            "dealer": ("Id of the dealer.", "D-04"),
            "region": ("Region of the dealer, as the policies name it.", "DE"),
        },
    ),
    **_of("EarlierPayment", _PAYMENT),
    **_of("PaymentOnMachine", _PAYMENT),
    "PaymentOnMachine.serial": ("Serial of the machine.", "QF60-0771"),
    **_of(
        "ClaimFile",
        {
            "machine": ("The machine and what is on file about it.",),
            "services": ("Its service records.",),
            "claim": ("The claim that is decided.",),
            "dealer": ("The dealer who claims.",),
            "tables": ("The reference tables, with the rows that can matter.",),
            "earlier_payments": ("Earlier payments on the machine.",),
            "decided_on": ("Day of the decision.", "2026-03-31"),
        },
    ),
    **{
        key: words
        for model in (
            "PriceTable",
            "FlatTimeTable",
            "LabourRateTable",
            "ExchangeRateTable",
            "FluidTable",
            "PartComponentTable",
        )
        for key, words in _of(model, _TABLE).items()
    },
    "PriceTable.currency": ("Currency of the prices, by its ISO 4217 code.", "EUR"),
    "LabourRateTable.currency": ("Currency of the rates, by its ISO 4217 code.", "EUR"),
    "PriceRow.part": ("Number of the part.", "QF-WD-100"),
    "PriceRow.list_price": ("List price of one unit, in the table's currency.", "1480.00"),
    "FlatTimeRow.operations": ("Codes of the work done in one visit.", ["DRIVE-L"]),
    "FlatTimeRow.hours": ("Hours of all of them together.", "2.6"),
    "LabourRateRow.dealer": ("Id of the dealer.", "D-04"),
    "ExchangeRateRow.one": ("Currency of which one unit is valued, by its ISO 4217 code.", "EUR"),
    "ExchangeRateRow.in": ("Currency in which it is valued, by its ISO 4217 code.", "USD"),
    "FluidRow.fluid": ("The fluid.", "hydro_46"),
    "FluidRow.on_list": ("Name of the list on which it stands, as the policies name it.", "drive_fluids"),
    "PartComponentRow.part": ("Number of the part.", "QF-WD-100"),
    "PartComponentRow.component": ("The component it belongs to, as the policies name it.", "wheel_drive"),
    **_of(
        "CaseTable",
        {
            "policies": (
                "The versions that decide, name@version; the first one names the currency.",
                ["wheel-drive@2"],
            ),
            "title": ("What the table is about.", "The 400 h service"),
            "base": ("The facts that the cases share.",),
            "cases": ("The cases, at least one.",),
        },
    ),
    **_of("CaseBase", _FACTS),
    **_of(
        "WorkedCase", {key: (f"What differs from the base. {words[0]}", *words[1:]) for key, words in _FACTS.items()}
    ),
    "WorkedCase.name": ("The case in a sentence.", "the service on the last hour of its window keeps full cover"),
    "WorkedCase.expect": ("What must come out, by line of the claim.",),
    "WorkedCase.payout": ("What the dealer is paid in all, in the dealer's currency.", "937.00"),
    **_of(
        "ExpectedLine",
        {
            "outcome": ("What is decided of the line.", "pay_part"),
            "maker_pays": ("What the maker pays, in the line's currency.", "690.00"),
            "owner_owes": ("What the owner owes, in the line's currency.", "460.00"),
            "dealer_bears": ("What the dealer bears, in the line's currency.", "0.00"),
            "other_payer": ("What another payer bears, in the line's currency.", "0.00"),
            "open": ("What waits for an answer or a person, in the line's currency.", "0.00"),
            "claimed": ("What was claimed, handling included, in the line's currency.", "1150.00"),
            "added": ("What the terms grant above the claim, in the line's currency.", "0.00"),
            "allowed": ("What is allowed before the share is taken, in the line's currency.", "1150.00"),
            "share": ("Share that is paid: a fraction, a percentage or a number from 0 to 1.", "3/5"),
            "reasons": ("Codes that must be among the reasons.", ["service_missed"]),
            "notes": ("Codes that must be among the notes.", ["window_open"]),
        },
    ),
    "Conventions.money": ("How amounts are rounded, and where.",),
    "Conventions.facts": ("Who is asked where a fact is missing or contradicted.",),
    "Conventions.absent_service_record": ("What a service that is not on file counts as, and when.",),
    "Conventions.meter": ("When a meter counts as stuck, and how many hours a machine runs in a day at most.",),
}
