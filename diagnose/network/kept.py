"""What was worked out before, the least used forgotten first."""

from __future__ import annotations

from collections import OrderedDict
from typing import TypeVar

Key = TypeVar("Key")
Value = TypeVar("Value")


class Kept(OrderedDict[Key, Value]):
    """A dict of at most so many entries: one more drops the one that was not used for longest."""

    def __init__(self, most: int) -> None:
        """Begin with none."""
        super().__init__()
        self.most = most

    def __getitem__(self, key: Key) -> Value:
        """Return an entry, used last from now on. Raises KeyError."""
        self.move_to_end(key)
        return super().__getitem__(key)

    def __setitem__(self, key: Key, value: Value) -> None:
        """Keep one more."""
        super().__setitem__(key, value)
        self.move_to_end(key)
        while len(self) > self.most:
            self.popitem(last=False)
