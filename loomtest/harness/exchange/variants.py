"""Which of a file's looms is meant: its configurations and modules, and what each of them holds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from loomtest.errors import nearest
from loomtest.harness.exchange.tree import Element


@dataclass(frozen=True, slots=True)
class Variant:
    """A configuration, or a module alone: what it is called, by any of `names`, and its modules' ids."""

    name: str
    names: tuple[str, ...]
    modules: frozenset[str]
    what: str  # "configuration" or "module"


@dataclass(frozen=True)
class Variants:
    """All of a file. `modules_of`: the modules that hold an occurrence or a connection, by its id."""

    listed: tuple[Variant, ...]
    modules_of: dict[str, frozenset[str]]

    def named(self, text: str) -> Variant | None:
        """The variant that has the name, exactly or but for case; None where none or several have it."""
        exact = [one for one in self.listed if text in one.names]
        alike = exact or [v for v in self.listed if text.casefold() in (name.casefold() for name in v.names)]
        whole = [one for one in alike if one.what == "configuration"]
        found = whole or alike  # a configuration comes before a module of the same name
        return found[0] if len(found) == 1 else None

    def near(self, text: str) -> list[str]:
        """The names most like one that nobody has."""
        return nearest(text, [one.name for one in self.listed], 1)

    def holds(self, variant: Variant | None, ids: Iterable[str]) -> bool:
        """Whether the variant holds a thing with these ids; what no module holds is in every loom."""
        if variant is None:
            return True
        owners = [modules for one in ids if (modules := self.modules_of.get(one))]
        return not owners or any(modules & variant.modules for modules in owners)


def read_variants(parents: Sequence[Element]) -> Variants:
    """The configurations, then the modules, that stand in the root or in the harness."""
    modules = [one for parent in parents for one in parent.all("Module")]
    owners: dict[str, set[str]] = {}
    for module in modules:
        for setup in module.within("Module_configuration"):
            for identity in setup.refers("Controlled_components"):
                owners.setdefault(identity, set()).add(module.id)
    found: list[Variant] = []
    taken: set[str] = set()
    for configuration in (one for parent in parents for one in parent.all("Harness_configuration")):
        held = frozenset(configuration.refers("Modules"))
        found.append(_variant(configuration, held, "configuration", taken))
    found += [_variant(module, frozenset([module.id]), "module", taken) for module in modules]
    return Variants(tuple(found), {one: frozenset(held) for one, held in owners.items()})


def _variant(element: Element, modules: frozenset[str], what: str, taken: set[str]) -> Variant:
    """Called by the first of its texts that nothing before has."""
    texts = [element.told(tag) for tag in ("Id", "Abbreviation", "Part_number", "Description")]
    names = tuple(dict.fromkeys(text for text in (*texts, element.id) if text))
    name = next((text for text in names if text not in taken), names[-1] if names else "")
    taken.add(name)
    return Variant(name, names, modules, what)
