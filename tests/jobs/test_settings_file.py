"""site.toml as editors leave it behind."""

from __future__ import annotations

from battery_room import BatteryRoom


def test_a_byte_order_mark_is_passed_over(empty_room: BatteryRoom) -> None:
    path = empty_room.folder / "site.toml"
    path.write_text(path.read_text(encoding="utf-8"), encoding="utf-8-sig")
    assert empty_room.run("list", "--json").code == 0
