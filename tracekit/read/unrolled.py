"""Rows that each hold a block of samples in lists: a row for every sample, what stands once in a block beside each."""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.options.read import ReadOptions
from tracekit.read.columns import are_samples, holds_lists, most_items


def sample_lists(name: str, first: Sequence[pa.RecordBatch]) -> tuple[str, ...]:
    """The columns whose lists are blocks of samples, by some of the first rows; empty where there is none.

    Raises LogReadError where lists that are such blocks differ in their lengths: their samples belong to other times.
    """
    if not first or not any(holds_lists(field.type) for field in first[0].schema):
        return ()
    table = pa.Table.from_batches(first).slice(0, EVIDENCE.lists_looked_at)
    lists = {n: table[n].combine_chunks() for n in table.column_names if holds_lists(table.schema.field(n).type)}
    sizes = {n: _lengths(array) for n, array in lists.items()}
    lead = next((n for n, array in lists.items() if _are_blocks(array, sizes[n])), None)
    if lead is None:
        return ()
    alike = tuple(n for n in lists if np.array_equal(sizes[n], sizes[lead]))
    others = [n for n in lists if n not in alike and _are_blocks(lists[n], sizes[n])]
    if others:
        found = f'blocks of samples of different lengths in "{lead}" and "{others[0]}"'
        raise LogReadError(message(name, found, "a row per sample", "Export one row for each sample."))
    return alike


def _are_blocks(array: pa.Array, sizes: NDArray[np.int64]) -> bool:
    """True for lists too long for channels, of unlike lengths, of records, or that go on in the next one."""
    filled = sizes[sizes > 0]
    if len(filled) == 0 or np.median(filled) < EVIDENCE.fewest_in_list:
        return False
    if np.median(filled) > most_items() or pa.types.is_struct(array.type.value_type):
        return True
    return len(np.unique(filled[:-1])) > 1 or are_samples(array.filter(pa.array(sizes > 0)))


def _lengths(array: pa.Array) -> NDArray[np.int64]:
    """Values in each list, 0 where there is none, shape (n,)."""
    found = pc.fill_null(pc.list_value_length(array), 0)
    return np.asarray(found.to_numpy(zero_copy_only=False), np.int64)


def unrolled(
    batches: Iterable[pa.RecordBatch], lists: tuple[str, ...], name: str, options: ReadOptions
) -> Iterator[pa.RecordBatch]:
    """Batches with a row for every sample; a block without samples is one row without values.

    lists  the columns that hold the samples; without any the batches come out as they are

    Raises LogReadError where a block holds more samples of one channel than of another.
    """
    for batch in batches:
        own = [n for n in lists if n in batch.schema.names]
        if not own:
            yield batch
            continue
        sizes = _lengths(batch.column(own[0]))
        if any(not np.array_equal(_lengths(batch.column(n)), sizes) for n in own[1:]):
            raise LogReadError(
                message(name, "blocks that hold more samples of one channel than of another", "as many of each",
                        "Export one row for each sample.")
            )  # fmt: skip
        ends = np.cumsum(np.maximum(sizes, 1))
        bounds = np.searchsorted(
            ends, np.arange(0, int(ends[-1]) if len(ends) else 0, options.batch_rows), side="right"
        )
        for start, stop in zip(bounds, [*bounds[1:], len(sizes)], strict=True):
            if stop > start:
                yield _opened_up(batch.slice(start, stop - start), own, sizes[start:stop])


def _opened_up(batch: pa.RecordBatch, lists: Sequence[str], sizes: NDArray[np.int64]) -> pa.RecordBatch:
    rows = np.maximum(sizes, 1)
    owner = np.repeat(np.arange(len(sizes)), rows)
    starts = np.concatenate([[0], np.cumsum(sizes)])[:-1]
    place = starts[owner] + np.arange(len(owner)) - (np.cumsum(rows) - rows)[owner]
    empty = (sizes == 0)[owner]
    index, rank = pa.array(place, mask=empty if empty.any() else None), pa.array(owner)
    whole = not empty.any()
    arrays = []
    for field, column in zip(batch.schema, batch.columns, strict=True):
        if field.name in lists:
            flat = _flat(column)
            arrays.append(flat if whole else flat.take(index))
        else:
            arrays.append(column.take(rank))
    return pa.RecordBatch.from_arrays(arrays, names=batch.schema.names)


def _flat(array: pa.Array) -> pa.Array:
    """The values of all lists, one after the other."""
    if pa.types.is_dictionary(array.type):
        array = array.dictionary_decode()
    return array.flatten()
