"""Write study/weights.xlsx from anorexia.csv, with headings such as a clinic types. Run in this folder."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

from openpyxl import Workbook

HERE = Path(__file__).parent
HEADINGS = ["Person", "Arm", "Weight before (lb)", "Weight after (lb)"]
MADE = datetime(2026, 1, 5)


def workbook() -> Workbook:
    """Return the workbook: one row for each person, numbered in the order of the file."""
    book = Workbook()
    book.properties.creator = "weight trial"
    book.properties.created = book.properties.modified = MADE
    sheet = book.active
    sheet.title = "Weights"
    sheet.append(HEADINGS)
    with (HERE / "anorexia.csv").open(newline="", encoding="utf-8") as file:
        for number, row in enumerate(csv.DictReader(file), start=1):
            sheet.append([f"W{number:02d}", row["Treat"], float(row["Prewt"]), float(row["Postwt"])])
    return book


if __name__ == "__main__":
    workbook().save(HERE / "study" / "weights.xlsx")
