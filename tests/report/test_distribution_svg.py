"""Drawing of a distribution."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from logger.core.distribution.fits import fit
from logger.core.distribution.points import SievePoint
from logger.report.distribution_svg import HEIGHT, WIDTH, distribution_svg
from tests.core.distribution.curves import rrsb

SVG = "{http://www.w3.org/2000/svg}"
CURVE = rrsb(36, 1.1)
POINTS = [
    SievePoint(aperture_um=w, residue_pct=CURVE.residue_pct(w), u_pct=0.3)
    for w in (20.0, 32.0, 45.0, 63.0, 90.0, 125.0)
]


def circles(svg: str) -> list[tuple[float, float]]:
    return [(float(c.attrib["cx"]), float(c.attrib["cy"])) for c in ET.fromstring(svg).iter(f"{SVG}circle")]


def test_an_rrsb_powder_is_straight_on_rrsb_paper_and_bent_on_plain_axes() -> None:
    def bend(axes: str) -> float:
        dots = circles(distribution_svg(POINTS, axes="rrsb" if axes == "rrsb" else "plain"))
        (x1, y1), (x2, y2) = dots[0], dots[-1]
        return max(abs(y - (y1 + (y2 - y1) * (x - x1) / (x2 - x1))) for x, y in dots)

    assert bend("rrsb") < 0.2
    assert bend("plain") > 10


def test_every_point_lies_in_the_picture_and_passing_rises_upwards() -> None:
    dots = circles(distribution_svg(POINTS, [fit(POINTS, "rrsb", "direct")]))
    assert len(dots) == len(POINTS)
    assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y in dots)
    assert [y for _, y in dots] == sorted((y for _, y in dots), reverse=True)


def test_legend_names_each_fit_and_text_is_escaped() -> None:
    svg = distribution_svg(POINTS, [fit(POINTS, "rrsb"), fit(POINTS, "log-normal")], title="<lot & 7>")
    texts = [t.text or "" for t in ET.fromstring(svg).iter()]
    assert "RRSB: d' = 36.0 µm, n = 1.100 (line)" in texts
    assert any(t.startswith("log-normal: d50 =") for t in texts)
    assert "<lot & 7>" in texts


def test_points_without_a_place_are_named() -> None:
    full = [*POINTS, SievePoint(aperture_um=500.0, residue_pct=0.0, u_pct=0.01)]
    assert "no place on this paper: 500 µm (0 % residue)" in distribution_svg(full, axes="rrsb")
    assert "no place" not in distribution_svg(full)
    with pytest.raises(ValueError, match="at most 3 fits"):
        distribution_svg(POINTS, [fit(POINTS, "rrsb")] * 4)
    with pytest.raises(ValueError, match="use plain axes"):
        distribution_svg([full[-1]], axes="ggs")


def test_same_input_same_bytes() -> None:
    assert distribution_svg(POINTS, axes="log-normal") == distribution_svg(POINTS, axes="log-normal")
