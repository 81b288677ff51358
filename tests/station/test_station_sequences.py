"""No sequence of inputs logs what must not be logged.

The truth about each battery is written down by name in the world of these tests (which fit, which
are ready, which a supervisor may release); the machine is held against that, not against itself.
"""

from __future__ import annotations

from dataclasses import replace

import station_world as room
from hypothesis import event, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from station_world import (
    FITTING,
    GOOD,
    NOW,
    READY,
    RELEASABLE,
    SUPERVISOR,
    Station,
    World,
    world,
)
from tagkit.assets.tag import Kind, Tag
from tagkit.rules.readiness import HoldFact
from tagkit.station.change import Change, advance, begin
from tagkit.station.facts import LoggedChange
from tagkit.station.inputs import (
    Answer,
    Cancel,
    Certain,
    Characters,
    Choose,
    Confirm,
    Foreign,
    Gauge,
    Input,
    Logged,
    NothingOut,
    PutOn,
    Refused,
    Release,
    Seen,
    Shown,
    Typed,
    Undo,
)
from tagkit.station.orders import ChangeOrder, UndoOrder
from tagkit.station.screen import look

TAGS = [value for value in vars(room).values() if isinstance(value, Tag)]
FIT_TRUCKS = {room.TRUCK, room.OTHER_TRUCK, room.EMPTY_TRUCK, room.CROWDED_TRUCK, room.HELD_TRUCK}
GOOD_CHARGERS = {room.CHARGER, room.TAKEN_CHARGER}


def check_order(order: ChangeOrder, given: Input, before: Change, facts: World) -> None:
    """What must be true of everything that is logged."""
    screen = look(before, facts)
    assert isinstance(given, Confirm) and given.seen == screen.token
    assert (screen.stage, screen.posture) == ("finish", "go")
    assert order.battery_in in FITTING and order.truck in FIT_TRUCKS
    assert order.verdict.fits and order.readiness.ready
    held = facts.assets[order.battery_in].holds
    assert not any(hold.safety for hold in held)
    if order.battery_in not in READY or order.truck == room.HELD_TRUCK or held:
        assert order.battery_in in READY | RELEASABLE
        assert order.release is not None and order.release.by == SUPERVISOR
        assert order.readiness.lifted
    assert order.battery_out != order.battery_in
    if order.out_to is not None and order.out_to.kind == "charger":
        assert order.battery_out is not None
        assert order.out_to.name in {str(tag) for tag in GOOD_CHARGERS}
    place = facts.assets[order.battery_in].place
    if place is not None and place.kind == "truck":
        assert {"in_this_truck", "in_another_truck"} & {said.key for said in order.answers}
    if facts.assets[order.battery_in].readiness.on_charge_since is not None:
        assert order.charge_ended


def check_screen(change: Change, facts: World) -> None:
    """What must be true of every screen."""
    screen = look(change, facts)
    texts = [screen.headline.text, *(line.text for line in screen.lines)]
    texts += [line.text for line in screen.cautions]
    texts += [offer.label.text for offer in screen.offers]
    texts += [line.text for line in (screen.todo, screen.notice) if line is not None]
    assert all(texts)
    if screen.posture == "go":
        assert change.battery in FITTING and change.truck in FIT_TRUCKS
        assert change.battery in READY or change.release is not None
        assert screen.shape == "tick" and screen.sound == "go"
        assert not {change.battery, change.truck} & change.recovered
    if screen.stage == "stop":
        assert (screen.posture, screen.shape, screen.sound) == ("stop", "octagon", "stop")
        assert screen.todo is not None and len(screen.lines) >= 2


tags = st.sampled_from(TAGS)
labels = st.builds(Seen, tags, st.booleans())
batteries = st.sampled_from([tag for tag in TAGS if tag.kind is Kind.BATTERY])


class AtTheStation(RuleBasedStateMachine):
    """Anybody doing anything at a station, while the record changes under it."""

    @initialize()
    def arrive(self):
        self.facts = world()
        self.change = begin(("brake", "seated"), "stand 1")
        self.releases: set[Tag] = set()
        self.by_hand: set[Tag] = set()
        self.decoded: set[Tag] = set()
        self.tokens = ["", "never shown"]

    def give(self, given: Input) -> None:
        before = self.change
        self.change = advance(before, given, self.facts)
        order = self.change.order
        if order is not None and order is not before.order:
            if isinstance(order, ChangeOrder):
                check_order(order, given, before, self.facts)
                for tag in (order.truck, order.battery_in):
                    assert tag in self.decoded or tag in self.by_hand
                if order.release is not None:
                    assert order.battery_in in self.releases
            else:
                assert isinstance(order, UndoOrder)
                assert isinstance(given, Confirm) and given.seen == look(before, self.facts).token
                assert order.event == "e1"
            event(type(order).__name__)
        self.tokens = [*self.tokens[-8:], look(self.change, self.facts).token]

    @rule(shown=st.lists(labels, min_size=1, max_size=3))
    def show(self, shown):
        self.decoded |= {label.tag for label in shown if not label.recovered}
        self.give(Shown(tuple(shown)))

    @rule(seen=st.sets(tags, max_size=3))
    def decode_what_stayed_in_view(self, seen):
        self.decoded |= seen
        before = self.change
        self.give(Certain(frozenset(seen)))
        assert self.change.order is before.order and self.change.battery == before.battery

    @rule(truck=st.sampled_from(sorted(FIT_TRUCKS)), battery=batteries)
    def show_a_pair(self, truck: Tag, battery: Tag) -> None:
        self.decoded |= {truck, battery}
        self.give(Shown((Seen(truck), Seen(battery))))

    @rule(truck=st.sampled_from(sorted(FIT_TRUCKS)), battery=st.sampled_from(sorted(FITTING)))
    def show_a_fitting_pair(self, truck, battery):
        self.show_a_pair(truck, battery)

    @rule(times=st.integers(1, 3))
    def press(self, times):
        for _ in range(times):
            self.give(Confirm(look(self.change, self.facts).token))

    @rule(truck=st.sampled_from(sorted(FIT_TRUCKS)), battery=st.sampled_from(sorted(FITTING)),
          releases=st.booleans())  # fmt: skip
    def hurry_a_change_through(self, truck, battery, releases):
        """Whatever is asked is pressed away."""
        self.show_a_pair(truck, battery)
        if releases:
            self.release(battery, SUPERVISOR, "no time")
        self.press(4)

    @rule(back=st.integers(1, 8))
    def press_late(self, back):
        self.give(Confirm(self.tokens[-min(back, len(self.tokens))]))

    @rule(given=st.sampled_from(["as-shown", "as-recorded"]), late=st.booleans())
    def answer(self, given, late):
        token = self.tokens[-2] if late else look(self.change, self.facts).token
        self.give(Answer(token, given))

    @rule(index=st.integers(0, 4))
    def take_an_offer(self, index):
        offers = look(self.change, self.facts).offers
        if offers:
            chosen = offers[index % len(offers)].gives
            if isinstance(chosen, Choose) and chosen.tag not in self.change.choices_recovered:
                self.decoded.add(chosen.tag)
            self.give(chosen)

    @rule(text=st.one_of(st.text(max_size=30), st.sampled_from([str(tag) for tag in TAGS])))
    def type_something(self, text):
        self.decoded |= {tag for tag in TAGS if str(tag) == text}
        self.give(Typed(text))

    @rule(tag=tags, wrong=st.booleans())
    def read_the_characters(self, tag, wrong):
        if not wrong:
            self.by_hand.add(tag)
        self.give(Characters("wrong" if wrong else str(tag)[-6:]))

    @rule(tag=batteries, by=st.sampled_from([SUPERVISOR, "A1", ""]), reason=st.text(max_size=5))
    def release(self, tag, by, reason):
        if by == SUPERVISOR:
            self.releases.add(tag)
        screen = look(self.change, self.facts)
        self.give(Release(tag, by, reason, screen.token, screen.reasons))

    @rule(
        given=st.sampled_from(
            [Foreign("WIFI:S:guest;;"), NothingOut(), PutOn("stand", "stand 2"), Cancel(), Undo(),
             PutOn("elsewhere", ""), Gauge(50, 10), Logged("e9"), Refused("somebody was faster")]
        )
    )  # fmt: skip
    def do_something_else(self, given):
        self.give(given)

    @rule(tag=batteries, safety=st.booleans())
    def a_hold_is_set(self, tag, safety):
        if tag in self.facts.assets:
            self.facts.change(tag, holds=(HoldFact("leak", safety),))

    @rule(tag=batteries)
    def its_holds_are_lifted(self, tag):
        if tag in self.facts.assets and tag != room.LEAKING:
            self.facts.change(tag, holds=())

    @rule(known=st.booleans())
    def a_change_was_logged(self, known):
        last = LoggedChange("e1", room.TRUCK, GOOD, None, "A1", NOW)
        self.facts.last = last if known else None

    @invariant()
    def the_screen_is_honest(self):
        if hasattr(self, "change") and not any(
            asset.holds for tag, asset in self.facts.assets.items() if tag in READY
        ):
            check_screen(self.change, self.facts)


TestAtTheStation = AtTheStation.TestCase
TestAtTheStation.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)


def test_every_state_that_a_small_room_can_reach():
    """Breadth first, every input in every state, until there is nothing new."""
    facts = world()
    facts.last = LoggedChange("e1", room.TRUCK, GOOD, None, "A1", NOW)
    labels_shown = (room.TRUCK, GOOD, room.OLD, room.RESTING, room.CHARGER, room.WRONG_CHARGER)
    inputs: list[Input] = [
        *(Shown((Seen(tag),)) for tag in labels_shown),
        Shown((Seen(GOOD, True),)),
        Shown((Seen(GOOD), Seen(room.RESTING))),
        Characters(str(GOOD)),
        NothingOut(),
        Undo(),
    ]
    start = begin((), "stand 1")
    reached, frontier, orders, greens = {repr_of(start)}, [start], 0, 0
    while frontier:
        change = frontier.pop()
        screen = look(change, facts)
        pressed: list[Input] = [
            Confirm(screen.token),
            Answer(screen.token, "as-recorded"),
            Release(room.RESTING, SUPERVISOR, "stranded", screen.token, screen.reasons),
        ]
        for given in (*inputs, *pressed):
            after = advance(change, given, facts)
            if isinstance(after.order, ChangeOrder):
                check_order(after.order, given, change, facts)
                orders += 1
                continue
            key = repr_of(after)
            if key not in reached:
                reached.add(key)
                check_screen(after, facts)
                greens += look(after, facts).posture == "go"
                frontier.append(after)
    assert orders > 20 and greens > 50 and len(reached) > 300, (orders, greens, len(reached))


def repr_of(change: Change) -> str:
    return repr(replace(change, notice=None, decoded=frozenset()))


def test_a_station_with_every_asset_shown_in_every_pair():
    """Each truck with each battery: green exactly for those that fit and are ready."""
    for truck in (tag for tag in TAGS if tag.kind is Kind.TRUCK):
        for battery in (tag for tag in TAGS if tag.kind is Kind.BATTERY):
            station = Station()
            screen = station.together(truck, battery)
            while screen.stage == "question":
                screen = station.press()
            green = truck in FIT_TRUCKS - {room.HELD_TRUCK} and battery in READY
            assert (screen.posture == "go") == green, (truck, battery)
