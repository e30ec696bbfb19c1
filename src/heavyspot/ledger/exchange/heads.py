"""Where the chain ended when: roots over its links, the way from one entry to a root, and heads that were kept.

Nodes over each 1,024 links are kept, so that a root over ten million costs ten thousand; they can be made anew.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, Engine, func, insert, select

from ..store.chain import FIRST, rows_by_id, spelled_row
from ..store.tables import chain, heads, metadata, tree
from ..store.tree import BLOCK, leaf_hash, path_to, root_over


@dataclass(frozen=True)
class Inclusion:
    """One entry, and the way from it to the root over a chain: enough to prove it without the ledger.

    Attributes
    ----------
    table, entry : str
        Its table, and the entry as it is linked: JSON, sorted keys.
    before : str
        The link before its own, hexadecimal.
    number, size : int
        Of its link, from 1, and of the newest link under the root.
    path : tuple of str
        Hashes beside the way, hexadecimal, the nearest first.
    root : str
    """

    table: str
    entry: str
    before: str
    number: int
    size: int
    path: tuple[str, ...]
    root: str


@dataclass(frozen=True)
class KeptHead:
    """A head that was kept here: of which store, and the words it was signed with."""

    store: str
    number: int
    digest: str
    at: str
    content: str


class Heads:
    """Roots, ways and heads of one ledger."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def keep_nodes(self) -> None:
        """Keep the nodes over the full blocks of links that are there."""
        with self._engine.begin() as c:
            have = int(c.execute(select(func.count()).select_from(tree)).scalar_one())
            full = int(c.execute(select(func.coalesce(func.max(chain.c.number), 0))).scalar_one())
            for block in range(have, full // BLOCK):
                c.execute(insert(tree).values(block=block, digest=_block(c, block, full).hex()))

    def root(self, number: int) -> str:
        """Return the root over the links up to one, hexadecimal."""
        with self._engine.connect() as c:
            return root_over(_nodes(c, number)).hex()

    def node_faults(self) -> list[int]:
        """Return the numbers of the blocks whose kept node is not what its links give."""
        with self._engine.connect() as c:
            kept = c.execute(select(tree.c.block, tree.c.digest).order_by(tree.c.block)).all()
            return [
                k.block for k in kept if _block(c, k.block, BLOCK * (k.block + 1)).hex() != k.digest
            ]

    def inclusion(self, entry_id: str, size: int) -> Inclusion | None:
        """Return the way from an entry to the root over the links up to `size`; None where it is not under it."""
        with self._engine.connect() as c:
            link = c.execute(select(chain).where(chain.c.entry_id == entry_id)).first()
            if link is None or link.number > size:
                return None
            row = rows_by_id(c, metadata.tables[link.of_table], [entry_id])[entry_id]
            before = FIRST
            if link.number > 1:
                earlier = select(chain.c.digest).where(chain.c.number == link.number - 1)
                before = str(c.execute(earlier).scalar_one())
            block, at = divmod(link.number - 1, BLOCK)
            within = path_to(at, _leaves(c, block, size))
            nodes = _nodes(c, size)
        path = tuple(p.hex() for p in (*within, *path_to(block, nodes)))
        spelled = spelled_row(link.of_table, row)
        root = root_over(nodes).hex()
        return Inclusion(link.of_table, spelled, before, link.number, size, path, root)

    def keep(self, head: KeptHead) -> None:
        """Keep a head; one of the same store and link stays as it is."""
        same = (heads.c.store == head.store) & (heads.c.number == head.number)
        with self._engine.begin() as c:
            if c.execute(select(heads.c.number).where(same)).first() is None:
                values = {"digest": head.digest, "at": head.at, "content": head.content}
                c.execute(insert(heads).values(store=head.store, number=head.number, **values))

    def kept(self, stores: list[str], most: int = 1000) -> list[KeptHead]:
        """Return the newest kept heads of stores, the newest first."""
        query = select(heads).where(heads.c.store.in_(stores)).order_by(heads.c.number.desc())
        with self._engine.connect() as c:
            return [
                KeptHead(r.store, r.number, r.digest, r.at, r.content)
                for r in c.execute(query.limit(most))
            ]


def _nodes(c: Connection, size: int) -> list[bytes]:
    """Return the nodes over the blocks of links up to one: those that are kept, and the rest made now."""
    full = size // BLOCK
    kept = select(tree.c.digest).where(tree.c.block < full).order_by(tree.c.block)
    nodes = [bytes.fromhex(r.digest) for r in c.execute(kept)]
    blocks = -(-size // BLOCK)
    return nodes + [_block(c, block, size) for block in range(len(nodes), blocks)]


def _block(c: Connection, block: int, size: int) -> bytes:
    return root_over(_leaves(c, block, size))


def _leaves(c: Connection, block: int, size: int) -> list[bytes]:
    """Return the hashes of the leaves of a block, as far as a tree of a size reaches."""
    first, last = block * BLOCK + 1, min((block + 1) * BLOCK, size)
    links = select(chain.c.digest).where(chain.c.number.between(first, last))
    return [leaf_hash(bytes.fromhex(r.digest)) for r in c.execute(links.order_by(chain.c.number))]
