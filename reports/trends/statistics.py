"""What a fit needs of packs: gathered pack by pack, merged exactly, kept as plain figures.

It follows from a pack's own records alone. So it can be kept with the pack and read again by the
next fit, and holds as long as nothing was recorded about that pack.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reports.trends import segments
from reports.trends.history import Floats
from reports.trends.segments import Counts

SUMS = 10  # of a build or a landmark: see reports.trends.evidence.PAIRS
PACK, BUILD, MARK, OWN = 2, 1 + SUMS, 3 + SUMS, 2 + SUMS  # figures kept of each
FIGURE = np.dtype("<f8")


@dataclass(frozen=True, eq=False)
class Statistics:
    """n packs, their m builds and k landmarks, at j of which an older position is followed.

    pack_key (n,) sorted; pack_group (n,) a place in `names`; pack_years (n,) at risk from entry to
    last contact, pack_failures (n,). build_pack (m,) a place among the packs, build_rows (m,),
    build_cross (m, 10). mark_pack (k,), mark_age (k,) years of the build, mark_years (k,) watched
    after, mark_failed (k,) 1 or 0, mark_cross (k, 10). own_mark (j,) a place among the landmarks,
    own_age (j,) years, own_cross (j, 10). All in the order of the packs.
    """

    names: tuple[str, ...]
    pack_key: Counts
    pack_group: Counts
    pack_years: Floats
    pack_failures: Floats
    build_pack: Counts
    build_rows: Floats
    build_cross: Floats
    mark_pack: Counts
    mark_age: Floats
    mark_years: Floats
    mark_failed: Floats
    mark_cross: Floats
    own_mark: Counts
    own_age: Floats
    own_cross: Floats

    def as_bytes(self) -> bytes:
        """As shards are kept until they are merged: NumPy's own file of arrays."""
        arrays: dict[str, Any] = {name: getattr(self, name) for name in self.__dataclass_fields__}
        file = BytesIO()
        np.savez(file, allow_pickle=False, **(arrays | {"names": np.array(self.names, np.str_)}))
        return file.getvalue()

    @classmethod
    def from_bytes(cls, kept: bytes) -> "Statistics":
        """What `as_bytes` kept, exactly."""
        with np.load(BytesIO(kept), allow_pickle=False) as told:
            arrays: dict[str, Any] = {name: told[name] for name in cls.__dataclass_fields__}
        return cls(**(arrays | {"names": tuple(arrays["names"].tolist())}))

    def only(self, packs: Counts) -> "Statistics":
        """The packs at these places (p,), in this order, each once."""
        builds, build_pack = _carried(self.build_pack, self.pack_key.size, packs)
        marks, mark_pack = _carried(self.mark_pack, self.pack_key.size, packs)
        owns, own_mark = _carried(self.own_mark, self.mark_pack.size, marks)
        taken = {"pack": packs, "build": builds, "mark": marks, "own": owns}
        tables: dict[str, Any] = {
            name: getattr(self, name)[taken[name.partition("_")[0]]]
            for name in self.__dataclass_fields__
            if name != "names"
        }
        whose = {"build_pack": build_pack, "mark_pack": mark_pack, "own_mark": own_mark}
        return Statistics(names=self.names, **(tables | whose))


def _carried(owner: Counts, owners: int, chosen: Counts) -> tuple[Counts, Counts]:
    """The rows of the owners chosen, in the owners' new order, and whose each now is."""
    first = segments.edges(owner, owners)
    which, row = segments.spread_out(first[chosen], first[chosen + 1])
    return row, which


COUNTED_FROM = {"build_pack": "pack_key", "mark_pack": "pack_key", "own_mark": "mark_pack"}


def merge(parts: Iterable[Statistics]) -> Statistics:
    """Parts laid end to end, in the order of the keys; whatever their order, it is the same."""
    some = [part for part in parts if part.pack_key.size] or [nothing()]
    names = tuple(sorted({name for part in some for name in part.names}))
    joined: dict[str, Any] = {
        name: np.concatenate(_column(some, name, names))
        for name in Statistics.__dataclass_fields__
        if name != "names"
    }
    whole = Statistics(names=names, **joined)
    if np.all(whole.pack_key[1:] >= whole.pack_key[:-1]):
        return whole
    return whole.only(np.argsort(whole.pack_key, kind="stable"))


def _column(parts: Sequence[Statistics], name: str, names: Sequence[str]) -> list[NDArray[Any]]:
    """A column of each part, its places counted through all of them."""
    columns = [getattr(part, name) for part in parts]
    if name == "pack_group":
        places = {group: place for place, group in enumerate(names)}
        mine = [np.array([places[one] for one in part.names], dtype=np.int_) for part in parts]
        return [own[column] for own, column in zip(mine, columns, strict=True)]
    if name not in COUNTED_FROM:
        return columns
    sizes = [getattr(part, COUNTED_FROM[name]).size for part in parts]
    before = np.cumsum([0, *sizes[:-1]])
    return [column + first for column, first in zip(columns, before, strict=True)]


def nothing() -> Statistics:
    """Of no packs."""
    return kept([], [], np.zeros((0, 3), dtype=np.int_), [])


def to_keep(told: Statistics) -> tuple[Counts, list[bytes]]:
    """How many builds, landmarks and older positions each pack has (n, 3), and its figures."""
    size = told.pack_key.size
    own_pack = told.mark_pack[told.own_mark]
    owners = (np.arange(size), told.build_pack, told.mark_pack, own_pack)
    among = told.own_mark - segments.edges(told.mark_pack, size)[own_pack]
    tables = (
        np.column_stack([told.pack_years, told.pack_failures]),
        np.column_stack([told.build_rows, told.build_cross]),
        np.column_stack([told.mark_age, told.mark_years, told.mark_failed, told.mark_cross]),
        np.column_stack([among.astype(np.float64), told.own_age, told.own_cross]),
    )
    counts = np.column_stack([np.bincount(owner, minlength=size) for owner in owners[1:]])
    parts = [
        (segments.edges(owner, size) * table.shape[1] * FIGURE.itemsize, table.astype(FIGURE))
        for owner, table in zip(owners, tables, strict=True)
    ]
    cut = [(edges.tolist(), table.tobytes()) for edges, table in parts]
    return counts, [
        b"".join(figures[edge[row] : edge[row + 1]] for edge, figures in cut) for row in range(size)
    ]


def kept(
    keys: Sequence[int], groups: Sequence[str], counts: Counts, figures: Sequence[bytes]
) -> Statistics:
    """What `to_keep` told of packs, read back exactly; keys sorted, counts (n, 3)."""
    names, group = np.unique(np.array(groups, dtype=np.str_), return_inverse=True)
    flat = np.frombuffer(b"".join(figures), dtype=FIGURE).astype(np.float64)
    sizes = np.column_stack([np.ones(len(counts), dtype=np.int_), counts])
    ends = np.cumsum((sizes * np.array([PACK, BUILD, MARK, OWN])).ravel()).reshape(-1, 4)
    pack, build, mark, own = (
        _table(flat, ends[:, column], sizes[:, column], width)
        for column, width in enumerate((PACK, BUILD, MARK, OWN))
    )
    whose = [np.repeat(np.arange(len(counts)), counts[:, column]) for column in range(3)]
    first_mark = np.cumsum(counts[:, 1]) - counts[:, 1]
    return Statistics(
        names=tuple(names.tolist()),
        pack_key=np.array(keys, dtype=np.int_),
        pack_group=group.astype(np.int_),
        pack_years=pack[:, 0],
        pack_failures=pack[:, 1],
        build_pack=whose[0],
        build_rows=build[:, 0],
        build_cross=build[:, 1:],
        mark_pack=whose[1],
        mark_age=mark[:, 0],
        mark_years=mark[:, 1],
        mark_failed=mark[:, 2],
        mark_cross=mark[:, 3:],
        own_mark=first_mark[whose[2]] + own[:, 0].astype(np.int_),
        own_age=own[:, 1],
        own_cross=own[:, 2:],
    )


def _table(flat: Floats, ends: Counts, rows: Counts, width: int) -> Floats:
    """The rows of one table out of all packs' figures. ends (n,): where each pack's part ends."""
    _, place = segments.spread_out(ends - rows * width, ends)
    return flat[place].reshape(-1, width)
