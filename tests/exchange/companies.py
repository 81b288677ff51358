"""A company of several sites for the tests: an exchange, and a record for each site."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import psycopg
from postgres import Postgres
from tagkit.assets.tag import Kind
from tagkit.exchange.address import connect
from tagkit.exchange.layout import give_site, prepare
from tagkit.exchange.round import Exchanged, exchange
from tagkit.record.envelope import Event
from tagkit.record.record import Record
from tagkit.record.verify import verify


class Company:
    """Sites with two trucks, three batteries and a charger each."""

    def __init__(
        self,
        postgres: Postgres,
        folder: Path,
        clock: Callable[[], datetime],
        sites: Sequence[str] = ("QA", "QB", "QC"),
        fresh: bool = False,
    ) -> None:
        self.postgres = postgres
        self.folder = folder
        self.clock = clock
        self.records: dict[str, Record] = {}
        self.lines: dict[str, psycopg.Connection[Any]] = {}
        self.batteries: dict[str, list[str]] = {}
        self.trucks: dict[str, list[str]] = {}
        self.chargers: dict[str, list[str]] = {}
        if fresh or "company" not in postgres.kept:
            self.database = postgres.new_database()
            self.admin = connect(postgres.url(self.database))
            assert prepare(self.admin)
            self.addresses: dict[str, str] = {}
            for site in sites:
                self.give(site)
            if not fresh:
                postgres.kept["company"] = (self.database, self.addresses)
        else:
            # A database has hundreds of files: it is emptied rather than made anew.
            self.database, addresses = postgres.kept["company"]
            self.addresses = dict(addresses)
            self.admin = connect(postgres.url(self.database))
            self.empty()

    def empty(self) -> None:
        """As if no site had ever sent anything; to the sites it is another exchange."""
        self.admin.execute("TRUNCATE tagkit.events, tagkit.topics, tagkit.heads, tagkit.directory")
        self.admin.execute("UPDATE tagkit.sites SET version = 0, sent_at = NULL")
        self.admin.execute("UPDATE tagkit.exchange SET id = gen_random_uuid()::text")

    def give(self, site: str) -> None:
        role, password = give_site(self.admin, site, f"Depot {site}")
        self.addresses[site] = self.postgres.url(self.database, role, password)

    def close(self) -> None:
        for record in self.records.values():
            record.close()
        for line in (*self.lines.values(), self.admin):
            line.close()

    def site(self, site: str) -> Record:
        """The record of a site, made and filled when it is first asked for."""
        if site not in self.records:
            record = Record.create(self.folder / site, site, clock=self.clock)
            self.records[site] = record
            with record.writing("TS", "desk") as writing:
                for kind, count, kept in (
                    (Kind.BATTERY, 3, self.batteries),
                    (Kind.TRUCK, 2, self.trucks),
                    (Kind.CHARGER, 1, self.chargers),
                ):
                    kept[site] = [str(writing.issue(kind)) for _ in range(count)]
                    for number, tag in enumerate(kept[site]):
                        serial = {"value": f"{site}{kind.value}{number}", "source": "stamped"}
                        writing.append("registered", [tag], {"nameplate": {"maker_serial": serial}})
        return self.records[site]

    def log(self, site: str, kind: str, body: dict[str, Any], **options: Any) -> Event:
        station, tags = options.pop("station", "desk"), options.pop("tags", [])
        with self.site(site).writing("TS", station) as writing:
            return writing.append(kind, tags, body, **options)

    def change(self, site: str, truck: str, battery: str, **options: Any) -> Event:
        return self.log(site, "changed", {"truck": truck, "battery_in": battery}, **options)

    def move(
        self, site: str, battery: str, name: str, kind: str = "stand", **options: Any
    ) -> Event:
        body = {"battery": battery, "place": {"kind": kind, "name": name}}
        return self.log(site, "moved", body, **options)

    def exchange(self, *sites: str) -> list[Exchanged]:
        """Each of the sites exchanges once, in this order."""
        done = []
        for site in sites:
            line = self.lines.get(site)
            if line is None or line.closed or line.broken:
                line = self.lines[site] = connect(self.addresses[site])
            done.append(exchange(self.site(site), line))
        return done

    def settle(self, *sites: str) -> None:
        """The sites exchange until there is nothing new for any."""
        for _ in range(10):
            if all(done.nothing_new for done in self.exchange(*sites)):
                return
        raise AssertionError("they never come to an end")

    def place(self, site: str, tag: str) -> str | None:
        state = self.site(site).state(tag)
        return state.place["name"] if state and state.place else None

    def state(self, site: str, tag: str) -> str:
        state = self.site(site).state(tag)
        assert state, f"{site} knows nothing of {tag}"
        return state.to_json()

    def grave(self, site: str) -> list[str]:
        return [str(one) for one in verify(self.folder / site) if one.grave]

    def as_site(self, site: str) -> psycopg.Connection[Any]:
        """A connection with the rights of a site, for what no program of ours would do."""
        return psycopg.connect(self.addresses[site], autocommit=True)
