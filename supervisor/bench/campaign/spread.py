"""The same runs one after the other, on all cores, or on a cluster. In the order they come."""

import importlib
import re
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Any

from supervisor.bench.campaign.run import Run, run_one

REMEDY = "install it with: pip install 'holdwatch[campaign]'; or use --jobs 1"


class MissingPart(Exception):
    """Needs a package that is not installed."""


class NoCluster(Exception):
    """The scheduler does not answer."""


def spread(
    seed: int, runs: int, *, jobs: int = 1, scheduler: str | None = None, patience_s: float = 30
) -> Iterator[Run]:
    """Close the iterator to stop early. Raises MissingPart or NoCluster before the first run."""
    if scheduler:
        return _on_cluster(seed, runs, _connect(scheduler, patience_s))
    if jobs > 1:
        return _on_cores(seed, runs, jobs, _load("joblib"))
    return (run_one(seed, run) for run in range(runs))


def _load(package: str) -> Any:
    try:
        return importlib.import_module(package)
    except ImportError:
        raise MissingPart(f"the package {package} is not installed; {REMEDY}") from None


def _on_cores(seed: int, runs: int, jobs: int, joblib: Any) -> Iterator[Run]:
    parallel = joblib.Parallel(n_jobs=jobs, return_as="generator_unordered")
    task: Callable[..., Any] = joblib.delayed(run_one)
    with closing(parallel(task(seed, run) for run in range(runs))) as results:
        yield from results


def _connect(scheduler: str, patience_s: float) -> Any:
    distributed = _load("distributed")
    if not re.fullmatch(r"\w+://[^/:]+:\d+", scheduler):
        raise NoCluster(f"{scheduler} is no address of a scheduler: write it like tcp://host:8786")
    try:
        return distributed.Client(scheduler, timeout=patience_s, set_as_default=False)
    except (OSError, ValueError) as error:
        raise NoCluster(
            f"no cluster at {scheduler}: {error}; is a scheduler running there, and is its address "
            "written like tcp://host:8786?"
        ) from None


def _on_cluster(seed: int, runs: int, client: Any) -> Iterator[Run]:
    distributed = _load("distributed")
    with client:
        futures = client.map(run_one, [seed] * runs, range(runs), pure=False)
        try:
            for future in distributed.as_completed(futures, loop=client.loop):
                yield future.result()
        finally:
            client.cancel(futures)
