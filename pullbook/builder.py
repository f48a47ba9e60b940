"""Commands of a builder: ask what a combination will likely make."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook import asking, options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.answer import Answer
    from pipeline.sheet import Sheet

_PLOTS = (".svg", ".png", ".pdf")
_MOST_PLOTTED = 4
_DEFAULT_RPM = "2000:6500:250"
_EXPLAINED_RPM = "2000:5000:500"
_MOST_SPEEDS = 2000
_STEP = 250.0


def predict(  # noqa: PLR0913, PLR0917 - every one an option of the command
    builds: Annotated[Path, typer.Argument(help="A sheet file, a .yaml build or a builds.csv.")],
    bundle: options.Bundle,
    level: options.Level = 0.9,
    rpm: options.Rpm = _DEFAULT_RPM,
    shop: Annotated[
        str | None, typer.Option(help="Ask as this shop; needs the key it contributed with.")
    ] = None,
    key_file: options.KeyFile = None,
    plot: options.Plot = None,
    as_json: options.AsJson = False,
) -> None:
    """Say what builds will likely make, with limits that hold."""
    speeds = _speeds(rpm)
    _check_level(level)
    _check_plot(plot)
    sheets = asking.read_builds(builds)
    asking.tell_asides(sheets)
    codes = asking.shop_codes(sheets, shop, key_file)
    from model import bundle as bundles  # noqa: PLC0415
    from model.ask import Question  # noqa: PLC0415

    loaded = bundles.load(bundle)
    found = asking.answers(sheets, codes, loaded, Question(speeds, level))
    if as_json:
        for sheet, answer in zip(sheets, found, strict=True):
            told = asking.error(sheet) if answer is None else answer.as_json()
            typer.echo(json.dumps(told, ensure_ascii=False))
    else:
        _print(sheets, found)
    given = [answer for answer in found if answer is not None]
    if plot is not None and given:
        from pullbook import chart  # noqa: PLC0415 - matplotlib is for those who want a picture

        drawn = [i for i, answer in enumerate(found) if answer is not None][:_MOST_PLOTTED]
        fine = Question(chart.fine(speeds), level)
        chart.draw(
            asking.sound([sheets[i] for i in drawn], [codes[i] for i in drawn], loaded, fine), plot
        )
        more = f" (the first {_MOST_PLOTTED} builds)" if len(given) > _MOST_PLOTTED else ""
        typer.echo(f"The picture is {plot}{more}", err=True)
    raise typer.Exit(code=int(len(given) < len(sheets)))


def _speeds(text: str) -> Any:
    """Return the engine speeds that ``first:last:step`` means."""
    try:
        first, last, step = (float(part) for part in text.split(":"))
    except ValueError:
        msg = f"{text!r} is not first:last:step, as {_DEFAULT_RPM}"
        raise typer.BadParameter(msg, param_hint="--rpm") from None
    if not (0 < first <= last < 1e5 and step > 0 and (last - first) / step < _MOST_SPEEDS):
        msg = f"{text!r} must rise from above nought in at most {_MOST_SPEEDS} steps"
        raise typer.BadParameter(msg, param_hint="--rpm")
    from model.ask import speeds_of  # noqa: PLC0415

    return speeds_of(first, last, step)


def _print(sheets: Sequence[Sheet], found: list[Answer | None]) -> None:
    from pullbook import answer_text  # noqa: PLC0415

    whole = len(sheets) <= _MOST_PLOTTED
    if not whole:
        typer.echo(answer_text.SUMMARY_HEAD)
    for sheet, answer in zip(sheets, found, strict=True):
        if answer is None:
            typer.echo(f"{sheet.sheet_id}: {asking.error(sheet)['error']['message']}", err=True)
        else:
            typer.echo(answer_text.full(answer) if whole else answer_text.summary(answer))
    given = [answer for answer in found if answer is not None]
    if given:
        typer.echo(answer_text.closing(given))


def compare(  # noqa: PLR0913, PLR0917 - every one an option of the command
    a: Annotated[Path, typer.Argument(help="A file with one build.")],
    b: Annotated[Path, typer.Argument(help="A file with another.")],
    bundle: options.Bundle,
    band: Annotated[str, typer.Option(help="Engine speeds that count, low:high.")] = "2500:4500",
    level: options.Level = 0.9,
    one_shop: Annotated[
        bool,
        typer.Option(
            "--one-shop/--two-shops", help="Whether both would be tested on one shop's dyno."
        ),
    ] = True,
    plot: options.Plot = None,
    as_json: options.AsJson = False,
) -> None:
    """Say which of two builds makes more over a band, and how sure that is."""
    from model import bundle as bundles  # noqa: PLC0415
    from model import compare as comparing_  # noqa: PLC0415
    from model.ask import speeds_of  # noqa: PLC0415
    from pullbook import comparing  # noqa: PLC0415

    low, high = _band(band)
    _check_level(level)
    _check_plot(plot)
    builds = [comparing.one_build(path) for path in (a, b)]
    asking.tell_asides(builds)
    model, told = bundles.load(bundle)
    both = comparing.predictions(builds, model, None)
    if warning := comparing.check_band(both, (low, high)):
        typer.echo(warning, err=True)
    names = (builds[0].sheet_id, builds[1].sheet_id)
    step = _STEP if high - low >= 4 * _STEP else (high - low) / 8
    rpm = speeds_of(low, high, step)
    found = comparing_.compare(both, names, model.pairs, (low, high), level, rpm, one_shop)
    typer.echo(json.dumps(found.as_json()) if as_json else comparing.text(found, told))
    if plot is not None:
        from pullbook import chart  # noqa: PLC0415

        fine = chart.fine(rpm)
        drawn = comparing_.compare(both, names, model.pairs, (low, high), level, fine, one_shop)
        chart.draw_difference(both, drawn, plot)
        typer.echo(f"The picture is {plot}", err=True)


def explain(
    build: Annotated[Path, typer.Argument(help="A file with one build.")],
    bundle: options.Bundle,
    level: options.Level = 0.9,
    rpm: options.Rpm = _EXPLAINED_RPM,
    plot: options.Plot = None,
    as_json: options.AsJson = False,
) -> None:
    """Say what each group of parts does to a curve, and what the nearest sheets are."""
    from model import bundle as bundles  # noqa: PLC0415
    from model import explain as explaining_  # noqa: PLC0415
    from pipeline.build_table import typed_builds  # noqa: PLC0415
    from pullbook import chart, comparing, explaining  # noqa: PLC0415

    speeds = _speeds(rpm)
    _check_level(level)
    _check_plot(plot)
    sheet = comparing.one_build(build)
    asking.tell_asides([sheet])
    model, told = bundles.load(bundle)
    table = typed_builds([sheet])
    found = explaining_.explain(model, table, speeds, level)
    typer.echo(json.dumps(found.as_json()) if as_json else explaining.text(found, told))
    if plot is not None:
        explaining.draw(explaining_.explain(model, table, chart.fine(speeds), level), plot)
        typer.echo(f"The picture is {plot}", err=True)


def _band(text: str) -> tuple[float, float]:
    try:
        low, high = (float(part) for part in text.split(":"))
    except ValueError:
        msg = f"{text!r} is not low:high, as 2500:4500"
        raise typer.BadParameter(msg, param_hint="--band") from None
    if not 0 < low < high < 1e5:
        msg = f"{text!r} must rise from above nought"
        raise typer.BadParameter(msg, param_hint="--band")
    return low, high


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        msg = f"the level is {level:g}; it must lie between 0 and 1, as 0.9"
        raise typer.BadParameter(msg, param_hint="--level")


def _check_plot(plot: Path | None) -> None:
    if plot is not None and plot.suffix.casefold() not in _PLOTS:
        msg = f"a picture can be {', '.join(_PLOTS)}, not {plot.name!r}"
        raise typer.BadParameter(msg, param_hint="--plot")


COMMANDS = (predict, compare, explain)
