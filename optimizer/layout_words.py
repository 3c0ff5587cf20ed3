"""Cuts of a floor plan as words, which are changed and compared faster than trees."""

from __future__ import annotations

import numpy as np

from models.arrangement import Cut, Node

MOST_CHANGES = 48
"""Changes tried on random cuts so that what the graph joins touches."""

ACROSS = (-1, -2)
"""How a word of :func:`word_of` names cuts, by the plan axis that they are normal to."""


def random_word(leaves: list[int], rng: np.random.Generator) -> list[int]:
    """Random cuts between leaves, which stay in their order."""
    if len(leaves) == 1:
        return leaves
    at = int(rng.integers(1, len(leaves)))
    across = ACROSS[int(rng.integers(2))]
    return [*random_word(leaves[:at], rng), *random_word(leaves[at:], rng), across]


def changed_word(word: list[int], chance: list[float]) -> list[int]:
    """Cuts of two leaves or more with two of them exchanged, or with a cut turned."""
    word = list(word)
    if chance[0] < 0.5:
        cuts = [i for i, part in enumerate(word) if part < 0]
        at = cuts[int(chance[1] * len(cuts))]
        word[at] = sum(ACROSS) - word[at]
    else:
        leaves = [i for i, part in enumerate(word) if part >= 0]
        one = leaves.pop(int(chance[1] * len(leaves)))
        two = leaves[int(chance[2] * len(leaves))]
        word[one], word[two] = word[two], word[one]
    return word


def word_of(node: Node) -> list[int]:
    """A tree in postfix: leaves, and each cut behind what lies below and above it."""
    return [node] if isinstance(node, int) else [*word_of(node.low), *word_of(node.high), ACROSS[node.axis]]


def tree_of(word: list[int]) -> Node:
    """The tree of a word."""
    stack: list[Node] = []
    for part in word:
        if part >= 0:
            stack.append(part)
        else:
            high = stack.pop()
            stack.append(Cut(ACROSS.index(part), stack.pop(), high))
    return stack[0]


def touching_word(
    wanted: list[tuple[int, int]], word: list[int], count: int, rng: np.random.Generator
) -> list[int]:
    """Cuts changed step by step, never for the worse, until what the graph joins mostly touches."""
    missing = apart(wanted, word, count)
    for chance in rng.random((MOST_CHANGES, 3)).tolist():
        if missing == 0:
            break
        changed = changed_word(word, chance)
        now = apart(wanted, changed, count)
        if now <= missing:
            word, missing = changed, now
    return word


def apart(wanted: list[tuple[int, int]], word: list[int], count: int) -> int:
    """How many pairs of leaves that must touch do not."""
    near = _near(word, count)
    return sum(not near[one] >> (count if other < 0 else other) & 1 for one, other in wanted)


def _near(word: list[int], count: int) -> list[int]:
    """What lies beside each leaf, as bits of leaves and one more for the outside.

    The same as :func:`models.arrangement.neighbours` says face by face, in a tenth of the time.
    """
    near = [0] * count
    stack: list[tuple[int, int, int, int]] = []  # leaves at the low and high side along u, then along v

    def meet(some: int, others: int) -> None:
        while some:
            leaf = some & -some
            near[leaf.bit_length() - 1] |= others
            some ^= leaf

    for part in word:
        if part >= 0:
            stack.append((1 << part,) * 4)
            continue
        a, b, c, d = stack.pop()
        e, f, g, h = stack.pop()
        if part == ACROSS[0]:
            meet(f, a)
            meet(a, f)
            stack.append((e, b, g | c, h | d))
        else:
            meet(h, c)
            meet(c, h)
            stack.append((e | a, f | b, g, d))
    left, right, front, back = stack[0]
    meet(left | right | front | back, 1 << count)
    return near
