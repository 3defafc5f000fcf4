"""How a number is to be written, told of one that a hand wrote otherwise."""

import re


def digits_wanted(text: str) -> str:
    """Return how a number is written: of one with a comma or a unit, what is to be done with these."""
    if re.fullmatch(r"[0-9]{1,3}(,[0-9]{3})+", text) and text.count(",") == 1:
        return f"with a comma it is {text.replace(',', '')} or {text.replace(',', '.')}: write which of them"
    if re.fullmatch(r"[0-9]{1,3}(,[0-9]{3})+(\.[0-9]{1,20})?", text):
        return f"leave out the commas between thousands: {text.replace(',', '')}"
    if re.fullmatch(r"[0-9]{1,20},[0-9]{1,20}", text):
        return f"write a point before the decimals, not a comma: {text.replace(',', '.')}"
    unit = re.fullmatch(r"([0-9]{1,20}(?:\.[0-9]{1,20})?) ?([A-Za-z]{1,10}|€|£|\$)", text)
    if unit is not None:
        return f'write the digits alone, without "{unit[2]}": {unit[1]}'
    return "write it as digits, for example 12.50"
