"""What people read of a decision: the desk's text, the letter, the derivation; values worked by hand."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from schemas.decision import Comparison, Firing
from service.rendering.decision_text import decision_text
from service.rendering.derivation_text import derivation_text, measure_words
from service.rendering.layout import joined, wrapped
from service.rendering.letter_text import letter_text, points_text, question_sentence, remedy_sentence, without_windows
from service.rendering.words import amount_text, cited, comparison_text, day_text, hours_listed, tidy
from tests.service.command_line import flat
from tests.service.decisions import DECISION, DESK_TEXT, DRIVE, MISSED

pytestmark = pytest.mark.fast

# Any printable text that a document may hold: wide letters, markup of other programs, long words.
TEXTS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=80)


def test_desk_text_of_a_decision_made_by_hand() -> None:
    assert decision_text(DECISION, 103) == DESK_TEXT


@given(text=TEXTS, width=st.integers(1, 140))
def test_no_line_is_wider_than_asked_for(text: str, width: int) -> None:
    line = replace(DRIVE, text=text, reasons=tuple(replace(r, clause_text=text, words=text) for r in DRIVE.reasons))
    decision = replace(DECISION, lines=(line, *DECISION.lines[1:]))
    wanted = max(width, 40)
    for rendered in (decision_text(decision, width), letter_text(decision, width), derivation_text(decision, width)):
        assert max(cell_len(row) for row in rendered.splitlines()) <= wanted


@given(text=TEXTS, width=st.integers(12, 80))
def test_wrapping_keeps_every_character(text: str, width: int) -> None:
    lines = wrapped(text, width, "  ", "    ")
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_short_parts_stand_side_by_side_while_they_fit() -> None:
    assert joined(["a: 1", "b: 2", "c: 3"], 18, "  ") == ["  a: 1     b: 2", "  c: 3"]


def test_a_number_stays_with_its_unit() -> None:
    assert wrapped("from 1,160.0 to 1,240.0 h) it", 24) == ["from 1,160.0 to", "1,240.0 h) it"]
    assert wrapped("paid 1,219.00 EUR here", 16) == ["paid", "1,219.00 EUR", "here"]
    assert wrapped("a term of 48 months (first)", 14) == ["a term of", "48 months", "(first)"]


def test_words_that_are_not_the_makers_own_stand_without_quotation_marks() -> None:
    own, plain = MISSED, replace(MISSED, clause_quoted=False, clause_text="The pump: never covered.")
    assert cited(own).startswith("clause 5.2: “The drive oil and its filter")
    assert cited(plain) == "clause 5.2, in plain words: The pump: never covered"
    decision = replace(DECISION, lines=(replace(DRIVE, reasons=(plain,)),))
    for text in (flat(decision_text(decision)), flat(letter_text(decision))):
        assert "(clause 5.2, in plain words: The pump: never covered)." in text
        assert "“The pump" not in text


def test_a_letter_repeats_a_clause_where_a_second_reason_rests_on_other_words_of_it() -> None:
    first = replace(MISSED, clause_quoted=False, clause_text="The oil service is due at 480 h.")
    other = replace(first, code="service_late", words="It was late.", clause_text="A late service never counts.")
    lines = (replace(DRIVE, reasons=(first,)), replace(DRIVE, line="pump", reasons=(other,)))
    text = flat(letter_text(replace(DECISION, lines=lines, remedies=(), questions=())))
    assert "in plain words: The oil service is due at 480 h)" in text
    assert "in plain words: A late service never counts)" in text


def test_user_text_is_never_read_as_markup() -> None:
    line = replace(DRIVE, text="[bold]x[/bold] [/] [link=a]")
    assert "[bold]x[/bold] [/] [link=a] (parts, left wheel drive)" in decision_text(
        replace(DECISION, lines=(line,)), 120
    )


def test_words_are_the_same_at_every_width() -> None:
    narrow, wide = flat(letter_text(DECISION, 46)), flat(letter_text(DECISION, 120))
    assert "If the drive oil services due at 480 and 960 h were done in time" in narrow
    assert "If the drive oil services due at 480 and 960 h were done in time" in wide


def test_letter_names_due_points_and_never_their_windows() -> None:
    text = flat(letter_text(DECISION, 78))
    assert (
        "If the drive oil services due at 480 and 960 h were done in time, send their records by 22 March 2027: the"
        " line would then be decided again." in text
    )
    for bound in ("432", "528", "912", "1,008", "1,392", "1,488", "S-118", "79.0"):
        assert bound not in text, bound


def test_letter_says_who_pays_what() -> None:
    text = flat(letter_text(DECISION))
    assert "We pay 690.00 of 1,150.00 EUR claimed; the owner owes you 460.00." in text
    assert "60.00 is yours to bear and may not be billed to the owner." in text
    assert "460.00 is open and may not be billed to the owner until it is decided." in text
    assert "We pay you 1,380.00 EUR for now." in text


def test_letter_puts_what_the_dealer_must_send_first_and_calls_coverages_by_title() -> None:
    titles = {"orchard-drive@1": "Drive, by hours", "orchard-drive@2": "Drive, proven service"}
    text = flat(letter_text(DECISION, 78, titles=titles))
    assert text.index("What we need from you") < text.index("Line drive, ")
    assert "Decided under “Drive, by hours”, version 1, not “Drive, proven service”, version 2: " in text
    assert "Line other, parts, right wheel drive: waiting for your answer." in text


def test_a_final_denial_pays_nothing_and_a_held_line_asks_nothing_of_the_dealer() -> None:
    nothing = replace(DECISION.payout, amount=DECISION.payout.amount * 0)
    denied = replace(DECISION, lines=(DECISION.lines[1],), questions=(), payout=nothing, status="denied")
    assert "Your claim is not covered. We pay nothing. " in flat(letter_text(denied))
    held = replace(DECISION.lines[2], outcome="refer")
    text = flat(letter_text(replace(DECISION, lines=(held,), questions=(), payout=nothing, status="held_for_person")))
    assert "Your claim is held for the warranty desk. We pay nothing yet. " in text
    assert "Line other: a person at the warranty desk looks at it. You need do nothing now." in text


def test_the_desk_reads_nothing_in_words_and_whether_more_may_come() -> None:
    nothing = replace(DECISION.payout, amount=DECISION.payout.amount * 0)
    denied = replace(DECISION, lines=(DECISION.lines[1],), questions=(), payout=nothing, status="denied")
    assert "Not covered: the maker pays the dealer nothing.\n" in decision_text(denied)
    held = replace(denied, lines=(replace(DECISION.lines[2], outcome="refer"),), status="held_for_person")
    assert "Held for a person: the maker pays the dealer nothing yet.\n" in decision_text(held)
    without_a_rate = replace(denied, payout=replace(nothing, held=("60.00 USD: no exchange rate to EUR is on file",)))
    assert "the maker pays the dealer nothing yet.\n" in decision_text(without_a_rate)


@pytest.mark.parametrize(("where", "words"), [("part", "a part is paid"), ("zero", "nothing is paid")])
def test_the_share_a_rule_is_for_is_told_in_words(where: str, words: str) -> None:
    firing = Firing("orchard-drive@1", f"prorated prorating {where}", ({"k": "share", "l": 0, "s": where},))
    text = derivation_text(replace(DECISION, firings=(firing,)), 100, {"orchard-drive@1": {"prorating": "4.3"}})
    assert f"    the paid share has fallen with use or age, clause 4.3, {words}\n" in text


def test_a_sum_without_a_rate_is_told_as_held() -> None:
    held = replace(DECISION.payout, held=("60.00 USD: no exchange rate to EUR is on file for 1 March 2027",))
    decision = replace(DECISION, payout=held)
    words = "60.00 USD: no exchange rate to EUR is on file for 1 March 2027."
    assert f"Held, and not in this sum: {words}" in flat(decision_text(decision))
    assert f"Not yet paid: {words}" in flat(letter_text(decision))


def test_what_may_be_sent_for_two_lines_is_asked_for_once() -> None:
    lines = (DRIVE, replace(DRIVE, line="pump"))
    remedies = (DECISION.remedies[0], replace(DECISION.remedies[0], line="pump"))
    text = flat(letter_text(replace(DECISION, lines=lines, remedies=remedies, questions=())))
    assert text.count("If the drive oil services due at 480 and 960 h were done in time") == 1
    assert "What may be sent for line drive counts for this line, too." in text


def test_what_is_not_decided_yet_never_reads_as_a_finding() -> None:
    line = replace(DECISION.lines[2], reasons=(*DRIVE.reasons, DECISION.lines[1].reasons[1]))
    decision = replace(DECISION, lines=(line,))
    for text in (flat(decision_text(decision)), flat(letter_text(decision))):
        assert text.count("Not decided yet, and only taken for now: ") == 3
        assert "Decided under" not in text


def test_letter_asks_what_is_open_with_its_day() -> None:
    assert question_sentence(DECISION.questions[0]) == (
        "If the drive oil services due at 480 and 960 h were done, send their records; if they were not, say so, by 22"
        " March 2027 (line other)."
    )


def test_a_letter_asks_by_whom_a_service_was_done_where_other_hands_did_it() -> None:
    words = "if the drive oil services due at 480.0 h were done by an authorised dealer or the owner, their records"
    assert remedy_sentence(replace(DECISION.remedies[0], letter_words=words), "2027-02-20") == (
        "If the drive oil service due at 480 h was done by an authorised dealer or the owner, send its record by 22"
        " March 2027: the line would then be decided again."
    )


def test_services_of_one_side_are_asked_for_with_the_side() -> None:
    words = "if the drive oil services of the left side due at 480.0 h; 960.0 h were done in time, their records"
    assert remedy_sentence(replace(DECISION.remedies[0], letter_words=words), "2027-02-20").startswith(
        "If the drive oil services of the left side due at 480 and 960 h were done in time, send their records by"
    )
    asked = replace(DECISION.questions[0], words="records of the drive oil services of the right side due at 480.0 h")
    assert question_sentence(asked).startswith(
        "If the drive oil service of the right side due at 480 h was done, send its record; if it was not, say so, by"
    )


def test_a_letter_says_that_the_time_to_answer_has_ended() -> None:
    """The last day itself is in time."""
    remedy = DECISION.remedies[0]
    assert "send their records by 22 March 2027:" in remedy_sentence(remedy, "2027-03-22")
    assert remedy_sentence(remedy, "2027-03-23") == (
        "If the drive oil services due at 480 and 960 h were done in time, send their records: the line would then be"
        " decided again. The time to answer ended on 22 March 2027."
    )


def test_services_of_two_kinds_are_asked_for_in_one_sentence() -> None:
    words = (
        "if the oil services due at 480.0 h; 960.0 h were done in time, their records and if the filter services due at"
        " 500.0 h were done by an authorised dealer, their records"
    )
    assert remedy_sentence(replace(DECISION.remedies[0], letter_words=words), "2027-02-20") == (
        "If the oil services due at 480 and 960 h were done in time and the filter service due at 500 h was done by an"
        " authorised dealer, send their records by 22 March 2027: the line would then be decided again."
    )


def test_a_due_point_by_hours_or_date_is_named_whole() -> None:
    """What stands in brackets is taken away, and what follows it stays."""
    words = "if the oil services due at 480.0 h or 2 May 2027; 960.0 h or 2 May 2028 were done in time, their records"
    assert remedy_sentence(replace(DECISION.remedies[0], letter_words=words), "2027-02-20").startswith(
        "If the oil services due at 480.0 h or 2 May 2027 and 960.0 h or 2 May 2028 were done in time,"
    )


def test_what_the_desk_itself_supplies_is_not_asked_of_the_dealer() -> None:
    row = "a price list row for part P-7 that holds on the day"
    held = replace(DECISION.lines[2], outcome="refer", reasons=())
    waits = replace(
        DECISION.remedies[0],
        line="other",
        desk_words=row,
        letter_words="",
        facts=("price_not_listed",),
        outcome="refer",
    )
    decision = replace(DECISION, lines=(held,), questions=(), remedies=(waits,))
    assert f"What it waits for (desk only): {row}." in flat(decision_text(decision))
    letter = flat(letter_text(decision))
    assert row not in letter
    assert "a person at the warranty desk looks at it. You need do nothing now." in letter
    asked = replace(waits, letter_words="the part number of line other")
    letter = flat(letter_text(replace(decision, remedies=(asked,))))
    assert "If there is such evidence, send it by 22 March 2027: the part number of line other." in letter
    assert "You need do nothing now" not in letter


def test_a_held_line_that_is_asked_about_is_not_told_to_do_nothing_and_still_hears_what_it_lacks_besides() -> None:
    question = replace(DECISION.questions[0], lines=("other",))
    held = replace(DECISION.lines[2], outcome="refer")
    waits = replace(
        DECISION.remedies[0],
        line="other",
        letter_words="what the owner paid for the part of line other",
        facts=("price_paid_missing",),
        outcome="refer",
    )
    decision = replace(DECISION, lines=(held,), questions=(question,), remedies=(waits,))
    letter = flat(letter_text(decision))
    assert "a person at the warranty desk looks at it." in letter
    assert "You need do nothing now" not in letter
    assert "send it by 22 March 2027: what the owner paid for the part of line other." in letter
    assert "You need do nothing now" not in flat(letter_text(replace(decision, remedies=())))
    told_already = replace(waits, facts=(question.id,))
    assert "what the owner paid" not in flat(letter_text(replace(decision, remedies=(told_already,))))


def test_what_is_asked_as_a_question_is_not_told_again_as_what_a_line_waits_for() -> None:
    question = replace(DECISION.questions[0], id="cause", about="cause", words="the cause of the failure")
    waits = replace(DECISION.remedies[0], line="other", desk_words="the cause", facts=("cause",), outcome="need_info")
    text = flat(decision_text(replace(DECISION, questions=(question,), remedies=(waits,))))
    assert "What it waits for" not in text


def test_a_question_among_what_would_change_a_line_is_part_of_a_sentence() -> None:
    asked = "records of the drive oil services due at 480.0 h and whether service S-4 held a new filter too"
    text = flat(decision_text(replace(DECISION, remedies=(replace(DECISION.remedies[0], desk_words=asked),))))
    assert (
        "records of the drive oil services due at 480.0 h and an answer on whether service S-4 held a new filter too"
        " would bring this line to 1,150.00 EUR" in text
    )
    who = replace(DECISION.remedies[0], desk_words="who did service S-4 of 11 May 2026")
    text = flat(decision_text(replace(DECISION, remedies=(who,))))
    assert "(desk only): an answer on who did service S-4 of 11 May 2026 would bring this line to" in text


def test_a_quantity_that_its_unit_names_is_not_said_again() -> None:
    assert comparison_text(Comparison("day", "2027-05-05", ">", "2027-05-03", "day")) == (
        "5 May 2027 is after 3 May 2027"
    )
    assert comparison_text(Comparison("hours", "1520.00", ">", "1500.00", "h")) == "1,520.0 h is above 1,500.0 h"
    assert comparison_text(Comparison("days to file", "41", ">", "30", "text")) == "41 is above 30 (days to file)"


def test_a_remedy_of_another_kind_is_told_as_evidence() -> None:
    words = "an inspection at the late drive oil service S-4 that found the machine sound"
    remedy = replace(DECISION.remedies[0], letter_words=words)
    assert remedy_sentence(remedy, "2027-02-20") == (
        f"If there is such evidence, send it by 22 March 2027: {words}. The line would then be decided again."
    )


@pytest.mark.parametrize(
    ("words", "without"),
    [
        ("due at 480.0 h (432.0–528.0 h); 1,440.0 h (1,392.0–1,488.0 h)", "due at 480.0 h; 1,440.0 h"),
        ("due at 1 March 2027 (30 January 2027 to 31 March 2027)", "due at 1 March 2027"),
        ("reading 4,820 h (482.0?)", "reading 4,820 h (482.0?)"),
        (
            "the reading of service S-1 on 3 May 2027 (between 57.4 h and 441.9 h)",
            "the reading of service S-1 on 3 May 2027",
        ),
        ("4,820.0 h on 3 May 2027 is not possible; was 482.0 h meant?", "4,820.0 h on 3 May 2027 is not possible"),
        ("480.0 h (432.0–528.0 h) or 2 May 2027 (2 April 2027 to 1 June 2027)", "480.0 h or 2 May 2027"),
    ],
)
def test_windows_are_taken_out_of_words(words: str, without: str) -> None:
    assert without_windows(words) == without


@given(
    points=st.lists(st.tuples(st.integers(1, 20_000), st.integers(0, 60), st.integers(0, 60)), min_size=1, max_size=5)
)
def test_no_window_of_any_schedule_reaches_the_letter(points: list[tuple[int, int, int]]) -> None:
    words = "; ".join(f"{at:,}.0 h ({at - min(at, low):,}.0–{at + high:,}.5 h)" for at, low, high in points)
    asked = f"if the drive oil services due at {words} were done in time, their records"
    text = remedy_sentence(replace(DECISION.remedies[0], letter_words=asked), "2027-02-20")
    assert re.findall(r"\d+(?:,\d{3})*(?:\.\d)?", re.split(" (?:was|were) done", text)[0]) == [
        f"{at:,}" for at, _, _ in points
    ]


def test_points_of_both_kinds_are_listed_as_they_are() -> None:
    assert points_text("480.0 h (432.0–528.0 h)") == "480 h"
    assert points_text("480.0 h; 2 May 2027 (2 April 2027 to 1 June 2027)") == "480.0 h and 2 May 2027"
    assert hours_listed("480.0 h; 960.5 h; 1,440.0 h") == "480, 960.5 and 1,440 h"


def test_derivation_says_which_version_governs_and_what_fired() -> None:
    text = flat(derivation_text(DECISION, 100))
    assert "orchard-drive 2: start of term 2 March 2026 (retail delivery) lies in its time in force" in text
    assert "machine hours at the failure: 1,500.0 h (read at the failure)" in text
    # Without the numbers of the clauses a path is told in words.
    assert "a required service is missing, services drive oil service due: drive oil, missed parts" in text
    numbered = flat(derivation_text(DECISION, 100, {"orchard-drive@2": {"services.drive_oil": "5.2"}}))
    assert "a required service is missing, clause 5.2 service due: drive oil, missed parts" in numbered
    assert f"outcome sha256:{'c' * 64}" in text


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("missed window 432.0 to 528.0 h", "missed, window 432.0 to 528.0 h"),
        ("unanswered window 432.0 to 528.0 h", "no record on file, and asked for, window 432.0 to 528.0 h"),
        (
            "met window 72.0 to 88.0 h or 3 February 2026 to 4 April 2026",
            "met, window 72.0 to 88.0 h or 3 February 2026 to 4 April 2026",
        ),
        ("ends 2027-09-01; the day tested is its last", "ends 1 September 2027; the day tested is its last"),
        ("3/5", "3/5"),
    ],
)
def test_measures_are_written_for_a_reader(value: str, words: str) -> None:
    assert measure_words(value) == words


def test_days_and_amounts_are_written_alike() -> None:
    assert tidy("from 1 January 2026. reading 5 h; 11 May 2026") == "from 1 January 2026. reading 5 h; 11 May 2026"
    assert tidy("A reading was set aside. reading 5 h") == "A reading was set aside. Reading 5 h"
    assert day_text("2026-03-02") == "2 March 2026"
    assert day_text("later") == "later"
    assert amount_text(DRIVE.claimed) == "1,150.00"
    assert amount_text(DRIVE.claimed.quantize(DRIVE.claimed.__class__("0.001"))) == "1,150.000"


@settings(max_examples=30)
@given(text=TEXTS)
def test_rendering_never_fails_on_text_of_users(text: str) -> None:
    reason = replace(DRIVE.reasons[0], facts=(("due", text), (text, text)), words=text, clause_text=text)
    decision = replace(DECISION, lines=(replace(DRIVE, reasons=(reason,), component=text, line=text),))
    assert decision_text(decision)
    assert letter_text(decision)
