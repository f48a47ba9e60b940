"""Commands of an analyst: curate, make features, train, and measure the accuracy."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook.arguments import inputs, messages, options
from pullbook.commands import output
from pullbook.pipeline.storage import whole_writes
from pullbook.tasks import own_key, training
from pullbook.words.figures import counted

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.settings import Settings
    from pullbook.model.trained.trained_model import Model

METRICS = "metrics.json"
_START = Annotated[
    str,
    typer.Option(
        help="Model that the data of few shops starts from: a bundle, or none; by default the one"
        " of invented engines, where it helps."
    ),
]
_OUT = typer.Option("--out", help="Folder to write to; made if it is not there.")


def curate(  # noqa: PLR0913, PLR0917 - every one an option of the command
    folders: Annotated[
        list[Path],
        typer.Argument(
            help="Folders of contributed sheets, written by `pullbook contribute`; with --own also"
            " folders of your own sheets."
        ),
    ],
    out: Annotated[Path, _OUT],
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Read every sheet again, changed or not.")
    ] = False,
    own: options.Own = False,
    key_file: options.KeyFile = None,
    settings_file: options.ShopSettings = None,
    cluster: options.Cluster = None,
    insecure_cluster: options.InsecureCluster = False,
) -> None:
    """Build one data set from contributed sheets, all torque at SAE J1349."""
    import platformdirs

    from pullbook.pipeline.curation import curate as curating
    from pullbook.pipeline.parallel import workers as crews
    from pullbook.pipeline.privacy import withdraw as withdrawing
    from pullbook.pipeline.privacy.signatures import SHORT_CODE

    damaged = [path for folder in folders for path in withdrawing.applied_to(folder)[1]]
    for path in damaged:
        messages.say(f"{path} is no request signed by its shop, so it withdraws nothing")
    root = None if fresh else platformdirs.user_cache_path("pullbook") / "judged"
    with crews.cluster(cluster, insecure=insecure_cluster) as far:
        crew = far or crews.Processes(os.cpu_count() or 1)
        places = [folder.resolve() for folder in folders] if far else folders
        reader = inputs.own_reader(places, settings_file, key_file) if own else None
        curated = curating.curate(places, crew, root, output.bar("Curating"), reader)
    curated.write(out)
    builds, findings = curated.builds, curated.findings
    total = len(builds) + curated.refused + curated.replaced + curated.withdrawn
    typer.echo(
        f"{counted(total, 'sheet')}: {len(builds)} curated, {curated.refused} rejected,"
        f" {curated.replaced} replaced by a later version, {curated.withdrawn} withdrawn;"
        f" {curated.refused_before} more were rejected when they were contributed"
    )
    routes = builds["route"].value_counts()
    typer.echo(
        f"{counted(builds['shop'].nunique(), 'shop')}, {len(curated.pulls)} readings;"
        f" {routes.get('stated', 0)} sheets were stated in SAE J1349,"
        f" {routes.get('weather', 0)} were converted with their weather,"
        f" {routes.get('nominal', 0)} with a nominal ratio"
    )
    for sheet, message in training.refusals(findings):
        messages.say(f"{sheet}: {message}")
    for code in curated.stopped:
        messages.say(
            f"shop {code[:SHORT_CODE]} was handed over to two different keys, so neither counts;"
            " ask the shop which is its own, and remove the other from the folder handed-over"
        )
    private = "; it holds sheets in clear: keep it to yourself" if own else ""
    typer.echo(f"The data set is in {out}{private}")
    raise typer.Exit(code=int(curated.refused > 0 or bool(damaged or curated.stopped)))


def features(
    curated: options.Curated,
    out: Annotated[Path, _OUT],
    cluster: options.Cluster = None,
    insecure_cluster: options.InsecureCluster = False,
) -> None:
    """Make the table of features that a model learns from, missing values filled."""
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.features import feature_table
    from pullbook.pipeline.parallel import workers as crews

    builds, _ = data_set.load(curated)
    with crews.cluster(cluster, insecure=insecure_cluster) as far:
        made = feature_table.fit(builds, far or feature_table.ALONE)
    made.write(out)
    typer.echo(f"{made.table.shape[1]} features of {len(made.table)} builds are in {out}")


def train(  # noqa: PLR0913, PLR0917 - every one an option of the command
    curated: options.Curated,
    out: Annotated[Path, _OUT],
    seed: options.Seed = None,
    params: options.Params = None,
    features: Annotated[
        Path | None,
        typer.Option(
            help="Features of this data set, written by `pullbook features`; computed if left out."
        ),
    ] = None,
    own: options.Own = False,
    key_file: options.KeyFile = None,
    settings_file: options.ShopSettings = None,
    start: _START = "",
    invented: Annotated[
        bool,
        typer.Option("--invented", help="Mark the data as invented; every answer then says so."),
    ] = False,
    sign: options.Sign = False,
    cluster: options.Cluster = None,
    insecure_cluster: options.InsecureCluster = False,
) -> None:
    """Train a model with error bars and write it as a bundle."""
    from pullbook.model.bundles import bundle_signature
    from pullbook.model.training import bundle, train_model
    from pullbook.pipeline.curation.read_own import is_private
    from pullbook.pipeline.parallel import workers as crews
    from pullbook.text import model_text

    settings = _settings(params, seed)
    signer = bundle_signature.signer(own_key.key_of(key_file)) if sign else None
    builds, pulls = _data(curated, key_file, settings_file, own=own)
    private = is_private(builds)
    other = _start_of(start, builds, private=private)
    with crews.cluster(cluster, insecure=insecure_cluster) as far:
        crew = far or train_model.THREADS
        bar = output.bar("Training")
        model, begin = training.train(builds, pulls, settings, other, crew, bar, features)
    identity = bundle.save(model, out, invented=invented, signer=signer)
    shops = len(model.shop_codes)
    typer.echo(
        f"Learned from {counted(len(builds), 'sheet')} of {counted(shops, 'shop')};"
        f" bundle {identity} is in {out}"
        + ("; it holds sheets in clear: keep it to yourself" if private else "")
    )
    if signer is not None:
        typer.echo(
            f"Signed. Who trusts you puts this key in a file for --trust: {signer.public_key}"
        )
    for line in model_text.promises(model, begin):
        messages.say(line)


def _data(
    curated: Path, key_file: Path | None, settings_file: Path | None, *, own: bool
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return a curated data set, or that of one's own sheets as they are kept."""
    reader = inputs.own_reader([curated], settings_file, key_file) if own else None
    return training.data(curated, reader, messages.say)


def _start_of(named: str, builds: pd.DataFrame, *, private: bool) -> Model | None:
    return training.start_of(named, builds, private=private, say=messages.say)


def evaluate(  # noqa: PLR0913, PLR0917 - every one an option of the command
    curated: options.Curated,
    out: Annotated[Path, _OUT],
    parts: Annotated[
        int,
        typer.Option(
            min=2,
            help="Number of parts to split shops, or engines of few shops, into; each part is held"
            " out once.",
        ),
    ] = 4,
    seed: options.Seed = None,
    params: options.Params = None,
    own: options.Own = False,
    key_file: options.KeyFile = None,
    settings_file: options.ShopSettings = None,
    start: _START = "",
    benchmarks: Annotated[
        Path | None,
        typer.Option(
            help="Folder of benchmark tables (`make peers`, `make ablation`) to add to the page."
        ),
    ] = None,
    cluster: options.Cluster = None,
    insecure_cluster: options.InsecureCluster = False,
) -> None:
    """Measure the accuracy on shops or engines never seen, and what more tests would bring."""
    import pandas as pd

    from pullbook.model.evaluation import evaluate as evaluating
    from pullbook.model.evaluation import evaluate_regimes, learning_curve
    from pullbook.model.training import train_model
    from pullbook.pipeline.builds.engine_groups import MOST_SHOPS
    from pullbook.pipeline.curation.read_own import is_private
    from pullbook.pipeline.parallel import workers as crews
    from pullbook.reports import hardest_page, model_page
    from pullbook.text import model_text

    builds, pulls = _data(curated, key_file, settings_file, own=own)
    settings = _settings(params, seed)
    few = builds["shop"].nunique() <= MOST_SHOPS
    other = _start_of(start, builds, private=is_private(builds))
    with crews.cluster(cluster, insecure=insecure_cluster) as far:
        crew = far or train_model.THREADS
        bar = output.bar("Holding out engines" if few else "Holding out shops")
        found = evaluating.evaluate(builds, pulls, settings, parts, bar, crew, other)
        curve, regimes = None, pd.DataFrame()
        if few:
            again = output.bar("Learning from fewer tests")
            curve = learning_curve.learning_curve(builds, pulls, settings, other, crew, again)
        else:
            both = output.bar("Holding out shops and families")
            regimes, _ = evaluate_regimes.held_out(builds, pulls, settings, parts, both, crew)
    metrics = found.metrics() | ({} if curve is None else {"learning_curve": curve.as_json()})
    whole_writes.write_text(out / METRICS, json.dumps(metrics, indent=1) + "\n")
    model_page.write(found, regimes, metrics, benchmarks, out)
    hardest_page.write(found, out)
    typer.echo(model_text.text(metrics))
    for line in model_text.learning(metrics):
        typer.echo(line)
    typer.echo(f"Figures and charts are in {out}")


def _settings(params: Path | None, seed: int | None) -> Settings:
    from pullbook.model.learning.settings import from_mapping

    given = options.section(params, "train")
    return from_mapping(given if seed is None else {**given, "seed": seed})
