"""A decision made by hand, for the tests of what is rendered: every amount is worked out in the comments."""

from decimal import Decimal

from schemas.decision import (
    Comparison,
    Considered,
    Decision,
    Digests,
    Firing,
    LineDecision,
    Measure,
    Payout,
    Question,
    Reason,
    Remedy,
    Step,
)

NOTHING = Decimal("0.00")
MISSED = Reason(
    code="service_missed",
    policy="orchard-drive@2",
    clause="5.2",
    clause_text="The drive oil and its filter are changed by a dealer at 480 h and then every 480 h.",
    clause_quoted=True,
    words="A required service is missing.",
    facts=(
        ("due", "480.0 h (432.0–528.0 h); 960.0 h (912.0–1,008.0 h)"),
        ("records in its window", "none"),
        ("nearest", "S-118 at 79.0 h, 11 May 2026"),
        ("records complete from", "2 March 2026"),
    ),
    records=(),
    comparison=Comparison("hours at failure after the window", "1500.00", ">", "528.00", "h"),
    bearer="owner",
)
PRORATED = Reason(
    code="prorated",
    policy="orchard-drive@1",
    clause="4.3",
    clause_text="The whole to 900 h, then in proportion.",
    clause_quoted=True,
    words="The paid share has fallen with use or age.",
    facts=(("machine hours", "1,500: (2,400 − 1,500) ÷ (2,400 − 900) = 3/5"),),
    records=(),
    comparison=Comparison("paid share", "3/5", "<", "1", "share"),
    bearer="owner",
)
# 1,000.00 net × 1.15 = 1,150.00; (2,400 − 1,500) ÷ 1,500 = 3/5; 1,150.00 × 3/5 = 690.00, the owner's part 460.00.
DRIVE = LineDecision(
    line="drive",
    item="parts",
    component="wheel_drive",
    position="left",
    text="hydrostatic drive",
    outcome="pay_part",
    policy="orchard-drive@1",
    currency="EUR",
    claimed=Decimal("1150.00"),
    added=NOTHING,
    allowed=Decimal("1150.00"),
    share="3/5",
    maker_pays=Decimal("690.00"),
    owner_owes=Decimal("460.00"),
    dealer_bears=NOTHING,
    other_payer=NOTHING,
    open=NOTHING,
    reasons=(MISSED, PRORATED),
    notes=(),
    steps=(
        Step("claimed", None, "1,000.00 dealer net × 1.15 handling", Decimal("1150.00"), Decimal("1150.00")),
        Step("share", "4.3", "(2,400 − 1,500) ÷ (2,400 − 900)", Decimal("1150.00"), Decimal("690.00"), "owner", "3/5"),
    ),
    considered=(Considered("orchard-base@1", "does_not_apply", None, "component_not_named"),),
)
REFUSED_TRIP = Reason(
    code="item_not_paid",
    policy="orchard-drive@1",
    clause="4.6",
    clause_text="Nothing else is paid.",
    clause_quoted=True,
    words="Items of this kind are not paid.",
    facts=(("item", "travel"), ("component", "wheel_drive")),
    records=(),
    comparison=None,
    bearer="dealer",
)
TRIP = LineDecision(
    line="trip",
    item="travel",
    component="wheel_drive",
    position="none",
    text=None,
    outcome="deny",
    policy="orchard-drive@1",
    currency="EUR",
    claimed=Decimal("60.00"),
    added=NOTHING,
    allowed=NOTHING,
    share=None,
    maker_pays=NOTHING,
    owner_owes=NOTHING,
    dealer_bears=Decimal("60.00"),
    other_payer=NOTHING,
    open=NOTHING,
    reasons=(MISSED, REFUSED_TRIP),
    notes=(),
    steps=(
        Step("claimed", None, "as claimed", Decimal("60.00"), Decimal("60.00")),
        Step("not_covered", None, "not covered", Decimal("60.00"), NOTHING, "dealer"),
    ),
    considered=(),
)
# Open: 690.00 is paid whatever the answer, 460.00 waits.
WAITING = LineDecision(
    line="other",
    item="parts",
    component="wheel_drive",
    position="right",
    text=None,
    outcome="need_info",
    policy="orchard-drive@1",
    currency="EUR",
    claimed=Decimal("1150.00"),
    added=NOTHING,
    allowed=Decimal("1150.00"),
    share="3/5",
    maker_pays=Decimal("690.00"),
    owner_owes=NOTHING,
    dealer_bears=NOTHING,
    other_payer=NOTHING,
    open=Decimal("460.00"),
    reasons=(
        Reason(
            "fact_open",
            None,
            None,
            None,
            False,
            "Open: records; the maker pays 690.00 EUR now.",
            (("fact", "k"),),
            (),
            None,
            None,
        ),
    ),
    notes=(
        Reason("window_open", None, None, None, False, "Due at 1,440.0 h (1,392.0–1,488.0 h).", (), (), None, None),
    ),
    steps=DRIVE.steps,
    considered=(),
)
ASKED = "records of the drive oil services due at 480.0 h (432.0–528.0 h); 960.0 h (912.0–1,008.0 h)"
# 690.00 + 690.00 = 1,380.00 is paid now.
DECISION = Decision(
    claim="C-2207",
    serial="QF60-771",
    dealer="D-04",
    decided_on="2027-02-20",
    status="partly_decided",
    lines=(DRIVE, TRIP, WAITING),
    payout=Payout("EUR", Decimal("1380.00"), ()),
    questions=(Question("k", "services", "dealer", ASKED, ("other",), "2027-03-22"),),
    proposals=(),
    deadlines=(("answer_question", "k", "2027-03-22"),),
    measures=(
        Measure(
            "orchard-drive@2",
            "governs because",
            "start of term 2 March 2026 (retail delivery) lies in its time in force, from 1 January 2020",
        ),
        Measure(None, "machine hours at the failure", "1,500.0 h", ("claim:reading",)),
    ),
    firings=(
        Firing(
            "orchard-drive@2",
            "service_missed services.drive_oil",
            ({"d": "drive_oil", "g": 0, "k": "due", "s": "missed"}, {"k": "line", "item": "parts"}),
        ),
    ),
    remedies=(
        Remedy(
            "drive",
            ASKED,
            "if the drive oil services due at 480.0 h; 960.0 h were done in time, their records",
            ("services:orchard-drive:drive_oil:machine",),
            "pay",
            Decimal("1150.00"),
            "2027-03-22",  # 30 days after the decision
        ),
    ),
    digests=Digests(
        "sha256:" + "a" * 64, (("orchard-drive@1", "sha256:" + "b" * 64),), "sha256:" + "c" * 64, "sha256:", "sha256:"
    ),
    engine="hourmark 0.1.0",
)

DESK_TEXT = """\
Claim C-2207, machine QF60-771, dealer D-04                                 decided on 20 February 2027
Partly decided: the maker pays the dealer 1,380.00 EUR.

drive   hydrostatic drive (parts, left wheel drive)                                        paid in part
  claimed 1,150.00   maker pays 690.00   owner owes 460.00   EUR
  Decided under orchard-drive 1, not orchard-drive 2: a required service is missing (clause 5.2: “The
    drive oil and its filter are changed by a dealer at 480 h and then every 480 h.”).
     due: 480.0 h (432.0–528.0 h); 960.0 h (912.0–1,008.0 h)     records in its window: none
     nearest: S-118 at 79.0 h, 11 May 2026     records complete from: 2 March 2026
     1,500.0 h is above 528.0 h (hours at failure after the window)
  The paid share has fallen with use or age (clause 4.3: “The whole to 900 h, then in proportion.”).
    Borne by the owner.
     machine hours: 1,500: (2,400 − 1,500) ÷ (2,400 − 900) = 3/5
  How it was worked out
     claimed: 1,000.00 dealer net × 1.15 handling                                              1,150.00
     × 3/5 share (clause 4.3): (2,400 − 1,500) ÷ (2,400 − 900)                 −460.00 owner     690.00
  What would change it (desk only): records of the drive oil services due at 480.0 h (432.0–528.0 h);
    960.0 h (912.0–1,008.0 h) would bring this line to 1,150.00 EUR (paid in full).
  Also looked at orchard-base 1: does not apply (the coverage does not name this component).

trip   travel, wheel drive                                                                  not covered
  claimed 60.00   maker pays 0.00   dealer bears 60.00   EUR
  Decided under orchard-drive 1, not orchard-drive 2: a required service is missing (clause 5.2), as on
    line drive.
  Items of this kind are not paid (clause 4.6: “Nothing else is paid.”). Borne by the dealer.

other   parts, right wheel drive                                                  waiting for an answer
  claimed 1,150.00   maker pays 690.00   waiting 460.00   EUR
  Waiting for the dealer: records of the drive oil services due at 480.0 h (432.0–528.0 h); 960.0 h
    (912.0–1,008.0 h), by 22 March 2027.
  Note: Due at 1,440.0 h (1,392.0–1,488.0 h).
  How the part paid now was worked out
     claimed: 1,000.00 dealer net × 1.15 handling                                              1,150.00
     × 3/5 share (clause 4.3): (2,400 − 1,500) ÷ (2,400 − 900)                       −460.00     690.00

Looked at: orchard-base 1, orchard-drive 1 and orchard-drive 2.
Decided by hourmark 0.1.0; claim file sha256:aaaaaaaaaaaa, outcome sha256:cccccccccccc.
This is not legal advice. Local warranty, consumer and product-safety law and licensed practice
prevail.
A failure that can hurt someone must go to a person at once, whatever is paid.
"""
