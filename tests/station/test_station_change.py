"""The change of a battery as people live it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from station_world import (
    CHARGER,
    CROWD_2,
    CROWDED_TRUCK,
    ELSEWHERE,
    EMPTY_TRUCK,
    GONE,
    GONE_TRUCK,
    GOOD,
    HELD_CHARGER,
    HELD_TRUCK,
    HOIST,
    LEAKING,
    LIGHT,
    LITHIUM_ON_CHARGE,
    NEW_TRUCK,
    NOT_OURS,
    NOW,
    OLD,
    ON_CHARGE,
    OTHER_TRUCK,
    RESTED,
    RESTING,
    SECOND,
    SUPERVISOR,
    TAKEN_CHARGER,
    TRUCK,
    UNMARRIED,
    UNSTATED,
    WRONG_CHARGER,
    Station,
)
from tagkit.rules.flags import Flag
from tagkit.rules.readiness import HoldFact
from tagkit.station.change import begin
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
    Logged,
    NothingOut,
    PutOn,
    Refused,
    Seen,
    Shown,
    Typed,
    Undo,
)
from tagkit.station.orders import ChangeOrder, Destination, UndoOrder
from tagkit.units import quantity


def answer(station, given):
    return station.give(Answer(station.screen.token, given))


# ------------------------------------------------------------ a plain change


@pytest.mark.parametrize("order", [(TRUCK, GOOD), (GOOD, TRUCK)])
def test_a_plain_change_takes_two_presses(order):
    station = Station()
    assert station.screen.posture == "wait"
    screen = station.show(*order)
    assert (screen.stage, screen.posture, screen.shape) == ("out", "go", "tick")
    assert f"Battery out: {OLD}" in station.said
    assert station.press().stage == "finish"
    assert "Battery seated" in station.said
    station.press()
    made = station.order
    assert isinstance(made, ChangeOrder)
    assert (made.truck, made.battery_in, made.battery_out) == (TRUCK, GOOD, OLD)
    assert made.out_to == Destination("stand", "stand 1")
    assert made.verdict.fits and made.readiness.ready
    assert made.steps == ("brake", "seated")
    assert made.seen == {str(TRUCK): "t1", str(GOOD): "g1", str(OLD): ""}
    assert set(made.plates) == {TRUCK, GOOD, OLD}
    assert made.answers == () and made.release is None and made.confirmed_by_hand == ()


def test_truck_and_battery_in_one_picture():
    assert Station().together(TRUCK, GOOD).stage == "out"


def test_typed_numbers_do_the_same():
    station = Station()
    station.give(Typed(str(TRUCK).lower().replace("-", " ")))
    assert station.give(Typed(f" HTTPS://LABELS.EXAMPLE/A/{GOOD}\r\n")).stage == "out"


def test_a_mistyped_number_says_so_and_changes_nothing():
    station = Station()
    station.show(TRUCK)
    station.give(Typed(str(GOOD)[:-1] + "?"))
    assert station.notice == "mistyped"
    assert station.screen.headline.key == "show.battery"


def test_logged_then_the_next_change_begins_by_itself():
    station = Station()
    station.show(TRUCK, GOOD)
    station.press()
    assert station.press().stage == "writing"
    assert station.give(Logged("e7")).stage == "logged"
    assert f"{GOOD} is in {TRUCK}" in station.said
    assert station.order is None
    station.show(EMPTY_TRUCK)
    assert station.screen.headline.key == "show.battery"


def test_what_could_not_be_logged_says_so():
    station = Station()
    station.show(TRUCK, GOOD)
    station.press()
    station.press()
    station.give(Refused("somebody was faster"))
    assert station.order is None and station.screen.stage == "show"
    assert station.screen.notice.text == "NOT logged: somebody was faster"


def test_a_press_that_bounces_logs_once():
    station = Station()
    token = station.show(TRUCK, GOOD).token
    station.give(Confirm(token))
    station.give(Confirm(token))  # the foot switch bounced: the screen has changed since
    assert station.screen.stage == "finish" and station.order is None
    assert station.notice == "changed"
    last = station.screen.token
    station.give(Confirm(last))
    first = station.order
    station.give(Confirm(last))
    assert station.order is first


def test_presses_before_anything_is_shown_do_nothing():
    station = Station()
    station.press()
    assert station.notice == "nothing_to_confirm"
    assert station.change == begin(("brake", "seated"), "stand 1")


def test_the_battery_out_may_go_on_a_charger_shown_at_any_time():
    for labels in [(CHARGER, TRUCK, GOOD), (TRUCK, GOOD, CHARGER)]:
        station = Station()
        station.show(*labels)
        station.press()
        station.press()
        assert station.order.out_to == Destination("charger", str(CHARGER))
        assert station.order.charger_verdict.fits
        assert station.order.seen[str(CHARGER)] == "c1"


def test_gauge_and_hour_meter_go_with_the_change():
    station = Station()
    station.show(TRUCK, GOOD)
    station.give(Gauge(discharged_percent=70))
    station.give(Gauge(hours=4123.5))
    station.give(Gauge(discharged_percent=170))
    assert station.notice == "bad_discharge"
    station.give(Gauge(hours=float("nan")))
    assert station.notice == "bad_hours"
    station.press()
    station.press()
    assert (station.order.discharged_percent, station.order.hours) == (70, 4123.5)


# ------------------------------------------------------ not these, and others


@pytest.mark.parametrize(
    ("tag", "notice"),
    [(HOIST, "wrong_kind")],
)
def test_what_is_no_part_of_a_change_is_said_and_left_out(tag, notice):
    station = Station()
    station.show(TRUCK, tag)
    assert station.notice == notice
    assert station.change.truck == TRUCK and station.change.battery is None


@pytest.mark.parametrize("before", [(), (TRUCK,), (TRUCK, GOOD), (GOOD, CHARGER)])
@pytest.mark.parametrize("pressed", [0, 1])
@pytest.mark.parametrize(
    ("tag", "why", "words"),
    [(NOT_OURS, "unknown", "knows no such battery"), (GONE, "retired", "battery has left"),
     (GONE_TRUCK, "retired", "truck has left")],
)  # fmt: skip
def test_a_number_that_is_not_in_the_fleet_stops_in_full(before, pressed, tag, why, words):
    """Whatever is green before it, nothing can be logged until another label is shown."""
    station = Station()
    station.show(*before)
    for _ in range(pressed):
        station.press()
    stage = station.screen.stage
    seen = station.screen.token
    screen = station.show(tag)
    assert (screen.headline.key, screen.posture, screen.sound) == (f"stop.{why}", "stop", "stop")
    assert words in station.said and "Nothing can be logged with it" in station.said
    assert str(tag) in station.said and str(GOOD) not in station.said
    station.give(Confirm(seen))
    station.press()
    assert station.order is None
    station = Station()
    station.show(*before)
    for _ in range(pressed):
        station.press()
    station.show(tag)
    assert not before or station.show(before[0]).stage == stage


def test_typed_it_stops_too_and_a_good_label_beside_it_does_not_hide_it():
    station = Station()
    assert station.give(Typed(str(GONE))).headline.key == "stop.retired"
    assert station.together(TRUCK, GONE, CHARGER).headline.key == "stop.retired"
    assert station.change.truck == TRUCK and station.change.battery is None
    assert station.show(GOOD).posture == "go"


def test_a_foreign_code_is_not_one_of_ours():
    station = Station()
    station.give(Foreign("https://maker.example/passport/\x00123"))
    assert station.notice == "foreign"
    assert station.screen.stage == "show"


def test_the_same_battery_twice_is_not_two_batteries():
    station = Station()
    station.show(GOOD, GOOD)
    assert station.notice == "same_battery" and station.screen.headline.key == "show.truck"
    station.show(TRUCK, GOOD)
    assert station.notice == "going_in"
    assert station.screen.stage == "out" and station.change.shown_out is None


def test_several_batteries_in_view_are_never_guessed_between():
    station = Station()
    screen = station.together(TRUCK, SECOND, GOOD)
    assert screen.stage == "choose" and screen.posture == "ask"
    assert [offer.gives for offer in screen.offers][:2] == [Choose(GOOD), Choose(SECOND)]
    station.press()
    assert station.screen.stage == "choose"
    station.give(Choose(OLD))
    assert station.notice == "not_offered"
    assert station.give(Choose(SECOND)).stage == "out"
    assert station.change.battery == SECOND


def test_a_second_battery_beside_the_chosen_one_is_asked_about():
    station = Station()
    station.show(LIGHT)
    assert station.together(LIGHT, GOOD).stage == "choose"


def test_the_two_batteries_of_the_change_may_both_be_in_view():
    station = Station()
    station.show(TRUCK, GOOD)
    assert station.together(GOOD, OLD).stage == "out"
    assert station.together(GOOD, SECOND).stage == "choose"


# -------------------------------------------------------------------- stop


@pytest.mark.parametrize(
    ("battery", "why", "words"),
    [
        (LIGHT, "no_fit", "too light by 189 kg"),
        (UNMARRIED, "not_confirmed", "not married"),
        (UNSTATED, "not_confirmed", "chemistry is not known"),
        (RESTING, "not_ready", "ready about 21:00"),
        (LEAKING, "not_ready", "leaks at cell 3"),
    ],
)
def test_stop_with_the_reason_and_what_to_do(battery, why, words):
    station = Station()
    screen = station.show(TRUCK, battery)
    assert (screen.stage, screen.posture, screen.shape, screen.sound) == (
        "stop", "stop", "octagon", "stop",
    )  # fmt: skip
    assert screen.headline.key == f"stop.{why}"
    assert words in station.said
    assert screen.todo is not None
    for _ in range(3):
        station.press()
    assert station.order is None
    assert station.show(GOOD).posture == "go"  # another battery, and on it goes


def test_a_truck_not_yet_married_stops_it():
    assert Station().show(NEW_TRUCK, GOOD).headline.key == "stop.not_confirmed"


def test_a_held_truck_stops_it_until_a_supervisor_releases():
    station = Station()
    assert station.show(HELD_TRUCK, GOOD).headline.key == "stop.not_ready"
    assert station.release(GOOD, SUPERVISOR, "right one now").posture == "go"


def test_a_hold_set_while_somebody_stands_at_the_truck_stops_the_change():
    station = Station()
    station.show(TRUCK, GOOD)
    station.press()
    token = station.screen.token
    station.facts.change(GOOD, holds=(HoldFact("case cracked", safety=True),))
    station.give(Confirm(token))
    assert station.order is None
    assert station.screen.headline.key == "stop.not_ready"


@pytest.mark.parametrize("asset", [TRUCK, GOOD])
def test_what_left_the_fleet_while_somebody_stands_there_stops_it(asset):
    station = Station()
    station.show(TRUCK, GOOD)
    seen = station.screen.token
    station.facts.change(asset, retired=True)
    assert station.screen.headline.key == "stop.retired"
    assert str(asset) in station.said
    station.give(Confirm(seen))
    assert station.order is None and station.screen.posture == "stop"


def test_another_battery_at_the_truck_than_the_one_checked_is_checked_anew():
    station = Station()
    station.show(TRUCK, GOOD)
    station.press()
    screen = station.show(LIGHT)
    assert station.notice == "other_battery"
    assert screen.headline.key == "stop.no_fit"


# ----------------------------------------------------------------- release


def test_a_supervisor_releases_an_unready_battery_with_a_reason():
    station = Station()
    assert station.show(TRUCK, RESTING).asks == "release"
    station.release(RESTING, "A1", "needed")
    assert station.notice == "no_supervisor"
    station.release(RESTING, SUPERVISOR, " . ")
    assert station.notice == "no_reason"
    station.release(GOOD, SUPERVISOR, "needed")
    assert station.notice == "nothing_to_release"
    assert station.screen.posture == "stop"
    assert station.release(RESTING, SUPERVISOR, "truck stranded").posture == "go"
    assert f"Released by {SUPERVISOR}" in station.said
    station.press()
    station.press()
    assert station.order.release.reason == "truck stranded"
    assert [reason.code for reason in station.order.readiness.lifted] == ["resting"]


def test_a_jumpered_cell_stops_the_change_and_says_so():
    station = Station()
    station.facts.change(GOOD, jumpered=(7,))
    screen = station.show(TRUCK, GOOD)
    assert (screen.stage, screen.posture) == ("stop", "stop")
    assert screen.headline.key == "stop.not_confirmed"
    assert "temporary repair" in station.said


@pytest.mark.parametrize("battery", [LIGHT, UNMARRIED, LEAKING])
def test_no_release_for_a_battery_that_does_not_fit_or_is_held_for_safety(battery):
    station = Station()
    assert station.show(TRUCK, battery).asks is None
    assert station.release(battery, SUPERVISOR, "needed").posture == "stop"
    assert station.order is None


def test_a_release_covers_only_what_was_known_then_and_only_that_battery():
    station = Station()
    station.show(TRUCK, RESTING)
    station.release(RESTING, SUPERVISOR, "needed")
    station.facts.change(RESTING, holds=(HoldFact("wash it"),))
    assert station.screen.posture == "stop"
    station.facts.change(RESTING, holds=())
    assert station.screen.posture == "go"
    station.show(TRUCK)
    station.give(Cancel())
    assert station.show(TRUCK, RESTING).posture == "stop"


@pytest.mark.parametrize("asset", [RESTING, TRUCK])
def test_a_release_from_one_hold_lifts_no_other_hold(asset):
    station = Station()
    known = HoldFact("wash it")
    station.facts.change(RESTING, holds=(known,))
    station.show(TRUCK, RESTING)
    station.release(RESTING, SUPERVISOR, "washed, and needed")
    station.press()
    assert station.screen.stage == "finish"
    later = HoldFact("connector loose")
    station.facts.change(asset, holds=(known, later) if asset is RESTING else (later,))
    assert (station.screen.stage, station.screen.posture) == ("stop", "stop")
    assert station.press().stage != "writing"


@pytest.mark.parametrize("asset", [RESTING, TRUCK])
@pytest.mark.parametrize("safety", [False, True])
def test_what_comes_up_while_the_supervisor_types_is_not_lifted(asset, safety):
    station = Station()
    seen = station.show(TRUCK, RESTING)
    station.facts.change(asset, holds=(HoldFact("connector loose", safety),))
    screen = station.release(RESTING, SUPERVISOR, "needed", seen)
    assert (screen.stage, screen.posture) == ("stop", "stop")
    assert station.notice == ("never_released" if safety else "came_up")
    assert safety or "connector loose" in screen.notice.text
    assert station.change.release is None
    after = station.release(RESTING, SUPERVISOR, "tightened, and needed")
    assert after.posture == ("stop" if safety else "go")


def test_what_has_passed_while_the_supervisor_types_is_no_hindrance():
    station = Station()
    station.facts.change(RESTING, holds=(HoldFact("wash it"),))
    seen = station.show(TRUCK, RESTING)
    station.facts.change(RESTING, holds=())
    assert station.release(RESTING, SUPERVISOR, "needed", seen).posture == "go"
    assert len(station.change.release.lifts) == 1


def test_a_release_begun_beside_another_truck_lifts_nothing():
    station = Station()
    seen = station.show(HELD_TRUCK, RESTING)
    station.show(TRUCK)
    assert station.release(RESTING, SUPERVISOR, "needed", seen).posture == "stop"
    assert station.notice == "changed"


@pytest.mark.parametrize("grave", [True, False])
def test_a_case_that_leaks_is_no_battery_to_use(grave):
    station = Station()
    leaks = Flag("case leakage", "900 ohm is too little", "stop" if grave else "act")
    known = station.facts.assets[GOOD].readiness
    station.facts.change(GOOD, readiness=replace(known, leaks=leaks))
    screen = station.show(TRUCK, GOOD)
    assert (screen.headline.key, screen.posture) == ("stop.not_ready", "stop")
    assert "900 ohm" in station.said
    assert screen.asks == (None if grave else "release")
    assert station.release(GOOD, SUPERVISOR, "needed").posture == ("stop" if grave else "go")


def test_that_its_case_leaks_is_said_also_where_it_does_not_fit():
    station = Station()
    leaks = Flag("case leakage", "900 ohm is too little", "act")
    station.facts.change(LIGHT, readiness=replace(RESTED, leaks=leaks))
    assert station.show(TRUCK, LIGHT).headline.key == "stop.no_fit"
    assert "900 ohm" in station.said


def test_a_release_does_not_pass_to_another_battery():
    station = Station()
    station.facts.change(SECOND, readiness=station.facts.assets[RESTING].readiness)
    station.show(TRUCK, RESTING)
    station.release(RESTING, SUPERVISOR, "needed")
    station.press()
    assert station.show(SECOND).headline.key == "stop.not_ready"


def test_a_release_in_the_record_counts_here_too():
    station = Station()
    known = station.facts.assets[RESTING].readiness
    station.facts.change(RESTING, readiness=replace(known, released="by phone"))
    assert station.show(TRUCK, RESTING).posture == "go"
    assert "Released by a supervisor" in station.said


# ---------------------------------------------------------- contradictions


def test_a_battery_recorded_in_another_truck():
    station = Station()
    screen = station.show(TRUCK, ELSEWHERE)
    assert (screen.stage, screen.posture) == ("question", "ask")
    assert f"{ELSEWHERE} is recorded in truck {OTHER_TRUCK}" in station.said
    answer(station, "as-recorded")
    assert station.change.battery is None and station.notice == "recorded_in_another_truck"
    station.show(ELSEWHERE)
    assert station.press().stage == "out"  # what is shown wins by one press
    station.press()
    station.press()
    said = station.order.answers[0]
    assert (said.key, said.about, said.recorded, said.given) == (
        "in_another_truck", ELSEWHERE, str(OTHER_TRUCK), "as-shown",
    )  # fmt: skip


def test_the_old_battery_shown_first_is_taken_as_the_one_coming_out():
    station = Station()
    assert station.show(TRUCK, OLD).stage == "question"
    answer(station, "as-recorded")
    assert station.notice == "is_coming_out"
    assert station.show(GOOD).stage == "out"
    assert f"Battery out: {OLD}" in station.said


def test_a_battery_recorded_in_this_truck_but_shown_going_in():
    station = Station()
    station.show(TRUCK, OLD)
    assert answer(station, "as-shown").headline.key == "stop.not_ready"  # used for a shift
    station.release(OLD, SUPERVISOR, "goes back in")
    station.press()
    station.press()
    assert station.order.battery_in == OLD and station.order.battery_out is None
    assert station.order.answers[0].key == "in_this_truck"


def test_another_battery_comes_out_than_recorded():
    station = Station()
    station.show(TRUCK, GOOD)
    station.show(SECOND)
    assert station.screen.stage == "question"
    answer(station, "as-recorded")
    assert f"Battery out: {OLD}" in station.said
    station.show(SECOND)
    station.press()
    station.press()
    station.press()
    assert station.order.battery_out == SECOND
    assert [said.key for said in station.order.answers] == ["other_out"]


def test_a_battery_recorded_elsewhere_comes_out_of_a_truck_thought_empty():
    station = Station()
    station.show(EMPTY_TRUCK, GOOD)
    assert station.screen.stage == "out"
    station.show(ELSEWHERE)
    assert station.screen.stage == "question"
    station.press()
    station.press()
    station.press()
    assert station.order.battery_out == ELSEWHERE
    assert [said.key for said in station.order.answers] == ["out_elsewhere"]


def test_nothing_comes_out_of_an_empty_truck():
    station = Station()
    station.show(EMPTY_TRUCK, GOOD)
    station.press()
    station.press()
    assert station.order.battery_out is None and station.order.out_to is None


def test_a_truck_found_empty_against_the_record():
    station = Station()
    station.show(TRUCK, GOOD)
    assert station.give(NothingOut()).stage == "question"
    station.press()
    station.press()
    station.press()
    assert station.order.battery_out is None
    assert [said.key for said in station.order.answers] == ["not_empty"]


def test_two_batteries_recorded_in_one_truck_are_asked_about():
    station = Station()
    screen = station.show(CROWDED_TRUCK, GOOD)
    assert screen.posture == "go"
    station.press()
    assert station.notice == "nothing_to_confirm"
    station.give(Choose(CROWD_2))
    station.press()
    station.press()
    assert station.order.battery_out == CROWD_2


def test_still_on_charge_by_the_record():
    station = Station()
    assert station.show(TRUCK, LITHIUM_ON_CHARGE).stage == "question"
    answer(station, "as-recorded")
    assert station.change.battery is None and station.notice == "recorded_on_charge"
    station.show(LITHIUM_ON_CHARGE)
    assert station.press().posture == "go"  # lithium needs no rest
    station.press()
    station.press()
    assert station.order.charge_ended
    assert station.order.answers[0].key == "on_charge"


def test_off_the_charger_but_not_rested_is_a_stop():
    station = Station()
    station.show(TRUCK, ON_CHARGE)
    screen = station.press()
    assert screen.headline.key == "stop.not_ready"
    assert "resting" in station.said


def test_an_answer_to_a_question_no_longer_asked_counts_for_nothing():
    station = Station()
    token = station.show(TRUCK, ELSEWHERE).token
    station.show(GOOD)
    station.give(Answer(token, "as-shown"))
    assert station.notice == "not_asked" and station.change.answers == ()


def test_an_answer_holds_only_for_what_was_asked():
    station = Station()
    station.show(TRUCK, ELSEWHERE)
    answer(station, "as-shown")
    moved = replace(station.facts.assets[ELSEWHERE].place, name=str(EMPTY_TRUCK))
    station.facts.change(ELSEWHERE, place=moved)
    assert station.screen.stage == "question"


# ------------------------------------------------------------ the charger


@pytest.mark.parametrize(("charger", "words"), [(WRONG_CHARGER, "voltage"),
                                                (HELD_CHARGER, "bare cable")])  # fmt: skip
def test_a_charger_that_must_not_be_used_is_a_stop(charger, words):
    station = Station()
    station.show(TRUCK, GOOD)
    screen = station.show(charger)
    assert (screen.posture, screen.headline.key) == ("stop", "stop.charger")
    assert words in station.said
    station.press()
    assert station.order is None
    stand = screen.offers[0].gives
    assert stand == PutOn("stand", "stand 1")
    assert station.give(stand).posture == "go"


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ({"holds": (HoldFact("leaks at cell 3", safety=True),)}, "leaks at cell 3"),
        ({"holds": (HoldFact("pin burnt"),)}, "pin burnt"),
        ({"leaks": Flag("case leakage", "900 ohm is too little", "stop")}, "900 ohm"),
        ({"temperature": quantity("52", "°C"), "temperature_at": NOW}, "hot 52"),
        ({"unknown_kinds": ("dreamt",)}, "dreamt"),
    ],
)
def test_a_battery_that_must_not_be_charged_goes_on_no_charger(known, words):
    station = Station()
    facts = station.facts.assets[OLD].readiness
    station.facts.change(OLD, readiness=replace(facts, **known))
    station.show(TRUCK, GOOD)
    screen = station.show(CHARGER)
    assert (screen.posture, screen.headline.key) == ("stop", "stop.charger")
    assert words in station.said and "put the battery on the stand" in station.said
    station.press()
    assert station.order is None
    station.show(CHARGER)
    assert station.give(PutOn("stand", "stand 1")).posture == "go"
    for _ in range(2):
        station.press()
    assert station.order.out_to.kind == "stand"


def test_a_charge_in_the_truck_is_no_hindrance_to_one_on_a_charger():
    station = Station()
    facts = station.facts.assets[OLD].readiness
    began = NOW - timedelta(hours=1)
    station.facts.change(OLD, readiness=replace(facts, on_charge_since=began))
    station.show(TRUCK, GOOD)
    assert station.show(CHARGER).posture == "go"


def test_a_charger_recorded_as_taken_is_asked_about():
    station = Station()
    station.show(TRUCK, GOOD, TAKEN_CHARGER)
    assert station.screen.stage == "question"
    answer(station, "as-recorded")
    assert station.change.charger is None
    station.show(TAKEN_CHARGER)
    station.press()
    station.press()
    station.press()
    assert station.order.out_to == Destination("charger", str(TAKEN_CHARGER))
    assert [said.key for said in station.order.answers] == ["charger_holds"]


def test_a_charger_shown_at_the_last_moment_changes_what_is_confirmed():
    station = Station()
    station.show(TRUCK, GOOD)
    station.press()
    old = station.screen.token
    station.show(CHARGER)
    station.give(Confirm(old))
    assert station.order is None and station.notice == "changed"


def test_the_place_needs_a_name():
    station = Station()
    station.show(TRUCK, GOOD)
    station.give(PutOn("elsewhere", "  "))
    assert station.notice == "no_place"
    station.give(PutOn("elsewhere", "by the gate"))
    station.press()
    station.press()
    assert station.order.out_to == Destination("elsewhere", "by the gate")


# --------------------------------------------------------- recovered reads


def test_a_recovered_number_is_confirmed_unseen_before_anything_is_green():
    station = Station()
    station.show(TRUCK)
    screen = station.show(GOOD, recovered=True)
    assert (screen.stage, screen.posture, screen.asks) == ("recovered", "ask", "characters")
    assert str(GOOD) not in station.said and str(GOOD)[-4:] not in station.said
    station.press()
    assert station.screen.stage == "recovered"
    station.give(Characters("000-0"))
    assert station.notice == "no_match"
    station.give(Characters(str(GOOD)[-2:]))
    assert station.notice == "no_match"
    assert station.give(Characters(str(GOOD)[-5:].lower())).posture == "go"
    station.press()
    station.press()
    assert station.order.confirmed_by_hand == (GOOD,)


def test_a_recovered_label_held_up_again_does_not_tell_its_number():
    station = Station()
    station.show(TRUCK, recovered=True)
    notice = station.show(TRUCK, recovered=True).notice
    assert station.notice == "same_truck" and str(TRUCK)[-4:] not in notice.text
    station.show(GOOD, recovered=True)
    notice = station.show(GOOD, recovered=True).notice
    assert station.notice == "same_battery" and str(GOOD)[-4:] not in notice.text


def test_a_recovered_label_that_contradicts_the_record_does_not_tell_its_number():
    station = Station()
    station.show(TRUCK)
    station.show(GOOD)
    screen = station.show(LIGHT, recovered=True)
    assert (screen.stage, str(LIGHT)[-4:] in station.said) == ("question", False)
    assert str(OLD) in station.said


def test_recovered_labels_to_choose_from_do_not_tell_their_numbers():
    station = Station()
    station.show(TRUCK)
    screen = station.give(Shown((Seen(GOOD, recovered=True), Seen(LIGHT))))
    assert screen.stage == "choose"
    told = [offer.label.text for offer in screen.offers]
    assert any(str(LIGHT) in words for words in told)
    assert not any(str(GOOD)[-4:] in words for words in told)


def test_recovered_labels_to_choose_from_are_told_apart_by_place_and_figures_alone():
    station = Station()
    station.show(TRUCK)
    seen = (GOOD, SECOND, LIGHT, ELSEWHERE)
    screen = station.give(Shown(tuple(Seen(tag, recovered=True) for tag in seen)))
    told = [offer.label.text for offer in screen.offers]
    assert len(set(told)) == len(seen) + 1
    for tag in seen:
        serial = str(station.facts.asset(tag).plate.maker_serial.value)
        assert not any(str(tag)[-4:] in words or serial in words for words in told)
    assert any("in truck" in words for words in told)


def test_the_stamped_serial_does_as_well():
    station = Station()
    station.show(TRUCK)
    station.show(GOOD, recovered=True)
    assert station.give(Characters("k7-4410")).posture == "go"


def test_three_misses_and_the_label_is_shown_again():
    station = Station()
    station.show(TRUCK)
    station.show(GOOD, recovered=True)
    for _ in range(3):
        station.give(Characters("nothing"))
    assert station.notice == "read_again" and station.change.battery is None


def test_a_plain_read_of_the_same_label_settles_it():
    station = Station()
    station.show(TRUCK)
    station.show(GOOD, recovered=True)
    assert station.show(GOOD).posture == "go"
    assert station.show(GOOD, recovered=True).posture == "go"


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ({"holds": (HoldFact("leaks at cell 3", safety=True),)}, "leaks at cell 3"),
        ({"leaks": Flag("case leakage", "900 ohm; the case can give a shock", "stop")}, "shock"),
        ({"holds": (HoldFact("pin burnt"),)}, None),
        ({}, None),
    ],
)
def test_what_may_hurt_whoever_takes_the_battery_out_is_said(known, words):
    station = Station()
    facts = station.facts.assets[OLD].readiness
    station.facts.change(OLD, readiness=replace(facts, **known))
    station.show(TRUCK, GOOD)
    for _ in range(2):
        assert station.screen.posture == "go"
        assert ("Careful with the one coming out" in station.said) == (words is not None)
        assert words is None or words in station.said
        station.press()
    assert station.order is not None


@pytest.mark.parametrize("by_hand", [True, False])
def test_a_number_made_out_again_after_another_was_shown_is_asked_for_again(by_hand):
    """It may be the damaged label of a battery that nobody has read yet."""
    station = Station()
    station.show(TRUCK)
    station.show(GOOD, recovered=by_hand)
    if by_hand:
        station.give(Characters(str(GOOD)[-6:]))
    assert station.press().stage == "finish"
    assert station.show(SECOND).posture == "go"
    assert station.press().stage == "finish"
    assert station.show(GOOD, recovered=True).stage == "recovered"


def test_a_label_in_view_that_is_decoded_later_takes_its_question_back_and_nothing_else():
    station = Station()
    station.show(TRUCK)
    station.show(GOOD, recovered=True)
    asked = station.screen.token
    station.give(Characters("nothing"))
    assert station.give(Certain(frozenset({TRUCK, LIGHT}))).stage == "recovered"
    screen = station.give(Certain(frozenset({GOOD})))
    assert (screen.stage, screen.posture, station.notice) == ("out", "go", "")
    station.give(Confirm(asked))
    assert station.screen.stage == "out", "who pressed had read the question"
    assert station.show(GOOD, recovered=True).posture == "go"
    done = station.change
    station.give(Certain(frozenset({GOOD})))
    assert station.change is done


def test_a_label_to_choose_that_is_decoded_later_is_not_asked_for_again():
    station = Station()
    station.show(TRUCK)
    station.give(Shown((Seen(GOOD, recovered=True), Seen(LIGHT))))
    screen = station.give(Certain(frozenset({GOOD, LIGHT})))
    assert screen.stage == "choose"
    assert any(str(GOOD) in offer.label.text for offer in screen.offers)
    assert station.give(Choose(GOOD)).posture == "go"


@pytest.mark.parametrize("tag", [TRUCK, OLD, CHARGER])
def test_truck_battery_out_and_charger_are_confirmed_too(tag):
    station = Station()
    for label in (CHARGER, TRUCK, GOOD):
        station.show(label, recovered=label == tag)
    if tag == OLD:
        station.show(OLD, recovered=True)
    stages = []
    for _ in range(4):
        stages.append(station.screen.stage)
        if station.screen.stage == "recovered":
            station.press()
            assert station.screen.stage == "recovered" and station.order is None
            station.give(Characters(str(tag)))
        else:
            station.press()
        if station.order is not None:
            break
    assert stages.count("recovered") == 1
    assert station.order.confirmed_by_hand == (tag,)


def test_characters_that_nobody_asked_for():
    station = Station()
    station.give(Characters("417-D"))
    assert station.notice == "not_asked"


# ------------------------------------------------------------------- undo


def last_change():
    return LoggedChange("e7", TRUCK, GOOD, OLD, "A1", NOW - timedelta(minutes=3))


def test_undo_under_way_takes_it_back():
    station = Station()
    station.show(TRUCK, GOOD)
    station.give(Undo())
    assert station.notice == "begun_again" and station.change.truck is None
    assert "nothing was undone" in station.change.notice.text


def test_undo_under_way_does_not_read_as_if_the_logged_change_were_undone():
    """The truck of the change that was just logged is in view again: the next has begun."""
    station = Station()
    station.facts.last = last_change()
    station.show(TRUCK)
    station.give(Undo())
    assert station.notice == "begun_again_after" and station.order is None
    assert f"nothing was undone: {GOOD} into {TRUCK} stays logged" in station.change.notice.text
    assert station.give(Undo()).stage == "undo"


def test_undo_of_the_last_change_needs_a_press():
    station = Station()
    station.facts.last = last_change()
    screen = station.give(Undo())
    assert (screen.stage, screen.posture) == ("undo", "ask")
    assert "2026-03-02 13:57" in station.said
    station.press()
    assert station.order == UndoOrder("e7", TRUCK, GOOD)
    station.give(Logged("e8"))
    assert station.screen.headline.text == "UNDONE"
    assert f"{GOOD} into {TRUCK} no longer counts" in station.said


def test_undo_may_be_thought_better_of():
    station = Station()
    station.facts.last = last_change()
    station.give(Undo())
    station.give(Cancel())
    assert station.screen.stage == "show" and station.order is None
    station.give(Undo())
    assert station.show(TRUCK).stage == "show"
    assert station.change.undoing is None


def test_undo_right_after_logging():
    station = Station()
    station.show(TRUCK, GOOD)
    station.press()
    station.press()
    station.give(Logged("e7"))
    station.facts.last = last_change()
    station.give(Undo())
    station.press()
    assert isinstance(station.order, UndoOrder)


def test_nothing_to_undo():
    station = Station()
    station.give(Undo())
    assert station.notice == "nothing_to_undo"
