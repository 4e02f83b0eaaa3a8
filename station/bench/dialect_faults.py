"""What a dialect file must hold beyond its types: every breach, each with file, key, got, wanted and remedy."""

import re
import string
from collections.abc import Iterable, Iterator, Mapping

from station import units
from station.bench.block import FORMS
from station.bench.dialect_contract import DialectContract
from station.bench.needs import Fields, Needs
from station.errors import Fault

# Answers that a driver reads as a number; all others are blocks, preambles or none.
READ = frozenset({"ambient", "current", "dwell", "interval", "is_on", "offset", "points", "range", "reference",
                  "resistance", "scale", "selected", "speed", "state", "status", "torque", "trip", "voltage",
                  "winding"})
IDENTITY_GROUPS = frozenset({"maker", "model", "serial", "firmware"})


def dialect_faults(contract: DialectContract, file: str, role: str, needs: Needs,
                   doubtful: Fields = frozenset()) -> list[Fault]:
    """Return every breach of what `role` needs, in the order of the file's tables.

    What several tables mean together is left out where one of them is `doubtful`, that is, not as written.
    """
    faults = []
    if contract.role != role:
        faults.append(Fault(file, "role", repr(contract.role), repr(role), "Name the dialect of the right role."))
    faults += _session_faults(contract, file)
    faults += _template_faults(contract, file, needs)
    faults += _key_faults(set(contract.numbers), needs.numbers, needs.optional_numbers, file, "numbers")
    faults += _unit_faults(contract, file, needs)
    faults += _field_faults(contract, file, needs)
    faults += _answer_faults(contract, file)
    faults += _limit_faults(contract, file)
    together = role == "digitizer" and not doubtful & {"block", "completion", "numbers", "templates"}
    return faults + (_capture_faults(contract, file) if together else [])


def lines_of(template: str | list[str]) -> list[str]:
    """Return the lines of a template, which is one line or a list of lines."""
    return [template] if isinstance(template, str) else template


def fields_in(template: str | list[str]) -> set[str]:
    """Return the names of the fields in a template whose braces are sound."""
    return {field for line in lines_of(template) for _, field, _, _ in string.Formatter().parse(line)
            if field is not None}


def _session_faults(contract: DialectContract, file: str) -> Iterator[Fault]:
    session = contract.session
    spoken = {"identify": [session.identify], "self_test": [session.self_test], "errors": [session.errors],
              "acknowledge": [session.acknowledge], "init": session.init}
    for key, lines in spoken.items():
        for line in lines:
            if line and not _is_one_line(line):
                yield _no_line(file, f"session.{key}", line)
    try:
        groups = set(re.compile(session.identity).groupindex)
    except re.error as error:
        yield Fault(file, "session.identity", repr(session.identity), "a regular expression", f"Mend it: {error}.")
        return
    if groups - IDENTITY_GROUPS:
        yield Fault(file, "session.identity", "the groups " + ", ".join(sorted(groups - IDENTITY_GROUPS)),
                    "no groups but " + ", ".join(sorted(IDENTITY_GROUPS)), "Rename or remove them.")


def _template_faults(contract: DialectContract, file: str, needs: Needs) -> list[Fault]:
    faults = _key_faults(set(contract.templates), set(needs.templates), set(needs.optional), file, "templates")
    for name, template in contract.templates.items():
        wanted = needs.fields_of(name)
        if wanted is not None:
            faults += _one_template_faults(file, name, template, wanted, needs)
    return faults


def _one_template_faults(file: str, name: str, template: str | list[str], wanted: Fields,
                         needs: Needs) -> list[Fault]:
    key, lines = f"templates.{name}", lines_of(template)
    if not lines:
        return [Fault(file, key, "[]", "one line or more", "Leave the key out if the role can do without it.")]
    for line in lines:
        if not line or not _is_one_line(line):
            return [_no_line(file, key, line)]
        try:
            parts = list(string.Formatter().parse(line))
        except ValueError as error:
            return [Fault(file, key, repr(line), "fields as {name}", f"Mend the braces: {error}.")]
        if any(spec or conversion for _, _, spec, conversion in parts):
            return [Fault(file, key, repr(line), "fields as {name}", "Use each field as {name}, without format.")]
    return _wrong_fields(file, key, template, wanted, needs.instead.get(name, frozenset()),
                         needs.besides.get(name, frozenset()))


def _wrong_fields(file: str, key: str, template: str | list[str], wanted: Fields, instead: Fields,
                  besides: Fields) -> list[Fault]:
    fields = fields_in(template)
    if fields <= wanted | instead | besides and (wanted <= fields or fields & instead):
        return []
    words = "the fields " + (", ".join(sorted(wanted)) or "none")
    words += f" (or instead {', '.join(sorted(instead))})" if instead else ""
    words += f" (and if needed {', '.join(sorted(besides))})" if besides else ""
    return [Fault(file, key, repr(template), words, "Use each field as {name}, without format.")]


def _unit_faults(contract: DialectContract, file: str, needs: Needs) -> list[Fault]:
    wanted = needs.units or {}
    faults = _key_faults(set(contract.units), set(wanted), (), file, "units")
    for quantity, unit in contract.units.items():
        if quantity not in wanted:
            continue
        if unit not in units.names() or units.dimension(unit) != wanted[quantity]:
            faults.append(Fault(file, f"units.{quantity}", repr(unit), f"a unit of {wanted[quantity]}",
                                "Give the unit in which the instrument carries it."))
    return faults


def _field_faults(contract: DialectContract, file: str, needs: Needs) -> Iterator[Fault]:
    names = list(contract.templates)
    known = {field for name in names for field in needs.fields_of(name) or ()}
    known |= {field for more in (needs.instead, needs.besides) for name in names for field in more.get(name, ())}
    for name, table in contract.fields.items():
        if name not in known:
            yield Fault(file, f"fields.{name}", "this field", "one of " + (", ".join(sorted(known)) or "none"),
                        "Remove the table or correct its spelling.")
        for key, text in table.map.items():
            if not text or not _is_one_line(text):
                yield _no_line(file, f"fields.{name}.map.{key}", text)
        if table.map and (table.times != 1.0 or table.decimals is not None):
            yield Fault(file, f"fields.{name}", "map beside times or decimals", "one way of writing",
                        "Write the field by its map, or as a number.")


def _answer_faults(contract: DialectContract, file: str) -> Iterator[Fault]:
    for name, table in contract.answers.items():
        key = f"answers.{name}"
        if name not in contract.templates or name not in READ:
            known = sorted(READ & contract.templates.keys())
            yield Fault(file, key, "this key", "a template of this file that asks for a number: " + ", ".join(known),
                        "Remove the table or correct its spelling.")
        if bool(table.map) != (table.form == "map"):
            yield Fault(file, f"{key}.map", "a map" if table.map else "nothing",
                        'a map with form = "map", and only then', "Give both or neither.")


def _limit_faults(contract: DialectContract, file: str) -> Iterator[Fault]:
    spans: Mapping[str, list[int] | list[float] | None] = contract.limits.model_dump(by_alias=True)
    for name, span in spans.items():
        if span is not None and not 0 < span[0] <= span[1]:
            yield Fault(file, f"limits.{name}", repr(span), "[least, greatest], both above zero",
                        "Copy both from the instrument's manual.")


def _capture_faults(contract: DialectContract, file: str) -> list[Fault]:
    templates, block, numbers = contract.templates, contract.block, contract.numbers
    faults = []
    if "preamble" not in templates:
        faults += [Fault(file, f"templates.{name}", "nothing", "a value, or a preamble instead", "Add the key.")
                   for name in ("scale", "offset") if name not in templates]
    if ("preamble" in templates) != bool(block.preamble):
        faults.append(Fault(file, "block.preamble", repr(block.preamble), "its fields by position exactly when "
                            "there is a template preamble", 'Name each position, "" for one that is not used.'))
    faults += _preamble_faults(contract, file)
    form = FORMS[block.form]
    for key in ("code_min", "code_max"):
        if key in numbers and not form.lowest <= numbers[key] <= form.highest:
            faults.append(Fault(file, f"numbers.{key}", str(numbers[key]), f"{form.lowest} to {form.highest}",
                                f"Give a code that {form.name} can carry."))
    if contract.completion.by == "status":
        faults += [Fault(file, key, "nothing", "a value, as completion is by status", "Add the key.")
                   for key, there in (("templates.status", "status" in templates),
                                      ("numbers.sweeping", "sweeping" in numbers)) if not there]
    return faults + _batch_faults(contract, file)


def _preamble_faults(contract: DialectContract, file: str) -> list[Fault]:
    named = [name for name in contract.block.preamble if name]
    faults = []
    if contract.block.preamble and "scale" not in named and "scale" not in contract.templates:
        faults.append(Fault(file, "block.preamble", repr(contract.block.preamble), "a position for scale",
                            "Name the position, or add a template scale."))
    if len(named) != len(set(named)):
        faults.append(Fault(file, "block.preamble", repr(contract.block.preamble), "each name once",
                            "Correct the list."))
    return faults


def _batch_faults(contract: DialectContract, file: str) -> list[Fault]:
    templates = contract.templates
    if not contract.block.batch or "window" in templates:
        return []
    fetch = templates.get("fetch", "")
    try:
        bounded = bool(fields_in(fetch) & {"first", "last", "count"})
    except ValueError:
        return []   # told above
    return [] if bounded else [Fault(file, "block.batch", str(contract.block.batch),
                                     "a template window, or fetch with {first} and {last} or {count}",
                                     "Say how a part of the memory is asked for, or set batch to 0.")]


def _key_faults(got: set[str], wanted: Iterable[str], optional: Iterable[str], file: str,
                table: str) -> list[Fault]:
    wanted = set(wanted)
    missing = [Fault(file, f"{table}.{key}", "nothing", "a value", "Add the key.") for key in sorted(wanted - got)]
    return missing + [Fault(file, f"{table}.{key}", "this key", "no such key",
                            "Remove the key or correct its spelling.")
                      for key in sorted(got - wanted - set(optional))]


def _is_one_line(text: str) -> bool:
    return text.isascii() and text.isprintable()


def _no_line(file: str, key: str, line: str) -> Fault:
    return Fault(file, key, repr(line), "one line of printable ASCII", "Remove line breaks and signs.")
