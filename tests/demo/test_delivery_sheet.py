"""The committed delivery files are what the table makes, and carry their troubles."""

from openpyxl import load_workbook
from tagkit.demo.delivery_sheet import ROWS, write_csv, write_workbook
from tagkit.demo.roster import SHOWCASE, delivery_csv, delivery_workbook


def test_the_csv_is_what_the_table_makes(tmp_path):
    write_csv(tmp_path / "made.csv")
    assert (tmp_path / "made.csv").read_bytes() == delivery_csv().read_bytes()


def test_the_workbook_is_what_the_table_makes(tmp_path):
    write_workbook(tmp_path / "made.xlsx")
    made, kept = (
        [[cell.value for cell in row] for row in load_workbook(path).active.iter_rows()]
        for path in (tmp_path / "made.xlsx", delivery_workbook())
    )
    assert made == kept


def test_the_csv_is_written_as_a_european_office_program_does():
    content = delivery_csv().read_bytes()
    assert "–" in content.decode("cp1252") and b"\x96" in content
    assert content.count(b"\r\n") == content.count(b"\n")
    lines = content.decode("cp1252").splitlines()
    assert all(line.count(";") == 15 for line in lines)
    assert ";1.142 kg;" in lines[4] and ";1,29;" in lines[4]


def test_the_troubles_are_in_the_sheet():
    serials = [row[1] for row in ROWS if row and row[1]]
    assert len(serials) == 8 and len(set(serials)) == 7  # one written twice
    by_serial = {row[1]: row for row in ROWS if row}
    assert by_serial[SHOWCASE.weight_unknown][7] is None
    assert by_serial["26R 36115"][2] == "18-125-17" and by_serial["26R 36115"][5] != 1000
    assert () in ROWS and ROWS[-1][0] == "Total"
