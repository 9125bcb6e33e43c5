"""What hangs together: disjoint sets as a forest of parents (union-find; Tarjan, J. ACM 22, 215, 1975).

A forest is a list or a mapping that gives every item its parent, a root itself. Joining keeps the smaller
root, so that the label of a set does not depend on the order of the joins.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeVar

Item = TypeVar("Item", int, str)


class Forest(Protocol[Item]):
    """A list, or a mapping, from every item to its parent."""

    def __getitem__(self, item: Item, /) -> Item: ...

    def __setitem__(self, item: Item, parent: Item, /) -> None: ...


def root(forest: Forest[Item], item: Item) -> Item:
    """The root of an item's tree, halving the path to it."""
    while forest[item] != item:
        forest[item] = forest[forest[item]]
        item = forest[item]
    return item


def join(forest: Forest[Item], one: Item, other: Item) -> bool:
    """Make one set of the sets of two items; False where they were one already."""
    a, b = root(forest, one), root(forest, other)
    forest[max(a, b)] = min(a, b)
    return a != b


def components(size: int, edges: Iterable[tuple[int, int]]) -> list[int]:
    """For the items 0 … size − 1 the smallest item that the edges lead to from each."""
    forest = list(range(size))
    for a, b in edges:
        join(forest, a, b)
    return [root(forest, item) for item in range(size)]
