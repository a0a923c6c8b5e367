"""Pictures of a designed site for the README, out of the invented workshop.

``.venv/bin/python docs/pictures/site_pictures.py``

Takes a few minutes: the builds are fitted and the site is searched on the engine.
"""

from __future__ import annotations

import datetime
import subprocess
from pathlib import Path

import typst

from clackwork.charts.site_drawing import site_drawing
from clackwork.charts.vega import FONT_FOLDER
from clackwork.sheets.site_sheets import proposal_pdf
from clackwork.site.line_marks import line_marks
from clackwork.site.search import search_designs
from clackwork.site.stock import usual_stock
from clackwork.workbook import load_workbook
from clackwork.workbook_jobs import Done, fit_builds, names_with_runs

HERE = Path(__file__).resolve().parent
DEMO = HERE.parents[1] / "clackwork" / "demo" / "workshop.toml"
SITE = "Upper Hazel"
DATE = datetime.date(2031, 5, 4)
PIXELS_AN_INCH = 110


def main() -> None:
    """Fit, search, and write both pictures."""
    workbook = load_workbook(DEMO)
    done = Done()
    fit_builds(workbook, names_with_runs(workbook, workbook.builds), done, lambda *_: None)
    survey = workbook.surveys[SITE]
    design = search_designs(survey, tuple(done.twins.values()), usual_stock(), prices=workbook.prices)
    choice = design.choices[0]
    marks = line_marks(survey, choice)
    svg = site_drawing(survey, choice, grade_line=marks.grade, air_points=marks.air, drain_points=marks.drains)
    (HERE / "site.svg").write_text(svg, encoding="utf-8")
    page = '#set page(width: 174mm, height: auto, margin: 3mm)\n#image("site.svg", width: 100%)'
    source = HERE / "site.typ"
    source.write_text(page, encoding="utf-8")
    typst.compile(source, output=HERE / "site.png", format="png", ppi=PIXELS_AN_INCH, font_paths=[FONT_FOLDER])
    source.unlink()
    (HERE / "site.svg").unlink()
    sheet = HERE / "proposal.pdf"
    sheet.write_bytes(proposal_pdf(survey, design, choice, date=DATE))
    first_page = ["-r", str(PIXELS_AN_INCH), "-f", "1", "-l", "1", "-singlefile", "-gray", "-png"]
    subprocess.run(["pdftoppm", *first_page, str(sheet), str(HERE / "proposal")], check=True)
    sheet.unlink()
    print("Wrote site.png and proposal.png")


if __name__ == "__main__":
    main()
