"""Lines of keys in TOML texts."""

from __future__ import annotations

from optimizer.toml_lines import key_lines

TEXT = '''# a comment with [brackets] and key = 1
title = "with # and = and [x] \\" inside"
[a."b.c".'d']
x.y = 1 # [no]
long = """
fake = 1
[fake]
"" \\""" end"""
raw = \'\'\'
fake = 2\'\'\'
list = [ # comment ]
  1, [2,
  3], "],", { k = 4,
]
'''


def test_lines_of_keys() -> None:
    """Comments, strings and nested lists do not mislead."""
    text = (
        TEXT.replace("{ k = 4,", "{ k = 4 }")
        + "[[t]]\nv = 1\r\n[[t]]\nv = { p = [0,\n 1], q = 2 }\n[t.s]\nw = 1\n[[t.u]]\n[[t.u]]\nw = 2"
    )
    lines = key_lines(text)
    root = ("a", "b.c", "d")
    assert lines[("title",)] == 2
    assert lines[root] == 3
    assert lines[(*root, "x", "y")] == 4
    assert lines[(*root, "long")] == 5
    assert lines[(*root, "raw")] == 9
    assert lines[(*root, "list", 0)] == 12
    assert lines[(*root, "list", 1, 1)] == 13
    assert lines[(*root, "list", 3, "k")] == 13
    assert lines[("t",)] == lines[("t", 0)] == 15
    assert lines[("t", 1)] == 17
    assert lines[("t", 1, "v", "p", 1)] == 19
    assert lines[("t", 1, "v", "q")] == 19
    assert lines[("t", 1, "s", "w")] == 21
    assert lines[("t", 1, "u", 1, "w")] == 24
    assert not [key for key in lines if "fake" in key]


def test_broken_text_gives_the_lines_so_far() -> None:
    """Lines are a help only; a text that breaks off raises nothing."""
    assert key_lines("a = 1\nb = [1,\n2") == {("a",): 1, ("b",): 2, ("b", 0): 2, ("b", 1): 3}
    assert key_lines('a = "x') == {("a",): 1}
