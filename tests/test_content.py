"""Content keys: equal contents have equal names, and any change has another."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pytest

from spreadmap.values.content import content_key
from spreadmap.values.words import Mode


@dataclass(frozen=True)
class Made:
    name: str
    part: object


def test_equal_contents_have_equal_keys():
    assert content_key(1, "a") == content_key(1, "a")
    assert len(content_key()) == 64
    assert content_key(np.arange(6).reshape(2, 3)) == content_key(np.arange(6).reshape(3, 2).reshape(2, 3))
    assert content_key({"a": 1, "b": 2}) == content_key({"b": 2, "a": 1})


ALL = [
    None, True, 1, 1.0, "1", "", (), (1,), ((1,),), {}, {"a": 1}, dt.date(2026, 1, 1), Mode.RELATIVE, Mode.RELATIVE.value,
    np.array([1.0]), np.array([[1.0]]), np.array([1]), np.array([1.0, -0.0]), np.array([1.0, 0.0]),
    np.array(["ab", "c"], dtype=object), np.array(["a", "bc"], dtype=object), Made("a", 1), Made("a", 2),
    ("ab", "c"), ("a", "bc"),
]  # fmt: skip


def test_no_two_different_values_share_a_key():
    keys = [content_key(value) for value in ALL]
    assert len(set(keys)) == len(keys)


def test_neighbours_are_not_taken_for_one():
    assert content_key("ab", "c") != content_key("a", "bc")
    assert content_key([1], [2]) != content_key([1, 2], [])


def test_a_cut_of_an_array_has_the_key_of_its_copy():
    values = np.arange(20.0).reshape(4, 5)
    assert content_key(values[:, ::2]) == content_key(values[:, ::2].copy())


def test_what_is_not_known_is_refused():
    with pytest.raises(TypeError, match="no content key for a function"):
        content_key((1, test_no_two_different_values_share_a_key))
