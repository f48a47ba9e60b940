"""One description of a chart and two writers: both draw the same, readable in grey print."""

import dataclasses
import re
import xml.etree.ElementTree as ET

import matplotlib as mpl
import numpy as np
import pytest

import pullbook
from pullbook.charts import drawing, matplotlib_writer
from pullbook.drawings import axes, comparison_drawing, prediction_drawing, svg_writer
from pullbook.drawings.chart import Bar, Chart, Panel
from pullbook.words.units import Units

BUILD = {"cylinders": 6, "bore": 3.9, "stroke": 3.75, "intake_duration": 214}
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def charts():
    """Return a prediction in both forms, and a comparison of three with shares of two."""
    predictor = pullbook.load()
    builds = [pullbook.read_builds({**BUILD, "sheet_id": f"<b>{d}</b>", "intake_duration": d})[0]
              for d in (206, 222, 236)]  # fmt: skip
    found = predictor.predictions(builds)
    rpm = np.arange(1500.0, 6001.0, 125.0)
    answers = [one.answer(rpm, 0.9) for one in found]
    three = predictor.compare(found, (2500.0, 4500.0), 0.9, rpm)
    two = predictor.compare(found[:2], (2500.0, 4500.0), 0.9, rpm, builds=(builds[:2], [None] * 2))
    describe = comparison_drawing.of_differences
    return {
        "one": prediction_drawing.on_one_pair(answers[0], Units.METRIC, (2500.0, 4500.0)),
        "several": prediction_drawing.of_answers(answers, Units.INCH),
        "three": describe(found, three.differences, Units.INCH),
        "two": describe(found[:2], two.differences, Units.INCH, two.shares),
    }


def drawn_curves(root):
    """Return the points of the lines of an SVG, in the order they are drawn."""
    paths = [one.get("d") for one in root.iter(f"{SVG}path") if "curve" in one.get("class", "")]
    return [np.array(re.findall(r"-?[\d.]+", path), dtype=float).reshape(-1, 2) for path in paths]


@pytest.mark.parametrize("name", ["one", "several", "three", "two"])
@pytest.mark.parametrize("shape", [svg_writer.WIDE, svg_writer.NARROW], ids=lambda one: one.name)
def test_both_writers_draw_the_same_curves(charts, name, shape):
    chart = charts[name]
    with mpl.rc_context(drawing.STYLE):
        figure = matplotlib_writer.figure(chart)
    lines = iter(drawn_curves(ET.fromstring(svg_writer.svg(chart, shape))))  # noqa: S314 - our own
    seen = 0
    for panel in (one for one in chart.panels if one.curves):
        for curve in panel.curves:
            low, high = axes.heights(panel, right=curve.right)
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
            points = next(lines)
            assert len(points) == known.sum()
            # Places in the SVG are a straight line of the numbers, and so is their order.
            for at, numbers in ((0, x[known]), (1, y[known])):
                slope, start = np.polyfit(numbers, points[:, at], 1)
                assert np.abs(slope * numbers + start - points[:, at]).max() < 0.02
                assert bool(slope > 0) is (at == 0)
            seen += 1
    assert seen == sum(len(panel.curves) for panel in chart.panels)
    assert next(lines, None) is None


@pytest.mark.parametrize("name", ["one", "several", "three", "two"])
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


@pytest.mark.parametrize("name", ["one", "several", "three", "two"])
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
    assert "whole line of the load: where torque may not clear it" in chart.notes
    ((first, last),) = answer.loads[0].below
    assert short[0].x[0] <= first
    assert short[0].x[-1] == pytest.approx(last)
    assert set(np.round(short[0].y, 3)) - set(np.round(load.y, 3))  # the same line, nearer together
    assert 'class="band b1"' not in svg_writer.svg(chart, svg_writer.WIDE)
