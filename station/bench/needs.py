"""What a role's driver asks of a dialect, and what it can make use of."""

from collections.abc import Mapping
from dataclasses import dataclass, field

Fields = frozenset[str]
NONE: Fields = frozenset()


@dataclass(frozen=True, slots=True)
class Needs:
    """Templates with their fields, numbers, and units by dimension.

    A template must use all its fields; `instead` names fields that may stand in for them, such as a rate for
    an interval, and `besides` those that it may add.
    """

    templates: Mapping[str, Fields]
    numbers: Fields = NONE
    units: Mapping[str, str] | None = None   # quantity -> dimension
    optional: Mapping[str, Fields] = field(default_factory=dict)
    optional_numbers: Fields = NONE
    instead: Mapping[str, Fields] = field(default_factory=dict)
    besides: Mapping[str, Fields] = field(default_factory=dict)

    def fields_of(self, template: str) -> Fields | None:
        """Return the fields that `template` must use; None for a template that the role does not know."""
        return self.templates.get(template, self.optional.get(template))
