"""Reads every spreadsheet of a folder again and holds it against the CSV of the same name, cell by cell."""

import csv
import pathlib
import sys
from decimal import Decimal

import openpyxl

FRAME = ["from", "to", "group_by", "currency", "rounding"]
TEXTS = {"line", "key", "name", "unit"}
FORMULA = tuple("=+-@\t\r\n＝＋－＠")


def text_of(cell):
    """The text that a CSV cell stands for: one that would begin a formula is written with an apostrophe before it."""
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(FORMULA) else cell


def check(csv_path, xlsx_path):
    with open(csv_path, newline="", encoding="utf-8") as file:
        header, *records = list(csv.reader(file))
    book = openpyxl.load_workbook(xlsx_path)
    sheet, about = book.worksheets
    columns = header[: -len(FRAME)]
    assert header[-len(FRAME) :] == FRAME, header
    assert sheet.freeze_panes == "A2", sheet.freeze_panes
    assert [cell.value for cell in sheet[1]] == columns
    assert all(cell.font.bold for cell in sheet[1])
    assert sheet.max_row == len(records) + 1, (sheet.max_row, len(records))
    cells = 0
    for row, record in zip(sheet.iter_rows(min_row=2, max_col=len(columns)), records):
        for name, cell, written in zip(columns, row, record):
            where = f"{xlsx_path.name} {cell.coordinate} ({name})"
            cells += 1
            if written == "":
                assert cell.value is None, where
            elif name in TEXTS:
                assert cell.data_type == "s", f"{where}: {cell.data_type}"
                assert cell.value == text_of(written), f"{where}: {cell.value!r} {written!r}"
            else:
                assert cell.data_type == "n", f"{where}: {cell.data_type} {cell.value!r}"
                # Doubles are exact to 15 significant digits.
                assert Decimal(f"{cell.value:.15g}") == Decimal(written), f"{where}: {cell.value!r} {written}"
                digits = len(written.partition(".")[2])
                if cell.number_format.startswith("#,##0."):
                    assert len(cell.number_format.partition(".")[2]) == digits, f"{where}: {cell.number_format}"
    said = {row[0].value: row[1].value for row in about.iter_rows(max_col=2)}
    first = dict(zip(FRAME, records[0][-len(FRAME) :]))
    assert {name: said[name] or "" for name in FRAME} == first, (said, first)
    return len(records), cells


def main(folder, expected):
    paths = sorted(pathlib.Path(folder).glob("*.xlsx"))
    assert len(paths) == expected, f"{len(paths)} spreadsheets, not {expected}"
    for path in paths:
        records, cells = check(path.with_suffix(".csv"), path)
        print(f"{path.name}: {records} records, {cells} cells as in the CSV")


main(sys.argv[1], int(sys.argv[2]))
