"""What the footer of a Parquet file declares, read without the library.

The library's own records of column chunks cannot be asked safely: made from some damaged footers they end the process
instead of raising. The format is Thrift's compact protocol (Apache Thrift specification, "thrift-compact-protocol");
fields are numbered as in `parquet.thrift` of the Apache Parquet format.
"""

from pathlib import Path
from typing import Any

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.read import ReadOptions

_MAGIC = b"PAR1"
_TAIL = 8
_DEEPEST, _LONGEST_BITS = 32, 63
_TRUE, _FALSE, _BYTE, _I16, _I32, _I64, _DOUBLE, _BINARY, _LIST, _SET, _MAP, _STRUCT = range(1, 13)
_NUMBERS = (_I16, _I32, _I64)


@dataclass(frozen=True, slots=True)
class Declared:
    """What a footer declares: rows, and of every column chunk the number of values and of bytes once unpacked."""

    rows: int
    values: tuple[int, ...]
    unpacked: tuple[int, ...]


def declared(path: Path, options: ReadOptions) -> Declared:
    """What the footer of a file declares.

    Raises LogReadError where it is damaged.
    """
    try:
        facts = _Compact(_footer(path), options.footer_values).struct(0)
        groups = [chunk for group in facts.get(4, ()) for chunk in group.get(1, ())]
        chunks = [chunk.get(3, {}) for chunk in groups]
        return Declared(int(facts[3]), tuple(c.get(5, 0) for c in chunks), tuple(c.get(6, 0) for c in chunks))
    except (LookupError, ValueError, AttributeError, TypeError) as error:
        raise LogReadError(
            message(path.name, "a damaged Parquet file", "a complete one", "Copy or export the log again.")
        ) from error


def _footer(path: Path) -> bytes:
    """The bytes of the footer; nothing where the file is none."""
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(size - _TAIL, 0))
        tail = file.read()
        length = int.from_bytes(tail[:4], "little")
        if len(tail) < _TAIL or tail[4:] != _MAGIC or length > size - _TAIL:
            return b""
        file.seek(size - _TAIL - length)
        return file.read(length)


class _Compact:
    """Structs as field numbers with values. Raises IndexError past the end, ValueError where nothing fits."""

    def __init__(self, data: bytes, most: int) -> None:
        self.data, self.at, self.left = data, 0, most

    def struct(self, depth: int) -> dict[int, Any]:
        """The fields of a struct; of two with the same number the later one."""
        found: dict[int, Any] = {}
        number = 0
        while (head := self.byte()) != 0:
            number = number + (head >> 4) if head >> 4 else self.number()
            kind = head & 15
            found[number] = kind == _TRUE if kind in (_TRUE, _FALSE) else self.value(kind, depth)
        return found

    def value(self, kind: int, depth: int) -> Any:
        """One value of a kind."""
        self.left -= 1
        if depth > _DEEPEST or self.left < 0:
            raise ValueError("values in values, or values, without end")
        if kind in _NUMBERS:
            return self.number()
        if kind == _BINARY:
            return self.skip(self.varint())
        if kind == _STRUCT:
            return self.struct(depth + 1)
        if kind in (_LIST, _SET):
            return self.items(depth)
        if kind == _DOUBLE:
            return self.skip(8)
        if kind in (_BYTE, _TRUE, _FALSE):
            return self.byte()
        if kind == _MAP:
            return self.pairs(depth)
        raise ValueError(f"no kind of value: {kind}")

    def items(self, depth: int) -> list[Any]:
        """The values of a list or a set."""
        head = self.byte()
        length = self.varint() if head >> 4 == 15 else head >> 4
        return [self.value(head & 15, depth + 1) for _ in range(length)]

    def pairs(self, depth: int) -> None:
        """Pass over a map."""
        length = self.varint()
        kinds = self.byte() if length else 0
        for _ in range(length):
            self.value(kinds >> 4, depth + 1)
            self.value(kinds & 15, depth + 1)

    def byte(self) -> int:
        """The next byte."""
        self.at += 1
        return self.data[self.at - 1]

    def varint(self) -> int:
        """A number from 0, seven bits a byte, the lowest first."""
        found = shift = 0
        while True:
            byte = self.byte()
            found |= (byte & 127) << shift
            if byte < 128:
                return found
            shift += 7
            if shift > _LONGEST_BITS:
                raise ValueError("a number without end")

    def number(self) -> int:
        """A whole number with its sign in the lowest bit."""
        found = self.varint()
        return (found >> 1) ^ -(found & 1)

    def skip(self, length: int) -> None:
        """Pass over some bytes."""
        self.at += length
        if self.at > len(self.data):
            raise IndexError("the footer ends early")
