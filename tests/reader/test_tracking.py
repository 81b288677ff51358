"""When a label counts as shown."""

from __future__ import annotations

import pytest
from tagkit.assets.tag import Kind, Tag, tag_for
from tagkit.errors import WrongInput
from tagkit.reader.read import Read
from tagkit.reader.tracking import Sighting, Tracker

A = tag_for(Kind.BATTERY, "QM", 417)
B = tag_for(Kind.BATTERY, "QM", 418)
TRUCK = tag_for(Kind.TRUCK, "QM", 11)
CORNERS = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))


def read(what: Tag | str, recovered: bool = False) -> Read:
    tag = what if isinstance(what, Tag) else None
    method, bound = ("recovered", 1e-6) if recovered else ("decoded", None)
    return Read(tag, str(what), method, bound, CORNERS, "test")


def show(tracker: Tracker, *what: Tag | str, at: float) -> Sighting:
    return tracker.update([read(one) for one in what], at)


def seen(sighting: Sighting) -> list[Tag | None]:
    return [one.tag for one in sighting.seen]


def test_one_read_is_not_enough_two_are() -> None:
    tracker = Tracker()
    assert show(tracker, A, at=0.0) == Sighting()
    second = show(tracker, A, at=0.1)
    assert seen(second) == [A]
    assert second.in_view == (A,)


def test_two_labels_of_one_battery_in_one_frame_are_one_read() -> None:
    assert seen(show(Tracker(), A, A, at=0.0)) == []


def test_reads_too_far_apart_do_not_agree() -> None:
    tracker = Tracker()
    show(tracker, A, at=0.0)
    assert seen(show(tracker, A, at=1.5)) == []
    assert seen(show(tracker, A, at=2.0)) == [A]


def test_a_label_in_view_is_not_repeated() -> None:
    tracker = Tracker()
    times = [n / 10 for n in range(300)]
    assert sum(len(show(tracker, A, at=at).seen) for at in times) == 1


def test_a_label_missed_for_a_moment_is_not_repeated() -> None:
    tracker = Tracker()
    show(tracker, A, at=0.0)
    show(tracker, A, at=0.1)
    gone = show(tracker, at=2.0)
    assert gone.in_view == ()
    show(tracker, A, at=2.5)
    assert seen(show(tracker, A, at=2.6)) == []


def test_a_label_that_was_away_may_be_shown_again() -> None:
    tracker = Tracker()
    show(tracker, A, at=0.0)
    show(tracker, A, at=0.1)
    show(tracker, at=3.2)
    show(tracker, A, at=3.3)
    assert seen(show(tracker, A, at=3.4)) == [A]


def test_truck_and_battery_in_view_are_both_seen() -> None:
    tracker = Tracker()
    show(tracker, TRUCK, A, at=0.0)
    both = show(tracker, TRUCK, A, at=0.1)
    assert set(seen(both)) == {TRUCK, A}
    assert both.choices == ()


def test_two_batteries_in_view_are_a_choice_given_once() -> None:
    tracker = Tracker()
    show(tracker, B, A, at=0.0)
    both = show(tracker, B, A, at=0.1)
    assert seen(both) == []
    assert [(choice.kind, choice.tags) for choice in both.choices] == [(Kind.BATTERY, (A, B))]
    assert show(tracker, A, B, at=0.2).choices == ()


def test_a_battery_is_not_taken_while_another_was_glimpsed() -> None:
    tracker = Tracker()
    show(tracker, A, at=0.0)
    assert seen(show(tracker, A, B, at=0.1)) == []
    assert show(tracker, A, B, at=0.2).choices[0].tags == (A, B)


def test_a_glimpse_that_passes_lets_the_battery_be_seen() -> None:
    tracker = Tracker()
    show(tracker, A, at=0.0)
    show(tracker, A, B, at=0.1)
    for at in (0.3, 0.6, 0.9):
        assert seen(show(tracker, A, at=at)) == []
    assert seen(show(tracker, A, at=1.2)) == [A]


def test_holding_the_camera_to_one_battery_answers_the_choice() -> None:
    tracker = Tracker()
    show(tracker, A, at=0.0)
    assert seen(show(tracker, A, at=0.1)) == [A]
    show(tracker, A, B, at=0.2)
    assert show(tracker, A, B, at=0.3).choices[0].tags == (A, B)
    answers = [tag for n in range(1, 10) for tag in seen(show(tracker, A, at=0.3 + n / 5))]
    assert answers == [A]


def test_choosing_by_hand_answers_it_and_it_is_not_asked_again() -> None:
    tracker = Tracker()
    show(tracker, A, B, at=0.0)
    show(tracker, A, B, at=0.1)
    assert tracker.choose(B).tag == B
    for n in range(2, 20):
        assert show(tracker, A, B, at=n / 10) == Sighting(in_view=(A, B))
    assert [seen(show(tracker, B, at=1.9 + n / 5)) for n in range(1, 10)] == [[]] * 9


def test_a_third_battery_coming_into_view_is_asked_about() -> None:
    third = tag_for(Kind.BATTERY, "QM", 419)
    tracker = Tracker()
    show(tracker, A, B, at=0.0)
    show(tracker, A, B, at=0.1)
    tracker.choose(A)
    show(tracker, A, B, third, at=0.2)
    assert show(tracker, A, B, third, at=0.3).choices[0].tags == (A, B, third)


def test_choosing_what_is_not_in_view_is_refused() -> None:
    with pytest.raises(WrongInput, match="not in view"):
        Tracker().choose(A)


def test_a_foreign_code_is_reported_once_while_in_view() -> None:
    tracker = Tracker()
    reports = [show(tracker, "HTTPS://OTHER.EXAMPLE", at=n / 10).foreign for n in range(50)]
    assert [one.text for report in reports for one in report] == ["HTTPS://OTHER.EXAMPLE"]


def test_foreign_codes_are_no_choice() -> None:
    tracker = Tracker()
    show(tracker, "one", "two", A, at=0.0)
    both = show(tracker, "one", "two", A, at=0.1)
    assert both.choices == ()
    assert seen(both) == [A]
    assert len(both.foreign) == 2


def test_a_still_picture_needs_one_read_and_stands_alone() -> None:
    tracker = Tracker()
    assert seen(tracker.update([read(A)], 0.0, still=True)) == [A]
    assert seen(tracker.update([read(A)], 0.0, still=True)) == [A]
    assert tracker.update([read(A), read(B)], 0.0, still=True).choices[0].tags == (A, B)


def test_what_was_decoded_is_reported_rather_than_what_was_recovered() -> None:
    tracker = Tracker()
    tracker.update([read(A)], 0.0)
    (one,) = tracker.update([read(A, recovered=True)], 0.1).seen
    assert one.method == "decoded"


def test_two_recovered_reads_stay_marked() -> None:
    tracker = Tracker()
    tracker.update([read(A, recovered=True)], 0.0)
    (one,) = tracker.update([read(A, recovered=True)], 0.1).seen
    assert (one.method, one.false_match_bound) == ("recovered", 1e-6)


def test_a_clock_that_starts_anew_starts_the_tracker_anew() -> None:
    tracker = Tracker()
    show(tracker, A, at=100.0)
    show(tracker, A, at=100.1)
    assert seen(show(tracker, A, at=0.0)) == []
    assert seen(show(tracker, A, at=0.1)) == [A]


def test_a_senseless_tracker_is_refused() -> None:
    for wrong in ({"agreeing": 0}, {"within": 0.0}, {"away": 0.5}):
        with pytest.raises(WrongInput, match="tracker"):
            Tracker(**wrong)
