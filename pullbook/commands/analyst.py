"""Commands of an analyst: curate, engineer features, train, and test the result fairly."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook.commands import options, output

if TYPE_CHECKING:
    from pullbook.model.learning.settings import Settings

METRICS = "metrics.json"
_OUT = typer.Option("--out", help="Where to write; made if need be.")


def curate(
    folders: Annotated[list[Path], typer.Argument(help="Contributions, as written by contribute.")],
    out: Annotated[Path, _OUT],
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Read every sheet, also those that did not change.")
    ] = False,
    withdrawn: Annotated[
        Path | None, typer.Option(help="The list of what was withdrawn, to be left out.")
    ] = None,
    cluster: options.Cluster = None,
) -> None:
    """Bring accepted sheets to one data set at the reference condition."""
    import platformdirs

    from pullbook.pipeline.curation import curate as curating
    from pullbook.pipeline.parallel import workers as crews
    from pullbook.pipeline.privacy import withdraw as withdrawing

    root = None if fresh else platformdirs.user_cache_path("pullbook") / "judged"
    asked_back = [] if withdrawn is None else withdrawing.read(withdrawn)
    with crews.cluster(cluster) as far:
        crew = far or crews.Processes(os.cpu_count() or 1)
        places = [folder.resolve() for folder in folders] if far else folders
        curated = curating.curate(places, crew, root, output.bar("Curating"), asked_back)
    curated.write(out)
    builds, findings = curated.builds, curated.findings
    total = len(builds) + curated.refused + curated.replaced + curated.withdrawn
    typer.echo(
        f"{total} sheets: {len(builds)} curated, {curated.refused} refused,"
        f" {curated.replaced} replaced by a later one, {curated.withdrawn} withdrawn;"
        f" {curated.refused_before} more were refused when they were contributed"
    )
    routes = builds["route"].value_counts()
    typer.echo(
        f"{builds['shop'].nunique()} shops, {len(curated.pulls)} readings;"
        f" {routes.get('stated', 0)} sheets stood at the reference,"
        f" {routes.get('weather', 0)} came there by their weather,"
        f" {routes.get('nominal', 0)} by a nominal ratio"
    )
    for sheet, message in _refusals(findings):
        typer.echo(f"{sheet}: {message}", err=True)
    for one in curated.not_found:
        what = f"sheet {one.sheet_id} of shop" if one.sheet_id else "shop"
        message = f"{what} {one.shop[: withdrawing.CODE_CHARS]} is asked back, and is not there"
        typer.echo(message, err=True)
    typer.echo(f"The data set is in {out}")
    raise typer.Exit(code=int(curated.refused > 0))


def _refusals(findings: Any) -> list[tuple[str, str]]:
    from pullbook.pipeline.privacy.refused_sheets import FINDINGS_FILE

    earlier = findings["source"].str.endswith(FINDINGS_FILE)
    refused = findings[(findings["severity"] == "refuse") & ~earlier]
    return list(zip(refused["sheet_id"], refused["message"], strict=True))


def features(
    curated: options.Curated, out: Annotated[Path, _OUT], cluster: options.Cluster = None
) -> None:
    """Fill what is missing and engineer the features that a model learns from."""
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.features import feature_table
    from pullbook.pipeline.parallel import workers as crews

    builds, _ = data_set.load(curated)
    with crews.cluster(cluster) as far:
        made = feature_table.fit(builds, far or feature_table.ALONE)
    made.write(out)
    typer.echo(f"{made.table.shape[1]} features of {len(made.table)} builds are in {out}")


def train(
    curated: options.Curated,
    out: Annotated[Path, _OUT],
    seed: options.Seed = None,
    params: options.Params = None,
    features: Annotated[
        Path | None,
        typer.Option(help="Features that `pullbook features` made of this data set."),
    ] = None,
    invented: Annotated[
        bool, typer.Option("--invented", help="The data are invented: every answer will say so.")
    ] = False,
    cluster: options.Cluster = None,
) -> None:
    """Fit a model, calibrate its limits over the shops, and write a bundle."""
    from pullbook.model.limits.conformal import needed_shops
    from pullbook.model.training import bundle, train_model
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.features import feature_table
    from pullbook.pipeline.parallel import workers as crews

    settings = _settings(params, seed)
    builds, pulls = data_set.load(curated)
    made = feature_table.fit(builds) if features is None else feature_table.load(features, builds)
    with crews.cluster(cluster) as far:
        crew = far or train_model.THREADS
        model = train_model.train(builds, pulls, made, settings, output.bar("Training"), crew)
    identity = bundle.save(model, out, invented=invented)
    shops = len(model.shop_codes)
    typer.echo(f"Learned from {len(builds)} sheets of {shops} shops; bundle {identity} is in {out}")
    for level in (0.9, 0.95):
        if shops < needed_shops(level):
            typer.echo(
                f"Limits at {100 * level:g} % need {needed_shops(level)} shops: none are given.",
                err=True,
            )


def evaluate(
    curated: options.Curated,
    out: Annotated[Path, _OUT],
    parts: Annotated[int, typer.Option(min=2, help="Parts that the shops are held out in.")] = 4,
    seed: options.Seed = None,
    params: options.Params = None,
    benchmarks: Annotated[
        Path | None,
        typer.Option(help="Tables that `make peers` and `make ablation` wrote, for the page."),
    ] = None,
    cluster: options.Cluster = None,
) -> None:
    """Hold out every shop once and report error and coverage on shops never seen."""
    from pullbook.model.evaluation import evaluate as evaluating
    from pullbook.model.evaluation import evaluate_regimes
    from pullbook.model.training import train_model
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.parallel import workers as crews
    from pullbook.reports import model_page
    from pullbook.text import evaluation_text

    builds, pulls = data_set.load(curated)
    settings = _settings(params, seed)
    shops, both = output.bar("Holding out shops"), output.bar("Holding out shops and families")
    with crews.cluster(cluster) as far:
        crew = far or train_model.THREADS
        found = evaluating.evaluate(builds, pulls, settings, parts, shops, crew)
        regimes, _ = evaluate_regimes.held_out(builds, pulls, settings, parts, both, crew)
    metrics = found.metrics()
    out.mkdir(parents=True, exist_ok=True)
    (out / METRICS).write_text(json.dumps(metrics, indent=1) + "\n", encoding="utf-8")
    model_page.write(found, regimes, metrics, benchmarks, out)
    typer.echo(evaluation_text.text(metrics))
    typer.echo(f"Figures and pictures are in {out}")


def _settings(params: Path | None, seed: int | None) -> Settings:
    from pullbook.model.learning.settings import from_mapping

    given = options.section(params, "train")
    return from_mapping(given if seed is None else {**given, "seed": seed})
