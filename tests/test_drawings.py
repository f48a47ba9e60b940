"""One description of a chart and two writers: both draw the same, readable in grey print."""

import dataclasses
import re
import xml.etree.ElementTree as ET

import matplotlib as mpl
import numpy as np
import pytest

import pullbook
from pullbook.charts import drawing, matplotlib_writer, scales, svg_writer
from pullbook.drawings import (
    against_drawing,
    choice_drawing,
    comparison_drawing,
    explanation_drawing,
    fine_speeds,
    next_test_drawing,
    prediction_drawing,
    variation_drawing,
)
from pullbook.drawings.chart import Bar, Chart, Panel
from pullbook.model.trained.pulls import pull
from pullbook.words.units import Units

BUILD = {"cylinders": 6, "bore": 3.9, "stroke": 3.75, "intake_duration": 214}
PARTS = """\
build: {cylinders: 8, bore: 4.03, stroke: 3.48, octane: 91}
parts:
  heads:
    - {name: "<b>as cast</b>", compression_ratio: 9.2, intake_flow: 205}
    - {name: ported, compression_ratio: 9.6, intake_flow: 235}
  camshaft:
    - {name: short, intake_duration: 206}
    - {name: long, intake_duration: 236}
goal: {mean_torque: 2000:3500}
"""
RAN = """\
---
sheet_id: ran
cylinders: 6
bore: 3.9
stroke: 3.75
intake_duration: 214
correction: SAE J1349
---
rpm,torque
2500,252
3000,261
3500,264
4000,259
4500,240
"""
KINDS = ["one", "several", "three", "two", "varied", "kinds", "grid", "explained", "chosen",
         "against", "next"]  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def charts(tmp_path_factory):
    """Return a chart of every kind of answer."""
    predictor = pullbook.load()
    builds = [pullbook.read_builds({**BUILD, "sheet_id": f"<b>{d}</b>", "intake_duration": d})[0]
              for d in (206, 222, 236)]  # fmt: skip
    found = predictor.predictions(builds)
    rpm = np.arange(1500.0, 6001.0, 125.0)
    answers = [one.answer(rpm, 0.9) for one in found]
    three = predictor.compare(found, (2500.0, 4500.0), 0.9, rpm)
    two = predictor.compare(found[:2], (2500.0, 4500.0), 0.9, rpm, builds=(builds[:2], [None] * 2))
    describe = comparison_drawing.of_differences
    fine = fine_speeds.fine(found[1].speeds)
    band = (2500.0, 4500.0)

    def varied(**ranges):
        variants = predictor.vary(builds[1], ranges, band, 0.9)
        return variation_drawing.of_variants(found[1], variants, fine, Units.METRIC)

    folder = tmp_path_factory.mktemp("drawings")
    (folder / "parts.yaml").write_text(PARTS)
    (folder / "ran.csv").write_text(RAN)
    could = predictor.next(builds, builds[:1], 2)
    return {
        "varied": varied(intake_duration=[206.0, 222.0, 236.0]),
        "kinds": varied(intake_type=["dual_plane", "single_plane"]),
        "grid": varied(stroke=[3.6, 3.75, 3.9], compression_ratio=[9.0, 10.0]),
        "explained": explanation_drawing.of_parts(predictor.explain(builds[1], rpm), Units.INCH),
        "chosen": choice_drawing.of_choice(
            predictor.choose(folder / "parts.yaml", (2000.0, 3000.0)), Units.INCH
        ),
        "against": against_drawing.of_pull(
            predictor.against(pull(folder / "ran.csv"), 0.9), "<b>ran</b>", Units.INCH
        ),
        "next": next_test_drawing.of_lessons(could, builds, Units.INCH),
        "one": prediction_drawing.on_one_pair(answers[0], Units.METRIC, (2500.0, 4500.0)),
        "several": prediction_drawing.of_answers(answers, Units.INCH),
        "three": describe(found, three.differences, Units.INCH),
        "two": describe(found[:2], two.differences, Units.INCH, two.shares),
    }


def drawn_curves(root):
    """Return the points of the lines of an SVG, in the order they are drawn."""
    paths = [one.get("d") for one in root.iter(f"{SVG}path") if "curve" in one.get("class", "")]
    return [np.array(re.findall(r"-?[\d.]+", path), dtype=float).reshape(-1, 2) for path in paths]


def drawn_dots(root):
    """Yield the places of the dots of an SVG, in the order they are drawn."""
    for one in root.iter(f"{SVG}circle"):
        yield float(one.get("cx")), float(one.get("cy"))


def assert_placed(points, x, y):
    """Places in the SVG are a straight line of the numbers, and so is their order."""
    assert len(points) == len(x)
    for at, numbers in ((0, x), (1, y)):
        if np.ptp(numbers) == 0:
            assert np.ptp(points[:, at]) < 0.06
            continue
        slope, start = np.polyfit(numbers, points[:, at], 1)
        assert np.abs(slope * numbers + start - points[:, at]).max() < 0.06
        assert bool(slope > 0) is (at == 0)


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("shape", [svg_writer.WIDE, svg_writer.NARROW], ids=lambda one: one.name)
def test_both_writers_draw_the_same_curves(charts, name, shape):
    chart = charts[name]
    with mpl.rc_context(drawing.STYLE):
        figure = matplotlib_writer.figure(chart)
    root = ET.fromstring(svg_writer.svg(dataclasses.replace(chart, key=False), shape))  # noqa: S314 - our own
    lines, dots = iter(drawn_curves(root)), drawn_dots(root)
    seen = 0
    for panel in (one for one in chart.panels if one.curves):
        for curve in panel.curves:
            low, high = scales.heights(panel, right=curve.right)
            x, y = np.array(curve.x), np.array(curve.y)
            known = np.isfinite(y)
            both = [
                line.get_xydata()
                for axis in figure.axes
                for line in axis.lines
                if len(line.get_xydata()) == len(x)
                and np.array_equal(line.get_ydata(), y, equal_nan=True)
                and axis.get_ylim() == pytest.approx((low, high))
            ]
            assert len(both) >= 1
            drawn = [next(lines)] if curve.joined else []
            if curve.dots:
                drawn.append(np.array([next(dots) for _ in x[known]]))
            for points in drawn:
                assert_placed(points, x[known], y[known])
            seen += 1
        for _ in panel.marks:
            next(dots)
        for points in panel.points:
            offsets = [axis.get_offsets() for axis in figure.axes[0].collections]
            here = np.column_stack([points.x, points.y])
            assert any(np.shape(one) == here.shape and np.allclose(one, here) for one in offsets)
            if points.shape == "circle":
                assert_placed(np.array([next(dots) for _ in points.x]), *here.T)
    assert next(dots, None) is None
    assert seen == sum(len(panel.curves) for panel in chart.panels)
    assert next(lines, None) is None


@pytest.mark.parametrize("name", KINDS)
def test_both_writers_say_the_same_at_curves_and_marks(charts, name):
    chart = charts[name]
    with mpl.rc_context(drawing.STYLE):
        written = drawing.svg_of(matplotlib_writer.figure(chart)).decode()
    wide = svg_writer.svg(chart, svg_writer.WIDE)
    for panel in chart.panels:
        for words in (*(c.label for c in panel.curves), *(m.text for m in panel.marks),
                      *(r.text for r in panel.regions), *(b.name for b in panel.bars)):  # fmt: skip
            escaped = words.replace("<", "&lt;").replace(">", "&gt;")
            assert escaped in wide
            assert escaped in written


@pytest.mark.parametrize("name", KINDS)
def test_an_svg_stands_under_the_strictest_policy(charts, name):
    text = svg_writer.both(charts[name])
    assert not re.search(r"\sstyle=|<script|<style|\son\w+=|href|<b>", text)


def test_curves_differ_in_line_and_in_label_so_that_grey_print_is_enough(charts):
    (torque, *_) = charts["three"].panels
    text = svg_writer.svg(charts["three"], svg_writer.WIDE)
    root = ET.fromstring(text)  # noqa: S314 - our own
    kinds = [one.get("stroke-dasharray") for one in root.iter(f"{SVG}path")
             if "curve" in one.get("class", "")]  # fmt: skip
    assert len(set(kinds[: len(torque.curves)])) == len(torque.curves)
    assert [curve.label for curve in torque.curves] == ["A", "B", "C"]


def test_texts_of_sheets_never_become_markup(charts):
    evil = dataclasses.replace(charts["one"], alt='"><script>alert(1)</script>\x00')
    bars = Chart("x", (), (Panel("x", bars=(Bar("</text><script>", 1.0),)), *evil.panels))
    for chart in (evil, bars):
        ET.fromstring(svg_writer.svg(chart, svg_writer.WIDE))  # noqa: S314 - our own
        assert "<script" not in svg_writer.both(chart)


def test_where_a_load_may_not_be_cleared_is_marked_and_bands_that_cross_differ_in_grey():
    predictor = pullbook.load()
    (answer,) = predictor.predict(
        {"cylinders": 8, "bore": 4.0, "stroke": 3.48}, loads=["propeller 310 hp @ 4800"]
    )
    chart = prediction_drawing.on_one_pair(answer, Units())
    torque, power, load, *short = chart.panels[0].curves
    assert (torque.filled, power.filled) == (True, False)
    assert "thick solid line: where torque may not clear the load" in chart.notes
    ((first, last),) = answer.loads[0].below
    assert short[0].x[0] <= first
    assert short[0].x[-1] == pytest.approx(last)
    assert set(np.round(short[0].y, 3)) - set(np.round(load.y, 3))  # the same line, nearer together
    assert 'class="band b1"' not in svg_writer.svg(chart, svg_writer.WIDE)
