"""Dates as people choose them on a page, as the store is asked for them."""


def end_of_day(until: str) -> str:
    """Return a date with the end of its day, so that the day counts whole; an instant as it is."""
    return f"{until}T23:59:59.999Z" if len(until) == len("2026-01-01") else until
