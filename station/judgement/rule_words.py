"""The decision rules of a limit file in words, as the certificate prints them."""

from dataclasses import replace
from math import inf

from station.judgement.decision_rule import FALSE_ACCEPT, Decision, normal_quantile
from station.judgement.limit_file import LimitFile


def decision_sentence(limits: LimitFile) -> str:
    """Return the rule of the file in a sentence, then which limits are judged otherwise."""
    words = [_sentence(limits.decision)]
    by_words: dict[str, list[str]] = {}
    for limit in limits.limits:
        if limit.decision is not None:
            by_words.setdefault(_exception(limits.decision, limit.decision, limit.unit), []).append(limit.key)
    if by_words:
        exceptions = "; ".join(f"{', '.join(keys)}: {said}" for said, keys in by_words.items())
        words.append(f"By exception: {exceptions}.")
    return " ".join(words)


def _sentence(decision: Decision) -> str:
    if decision.rule == "simple":
        return "A value conforms when it lies within its tolerance limits; its uncertainty is not deducted."
    if decision.rule == "conformance":
        return (f"A value conforms when the probability that the quantity lies within its tolerance limits is at least "
                f"{100 * decision.least_probability:g} %, given value and uncertainty.")
    drawn = f"by {decision.guard_factor:g} standard uncertainties"
    if decision.rule == "false_accept":
        one = normal_quantile(1 - FALSE_ACCEPT)
        drawn = (f"so that at most {100 * FALSE_ACCEPT:g} % of the motors of a process centred between them are "
                 f"accepted wrongly, a single limit by {one:.2f} standard uncertainties")
    return ("A value conforms when it lies within its acceptance limits, which are the tolerance limits "
            f"drawn in {drawn}.")


def _exception(of_file: Decision, own: Decision, unit: str) -> str:
    """Return in a few words what differs for a limit from the rule of the file: a certificate has little room."""
    told = [] if replace(own, u_max=inf) == replace(of_file, u_max=inf) else [{
        "simple": "uncertainty not deducted", "guarded": f"drawn in by {own.guard_factor:g} u",
        "conformance": f"{100 * own.least_probability:g} % probability of conformance",
        "false_accept": f"drawn in for {100 * FALSE_ACCEPT:g} % false accepts"}[own.rule]]
    return ", ".join([*told, *([f"no result above u = {own.u_max:g} {unit}"] if own.u_max < inf else [])])
