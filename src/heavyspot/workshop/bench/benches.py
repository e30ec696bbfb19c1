"""The benches of a shop: one for each rig of this computer, and which piece is on which.

A piece is on one rig at most. What is asked of a piece goes to the bench it is on; where there is one rig
only, that is the one. A piece that is on none has a bench without a rig: there is all that needs no rig.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

from ...quantities.durable import write_text
from ...quantities.errors import BadInput, HeavyspotError, LedgerFault, NotThere
from ...quantities.said import Said
from ...sources.devices.slow import slow_channels
from ...sources.live import LiveSource
from ...sources.sound_card import RigFile
from ..rig import find_rig
from ..shop import Workshop, find_piece
from ..stored import stored
from .asks import Asks
from .bench import Bench, Shared
from .live_store import LiveStore
from .no_rig import source_of
from .remote import AgentSays, Remote, by_its_agent
from .remote_spin import Streamed
from .set_up import SetUps
from .watched import watch_of

SET_UP = "set-up.json"
ON_RIGS = "on-rigs.json"
"""Which piece is on which rig outlives a restart."""


@dataclass(frozen=True)
class _OnRigs:
    """What outlives a restart: rig to serial, and the rigs that have an agent."""

    on: dict[str, str]
    agents: tuple[str, ...] = ()


class Benches:
    """The benches of a shop.

    Parameters
    ----------
    benches : sequence of (name, Bench)
        By their rigs' names; at least one. One alone is every piece's.
    nowhere : Bench
        Of the pieces that are on no rig.
    """

    def __init__(self, benches: Sequence[tuple[str, Bench]], nowhere: Bench | None = None) -> None:
        self._by_rig = dict(benches)
        self.first = benches[0][1]
        self._nowhere = nowhere or self.first
        self.remotes: dict[str, Remote] = {}
        self._lock = threading.Lock()
        for bench in self.all():
            bench.refuses = partial(self._refuse_elsewhere, bench)

    @property
    def several(self) -> bool:
        """Whether it has to be said which rig a piece is on: there is more than one, or one has an agent."""
        return len(self._by_rig) > 1 or bool(self.remotes)

    def all(self) -> list[Bench]:
        """Return the benches in the order the rigs were named."""
        return list(self._by_rig.values())

    def named(self) -> list[tuple[str, Bench]]:
        """Return each rig's name and bench; the name is empty where no rig, or a simulated one, is there."""
        return list(self._by_rig.items())

    def names(self) -> list[str]:
        """Return the rigs' names where there are several, in the order they were named."""
        return list(self._by_rig) if self.several else []

    def at(self, rig: str) -> Bench:
        """Return a rig's bench, the only one for an empty name.

        Raises
        ------
        NotThere
            No such rig is served here.
        BadInput
            No name is given, and there are several.
        """
        if not rig and self.several:
            raise BadInput(Said("refusal.there_are_several_rigs_here"), remedy=self._known())
        found = self.first if not rig else self._by_rig.get(rig)
        if found is None:
            raise NotThere(
                Said("refusal.no_rig_is_connected_to", {"rig": rig}), remedy=self._known()
            )
        return found

    def of(self, serial: str) -> Bench:
        """Return the bench a piece is on: where it spins, else where it was put."""
        if not self.several:
            return self.first
        benches = self.all()
        held = next((b for b in benches if b.holds(serial)), None)
        return held or next((b for b in benches if b.on_it == serial != ""), self._nowhere)

    def rig_of(self, serial: str) -> str:
        """Return the name of the rig a piece is on; empty where there is one only, and on none."""
        bench = self.of(serial)
        return next((name for name in self.names() if self._by_rig[name] is bench), "")

    def agent_of(self, serial: str) -> Remote | None:
        """Return the agent of the rig a piece is on; None where it has none."""
        return self.remotes.get(self.rig_of(serial))

    def hear(self, rig: str, said: AgentSays, typed: str = "", agent: str = "") -> tuple[str, str]:
        """Take what a rig's agent says; returns the serial that is on it, and why what was typed there is not.

        Parameters
        ----------
        typed : str
            Serial that was typed or scanned at the rig since it was last heard.
        agent : str
            The agent's own name for itself.

        Raises
        ------
        LedgerFault
            Another agent speaks for the rig.
        NotThere
            The ledger knows no such rig.
        BadInput
            The rig is captured by this computer itself.
        """
        self._agent_at(rig).hear(said, agent)
        refused = ""
        if typed:
            try:
                self.put_on(rig, typed)
            except LedgerFault as fault:
                refused = f"{fault.message} {fault.remedy}"
        return self.at(rig).on_it, refused

    def stream(self, rig: str, said: Streamed, agent: str) -> None:
        """Take the figures of the spin a rig's agent captures.

        Raises
        ------
        NotThere
            The ledger knows no such rig, or no such piece.
        BadInput
            The rig is captured by this computer itself.
        LedgerFault
            Another agent speaks for the rig.
        """
        shop = self._nowhere.shop
        self._agent_at(rig).stream(said, agent, lambda: watch_of(shop, said.serial, rig))

    def _agent_at(self, rig: str) -> Remote:
        if rig not in self.remotes:
            self._add_agent(rig)
        return self.remotes[rig]

    def forget(self, rig: str) -> None:
        """Forget a rig's agent; what it sends later is taken all the same. Raises `NotThere` when it has none."""
        with self._lock:
            if self.remotes.pop(rig, None) is None:
                raise NotThere(f"{rig} has no agent.", remedy="Nothing was changed.")
            del self._by_rig[rig]
            if not self._by_rig:
                self._by_rig[""] = self._nowhere
            self.first = next(iter(self._by_rig.values()))
            self._keep()

    def _add_agent(self, rig: str) -> None:
        shop = self._nowhere.shop
        find_rig(shop, rig)
        with self._lock:
            if rig in self._by_rig and rig not in self.remotes:
                raise BadInput(
                    f"{rig} is captured by this computer itself.",
                    remedy="Give the agent's rig file another name, or leave out --rig here.",
                )
            if rig in self.remotes:
                return
            bench = Bench(
                shop, by_its_agent, by_its_agent, connected=False, shared=self._nowhere.known
            )
            bench.refuses = partial(self._refuse_elsewhere, bench)
            bench.agent = self.remotes[rig] = Remote()
            if self._by_rig.get("") is not None and not self.first.connected:
                del self._by_rig[""]  # no rig at all, until this one
            self._by_rig[rig] = bench
            self.first = next(iter(self._by_rig.values()))
            self._keep()

    def spinning(self) -> list[str]:
        """Return the serials that spin just now."""
        there = [r.spins for r in self.remotes.values() if r.spins]
        return [b.capture.about.serial for b in self.all() if b.capture and not b.armed] + there

    def put_on(self, rig: str, serial: str) -> Bench:
        """Put a piece on a rig, in the place of what is on it.

        Raises
        ------
        NotThere
            No such rig, or no such piece.
        LedgerFault
            The piece spins, or is read, on another rig; or another spins on this one.
        """
        find_piece(self._nowhere.shop, serial)
        with self._lock:
            bench, there = self.at(rig), self.of(serial)
            if bench is there and bench.on_it == serial:
                return bench
            for one in {id(b): b for b in (there, bench)}.values():
                if one is bench or one.armed == serial:
                    one.disarm()
            with there.lock:
                if there is not bench and (there.holds(serial) or self._spun_by_agent(serial)):
                    raise LedgerFault(
                        Said(
                            "refusal.spins_on_a_piece_is",
                            {"serial": serial, "serial_2": self.rig_of(serial)},
                        ),
                        remedy=Said("remedy.wait_until_that_spin_is"),
                    )
                there.leave(serial)
            with bench.lock:
                if bench.capture is not None and not bench.holds(serial):
                    raise LedgerFault(
                        Said(
                            "refusal.spins_on", {"serial": bench.capture.about.serial, "rig": rig}
                        ),
                        remedy=Said("remedy.wait_until_it_has_ended"),
                    )
                if bench.agent.spins not in ("", serial):
                    raise LedgerFault(
                        f"{bench.agent.spins} spins on {rig}.", remedy="Wait until it has ended."
                    )
                bench.leave(bench.on_it)
                bench.on_it = serial
            self._keep()
        return bench

    def _spun_by_agent(self, serial: str) -> bool:
        return any(remote.spins == serial for remote in self.remotes.values())

    def _refuse_elsewhere(self, bench: Bench, serial: str) -> None:
        if self.several and self.of(serial) is not bench:
            raise LedgerFault(
                Said("refusal.is_not_on_this_rig", {"serial": serial}),
                remedy=Said("remedy.load_its_page_again"),
            )

    def say_of(self, serial: str, words: str) -> None:
        """Say at a piece's bench what happened to it elsewhere."""
        self.of(serial).tell(serial, words)

    def close(self) -> None:
        """Stop what spins, on every rig at once; it is read and kept."""
        closing = [threading.Thread(target=bench.close) for bench in self.all()]
        for one in closing:
            one.start()
        for one in closing:
            one.join()
        for bench in self.all():
            if bench.slow is not None:
                bench.slow.stop()

    def recall(self) -> None:
        """Put on the rigs what was on them before a restart; nothing where that cannot be read any more."""
        with suppress(OSError, ValueError, TypeError, HeavyspotError):  # comfort only
            kept = stored(_OnRigs, json.loads(self._kept_in().read_text("utf-8")), what=ON_RIGS)
            for rig in kept.agents:
                with suppress(HeavyspotError):
                    self._add_agent(rig)
            for rig, serial in kept.on.items() if self.several else ():
                with suppress(HeavyspotError):
                    self.put_on(rig, serial)

    def _kept_in(self) -> Path:
        return self._nowhere.shop.folder / ON_RIGS

    def _keep(self) -> None:
        on = {rig: bench.on_it for rig, bench in self._by_rig.items() if bench.on_it}
        content = asdict(_OnRigs(on, tuple(self.remotes)))
        with suppress(OSError):  # a full disk costs the comfort, never the work
            write_text(self._kept_in(), json.dumps(content, ensure_ascii=False))

    def _known(self) -> Said:
        if not self._by_rig:
            return Said("remedy.no_rigs_here")
        return Said("remedy.rigs_here", {"names": ", ".join(self._by_rig)})


def benches_of(shop: Workshop, rigs: Sequence[RigFile]) -> Benches:
    """Return the benches of real rigs; with one alone everything is as if there were no others.

    Raises
    ------
    BadInput
        Two of them have one name, or one device.
    """
    refuse_twice(rigs)
    shared = Shared(LiveStore(shop.book.folder / "capture"), Asks(shop))
    nowhere = Bench(shop, _on_no_rig, _on_no_rig, connected=False, shared=shared)
    made = []
    for rig in rigs:
        kept_in = shop.folder / (SET_UP if len(rigs) == 1 else _set_up_file(rig.name))
        bench = Bench(
            shop, source_of(rig), source_of(rig), rig=rig, shared=shared, hands_free=True,
            set_ups=SetUps(kept_in=kept_in), slow=slow_channels(rig.slow),
        )  # fmt: skip
        made.append((rig.name, bench))
    found = Benches(made, nowhere)
    found.recall()
    return found


def _on_no_rig(serial: str) -> LiveSource:
    raise NotThere(
        Said("refusal.is_on_no_rig", {"serial": serial}),
        remedy=Said("remedy.say_first_which_rig_it"),
    )


def refuse_twice(rigs: Sequence[RigFile]) -> None:
    """Raise `BadInput` where a rig is named twice, or two rigs are one device: a spin would go to either."""
    names: dict[str, RigFile] = {}
    devices: dict[object, str] = {}
    for rig in rigs:
        key = rig.name.strip().lower()
        if key in names:
            raise BadInput(
                f'Two rig files are called "{rig.name}".', remedy="Give each rig its own name."
            )
        names[key] = rig
        device = (rig.driver, str(rig.device), json.dumps(rig.settings, sort_keys=True))
        if device in devices:
            raise BadInput(
                f'"{rig.name}" and "{devices[device]}" capture from one device.',
                remedy="Name each rig's own device in its rig file; `heavyspot devices` lists them.",
            )
        devices[device] = rig.name


def _set_up_file(rig: str) -> str:
    """Return where a rig's set-up is kept: its name comes from outside and is no path."""
    return f"set-up-{hashlib.sha256(rig.encode()).hexdigest()[:16]}.json"
