"""One asset taken in by hand, as a sheet of one row would be."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.intake.delivery import DeliveryRow
from tagkit.jobs.receive import Taken, take_in
from tagkit.jobs.site import Site


class WrongFields(WrongInput):
    """What is wrong, by field."""

    def __init__(self, by_field: Mapping[str, WrongInput]) -> None:
        self.by_field = dict(by_field)
        first = next(iter(self.by_field.values()))
        super().__init__(first.problem, first.remedy, first.where)


def take_in_one(
    site: Site,
    kind: Kind,
    written: Mapping[str, str],
    *,
    as_stamped: bool,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Taken:
    """The asset with these figures (field -> text, empty for unknown) gets a number.

    ``as_stamped``: they were read off the case or the nameplate by the person who says so.
    Raises WrongFields with everything that can't be, and WrongInput when the asset is in the
    record already; nothing is taken in then.
    """
    known = fields_of(PLATES[kind])
    source = Source.CATALOGUE
    if as_stamped:
        source = Source.STAMPED if kind is Kind.BATTERY else Source.NAMEPLATE
    facts, wrong = {}, {}
    for name, text in written.items():
        if not text.strip():
            continue
        if name not in known:
            raise WrongInput(f"a {kind.noun} has no {name.replace('_', ' ')}", "Leave it out")
        try:
            facts[name] = read_fact(known[name], text, source)
        except WrongInput as error:
            wrong[name] = error
    if "maker_serial" not in facts and "maker_serial" not in wrong:
        wrong["maker_serial"] = WrongInput(
            "the maker's serial is missing", "Key in what is stamped on it", "maker's serial"
        )
    if wrong:
        raise WrongFields(wrong)
    row = DeliveryRow(1, kind, PLATES[kind](**facts))
    other = site.record.by_maker_serial(kind, str(facts["maker_serial"].value))
    if other is not None:
        raise WrongFields(
            {
                "maker_serial": WrongInput(
                    f"a {kind.noun} with this serial is in the record already, as {other.tag}",
                    "Look it up, or correct the serial",
                )
            }
        )
    (taken,) = take_in(
        site, [row], "taken in by hand", as_stamped=as_stamped, by=by, station=station, at=at
    )
    return taken
