"""What the camera sees over time: labels, cards held up, cards left lying."""

from __future__ import annotations

from tagkit.assets.card import Command, CommandCard
from tagkit.assets.tag import Kind, parse_tag, tag_for
from tagkit.reader.read import Method, Read
from tagkit.web.booth.sightings import Sight, Sightings

B1, B2 = (str(tag_for(Kind.BATTERY, "QM", serial)) for serial in (417, 418))
T1 = str(tag_for(Kind.TRUCK, "QM", 401))
NEXT = str(CommandCard("QM", Command.NEXT))
SIZE = (1000, 500)


def read(text: str, x: float = 100, method: Method = "decoded") -> Read:
    square = ((x, 100.0), (x + 80, 100.0), (x + 80, 180.0), (x, 180.0))
    tag = parse_tag(text) if not text.startswith(("CARD", "HTTP")) else None
    return Read(tag, text, method, None, square, "test")


class Camera:
    """Ten frames a second."""

    def __init__(self) -> None:
        self.sightings, self.at = Sightings(), 0.0

    def see(self, *reads: Read, seconds: float = 0.5) -> list[Sight]:
        sights = []
        for _ in range(round(seconds * 10)):
            self.at += 0.1
            sights.append(self.sightings.frame(reads, SIZE, self.at))
        return sights

    def still(self, seconds: float) -> list[Sight]:
        sights = []
        for _ in range(round(seconds * 2)):
            self.at += 0.5
            sights.append(self.sightings.still(self.at))
        return sights


def tags(sights: list[Sight]) -> list[str]:
    return [str(one.tag) for sight in sights for one in sight.labels]


def cards(sights: list[Sight]) -> int:
    return sum(len(sight.cards) for sight in sights)


def lying(sights: list[Sight]) -> int:
    return sum(len(sight.lying) for sight in sights)


def test_a_label_counts_once_while_it_is_in_view_however_still_the_picture_is() -> None:
    camera = Camera()
    assert tags(camera.see(read(T1))) == [T1]
    assert tags(camera.still(30)) == []
    assert tags(camera.see(read(T1))) == []
    camera.see(seconds=4)
    assert tags(camera.see(read(T1))) == [T1]


def test_marks_are_shares_of_the_picture() -> None:
    (mark,) = Camera().see(read(T1))[-1].marks
    assert mark.corners == ((0.1, 0.2), (0.18, 0.2), (0.18, 0.36), (0.1, 0.36))
    assert (mark.number, mark.sure) == (T1, True)


def test_a_card_counts_once_for_each_time_it_is_held_up() -> None:
    camera = Camera()
    assert cards(camera.see(read(NEXT), seconds=5)) == 1
    camera.see(seconds=4)
    assert cards(camera.see(read(NEXT, x=300))) == 1


def test_a_card_that_is_uncovered_where_it_lay_does_not_count() -> None:
    camera = Camera()
    camera.see(read(NEXT))
    for _ in range(3):
        camera.see(seconds=10)
        again = camera.see(read(NEXT, x=104))
        assert (cards(again), lying(again)) == (0, 1)
    camera.see(seconds=10)
    assert cards(camera.see(read(NEXT, x=400))) == 1


def test_whoever_was_not_chosen_is_not_taken_for_the_other_while_it_stays_in_view() -> None:
    camera = Camera()
    assert sorted(tags(camera.see(read(B1), read(B2, x=300)))) == sorted([B1, B2])
    camera.sightings.chosen(parse_tag(B1), [parse_tag(B1), parse_tag(B2)])
    assert tags(camera.see(read(B2, x=300), seconds=5)) == []
    camera.see(seconds=4)
    assert tags(camera.see(read(B2, x=300))) == [B2]


def test_what_was_made_out_beyond_decoding_is_shown_without_its_end() -> None:
    camera = Camera()
    camera.see()
    made_out = read(B1, method="recovered")
    seen = []
    for _ in range(2):
        camera.at += 0.3
        seen.append(camera.sightings.recovered([made_out], camera.at))
    assert tags(seen) == [B1]
    (mark,) = seen[-1].marks
    assert (mark.number, mark.sure) == ("B-QM-…", False)


def test_a_foreign_code_is_told_once() -> None:
    sights = Camera().see(read("HTTPS://SOMEWHERE.EXAMPLE/1"), seconds=3)
    assert [text for sight in sights for text in sight.foreign] == ["HTTPS://SOMEWHERE.EXAMPLE/1"]
