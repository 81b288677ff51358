"""Delivery day on a screen: a sheet is looked at, mended in place, taken in; then its labels."""

from __future__ import annotations

import errno
import io
import re
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import openpyxl
import pytest
from fastapi.testclient import TestClient
from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.draft import draft_named, mend
from tagkit.jobs.people import authorise
from tagkit.jobs.site import open_site
from tagkit.record.state import AssetState
from tagkit.web.access.gate import LARGEST_UPLOAD

SHEET = """\
Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)
B1,48,1100 kg,vented lead-acid,775
B2,48,much,vented lead-acid,775
=B3,48,1130 kg,vented lead-acid,775
"""


@pytest.fixture
def technician(client: TestClient, site_folder: Path) -> TestClient:
    """The client, with TT's shift open."""
    with open_site(site_folder) as site:
        authorise(site, "SW", "SW", "supervisor", None, None, by="SW", station="desk")
        authorise(site, "TT", "TT", "technician", None, None, by="SW", station="desk")
    opened = client.post("/shift/open", data={"who": "TT"}, follow_redirects=False)
    assert opened.status_code in (200, 303), opened.text
    return client


def states(folder: Path, kind: Kind = Kind.BATTERY) -> list[AssetState]:
    with open_site(folder) as site:
        return sorted(site.record.states(kind), key=lambda one: one.tag)


def send(client: TestClient, text: str = SHEET, name: str = "delivery.csv") -> str:
    sent = client.post(
        "/delivery", files={"sheet": (name, text.encode(), "text/csv")}, follow_redirects=False
    )
    assert sent.status_code == 303, sent.text
    return sent.headers["location"]


def test_the_rows_are_shown_as_understood_and_nothing_is_taken_in_by_looking(
    technician: TestClient, site_folder: Path
) -> None:
    page = technician.get(send(technician)).text
    assert "2 rows are good" in page
    assert "1 row to mend" in page
    assert "1100\N{NO-BREAK SPACE}kg" in page
    assert states(site_folder) == []


def test_a_row_is_mended_in_place_and_all_are_taken_in_in_the_order_of_unloading(
    technician: TestClient, site_folder: Path
) -> None:
    address = send(technician)
    technician.post(f"{address}/rows/3", data={"cell-2": "1120 kg"})
    assert "3 rows are good" in technician.get(address).text
    page = technician.post(f"{address}/take").text
    assert "3 assets are taken in" in page
    assert [(one.maker_serial, one.unloading) for one in states(site_folder)] == [
        ("B1", 1), ("B2", 2), ("=B3", 3),
    ]  # fmt: skip


def test_the_good_rows_are_taken_in_and_the_bad_one_waits_to_be_mended(
    technician: TestClient, site_folder: Path
) -> None:
    address = send(technician)
    page = technician.post(f"{address}/take").text
    assert "1 row to mend" in page
    technician.post(f"{address}/rows/3", data={"cell-2": "1120 kg"})
    technician.post(f"{address}/take")
    assert len(states(site_folder)) == 3
    assert "Nothing of this sheet is left" in technician.get(address).text


def test_a_row_can_be_left_out_and_put_back(technician: TestClient) -> None:
    address = send(technician)
    technician.post(f"{address}/rows/3/leave")
    assert "to mend" not in technician.get(address).text
    technician.post(f"{address}/rows/3/back")
    assert "1 row to mend" in technician.get(address).text


def test_a_mistake_in_every_row_is_mended_in_the_header(technician: TestClient) -> None:
    rows = "".join(f"B{n},48,1100,gel,775\n" for n in range(30))
    address = send(technician, SHEET.splitlines()[0] + "\n" + rows)
    page = technician.get(address).text
    assert "30 rows to mend" in page and page.count("Read the row again") == 20
    technician.post(f"{address}/leave-rest")
    assert "Nothing of this sheet is left" in technician.get(address).text
    technician.post(f"{address}/back")
    asked = technician.post(f"{address}/headings", data={"heading-2": "Voltage (V)"}).text
    assert "Which column counts for: voltage?" in asked
    technician.post(f"{address}/headings", data={"heading-2": "Weight (kg)"})
    assert "30 rows are good" in technician.get(address).text


def test_of_two_columns_that_state_the_same_a_person_says_which_counts(
    technician: TestClient, site_folder: Path
) -> None:
    address = send(
        technician,
        "Serial,Voltage (V),Weight (kg),Service weight,Capacity (tons)\n"
        "B1,48,1100,1180 kg,1\nB2,48,1120,1190 kg,1\n",
    )
    page = technician.get(address).text
    assert "Which column counts for: service weight?" in page
    assert "(Column C: 1100, 1120 …)" in page and "(Column D: 1180 kg, 1190 kg …)" in page
    assert "can mean short tons or tonnes" in page
    assert "Take in all" not in page and "1100\xa0kg" not in page and "1180\xa0kg" not in page
    refused = technician.post(f"{address}/take")
    assert refused.status_code == 400 and "nobody has said which counts" in refused.text
    assert states(site_folder) == []
    page = technician.post(f"{address}/counts", data={"among": "2,3", "counts": "3"}).text
    assert "Which column" not in page and "passed over, as chosen" in page
    technician.post(f"{address}/columns/2/back")
    assert "Which column" in technician.get(address).text
    technician.post(f"{address}/counts", data={"among": "2,3,x,99", "counts": "3"})
    technician.post(f"{address}/take")
    weights = [one.nameplate["weight"]["value"] for one in states(site_folder)]
    assert weights == ["1180", "1190"]


def test_what_is_to_be_minded_is_said_once_for_all_its_rows(technician: TestClient) -> None:
    rows = "".join(f"truck,F{n},S{n},48,24\n" for n in range(4))
    address = send(technician, f"Kind,Fleet number,Serial,Voltage,Cells\n{rows}battery,,S9,48,24\n")
    said = "Rows 2 to 5: “Cells” is not used for a truck: if it says something that counts, write"
    assert said in technician.get(address).text


def test_a_formula_without_a_value_is_named_and_typed_in_place(
    technician: TestClient, site_folder: Path
) -> None:
    book = openpyxl.Workbook()
    for row in (["Serial", "Voltage (V)", "Weight (kg)"], ["B1", 48, "=1000+100"], ["B2", 48, 900]):
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    sent = technician.post("/delivery", files={"sheet": ("d.xlsx", out.getvalue())})
    assert "Cell C2: the formula was saved without its value" in sent.text
    assert "Formulas whose values were not saved in C2: open the file" in sent.text
    assert "Take in the good row" in sent.text
    page = technician.post(f"{sent.url.path}/rows/2", data={"cell-2": "1100"}).text
    assert "Take in all 2" in page and "ormulas" not in page
    technician.post(f"{sent.url.path}/take")
    assert [one.nameplate["weight"]["value"] for one in states(site_folder)] == ["1100", "900"]


def test_without_a_shift_it_is_said_what_happens_here_and_how_to_open_one(
    technician: TestClient,
) -> None:
    address = send(technician)
    technician.post("/shift/close")
    for page in (technician.get("/delivery").text, technician.get(address).text):
        assert "opens a shift on this device" in page or "with a shift open on this device" in page
        assert 'href="/shift">Open a shift</a>' in page
        assert "Take in the" not in page and "Throw the sheet away</button>" not in page


def test_a_sheet_that_is_far_too_large_is_told_on_a_page(technician: TestClient) -> None:
    sheet = ("huge.csv", b"x" * (LARGEST_UPLOAD + 1), "text/csv")
    told = technician.post("/delivery", files={"sheet": sheet}, headers={"Accept": "text/html"})
    assert told.status_code == 413
    assert "<h1>" in told.text and "Send at most 25 MB" in told.text


def test_a_press_that_is_sent_twice_takes_the_delivery_in_once(
    technician: TestClient, site_folder: Path
) -> None:
    address = send(technician)
    for _ in range(2):
        technician.post(f"{address}/take", data={"once": "the-same-press"})
    assert len(states(site_folder)) == 2


def test_a_decimal_mark_that_the_sheet_does_not_prove_is_asked_for(technician: TestClient) -> None:
    address = send(technician, SHEET.replace("1100 kg", '"1.100 kg"').replace("much", "1120 kg"))
    before = technician.get(address).text
    assert "1 row to mend" in before
    technician.post(f"{address}/choices", data={"decimal_mark": "comma"})
    assert "3 rows are good" in technician.get(address).text


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("empty.csv", b"", "file is empty"),
        ("scan.pdf", b"%PDF-1.7", "PDF"),
        ("words.csv", b"hello\nworld\n", "No row of column headers"),
    ],
)
def test_what_is_no_sheet_is_told_with_the_remedy(
    technician: TestClient, name: str, data: bytes, said: str
) -> None:
    told = technician.post("/delivery", files={"sheet": (name, data, "text/csv")})
    assert told.status_code == 422
    assert said in told.text


@pytest.mark.parametrize("identity", ["..%2f..%2frecord", "0123456789abcdeg", "0" * 16])
def test_no_address_leads_out_of_the_folder_of_deliveries(
    technician: TestClient, identity: str
) -> None:
    assert technician.get(f"/delivery/{identity}").status_code == 404


def test_an_attendant_takes_nothing_in(technician: TestClient, site_folder: Path) -> None:
    with open_site(site_folder) as site:
        authorise(site, "MK", "MK", "attendant", None, None, by="SW", station="desk")
    address = send(technician)
    technician.post("/shift/open", data={"who": "MK"})
    assert technician.post(f"{address}/take").status_code == 403
    assert states(site_folder) == []


def test_html_in_a_sheet_is_shown_as_text(technician: TestClient) -> None:
    page = technician.get(send(technician, SHEET.replace("B1,", "<script>x</script>,"))).text
    assert "<script>x" not in page
    assert "&lt;script&gt;x" in page


def _married_form(client: TestClient, tag: str, **stamped: str) -> str:
    done = client.post(f"/marry/{tag}", data=stamped)
    assert done.status_code in (200, 422), done.text
    return done.text


def test_a_label_is_married_with_what_is_stamped_on_its_case(
    technician: TestClient, site_folder: Path
) -> None:
    technician.post(f"{send(technician)}/take")
    tag = states(site_folder)[0].tag
    assert tag in technician.get("/marry").text
    page = _married_form(technician, tag, maker_serial="B1", voltage="48", weight="1100 kg")
    assert f"{tag} is married" in page
    assert is_married(states(site_folder)[0])


def test_a_stamp_that_differs_is_asked_about_before_anything_is_recorded(
    technician: TestClient, site_folder: Path
) -> None:
    technician.post(f"{send(technician)}/take")
    tag = states(site_folder)[0].tag
    stamped = {"maker_serial": "B1", "voltage": "48", "weight": "1180 kg"}
    asked = _married_form(technician, tag, **stamped)
    assert "The stamp is right as keyed in" in asked
    in_pounds = _married_form(technician, tag, **{**stamped, "weight": "2601 lb"})
    assert "the record has 2425 lb (1100 kg), stamped is 2601 lb" in in_pounds.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert not is_married(states(site_folder)[0])
    _married_form(technician, tag, **stamped, answer="as-shown")
    assert is_married(states(site_folder)[0])


def test_a_label_on_the_wrong_case_is_told_and_not_married(
    technician: TestClient, site_folder: Path
) -> None:
    technician.post(f"{send(technician)}/take")
    first, second = states(site_folder)
    told = _married_form(
        technician, first.tag, maker_serial=str(second.maker_serial), voltage="48", weight="1130 kg"
    )
    assert "wrong" in told
    assert not is_married(states(site_folder)[0])


def test_a_photograph_of_a_label_leads_to_its_form(
    technician: TestClient, site_folder: Path
) -> None:
    import cv2
    import numpy as np
    from tagkit.symbol.encode import encode

    technician.post(f"{send(technician)}/take")
    tag = states(site_folder)[0].tag
    modules = np.pad(np.array(encode(tag).matrix), 4)
    picture = np.where(np.kron(modules, np.ones((6, 6))), 0, 255).astype(np.uint8)
    photo = cv2.imencode(".png", picture)[1].tobytes()
    led = technician.post(
        "/marry/scan", files={"photo": ("label.png", photo, "image/png")}, follow_redirects=False
    )
    assert led.headers["location"] == f"/marry?number={tag}"
    blank = cv2.imencode(".png", np.full((80, 80), 255, np.uint8))[1].tobytes()
    told = technician.post("/marry/scan", files={"photo": ("x.png", blank, "image/png")})
    assert told.status_code == 422
    assert "no label that can be read" in told.text


def test_an_asset_taken_in_by_form_has_its_mistakes_told_beside_the_fields(
    technician: TestClient, site_folder: Path
) -> None:
    wrong = technician.post(
        "/assets/new", data={"kind": "battery", "maker_serial": "N1", "voltage": "much"}
    )
    assert wrong.status_code == 422
    assert 'aria-describedby="w-voltage"' in wrong.text
    assert states(site_folder) == []
    right = {"kind": "battery", "maker_serial": "N1", "voltage": "48", "weight": "1100 kg"}
    technician.post("/assets/new", data={**right, "as_stamped": "yes"})
    (taken,) = states(site_folder)
    assert taken.maker_serial == "N1"
    assert is_married(taken)


def test_several_chemistries_are_ticked_in_the_form(
    technician: TestClient, site_folder: Path
) -> None:
    page = technician.get("/assets/new?kind=truck").text
    ticked = re.findall(r'type="checkbox" name="chemistries" value="([^"]+)"', page)[:2]
    truck = {"kind": "truck", "maker_serial": "N2", "voltage": "48", "weight_min": "heavy"}
    again = technician.post("/assets/new", data={**truck, "chemistries": ticked})
    assert again.status_code == 422
    assert again.text.count(" checked> ") == 2
    technician.post("/assets/new", data={**truck, "weight_min": "", "chemistries": ticked})
    (taken,) = states(site_folder, Kind.TRUCK)
    assert taken.nameplate["chemistries"]["value"] == ticked


def test_labels_are_made_with_progress_and_the_record_knows_what_was_printed(
    technician: TestClient, site_folder: Path
) -> None:
    technician.post(f"{send(technician)}/take")
    tags = [one.tag for one in states(site_folder)]
    assert all(tag in technician.get("/labels?which=unprinted").text for tag in tags)
    page = technician.post("/labels", data={"template": "sheet-a4", "numbers": tags})
    made = fetched(technician, page.url.path, page.text)
    assert made.content.startswith(b"%PDF")
    assert [one.label_revision for one in states(site_folder)] == [1, 1]
    assert "sheet-a4" in technician.get(f"/labels?number={tags[0]}").text
    # Married, the label that sticks there says what is no longer so.
    still = "The label that sticks on it still says:"
    assert still not in technician.get(f"/A/{tags[0]}").text
    page = _married_form(
        technician, tags[0], maker_serial="B1", voltage="48", weight="1180 kg", answer="as-shown"
    )
    assert still in page
    assert "Service weight: 1100 kg (1180 kg on record)" in page.replace("\xa0", " ")
    assert f'href="/labels?number={tags[0]}">Print its label anew' in page
    assert still in technician.get(f"/A/{tags[0]}").text
    asked = technician.get("/labels?which=reprint").text
    assert f'value="{tags[0]}"' in asked and "1180\xa0kg on record" in asked
    _married_form(technician, tags[1], maker_serial="=B3", voltage="48", weight="1130 kg")
    quietly = technician.get(f"/A/{tags[1]}").text
    assert still not in quietly
    assert "“to be confirmed” beside voltage, service weight" in quietly
    page = technician.post("/labels", data={"template": "sheet-a4", "numbers": tags})
    fetched(technician, page.url.path, page.text)
    assert still not in technician.get(f"/A/{tags[0]}").text


def test_labels_never_printed_are_parted_by_kind(technician: TestClient, site_folder: Path) -> None:
    mixed = (
        "Kind,Maker's serial,Fleet number,Bay,Voltage (V),Equipment\n"
        "charger,C1,,A1,48,\nbattery,B1,,,48,\nroom equipment,R1,,,,eyewash\ntruck,T1,F1,,48,\n"
        "battery,B2,,,48,\n"
    )
    address = send(technician, mixed)
    technician.post(f"{address}/take")
    page = technician.get("/labels?which=unprinted").text
    titles = re.findall(r"<legend>(\w+) <span[^>]*>(\d)", page)
    assert titles == [("Batteries", "2"), ("Trucks", "1"), ("Chargers", "1"), ("Other", "1")]
    numbers = re.findall(r'name="numbers" value="(\w)', page)
    assert numbers == ["B", "B", "T", "C", "R"]
    # A delivery stays in the order in which it is unloaded.
    page = technician.get("/labels?delivery=delivery.csv").text
    assert re.findall(r'name="numbers" value="(\w)', page) == ["C", "B", "R", "T", "B"]


def fetched(client: TestClient, address: str, page: str):  # type: ignore[no-untyped-def]
    end = time.monotonic() + 120
    while not (found := re.search(r"/labels/files/[a-z0-9.-]+", page)):
        assert "mishap" not in page.partition('<div id="run"')[2], page
        assert time.monotonic() < end, "the labels were never made"
        time.sleep(0.1)
        page = client.get(address, headers={"HX-Request": "true"}).text
    return client.get(found.group())


def test_cards_and_a_badge_are_printed_and_a_path_leads_nowhere_else(
    technician: TestClient,
) -> None:
    page = technician.post("/labels/cards", data={"what": "commands"})
    assert fetched(technician, page.url.path, page.text).content.startswith(b"%PDF")
    assert technician.post("/labels/badges").status_code == 403
    assert technician.get("/labels/files/..%2frecord.db").status_code == 404
    assert technician.get("/labels/files/record.db").status_code == 404


def test_a_template_can_be_looked_at_before_printing(technician: TestClient) -> None:
    look = technician.get("/labels/looks/battery-side.png")
    assert look.content.startswith(b"\x89PNG")
    assert technician.get("/labels/looks/..%2fx.png").status_code == 404


def test_two_who_mend_at_once_do_not_undo_each_others_work(
    technician: TestClient, site_folder: Path
) -> None:
    rows = "".join(f"N{number},48,much,vented lead-acid,775\n" for number in range(8))
    address = send(technician, SHEET.splitlines()[0] + "\n" + rows)

    def mend_row(row: int) -> None:
        with open_site(site_folder) as site:
            draft = draft_named(site, address.rpartition("/")[2])
            mend(site, draft, row, {2: "1120 kg"})

    with ThreadPoolExecutor(8) as people:
        list(people.map(mend_row, range(2, 10)))
    assert "8 rows are good" in technician.get(address).text


@pytest.mark.parametrize("name", ["cell-²", "cell-" + "9" * 5000, "cell--1"])
def test_a_field_that_is_no_cell_is_passed_over(technician: TestClient, name: str) -> None:
    address = send(technician)
    assert technician.post(f"{address}/rows/3", data={name: "1120 kg"}).status_code == 200


def test_a_full_disk_is_said_and_the_delivery_stays_as_it_was(
    technician: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = send(technician)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "write_text", full)
        answer = technician.post(f"{address}/rows/3", data={"cell-2": "1120 kg"})
    assert answer.status_code == 503 and "Make room" in answer.text
    assert "1 row to mend" in technician.get(address).text
