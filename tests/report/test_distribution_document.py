"""The report of a distribution."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pytest

from logger.core.distribution.points import SievePoint, from_fresh_portions
from logger.core.distribution.summary import summarise
from logger.report.distribution_document import DistributionSheet, distribution_document
from logger.report.document import Document, Figure, Table
from logger.report.html import html_report
from logger.report.plain import plain_report
from logger.report.texts import texts
from tests.core.distribution.curves import rrsb
from tests.report.sheets import sheet
from tests.report.test_html import parsed
from tests.report.test_pdf import missing

CURVE = rrsb(60.0, 1.2)


def document(language: str = "en") -> Document:
    points = [
        SievePoint(aperture_um=w, residue_pct=CURVE.residue_pct(w), u_pct=0.2)
        for w in (32.0, 63.0, 90.0, 125.0)
    ]
    found = summarise(from_fresh_portions(points), [0.5, 0.6, 0.7, None])
    bodies = tuple(sheet(simulated=True, aperture_um=p.aperture_um).body for p in points)
    made = DistributionSheet(
        numbers=(1, 2, 3, 4), bodies=bodies, summary=found, notes=("a remark",), axes="rrsb"
    )
    return distribution_document(made, texts(language))


def tables(found: Document) -> dict[str, Table]:
    blocks = [block for section in found.sections for block in section.blocks]
    return {block.caption: block for block in blocks if isinstance(block, Table)}


def test_points_sizes_and_fits_are_those_of_the_curve() -> None:
    found = tables(document())
    assert [row[:3] for row in found["Points"].rows][1] == ("2", "63", f"{CURVE.residue_pct(63.0):.3f}")
    fits = {row[0]: row for row in found["Fits"].rows}
    rrsb_row = next(row for name, row in fits.items() if name.startswith("Rosin"))
    assert rrsb_row[1].startswith("d' = 60.00, u ")
    assert rrsb_row[2].startswith("n = 1.200, u ")
    assert rrsb_row[3] == f"{CURVE.diameter_um(10):.2f}*"
    assert rrsb_row[4] == f"{CURVE.diameter_um(50):.2f}"
    assert found["Sizes"].rows[0][1] == "–"


def test_the_specific_surface_stands_beside_the_sauter_mean_it_is_of() -> None:
    # D[3,2] = d' / Gamma(1 - 1/n), closed form from memory; of spheres 6 / D[3,2].
    mean_um = 60 / math.gamma(1 - 1 / 1.2)
    text = " ".join(plain_report(document()).split())
    assert f"Sauter mean {mean_um:.2f} µm, specific surface as of spheres {6 / mean_um:.3g} m²/cm³" in text
    assert "would be a guess" in text  # of the points, whose fine end is open
    german = " ".join(plain_report(document("de")).split())
    assert f"spezifische Oberfläche als Kugeln {6 / mean_um:.3g}".replace(".", ",") in german
    assert german.count("m²/cm³") == text.count("m²/cm³") >= 1


def test_it_says_simulated_unreviewed_and_every_remark() -> None:
    found = document()
    assert [banner.text for banner in found.banners] == ["SIMULATED", "UNREVIEWED"]
    text = plain_report(found)
    assert "nothing is known of the sieves 125 µm" in text
    assert "- a remark" in text


def test_the_drawing_speaks_the_language() -> None:
    figure = next(b for s in document("de").sections for b in s.blocks if isinstance(b, Figure))
    drawn = [each.text or "" for each in ET.fromstring(figure.svg).iter()]
    assert "Maschenweite, µm (log)" in drawn
    assert "RRSB: d' = 60,0 µm, n = 1,200 (Gerade)" in drawn


def test_the_page_is_valid() -> None:
    parsed(html_report(document(), "a4"))


@pytest.mark.full
def test_the_paper_is_whole() -> None:
    assert missing(document("de")) == []
