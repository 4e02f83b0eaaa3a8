"""Characteristics and captures as people at the line call them, in their language."""

from station.screens.words import Words


def plain_name(name: str, words: Words) -> str:
    """Return what a full name such as `hall_placement.b` is called; the name itself where there are no words for it."""
    base, _, member = name.partition(".")
    kind, _, order = base.rpartition("_")
    if kind in ("harmonic", "hall_sector") and order.isdigit():
        text = words.text(f"name.{kind}", number=order)
    else:
        text = words.texts.get(f"name.{base}", name)
        if text == name:
            return name
    if member == "mean":
        return f"{text}, {words.text('name.of.mean')}"
    return f"{text} {member.upper() if len(member) == 1 else member}" if member else text


def capture_name(label: str, words: Words) -> str:
    """Return what a capture such as `forward 1000` is called."""
    direction, _, speed = label.partition(" ")
    key = f"direction.{direction}"
    return f"{words.texts[key]} {speed} r/min" if speed and key in words.texts else label
